"""The same eight bars in every style, as tablature: what docs/styles.md is made of.

How a bar is drawn is told in ports/tablature.py.

Usage: python -m bench.sheet > docs/styles.md
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from fractions import Fraction

from bench.arguments import run
from bench.charts import Change, play
from engine.style import Style
from engine.teaching.written import respelled
from engine.theory.harmony import Key
from engine.theory.symbols import parse_symbol, symbol
from ports.tablature import DrawnBar, step_of, system
from presets.loader import load, names

# Changes of our own: minor, a secondary dominant, a slash chord and a diminished one.
CHART = "F | F/A | Bbmaj7 | Bdim7 | F/C | D7b9 | Gm7 C7 | F6"
KEY = Key(5)
BARS_A_LINE = 2


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
    yield "`x` is a ghost note, `h` is hammered on and `/` slid into from the note before."
    yield "`>` leads into the chord that is coming, `=` rings over the bar."
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
    bars = [
        DrawnBar(_chords(number), number * metre.bar, metre, [respelled(n, KEY, ()) for n in notes])
        for number, notes in enumerate(part)
    ]
    step = step_of(bars, style.rhythm.grid.step)
    for first in range(0, len(bars), BARS_A_LINE):
        yield from system(bars[first : first + BARS_A_LINE], step, style.neck.tuning)
        yield ""
    yield "```"


def _chords(number: int) -> str:
    chords = [chord for place, chord in changes(CHART) if int(place) == number]
    return "  ".join(symbol(chord, KEY) for chord in chords)


def main() -> None:
    """Print the page."""
    argparse.ArgumentParser(description=__doc__.split("\n")[0]).parse_args()
    print("\n".join(page()))


if __name__ == "__main__":
    run(main)
