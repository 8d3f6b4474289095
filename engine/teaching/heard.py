"""Heard: the chord that a note was really heard over.

Knows: that a note is written before its chord is heard, and what becomes of it if another comes.
Refuses to know: which chords there are, and how they and the notes are written.
How: the ear's chord counts.  A note that is a tone of it is told over it, whatever it was written
for; one that is none, or was taken back at once, is told over the chord that was expected, and
that it was.  A note that comes early belongs to the chord that it comes before.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from typing import Final

from engine.line.leads import role_on_the_way
from engine.line.pools import number_of, role_of, scale_of
from engine.line.reasons import reason_for
from engine.score import BassNote, Role
from engine.teaching.changes import known_as
from engine.theory.harmony import Chord, Key
from engine.theory.pitch import nearest

_EARLY: Final = Fraction(1, 2)  # so far ahead a short note still belongs to the chord to come
_EARLY_AND_HELD: Final = Fraction(1)  # and so far ahead a note that rings into it
_AT_ONCE: Final = Fraction(1, 4)  # a note that is mended has no longer than this

Standing = Sequence[tuple[Fraction, Chord]]
"""Chords in their order, each with the beat it comes on: those of a bar and of its neighbours."""


def is_the_same(one: Chord, other: Chord) -> bool:
    """Whether two are one chord to a bass player, be one of them told by a longer name."""
    return known_as(one) == known_as(other)


def heard_over(note: BassNote, standing: Standing) -> Chord:
    """The chord that sounds with a note, or that it comes before; its own where none is known."""
    begun = ((at, chord) for at, chord in reversed(standing) if at <= note.beat)
    since, now = next(begun, (note.beat, note.chord))
    if is_the_same(now, note.chord) or since == note.beat:
        return now
    ahead = ((at, chord) for at, chord in standing if at > note.beat)
    at, coming = next(ahead, (note.beat, now))
    held = note.beat + note.length > at and at - note.beat <= _EARLY_AND_HELD
    short = at - note.beat <= _EARLY and is_the_same(coming, note.chord)
    return coming if held or short else now


def is_mended(note: BassNote, following: BassNote | None) -> bool:
    """Whether another note took the place of this one as soon as another chord was heard."""
    at_once = following is not None and following.beat - note.beat < _AT_ONCE
    return at_once and following is not None and not is_the_same(following.chord, note.chord)


def as_heard(
    notes: Sequence[BassNote], standing: Standing, key: Key
) -> Iterator[tuple[BassNote, bool]]:
    """The notes of a bar over the chords that were heard, each with its role and its reason.

    With each stands whether its own chord was only expected.
    """
    pitched = [note for note in notes if not note.ghost]
    mended = {one.beat for one, two in pairwise(pitched) if is_mended(one, two)}
    for note in notes:
        heard = heard_over(note, standing)
        if note.ghost or (is_the_same(heard, note.chord) and not _says_more(note, heard)):
            yield note, False
        elif note.aims_at is not None:
            yield (note if heard.bass == note.aims_at else over(note, heard, key)), False
        elif note.beat not in mended and _fits(note, heard, key):
            yield over(note, heard, key), False
        else:
            stay = " to stay" if _stood_before(note, standing) else ""
            yield replace(note, reason=f"{note.reason}, which was expected{stay}"), True


def by_one_name(note: BassNote, standing: Standing, key: Key) -> BassNote:
    """The note with its chord called what that was heard as, if it was written for another name.

    A note of which the chord heard has another form, as Eb7#5 of B flat, keeps its own.
    """
    chord, own = heard_over(note, standing), note.chord
    if note.ghost or chord == own or not is_the_same(chord, own) or _has_otherwise(chord, note):
        return note
    return over(note, chord, key) if note.aims_at is None else replace(note, chord=chord)


def _has_otherwise(chord: Chord, note: BassNote) -> bool:
    pitch_class = note.note % 12
    number = number_of(chord.degree_of(pitch_class))
    return pitch_class not in chord.keys and number in map(number_of, chord.quality.degrees)


def over(note: BassNote, chord: Chord, key: Key) -> BassNote:
    """A note over another chord, with what it is to that."""
    role = _role_over(note, chord, key)
    reason = reason_for(role, note.note, chord, key, note.aims_at)
    return replace(note, chord=chord, role=role, reason=reason)


def _role_over(note: BassNote, chord: Chord, key: Key) -> Role:
    pitch_class = note.note % 12
    if note.ghost:
        return note.role
    if note.aims_at is not None:
        return role_on_the_way(note.note, nearest(note.aims_at, note.note), chord, key)
    if pitch_class == chord.bass:
        if note.role is Role.OCTAVE:
            return note.role
        return Role.ROOT if pitch_class == chord.root else Role.BASS
    return role_of(chord.degree_of(pitch_class), chord, pitch_class)


def _fits(note: BassNote, chord: Chord, key: Key) -> bool:
    """Whether it is a tone of the chord, or passes over it as it would have over its own."""
    pitch_class = note.note % 12
    passes = pitch_class not in note.chord.keys and pitch_class in scale_of(chord, key)
    return pitch_class in chord.keys or passes


def _says_more(note: BassNote, heard: Chord) -> bool:
    """Whether its chord has a tone that the same by another name has not, other than the note."""
    more = note.chord.pitch_classes - heard.pitch_classes
    return bool(more) and note.note % 12 in heard.keys


def _stood_before(note: BassNote, standing: Standing) -> bool:
    """Whether the chord of a note is the one that was over when it began."""
    begun = [chord for at, chord in standing if at <= note.beat]
    return len(begun) > 1 and is_the_same(begun[-2], note.chord)
