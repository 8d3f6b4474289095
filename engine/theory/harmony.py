"""Harmony: chord qualities, chords and keys.

Knows: which tones a chord has, what its family is, which tones a key has, how it spells them.
Refuses to know: which notes sound now, where in the bar we are, which mode goes with a chord
(modes.py), how a chord is written down (labels.py, symbols.py).
How: one table of qualities, a line per entry; every look-up is derived from it.  Degrees are
written against the major scale of the root: "b3" is the minor third.

Sources: the Harte shorthands are those of Harte et al., "Symbolic representation of musical
chords" (ISMIR 2005), table 1, with its parenthesised degrees for what has no shorthand.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from enum import Enum
from functools import cached_property
from types import MappingProxyType
from typing import Final

from engine.theory.pitch import (
    fifths_near,
    fifths_of_name,
    is_usual,
    name_of_fifths,
    pitch_class_of_fifths,
    plainer,
    twin_of,
)

MAJOR_SCALE_SEMITONES: Final = (0, 2, 4, 5, 7, 9, 11)
_NATURAL_MINOR_SEMITONES: Final = (0, 2, 3, 5, 7, 8, 10)


def degree_semitones(degree: str) -> int:
    """Semitones above the root of a degree such as "5", "b7" or "#11" (9 counts as 14).

    Raises:
        ValueError: not accidentals followed by a number from 1 to 13.
    """
    digits = degree.lstrip("b#")
    if not digits.isdigit() or not 1 <= int(digits) <= 13:
        raise ValueError(f"{degree!r} is not a degree; give 1 to 13 with b or # before it")
    octave, step = divmod(int(digits) - 1, 7)
    return 12 * octave + MAJOR_SCALE_SEMITONES[step] + degree.count("#") - degree.count("b")


def degree_fifths(degree: str) -> int:
    """How far along the line of fifths a degree lies from its root: "5" is 1, "b7" is -2."""
    step = (int(degree.lstrip("b#")) - 1) % 7
    return (0, 2, 4, -1, 1, 3, 5)[step] + 7 * (degree.count("#") - degree.count("b"))


class Family(Enum):
    """What a chord is to a bass player: the colour that decides which tones serve it."""

    MAJOR = "major"
    MINOR = "minor"
    DOMINANT = "dominant"
    SUSPENDED = "suspended"
    HALF_DIMINISHED = "half-diminished"
    DIMINISHED = "diminished"
    AUGMENTED = "augmented"
    POWER = "power"


@dataclass(frozen=True, slots=True)
class Quality:
    """One kind of chord: its Harte name, its lead-sheet suffix, its degrees and family."""

    harte: str
    suffix: str
    degrees: tuple[str, ...]
    family: Family
    intervals: tuple[int, ...]
    """Semitones above the root, 0..11, in the order of the degrees."""


def _quality(harte: str, suffix: str, degrees: str, family: Family) -> Quality:
    names = tuple(degrees.split())
    return Quality(harte, suffix, names, family, tuple(degree_semitones(d) % 12 for d in names))


QUALITIES: Final = (
    _quality("maj", "", "1 3 5", Family.MAJOR),
    _quality("min", "m", "1 b3 5", Family.MINOR),
    _quality("7", "7", "1 3 5 b7", Family.DOMINANT),
    _quality("maj7", "maj7", "1 3 5 7", Family.MAJOR),
    _quality("min7", "m7", "1 b3 5 b7", Family.MINOR),
    _quality("dim", "dim", "1 b3 b5", Family.DIMINISHED),
    _quality("aug", "aug", "1 3 #5", Family.AUGMENTED),
    _quality("sus2", "sus2", "1 2 5", Family.SUSPENDED),
    _quality("sus4", "sus4", "1 4 5", Family.SUSPENDED),
    _quality("5", "5", "1 5", Family.POWER),
    _quality("maj6", "6", "1 3 5 6", Family.MAJOR),
    _quality("min6", "m6", "1 b3 5 6", Family.MINOR),
    _quality("minmaj7", "m(maj7)", "1 b3 5 7", Family.MINOR),
    _quality("hdim7", "m7b5", "1 b3 b5 b7", Family.HALF_DIMINISHED),
    _quality("dim7", "dim7", "1 b3 b5 bb7", Family.DIMINISHED),
    _quality("sus4(b7)", "7sus4", "1 4 5 b7", Family.SUSPENDED),
    _quality("maj(9)", "add9", "1 3 5 9", Family.MAJOR),
    _quality("min(9)", "m(add9)", "1 b3 5 9", Family.MINOR),
    _quality("maj6(9)", "6/9", "1 3 5 6 9", Family.MAJOR),
    _quality("9", "9", "1 3 5 b7 9", Family.DOMINANT),
    _quality("maj9", "maj9", "1 3 5 7 9", Family.MAJOR),
    _quality("min9", "m9", "1 b3 5 b7 9", Family.MINOR),
    _quality("sus4(b7,9)", "9sus4", "1 4 5 b7 9", Family.SUSPENDED),
    _quality("11", "11", "1 3 5 b7 9 11", Family.DOMINANT),
    _quality("min11", "m11", "1 b3 5 b7 9 11", Family.MINOR),
    _quality("13", "13", "1 3 5 b7 9 13", Family.DOMINANT),
    _quality("7(b9)", "7b9", "1 3 5 b7 b9", Family.DOMINANT),
    _quality("7(#9)", "7#9", "1 3 5 b7 #9", Family.DOMINANT),
    _quality("7(#11)", "7#11", "1 3 5 b7 #11", Family.DOMINANT),
    _quality("7(b13)", "7b13", "1 3 5 b7 b13", Family.DOMINANT),
    _quality("7(b9,b13)", "7b9b13", "1 3 5 b7 b9 b13", Family.DOMINANT),
    _quality("aug(b7)", "7#5", "1 3 #5 b7", Family.DOMINANT),
    _quality("aug(b7,#9)", "7#5#9", "1 3 #5 b7 #9", Family.DOMINANT),
    _quality("(1,3,b5,b7)", "7b5", "1 3 b5 b7", Family.DOMINANT),
)

QUALITY_BY_HARTE: Final = MappingProxyType({q.harte: q for q in QUALITIES})
QUALITY_BY_SUFFIX: Final = MappingProxyType({q.suffix: q for q in QUALITIES})

MAJOR: Final = QUALITY_BY_HARTE["maj"]
MINOR: Final = QUALITY_BY_HARTE["min"]

# The degree that a bass note is written as when the chord itself does not name it.
_DEGREE_BY_INTERVAL: Final = ("1", "b2", "2", "b3", "3", "4", "b5", "5", "b6", "6", "b7", "7")

# Fewer keys than these belong to many chords.
_TELLING: Final = 3


@dataclass(frozen=True)
class Chord:
    """A chord: root and bass as pitch classes 0..11, and its quality.

    `written` is where on the line of fifths its root is written, once that is settled; until then
    it is where the key has it.  C# and Db are the same chord for that.

    Raises:
        ValueError: root or bass is no pitch class.
    """

    root: int
    quality: Quality
    bass: int
    written: int | None = field(default=None, compare=False)

    def __post_init__(self) -> None:
        for name, value in (("root", self.root), ("bass", self.bass)):
            if not 0 <= value <= 11:
                raise ValueError(f"the chord's {name} is {value}; a pitch class is 0 to 11")

    @classmethod
    def of(cls, root: int, quality: Quality = MAJOR, bass: int | None = None) -> Chord:
        """A chord over its root, or over another bass when one is given."""
        return cls(root, quality, root if bass is None else bass)

    @property
    def family(self) -> Family:
        """The family of the chord's quality."""
        return self.quality.family

    @cached_property
    def pitch_classes(self) -> frozenset[int]:
        """The chord's tones as pitch classes, a foreign bass note not counted."""
        return frozenset((self.root + i) % 12 for i in self.quality.intervals)

    @cached_property
    def keys(self) -> frozenset[int]:
        """What is played for it, as pitch classes: its tones and its bass."""
        return self.pitch_classes | {self.bass}

    def shares_keys(self, other: Chord) -> bool:
        """Whether the keys of one are all among the other's, and enough to tell a chord by."""
        keys, others = self.keys, other.keys
        return len(keys & others) == min(len(keys), len(others)) >= _TELLING

    def degree_of(self, pitch_class: int) -> str:
        """The degree a pitch class is above the root, as this chord names it ("b3", "13")."""
        interval = (pitch_class - self.root) % 12
        if interval in self.quality.intervals:
            return self.quality.degrees[self.quality.intervals.index(interval)]
        return _DEGREE_BY_INTERVAL[interval]

    def transposed(self, semitones: int) -> Chord:
        """The same chord, moved by semitones."""
        return Chord((self.root + semitones) % 12, self.quality, (self.bass + semitones) % 12)


