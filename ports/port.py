"""Port: what every way in and out of the bassist looks like.

The three ports (a MIDI system's, the in-process loop, a test's fake) share this shape, so that
the run loop knows none of them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from queue import SimpleQueue
from typing import Final, Protocol

from engine.events import Control, Incoming, NoteOff, NoteOn


@dataclass(frozen=True, slots=True)
class PitchBend:
    """The bend wheel as it goes over the wire: 0 lowest, 8192 at rest, 16383 highest."""

    at: float
    value: int
    channel: int = 0


Message = NoteOn | NoteOff | Control | PitchBend

CLIENT_NAME: Final = "groundling"
CHORDS_NAME: Final = "groundling chords"
BASS_NAME: Final = "groundling bass"

FELL_SILENT: Final = "the keyboard is not heard any more; its keys are let go"


def unsaid(_sentence: str) -> None:
    """Tell it to nobody."""


class PortError(Exception):
    """Something about MIDI that the player can mend; its text is the sentence to tell them."""


class NoMidiSystem(PortError):
    """This machine has no MIDI system that could be opened."""


class UnknownPort(PortError):
    """The name given fits no port, or more than one."""


class PortTaken(PortError):
    """A port is there and does not open."""


class PortLost(PortError):
    """The MIDI system went away while we played."""


class Port(Protocol):
    """Chords in, bass out.

    `inbox` is filled from the driver's thread, in order of arrival.  An event's `at` is when it
    happens, which may lie a little ahead: JACK tells a period's events at the period's start.
    `lost` is None until the MIDI system goes away, then says what happened.
    `tell` takes sentences for the player, from any thread, and must not wait; whoever can show
    them puts it there.
    """

    inbox: SimpleQueue[Incoming]
    lost: str | None
    tell: Callable[[str], None]

    def send(self, message: Message) -> None:
        """Send a message, due at its `at`, now or past; never blocks."""

    def close(self) -> None:
        """Let what was sent go out, then leave the MIDI system."""
