"""Chord: a belief over roots and qualities, carried from beat to beat.

Knows: the belief about the beat before, the chance of a change at this place in the bar, what the
evidence of the running beat is worth, what key and memory expect.
Refuses to know: notes, keys on the keyboard, how a chord is named.
How: a forward filter.  When a beat begins, the belief of the last one becomes the expectation for
it; any moment's evidence is weighed against that expectation, afresh each time, so a held chord
is one witness however often it is looked at.  The beat's last reading is kept when it ends.
All weights are added as logarithms; those for the start of a beat give way to those for its end
as the beat passes.
"""

from __future__ import annotations

import numpy as np

from engine.hearing.evidence import Vector
from engine.hearing.recall import Recalled
from engine.hearing.tables import Array, Tables

# A chance so small that nothing is ruled out by what went before.
_LEAST = 1e-6


class ChordFilter:
    """What is believed about the chord; states are root x quality, flat."""

    def __init__(self, tables: Tables) -> None:
        self._tables = tables
        self._emission = tables.turned_emission
        states = 12 * tables.count
        self.committed: Array = np.full(states, 1 / states)
        self.expected: Array = self.committed
        self._carried: Array = np.log(self.committed)
        self._start: Array = np.zeros(states)
        self._end: Array = np.zeros(states)

    def forget(self) -> None:
        """The chord before says nothing about the one to come."""
        self.committed = np.full(len(self.committed), 1 / len(self.committed))

    def begin(self, place: int, past: Vector, keys: Array, recalled: Recalled) -> None:
        """A beat begins at a place in the bar; `keys` is the belief over keys."""
        tables = self._tables
        self._carried = np.log(self._moved(place, recalled.hints) + _LEAST)
        others = (past @ tables.turned_past + keys @ tables.turned_keys).reshape(3, -1)
        others += tables.recall[:, None] * recalled.log_shares
        self.expected = _chances(tables.carry[0] * self._carried + others[0])
        self._start = tables.carry[1] * self._carried + others[1] + tables.turned_bias[0]
        self._end = tables.carry[2] * self._carried + others[2] + tables.turned_bias[1]

    def _moved(self, place: int, hints: Array) -> Array:
        weights = self._tables.hazard[place]
        hazard = 1 / (1 + np.exp(-(weights[0] + weights[1:] @ hints)))
        moved = self.committed @ self._tables.turned_jumps
        out: Array = (1 - hazard) * self.committed + hazard * moved
        return out

    def weigh(self, now: Vector) -> Array:
        """The belief about the running beat, given its evidence so far."""
        passed, vectors = now[-1], now[:-1]
        both = np.concatenate(((1 - passed) * vectors, passed * vectors), dtype=np.float32)
        logits = (1 - passed) * self._start + passed * self._end
        return _chances(logits + both @ self._emission)

    def commit(self, belief: Array) -> None:
        """The running beat is over, with this belief about it."""
        self.committed = belief


def _chances(logits: Array) -> Array:
    out: Array = np.exp(logits - logits.max())
    out /= out.sum()
    return out
