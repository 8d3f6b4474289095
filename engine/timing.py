"""Timing: when keys are read, and how exactly this player's come on the felt beats.

Knows: felt beats, and when keys went down around them.
Refuses to know: which keys, and what is made of it.
How: every beat around which keys go down says whether one of them came when the beat had been
read already, and whether they came one after the other, so that they were read one by one; the
shares of such beats are kept, and slowly forgotten.  A machine has neither, and most people a
little of both.  How far behind the beat the first key came is kept likewise: who always lays back,
or hears the bass through a slow sound card, is not late by that.
"""

from __future__ import annotations

from math import inf
from typing import Final

from engine.theory.meter import ON_THE_BEAT, Moment

# A chord is read this long after its last key went down.  Fingers may land further apart than
# that: what comes later is read again.  On labelled songs the bass landed as often on the new root
# with 6 as with 10 ms, and a key that is answered sooner leaves room for the wire.
GATHER_SECONDS: Final = 0.006

# Every beat is read once more after it began, for chords that change by letting keys go, or that
# were pushed; before the pocket ends, so that a note that waits in it has the good of it.
LISTEN_AGAIN_SECONDS: Final = 0.022

# A chord that was foretold is waited for if the chance that it comes late, weighed so much heavier,
# outweighs the chance that it does not come.  Under keys 20 ms late, give or take as much, the
# first note is right on 92.7% of changes, and on 90.0% if no chord is waited for any longer than
# the pocket (bench.expecting billboard --rendered block --every 30 --late 20 --give 20 --spread
# 20); exact keys lose nothing by it.
_PATIENCE: Final = 3.0

# A chord that comes when this share of a beat is over, on which no key was struck, is none of it if
# the next beat is stronger.
_PUSHED: Final = 0.4

# Silence is told after what belongs to the beat, and before what may belong to the next.
_LATE_IN_BEAT: Final = 0.5

# So far the pocket moves with a player who lays back.  Then bass and keys are as close together as
# with one who is on the beat; further, and the bass would be late to all others who play.
_BEHIND_AT_MOST: Final = 0.025
_FARTHEST: Final = 0.06  # a key further off the beat than this, in seconds, was not aimed at it

_RATE: Final = 0.1  # how much one beat counts: a player is known after two or three bars
_AT_FIRST: Final = 0.1  # what is supposed of a player nobody knows


class Timing:
    """What is known of the player's time.

    `late` and `apart` are shares, 0 to 1, of the beats that had keys.
    """

    def __init__(self) -> None:
        self.late = self.apart = _AT_FIRST
        self._usually = 0.0
        self._off: float | None = None
        self._beat: Moment | None = None
        self._first: float | None = None
        self._last = (0.0, -inf)
        self._until = inf
        self._came: float | None = None
        self._quiet = False
        self._was_late = self._was_apart = False

    def key_down(self, moment: Moment) -> None:
        """A key went down."""
        self._last = moment.at, moment.position
        if self._came is None and moment.position < self._until:
            self._came = moment.position
        beat = self._beat
        if beat is None or not 0 <= moment.position - beat.position < ON_THE_BEAT:
            return
        first = self._first = moment.at if self._first is None else self._first
        if self._off is None and moment.at - beat.at <= _FARTHEST:
            self._off = moment.at - beat.at
        self._was_late = self._was_late or moment.at > self._read_again_at(beat)
        self._was_apart = self._was_apart or moment.at - first > GATHER_SECONDS

    @property
    def behind(self) -> float:
        """Seconds behind the beat at which this player's chords usually begin, 0 to 0.025."""
        return min(max(self._usually, 0.0), _BEHIND_AT_MOST)

    def read(self, moment: Moment, *, silent: bool) -> None:
        """The keys are read; nothing sounds, or something does."""
        if self._beat and ON_THE_BEAT <= moment.position - self._beat.position < _LATE_IN_BEAT:
            self._quiet = silent

    def reads_again(self, moment: Moment) -> bool:
        """Whether a moment of the running beat lies before that at which it is read once more."""
        beat = self._beat
        return beat is not None and moment.at < self._read_again_at(beat)

    def _read_again_at(self, beat: Moment) -> float:
        return beat.at + LISTEN_AGAIN_SECONDS + self.behind

    @property
    def rests(self) -> bool:
        """Whether the player leaves the running beat out.

        Keys that go down a little ahead of the next beat are those of that one.
        """
        return self._quiet and self._came is None

    @property
    def between(self) -> bool:
        """Whether no key went down on the running beat itself, if any did."""
        return self._first is None

    def cross(self, beat: Moment) -> None:
        """A felt beat begins: what the one before it has told is counted."""
        if self._off is not None:
            self._usually += _RATE * (self._off - self._usually)
        if self._first is not None:
            self.late += _RATE * (self._was_late - self.late)
            self.apart += _RATE * (self._was_apart - self.apart)
        at, position = self._last
        self._first = at if 0 <= beat.position - position < ON_THE_BEAT else None
        self._off = at - beat.at if at - beat.at >= -_FARTHEST else None
        self._came = None if self._first is None else beat.position
        self._quiet = False
        self._until = float(beat.next_beat(beyond=True)) - ON_THE_BEAT
        self._was_late = self._was_apart = False
        self._beat = beat

    def lets_wait(self, confidence: float, *, begun: bool) -> bool:
        """Whether a chord foretold so surely may still come, or, if begun, be completed."""
        share = self.apart if begun else self.late
        return confidence * (1 + _PATIENCE * share) >= 1

    def pushed(self, following: Moment) -> bool:
        """Whether the keys of the running beat are meant for the one that follows.

        They came late in the beat, which no key was struck on, and the next one is stronger.
        """
        beat = self._beat
        if beat is None or self._came is None or not self.between:
            return False
        share = (self._came - beat.position) / (following.position - beat.position)
        return share > _PUSHED and following.weight > beat.weight
