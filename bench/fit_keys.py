"""Fit the key tables: what rows say for each key, and what a scale's beats are made of.

    python -m bench.fit_keys FOLDER [FOLDER ...] [--charts FOLDER]
        [--folds CACHE] [--anew engine/hearing/weights.py]

bench/fit_hearing.py fits them together with the network.  As a command it fits them again: with
--folds for the networks that `python -m bench.fit_hearing ... --folds CACHE` has left in a folder,
ten times for each, without a tenth of the songs (bench/folds.py); with --anew in a file that
bench.fit_hearing wrote, for the network that is there, which stays as it is.  Needs scipy.

With --charts the charts of one tonic are rendered and heard as well, each in one of the manners of
bench/voicings.py; whether one is major or minor is told by the chords on its tonic.  What is
common in them (a flat seventh, above all) is rare in the songs.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, field
from itertools import cycle
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from bench.arguments import a_folder, folder_of_songs, run
from bench.corpus import Song, key_of_chart, read_charts, read_played
from bench.folds import KEY_TABLES, TENTHS, THIRDS, network_of, tenth_of
from bench.listening import Listener, beats_of
from bench.taught import coded_keys, source_of, tables_in
from bench.voicings import MANNERS, charted, render
from engine.hearing.key import KeyFilter
from engine.hearing.stretch import KINDS, ROWS, ROWS_LATELY, Beat, Lately, Stretch
from engine.hearing.tables import KeyTables, Tables
from engine.hearing.taught import tables_of
from engine.theory.harmony import KEYS, Key

Array = NDArray[np.float64]

# Songs are read up to these beats; long songs so teach what short ones cannot.
PREFIXES = (12, 16, 24, 32, 48, 64, 96, 128, 200, 10**9)
# How dear a large weight is, and how much each block of rows is scaled to cost alike: lengths,
# struck, lowest, chords, chords that open phrases, the last chords.
PRICE = 3e-4
BLOCKS = ((1, 1.0), (1, 1.0), (1, 1.0), (5, 1.5), (5, 0.35), (5, 0.35))
# ... of the last bars: lengths, struck, lowest, chords; read every so many beats.
PRICE_LATELY = 1e-4
BLOCKS_LATELY = ((1, 1.0), (1, 1.0), (1, 1.0), (5, 1.5))
EVERY = 16
# What a chart counts for beside a song.  Songs are played and their keys labelled, so charts shall
# not outvote them in the naming; of how far a song strays from its scale charts know more.
CHART, CHART_LATELY = 0.04, 0.6
# Counts start from here, so that what was never seen is rare and not impossible.
FLOOR = 3.0


@dataclass(frozen=True)
class Heard:
    """A song of one key, as the ear heard its beats; none is without a tone."""

    key: Key
    beats: list[Beat]
    chart: bool = False

    @property
    def scale(self) -> int:
        """The tonic of its scale's major key."""
        return self.key.scale[2] if self.key.minor else self.key.tonic


@dataclass
class Examples:
    """Rows of what was heard, the keys they belong to, and what they count for."""

    rows: list[Array] = field(default_factory=list)
    keys: list[int] = field(default_factory=list)
    counts: list[float] = field(default_factory=list)

    def add(self, rows: Array, song: Heard, chart: float) -> None:
        """One example more, where a chart counts for so much."""
        self.rows.append(rows)
        self.keys.append(KEYS.index(song.key))
        self.counts.append(chart if song.chart else 1.0)


def fit_keys(songs: list[Heard]) -> KeyTables:
    """Fit all tables of keys on songs."""
    chords = np.full((len(KINDS), 12), FLOOR)
    tones = np.full(12, FLOOR)
    for song in songs:
        for beat in [] if song.chart else song.beats:
            chords += np.roll(beat.chords, -song.scale, axis=1)
            tones += np.roll(beat.lengths / max(float(beat.lengths.sum()), 0.5), -song.scale)
    weights, bias = _logistic(_stretches(songs), 2 * BLOCKS, PRICE)
    lately, lately_bias = _logistic(_last_bars(songs), BLOCKS_LATELY, PRICE_LATELY)
    return KeyTables(
        weights.reshape(2, 2, ROWS, 12).transpose(1, 0, 2, 3),
        bias,
        lately,
        lately_bias,
        np.log(chords / chords.sum()),
        np.log(tones / tones.sum()),
    )


def _stretches(songs: list[Heard]) -> Examples:
    """Songs up to some of their beats: the share of one just begun, then that of a long one."""
    out = Examples()
    for song in songs:
        stretch = Stretch()
        for i, beat in enumerate(song.beats, 1):
            stretch.add(beat)
            if i in PREFIXES or i == len(song.beats):
                rows, youth = stretch.vector().reshape(ROWS, 12), stretch.youth
                out.add(np.concatenate((youth * rows, (1 - youth) * rows)), song, CHART)
    return out


def _last_bars(songs: list[Heard]) -> Examples:
    out = Examples()
    for song in songs:
        lately = Lately()
        for i, beat in enumerate(song.beats):
            lately.add(beat)
            if i % EVERY == EVERY // 2:
                out.add(lately.vector().reshape(ROWS_LATELY, 12), song, CHART_LATELY)
    return out


