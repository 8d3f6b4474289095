"""Runs: the strokes that a figure gives to leading on, as steps to the next root or back home.

Knows: which steps lie between the root that is left and the one that comes, and on which side.
Refuses to know: which strokes they are, and whether the change is likely.
How: the same for the same place in the song.  A run that has set out goes on from the note played
last, also when the rest of it is written anew and the change has become likelier or less likely.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from engine.line.dice import draw
from engine.line.leads import Stay, Target, place_of
from engine.line.pools import scale_of, scale_run, steps_between
from engine.line.roots import Roots
from engine.score import Ask, BassNote

_WALK_UP: Final = 0.65  # walk-ups outnumber walk-downs: the low root is home
_NEAR: Final = (3, 7)  # from a third to a fifth the steps between two roots make a line

_STEP: Final = 2  # from a step away it is the first of two semitones, or of an enclosure

Run = Sequence[int]


class Runs:
    """The runs of one part."""

    def __init__(self, roots: Roots, seed: int) -> None:
        self._roots = roots
        self._seed = seed

    def home(self, ask: Ask, stay: Stay, places: Sequence[int]) -> Run:
        """Scale tones back to the root that stays."""
        below, count = draw(self._seed, ask.bar, 6) < _WALK_UP, len(places)
        scale, last = scale_of(stay.chord, ask.key), _under_way(ask, stay, stay.anchor, places[0])
        sides = (-1, 1) if below else (1, -1)
        runs = [scale_run(scale, stay.anchor, side, count) for side in sides]
        longer = [scale_run(scale, stay.anchor, side, count + 1) for side in sides]
        return self._playable([*_after(last, longer), *runs])

    def onward(
        self, ask: Ask, stay: Stay, target: Target, places: Sequence[int], *, semitone: bool
    ) -> Run:
        """Steps to the next root: from the root that is left if it is near, else from a side.

        The last one is a semitone or not; nothing where no such run is near.
        """
        last, count = _under_way(ask, stay, target.note, places[0]), len(places)
        if last is None:
            return self._playable(self._runs(ask, stay, target, count, semitone=semitone))
        scale = scale_of(stay.chord, ask.key)
        longer = self._runs(ask, stay, target, count + 1, semitone=semitone)
        steps = [
            steps_between(scale, last.note, target.note, count, semitone=by)
            for by in (semitone, not semitone)
        ]
        return self._playable([*_after(last, longer), *steps])

    def _runs(
        self, ask: Ask, stay: Stay, target: Target, count: int, *, semitone: bool
    ) -> list[Run]:
        scale, goal = scale_of(stay.chord, ask.key), target.note
        near = _NEAR[0] <= abs(goal - stay.anchor) <= _NEAR[1]
        between = steps_between(scale, stay.anchor, goal, count, semitone=semitone) if near else ()
        below = draw(self._seed, place_of(target), 6) < _WALK_UP
        sides = [_from_side(scale, goal, step, count, semitone=semitone) for step in (-1, 1)]
        close = [run for run in sides if run and abs(run[0] - stay.anchor) <= _NEAR[1]]
        return [between, *(close if below else close[::-1])]

    def _playable(self, runs: Sequence[Run]) -> Run:
        return next((run for run in runs if run and all(map(self._roots.has, run))), ())


def ends_a_run(ask: Ask, stay: Stay) -> bool:
    """Whether the last stroke of a stretch ends a run: the note before is more than a step away."""
    target = stay.target
    if target is None:
        return False
    last = _under_way(ask, stay, target.note, stay.room[-1])
    return last is not None and abs(last.note - target.note) > _STEP


def _under_way(ask: Ask, stay: Stay, goal: int, first: int) -> BassNote | None:
    """The note played last, if it led there in this bar and the first stroke to lead is next."""
    last = ask.last
    if last is None or last.aims_at != goal % 12 or last.beat < ask.bar_start:
        return None
    return last if all(stroke.ghost for stroke in stay.strokes[:first]) else None


def _after(last: BassNote | None, runs: Sequence[Run]) -> list[Run]:
    """What is left of the runs that begin with the note played last."""
    return [run[1:] for run in runs if last is not None and run and run[0] == last.note]


def _from_side(
    scale: frozenset[int], goal: int, step: int, count: int, *, semitone: bool
) -> list[int]:
    """A run of the scale to the goal whose last step is a semitone, or is none."""
    if semitone:
        return [*scale_run(scale, goal + step, step, count - 1), goal + step]
    run = scale_run(scale, goal, step, count)
    return run if abs(run[-1] - goal) == 2 else []
