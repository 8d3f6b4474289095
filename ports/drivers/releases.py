"""Releases: the ends of notes that an overrun of the audio server may have swallowed.

Knows: what sounds by what was written, and that what was written in a period that the server gave
up reaches nobody.
Refuses to know: which period that was; drivers do not say.
How: after an overrun all notes are turned off as soon as none is to sound by what was written: at
once, or with the end of the one that does.  A channel that is silent takes no harm.  So it is with
the bend wheel, whose last place is said once more.
"""

from __future__ import annotations

from engine.events import ALL_NOTES_OFF
from ports.wire import CONTROL, NOTE_OFF, NOTE_ON, PITCH_BEND


class Releases:
    """What was written, as far as it matters that it arrives."""

    def __init__(self) -> None:
        self._sounding: dict[int, set[int]] = {}  # by channel
        self._bent: dict[int, bytes] = {}
        self._doubted: set[int] = set()

    def take(self, message: bytes) -> None:
        """A message is written."""
        kind, channel = message[0] & 0xF0, message[0] & 0x0F
        if kind == NOTE_ON:
            self._sounding.setdefault(channel, set()).add(message[1])
        elif kind == NOTE_OFF:
            self._sounding.setdefault(channel, set()).discard(message[1])
        elif kind == PITCH_BEND:
            self._bent[channel] = message

    def overrun(self) -> list[bytes]:
        """The server fell behind: what is to be written at once."""
        self._doubted = set(self._sounding)
        return [*self._bent.values(), *self.due()]

    def due(self) -> list[bytes]:
        """What is to be written next, as nothing is to sound on a channel that is in doubt."""
        silent = {channel for channel in self._doubted if not self._sounding[channel]}
        self._doubted -= silent
        return [bytes((CONTROL | channel, ALL_NOTES_OFF, 0)) for channel in sorted(silent)]
