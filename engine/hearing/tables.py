"""Tables: everything the ear was taught, as one value.

Knows: the shapes of the tables and how they are turned to every root.
Refuses to know: where the numbers come from (taught.py and counted.py say it beside their own).
How: one table serves all twelve roots.  It is turned to each once, when it is loaded, so that
hearing a beat is one product of a vector and a matrix.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from engine.harmony import QUALITY_BY_HARTE, Quality

Array = NDArray[np.float64]

# Places in the bar, by what they are to a change of chord.
BAR_LINE, SECOND, MIDDLE, LAST = range(4)

HINTS = 8
"""One, and the seven hints about a change that recall.py gives."""


@dataclass(frozen=True)
class Tables:
    """What the ear was taught.

    `qualities` are Harte names; Q is how many.  Weights come for up to three readings of a beat:
    before any note of it, at its start, at its end.

    - `emission` (2, vectors, 12, Q): what each degree above the root is worth, at start and end
    - `bias` (2, Q): what a quality is worth without evidence
    - `past` (3, vectors, 12, Q): the same for what went before
    - `keys` (3, 2, 12, Q): what each degree of a major and a minor key is worth as a root
    - `recall` (3,): how far memory's expectation counts; `carry` (3,): the chord before's
    - `hazard` (4, HINTS): log-odds of a change, for each place in the bar
    - `jumps` (Q, 12, Q): the chance of each interval and quality, given that the chord changes
    - `key_weights` (2, 18, 12), `minor_bias`: what the rows that key.py counts say for a major
      and a minor key, tonic upward
    - `scale_chords` (kinds, 12), `scale_tones` (12): the logarithm of how common each kind of
      chord and each tone is in a major scale or its relative minor, major tonic upward
    """

    qualities: tuple[str, ...]
    emission: Array
    bias: Array
    past: Array
    keys: Array
    recall: Array
    carry: Array
    hazard: Array
    jumps: Array
    key_weights: Array
    minor_bias: float
    scale_chords: Array
    scale_tones: Array

    @property
    def count(self) -> int:
        """How many qualities the ear tells apart."""
        return len(self.qualities)

    @cached_property
    def quality_values(self) -> tuple[Quality, ...]:
        """The qualities as harmony knows them."""
        return tuple(QUALITY_BY_HARTE[name] for name in self.qualities)

    @cached_property
    def turned_emission(self) -> NDArray[np.float32]:
        """The emission for all states, start above end: (2 x vectors x 12, states)."""
        return np.concatenate([_turned(part) for part in self.emission]).astype(np.float32)

    @cached_property
    def turned_bias(self) -> Array:
        """The bias for all states, at start and end."""
        return np.tile(self.bias, (1, 12))

    @cached_property
    def turned_past(self) -> Array:
        """The worth of the past for all states, three readings side by side."""
        return np.concatenate([_turned(part) for part in self.past], axis=1)

    @cached_property
    def turned_keys(self) -> Array:
        """The worth of each of the 24 keys for all states, three readings side by side."""
        readings = [
            np.stack([np.roll(mode, tonic, axis=0).ravel() for mode in part for tonic in range(12)])
            for part in self.keys
        ]
        return np.concatenate(readings, axis=1)

    @cached_property
    def turned_jumps(self) -> Array:
        """The chance of every state after every state, given a change."""
        q = self.count
        out = np.zeros((12, q, 12, q))
        for root in range(12):
            for new in range(12):
                out[root, :, new, :] = self.jumps[:, (new - root) % 12, :]
        return out.reshape(12 * q, 12 * q)

    @cached_property
    def turned_key_weights(self) -> Array:
        """The worth of each counted row and pitch class for the 24 keys, major keys first."""
        keys = [
            np.roll(mode, tonic, axis=1).ravel() for mode in self.key_weights for tonic in range(12)
        ]
        return np.array(keys).T

    @cached_property
    def turned_scale_chords(self) -> Array:
        """The worth of each kind of chord on each pitch class for the twelve scales."""
        scales = [np.roll(self.scale_chords, tonic, axis=1).ravel() for tonic in range(12)]
        return np.array(scales).T

    @cached_property
    def turned_scale_tones(self) -> Array:
        """The worth of each pitch class for the twelve scales."""
        return np.array([np.roll(self.scale_tones, tonic) for tonic in range(12)]).T


def _turned(table: Array) -> Array:
    """(vectors, degree, quality) to (vectors x pitch class, root x quality)."""
    vectors, _, q = table.shape
    out = np.zeros((vectors, 12, 12, q))
    for root in range(12):
        out[:, :, root, :] = np.roll(table, root, axis=1)
    return out.reshape(vectors * 12, 12 * q)
