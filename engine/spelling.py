"""Spelling: what the tones over a chord are called.

Knows: which tones are called by the chord and which by the key.
Refuses to know: how the key calls a root (harmony.py), and where a tone leads.
How: a name is its place on the line of fifths.  Symbols and reasons both ask here, so that a bass
behind a slash and the note that plays it have one name.
"""

from __future__ import annotations

from typing import Final

from engine.harmony import Chord, Key, degree_fifths
from engine.pitch import name_of_fifths

# Fb and B#, the ends of the names with one accidental.
_FLATTEST: Final = -8
_SHARPEST: Final = 12


def spelled(pitch_class: int, chord: Chord, key: Key) -> str:
    """A tone as the chord spells it in this key: the third of D is F#, of Db is F."""
    return name_of_fifths(fifths_over(pitch_class, chord, key))


def fifths_over(pitch_class: int, chord: Chord, key: Key) -> int:
    """Where a tone over a chord is written on the line of fifths.

    A tone of the chord is a degree of it, but that nobody writes a diminished seventh: C dim7 has
    an A.  Any other tone is the key's, if it is one of its seven: F/B in C, and no F/Cb.
    """
    degree = chord.degree_of(pitch_class)
    own = pitch_class in chord.pitch_classes
    if degree == "bb7" or (not own and pitch_class in key.scale):
        return key.tone_fifths(pitch_class)
    fifths = key.chord_fifths(chord) + degree_fifths(degree)
    return fifths if own or _FLATTEST <= fifths <= _SHARPEST else key.tone_fifths(pitch_class)
