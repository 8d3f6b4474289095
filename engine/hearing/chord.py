"""Chord: a belief over roots and kinds of chord, carried from beat to beat.

Knows: what the beats before have left, what the tones of the running beat say, what place in the
bar, key and memory expect.
Refuses to know: notes, keys on the keyboard, how a chord is named.
How: a small recurrent network that asks one question twelve times: "would this be the root?".
For each of the twelve it keeps a line of features, what the song so far means for that root.
When a beat begins, they give the expectation for it; any reading of the beat is weighed against
them afresh, so a held chord is one witness however often it is looked at.  The beat's last
reading becomes what it leaves.  Weights for the start of a beat give way to those for its end as
it passes.

Source of the gates: K. Cho et al., "Learning Phrase Representations using RNN Encoder-Decoder for
Statistical Machine Translation", EMNLP 2014 (the gated recurrent unit).
"""

from __future__ import annotations

from typing import Final

import numpy as np

from engine.hearing.evidence import Vector
from engine.hearing.recall import Recalled
from engine.hearing.tables import Array, Floats, Tables

_TWELFTHS: Final = np.full(12, 1 / 12, np.float32)
# The least that a chord is believed in, where beliefs are looked at again.
_FAINTEST: Final = 1e-12


class ChordFilter:
    """What is believed about the chord; states are root x kind, flat."""

    def __init__(self, tables: Tables) -> None:
        self._tables = tables
        states = 12 * tables.count
        self.committed: Array = np.full(states, 1 / states)
        self.expected: Array = self.committed
        self._left = np.zeros((12, tables.width), np.float32)
        self._leaving = self._left
        self._context = self._left
        self._gates = self._gates_of(self._left)
        self._told = np.zeros((12, 2 * tables.width), np.float32)
        self._shares = np.zeros((12, tables.count), np.float32)

    def forget(self) -> None:
        """The beats before say nothing about the one to come."""
        self.committed = np.full(len(self.committed), 1 / len(self.committed))
        self._left = np.zeros_like(self._left)

    def begin(self, place: int, past: Vector, keys: Array, recalled: Recalled) -> None:
        """A beat begins at a place in the bar; `keys` is the belief over keys."""
        tables = self._tables
        self._shares = recalled.log_shares.reshape(12, -1).astype(np.float32)
        known = np.concatenate((past, keys), dtype=np.float32) @ tables.turned_known
        same = tables.places[place] + recalled.hints.astype(np.float32) @ tables.hints
        self._context = known.reshape(12, -1) + same
        self._context += self._shares @ tables.remembered + self._left @ tables.carry
        self._gates = self._gates_of(self._left)
        self._leaving = self._left
        told = _with_mean(np.maximum(self._context, 0), tables.foretell)
        self.expected = _chances(told + tables.bias[0] + tables.recall[0] * self._shares)

    def weigh(self, now: Vector) -> Array:
        """The belief about the running beat, given its evidence so far."""
        tables, count = self._tables, self._tables.count
        passed = np.float32(now[-1])
        read = self._read(now[:-1], passed)
        features = read[:, count:] + self._context
        np.maximum(features, 0, out=features)
        self._leaving = self._step(features)
        self._told = np.concatenate((self._leaving, features), axis=1)
        logits = self._told @ tables.tell
        logits += read[:, :count]
        recall = (1 - passed) * tables.recall[1] + passed * tables.recall[2]
        return _chances(logits + recall * self._shares)

    def look_back(self) -> Array:
        """The belief about the beat committed last, now that the running one has been weighed."""
        before = np.log(self.committed.reshape(12, -1) + _FAINTEST)
        return _chances(self._told @ self._tables.look_back + self._tables.kept * before)

    def commit(self, belief: Array) -> None:
        """The running beat is over: this is believed of it, and its last reading is kept."""
        self.committed = belief
        self._left = self._leaving

    def _read(self, vectors: Vector, passed: np.float32) -> Floats:
        """What the tones of a beat say; few of all that could sound do, and only those are read."""
        sounding = vectors.nonzero()[0]
        worth: Floats = vectors[sounding].astype(np.float32)
        rows: Floats = self._tables.turned_reading.take(sounding, axis=0)
        said: Floats = (worth @ rows).reshape(2, 12, -1)
        said += self._tables.reading_bias[:, None]
        start, end = said
        read: Floats = start + passed * (end - start)
        return read

    def _gates_of(self, left: Floats) -> Floats:
        out: Floats = left @ self._tables.gates_left + self._tables.gates_bias[1]
        return out

    def _step(self, features: Floats) -> Floats:
        """What the beat leaves: some of what was there, and some of what it says itself."""
        width = self._tables.width
        new = _with_mean(features, self._tables.gates_new) + self._tables.gates_bias[0]
        old = self._gates
        both = 1 / (1 + np.exp(-(new[:, : 2 * width] + old[:, : 2 * width])))
        keep, reset = both[:, :width], both[:, width:]
        said = np.tanh(new[:, 2 * width :] + reset * old[:, 2 * width :])
        out: Floats = said + keep * (self._left - said)
        return out


def _with_mean(features: Floats, table: Floats) -> Floats:
    """What a table makes of each root's features beside those of all roots on average."""
    width = features.shape[1]
    out: Floats = features @ table[:width]
    out += (_TWELFTHS @ features) @ table[width:]
    return out


def _chances(logits: Floats) -> Array:
    flat = logits.ravel().astype(float)
    out: Array = np.exp(flat - np.maximum.reduce(flat))
    out /= np.add.reduce(out)
    return out
