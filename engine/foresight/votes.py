"""Votes: every earlier beat speaks for the root that followed it, as loud as it agrees.

Knows: how the agreement of the past becomes counts and lengths by root.
Refuses to know: how far to trust any of it.
How: all voices in one row, counted at once by root, way and band of length.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from engine.foresight.agreement import (
    AHEAD,
    BINS,
    EVENTS,
    EXACT,
    KEPT,
    LENGTHS,
    ROOTS,
    SOFT_SHORT,
    TRANSPOSED,
    WAYS,
    Agreement,
    Ints,
    Votes,
    moved,
)
from engine.foresight.rows import Rows

_BIN_OF: Final = np.searchsorted(LENGTHS, np.arange(KEPT + AHEAD + 1), side="right").astype(
    np.int32
)
_WAY: Final = np.arange(WAYS, dtype=np.int32)[:, None]
_INDEX_BITS: Final = 12
_INDEX: Final = (1 << _INDEX_BITS) - 1
_SOFT_AS_LENGTH: Final = 13
"""By how many bits a soft share is shifted to count as a length: a whole one is 128 beats."""


def count_votes(now: Agreement, rows: Rows) -> Votes:
    """Who speaks for which root."""
    cells, lengths, indices = _spoken(now, rows)
    bands = cells * BINS + _BIN_OF.take(lengths)
    counts = np.bincount(bands, minlength=ROOTS * WAYS * BINS).astype(np.int32)
    longest: Ints = np.zeros(ROOTS * WAYS, dtype=np.int32)
    keys = np.where(lengths > 0, (lengths << _INDEX_BITS) + indices + 1, 0)
    np.maximum.at(longest, cells, keys)
    by_root = longest.reshape(ROOTS, WAYS)
    return Votes(counts.reshape(ROOTS, WAYS, BINS), by_root >> _INDEX_BITS, by_root & _INDEX)


def _spoken(now: Agreement, rows: Rows) -> tuple[Ints, Ints, Ints]:
    """All voices in a row: for which root and in which way, how long they agree, who it is."""
    beats, chords = len(now.where), max(now.chords - 1, 0)
    count = EVENTS * beats
    cells, lengths, indices = np.empty((3, count + 4 * chords), dtype=np.int32)
    by_beat, by_chord = cells[:count].reshape(EVENTS, -1), cells[count:].reshape(4, -1)
    by_beat[:] = rows.roots[now.where + 1]
    root = int(rows.roots[now.beats - 1])
    by_beat[TRANSPOSED] = moved(rows.roots[now.where], by_beat[EXACT], root)
    long_by_beat = lengths[:count].reshape(EVENTS, -1)
    long_by_beat[:] = now.there
    long_by_beat[SOFT_SHORT:] >>= _SOFT_AS_LENGTH
    _speak_by_chord(now, rows, by_chord, lengths[count:].reshape(4, -1))
    by_beat *= WAYS
    by_beat += _WAY[:EVENTS]
    by_chord *= WAYS
    by_chord += _WAY[EVENTS:]
    indices[:count].reshape(EVENTS, -1)[:] = now.where
    indices[count:].reshape(4, -1)[:] = np.arange(chords)
    return cells, lengths, indices


def _speak_by_chord(now: Agreement, rows: Rows, roots: Ints, lengths: Ints) -> None:
    """Fill in the roots and lengths of the ways that go chord by chord."""
    m = now.chords
    if m < 2:
        return
    here, followers = rows.chord_roots[: m - 1], rows.chord_roots[1:m]
    root, lasted = int(rows.chord_roots[m - 1]), rows.chord_lasted[: m - 1]
    longer, timely = lasted > now.lasted, lasted >= now.lasted
    roots[0], roots[2] = followers, moved(here, followers, root)
    roots[1::2] = np.where(longer, root, roots[::2])
    lengths[::2] = now.by_chord
    lengths[1::2] = now.by_chord * timely
