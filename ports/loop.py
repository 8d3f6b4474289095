"""Loop: the port that never leaves the process.

It is the embedded default where the machine has no MIDI system, the rehearsal's port, and the
one that tests and benchmarks use.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from queue import SimpleQueue

from engine.events import Incoming
from ports.port import Message, unsaid


class LoopPort:
    """A port whose far end is this program: `play` is the keyboard, `on_message` the amplifier."""

    def __init__(self, on_message: Callable[[Message], None] | None = None) -> None:
        self.inbox: SimpleQueue[Incoming] = SimpleQueue()
        self.lost: str | None = None
        self.tell: Callable[[str], None] = unsaid
        self.closed = False
        self._on_message = on_message

    def play(self, events: Iterable[Incoming], start_at: float = 0.0) -> None:
        """Queue events in order of time, to happen at their own `at` counted from `start_at`."""
        for event in events:
            self.inbox.put(replace(event, at=event.at + start_at) if start_at else event)

    def send(self, message: Message) -> None:
        """Hand the message to the far end."""
        if self._on_message is not None:
            self._on_message(message)

    def close(self) -> None:
        """Mark the port as closed."""
        self.closed = True
