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

from engine.arrays import Doubles, Singles
from engine.hearing.evidence import NOW, Vector
from engine.hearing.recall import Recalled
from engine.hearing.tables import Tables

_TWELFTHS: Final = np.full(12, 1 / 12, np.float32)
# The least that a chord is believed in, where beliefs are looked at again.
_FAINTEST: Final = 1e-12

# Where the vectors of a beat, which count pitch classes, have each degree above each of 12 roots.
_DEGREES: Final = (np.arange(12)[:, None] + np.arange(12)) % 12
_AS_DEGREES: Final = (12 * np.arange(len(NOW))[:, None, None] + _DEGREES).reshape(-1, 12)


class ChordFilter:
    """What is believed about the chord; states are root x kind, flat.

    Inside, everything is laid out (features or kinds, 12 roots): so parts of it lie in one piece.
    """

    def __init__(self, tables: Tables) -> None:
        self._tables = tables
        states, width = 12 * tables.count, tables.width
        self.committed: Doubles = np.full(states, 1 / states)
        self.expected: Doubles = self.committed
        self._left = np.zeros((width, 12), np.float32)
        self._gates = self._gates_of(self._left)
        self._told = np.zeros((2 * width, 12), np.float32)  # what is left, above the features
        # What is known before its tones at the start of a beat, and what is added as it passes.
        self._known = np.zeros((tables.count + width, 12), np.float32)
        self._passing = self._known
        self._table = np.zeros_like(tables.as_it_begins)

    def forget(self) -> None:
        """The beats before say nothing about the one to come."""
        self.committed = np.full(len(self.committed), 1 / len(self.committed))
        self._left = np.zeros_like(self._left)

    def begin(self, place: int, past: Vector, keys: Doubles, recalled: Recalled) -> None:
        """A beat begins at a place in the bar; `keys` is the belief over keys."""
        tables, shares = self._tables, _by_kind(recalled)
        context = self._context(self._left, place, past, keys, recalled)
        self._gates = self._gates_of(self._left)
        self._known, end = (np.concatenate((r * shares, context)) for r in tables.recall[1:])
        self._known += tables.reading_bias[0][:, None]
        self._passing = end + tables.reading_bias[1][:, None] - self._known
        self.expected = self._expected(context, shares)

    def foresee(
        self, place: int, past: Vector, keys: Doubles, recalled: Recalled, *, weighed: bool
    ) -> Doubles:
        """What the next beat would begin with, if this one, `weighed` or silent, were over."""
        left = self._told[: self._tables.width] if weighed else self._left
        context = self._context(left, place, past, keys, recalled)
        return self._expected(context, _by_kind(recalled))

    def _context(
        self, left: Singles, place: int, past: Vector, keys: Doubles, recalled: Recalled
    ) -> Singles:
        """The features of each root before any tone of a beat."""
        tables = self._tables
        known = np.concatenate((past, keys), dtype=np.float32) @ tables.turned_known
        same = tables.places[place] + recalled.hints.astype(np.float32) @ tables.hints
        context: Singles = known.reshape(-1, 12) + same[:, None]
        context += tables.remembered.T @ _by_kind(recalled) + tables.carry.T @ left
        return context

    def _expected(self, context: Singles, shares: Singles) -> Doubles:
        tables = self._tables
        told = _with_mean(np.maximum(context, 0), tables.foretell)
        return _chances(told + tables.bias[0][:, None] + tables.recall[0] * shares)

    def weigh(self, now: Vector) -> Doubles:
        """The belief about the running beat, given its evidence so far."""
        tables, count = self._tables, self._tables.count
        read = self._read(now)
        features = self._told[tables.width :]
        np.maximum(read[count:], 0, out=features)
        self._step(features, self._told[: tables.width])
        logits: Singles = tables.tell.T @ self._told
        logits += read[:count]
        return _chances(logits)

    def look_back(self) -> Doubles:
        """The belief about the beat committed last, now that the running one has been weighed."""
        before = np.log(self.committed.reshape(12, -1).T + _FAINTEST)
        return _chances(self._tables.look_back.T @ self._told + self._tables.kept * before)

    def commit(self, belief: Doubles) -> None:
        """The running beat is over: this is believed of it, and its last reading is kept."""
        self.committed = belief
        self._left = self._told[: self._tables.width].copy()

    def _read(self, now: Vector) -> Singles:
        """What is known of a beat and what its tones say, of every kind and feature of a root."""
        tables, passed = self._tables, np.float32(now[-1])
        worth = now.astype(np.float32).take(_AS_DEGREES)
        np.multiply(tables.as_it_passes, passed, out=self._table)
        self._table += tables.as_it_begins
        read: Singles = self._table.T @ worth
        read += self._known
        read += passed * self._passing
        return read

    def _gates_of(self, left: Singles) -> Singles:
        tables = self._tables
        out: Singles = tables.gates_left.T @ left + tables.gates_bias[1][:, None]
        return out

    def _step(self, features: Singles, out: Singles) -> None:
        """What the beat leaves: some of what was there, and some of what it says itself."""
        tables, width, old = self._tables, self._tables.width, self._gates
        new = _with_mean(features, tables.gates_new, tables.gates_bias[0])
        both, say = new[: 2 * width], new[2 * width :]
        both += old[: 2 * width]
        np.negative(both, out=both)
        np.exp(both, out=both)
        both += 1
        np.reciprocal(both, out=both)
        keep, reset = both[:width], both[width:]
        reset *= old[2 * width :]
        say += reset
        np.tanh(say, out=say)
        np.subtract(self._left, say, out=out)
        out *= keep
        out += say


def _by_kind(recalled: Recalled) -> Singles:
    """The logarithms of what memory expects, kinds x roots."""
    return recalled.log_shares.reshape(12, -1).T.astype(np.float32)


def _with_mean(features: Singles, table: Singles, bias: Singles | float = 0.0) -> Singles:
    """What a table makes of each root's features beside those of all roots on average."""
    width = len(features)
    out: Singles = table[:width].T @ features
    out += ((features @ _TWELFTHS) @ table[width:] + bias)[:, None]
    return out


def _chances(logits: Singles) -> Doubles:
    """From kinds x roots to the belief over states, flat, roots first."""
    out: Doubles = logits.T.ravel().astype(float)
    out -= np.maximum.reduce(out)
    np.exp(out, out=out)
    out /= np.add.reduce(out)
    return out
