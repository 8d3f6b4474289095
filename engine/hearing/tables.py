"""Tables: everything the ear was taught, as one value.

Knows: the shapes of the tables and how they are turned to every root.
Refuses to know: where the numbers come from (taught.py and weights.py say it).
How: one table serves all twelve roots.  The tones of a beat are turned to each root to be read;
what is asked once a beat or less is turned once, when it is loaded.  So hearing a beat is a few
products of matrices.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from engine.arrays import Doubles, Singles
from engine.theory.harmony import QUALITY_BY_HARTE, Quality

# Places in the bar, by what they are to a change of chord.
BAR_LINE, SECOND, MIDDLE, LAST = range(4)

HINTS = 7
"""What recall.py tells of a change."""


@dataclass(frozen=True)
class KeyTables:
    """What the ear was taught of keys.

    - `key_weights` (2, 2, 18, 12), `minor_bias`: what the rows that stretch.py counts say, in a
      stretch that has just begun and in a long one, for a major and a minor key, tonic upward
    - `lately_weights` (2, 8, 12), `lately_bias`: the same of the last bars
    - `scale_chords` (kinds, 12), `scale_tones` (12): the logarithm of how common each kind of
      chord and each tone is in a major scale or its relative minor, major tonic upward
    """

    key_weights: Doubles
    minor_bias: float
    lately_weights: Doubles
    lately_bias: float
    scale_chords: Doubles
    scale_tones: Doubles

    @cached_property
    def turned_weights(self) -> Doubles:
        """The worth of each counted row and pitch class for the 24 keys, major keys first.

        (2, rows x 12, 24): in a stretch that has just begun, in a long one.
        """
        return np.array([_for_all_keys(modes) for modes in self.key_weights])

    @cached_property
    def turned_lately(self) -> Doubles:
        """The worth of each row of the last bars and pitch class for the 24 keys."""
        return _for_all_keys(self.lately_weights)

    @cached_property
    def turned_scale_chords(self) -> Doubles:
        """The worth of each kind of chord on each pitch class for the twelve scales."""
        scales = [np.roll(self.scale_chords, tonic, axis=1).ravel() for tonic in range(12)]
        return np.array(scales).T

    @cached_property
    def turned_scale_tones(self) -> Doubles:
        """The worth of each pitch class for the twelve scales."""
        return np.array([np.roll(self.scale_tones, tonic) for tonic in range(12)]).T


@dataclass(frozen=True)
class Tables:
    """What the ear was taught.

    `qualities` are Harte names; Q is how many, W the width of the features that chord.py keeps
    for each root.  Degrees count semitones above the root that is asked about.

    What the tones of a beat say, at its start and at its end:
    - `emission` (2, vectors, 12, Q): for a quality; `bias` (3, Q): before, at start, at end
    - `seen` (2, vectors, 12, W), `passed` (2, W): for the features

    What is known before it, for the features:
    - `past` (earlier vectors, 12, W): what went before
    - `keys` (2, 12, W): the root as a degree of a major and of a minor key
    - `places` (places, W), `hints` (HINTS, W): the place in the bar, the hints of a change
    - `remembered` (Q, W): what memory expects of this root; `recall` (3,): how far it counts
    - `carry` (W, W): what the beats before have left

    What a beat leaves, and what features tell of qualities:
    - `gates_new` (2 W, 3 W), `gates_left` (W, 3 W), `gates_bias` (2, 3 W): keep, reset, say
    - `tell` (2 W, Q): with the beat's notes; `foretell` (2 W, Q): before them
    - `look_back` (2 W, Q): of the beat before; `kept` (1,): how far its own belief counts then

    Keys:
    - `for_keys`: what tells them
    """

    qualities: tuple[str, ...]
    emission: Singles
    bias: Singles
    seen: Singles
    passed: Singles
    past: Singles
    keys: Singles
    places: Singles
    hints: Singles
    remembered: Singles
    recall: Singles
    carry: Singles
    gates_new: Singles
    gates_left: Singles
    gates_bias: Singles
    tell: Singles
    foretell: Singles
    look_back: Singles
    kept: Singles
    for_keys: KeyTables

    @property
    def count(self) -> int:
        """How many qualities the ear tells apart."""
        return len(self.qualities)

    @property
    def width(self) -> int:
        """How many features are kept for each root."""
        return len(self.carry)

    @cached_property
    def quality_values(self) -> tuple[Quality, ...]:
        """The qualities as harmony knows them."""
        return tuple(QUALITY_BY_HARTE[name] for name in self.qualities)

    @cached_property
    def as_it_begins(self) -> Singles:
        """What each degree in the vectors of a beat says of a root at first.

        (vectors x 12, Q + W): qualities before features.
        """
        return _flat(np.concatenate((self.emission[0], self.seen[0]), axis=-1))

    @cached_property
    def as_it_passes(self) -> Singles:
        """What each of them says more when the beat has passed."""
        end = np.concatenate((self.emission[1], self.seen[1]), axis=-1)
        return _flat(end) - self.as_it_begins

    @cached_property
    def reading_bias(self) -> Singles:
        """What is added to that at start and end, (2, Q + W)."""
        return np.concatenate((self.bias[1:], self.passed), axis=-1)

    @cached_property
    def turned_known(self) -> Singles:
        """The worth of the past and of each of the 24 keys for the features of all roots."""
        keys = [np.roll(mode, tonic, axis=0).T.ravel() for mode in self.keys for tonic in range(12)]
        return np.concatenate((_turned(self.past), np.stack(keys)))


def _for_all_keys(modes: Doubles) -> Doubles:
    keys = [np.roll(mode, tonic, axis=1).ravel() for mode in modes for tonic in range(12)]
    return np.array(keys).T


def _flat(table: Singles) -> Singles:
    return table.reshape(-1, table.shape[-1])


def _turned(table: Singles) -> Singles:
    """(vectors, degree, worth) to (vectors x pitch class, worth x root)."""
    vectors, _, q = table.shape
    out = np.zeros((vectors, 12, q, 12), np.float32)
    for root in range(12):
        out[..., root] = np.roll(table, root, axis=1)
    return out.reshape(vectors * 12, q * 12)
