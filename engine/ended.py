"""Ended: the felt beat that is over, on its way into the foresight's memory.

Knows: how the beat that ended was heard, and the one before it that was left out, if it was.
Refuses to know: what is expected of the beats to come.
How: a beat is remembered as it was heard when there is time for it.  One that the player left out
was taken for more of the chord before; if then another chord comes on a weaker beat, that chord
was due with the stronger one: who strikes on two and four changes chords on one.
"""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

from engine.events import Heard
from engine.foresight.outlook import Foresight
from engine.meter import Moment


class Beat(NamedTuple):
    """A felt beat that is over: where it began, how it was heard, whether it was left out.

    `weight` is that of the strongest felt beat which its keys may have been meant for: itself, or
    if they came between the beats the one that follows; see Metre.weight.
    """

    began: Moment
    heard: Heard
    rested: bool
    weight: int


class Ended:
    """The beat that ended last, until the foresight remembers it.

    `last` is that beat, None once it is remembered.
    """

    def __init__(self, foresight: Foresight) -> None:
        self._foresight = foresight
        self.last: Beat | None = None
        self._left_out: Beat | None = None

    def commit(self) -> None:
        """Let the foresight remember the beat, if it does not yet."""
        beat, self.last = self.last, None
        if beat is None:
            return
        if self._left_out is not None and _is_what_came(beat, self._left_out):
            self._foresight.amend(beat.heard.chord)
        start = Fraction(beat.began.position).limit_denominator(96)
        in_bar = start - beat.began.bar_start
        self._foresight.commit(start, in_bar, beat.began.metre, beat.heard.chord)
        self._left_out = beat if beat.rested else None

    def yields_to(self, following: Moment) -> bool:
        """Whether no beat as strong as this one was left out just before."""
        return self._left_out is None or self._left_out.began.weight < following.weight

    def relocate(self) -> None:
        """The song goes on elsewhere, or anew: no beat is the one before."""
        self._left_out = None


def _is_what_came(beat: Beat, left_out: Beat) -> bool:
    """Whether a beat brings the chord that was due with the stronger one before, left out."""
    chord, before = beat.heard.chord, left_out.heard.chord
    if beat.rested or chord is None or before is None or chord.root == before.root:
        return False
    return left_out.began.weight > beat.weight
