"""Releases: the ends of notes that an overrun of the audio server may have swallowed.

Knows: that what was written in a period that the server gave up reaches nobody.
Refuses to know: which period that was; drivers do not say.
How: after an overrun the ends of the last second are said once more, and so is the bend wheel.  An
end that is heard twice does no harm, one that is never heard leaves a note hanging.
"""

from __future__ import annotations

from typing import Final

from ports.wire import NOTE_OFF, NOTE_ON, PITCH_BEND

LATELY_SECONDS: Final = 1.0
"""How long ago what an overrun swallowed was written at the most."""


class Releases:
    """What was written lately, as far as it matters that it arrives."""

    def __init__(self) -> None:
        self._written: dict[bytes, tuple[float, bytes]] = {}

    def take(self, message: bytes, at: float) -> None:
        """A message is written now (seconds)."""
        kind, channel = message[0] & 0xF0, message[0] & 0x0F
        if kind == NOTE_ON:  # it sounds again, and its end is still to come
            self._written.pop(bytes((NOTE_OFF | channel, message[1])), None)
        elif kind in (NOTE_OFF, PITCH_BEND):
            subject = message[:2] if kind == NOTE_OFF else message[:1]
            self._written[subject] = at, message

    def again(self, now: float) -> list[bytes]:
        """What is to be said once more after an overrun."""
        return [message for at, message in self._written.values() if now - at <= LATELY_SECONDS]