# Where common practice writes each tonic on the line of fifths: major C Db D Eb E F F# G Ab A Bb B,
# minor C C# D Eb E F F# G G# A Bb B.
_MAJOR_TONIC_FIFTHS: Final = (0, -5, 2, -3, 4, -1, 6, 1, -4, 3, -2, 5)
_MINOR_TONIC_FIFTHS: Final = (0, 7, 2, -3, 4, -1, 6, 1, 8, 3, -2, 5)


@dataclass(frozen=True, slots=True)
class Key:
    """A key: its tonic as pitch class 0..11, and whether it is minor.

    `written` is where on the line of fifths the tonic is written, if not where common practice has
    it.  F# and Gb major are the same key for that: it sounds alike, and is heard and foreseen so.

    Raises:
        ValueError: the tonic is no pitch class.
    """

    tonic: int
    minor: bool = False
    written: int | None = field(default=None, compare=False)

    def __post_init__(self) -> None:
        if not 0 <= self.tonic <= 11:
            raise ValueError(f"the key's tonic is {self.tonic}; a pitch class is 0 to 11")

    @classmethod
    def named(cls, tonic: str, *, minor: bool = False) -> Key:
        """The key as it is written: Gb stays Gb.  What has no signature, as D#, is written Eb.

        Raises:
            ValueError: the tonic is no note name.
        """
        fifths = fifths_of_name(tonic)
        key = cls(pitch_class_of_fifths(fifths), minor, fifths)
        return key if abs(key.signature) <= 7 else replace(key, written=None)

    @property
    def tonic_fifths(self) -> int:
        """Where the tonic is written on the line of fifths."""
        if self.written is not None:
            return self.written
        return (_MINOR_TONIC_FIFTHS if self.minor else _MAJOR_TONIC_FIFTHS)[self.tonic]

    @property
    def name(self) -> str:
        """The key as musicians say it: "Eb major"."""
        return f"{name_of_fifths(self.tonic_fifths)} {'minor' if self.minor else 'major'}"

    @property
    def signature(self) -> int:
        """Sharps (positive) or flats (negative) of the key signature."""
        return self.tonic_fifths - (3 if self.minor else 0)

    @property
    def scale(self) -> tuple[int, ...]:
        """The seven pitch classes of the key, from the tonic up; natural minor for minor."""
        steps = _NATURAL_MINOR_SEMITONES if self.minor else MAJOR_SCALE_SEMITONES
        return tuple((self.tonic + i) % 12 for i in steps)

    def tone_fifths(self, pitch_class: int) -> int:
        """Where this key writes a pitch class on the line of fifths.

        Its own seven tones as the scale has them, any other by a name that is read at once: in
        A flat major there is an E and no Fb.
        """
        fifths = fifths_near(pitch_class, self.tonic_fifths)
        return fifths if pitch_class in self.scale else plainer(fifths)

    def tone_name(self, pitch_class: int) -> str:
        """The name of a pitch class."""
        return name_of_fifths(self.tone_fifths(pitch_class))

    def chord_fifths(self, chord: Chord) -> int:
        """Where this key writes a chord's root: a diminished chord from its sharper side.

        It mostly leads up a semitone, from a raised degree: E dim7 in E flat, C# dim7 in C.
        A root that is none of the key's own is written so that its triad can be read: F#m in A flat
        major, since Gbm has a Bbb, and C#m in E flat.  Over a bass of the key's own that is no tone
        of it, it is written from the side of that bass: Cb/Db in D flat major.
        """
        if chord.written is not None:
            return chord.written
        if chord.root in self.scale:
            return self.tone_fifths(chord.root)
        raised = 3 if chord.family is Family.DIMINISHED else 0
        fifths = plainer(fifths_near(chord.root, self.tonic_fifths + raised))
        ways = fifths, twin_of(fifths)
        if chord.bass not in chord.pitch_classes and chord.bass in self.scale:
            bass = self.tone_fifths(chord.bass)
            return next((root for root in ways if is_usual(root) and abs(root - bass) <= 6), fifths)
        return next((root for root in ways if is_readable(chord, root)), fifths)

    def chord_name(self, chord: Chord) -> str:
        """The name of a chord's root."""
        return name_of_fifths(self.chord_fifths(chord))


def is_readable(chord: Chord, root: int) -> bool:
    """Whether the triad's tones are written from Cb to E#, with the root written there.

    The fifth of a half-diminished chord may be flatter: Bbm7b5 is the two of A flat.
    """
    counted = "13" if chord.family is Family.HALF_DIMINISHED else "135"
    triad = (root + degree_fifths(d) for d in chord.quality.degrees if d.lstrip("b#") in counted)
    return all(map(is_usual, triad))


C_MAJOR: Final = Key(0)
KEYS: Final = tuple(Key(t, minor) for minor in (False, True) for t in range(12))
