"""Voicings: the keys that a chord is played with where its root is left to the bass.

Knows: which tones show a chord without its root, and which tensions each family is played with.
Refuses to know: which keys sound, and which chord they are heard as.
How: a third and a seventh show a chord; whatever else comes with them has to be a tone of it or a
tension of its family.
"""

from __future__ import annotations

from functools import lru_cache
from types import MappingProxyType
from typing import Final

from engine.theory.harmony import Chord, Family, degree_semitones

# The tensions that each family is played with.  A dominant bears any but the fourth, which would
# suspend it, and the major seventh.
_TENSIONS: Final = MappingProxyType(
    {
        Family.MAJOR: "9 #11 13",
        Family.MINOR: "9 11",
        Family.DOMINANT: "b9 9 #9 #11 b13 13",
        Family.SUSPENDED: "9 13",
        Family.HALF_DIMINISHED: "9 11 b13",
    }
)

# What stands for the third, and for the seventh, in semitones above the root.
_THIRDS: Final = frozenset({3, 4})
_FOURTH: Final = frozenset({5})
_SEVENTHS: Final = frozenset({9, 10, 11})


@lru_cache(maxsize=1024)
def shows(chord: Chord, keys: frozenset[int]) -> bool:
    """Whether keys, as pitch classes, can be nothing less than the chord, its root left out or not.

    They have its third, or the fourth that stands for it, and its seventh, or the sixth; and none
    that it is not played with.
    """
    heard = frozenset((key - chord.root) % 12 for key in keys)
    tones = frozenset(chord.quality.intervals)
    thirds = tones & (_FOURTH if chord.family is Family.SUSPENDED else _THIRDS)
    if not (heard & thirds and heard & tones & _SEVENTHS):
        return False
    return keys <= chord.keys | _tensions(chord)


def _tensions(chord: Chord) -> frozenset[int]:
    degrees = _TENSIONS.get(chord.family, "").split()
    return frozenset((chord.root + degree_semitones(degree)) % 12 for degree in degrees)
