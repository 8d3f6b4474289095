"""Judge: weighs the clues and says how likely each root is next.

Knows: how a small network turns the clues of a candidate, and those common to all, into one score.
Refuses to know: what any clue means.
How: the same two hidden layers score each of the thirteen candidates; the second sees, besides,
the mean and the maximum of the first over all candidates, so that rivals are felt.  A softmax
makes probabilities.  Several networks, fitted apart, vote with the geometric mean.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from engine.arrays import Singles
from engine.foresight.agreement import ROOTS

_SHARPENED: Final = np.float32(1.02)
"""Networks that vote are each as sure as they are often right, and together a little less so: this
makes up for it.  On charts (bench.foresight, in folds) the calibration error is 0.43% without."""


@dataclass(frozen=True, slots=True)
class Network:
    """The weights of one network.

    `candidate` and `common` lead from the clues to the first layer, `first` and `rivals` from it
    and from its mean and maximum to the second, `second` and `skip` from that and from the
    candidate's clues to the score.
    """

    candidate: Singles
    common: Singles
    bias: Singles
    first: Singles
    rivals: Singles
    first_bias: Singles
    second: Singles
    skip: Singles


class Judge:
    """A bench of networks of one size, which are asked at one go.

    Their weights stand side by side, so that a beat takes a few large products, not many small.
    """

    def __init__(self, networks: Sequence[Network]) -> None:
        share = _SHARPENED / np.float32(len(networks))
        self._candidate = np.concatenate([each.candidate for each in networks], axis=1)
        self._common = np.concatenate([each.common for each in networks], axis=1)
        self._bias = np.concatenate([each.bias for each in networks])
        self._first = np.stack([each.first for each in networks])
        self._rivals = np.stack([each.rivals for each in networks])
        self._first_bias = np.stack([each.first_bias for each in networks])[:, None]
        self._second = share * np.stack([each.second for each in networks])[:, :, None]
        self._skip = share * np.add.reduce([each.skip for each in networks])

    def odds(self, candidates: Singles, common: Singles) -> Singles:
        """The probability of each candidate."""
        hidden = candidates @ self._candidate
        hidden += common @ self._common + self._bias
        np.maximum(hidden, 0, out=hidden)
        networks = len(self._first)
        mean = np.add.reduce(hidden, 0) / np.float32(ROOTS)
        pooled = np.stack((mean, np.maximum.reduce(hidden, 0))).reshape(2, networks, -1)
        second = hidden.reshape(ROOTS, networks, -1).swapaxes(0, 1) @ self._first
        second += pooled.swapaxes(0, 1).reshape(networks, 1, -1) @ self._rivals + self._first_bias
        np.maximum(second, 0, out=second)
        scores = np.add.reduce(second @ self._second)[:, 0] + candidates @ self._skip
        odds: Singles = np.exp(scores - scores.max())
        odds /= odds.sum()
        return odds
