"""Key: a belief over the 24 keys.

Knows: how much of each pitch class has sounded, lately more than long ago.
Refuses to know: which chord sounds now, how a key is spelled.
How: the shares of the pitch classes are weighed for every key; what sounded fades slowly, so that
a modulation is followed and a borrowed chord is not.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from engine.harmony import KEYS, Key
from engine.hearing.evidence import Vector
from engine.hearing.tables import Array, Tables


class KeyFilter:
    """What is believed about the key so far."""

    MEMORY: Final = 0.985
    """What a beat's tones count for after each further beat: half after 46."""

    def __init__(self, tables: Tables) -> None:
        self._weights = tables.turned_key_shares
        self._scale = tables.key_scale
        self._sounded = np.zeros(12)
        self.belief: Array = np.full(24, 1 / 24)

    def add(self, lengths: Vector) -> None:
        """A beat is over, with so much of each pitch class in it."""
        self._sounded = self.MEMORY * self._sounded + lengths
        total = self._sounded.sum()
        if total > 0:
            scores = self._weights @ np.sqrt(self._sounded / total) * self._scale
            scores = np.exp(scores - scores.max())
            self.belief = scores / scores.sum()

    def best(self) -> tuple[Key, float]:
        """The likeliest key and its probability."""
        index = int(self.belief.argmax())
        return KEYS[index], float(self.belief[index])
