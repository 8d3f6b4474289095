"""Neck: where the hand stands, how it moves, and which shapes it can keep.

Knows: strings and frets as they were written, the frets that a hand covers, what joins two notes.
Refuses to know: chords and time, except how long a note leaves the hand free.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Final

from engine.line.hand import SPAN, moved
from engine.score import Articulation, BassNote
from engine.teaching.bars import Bar, name_of
from engine.teaching.remarks import Remark, Spot, Topic

_ENOUGH_FOR_A_POSITION: Final = 2  # pitches: where one is all there is, no hand has to stay

_ONE_POSITION: Final = "one finger to a fret, set once and left there"
_ONE_POSITION_OF_THREE: Final = "a whole tone from the first finger to the last, and neither leaves"


def remarks(spot: Spot) -> Iterator[Remark]:
    """What a bar teaches the left hand."""
    notes = spot.bar.pitched
    if len(notes) > 1:
        yield from _octave(spot.bar, notes)
        yield from _fifth(notes)
        yield from _joined(spot.bar, notes)
        yield from _open_string(spot, notes)
        yield from _shift_or_position(spot, notes)


def _octave(bar: Bar, notes: Sequence[BassNote]) -> Iterator[Remark]:
    for one, other in pairwise(notes):
        low, high = sorted((one, other), key=lambda note: note.note)
        if _apart(low, high) == (12, 2, 2) and low.fret:
            yield Remark(
                Topic.SHAPE, 0.56,
                f"The {name_of(one)} on {bar.count(one)} and its octave on {bar.count(other)} lie"
                f" two strings and two frets apart, frets {one.fret} and {other.fret}",
                "the octave is one shape everywhere on the neck, index and little finger",
            )  # fmt: skip
            return


def _fifth(notes: Sequence[BassNote]) -> Iterator[Remark]:
    for one, other in pairwise(notes):
        low, high = sorted((one, other), key=lambda note: note.note)
        names = f"{name_of(low)} and {name_of(high)}"
        if _apart(low, high) == (7, 1, 2) and low.fret:
            yield Remark(
                Topic.SHAPE, 0.46,
                f"{names} lie on neighbouring strings, frets {low.fret} and {high.fret}",
                "a fifth up is the next string and two frets, wherever the root lies",
            )  # fmt: skip
            return
        if _apart(low, high) == (5, 1, 0):
            where = f"at fret {low.fret}" if low.fret else "open"
            yield Remark(
                Topic.SHAPE, 0.48,
                f"{names} lie side by side, both {where}",
                "the fourth is the next string at the same fret, and the hand need not move",
            )  # fmt: skip
            return


def _apart(low: BassNote, high: BassNote) -> tuple[int, int, int]:
    """Semitones, strings and frets between two notes."""
    return high.note - low.note, high.string - low.string, high.fret - low.fret


def _joined(bar: Bar, notes: Sequence[BassNote]) -> Iterator[Remark]:
    """The first note of the bar that the left hand alone brings about."""
    for before, note in pairwise(notes):
        if note.joined_from is None:
            continue
        start = f"at fret {before.fret}" if before.fret else "on the open string"
        names = f"{name_of(note)} on {bar.count(note)}", f"{name_of(before)} {start}"
        if note.articulation is Articulation.HAMMERED:
            yield Remark(
                Topic.JOINED, 0.75,
                f"{names[0]} is hammered on from {names[1]}, without a second stroke",
                "a finger that comes down smartly sounds the string, softer than a pluck would",
            )  # fmt: skip
            return
        yield Remark(
            Topic.JOINED, 0.75,
            f"{names[0]} is slid into from {names[1]}, one finger that stays on the string",
            "the ear hears the way between the two notes as well as both of them",
        )  # fmt: skip
        return


def _open_string(spot: Spot, notes: Sequence[BassNote]) -> Iterator[Remark]:
    bar, span = spot.bar, spot.span
    for before, note, after in zip(notes, notes[1:], notes[2:], strict=False):
        if note.fret == 0 and before.fret and after.fret and abs(before.fret - after.fret) >= span:
            yield Remark(
                Topic.SHIFT, 0.7,
                f"While the open {name_of(note)} on {bar.count(note)} rings, the hand goes from"
                f" fret {before.fret} to fret {after.fret}",
                "an open string is time for the left hand",
            )  # fmt: skip
            return


def _shift_or_position(spot: Spot, notes: Sequence[BassNote]) -> Iterator[Remark]:
    frets = [note.fret for note in notes if note.fret]
    if not frets:
        yield Remark(
            Topic.POSITION, 0.4, "Open strings only", "the left hand does nothing but damp"
        )
    elif len({note.note for note in notes}) < _ENOUGH_FOR_A_POSITION:
        return
    elif max(frets) - min(frets) < spot.span:
        low, high = min(frets), max(frets)
        where = f"fret {low}" if low == high else f"frets {low} to {high}"
        rest = " and open strings" if len(frets) < len(notes) else ""
        strings = len({note.string for note in notes})
        across = f" on {strings} strings" if strings > 1 and not rest else ""
        yield Remark(
            Topic.POSITION, 0.42,
            f"The whole bar lies in one position, {where}{rest}{across}",
            _ONE_POSITION if spot.span >= SPAN else _ONE_POSITION_OF_THREE,
        )  # fmt: skip
    else:
        yield from _shift(spot, notes)


def _shift(spot: Spot, notes: Sequence[BassNote]) -> Iterator[Remark]:
    """The widest move of the hand in the bar."""
    bar = spot.bar
    position = max(1, notes[0].fret - 1)
    moves = []
    for before, note in pairwise(notes):
        following = moved(position, note.fret, spot.span)
        moves.append((abs(following - position), before, note))
        position = following
    frets, before, note = max(moves, key=lambda move: move[0])
    if frets > 1:
        yield Remark(
            Topic.SHIFT, 0.54,
            f"The hand moves {frets} frets from {name_of(before)} on {bar.count(before)} to"
            f" {name_of(note)} on {bar.count(note)}",
            "look at the fret before the hand leaves, not after",
        )  # fmt: skip