def _logistic(
    examples: Examples, blocks: tuple[tuple[int, float], ...], price: float
) -> tuple[Array, float]:
    """Weights (2, rows, 12) of major and minor, and the bias of minor, by which keys are told."""
    scale = np.repeat([s for _, s in blocks], [n for n, _ in blocks])[:, None]
    rows, targets = np.array(examples.rows) * scale, np.array(examples.keys)
    turned = [np.roll(rows, -tonic, axis=2) for tonic in range(12)]
    x = np.stack(turned, axis=1).reshape(len(rows) * 12, -1).astype(np.float32)
    width = x.shape[1]
    everyone = np.arange(len(targets))
    counts = np.array(examples.counts) / sum(examples.counts)

    def loss(v: Array) -> tuple[float, Array]:
        weights, bias = v[:-1].reshape(2, width), v[-1]
        worth = (x @ weights.T.astype(np.float32)).reshape(-1, 12, 2).astype(float)
        scores = np.concatenate([worth[..., 0], worth[..., 1] + bias], axis=1)
        scores -= scores.max(axis=1, keepdims=True)
        chances = np.exp(scores)
        chances /= chances.sum(axis=1, keepdims=True)
        surprise = -(counts * np.log(chances[everyone, targets])).sum()
        chances[everyone, targets] -= 1
        chances *= counts[:, None]
        by_mode = chances.reshape(-1, 2, 12).transpose(1, 0, 2).reshape(2, -1)
        slope = by_mode.astype(np.float32) @ x + 2 * price * weights
        total = surprise + price * float((weights**2).sum())
        return total, np.append(slope.ravel(), by_mode[1].sum())

    found = minimize(
        loss, np.zeros(2 * width + 1), jac=True, method="L-BFGS-B", options={"maxiter": 250}
    ).x
    return found[:-1].reshape(2, -1, 12) * scale, float(found[-1])


# Fitting for networks that are there --------------------------------------------------------


class _Writing(KeyFilter):
    """A key filter that keeps the beats it is told."""

    def __init__(self, tables: Tables) -> None:
        super().__init__(tables)
        self.beats: list[Beat] = []

    def follow(self, beat: Beat) -> None:
        self.beats.append(beat)
        super().follow(beat)


def heard(song: Song, key: Key, tables: Tables, *, chart: bool = False) -> Heard:
    """What a song's key filter is told when an ear with these tables hears it."""
    writing = _Writing(tables)
    listener = Listener(song, tables, writing)
    for beat in beats_of(song):
        listener.play_until(beat, beat.position, asking=False)
        listener.cross(beat)
    return Heard(key, writing.beats, chart)


def all_heard(songs: list[Song], charts: list[Song], tables: Tables) -> list[tuple[int, Heard]]:
    """Songs and charts as an ear hears them, each with the tenth it belongs to."""
    out = [(tenth_of(s.number), heard(s, s.key, tables)) for s in songs if s.key]
    for chart, manner in zip(charts, cycle(MANNERS)):
        key, song = key_of_chart(chart), render(charted(chart), manner, seed=1)
        if key is not None and song.notes:
            out.append((tenth_of(song.number), heard(song, key, tables, chart=True)))
    return out


def in_folds(songs: list[Song], charts: list[Song], cache: Path) -> None:
    """Fit the key tables of every fold and tenth, and leave them in the cache."""
    for fold in range(THIRDS):
        network = network_of(cache, fold)
        told = all_heard(songs, charts, network)
        fits = [fit_keys([each for part, each in told if part != tenth]) for tenth in range(TENTHS)]
        tables = {name: np.array([getattr(fit, name) for fit in fits]) for name in KEY_TABLES}
        np.savez(cache / f"keys{fold}.npz", allow_pickle=False, **tables)
        print(f"fold {fold}: {len(told)} songs", flush=True)


def anew(songs: list[Song], charts: list[Song], path: Path) -> None:
    """Fit the key tables in a file anew, and write it."""
    qualities, coded = tables_in(path)
    told = all_heard(songs, charts, tables_of(qualities, coded))
    keys = fit_keys([each for _, each in told])
    path.write_text(source_of(qualities, {**coded, **coded_keys(keys)}), "utf-8")
    print(f"{path}: {len(told)} songs")


def main() -> None:
    """Fit the key tables for the networks that are there."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("folders", nargs="+", type=folder_of_songs, metavar="FOLDER")
    parser.add_argument(
        "--charts", type=folder_of_songs, metavar="FOLDER", help="charts with their tonics"
    )
    parser.add_argument(
        "--folds", type=a_folder, metavar="CACHE", help="for the networks in a folder"
    )
    parser.add_argument("--anew", type=Path, metavar="FILE", help="for the network in a file")
    options = parser.parse_args()
    songs = [s for folder in options.folders for s in read_played(folder) if s.key]
    charts = read_charts(options.charts) if options.charts else []
    if options.folds is None and options.anew is None:
        parser.error("say which networks: --folds CACHE, --anew FILE, or both")
    if options.folds is not None:
        in_folds(songs, charts, options.folds)
    if options.anew is not None:
        anew(songs, charts, options.anew)


if __name__ == "__main__":
    run(main)
