"""Custom: what songs do, whatever this one has done so far.

Knows: how often, after such and such chords at such a place, the root moved by an interval.
Refuses to know: this song's own past beyond its last few chords, where the figures come from
(fitted.py).
How: tables of counts, each asked with contexts from the widest to the narrowest; a narrow one is
trusted over a wider one by how much was seen of it (Witten and Bell's way of backing off).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Final, NamedTuple

import numpy as np

from engine.arrays import Singles
from engine.foresight.agreement import NO_CHORD, ROOTS
from engine.foresight.course import Course

Context = tuple[int, ...]
Counts = Mapping[Context, Mapping[int, int]]
"""For each context how often each outcome followed."""

STAYS: Final = 0


def _chord_contexts(course: Course) -> Iterator[Context]:
    """What the last chords were, whatever the key."""
    context: Context = (0, course.family(0))
    yield context
    for back in range(3):
        context = (*context, course.motion(back), course.family(back + 1))
        yield context


def _degree_contexts(course: Course) -> Iterator[Context]:
    """What the last chords were in the key."""
    key = course.key
    context: Context = (1, key // 12, (course.reference - key) % 12, course.family(0))
    yield context
    for back in range(2):
        context = (*context, course.motion(back), course.family(back + 1))
        yield context


def _place_contexts(course: Course) -> Iterator[Context]:
    """Where in the bar, and for how long the chord has lasted: does it change?"""
    context: Context = (2, course.pulses, course.place, min(course.lasted(0), 33))
    yield context[:3]
    yield context
    yield (*context, min(course.lasted(1), 33))
    yield (*context, min(course.lasted(1), 33), course.bar % 4)


def _moment_contexts(course: Course) -> Iterator[Context]:
    """Place, duration and chords at once."""
    context: Context = (3, course.pulses, course.place, min(course.lasted(0), 17))
    yield context
    context = (*context, course.family(0), course.motion(0))
    yield context
    context = (*context, course.family(1), min(course.lasted(1), 17))
    yield context
    yield (*context, course.motion(1))


def _phrase_contexts(course: Course) -> Iterator[Context]:
    """Which bar of four, and the chord in the key."""
    key = course.key
    context: Context = (4, course.bar % 4, (course.reference - key) % 12, key // 12)
    yield context
    context = (*context, course.family(0), course.place, min(course.lasted(0), 9))
    yield context
    yield (*context, course.motion(0))


class Table(NamedTuple):
    """One way of asking.

    `only_moves`: it speaks only of what comes when the chord changes.  `two_ways`: it tells only
    whether it does (outcome 1) or STAYS.
    """

    contexts: Callable[[Course], Iterator[Context]]
    only_moves: bool
    two_ways: bool


TABLES: Final = (
    Table(_chord_contexts, only_moves=True, two_ways=False),
    Table(_degree_contexts, only_moves=True, two_ways=False),
    Table(_place_contexts, only_moves=False, two_ways=True),
    Table(_moment_contexts, only_moves=False, two_ways=False),
    Table(_phrase_contexts, only_moves=False, two_ways=False),
)

_ANSWERS_KEPT: Final = 4096
_EVEN: Final = np.full(ROOTS, 1.0 / ROOTS, dtype=np.float32)


class Custom:
    """The tables, ready to be asked."""

    def __init__(self, counts: Counts) -> None:
        self._counts = counts
        self._answers: dict[Context, Singles] = {}

    def odds(self, course: Course) -> Singles:
        """Per table, the probability of each outcome: interval up from the root, or NO_CHORD."""
        return np.stack([self._asked(table.contexts(course)) for table in TABLES])

    def _asked(self, contexts: Iterator[Context]) -> Singles:
        """The answer to the narrowest context, kept for the next time it is met."""
        asked = tuple(contexts)
        answer = self._answers.get(asked[-1])
        if answer is None:
            if len(self._answers) >= _ANSWERS_KEPT:
                self._answers.clear()
            answer = self._answers[asked[-1]] = self._backed_off(asked)
        return answer

    def _backed_off(self, contexts: Sequence[Context]) -> Singles:
        odds = _EVEN
        for context in contexts:
            seen = self._counts.get(context)
            if seen is None:
                break
            odds = odds * np.float32(len(seen) + 1)
            for outcome, count in seen.items():
                odds[outcome] += count
            odds /= odds.sum()
        return odds


def outcome(course: Course, root: int) -> int:
    """What a next root is in the terms of the tables."""
    if root == NO_CHORD:
        return STAYS if course.chord is None else NO_CHORD
    return (root - course.reference) % 12
