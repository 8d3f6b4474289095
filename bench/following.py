"""How well a player is followed through a chart: chords given, one felt beat ahead.

    python -m bench.following FOLDER [--songs N] [--heard MANNER [--lead]] [--preset NAME]

The charts are the songs of the folder whose bars all have one length.  Each is played as written;
with a section played twice more than written; from a section in its middle on; and with one chord
in eight replaced by another.  Foreseen and false alarms are those of bench.foresight; a change
into a replaced chord, which nobody could know, is not judged, the change out of it is.
With `--heard` the chords are not given but played in a manner of bench.voicings to the whole
engine, which has the chart; with `--lead` it has no chart, and the keys come a felt beat early.
Then the figures are those of bench.expecting and bench.landing; every change is to be landed on,
and with `--lead` every change is judged.
"""

from __future__ import annotations

import argparse
import random
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import groupby
from pathlib import Path
from tempfile import TemporaryDirectory

from bench.corpus import Label, MetreChange, Song, read_folder
from bench.expecting import Tally, save
from bench.foresight import HEAD, SEED, WRONG_BY, Calls, Felt, call_song, felt_beats, report
from bench.landing import Landing, count
from bench.playing import take
from bench.voicings import MANNERS, merged, render
from engine.foresight.chart import Bar, Chart, Section
from engine.foresight.outlook import Foresight
from engine.harmony import C_MAJOR, Chord
from engine.labels import harte
from engine.meter import Metre
from engine.style import Style
from presets.loader import load

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


def as_song(beats: Sequence[Felt], metre: Metre, number: str) -> Song:
    """What is played as a song with labels, an empty bar before it."""
    label = [(beat.beat + metre.bar, harte(beat.chord, C_MAJOR)) for beat in beats]
    ends = [at for at, _ in label[1:]] + [label[-1][0] + 1]
    labels = tuple(
        Label(float(at), float(end), name) for (at, name), end in zip(label, ends, strict=True)
    )
    change = MetreChange(Fraction(0), metre)
    return Song("played", number, tuple(merged(labels)), metres=(change,))


@dataclass
class Heard:
    """Charts played to the whole engine, and the counts of what came of it."""

    manner: str
    style: Style
    lead: bool
    tally: Tally = field(default_factory=Tally)
    landing: Landing = field(default_factory=Landing)

    def add(self, chart: Chart, beats: Sequence[Felt], unjudged: set[int], number: str) -> None:
        """Play one and count."""
        metre = chart.metre
        song = render(as_song(beats, metre, number), self.manner, SEED)
        early = float(metre.bar) / len(metre.pulses) if self.lead else 0.0
        notes = tuple(n._replace(start=n.start - early, end=n.end - early) for n in song.notes)
        with TemporaryDirectory() as folder:
            save(replace(song, notes=notes), Path(folder))
            foresight = None if self.lead else Foresight(chart=chart)
            played = take(song, Path(folder), self.style, 1, foresight, int(self.lead))
        later = [replace(felt, beat=felt.beat + metre.bar) for felt in beats]
        self.tally.add_song(later, played, set() if self.lead else unjudged)
        count(song, played, self.landing)

    def report(self, title: str) -> str:
        """The figures as lines."""
        return f"{self.tally.report(title)}\n  {self.landing.report()}"


WAYS: tuple[tuple[str, Callable[[Chart, random.Random], list[Section]]], ...] = (
    ("as written", as_written),
    ("a section twice more", looped),
    ("from a middle section on", from_the_middle),
)


Play = tuple[list[Felt], set[int]]


def plays(charts: Sequence[Chart]) -> Iterator[tuple[str, list[Play]]]:
    """Each way of playing, and every chart played so: the beats, and which are not judged."""
    for name, way in WAYS:
        rng = random.Random(SEED)
        yield name, [(beats_of(way(chart, rng), chart.metre), set()) for chart in charts]
    rng = random.Random(SEED)
    yield (
        "one chord in eight replaced",
        [with_substitutes(beats_of(chart.sections, chart.metre), rng) for chart in charts],
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--songs", type=int, help="only the first so many")
    parser.add_argument("--heard", choices=MANNERS, help="play to the whole engine in this manner")
    parser.add_argument("--lead", action="store_true", help="no chart, but keys a beat early")
    parser.add_argument("--preset", default="soul")
    options = parser.parse_args()
    charts = [c for song in read_folder(options.folder)[: options.songs] if (c := chart_of(song))]
    print(f"{len(charts)} charts, tables as shipped")
    if options.heard is None:
        print(HEAD)
    for name, played in plays(charts):
        if options.heard is None:
            total = Calls()
            for chart, (beats, unjudged) in zip(charts, played, strict=True):
                total.add(follow(chart, beats, unjudged))
            print(report(total, name), flush=True)
            continue
        heard = Heard(options.heard, load(options.preset), options.lead)
        for i, (chart, (beats, unjudged)) in enumerate(zip(charts, played, strict=True)):
            heard.add(chart, beats, unjudged, str(i))
        print(heard.report(name), flush=True)


if __name__ == "__main__":
    main()
