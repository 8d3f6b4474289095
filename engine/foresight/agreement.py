"""Agreement: the ways in which the past can agree with now, and what is known of them at a beat.

Knows: what a beat is to the memory, which ways of agreeing there are, who speaks for what.
Refuses to know: how agreement is worked out (that is memory.py).
How: numbers in rows, a row for each way, a column for each beat of the past.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from engine.theory.harmony import Chord, Family
from engine.theory.meter import Metre

Ints = NDArray[np.int32]

NO_CHORD: Final = 12
ROOTS: Final = 13
"""Twelve roots, and no chord."""

KEPT: Final = 2000
"""Beats remembered: sixteen minutes at 120; older ones give way, so that a step stays cheap."""

AHEAD: Final = 16
"""Room after the last beat for steps that are only imagined."""

FAMILY_INDEX: Final = {family: i for i, family in enumerate(Family)}
NO_FAMILY: Final = len(FAMILY_INDEX)

EXACT, ROOT_ONLY, FULL, TRANSPOSED = range(4)
TOLERANT, SOFT_SHORT, SOFT_LONG = range(4, 7)
EVENTS, EVENTS_TIMED, SHAPES, SHAPES_TIMED = range(7, 11)
WAYS: Final = 11
"""How the past can agree with now.  Beat by beat: in root and family; root; root, quality and
bass; the same at another pitch; as the first but forgiving a differing chord; as the share of the
last beats (short, long) that agree.  Chord by chord, whatever their lengths: in root and family;
at another pitch; each of these also asking how long that chord lasted."""

SOFT_WHOLE: Final = 1 << 20
"""A whole share in the two soft ways."""

LENGTHS: Final = (1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64, 96, 128, 192)
BINS: Final = len(LENGTHS) + 1


@dataclass(frozen=True, slots=True)
class Step:
    """One felt beat as the memory takes it: its chord, and which felt beat of the bar it is.

    `grounded` is whether the player has played the chord's bass; without it the chord may go by
    another name.  `confidence` is how surely it was heard.
    """

    chord: Chord | None
    place: int
    grounded: bool = field(default=False, compare=False)
    confidence: float = field(default=1.0, compare=False)

    @property
    def root(self) -> int:
        """The root as 0..11, or NO_CHORD."""
        return NO_CHORD if self.chord is None else self.chord.root

    @property
    def family(self) -> int:
        """The index of the family, or NO_FAMILY."""
        return NO_FAMILY if self.chord is None else FAMILY_INDEX[self.chord.family]


def place_in_bar(in_bar: Fraction, metre: Metre) -> int:
    """Which felt beat of the bar a place belongs to, from 0; a bar that overruns counts on."""
    bars, rest = divmod(in_bar, metre.bar)
    pulses = metre.pulses
    return int(bars) * len(pulses) + sum(1 for p in pulses if p <= rest) - 1


@dataclass(frozen=True, slots=True)
class Agreement:
    """How the past agrees with one beat.

    `beats` is how many beats there are, the newest included, `chords` how many chords; `lasted`
    how many beats the newest chord has sounded.  `lengths` has a row for each of the ways that go
    beat by beat and a column for each beat but the newest; they are 0 but in the columns `where`,
    which `there` holds alone.  `by_chord` is the same for the two ways that go chord by chord.
    """

    beats: int
    chords: int
    lasted: int
    lengths: Ints
    where: NDArray[np.int64]
    there: Ints
    by_chord: Ints


class Votes(NamedTuple):
    """Who speaks for which root.

    `counts` are the earlier beats (chords, in the ways that go by chord) by root, way and band of
    length; `longest` the longest agreement by root and way, `latest` which beat it was, from 1.
    Band 0 is no agreement; band b from 1 on holds lengths from LENGTHS[b - 1].
    """

    counts: Ints
    longest: Ints
    latest: Ints


def nothing() -> Agreement:
    """How the past agrees before there is any."""
    none: Ints = np.zeros((EVENTS, 0), dtype=np.int32)
    return Agreement(0, 0, 0, none, np.zeros(0, dtype=np.int64), none, none[:2])


def moved(here: Ints, followers: Ints, root: int) -> Ints:
    """The followers, moved by the interval from where they were heard to a root now."""
    if root == NO_CHORD:
        return followers
    turned = (followers - here + root) % 12
    return np.where((followers == NO_CHORD) | (here == NO_CHORD), followers, turned)
