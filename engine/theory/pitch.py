"""Pitch: note numbers, pitch classes and how a key spells them.

Knows: MIDI note numbers (0..127, 60 is middle C), pitch classes (0..11, 0 is C) and the line of
fifths, on which every spelled name has a place: ... Bb F C G D A E B F# ...
Refuses to know: chords, time, the instrument.
How: a name is its place on the line of fifths (C is 0, G is 1, F is -1).  Seven steps along the
line raise a letter by a semitone, so letter and accidentals fall out of one division.
"""

from __future__ import annotations

import re
from typing import Final

LETTERS_BY_FIFTHS: Final = "FCGDAEB"
NATURAL_PITCH_CLASS: Final = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}

# Gb and A#, the ends of the names with one accidental, less Cb, Fb, E# and B#.
_FLATTEST_PLAIN: Final = -6
_SHARPEST_PLAIN: Final = 10

_NAME_AND_OCTAVE: Final = re.compile(r"([A-G])([b#]*)(-?[0-9])")


def name_of_fifths(fifths: int) -> str:
    """The spelled name at a place on the line of fifths: 0 is C, -2 is Bb, 6 is F#."""
    accidentals, place = divmod(fifths + 1, 7)
    sign = "#" if accidentals > 0 else "b"
    return LETTERS_BY_FIFTHS[place] + sign * abs(accidentals)


def fifths_of_name(name: str) -> int:
    """The place of a spelled name on the line of fifths.

    Raises:
        ValueError: the name is not a letter A to G followed by sharps or flats.
    """
    letter, accidentals = name[:1], name[1:]
    if letter not in LETTERS_BY_FIFTHS or not letter or accidentals.strip("#b"):
        raise ValueError(f"{name!r} is not a note name; give a letter A to G with # or b after it")
    raised = accidentals.count("#") - accidentals.count("b")
    return LETTERS_BY_FIFTHS.index(letter) - 1 + 7 * raised


def pitch_class_of_fifths(fifths: int) -> int:
    """The pitch class (0..11) that sounds at a place on the line of fifths."""
    return fifths * 7 % 12


def pitch_class_of_name(name: str) -> int:
    """The pitch class of a spelled name: B# is 0, Cb is 11.

    Raises:
        ValueError: the name is not a note name.
    """
    return pitch_class_of_fifths(fifths_of_name(name))


def spell_near(pitch_class: int, tonic_fifths: int) -> str:
    """The name of a pitch class in a key whose tonic lies at `tonic_fifths`.

    Names run from the flat second to the raised fourth of the tonic, the twelve that common
    practice writes in that key (major or minor alike).
    """
    return name_of_fifths(fifths_near(pitch_class, tonic_fifths))


def fifths_near(pitch_class: int, tonic_fifths: int) -> int:
    """The place on the line of fifths where a key with this tonic writes a pitch class."""
    lowest = tonic_fifths - 5
    return lowest + (pitch_class * 7 - lowest) % 12


def is_plain(fifths: int) -> bool:
    """Whether a name has one accidental at most, and is none of Cb, Fb, E# and B#."""
    return _FLATTEST_PLAIN <= fifths <= _SHARPEST_PLAIN


def is_usual(fifths: int) -> bool:
    """Whether a name is plain, or Cb or E#, as in Abm and C#."""
    return _FLATTEST_PLAIN - 1 <= fifths <= _SHARPEST_PLAIN + 1


def plainer(fifths: int) -> int:
    """The same tone by a plain name: E for Fb, F for E#, A for Bbb."""
    return fifths if is_plain(fifths) else twin_of(fifths)


def twin_of(fifths: int) -> int:
    """The same tone by its name on the other side: Gb for F#."""
    return fifths - 12 if fifths > 0 else fifths + 12


def nearest(pitch_class: int, note: int) -> int:
    """The note of a pitch class that lies nearest to a note; of two a tritone off the lower."""
    return note + (pitch_class - note + 6) % 12 - 6


def note_of_name(name: str) -> int:
    """A note by name and octave: E2 is 40, C4 is 60, Cb4 is 59.

    Raises:
        ValueError: it is no note with its octave.
    """
    found = _NAME_AND_OCTAVE.fullmatch(name)
    if found is None:
        raise ValueError(f"{name!r} is no note with its octave; give one such as E1 or Bb2")
    letter, accidentals, octave = found.groups()
    raised = accidentals.count("#") - accidentals.count("b")
    return 12 * (int(octave) + 1) + NATURAL_PITCH_CLASS[letter] + raised


def note_name(note: int, tonic_fifths: int = 0) -> str:
    """A note number as name and octave, spelled in the key: 40 is E2, 60 is C4."""
    name = spell_near(note % 12, tonic_fifths)
    raised = name.count("#") - name.count("b")
    return f"{name}{(note - raised) // 12 - 1}"
