"""Joining: notes that the left hand makes out of the one before, without a new stroke.

Knows: which moves on one string a finger hammers or slides, and how often the style does it.
Refuses to know: how it sounds, and why the notes were chosen.
How: note by note.  Whether a move is joined belongs to its place in the song, so a bar written
again joins the same moves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from engine.line.dice import draw, place_number
from engine.score import Articulation, BassNote
from engine.style import Style

_HAMMER_SECONDS: Final = 0.5  # later, and the string has too little left to be hammered
_SLIDE_FRETS: Final = 4  # farther, and it is an effect of its own
_SLIDE_SECONDS: Final = 0.1  # sooner, and nobody hears that it was slid
_ACCENTED: Final = 0.8  # an accent wants the right hand


class Joining:
    """The left hand of one part."""

    def __init__(self, style: Style, seed: int) -> None:
        self._touch = style.touch
        self._span = style.neck.span
        self._seed = seed

    def joined(
        self, notes: Sequence[BassNote], last: BassNote | None, seconds_per_beat: float
    ) -> tuple[BassNote, ...]:
        """The notes, those marked that are hammered on or slid into from the one before."""
        if not self._touch.slides and not self._touch.hammers:
            return tuple(notes)
        done: list[BassNote] = []
        for note in notes:
            before = done[-1] if done else last
            how = self._articulation(before, note, seconds_per_beat)
            if before is None or how is Articulation.PLUCKED:
                done.append(note)
                continue
            if done:
                done[-1] = replace(before, rings_on=True)
            done.append(replace(note, articulation=how, joined_from=before.note))
        return tuple(done)

    def _articulation(
        self, before: BassNote | None, note: BassNote, seconds_per_beat: float
    ) -> Articulation:
        place = place_number(note.beat)
        if before is None or not _could_join(before, note):
            return Articulation.PLUCKED
        seconds = float(note.beat - before.beat) * seconds_per_beat
        if _can_slide(before, note, seconds) and draw(self._seed, place, 9) < self._touch.slides:
            return Articulation.SLID
        up = note.fret - before.fret
        can_hammer = 0 < up < self._span and _string_rings(note, seconds)
        if can_hammer and draw(self._seed, place, 10) < self._touch.hammers:
            return Articulation.HAMMERED
        return Articulation.PLUCKED


def _could_join(before: BassNote, note: BassNote) -> bool:
    """Whether the string still sounds, is the same, and gets another note."""
    if before.ghost or note.ghost or before.note == note.note or before.string != note.string:
        return False
    return before.beat + before.length >= note.beat


def _can_slide(before: BassNote, note: BassNote, seconds: float) -> bool:
    frets = abs(note.fret - before.fret)
    return min(before.fret, note.fret) > 0 and frets <= _SLIDE_FRETS and seconds >= _SLIDE_SECONDS


def _string_rings(note: BassNote, seconds: float) -> bool:
    """Whether there is sound enough in the string to be hammered as loud as is meant."""
    return seconds <= _HAMMER_SECONDS and note.accent < _ACCENTED
