"""Reach: leaves out what no hand could get to in time.

Knows: where the hand stands after each note, and how long it has.
Refuses to know: which notes would be better; the search has done its best.
How: note by note.  One that comes too soon after a shift is left out, but a note that meets a
change is kept and the one before it left out instead, so that the hand sets off earlier.  Where
that one has sounded already, as a wrong guess does, the change is met as soon as the hand is there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from math import ceil

from engine.line.hand import moved, reachable, shift_seconds
from engine.score import BassNote
from engine.theory.meter import CLOCKS_PER_QUARTER


def within_reach(
    notes: Sequence[BassNote],
    changes: frozenset[Fraction],
    last: BassNote | None,
    seconds: float,
    span: int,
) -> list[BassNote]:
    """The notes that can be played after `last`, a quarter note lasting `seconds`.

    `changes` are the beats of notes that meet a new chord, `span` the frets under the hand.
    """
    kept: list[BassNote] = []
    for note in notes:
        while not _reaches(kept, note, last, seconds, span):
            if note.beat not in changes or not kept or kept[-1].beat in changes:
                break
            kept.pop()
        if _reaches(kept, note, last, seconds, span):
            kept.append(note)
        elif note.beat in changes:
            kept += _late(kept, note, last, seconds, span)
    return kept


def _reaches(
    kept: Sequence[BassNote], note: BassNote, last: BassNote | None, seconds: float, span: int
) -> bool:
    before = kept[-1] if kept else last
    if before is None:
        return True
    shift = _shift(kept, note, last, span)
    return reachable(shift, float(note.beat - before.beat) * seconds)


def _late(
    kept: Sequence[BassNote], note: BassNote, last: BassNote | None, seconds: float, span: int
) -> list[BassNote]:
    """The note from where the hand is there, unless it is over by then."""
    before = kept[-1] if kept else last
    if before is None:
        return [note]
    takes = shift_seconds(_shift(kept, note, last, span))
    beat = before.beat + Fraction(ceil(takes / seconds * CLOCKS_PER_QUARTER), CLOCKS_PER_QUARTER)
    ends = note.beat + note.length
    return [replace(note, beat=beat, length=ends - beat)] if beat < ends else []


def _shift(kept: Sequence[BassNote], note: BassNote, last: BassNote | None, span: int) -> int:
    position = _position(kept, last, span)
    return abs(moved(position, note.fret, span) - position)


def _position(kept: Sequence[BassNote], last: BassNote | None, span: int) -> int:
    position = max(1, last.fret - 1) if last else max(1, kept[0].fret - 1)
    for note in kept:
        position = moved(position, note.fret, span)
    return position
