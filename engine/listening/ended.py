"""Ended: the felt beat that is over, on its way into memory.

Knows: how the beat that ended was heard, and those before it in the bar that were left out.
Refuses to know: what is expected of the beats to come.
How: a beat is remembered as it was heard when there is time for it.  Beats that the player left
out were taken for more of the chord before; if then another chord comes on a weaker beat than one
of them, that chord was due with the stronger one: who strikes on two and four changes on one.
Unless the change was foretold for the weaker beat, as by a chart: then it came when it was due.
The ear, which hears when keys come and cannot know when chords are due, is told of it.
"""

from __future__ import annotations

from fractions import Fraction
from math import inf
from typing import NamedTuple

from engine.events import Heard
from engine.foresight.outlook import Foresight
from engine.hearing.ear import Ear
from engine.theory.harmony import Chord
from engine.theory.meter import Moment


class EndedBeat(NamedTuple):
    """A felt beat that is over: where it began, how it was heard, whether it was left out.

    `weight` is that of the strongest felt beat which its keys may have been meant for: itself, or
    if they came between the beats the one that follows; see Metre.weight.  `due` is whether a
    change was foretold just there, `apart` whether the ear heard another root, `grounded` whether
    the player has played the chord's bass.
    """

    began: Moment
    heard: Heard
    rested: bool
    weight: int
    due: bool
    apart: bool = False
    grounded: bool = False

    def brought(self, chord: Chord) -> bool:
        """Whether it had the root of this chord."""
        return self.heard.chord is not None and self.heard.chord.root == chord.root


class Ended:
    """The beat that ended last, until it is remembered.

    Args:
        foresight: remembers it.
        ear: has heard it, and is told where it was wrong about when chords change.

    `last` is that beat, None once it is remembered.
    """

    def __init__(self, foresight: Foresight, ear: Ear) -> None:
        self._foresight = foresight
        self._ear = ear
        self.last: EndedBeat | None = None
        self._left_out: list[EndedBeat] = []

    def commit(self) -> None:
        """Let the foresight remember the beat, if it does not yet."""
        beat, self.last = self.last, None
        if beat is None:
            return
        self._left_out = [each for each in self._left_out if each.began.bar == beat.began.bar]
        self._put_right(beat)
        start = Fraction(beat.began.position).limit_denominator(96)
        in_bar = start - beat.began.bar_start
        metre, chord, grounded = beat.began.metre, beat.heard.chord, beat.grounded
        sure = 1.0 if chord is None else beat.heard.confidence
        self._foresight.commit(start, in_bar, metre, chord, grounded=grounded, confidence=sure)
        self._left_out = [*self._left_out, beat] if beat.rested else []

    def _put_right(self, beat: EndedBeat) -> None:
        """What was remembered, or heard, of this beat and those before, now that more is known."""
        chord, began = beat.heard.chord, beat.began.position
        if chord is None:
            return
        beats = self._due_earlier(beat, chord)
        if beats:
            self._foresight.amend(chord, beats, grounded=beat.grounded)
            self._ear.amend(chord.root, self._left_out[-beats].began.position, began)
        elif beat.apart:
            self._ear.amend(chord.root, began, inf)

    def _due_earlier(self, beat: EndedBeat, chord: Chord) -> int:
        """On how many beats before, left out, the chord of this one was due."""
        left_out = self._left_out
        if not left_out or beat.rested or beat.due:
            return 0
        strongest = max(left_out, key=lambda each: each.began.weight)
        if strongest.began.weight <= beat.weight or strongest.brought(chord):
            return 0
        return len(left_out) - left_out.index(strongest)

    def yields_to(self, following: Moment) -> bool:
        """Whether no stronger beat than this one was left out just before."""
        return all(each.began.weight <= following.weight for each in self._left_out)

    def relocate(self) -> None:
        """The song goes on elsewhere, or anew: no beat is the one before."""
        self._left_out = []
