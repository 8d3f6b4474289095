"""Ways: which way the bass goes into a chord, by what was played.

Knows: the ways in by their intervals, and whether what followed was aimed at.
Refuses to know: how the line chose them, and why they work.
How: notes that aim at the same root are one way in.  It is named by what was played, so that a
way which the hand had to cut short is called what it became.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise
from types import MappingProxyType
from typing import Final

from engine.score import BassNote
from engine.style import Way
from engine.teaching.heard import is_mended, is_the_same
from engine.teaching.remarks import Spot
from engine.theory.harmony import Chord
from engine.theory.pitch import nearest


@dataclass(frozen=True, slots=True)
class Lead:
    """A way in: its notes, the root they aim at, the note that followed, and what it is called.

    `way` is None for notes that go on without a name, such as a third below the root.
    """

    notes: tuple[BassNote, ...]
    target: int
    arrival: BassNote | None
    way: Way | None

    @property
    def met(self) -> bool:
        """Whether what followed is what was aimed at, be it on another of its tones."""
        note = self.arrival
        if note is None:
            return False
        is_there = note.note % 12 == self.target and self.target in note.chord.keys
        return is_there or note.chord.bass == self.target

    @property
    def kept(self) -> Chord | None:
        """The chord that was to be left, if what followed is still played over it."""
        after, before = self.arrival, self.notes[-1].chord
        return after.chord if after is not None and is_the_same(before, after.chord) else None


def leads_of(spot: Spot) -> tuple[Lead, ...]:
    """The ways in of a bar, in their order."""
    notes = list(spot.bar.pitched)
    following = spot.after.pitched[:2] if spot.after else ()
    found = []
    at = 0
    for target, group in groupby(notes, key=lambda note: note.aims_at):
        run = tuple(group)
        at += len(run)
        if target is not None:
            arrival = _arrival(spot, (*notes[at:], *following))
            found.append(Lead(run, target, arrival, way_of(run, target)))
    return tuple(found)


def _arrival(spot: Spot, notes: Sequence[BassNote]) -> BassNote | None:
    """Of the notes that follow the one that stood, over the chord that came."""
    if not notes:
        return None
    first, second = notes[0], next(iter(notes[1:]), None)
    if second is not None and is_mended(first, second):
        return second
    return replace(first, chord=spot.sounding(first)) if spot.is_in_vain(first) else first


def way_of(run: Sequence[BassNote], target: int) -> Way | None:
    """What these notes are called on their way into a root."""
    last = run[-1].note
    goal = nearest(target, last)
    away = [goal - note.note for note in run]
    if len(run) > 2 and (_climbs(away) or _climbs([-d for d in away])):
        return Way.WALK_UP if away[-1] > 0 else Way.WALK_DOWN
    if len(run) > 1:
        pair = _BY_PAIR.get((away[-2], away[-1]))
        if pair is not None:
            return pair
    if away[-1] == 0:
        return Way.REPEAT
    return _BY_LAST.get(away[-1] % 12)


_BY_PAIR: Final = MappingProxyType(
    {
        (2, 1): Way.TWO_SEMITONES_BELOW,
        (-2, -1): Way.TWO_SEMITONES_ABOVE,
        **{(above, below): Way.ENCLOSURE for above in (-1, -2) for below in (1, 2)},
        **{(below, above): Way.ENCLOSURE for above in (-1, -2) for below in (1, 2)},
    }
)
_BY_LAST: Final = MappingProxyType({
    1: Way.SEMITONE_BELOW, 11: Way.SEMITONE_ABOVE, 2: Way.SCALE_BELOW, 10: Way.SCALE_ABOVE,
    5: Way.FIFTH,
})  # fmt: skip


def _climbs(away: Sequence[int]) -> bool:
    """Whether distances to a goal shrink by steps, the last one being a step too."""
    return 0 < away[-1] <= 2 and all(0 < a - b <= 2 for a, b in pairwise(away))
