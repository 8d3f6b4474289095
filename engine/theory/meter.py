"""Metre: where a moment lies in the bar.

Knows: metres, bars, and the weight of a place in the bar.
Refuses to know: seconds (that is pulse.py), notes.
How: `beat` is always a Fraction counted in quarter notes from the start of the song and says
where something is written; `position` is the same scale as a float and says where we are now.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from math import ceil
from typing import Final

_SIGNATURE: Final = re.compile(r"(\d+)\s*/\s*(\d+)")

HALF_BAR: Final = 3
"""The weight of the middle of a bar, see Metre.weight."""
ON_THE_BEAT: Final = 0.2
"""What comes this little before or after a felt beat, in quarter notes, is meant on it."""


@dataclass(frozen=True, slots=True)
class Metre:
    """A time signature, such as 4/4 or 12/8.

    Raises:
        ValueError: a number that no time signature has.
    """

    count: int = 4
    unit: int = 4
    # Worked out once: where we are in the bar is asked at every event.
    bar: Fraction = field(init=False, repr=False, compare=False)
    """Length of a bar in quarter notes."""

    def __post_init__(self) -> None:
        if not 1 <= self.count <= 32 or self.unit not in (1, 2, 4, 8, 16, 32):
            raise ValueError(f"the metre is {self.count}/{self.unit}; give one such as 4/4 or 12/8")
        object.__setattr__(self, "bar", Fraction(4 * self.count, self.unit))

    @classmethod
    def of(cls, written: str) -> Metre:
        """A time signature as it is written: "4/4", "12/8".

        Raises:
            ValueError: it is none.
        """
        found = _SIGNATURE.fullmatch(written)
        if found is None:
            raise ValueError(f"the metre is {written!r}; give one such as 4/4 or 12/8")
        return cls(int(found[1]), int(found[2]))

    @property
    def pulses(self) -> tuple[Fraction, ...]:
        """Where in the bar the felt beats fall, in quarter notes from the bar line.

        Eighth-note metres are felt in threes, the last groups in twos where three do not fit:
        6/8 has two beats, 12/8 four, 7/8 is 2+2+3.
        """
        return _pulses(self.count, self.unit)

    def pulse_from(self, in_bar: Fraction) -> Fraction:
        """The first felt beat at or after a place in the bar; the next bar line after the last."""
        return next((p for p in self.pulses if p >= in_bar), self.bar)

    def start_of(self, felt_beat: int) -> Fraction:
        """Where a felt beat starts, in quarter notes from the bar line; counts overrun the bar."""
        return _start_of(self, felt_beat)

    def later(self, in_bar: float, felt_beats: int) -> float:
        """The place so many felt beats later, as far within its own beat; both in quarter notes."""
        bars, place = divmod(in_bar, float(self.bar))
        count = bisect_right(self.pulses, place) - 1 + int(bars) * len(self.pulses)
        begins, ends = float(self.start_of(count)), float(self.start_of(count + 1))
        share = (in_bar - begins) / (ends - begins)
        there = float(self.start_of(count + felt_beats))
        return there + share * (float(self.start_of(count + felt_beats + 1)) - there)

    def felt_beat_at(self, in_bar: Fraction) -> tuple[Fraction, Fraction]:
        """The felt beat that a place lies in: where it begins and how long it is.

        Both in quarter notes, the place and the beginning from the same bar line; a place before
        or after the bar lies in a bar of the same metre.
        """
        bars, place = divmod(in_bar, self.bar)
        begins = max(p for p in self.pulses if p <= place)
        ends = next((p for p in self.pulses if p > place), self.bar)
        return bars * self.bar + begins, ends - begins

    def weight(self, in_bar: Fraction) -> int:
        """How strong a place in the bar is: 4 bar line, 3 half bar, 2 beat, 1 half beat, 0 else."""
        return _weight(self.count, self.unit, in_bar)

    def __str__(self) -> str:
        """As written at the start of a staff: 4/4."""
        return f"{self.count}/{self.unit}"


@lru_cache(maxsize=1024)
def _weight(count: int, unit: int, in_bar: Fraction) -> int:
    if in_bar == 0:
        return 4
    pulses = _pulses(count, unit)
    if in_bar in pulses:
        middle = len(pulses) % 2 == 0 and in_bar == pulses[len(pulses) // 2]
        return 3 if middle else 2
    return 1 if in_bar % Fraction(1, 2) == 0 else 0


@lru_cache(maxsize=64)
def _pulses(count: int, unit: int) -> tuple[Fraction, ...]:
    if unit <= 4:
        return tuple(Fraction(4 * i, unit) for i in range(count))
    starts = []
    at = 0
    for group in _groups(count):
        starts.append(Fraction(4 * at, unit))
        at += group
    return tuple(starts)


def _groups(count: int) -> list[int]:
    if count % 3 == 0:
        return [3] * (count // 3)
    twos = {1: 2, 2: 1}[count % 3]
    threes = (count - 2 * twos) // 3
    if threes < 0:
        return [1] * count
    return [2] * twos + [3] * threes


CLOCKS_PER_QUARTER: Final = 24
"""The grid of the MIDI clock (MIDI 1.0): a felt beat lies on it, and nothing is placed finer."""


@lru_cache(maxsize=256)  # fractions are slow, and a look ahead asks eight times
def _start_of(metre: Metre, felt_beat: int) -> Fraction:
    bars, rest = divmod(felt_beat, len(metre.pulses))
    return bars * metre.bar + metre.pulses[rest]


FOUR_FOUR: Final = Metre(4, 4)


@dataclass(frozen=True, slots=True)
class Moment:
    """One point in time, in seconds and in the song.

    `at` is seconds on the caller's clock, `position` quarter notes from the start of the song
    (negative in a count-in), `bar_start` where the running bar began, `seconds_per_beat` the
    length of a quarter note now.
    """

    at: float
    position: float
    bar_start: Fraction
    bar: int
    metre: Metre
    seconds_per_beat: float

    @property
    def in_bar(self) -> float:
        """Quarter notes since the bar line."""
        return self.position - float(self.bar_start)

    @property
    def weight(self) -> int:
        """How strong this place in the bar is, see Metre.weight."""
        return self.metre.weight(Fraction(self.in_bar).limit_denominator(CLOCKS_PER_QUARTER))

    def later(self, felt_beats: int) -> float:
        """The place in the song so many felt beats later, see Metre.later."""
        return float(self.bar_start) + self.metre.later(self.in_bar, felt_beats)

    def next_beat(self, *, beyond: bool = False) -> Fraction:
        """The first felt beat from here on, the one that is right here left out if `beyond`."""
        ticks = max(ceil((self.in_bar - 1e-6) * CLOCKS_PER_QUARTER), 0) + beyond
        return self.bar_start + self.metre.pulse_from(Fraction(ticks, CLOCKS_PER_QUARTER))
