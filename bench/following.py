"""How well a player is followed through a chart: chords given, one felt beat ahead.

    python -m bench.following FOLDER [--songs N] [--preset NAME]
        [--heard MANNER [--lead]] [--folds CACHE]

The charts are the songs of the folder whose bars all have one length.  Each is played as written;
with a section played twice more than written; from a section in its middle on; with one chord in
eight replaced by another; and three times through, with one chord in eight of the chart replaced
by the same other chord every time.  Foreseen and false alarms are those of bench.foresight.  What
nobody could know is not judged: a change into a replaced chord (the change out of it is; and where
it is the same every time, the change into it the third time), and, after a step back to the start
of a section that was to be left, the first beat that tells the two apart (the way out of the loop
is judged).
With `--heard` the chords are not given but played in a manner of bench.voicings to the whole
engine, which has the chart; with `--lead` it has no chart, and the keys come a felt beat early.
Then the figures are those of bench.expecting and bench.landing; every change is to be landed on,
and with `--lead` every change is judged.  With `--folds` all is heard and foreseen with tables
that were fitted on other songs (see bench.folds).
"""

from __future__ import annotations

import argparse
import random
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import groupby, takewhile
from pathlib import Path
from tempfile import TemporaryDirectory

from bench.arguments import a_folder, folder_of_songs, from_one, run
from bench.corpus import Label, MetreChange, Song, read_charts
from bench.expecting import Measured, save
from bench.folds import Taught, taught_from
from bench.foresight import (
    HEAD,
    SEED,
    WRONG_BY,
    Calls,
    Felt,
    call_song,
    felt_beats,
    report,
    root_of,
)
from bench.landing import count
from bench.playing import take
from bench.voicings import MANNERS, merged, render
from engine.foresight.chart import Bar, Chart, Section
from engine.foresight.outlook import Foresight
from engine.style import Style
from engine.theory.harmony import C_MAJOR, Chord
from engine.theory.labels import harte
from engine.theory.meter import Metre
from ports.files import FileError
from presets.loader import load


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


def as_written(sections: int, rng: random.Random) -> list[int]:
    """Once through."""
    del rng
    return list(range(sections))


def looped(sections: int, rng: random.Random) -> list[int]:
    """One section is played twice more than written."""
    at = rng.randrange(sections)
    return [*range(at), at, at, *range(at, sections)]


def from_the_middle(sections: int, rng: random.Random) -> list[int]:
    """The player starts at a later section, plays to the end and once more from the top."""
    return [*range(rng.randrange(sections), sections), *range(sections)]


def beats_of(chart: Chart, order: Sequence[int]) -> tuple[list[Felt], set[int]]:
    """The felt beats of sections in this order, and those that nobody could know."""
    metre = chart.metre
    out: list[Felt] = []
    unknowable = set()
    for k, section in enumerate(order):
        if k and order[k - 1] == section:
            on = _roots(chart, range(section + 1, len(chart.sections)))
            back = _roots(chart, order[k:])
            unknowable.add(
                len(out) + sum(1 for _ in takewhile(_alike, zip(on, back, strict=False)))
            )
        for bar in chart.sections[section].bars:
            start = len(out) // len(metre.pulses) * metre.bar
            out += [Felt(start + p, p, metre, bar.at(p)) for p in metre.pulses]
    return out, unknowable


def _roots(chart: Chart, order: Sequence[int]) -> list[int]:
    bars = [bar for section in order for bar in chart.sections[section].bars]
    return [root_of(bar.at(pulse)) for bar in bars for pulse in chart.metre.pulses]


def _alike(pair: tuple[int, int]) -> bool:
    return pair[0] == pair[1]


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


def with_the_same_substitutes(chart: Chart, rng: random.Random) -> tuple[list[Felt], set[int]]:
    """Three times through, one chord in eight on another root, every time the same."""
    sections = range(len(chart.sections))
    once, entries = with_substitutes(beats_of(chart, sections)[0], rng)
    length = len(chart.bars) * chart.metre.bar
    beats = [replace(felt, beat=felt.beat + i * length) for i in range(3) for felt in once]
    return beats, {i * len(once) + entry for i in range(2) for entry in entries}


