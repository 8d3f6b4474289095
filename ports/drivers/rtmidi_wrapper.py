"""RtMidi: ALSA's sequencer, CoreMIDI and WinMM, through whichever wrapper is installed.

python-rtmidi has wheels for Python 3.11 and 3.12, rtmidi2 for 3.13 and later.  They wrap the same
library under different names; the two small classes here are all that knows so.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from queue import SimpleQueue
from typing import Any, Final, Protocol

from engine.events import Incoming
from ports.cable import Cable, let_go
from ports.drivers.lookout import Lookout
from ports.drivers.rtmidi_source import FAILURES, Inputs, Source
from ports.port import (
    BASS_NAME,
    CHORDS_NAME,
    CLIENT_NAME,
    FELL_SILENT,
    Message,
    NoMidiSystem,
    PortTaken,
    unsaid,
)
from ports.wire import bytes_of

ALSA_DEVICE: Final = Path("/dev/snd/seq")

# RtMidi's own numbers for the systems, the same in both wrappers.
API_ANY: Final = 0
API_ALSA: Final = 2


class Wrapper(Inputs, Protocol):
    """One input and one output of RtMidi, under names of our own."""

    def outputs(self) -> list[str]:
        """Names of the ports that can be sent to."""

    def aim(self, index: int | None) -> None:
        """Open an existing output, or a virtual one when the index is None."""

    def send(self, data: bytes) -> None:
        """Send one message."""

    def close(self) -> None:
        """Close both."""


class PythonRtmidi:
    """python-rtmidi."""

    def __init__(self, module: Any, api: int) -> None:  # noqa: ANN401  (no types)
        self._in = module.MidiIn(api, CLIENT_NAME)
        self._out = module.MidiOut(api, CLIENT_NAME)

    def inputs(self) -> list[str]:
        """Names of the ports that can be listened to."""
        return [name or "" for name in self._in.get_ports()]  # one that went while it was asked

    def outputs(self) -> list[str]:
        """Names of the ports that can be sent to."""
        return list(self._out.get_ports())

    def listen(self, index: int | None, heard: Callable[[Sequence[int]], None]) -> None:
        """Open an existing input, or a virtual one; clock and sensing have to be asked for."""
        self._in.ignore_types(sysex=True, timing=False, active_sense=False)
        self._in.set_callback(lambda told, _data: heard(told[0]))
        if index is None:
            self._in.open_virtual_port(CHORDS_NAME)
        else:
            self._in.open_port(index, CHORDS_NAME)

    def leave(self) -> None:
        """Close the input."""
        self._in.cancel_callback()
        self._in.close_port()

    def aim(self, index: int | None) -> None:
        """Open an existing output, or a virtual one."""
        if index is None:
            self._out.open_virtual_port(BASS_NAME)
        else:
            self._out.open_port(index, BASS_NAME)

    def send(self, data: bytes) -> None:
        """Send one message."""
        self._out.send_message(data)

    def close(self) -> None:
        """Close both."""
        self.leave()
        self._out.close_port()
        self._in.delete()
        self._out.delete()


class Rtmidi2:
    """rtmidi2."""

    def __init__(self, module: Any, api: int) -> None:  # noqa: ANN401  (no types)
        self._in = module.MidiIn(CLIENT_NAME, api=api)
        self._out = module.MidiOut(CLIENT_NAME, api=api)

    def inputs(self) -> list[str]:
        """Names of the ports that can be listened to."""
        return [name or "" for name in self._in.ports]  # one that went while it was asked

    def outputs(self) -> list[str]:
        """Names of the ports that can be sent to."""
        return list(self._out.ports)

    def listen(self, index: int | None, heard: Callable[[Sequence[int]], None]) -> None:
        """Open an existing input, or a virtual one; clock and sensing have to be asked for."""
        self._in.ignore_types(midi_sysex=True, midi_time=False, midi_sense=False)
        self._in.callback = lambda message, _delta: heard(message)
        if index is None:
            self._in.open_virtual_port(CHORDS_NAME)
        else:
            self._in.open_port(index)

    def leave(self) -> None:
        """Close the input."""
        self._in.callback = None
        self._in.close_port()

    def aim(self, index: int | None) -> None:
        """Open an existing output, or a virtual one."""
        if index is None:
            self._out.open_virtual_port(BASS_NAME)
        else:
            self._out.open_port(index)

    def send(self, data: bytes) -> None:
        """Send one message."""
        self._out.send_raw(*data)

    def close(self) -> None:
        """Close both."""
        self.leave()
        self._out.close_port()


def system_name() -> str | None:
    """The MIDI system RtMidi would reach here, or None."""
    if sys.platform == "darwin":
        return "CoreMIDI"
    if sys.platform == "win32":
        return "Windows MIDI"
    return "ALSA" if ALSA_DEVICE.exists() else None


def has_virtual_ports() -> bool:
    """Whether a program may open ports of its own; Windows has no such thing."""
    return sys.platform != "win32"


def load(api: int | None = None) -> Wrapper:
    """The installed wrapper, on this machine's MIDI system.

    Raises:
        NoMidiSystem: the wrapper or the system is missing.
    """
    if api is None:
        api = API_ALSA if sys.platform.startswith("linux") else API_ANY
    try:
        return _wrapper(api)
    except ImportError as error:
        raise NoMidiSystem("neither python-rtmidi nor rtmidi2 is installed") from error
    except FAILURES as error:
        raise NoMidiSystem(f"the MIDI system did not open ({error})") from error


def _wrapper(api: int) -> Wrapper:
    try:
        import rtmidi  # noqa: PLC0415  (one of the two is not there)
    except ImportError:
        import rtmidi2  # noqa: PLC0415

        return Rtmidi2(rtmidi2, api)
    return PythonRtmidi(rtmidi, api)


class RtmidiPort:
    """Virtual ports `groundling chords` and `groundling bass`, or existing ones.

    Raises:
        PortTaken: one of them does not open, most often because another program has it.
    """

    def __init__(
        self,
        wrapper: Wrapper,
        now: Callable[[], float],
        source: int | None,
        target: int | None,
    ) -> None:
        self.inbox: SimpleQueue[Incoming] = SimpleQueue()
        self.lost: str | None = None
        self.tell: Callable[[str], None] = unsaid
        self._cable = Cable()
        self._wrapper = wrapper
        self._now = now
        self._open(lambda: wrapper.listen(source, self._heard), "input", "--in")
        self._open(lambda: wrapper.aim(target), "output", "--out")
        self._source = None if source is None else Source(wrapper, source, self._heard, now())
        self._lookout = Lookout(self._look)

    def _open(self, opens: Callable[[], None], kind: str, option: str) -> None:
        try:
            opens()
        except FAILURES as error:
            self._wrapper.close()
            raise PortTaken(
                f"the MIDI {kind} did not open ({error}); close the program that has it, or name"
                f" another with {option}"
            ) from error

    def _heard(self, message: Sequence[int]) -> None:
        """Stamp and hand over; runs in the driver's thread."""
        for event in self._cable.take(message, self._now()):
            self.inbox.put(event)

    def _look(self) -> None:
        """Look whether the keyboard is still there; runs in the lookout's thread."""
        now = self._now()
        silent = self._cable.look(now)
        left, said = self._source.look(now) if self._source else (False, [])
        for sentence in [FELL_SILENT] * bool(silent) + said:
            self.tell(sentence)
        for event in let_go(now) if left else silent:
            self.inbox.put(event)

    def send(self, message: Message) -> None:
        """Send the message now; what cannot be sent any more is told by `lost`."""
        try:
            self._wrapper.send(bytes_of(message))
        except FAILURES as error:
            self.lost = f"the MIDI output went away ({error}); connect it and run groundling again"

    def close(self) -> None:
        """Close both ports."""
        self._lookout.end()
        self._wrapper.close()
