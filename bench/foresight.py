"""How well the next chord is foreseen, on charts: chords given, one felt beat ahead.

    python -m bench.foresight FOLDER... [--misheard 0.05] [--folds DIR] [--ahead 8] [--cost HOURS]

A root change is a felt beat whose root differs from the one before, both sounding; foreseen is
the share of them whose new root was the likeliest a beat earlier.  Repeated: the eight beats up
to then (root, family, place in the bar) occurred before in the song; new: they did not.  A false
alarm is another beat for which a change was expected with a probability of a half or more (in
"any" with whatever probability).  ECE is the expected calibration error over fifteen bands.

--misheard gives that share of chord segments a wrong root, a third to a sixth away, as an ear
might; only beats whose present root was heard right are judged, against the true next root.
--folds judges each song with tables fitted without its fold, read from fold0.py to fold4.py in DIR
(bench.fit_foresight --fold K writes them); without it the shipped tables are used, and they have
seen these songs if they are the songs of development.
"""

from __future__ import annotations

import argparse
import random
import zlib
from collections.abc import Callable, Container, Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from math import nan
from pathlib import Path
from time import process_time

import numpy as np

from bench.arguments import a_folder, above_nought, folder_of_songs, run, share
from bench.corpus import Song, read_folder
from bench.taught import named_in
from engine.foresight.outlook import FARTHEST, Foresight
from engine.foresight.standing import Present
from engine.foresight.tables import DEFAULT, Tables, unpack_tables
from engine.theory.harmony import C_MAJOR, Chord
from engine.theory.labels import parse_harte
from engine.theory.meter import Metre, Moment

NO_ROOT = 12
SEED = 2
FIFTHS = 5
WRONG_BY = (3, 4, 5, 7, 8, 9)
BANDS = 15

chord_of = lru_cache(maxsize=None)(parse_harte)


@dataclass(frozen=True)
class Felt:
    """A felt beat of a song: where it is, and the chord that sounds there."""

    beat: Fraction
    in_bar: Fraction
    metre: Metre
    chord: Chord | None


def root_of(chord: Chord | None) -> int:
    """The root, or NO_ROOT."""
    return NO_ROOT if chord is None else chord.root


def fifth_of(number: str) -> int:
    """Which fifth of all songs a song is judged with."""
    return zlib.crc32(number.encode()) % FIFTHS


def fitted_in(path: Path) -> Tables:
    """The tables of a data module that is not installed.

    Raises:
        FileError: it is not there, or is another kind of file.
    """
    return unpack_tables(*named_in(path, ("COUNTS", "NETWORKS"), "bench.fit_foresight"))


def tables_by_song(folder: Path | None) -> Callable[[str], Tables]:
    """Which tables foresee the song of a number: those of its fold, or those that ship."""
    if folder is None:
        return lambda _: DEFAULT
    fifths = [fitted_in(folder / f"fold{fifth}.py") for fifth in range(FIFTHS)]
    return lambda number: fifths[fifth_of(number)]


# Songs as felt beats ------------------------------------------------------------------------


def felt_beats(song: Song) -> list[Felt]:
    """The song's felt beats; of a chart each beat as written, under the metre of bars gone by."""
    places = list(_chart_places(song) if song.bars else _played_places(song))
    return [
        Felt(*place, chord_of(label))
        for place, label in zip(
            places, _labels_at(song, [beat for beat, _, _ in places]), strict=True
        )
    ]


def _chart_places(song: Song) -> Iterator[tuple[Fraction, Fraction, Metre]]:
    """A chart has no time signature: the metre is the commonest bar so far."""
    seen: dict[int, int] = {}
    for bar in song.bars:
        usual = max(seen, key=lambda beats: seen[beats]) if seen else 4
        for i in range(int(bar.beats)):
            yield Fraction(bar.start) + i, Fraction(i), Metre(usual, 4)
        seen[int(bar.beats)] = seen.get(int(bar.beats), 0) + 1


def _played_places(song: Song) -> Iterator[tuple[Fraction, Fraction, Metre]]:
    """The felt beats of the bars as the song's metres have them."""
    end = Fraction(song.labels[-1].end)
    ends = [change.start for change in song.metres[1:]] + [end]
    for change, until in zip(song.metres, ends, strict=True):
        bar, metre = change.start, change.metre
        while bar < until:
            for pulse in metre.pulses:
                if bar + pulse < until:
                    yield bar + pulse, pulse, metre
            bar += metre.bar


