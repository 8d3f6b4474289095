"""Fit the key tables: what rows say for each key, and what a scale's beats are made of.

    python -m bench.fit_keys FOLDER [FOLDER ...] --folds CACHE

bench/fit_hearing.py fits them together with the network.  As a command it fits them again, for
the networks that `python -m bench.fit_hearing ... --folds CACHE` has left in a folder: ten times
for each, without a tenth of the songs (bench/folds.py).  Needs scipy.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from bench.corpus import Song, read_folder
from bench.folds import FOLDS, KEY_TABLES, TENTHS, network_of, tenth_of
from bench.listening import Listener, beats_of
from engine.harmony import Key
from engine.hearing.evidence import Vector
from engine.hearing.key import KINDS, KeyFilter, Stretch, beat_of, kinds_of
from engine.hearing.tables import Tables

Array = NDArray[np.float64]

# Songs are read up to these beats; long songs so teach what short ones cannot.
PREFIXES = (12, 16, 24, 32, 48, 64, 96, 128, 200, 10**9)
# How dear a large weight is, and how much each block of rows is scaled to cost alike.
PRICE = 6e-4
BLOCKS = ((1, 1.0), (5, 1.5), (5, 0.7), (5, 0.35), (2, 3.0))
ROWS = sum(count for count, _ in BLOCKS)
# Counts start from here, so that what was never seen is rare and not impossible.
FLOOR = 3.0


@dataclass(frozen=True)
class Heard:
    """A song of one key, as the ear heard it: lengths, beliefs and places of its beats."""

    key: Key
    lengths: Array
    beliefs: Array
    places: NDArray[np.int64]


@dataclass(frozen=True)
class KeyTables:
    """The tables of keys, as engine/hearing/tables.py has them."""

    key_weights: Array
    minor_bias: float
    scale_chords: Array
    scale_tones: Array


def fit_keys(songs: list[Heard], qualities: tuple[str, ...]) -> KeyTables:
    """Fit all tables of keys on songs."""
    kinds = kinds_of(qualities)
    chords = np.full((len(KINDS), 12), FLOOR)
    tones = np.full(12, FLOOR)
    rows, targets = [], []
    for song in songs:
        stretch, before = Stretch(), None
        scale = song.key.scale[2] if song.key.minor else song.key.tonic
        last = len(song.lengths) - 1
        for i, (lengths, belief) in enumerate(zip(song.lengths, song.beliefs, strict=True)):
            if lengths.sum() > 0:
                beat = beat_of(lengths, belief, int(song.places[i]), before, kinds)
                before = beat
                stretch.add(beat)
                chords += np.roll(beat.chords, -scale, axis=1)
                tones += np.roll(lengths / max(float(lengths.sum()), 0.5), -scale)
            if stretch.beats and (i + 1 in PREFIXES or i == last):
                rows.append(stretch.vector().reshape(ROWS, 12))
                targets.append(song.key.tonic + 12 * song.key.minor)
    weights, bias = _logistic(np.array(rows), np.array(targets))
    return KeyTables(weights, bias, np.log(chords / chords.sum()), np.log(tones / tones.sum()))


def _logistic(rows: Array, targets: NDArray[np.int64]) -> tuple[Array, float]:
    """Weights (2, ROWS, 12) and the bias of minor, by which keys are told from rows."""
    scale = np.repeat([s for _, s in BLOCKS], [n for n, _ in BLOCKS])[:, None]
    turned = np.stack([np.roll(rows * scale, -tonic, axis=2) for tonic in range(12)], axis=1)
    x = turned.reshape(len(rows), 12, -1)
    width = x.shape[2]
    everyone = np.arange(len(targets))

    def loss(v: Array) -> tuple[float, Array]:
        weights, bias = v[:-1].reshape(2, width), v[-1]
        scores = np.concatenate([x @ weights[0], x @ weights[1] + bias], axis=1)
        scores -= scores.max(axis=1, keepdims=True)
        chances = np.exp(scores)
        chances /= chances.sum(axis=1, keepdims=True)
        surprise = -np.log(chances[everyone, targets]).mean()
        chances[everyone, targets] -= 1
        chances /= len(targets)
        slope = [np.einsum("nt,ntf->f", part, x) for part in (chances[:, :12], chances[:, 12:])]
        slope_weights = np.stack(slope) + 2 * PRICE * weights
        total = surprise + PRICE * float((weights**2).sum())
        return total, np.append(slope_weights.ravel(), chances[:, 12:].sum())

    found = minimize(
        loss, np.zeros(2 * width + 1), jac=True, method="L-BFGS-B", options={"maxiter": 250}
    ).x
    weights = found[:-1].reshape(2, ROWS, 12) * scale
    return weights, float(found[-1])


# Fitting in folds --------------------------------------------------------------------------


class _Writing(KeyFilter):
    """A key filter that keeps what it is told."""

    def __init__(self, tables: Tables) -> None:
        super().__init__(tables)
        self.told: list[tuple[Vector, Array, int]] = []

    def add(self, lengths: Vector, chords: Array, place: int) -> None:
        self.told.append((lengths, chords, place))
        super().add(lengths, chords, place)


def heard(song: Song, key: Key, tables: Tables) -> Heard:
    """What a song's key filter is told when an ear with these tables hears it."""
    writing = _Writing(tables)
    listener = Listener(song, tables, writing)
    for beat in beats_of(song):
        listener.play_until(beat, beat.position, asking=False)
        listener.cross(beat)
    lengths, chords, places = zip(*writing.told, strict=True)
    return Heard(key, np.array(lengths), np.array(chords), np.array(places))


def main() -> None:
    """Fit the key tables of every fold and tenth, and leave them in the cache."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("folders", nargs="+", type=Path, metavar="FOLDER")
    parser.add_argument("--folds", type=Path, metavar="CACHE", required=True)
    options = parser.parse_args()
    songs = [s for folder in options.folders for s in read_folder(folder) if s.notes and s.key]
    for fold in range(FOLDS):
        network = network_of(options.folds, fold)
        told = [(tenth_of(s.number), heard(s, s.key, network)) for s in songs if s.key]
        fits = [
            fit_keys([each for part, each in told if part != tenth], network.qualities)
            for tenth in range(TENTHS)
        ]
        tables = {name: np.array([getattr(fit, name) for fit in fits]) for name in KEY_TABLES}
        np.savez(options.folds / f"keys{fold}.npz", allow_pickle=False, **tables)
        print(f"fold {fold}: {len(told)} songs", flush=True)


if __name__ == "__main__":
    main()
