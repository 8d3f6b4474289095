"""Pencil: what this player plays instead of written chords, as it is pencilled into a chart.

Knows: for every chord of the chart which root was heard in its stead, and how likely that has
become a habit.
Refuses to know: where in the chart the player is.
How: a chord is replaced on a whim, now by this one and now by that; or it always is, by the same,
as by who has another chart.  Once is as likely the one as the other, twice running is a habit, and
a habit is soon forgotten where the written chord is played again.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.arrays import Doubles
from engine.foresight.agreement import NO_CHORD, ROOTS

# The odds that a chord of the chart is always replaced, before it was ever played, and how often
# a habit is kept to.
_HABIT: Final = 1 / 19
_KEPT: Final = 0.9

# By how much the odds grow with a chord that is played instead, by how much with the same once
# more, and how they shrink where it is played as written.  No habit is so sure, and no faith, that
# the other would not be believed before long.  They were not fitted but chosen, for even odds after
# once and nine in ten after twice; by them bench.following misses half as many changes of players
# who always replace the same chords as without a pencil.
_ONCE: Final = 19.0
_AGAIN: Final = 20.0
_AS_WRITTEN: Final = 0.1
_SUREST: Final = 50.0


@dataclass(frozen=True, slots=True)
class Pencil:
    """For each felt beat of a chart the root played there instead, and the odds of a habit."""

    roots: NDArray[np.int64]
    odds: Doubles

    @classmethod
    def blank(cls, beats: int) -> Pencil:
        """Nothing was replaced yet."""
        return cls(np.full(beats, NO_CHORD), np.full(beats, _HABIT))

    def noting(self, beat: int, root: int, *, replaced: bool) -> Pencil:
        """Once more at a beat on which a chord begins: the root heard, and whether instead."""
        roots, odds = self.roots.copy(), self.odds.copy()
        if not replaced:
            odds[beat] = max(odds[beat] * _AS_WRITTEN, 1 / _SUREST**2)
        elif root == roots[beat]:
            odds[beat] = min(odds[beat] * _AGAIN, _SUREST)
        else:
            roots[beat], odds[beat] = root, min(odds[beat], _HABIT) * _ONCE
        return replace(self, roots=roots, odds=odds)

    def replaces(self, usually: float) -> Doubles:
        """How likely the chord of each beat is replaced next time, (beats,)."""
        habit = self._habits
        chances: Doubles = habit * _KEPT + (1 - habit) * usually
        return chances

    def instead(self, root: int, usually: float) -> Doubles:
        """If a chord is replaced, how likely by this root, (beats,)."""
        known = self._known(usually)
        chances: Doubles = (1 - known) / ROOTS + known * (self.roots == root)
        return chances

    def shared_out(self, replaced: Doubles, usually: float) -> Doubles:
        """What is expected of chords replaced, (beats,), by the root in their stead, (ROOTS,)."""
        by_habit = replaced * self._known(usually)
        any_root = (replaced.sum() - by_habit.sum()) / ROOTS
        chances: Doubles = np.bincount(self.roots, by_habit, ROOTS).astype(float) + any_root
        return chances

    def _known(self, usually: float) -> Doubles:
        """How much of what replaces each chord is its habit, (beats,)."""
        chances: Doubles = self._habits * _KEPT / self.replaces(usually)
        return chances

    @property
    def _habits(self) -> Doubles:
        chances: Doubles = np.where(self.roots == NO_CHORD, 0.0, self.odds / (1 + self.odds))
        return chances