def _labels_at(song: Song, beats: Sequence[Fraction]) -> Iterator[str]:
    """The label that holds longest in each beat."""
    first = 0
    for beat in beats:
        start, end = float(beat), float(beat) + 1
        while first + 1 < len(song.labels) and song.labels[first].end <= start:
            first += 1
        best, held = "N", 0.0
        for label in song.labels[first:]:
            if label.start >= end:
                break
            overlap = min(end, label.end) - max(start, label.start)
            if overlap > held + 1e-9:
                best, held = label.harte, overlap
        yield best


def misheard(beats: Sequence[Felt], share: float, rng: random.Random) -> list[Chord | None]:
    """The chords as an ear might hear them: some segments with a wrong root."""
    heard: list[Chord | None] = []
    turn = 0
    for i, felt in enumerate(beats):
        if i == 0 or felt.chord != beats[i - 1].chord:
            wrong = rng.choice(WRONG_BY)
            turn = wrong if rng.random() < share else 0
        heard.append(None if felt.chord is None else felt.chord.transposed(turn))
    return heard


COLUMNS = ("expected", "sure", "came", "before", "repeated", "beat")


# Judging ------------------------------------------------------------------------------------


@dataclass
class Calls:
    """What was expected and what came, for many beats; a row each."""

    expected: list[int] = field(default_factory=list)
    sure: list[float] = field(default_factory=list)
    came: list[int] = field(default_factory=list)
    before: list[int] = field(default_factory=list)
    repeated: list[bool] = field(default_factory=list)
    beat: list[int] = field(default_factory=list)

    def add(self, other: Calls) -> None:
        """Join another song's calls."""
        for name in COLUMNS:
            getattr(self, name).extend(getattr(other, name))

    def without(self, beats: Container[int]) -> Calls:
        """These calls but those of some beats."""
        kept = [i for i, beat in enumerate(self.beat) if beat not in beats]
        return Calls(*([getattr(self, name)[i] for i in kept] for name in COLUMNS))


def call_song(
    beats: Sequence[Felt], heard: Sequence[Chord | None], foresight: Foresight, ahead: int = 1
) -> Calls:
    """Play a song's chords to the foresight, and note what it expected `ahead` beats later."""
    calls = Calls()
    repeated = list(repeats(beats))
    for i in range(len(beats) - ahead):
        felt, chord = beats[i], heard[i]
        start = felt.beat - felt.in_bar
        moment = Moment(0.0, float(felt.beat), start, 0, felt.metre, 0.5)
        forecast = foresight.look(Present(moment, chord, C_MAJOR, 1.0), ahead)[-1]
        foresight.commit(felt.beat, felt.in_bar, felt.metre, chord)
        last, came = root_of(beats[i + ahead - 1].chord), root_of(beats[i + ahead].chord)
        if root_of(chord) == root_of(felt.chord) and NO_ROOT not in (last, came):
            calls.expected.append(root_of(forecast.chord))
            calls.sure.append(forecast.confidence)
            calls.came.append(came)
            calls.before.append(last)
            calls.repeated.append(repeated[i])
            calls.beat.append(i + ahead)
    return calls


def repeats(beats: Sequence[Felt]) -> Iterator[bool]:
    """Whether the last eight beats occurred before."""
    signs = [(root_of(felt.chord), felt.chord and felt.chord.family, felt.in_bar) for felt in beats]
    seen = set()
    for i in range(len(beats)):
        last = tuple(signs[i - 7 : i + 1]) if i >= 7 else None
        yield last in seen
        if last is not None:
            seen.add(last)


def report(calls: Calls, title: str) -> str:
    """One row of the table."""
    if not calls.came:
        return f"{title:<28}{0:>8}  no beat is to be judged"
    expected, sure, came, before, repeated = (
        np.array(getattr(calls, name)) for name in COLUMNS[:5]
    )
    changes = came != before
    right = expected == came
    alarms = (expected != before) & ~changes
    cells = (
        mean_of(right[changes]),
        mean_of(right[changes & repeated]),
        mean_of(right[changes & ~repeated]),
        mean_of((alarms & (sure >= 0.5))[~changes]),
        mean_of(alarms[~changes]),
        calibration_error(sure, right),
    )
    brier = ((sure - right) ** 2).mean()
    figures = "  ".join(f"{100 * cell:7.2f}%" for cell in cells)
    return f"{title:<28}{changes.sum():>8}  {figures}  {brier:.4f}"


