"""Fakes: a clock that jumps, and a port that remembers.

Run as a program (`python -m tests.fakes [NOTE_SECONDS [rtmidi]]`), the echo bassist of
bench/echoing.py plays on the machine's real MIDI ports, which is how the JACK test gets a player
into a process of its own; with `rtmidi` it reaches JACK through RtMidi.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable
from ctypes import CDLL, c_void_p, cast
from ctypes.util import find_library
from queue import SimpleQueue
from typing import TypeVar

from bench.echoing import EchoBassist
from engine.events import Incoming, NoteOff, NoteOn
from ports.port import Message, Port, unsaid

Item = TypeVar("Item")

# RtMidi's own number for JACK, the same in both wrappers.
RTMIDI_ON_JACK = 3


class FakeClock:
    """A clock that jumps to whatever is waited for, and oversleeps by `oversleep` seconds."""

    def __init__(self, start: float = 0.0, oversleep: float = 0.0) -> None:
        self.time = start
        self.oversleep = oversleep

    def now(self) -> float:
        """The fake time."""
        return self.time

    def wait_until(self, deadline: float) -> None:
        """Jump there."""
        if deadline > self.time:
            self.time = deadline + self.oversleep

    def next_from(self, inbox: SimpleQueue[Item], deadline: float | None) -> Item | None:
        """The next item if there is one, else jump to the deadline."""
        if not inbox.empty():
            return inbox.get_nowait()
        if deadline is None:
            raise AssertionError("waits for ever: nothing queued and no deadline")
        self.wait_until(deadline)
        return None


class FakePort:
    """A port that remembers what was sent and when it was closed."""

    def __init__(self, events: Iterable[Incoming] = ()) -> None:
        self.inbox: SimpleQueue[Incoming] = SimpleQueue()
        self.lost: str | None = None
        self.tell: Callable[[str], None] = unsaid
        self.sent: list[Message | str] = []
        for event in events:
            self.inbox.put(event)

    def send(self, message: Message) -> None:
        """Remember the message."""
        self.sent.append(message)

    def close(self) -> None:
        """Remember that nothing can follow."""
        self.sent.append("closed")


def hanging(messages: Iterable[object]) -> set[int]:
    """The notes that were struck and never released, whatever else was sent."""
    sounding: set[int] = set()
    for message in messages:
        if isinstance(message, NoteOn):
            sounding.add(message.note)
        elif isinstance(message, NoteOff):
            sounding.discard(message.note)
    return sounding


def _hush_jack() -> None:
    """RtMidi lets JACK's library print, as that no memory can be locked, which takes root.

    It is given C's own strlen to tell such things to, which reads them and keeps quiet.  A function
    in Python would want the interpreter, which RtMidi may hold while it waits for JACK's thread.
    """
    CDLL(find_library("jack")).jack_set_error_function(cast(CDLL(None).strlen, c_void_p))


def main() -> None:
    """Play the echo bassist on real MIDI ports, until a signal comes, and print how late it was."""
    from ports.clock import SystemClock  # noqa: PLC0415
    from ports.drivers import rtmidi_wrapper  # noqa: PLC0415
    from ports.midi import open_port  # noqa: PLC0415
    from ports.service import Service  # noqa: PLC0415

    length = float(sys.argv[1]) if len(sys.argv) > 1 else 0.02
    clock = SystemClock()
    if "rtmidi" in sys.argv:
        _hush_jack()
        wrapper = rtmidi_wrapper.load(RTMIDI_ON_JACK)
        port: Port = rtmidi_wrapper.RtmidiPort(wrapper, clock.now, None, None)
    else:
        port = open_port(clock.now)
    service = Service(EchoBassist(length), port, clock)
    print("ready", flush=True)  # noqa: T201
    print(service.run(), flush=True)  # noqa: T201


if __name__ == "__main__":
    main()
