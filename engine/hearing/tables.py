"""Tables: everything the ear was taught, as one value.

Knows: the shapes of the tables and how they are turned to every root.
Refuses to know: where the numbers come from (counted.py says it beside its own).
How: one table serves all twelve roots.  It is turned to each once, when it is loaded, so that
hearing a beat is one product of a vector and a matrix.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.harmony import QUALITY_BY_HARTE, Quality

Array = NDArray[np.float64]

# Places in the bar, by what they are to a change of chord.
BAR_LINE, SECOND, MIDDLE, LAST = range(4)


@dataclass(frozen=True)
class Tables:
    """What the ear was taught.

    `qualities` are Harte names; Q is how many.  `emission` is (2, vectors, 12, Q): the worth of
    each degree above the root, at the start of a beat and at its end; `past` (vectors, 12, Q) the
    same for the vectors of the past; `bias` (2, Q).  `hazard` is the chance that the chord changes
    at each of the four places in the bar.  `jumps` (Q, 12, Q) is the chance of each interval and
    quality, given that the chord changes.  `key_shares` (2, 12) weighs the square roots of the
    shares of the pitch classes, tonic upward, for major and minor; `key_scale` says how far
    a difference in score is to be trusted.
    """

    qualities: tuple[str, ...]
    emission: Array
    past: Array
    bias: Array
    hazard: tuple[float, float, float, float]
    jumps: Array
    key_shares: Array
    key_scale: float

    @property
    def count(self) -> int:
        """How many qualities the ear tells apart."""
        return len(self.qualities)

    @cached_property
    def quality_values(self) -> tuple[Quality, ...]:
        """The qualities as harmony knows them."""
        return tuple(QUALITY_BY_HARTE[name] for name in self.qualities)

    @cached_property
    def turned_emission(self) -> tuple[Array, Array]:
        """The emission for all states, at the start and at the end of a beat."""
        start, end = (_turned(part) for part in self.emission)
        return start, end

    @cached_property
    def turned_past(self) -> Array:
        """The worth of the past for all states."""
        return _turned(self.past)

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
    def turned_keys(self) -> Array:
        """The worth of each pitch class for each of the 24 keys, major keys first."""
        rows = [np.roll(self.key_shares[minor], tonic) for minor in (0, 1) for tonic in range(12)]
        return np.array(rows)


def _turned(table: Array) -> Array:
    """(vectors, degree, quality) to (vectors x pitch class, root x quality)."""
    vectors, _, q = table.shape
    out: Final = np.zeros((vectors, 12, 12, q))
    for root in range(12):
        out[:, :, root, :] = np.roll(table, root, axis=1)
    return out.reshape(vectors * 12, 12 * q)
