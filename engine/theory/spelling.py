"""Spelling: what the tones over a chord are called.

Knows: which tones are called by the chord, which by its mode, and which by the key.
Refuses to know: how the key calls a root (harmony.py), and where a tone leads.
How: a name is its place on the line of fifths.  Symbols and reasons both ask here, so that a bass
behind a slash and the note that plays it have one name.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType
from typing import Final

from engine.theory.harmony import Chord, Family, Key, degree_fifths
from engine.theory.modes import scale_for
from engine.theory.pitch import is_plain, name_of_fifths

# Fb and B#, the ends of the names with one accidental.
_FLATTEST: Final = -8
_SHARPEST: Final = 12


def spelled(pitch_class: int, chord: Chord, key: Key) -> str:
    """A tone as the chord spells it in this key: the third of D is F#, of Db is F."""
    return name_of_fifths(fifths_over(pitch_class, chord, key))


def fifths_over(pitch_class: int, chord: Chord, key: Key) -> int:
    """Where a tone over a chord is written on the line of fifths.

    A tone of the chord is a degree of it, but for double flats and diminished sevenths, which
    nobody wants to read: C dim7 has an A, and so has Gbm; and F dim7 has a B where the key has one,
    as in E, and no Cb.  Any other tone is the key's, if it is
    one of its seven: F/B in C, and no F/Cb.  Over a root from outside the key it is a degree of the
    chord's mode, as D# is over C#m7 in C minor, if it is not the bass, and the chord none that only
    passes: D dim7 in A flat has a Db.  A root that is written otherwise than the key has it is one
    from outside: E in A flat minor has a C#.
    """
    degree = chord.degree_of(pitch_class)
    if pitch_class in chord.pitch_classes:
        fifths = _above(chord, degree, key)
        passing = chord.family is Family.DIMINISHED and pitch_class in key.scale
        plain = degree == "bb7" or fifths < _FLATTEST or (passing and not is_plain(fifths))
        return key.tone_fifths(pitch_class) if plain else fifths
    in_mode = _degree_in_mode(pitch_class, chord, key)
    at_home = chord.root in key.scale and key.chord_fifths(chord) == key.tone_fifths(chord.root)
    by_key = in_mode is None or at_home or pitch_class == chord.bass
    if pitch_class in key.scale and (by_key or chord.family is Family.DIMINISHED):
        return key.tone_fifths(pitch_class)
    fifths = _above(chord, in_mode or degree, key)
    return fifths if _FLATTEST <= fifths <= _SHARPEST else key.tone_fifths(pitch_class)


def is_known(pitch_class: int, chord: Chord, key: Key) -> bool:
    """Whether a tone is the chord's, its mode's or the key's, and so has a name already."""
    known = pitch_class in chord.pitch_classes or pitch_class in key.scale
    return known or _degree_in_mode(pitch_class, chord, key) is not None


def is_in_mode(pitch_class: int, chord: Chord, key: Key) -> bool:
    """Whether a tone is one of the scale that the chord asks for in the key."""
    return _degree_in_mode(pitch_class, chord, key) is not None


def _above(chord: Chord, degree: str, key: Key) -> int:
    return key.chord_fifths(chord) + degree_fifths(degree)


def _degree_in_mode(pitch_class: int, chord: Chord, key: Key) -> str | None:
    return _degrees(chord, key).get((pitch_class - chord.root) % 12)


@lru_cache(maxsize=1024)  # a note that leads is named while the bass plays
def _degrees(chord: Chord, key: Key) -> Mapping[int, str]:
    """The degrees of the chord's mode by semitones above its root."""
    mode = scale_for(chord, key)
    return MappingProxyType(dict(zip(mode.intervals, mode.degrees, strict=True)))
