"""How well a player is followed through a chart: chords given, one felt beat ahead.

    python -m bench.following FOLDER

The charts are the songs of the folder whose bars all have one length.  Each is played as written;
with a section played twice more than written; from a section in its middle on; and with one chord
in eight replaced by another.  Foreseen and false alarms are those of bench.foresight; a change
into a replaced chord, which nobody could know, is not judged, the change out of it is.
"""

from __future__ import annotations

import argparse
import random
from collections.abc import Callable, Sequence
from fractions import Fraction
from itertools import groupby
from pathlib import Path

from bench.corpus import Song, read_folder
from bench.foresight import HEAD, SEED, WRONG_BY, Calls, Felt, call_song, felt_beats, report
from engine.foresight.chart import Bar, Chart, Section
from engine.foresight.outlook import Foresight
from engine.harmony import Chord
from engine.meter import Metre

Played = Sequence[Section]


def chart_of(song: Song) -> Chart | None:
    """The song as a chart; None if its bars differ in length."""
    lengths = {int(bar.beats) for bar in song.bars}
    if len(lengths) != 1:
        return None
    metre = Metre(lengths.pop(), 4)
    beats = felt_beats(song)
    sections: list[tuple[str, list[Bar]]] = []
    for written, start in zip(song.bars, range(0, len(beats), metre.count), strict=True):
        if written.section or not sections:
            sections.append((written.section, []))
        sections[-1][1].append(_bar([felt.chord for felt in beats[start : start + metre.count]]))
    return Chart(tuple(Section(name, tuple(bars)) for name, bars in sections), metre)


def _bar(chords: Sequence[Chord | None]) -> Bar:
    starts = [i for i in range(len(chords)) if i == 0 or chords[i] != chords[i - 1]]
    return Bar(tuple((Fraction(i), chords[i]) for i in starts))


def as_written(chart: Chart, rng: random.Random) -> list[Section]:
    """Once through."""
    del rng
    return list(chart.sections)


def looped(chart: Chart, rng: random.Random) -> list[Section]:
    """One section is played twice more than written."""
    at = rng.randrange(len(chart.sections))
    return [*chart.sections[:at], *[chart.sections[at]] * 2, *chart.sections[at:]]


def from_the_middle(chart: Chart, rng: random.Random) -> list[Section]:
    """The player starts at a later section, plays to the end and once more from the top."""
    at = rng.randrange(len(chart.sections))
    return [*chart.sections[at:], *chart.sections]


def beats_of(played: Played, metre: Metre) -> list[Felt]:
    """The felt beats of sections in a row."""
    bars = [bar for section in played for bar in section.bars]
    return [
        Felt(i * metre.bar + pulse, pulse, metre, bar.at(pulse))
        for i, bar in enumerate(bars)
        for pulse in metre.pulses
    ]


def with_substitutes(beats: Sequence[Felt], rng: random.Random) -> tuple[list[Felt], set[int]]:
    """One chord in eight on another root; also the beats at which such a chord enters."""
    out: list[Felt] = []
    entries = set()
    for chord, group in groupby(beats, key=lambda felt: felt.chord):
        turn = rng.choice(WRONG_BY) if rng.random() < 1 / 8 and chord is not None else 0
        if turn:
            entries.add(len(out))
        for felt in group:
            sounding = felt.chord and felt.chord.transposed(turn)
            out.append(Felt(felt.beat, felt.in_bar, felt.metre, sounding))
    return out, entries


def follow(chart: Chart, beats: Sequence[Felt], unjudged: set[int]) -> Calls:
    """What is expected of a player by someone who has the chart."""
    calls = call_song(beats, [felt.chord for felt in beats], Foresight(chart=chart))
    return calls.without(unjudged)


WAYS: tuple[tuple[str, Callable[[Chart, random.Random], list[Section]]], ...] = (
    ("as written", as_written),
    ("a section twice more", looped),
    ("from a middle section on", from_the_middle),
)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--songs", type=int, help="only the first so many")
    options = parser.parse_args()
    charts = [c for song in read_folder(options.folder)[: options.songs] if (c := chart_of(song))]
    print(f"{len(charts)} charts, tables as shipped")
    print(HEAD)
    for name, way in WAYS:
        rng, total = random.Random(SEED), Calls()
        for chart in charts:
            total.add(follow(chart, beats_of(way(chart, rng), chart.metre), set()))
        print(report(total, name), flush=True)
    rng, total = random.Random(SEED), Calls()
    for chart in charts:
        beats, entries = with_substitutes(beats_of(chart.sections, chart.metre), rng)
        total.add(follow(chart, beats, entries))
    print(report(total, "one chord in eight replaced"))


if __name__ == "__main__":
    main()