Play = tuple[list[Felt], set[int]]


def follow(chart: Chart, play: Play, taught: Taught) -> Calls:
    """What is expected of a player by someone who has the chart."""
    beats, unjudged = play
    foresight = Foresight(taught.foresight, chart)
    return call_song(beats, [felt.chord for felt in beats], foresight).without(unjudged)


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
    measured: Measured = field(default_factory=Measured)

    def add(self, chart: Chart, play: Play, number: str, taught: Taught) -> None:
        """Play one and count."""
        beats, unjudged = play
        metre = chart.metre
        song = render(as_song(beats, metre, number), self.manner, SEED)
        early = float(metre.bar) / len(metre.pulses) if self.lead else 0.0
        notes = tuple(n._replace(start=n.start - early, end=n.end - early) for n in song.notes)
        with TemporaryDirectory() as folder:
            save(replace(song, notes=notes), Path(folder))
            foresight = None if self.lead else Foresight(taught.foresight, chart)
            played = take(
                song, Path(folder), self.style, 1, foresight, int(self.lead), taught=taught
            )
        later = [replace(felt, beat=felt.beat + metre.bar) for felt in beats]
        self.measured.tally.add_song(later, played, set() if self.lead else unjudged)
        count(song, played, self.measured.landing)


WAYS: tuple[tuple[str, Callable[[int, random.Random], list[int]]], ...] = (
    ("as written", as_written),
    ("a section twice more", looped),
    ("from a middle section on", from_the_middle),
)


def plays(charts: Sequence[Chart]) -> Iterator[tuple[str, list[Play]]]:
    """Each way of playing, and every chart played so: the beats, and which are not judged."""
    for name, way in WAYS:
        rng = random.Random(SEED)
        yield name, [beats_of(chart, way(len(chart.sections), rng)) for chart in charts]
    rng = random.Random(SEED)
    written = [beats_of(chart, range(len(chart.sections)))[0] for chart in charts]
    yield "one chord in eight replaced", [with_substitutes(beats, rng) for beats in written]
    rng = random.Random(SEED)
    yield "... by the same each time", [with_the_same_substitutes(chart, rng) for chart in charts]


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("folder", type=folder_of_songs)
    parser.add_argument("--songs", type=from_one, help="only the first so many")
    parser.add_argument("--heard", choices=MANNERS, help="play to the whole engine in this manner")
    parser.add_argument("--lead", action="store_true", help="no chart, but keys a beat early")
    parser.add_argument("--preset", default="soul")
    parser.add_argument(
        "--folds", type=a_folder, metavar="CACHE", help="tables fitted on other songs"
    )
    options = parser.parse_args()
    if options.lead and options.heard is None:
        parser.error("--lead is about keys that are played; say in which manner: --heard MANNER")
    style, taught = load(options.preset), taught_from(options.folds)
    songs = read_charts(options.folder)[: options.songs]
    charted = [(song, chart) for song in songs if (chart := chart_of(song))]
    if not charted:
        raise FileError(f"{options.folder} has no chart whose bars are all of one length")
    charts = [chart for _, chart in charted]
    which = "fitted on other songs" if options.folds else "as shipped"
    print(f"{len(charts)} of {len(songs)} charts, tables {which}")
    if options.heard is None:
        print(HEAD)
    for name, played in plays(charts):
        if options.heard is None:
            total = Calls()
            for (song, chart), play in zip(charted, played, strict=True):
                total.add(follow(chart, play, taught(song)))
            print(report(total, name), flush=True)
            continue
        heard = Heard(options.heard, style, options.lead)
        for i, ((song, chart), play) in enumerate(zip(charted, played, strict=True)):
            heard.add(chart, play, str(i), taught(song))
        print(heard.measured.report(name), flush=True)


if __name__ == "__main__":
    run(main)
