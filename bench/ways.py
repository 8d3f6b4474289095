"""Whether the ways into changes follow the preset: semitones set to none, three in ten, and all.

Each preset is made to lead into every change, by semitones for the given share and by fifth or
scale step for the rest.  Counted are the changes before which the figure has a stroke to lead
with: not the chord's first note, and not the first of a bar, which a root owns, on its beat or
early and held over the bar line.

Usage: python -m bench.ways CORPUS [--preset NAME ...] [--songs N]
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction

from bench.arguments import folder_of_songs, from_one, run
from bench.charts import Chart, charts_in, play
from engine.line.placing import is_new
from engine.score import BassNote
from engine.style import Style, Way
from presets.loader import load, names

SHARES = (0.0, 0.3, 1.0)
SEMITONES = (Way.SEMITONE_BELOW, Way.SEMITONE_ABOVE)
OTHERS = (Way.FIFTH, Way.SCALE_BELOW, Way.SCALE_ABOVE)


def leading_by(style: Style, share: float) -> Style:
    """The style, led into every change, by semitones for a share of them."""
    weights = [(way, share / len(SEMITONES)) for way in SEMITONES]
    weights += [(way, (1 - share) / len(OTHERS)) for way in OTHERS]
    ways = tuple((way, weight) for way, weight in weights if weight)
    return replace(style, approach=replace(style.approach, led=1, ways=ways))


def arrivals(style: Style, charts: Sequence[Chart]) -> Iterator[bool]:
    """For each change with room before it whether a semitone leads there."""
    bar = style.metres[0].bar
    for seed, (changes, key) in enumerate(charts):
        part = play(style, changes, key, seed)
        notes = [n for notes in part for n in notes if not n.ghost]
        for first, last, new in zip(notes, notes[1:], notes[2:], strict=False):
            leads = first.chord == last.chord and not _is_one(last, bar)
            if is_new(new.chord, last.chord) and leads:
                yield (new.note - last.note) % 12 in (1, 11)


def _is_one(note: BassNote, bar: Fraction) -> bool:
    """Whether a note is the first of a bar, or is held over into it."""
    return note.beat % bar == 0 or note.beat % bar + note.length > bar


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("corpus", type=folder_of_songs)
    parser.add_argument("--preset", action="append", help="only this one; may be given again")
    parser.add_argument("--songs", type=from_one, default=12, help="how many songs")
    arguments = parser.parse_args()
    charts = charts_in(arguments.corpus, arguments.songs)
    print(f"{'semitones wanted':18}" + "".join(f"{share:8.0%}" for share in SHARES))
    for name in arguments.preset or names():
        style = load(name)
        cells = []
        for share in SHARES:
            led = list(arrivals(leading_by(style, share), charts))
            cells.append(f"{sum(led) / len(led):8.1%}" if led else f"{'-':>8}")
        print(f"{name:18}" + "".join(cells) + f"   of {len(led)} changes")


if __name__ == "__main__":
    run(main)
