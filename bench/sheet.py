"""The same eight bars in every style, as tablature: what docs/styles.md is made of.

Under each bar's chord: the count, the strings of the bass from high to low with the frets, and
the degrees of the chord; x is a ghost note, > leads into the next chord, = rings over.

Usage: python -m bench.sheet > docs/styles.md
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from fractions import Fraction

from bench.charts import Change, play
from engine.harmony import Key
from engine.labels import parse_symbol, symbol
from engine.meter import Metre
from engine.score import BassNote
from engine.style import Style
from presets.loader import load, names

# Changes of our own: minor, a secondary dominant, a slash chord and a diminished one.
CHART = "F | F/A | Bbmaj7 | Bdim7 | F/C | D7b9 | Gm7 C7 | F6"
KEY = Key(5)
BARS_A_LINE = 2
STRINGS = "EADG"
CELL = 3


def changes(chart: str) -> list[Change]:
    """The chart as places and chords."""
    found = []
    for bar, symbols in enumerate(chart.split("|")):
        words = symbols.split()
        found += [(bar + Fraction(i, len(words)), parse_symbol(w)) for i, w in enumerate(words)]
    return found


def page() -> Iterator[str]:
    """The whole page, line by line."""
    yield "# The styles"
    yield ""
    yield "The same eight bars in every style, as written for seed 1."
    yield f"The changes: `{CHART}`, in F."
    yield "Each line of tablature is a string, G on top; under it the degrees of the chord."
    yield "`x` is a ghost note, `>` leads into the chord that is coming, `=` rings over the bar."
    yield "This page is made by `python -m bench.sheet > docs/styles.md`."
    for name in names():
        yield from _style(load(name))


def _style(style: Style) -> Iterator[str]:
    metre = style.metres[0]
    tempo = f"{style.tempo.low:g} to {style.tempo.high:g}"
    yield ""
    yield f"## {style.title}"
    yield ""
    yield f"`{style.name}`, {metre}, quarter note = {tempo}. {style.description}"
    yield ""
    yield "```text"
    part = play(style, changes(CHART), KEY)[: CHART.count("|") + 1]
    step = _step(part, metre, style)
    for start in range(0, len(part), BARS_A_LINE):
        yield from _system(part[start : start + BARS_A_LINE], start, metre, step)
    yield "```"


def _step(part: Sequence[Sequence[BassNote]], metre: Metre, style: Style) -> Fraction:
    """The coarsest step on which every note of the part lies."""
    step = style.rhythm.grid.step
    while any(n.beat % metre.bar % step for bar in part for n in bar):
        step /= 2
    return step


def _system(
    bars: Sequence[Sequence[BassNote]], first: int, metre: Metre, step: Fraction
) -> Iterator[str]:
    rows = [_bar(bar, first + i, metre, step) for i, bar in enumerate(bars)]
    for heads in zip(*rows, strict=True):
        yield f"{heads[0][0]}{'|'.join(text for _, text in heads)}|".rstrip(" |") + (
            "|" if heads[0][0].strip() else ""
        )
    yield ""


def _bar(
    notes: Sequence[BassNote], number: int, metre: Metre, step: Fraction
) -> list[tuple[str, str]]:
    start = number * metre.bar
    count = int(metre.bar / step)
    at = {int((note.beat - start) / step): note for note in notes}
    rows = [("  ", _chords(number).ljust(CELL * count))]
    rows.append(("  ", "".join(_count(i * step, metre).ljust(CELL) for i in range(count))))
    for string in range(len(STRINGS), 0, -1):
        cells = (_fret(at.get(i), string) for i in range(count))
        rows.append((STRINGS[string - 1] + " ", "".join(cell.ljust(CELL, "-") for cell in cells)))
    end = start + metre.bar
    rows.append(("  ", "".join(_degree(at.get(i), end).ljust(CELL) for i in range(count))))
    return rows


def _chords(number: int) -> str:
    chords = [chord for place, chord in changes(CHART) if int(place) == number]
    return "  ".join(symbol(chord, KEY) for chord in chords)


def _count(in_bar: Fraction, metre: Metre) -> str:
    return str(metre.pulses.index(in_bar) + 1) if in_bar in metre.pulses else "."


def _fret(note: BassNote | None, string: int) -> str:
    if note is None or note.string != string:
        return "-"
    return "x" if note.ghost else str(note.fret)


def _degree(note: BassNote | None, end: Fraction) -> str:
    if note is None or note.ghost:
        return ""
    lead = ">" if note.aims_at is not None else ""
    held = "=" if note.beat + note.length > end else ""
    return note.chord.degree_of(note.note % 12) + lead + held


def main() -> None:
    """Print the page."""
    argparse.ArgumentParser(description=__doc__.split("\n")[0]).parse_args()
    print("\n".join(page()))


if __name__ == "__main__":
    main()
