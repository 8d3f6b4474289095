"""Figures: a bar's rhythm and the tones it likes, as they are written in a preset.

Knows: what the signs and the tones of a figure mean.
Refuses to know: which figure is played when, and over which chord.
How: two lines are read to strokes, each with its place, its length, its accent and its tone.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction
from typing import Final

from engine.limits import StyleError
from engine.theory.meter import FOUR_FOUR, Metre

PLAIN: Final = 0.6
GHOST: Final = 0.2
"""The accents of a plain stroke and of a ghost."""
_SIGN_ACCENT: Final = {"X": 1.0, "x": PLAIN, "g": GHOST}
TONE: Final = re.compile(r">?[b#]?(?:10|[1-9]),?|[*]|>(?![b#]?[1-9])")
"""A tone of a figure; what follows it never makes another one of it (>1 is not > and 1)."""

BEYOND: Final = re.compile(r">?(?:13|[b#]1[13]),?")
"""What is no tone of a figure: as a word by itself it is one of a chord.

Tones may stand as close as their strokes, 11 55 is 1 1 5 5, but who writes 13 means no root and
third.
"""

FREE: Final = "*"
LEAD: Final = ">"
OCTAVE: Final = "8"


class Grid(Enum):
    """The finest step that a figure is written on; the value is steps to a quarter note."""

    EIGHTHS = 2
    TRIPLETS = 3
    SIXTEENTHS = 4

    @property
    def step(self) -> Fraction:
        """Length of one step in quarter notes."""
        return Fraction(1, self.value)


@dataclass(frozen=True, slots=True)
class Stroke:
    """One stroke of a figure: where it falls in the bar and how long it may ring.

    `tone` is a degree ("5", "b7", "5," for the fifth below the root, "8" for the octave), `*`
    where the search may choose, `>` where the note leads into the next chord, or `>1` where it
    is the next chord's root, sounded early and held over; `>5` is a fifth where the chord stays.
    """

    in_bar: Fraction
    length: Fraction
    accent: float
    ghost: bool
    tone: str = FREE

    @property
    def early(self) -> bool:
        """Whether it anticipates the next chord."""
        return self.tone.startswith(LEAD) and self.tone != LEAD


@dataclass(frozen=True, slots=True)
class Figure:
    """A bar's rhythm as a line of signs, one to a step of the grid, and the tones it likes.

    X accented, x plain, g ghost, - the note rings on, . silence; blanks are for the eye.
    """

    strokes: tuple[Stroke, ...]
    metre: Metre = FOUR_FOUR
    weight: float = 1

    @classmethod
    def of(
        cls, signs: str, tones: str, grid: Grid, metre: Metre = FOUR_FOUR, weight: float = 1
    ) -> Figure:
        """Read a figure from its two lines.

        Raises:
            StyleError: a sign or tone that means nothing, lines of the wrong length, or a grid
                that does not fill the bar.
        """
        line = "".join(signs.split())
        steps = _steps(grid, metre)
        if len(line) != steps:
            wanted = f"{steps} signs for a bar of {metre} in {grid.name.lower()}"
            raise StyleError("strokes", f"{signs!r} ({len(line)} signs)", wanted)
        if line.strip("Xxg-.") or not line.strip("-."):
            raise StyleError("strokes", repr(signs), "X, x, g, - and . with at least one stroke")
        words = _tones(tones, sum(sign in "Xx" for sign in line))
        return cls(tuple(_strokes(line, words, grid.step)), metre, weight)


def _steps(grid: Grid, metre: Metre) -> int:
    steps = metre.bar / grid.step
    if steps.denominator > 1:
        fit = [each.name.lower() for each in Grid if (metre.bar / each.step).denominator == 1]
        said = f"{grid.name.lower()}, which do not fill a bar of {metre} evenly"
        wanted = " or ".join(fit) or "a metre that they fill, such as 4/4"
        raise StyleError("rhythm.grid", said, wanted)
    return int(steps)


def _tones(tones: str, count: int) -> list[str]:
    beyond = [word for word in tones.split() if BEYOND.fullmatch(word)]
    strange = beyond or TONE.sub("", tones).split()
    if strange:
        wanted = "degrees such as 1 b3 5 5, 8; * is free, > leads on, >1 is the next root early"
        raise StyleError("tones", strange[0], wanted)
    words = TONE.findall(tones) or [FREE] * count
    if len(words) != count:
        raise StyleError(
            "tones", f"{tones!r} ({len(words)} tones)", f"{count}, one for each X or x"
        )
    return words


def _strokes(line: str, words: list[str], step: Fraction) -> list[Stroke]:
    found = []
    tones = iter(words)
    for place, sign in enumerate(line):
        if sign in "-.":
            continue
        rest = line[place + 1 :]
        ring = 1 + len(rest) - len(rest.lstrip("-"))
        tone = FREE if sign == "g" else next(tones)
        found.append(Stroke(place * step, ring * step, _SIGN_ACCENT[sign], sign == "g", tone))
    return found
