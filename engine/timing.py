"""Timing: when keys are read, and how exactly this player's come on the felt beats.

Knows: felt beats, and when keys went down around them.
Refuses to know: which keys, and what is made of it.
How: every beat around which keys go down says whether one of them came when the beat had been
read already, and whether they came one after the other, so that they were read one by one; the
shares of such beats are kept, and slowly forgotten.  A machine has neither, and most people a
little of both.
"""

from __future__ import annotations

from math import inf
from typing import Final

from engine.meter import ON_THE_BEAT, Moment

# A chord is read this long after its last key went down.  Fingers may land further apart than
# that: what comes later is read again.  On labelled songs the bass landed as often on the new root
# with 6 as with 10 ms, and a key that is answered sooner leaves room for the wire.
GATHER_SECONDS: Final = 0.006

# Every beat is read once more after it began, for chords that change by letting keys go, or that
# were pushed; before the pocket ends, so that a note that waits in it has the good of it.
LISTEN_AGAIN_SECONDS: Final = 0.022

_RATE: Final = 0.1  # how much one beat counts: a player is known after two or three bars
_AT_FIRST: Final = 0.1  # what is supposed of a player nobody knows


class Timing:
    """What is known of the player's time.

    `late` and `apart` are shares, 0 to 1, of the beats that had keys.
    """

    def __init__(self) -> None:
        self.late = self.apart = _AT_FIRST
        self._beat: Moment | None = None
        self._first: float | None = None
        self._last = (0.0, -inf)
        self._was_late = self._was_apart = False

    def key_down(self, moment: Moment) -> None:
        """A key went down."""
        self._last = moment.at, moment.position
        beat = self._beat
        if beat is None or not 0 <= moment.position - beat.position < ON_THE_BEAT:
            return
        first = self._first = moment.at if self._first is None else self._first
        self._was_late = self._was_late or moment.at - beat.at > LISTEN_AGAIN_SECONDS
        self._was_apart = self._was_apart or moment.at - first > GATHER_SECONDS

    def cross(self, beat: Moment) -> None:
        """A felt beat begins: what the one before it has told is counted."""
        if self._first is not None:
            self.late += _RATE * (self._was_late - self.late)
            self.apart += _RATE * (self._was_apart - self.apart)
        at, position = self._last
        self._first = at if 0 <= beat.position - position < ON_THE_BEAT else None
        self._was_late = self._was_apart = False
        self._beat = beat
