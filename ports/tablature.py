"""Tablature: bars of bass drawn in plain text.

Under each bar's heading: the count, the strings from high to low with the frets, and the degrees
of the chord; x is a ghost note, h is hammered on, / slid into, > leads into the next chord, = rings
over the bar line.

Knows: how a bar is laid out in cells of equal time.
Refuses to know: where the bars come from.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil
from types import MappingProxyType
from typing import Final

from engine.score import Articulation, BassNote
from engine.teaching.written import degree_of
from engine.theory.meter import Metre
from engine.theory.pitch import note_name, spell_near

CELL: Final = 3
_STEPS: Final = (Fraction(1, 2), Fraction(1, 3), Fraction(1, 4), Fraction(1, 6))
_COUNT: Final = "  "
_MARKS: Final = MappingProxyType(
    {Articulation.PLUCKED: "", Articulation.HAMMERED: "h", Articulation.SLID: "/"}
)


@dataclass(frozen=True, slots=True)
class DrawnBar:
    """A bar to be drawn: what stands above it, where it begins, and its notes."""

    heading: str
    start: Fraction
    metre: Metre
    notes: Sequence[BassNote]


def step_of(bars: Iterable[DrawnBar], coarsest: Fraction | None = None) -> Fraction:
    """The coarsest step on which every note lies: a halving of `coarsest`, or an eighth and so on.

    Notes that lie on none (a part mended between two places) are drawn to the nearest sixteenth.
    """
    places = [note.beat - bar.start for bar in bars for note in bar.notes]
    halved = (coarsest, coarsest / 2, coarsest / 4) if coarsest else _STEPS
    fitting = (step for step in halved if not any(place % step for place in places))
    return next(fitting, Fraction(1, 4))


def system(bars: Sequence[DrawnBar], step: Fraction, tuning: Sequence[int]) -> Iterator[str]:
    """Bars side by side, line by line; of `tuning` the lowest string comes first, drawn last."""
    drawn = [_bar(bar, step, len(tuning)) for bar in bars]
    names = [string_name(opened).ljust(2) for opened in reversed(tuning)]
    for label, cells in zip(
        (_COUNT, _COUNT, *names, _COUNT), zip(*drawn, strict=True), strict=True
    ):
        line = f"{label}{'|'.join(cells)}".rstrip(" |")
        yield line + ("|" if label.strip() else "")


def string_name(opened: int) -> str:
    """A string by the name of its open note."""
    return spell_near(opened % 12, 0)


def string_names(tuning: Sequence[int]) -> list[str]:
    """The strings by their open notes, with the octave where two are of one name: D1, A, D2, G."""
    plain = [string_name(opened) for opened in tuning]
    return [
        note_name(opened) if plain.count(name) > 1 else name
        for opened, name in zip(tuning, plain, strict=True)
    ]


def _bar(bar: DrawnBar, step: Fraction, strings: int) -> list[str]:
    count = ceil(bar.metre.bar / step)
    at = _cells(bar, step, count)
    cells = range(count)
    return [
        bar.heading.ljust(CELL * count),
        "".join(_count(i * step, bar.metre).ljust(CELL) for i in cells),
        *(
            "".join(_fret(at.get(i), string).ljust(CELL, "-") for i in cells)
            for string in range(strings, 0, -1)
        ),
        "".join(_degree(at.get(i), bar).ljust(CELL) for i in cells),
    ]


def _cells(bar: DrawnBar, step: Fraction, count: int) -> dict[int, BassNote]:
    """Each note in its cell, or where two share one, the later one in the next."""
    at: dict[int, BassNote] = {}
    for note in bar.notes:
        cell = min(int((note.beat - bar.start) / step + Fraction(1, 2)), count - 1)
        at[cell + (cell in at and cell + 1 < count)] = note
    return at


def _count(in_bar: Fraction, metre: Metre) -> str:
    return str(metre.pulses.index(in_bar) + 1) if in_bar in metre.pulses else "."


def _fret(note: BassNote | None, string: int) -> str:
    if note is None or note.string != string:
        return "-"
    return "x" if note.ghost else _MARKS[note.articulation] + str(note.fret)


def _degree(note: BassNote | None, bar: DrawnBar) -> str:
    if note is None or note.ghost:
        return ""
    lead = ">" if note.aims_at is not None else ""
    held = "=" if note.beat + note.length > bar.start + bar.metre.bar else ""
    return degree_of(note) + lead + held
