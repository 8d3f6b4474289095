"""Folds: which tables may hear a song, so that none is judged by what was learned from it.

The network of the ear takes half an hour to fit, so it is fitted three times, each time without a
third of the songs (bench/fit_hearing.py).  What names the key is fitted in seconds, so for each of
the three it is fitted ten times, each time without a tenth (bench/fit_keys.py): a song is heard
by a network and by key tables that have both never met it.  What foresees it was fitted five times,
each time without a fifth (bench/fit_foresight.py), and lies in the folder foresight of the cache.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace
from pathlib import Path
from typing import Final, NamedTuple

import numpy as np

from bench.corpus import Song
from bench.foresight import tables_by_song
from bench.taught import tables_in
from engine.foresight import tables as foresight
from engine.hearing.tables import KeyTables, Tables
from engine.hearing.taught import TAUGHT, tables_of
from ports.files import FileError

Choose = Callable[[Song], Tables]
THIRDS, TENTHS = 3, 10
KEY_TABLES = tuple(field.name for field in fields(KeyTables))


class Taught(NamedTuple):
    """What hears a song, and what foresees it."""

    ear: Tables = TAUGHT
    foresight: foresight.Tables = foresight.DEFAULT


SHIPPED: Final = Taught()
Teaching = Callable[[Song], Taught]


def third_of(number: str) -> int:
    """Which third a song belongs to: numbers rise in threes, and it has one in all folders."""
    return _place_of(number) % THIRDS


def tenth_of(number: str) -> int:
    """Which of ten parts a song belongs to."""
    return _place_of(number) % TENTHS


def _place_of(number: str) -> int:
    if not number.isdecimal():
        raise FileError(f"{number}.chords belongs to no fold; call it by a number, as 006.chords")
    return int(number) // 3


def network_of(cache: Path, third: int) -> Tables:
    """The tables that were fitted without a third, as bench/fit_hearing.py left them."""
    return tables_of(*tables_in(cache / f"fold{third}.py"))


def tables_from(cache: Path | None) -> Choose:
    """Which tables hear a song: those of a cache, or those that ship."""
    if cache is None:
        return lambda _: TAUGHT
    thirds = [
        _with_keys(network_of(cache, third), cache / f"keys{third}.npz") for third in range(THIRDS)
    ]
    return lambda song: thirds[third_of(song.number)][tenth_of(song.number)]


def taught_from(cache: Path | None) -> Teaching:
    """What hears and foresees a song: what never met it, from a cache, or what ships."""
    ears = tables_from(cache)
    outlooks = tables_by_song(None if cache is None else cache / "foresight")
    return lambda song: Taught(ears(song), outlooks(song.number))


def _with_keys(network: Tables, path: Path) -> list[Tables]:
    """A network with the key tables of each tenth; with its own, where none were fitted."""
    if not path.exists():
        return [network] * TENTHS
    with np.load(path) as found:
        return [
            replace(network, for_keys=KeyTables(**{n: found[n][tenth] for n in KEY_TABLES}))
            for tenth in range(TENTHS)
        ]
