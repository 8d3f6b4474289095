"""Modes: the scale that a chord asks for in a key, as a bass player names it.

Knows: which modes there are, and which of them go with each family of chords.
Refuses to know: which of their tones a line uses, and when.
How: one table of modes, a line per entry; the mode of a chord is the one that keeps its tones and
departs least from the key.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from engine.theory.harmony import Chord, Family, Key, degree_semitones


@dataclass(frozen=True, slots=True)
class Mode:
    """A scale as a bass player names it: degrees and semitones above its root."""

    name: str
    degrees: tuple[str, ...]
    intervals: tuple[int, ...]


def _mode(name: str, degrees: str) -> Mode:
    names = tuple(degrees.split())
    return Mode(name, names, tuple(degree_semitones(d) % 12 for d in names))


MODES: Final = (
    _mode("ionian", "1 2 3 4 5 6 7"),
    _mode("dorian", "1 2 b3 4 5 6 b7"),
    _mode("phrygian", "1 b2 b3 4 5 b6 b7"),
    _mode("lydian", "1 2 3 #4 5 6 7"),
    _mode("mixolydian", "1 2 3 4 5 6 b7"),
    _mode("aeolian", "1 2 b3 4 5 b6 b7"),
    _mode("locrian", "1 b2 b3 4 b5 b6 b7"),
    _mode("harmonic minor", "1 2 b3 4 5 b6 7"),
    _mode("melodic minor", "1 2 b3 4 5 6 7"),
    _mode("locrian natural 2", "1 2 b3 4 b5 b6 b7"),
    _mode("phrygian dominant", "1 b2 3 4 5 b6 b7"),
    _mode("mixolydian b6", "1 2 3 4 5 b6 b7"),
    _mode("lydian dominant", "1 2 3 #4 5 6 b7"),
    _mode("altered", "1 b2 #2 3 b5 #5 b7"),
    _mode("whole tone", "1 2 3 #4 #5 b7"),
    _mode("half-whole diminished", "1 b2 #2 3 #4 5 6 b7"),
    _mode("whole-half diminished", "1 2 b3 4 b5 b6 6 7"),
    _mode("lydian augmented", "1 2 3 #4 #5 6 7"),
)
MODE_BY_NAME: Final = MappingProxyType({m.name: m for m in MODES})

# For each family the modes that can colour it, most usual first; the one that keeps all the
# chord's tones and departs least from the key wins (see scale_for).
_MODES_BY_FAMILY: Final = MappingProxyType(
    {
        Family.MAJOR: ("ionian", "lydian", "mixolydian", "phrygian dominant"),
        Family.MINOR: (
            "dorian", "aeolian", "phrygian", "harmonic minor", "melodic minor",
        ),
        Family.DOMINANT: (
            "mixolydian", "lydian dominant", "phrygian dominant", "mixolydian b6",
            "half-whole diminished", "altered", "whole tone",
        ),
        Family.SUSPENDED: ("mixolydian", "ionian", "dorian", "aeolian", "lydian", "phrygian"),
        Family.HALF_DIMINISHED: ("locrian", "locrian natural 2"),
        Family.DIMINISHED: ("whole-half diminished", "locrian"),
        Family.AUGMENTED: ("whole tone", "lydian augmented"),
        Family.POWER: ("ionian", "dorian", "mixolydian", "aeolian", "lydian", "phrygian"),
    }
)  # fmt: skip

# On the flat second the key is no guide: D and A, which are its own in C, rub against the root and
# the fifth of D flat.  The dominant there stands for the five, the major chord is the Neapolitan.
_ON_FLAT_SECOND: Final = MappingProxyType(
    {Family.MAJOR: "lydian", Family.DOMINANT: "lydian dominant"}
)

# These belong to a dominant that says so: with a flat or a sharp ninth.  D flat 7 with a sharp
# eleventh in C is lydian dominant, although half-whole has more tones in the key.
_WITH_ALTERED_NINTH: Final = frozenset({"half-whole diminished", "altered"})


def scale_for(chord: Chord, key: Key) -> Mode:
    """The mode that a bass player thinks of for a chord in a key: dorian on ii, lydian on IV.

    A plain triad on V has the key's seventh, so it is mixolydian, in minor phrygian dominant.

    Of the modes of the chord's family that hold all its tones, the one with most tones in the
    key; on a tie the more usual.  A family whose modes all miss a tone keeps its most usual one.
    On the flat second it is lydian, dominant or not, if that holds the chord's tones.
    """
    needed = set(chord.quality.intervals)
    names = [
        name
        for name in _MODES_BY_FAMILY[chord.family]
        if name not in _WITH_ALTERED_NINTH or needed & {1, 3}
    ]
    fitting = [MODE_BY_NAME[n] for n in names if needed <= set(MODE_BY_NAME[n].intervals)]
    usual = _ON_FLAT_SECOND.get(chord.family) if (chord.root - key.tonic) % 12 == 1 else None
    if usual is not None and MODE_BY_NAME[usual] in fitting:
        return MODE_BY_NAME[usual]
    in_key = set(key.scale)
    if not fitting:
        return MODE_BY_NAME[names[0]]
    return max(fitting, key=lambda m: sum((chord.root + i) % 12 in in_key for i in m.intervals))
