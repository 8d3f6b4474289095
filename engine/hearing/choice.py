"""Choice: which of the chords believed in is the one that is heard.

Knows: where the likeliest is not what a musician would say, for two chords have the same keys, or a
third does not sound yet.
Refuses to know: where the belief comes from, and what becomes of the chord.
How: the likeliest root is taken, then the likeliest kind of chord on it; before either, the belief
is weighed by what a reading shows to the eye.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from typing import Final, NamedTuple

import numpy as np

from engine.arrays import Doubles
from engine.hearing.evidence import E3, PRESENCE, Reading
from engine.hearing.naming import TWINS, name_chord
from engine.hearing.spelled import spelled_counted
from engine.hearing.tables import Tables
from engine.theory.harmony import Chord, Key, Quality

# A tone colours a chord's name when it sounds at least this strongly (1: struck in this beat).
_COLOUR_PRESENCE: Final = 0.45

# A suspended, diminished or open chord counts this much when a plain one stands against it: a plain
# chord's third is often silent for a moment.  But a fourth that sounds where no third does says
# that a suspended chord is meant, and counts so much more for it; one that does not sound counts
# against it, and so does, where no third sounds, a third that is foreign to the key: in C the keys
# G, D and F are G7.  On labelled songs this moves no share by more than a tenth.
_RARE: Final = 0.8
_SUSPENDS: Final = 2.5
_UNHEARD: Final = 0.4
_FOREIGN: Final = 0.8
_THIRDS: Final = frozenset({3, 4})
_PLAIN: Final = ("maj", "min", "7", "maj7", "min7")

# A chord with a sixth or a seventh that is silent, while another of them sounds, counts so little:
# C, E flat, G and A are no Cm7, also after bars of it.  On labelled songs this moves no share by
# more than a hundredth.
_SEVENTHS: Final = frozenset({9, 10, 11})
_OTHER_SEVENTH: Final = 0.15


class Choice(NamedTuple):
    """The chord that is heard, how surely its root is, and how surely each root (12,)."""

    chord: Chord | None
    confidence: float
    roots: Doubles


NOTHING_HEARD: Final = Choice(None, 0.0, np.full(12, 1 / 12))


class Chooser:
    """Chooses among the chords of some tables."""

    def __init__(self, tables: Tables) -> None:
        names = tables.qualities
        self._kinds = tables.quality_values
        self._readiness = np.where([name in _PLAIN for name in names], 1.0, _RARE)
        fourths = [name.startswith("sus4") for name in names]
        self._suspended = np.where(fourths, _SUSPENDS, 1.0)
        self._unsuspended = np.where(fourths, _UNHEARD, 1.0)
        self._by_foreign = _by_foreign_thirds(self._kinds)
        self._by_seventh = _by_seventh(self._kinds)
        self._twins = tuple((names.index(sixth), names.index(seventh)) for sixth, seventh in TWINS)

    def choose(
        self, belief: Doubles, reading: Reading, key: Key, upon: int | None = None
    ) -> Choice:
        """The chord heard in a reading, by a belief about all chords (12 times qualities).

        `upon` is the root that was laid down for it before, if any.
        """
        by_root = self._joined(belief.reshape(12, -1), reading.bass)
        by_root = spelled_counted(by_root, reading, upon)
        roots = by_root.sum(axis=1)
        root = int(roots.argmax())
        presences = enumerate(reading.now[PRESENCE].tolist())
        sounding = frozenset([pc for pc, present in presences if present > _COLOUR_PRESENCE])
        kinds = by_root[root] * self._weights(root, sounding, key)
        chord = name_chord(root, self._kinds[int(kinds.argmax())], sounding, reading.bass)
        return Choice(chord, float(roots[root]), roots)

    def _weights(self, root: int, sounding: frozenset[int], key: Key) -> Doubles:
        """How much each kind on a root counts, by the third, fourth and seventh that sound."""
        thirdless = not sounding & {(root + third) % 12 for third in _THIRDS}
        weights: Doubles = self._readiness
        if (root + 5) % 12 not in sounding:
            weights = weights * self._unsuspended
        elif thirdless:
            weights = weights * self._suspended
        if thirdless:
            scale = key.scale
            foreign = frozenset({third for third in _THIRDS if (root + third) % 12 not in scale})
            weights = weights * self._by_foreign[foreign]
        sevenths = _SEVENTHS & {(pc - root) % 12 for pc in sounding}
        return weights * self._by_seventh[sevenths]

    def _joined(self, by_root: Doubles, bass: int | None) -> Doubles:
        """The belief, in which a sixth chord over its sixth is the seventh chord on that bass."""
        if bass is None or bass >= E3:
            return by_root
        out, low = by_root.copy(), bass % 12
        for sixth, seventh in self._twins:
            out[low, seventh] += out[(low + 3) % 12, sixth]
            out[(low + 3) % 12, sixth] = 0.0
        return out


def _by_foreign_thirds(kinds: Sequence[Quality]) -> dict[frozenset[int], Doubles]:
    """For the thirds above a root that are foreign to the key: how much each kind counts."""
    own = [min(_THIRDS & {*kind.intervals}, default=0) for kind in kinds]
    sets = [frozenset(s) for size in range(3) for s in combinations(sorted(_THIRDS), size)]
    return {foreign: np.where([t in foreign for t in own], _FOREIGN, 1.0) for foreign in sets}


def _by_seventh(kinds: Sequence[Quality]) -> dict[frozenset[int], Doubles]:
    """For every set of sixths and sevenths that sound: how much each kind counts, by its own."""
    own = [_SEVENTHS & {*kind.intervals} for kind in kinds]
    sets = [frozenset(s) for size in range(4) for s in combinations(sorted(_SEVENTHS), size)]
    others = {heard: [bool(each and heard and not each & heard) for each in own] for heard in sets}
    return {heard: np.where(other, _OTHER_SEVENTH, 1.0) for heard, other in others.items()}
