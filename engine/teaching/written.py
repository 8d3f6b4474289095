"""Written: how the chords of a part are written one after the other, and their notes so.

Knows: what a chord's root is called between its neighbours, and which degree a note is by its name.
Refuses to know: where in the bar a chord comes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Final

from engine.harmony import Chord, Key, degree_of_fifths
from engine.line.reasons import reason_for
from engine.pitch import fifths_of_name
from engine.score import BassNote

# On the line of fifths from the root.
_LOWERED_ROOT: Final = -7
_SHARP_SIXTH: Final = 10


def written(chords: Sequence[tuple[Chord, Key]]) -> list[Chord]:
    """Chords in their order, each with its key, as they are written."""
    return [replace(chord, written=key.chord_fifths(chord)) for chord, key in chords]


def respelled(note: BassNote, key: Key, near: Iterable[Chord]) -> BassNote:
    """The note in the key of its bar, over its chord as that is written there or near by."""
    (chord,) = written([(note.chord, key)])
    alike = (c for c in near if (c.root, c.family) == (chord.root, chord.family))
    chord = replace(chord, written=next(alike, chord).written)
    reason = reason_for(note.role, note.note, chord, key, note.aims_at)
    return replace(note, chord=chord, reason=reason)


def degree_of(note: BassNote) -> str:
    """What a note is above the root of its chord: "b3", and "#4" where it is written so.

    A tone of the chord is what the chord calls it.  Any other is named by letter and accidentals,
    unless they are far from the root: C# over C is a raised root, F over C never a sharp third.
    """
    chord, pitch_class = note.chord, note.note % 12
    if chord.written is None or pitch_class in chord.pitch_classes:
        return chord.degree_of(pitch_class)
    name, _, _ = note.reason.partition(":")
    fifths = fifths_of_name(name) - chord.written
    usual = _LOWERED_ROOT <= fifths <= _SHARP_SIXTH
    return degree_of_fifths(fifths) if usual else chord.degree_of(pitch_class)
