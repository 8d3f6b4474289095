"""Ways: which way the bass goes into a chord, by what was played.

Knows: the ways in by their intervals, and whether what followed was aimed at.
Refuses to know: how the line chose them, and why they work.
How: notes that aim at the same root are one way in.  It is named by what was played, so that a
way which the hand had to cut short is called what it became.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from types import MappingProxyType
from typing import Final

from engine.score import BassNote
from engine.style import Way
from engine.teaching.bars import Bar, near
from engine.teaching.goals import Run, goal_of, runs_of
from engine.teaching.heard import is_the_same
from engine.teaching.remarks import Spot
from engine.theory.harmony import Chord
from engine.theory.pitch import name_of_fifths, nearest


@dataclass(frozen=True, slots=True)
class Lead:
    """A way in: its notes, the root they aim at, the note that followed, and what it is called.

    `way` is None for notes that go on without a name, such as a third below the root.  `goal` is
    the name of the root, and `onward` that of another to which what followed leads on.
    """

    notes: tuple[BassNote, ...]
    target: int
    arrival: BassNote | None
    way: Way | None
    goal: str
    onward: str | None

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
    runs = _runs(spot.bars, spot.index)
    goals = dict(_goals(spot.bars, spot.index)) | dict(_goals(spot.bars, spot.index + 1))
    return tuple(
        Lead(
            run.notes,
            run.aims_at,
            _over_what_came(spot, run.arrival),
            way_of(run.notes, run.aims_at),
            goals[run.notes[-1].beat],
            goals.get(run.arrival.beat) if run.arrival else None,
        )
        for run in runs
    )


def _runs(bars: Sequence[Bar], index: int) -> list[Run]:
    after = bars[index + 1 : index + 2]
    return list(runs_of(bars[index].pitched, after[0].pitched[:2] if after else ()))


def _goals(bars: Sequence[Bar], index: int) -> Iterator[tuple[Fraction, str]]:
    """What the goals of a bar are called, each with the beat of a note that leads there."""
    for run in _runs(bars, index) if index < len(bars) else ():
        goal = name_of_fifths(goal_of(run, near(bars, index), bars[index].key))
        yield from ((note.beat, goal) for note in run.notes)


def _over_what_came(spot: Spot, arrival: BassNote | None) -> BassNote | None:
    in_vain = arrival is not None and spot.is_in_vain(arrival)
    return replace(arrival, chord=spot.sounding(arrival)) if arrival and in_vain else arrival


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
