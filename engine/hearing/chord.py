"""Chord: a belief over roots and qualities, carried from beat to beat.

Knows: the belief about the beat before, the chance of a change at this place in the bar, what the
evidence of the running beat is worth.
Refuses to know: notes, keys on the keyboard, how a chord is named.
How: a forward filter.  When a beat begins, the belief of the last one becomes the expectation for
it; any moment's evidence is weighed against that expectation, afresh each time, so a held chord
is one witness however often it is looked at.  The beat's last reading is kept when it ends.
"""

from __future__ import annotations

import numpy as np

from engine.hearing.evidence import Vector
from engine.hearing.tables import Array, Tables


class ChordFilter:
    """What is believed about the chord; states are root x quality, flat."""

    def __init__(self, tables: Tables) -> None:
        self._tables = tables
        self._states = 12 * tables.count
        self._bias = np.tile(tables.bias, (1, 12))
        self._start, self._end = tables.turned_emission
        self.committed: Array = np.full(self._states, 1 / self._states)
        self.expected: Array = self.committed
        self._log_prior: Array = np.log(self.expected)

    def forget(self) -> None:
        """Nothing is expected any more."""
        self.committed = np.full(self._states, 1 / self._states)
        self.expected = self.committed
        self._log_prior = np.log(self.expected)

    def begin(self, place: int, past: Vector, foreseen: Array | None) -> None:
        """A beat begins at a place in the bar; `foreseen` replaces the filter's own expectation."""
        hazard = self._tables.hazard[place]
        moved = self.committed @ self._tables.turned_jumps
        own = (1 - hazard) * self.committed + hazard * moved
        self.expected = own if foreseen is None else foreseen
        self._log_prior = np.log(self.expected + 1e-9) + past @ self._tables.turned_past

    def weigh(self, now: Vector) -> Array:
        """The belief about the running beat, given its evidence so far."""
        passed, vectors = now[-1], now[:-1]
        logits = self._log_prior + (1 - passed) * (vectors @ self._start + self._bias[0])
        logits += passed * (vectors @ self._end + self._bias[1])
        logits -= logits.max()
        belief: Array = np.exp(logits)
        belief /= belief.sum()
        return belief

    def commit(self, belief: Array) -> None:
        """The running beat is over, with this belief about it."""
        self.committed = belief