HEAD = f"{'':<28}{'changes':>8}  foreseen  repeated       new    alarms       any       ECE  Brier"


def mean_of(values: np.ndarray) -> float:
    """The mean; nan of nothing."""
    return float(values.mean()) if len(values) else nan


def calibration_error(sure: np.ndarray, right: np.ndarray) -> float:
    """By how much, on average, what was said differs from how often it was right."""
    bands = np.minimum((sure * BANDS).astype(int), BANDS - 1)
    gaps = np.bincount(bands, sure - right, BANDS)
    return float(np.abs(gaps).sum() / len(sure)) if len(sure) else nan


def reliability(calls: Calls) -> str:
    """What was said against how often it was right, where a change was said and over all beats."""
    sure, right = np.array(calls.sure), np.array(calls.expected) == np.array(calls.came)
    said = np.array(calls.expected) != np.array(calls.before)
    rows = ["said        all beats: said  right      n    change said: said  right      n"]
    edges = (0.0, 0.3, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.98, 1.01)
    for low, high in pairwise(edges):
        cells = []
        for among in (np.ones_like(said), said):
            band = among & (sure >= low) & (sure < high)
            mean = sure[band].mean() if band.any() else 0.0
            share = right[band].mean() if band.any() else 0.0
            cells.append(f"{100 * mean:5.1f}  {100 * share:5.1f}  {band.sum():6d}")
        rows.append(f"{low:.2f}-{min(high, 1):.2f}              {cells[0]}            {cells[1]}")
    return "\n".join(rows)


def cost(songs: Sequence[Song], hours: float) -> Iterator[str]:
    """Processor time of a look eight beats ahead, over a jam at 120 that never stops."""
    foresight, took = Foresight(), []
    beats = [felt for song in songs for felt in felt_beats(song)]
    wanted = max(4, int(hours * 7200))
    at = Fraction(0)
    for i in range(wanted):
        felt = beats[i % len(beats)]
        moment = Moment(0.0, float(at), at - felt.in_bar, 0, felt.metre, 0.5)
        start = process_time()
        foresight.look(Present(moment, felt.chord, C_MAJOR, 1.0), 8)
        foresight.commit(at, felt.in_bar, felt.metre, felt.chord)
        took.append(1000 * (process_time() - start))
        at += 1
        if len(took) == wanted // 4:
            median, late = np.percentile(took, (50, 99))
            yield f"  {hours * (i + 1) / wanted:.1f} h: median {median:.2f} ms, p99 {late:.2f} ms"
            took.clear()


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("folders", nargs="+", type=folder_of_songs)
    parser.add_argument("--misheard", type=share, default=0.0)
    parser.add_argument("--folds", type=a_folder, help="a folder with fold0.py to fold4.py")
    parser.add_argument(
        "--ahead",
        type=int,
        default=1,
        choices=range(1, FARTHEST + 1),
        help="felt beats ahead, 1 to 8",
    )
    parser.add_argument(
        "--cost", type=above_nought, metavar="HOURS", help="only time a jam so long"
    )
    options = parser.parse_args()
    if options.cost:
        print("renewing the outlook, eight felt beats ahead, and committing a beat")
        songs = [song for folder in options.folders for song in read_folder(folder)]
        for row in cost(songs, options.cost):
            print(row, flush=True)
        return
    tables = tables_by_song(options.folds)
    print(
        f"tables: {'one for each fold' if options.folds else 'as shipped'}; {options.ahead} ahead"
    )
    print(HEAD)
    for folder in options.folders:
        songs, total = read_folder(folder), Calls()
        rng = random.Random(SEED)
        for song in songs:
            beats = felt_beats(song)
            heard = misheard(beats, options.misheard, rng)
            foresight = Foresight(tables(song.number))
            total.add(call_song(beats, heard, foresight, options.ahead))
        print(report(total, f"{folder.name}, {options.misheard:.0%} misheard"), flush=True)
        print(reliability(total))


if __name__ == "__main__":
    run(main)
