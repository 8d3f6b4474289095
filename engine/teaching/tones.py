"""Tones: which tones of its chord a bar plays, and what they tell of it.

Knows: what root, third, fifth and seventh tell, chords taken apart, passing notes.
Refuses to know: what the chords do to each other, rhythm and the neck.
How: notes that lead into the next chord are left out here, they are no tones of this one.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from collections.abc import Set as AbstractSet
from typing import Final

from engine.line.pools import scale_of
from engine.score import BassNote
from engine.teaching.bars import Bar, degree_name, listed, name_of, times_over
from engine.teaching.remarks import Remark, Spot, Topic
from engine.theory.harmony import Chord, Family
from engine.theory.meter import HALF_BAR
from engine.theory.modes import scale_for


def remarks(spot: Spot) -> Iterator[Remark]:
    """What the tones of a bar teach."""
    if spot.settled and spot.chord is not None:
        yield from _tones(spot, spot.chord)
        yield from _passing(spot, spot.chord)


def _tones(spot: Spot, chord: Chord) -> Iterator[Remark]:
    bar = spot.bar
    notes = [note for note in spot.settled if _is_of(note, chord)]
    if len(notes) < len(spot.settled):  # some were played for a chord that did not stay
        yield from _coloured(bar, chord, notes)
        return
    kinds = {degree_name(note) for note in notes}
    root = bar.key.chord_name(chord)
    if kinds == {"root"}:
        times = f", {times_over(len(notes))}" if len(notes) > 1 else ""
        onward = ", before it leads on" if len(notes) < len(bar.pitched) else ""
        yield Remark(
            Topic.TONES, 0.5,
            f"Only {root}{times}, under {bar.symbol(chord)}{onward}",
            "the bass lays the floor and leaves the colour to the keyboard",
        )  # fmt: skip
    elif kinds == {"root", "octave"}:
        yield Remark(
            Topic.TONES, 0.55,
            f"{root} below and {root} above, and nothing else of {bar.symbol(chord)}",
            "the octave gives a line a top without leaving the root",
        )  # fmt: skip
    elif kinds <= {"root", "fifth", "octave"} and "fifth" in kinds:
        fifth = next(note for note in notes if degree_name(note) == "fifth")
        yield Remark(
            Topic.TONES, 0.52,
            f"Root and fifth of {bar.symbol(chord)}, {root} and {name_of(fifth)}",
            "neither says major or minor, so nothing the keyboard does can clash with them",
        )  # fmt: skip
    else:
        yield from _coloured(bar, chord, notes)
    yield from _climb(bar, chord, notes)


def _is_of(note: BassNote, chord: Chord) -> bool:
    """Whether a note is to this chord what it is to the one that it was written for."""
    pitch_class, own = note.note % 12, note.chord
    same = own.root == chord.root and own.degree_of(pitch_class) == chord.degree_of(pitch_class)
    return same and (pitch_class in chord.keys or pitch_class not in own.keys)


def _coloured(bar: Bar, chord: Chord, notes: Sequence[BassNote]) -> Iterator[Remark]:
    """Thirds, sixths and sevenths in the bass tell what the chord is."""
    for note in notes:
        degree = degree_name(note)
        here = f"{name_of(note)} on {bar.count(note)} is the {degree} of {bar.symbol(chord)}"
        if degree.endswith("third") and note.note % 12 != chord.bass:
            yield Remark(
                Topic.TONES, 0.6, here,
                f"with the third the bass alone says {degree.split()[0]}",
            )  # fmt: skip
        elif degree.endswith("seventh") and note.note % 12 != chord.bass and bar.place(note):
            yield Remark(Topic.TONES, 0.58, here, _seventh(bar, chord, note))
        elif degree == "sixth" and note.note % 12 in scale_of(chord, bar.key):
            yield from _sixth(here, chord)


_RESTLESS: Final = frozenset({Family.DOMINANT, Family.HALF_DIMINISHED, Family.DIMINISHED})


def _seventh(bar: Bar, chord: Chord, note: BassNote) -> str:
    if chord.family in _RESTLESS:
        return "the seventh is the tone that wants to move on, where root and fifth stand still"
    if bar.metre.weight(bar.place(note)) < HALF_BAR:
        return "on a weak place a seventh is colour, on the 1 it would be another bass"
    return ""


def _sixth(here: str, chord: Chord) -> Iterator[Remark]:
    if chord.family in (Family.MAJOR, Family.DOMINANT):
        moral = "from the major pentatonic, it moves the line without asking for another chord"
        yield Remark(Topic.TONES, 0.58, here, moral)
    elif chord.family is Family.MINOR:
        moral = "by its sixth the dorian is told from the natural minor"
        yield Remark(Topic.TONES, 0.62, here, moral)


def _climb(bar: Bar, chord: Chord, notes: Sequence[BassNote]) -> Iterator[Remark]:
    """Three or more different chord tones in a row, one way: an arpeggio."""
    run = [notes[0]]
    for note in notes[1:]:
        up = note.note > run[-1].note
        onward = len(run) < 2 or up == (run[-1].note > run[-2].note)
        if note.note == run[-1].note or not onward:
            break
        run.append(note)
    tones = {note.note % 12 for note in run}
    if len(tones) >= 3 and tones <= chord.pitch_classes:
        way = "up" if run[-1].note > run[0].note else "down"
        names, symbol = listed([name_of(n) for n in run]), bar.symbol(chord)
        left_out = _left_out(chord, tones)
        without = f" without its {left_out}" if left_out else ""
        spell = f"go {way} through {symbol}{without}" if without else f"spell {symbol} {way}"
        yield Remark(
            Topic.TONES, 0.68,
            f"{names} {spell} ({', '.join(degree_name(n) for n in run)})",
            "a chord taken apart is a line already, if it goes one way",
        )  # fmt: skip


def _left_out(chord: Chord, tones: AbstractSet[int]) -> str:
    """What is missing of root and third, without which no chord is spelled; "" if nothing is."""
    thirds = {(chord.root + interval) % 12 for interval in (3, 4)} & chord.pitch_classes
    if chord.root not in tones:
        return "root"
    return "third" if thirds and not thirds & tones else ""


_BETWEEN: Final = "between two chord tones, on a weak place, any note of the scale will do"
_IN_A_RUN: Final = "a line that goes on by step carries the ear over what is no tone of the chord"


def _passing(spot: Spot, chord: Chord) -> Iterator[Remark]:
    bar = spot.bar
    scale, mode = scale_of(chord, bar.key), scale_for(chord, bar.key).name
    root = bar.key.chord_name(chord)
    settled = {note.beat for note in spot.settled}
    for before, note, after in zip(bar.pitched, bar.pitched[1:], bar.pitched[2:], strict=False):
        pitch_class = note.note % 12
        strong = bar.metre.weight(bar.place(note)) >= HALF_BAR
        if note.beat not in settled or pitch_class in chord.pitch_classes or strong:
            continue
        if pitch_class in scale and _pass((note.note - before.note, after.note - note.note)):
            framed = {before.note % 12, after.note % 12} <= chord.keys
            yield Remark(
                Topic.SCALE, 0.72,
                f"{name_of(note)} on {bar.count(note)} passes between {name_of(before)} and"
                f" {name_of(after)}, no tone of {bar.symbol(chord)} but one of {root} {mode}, its"
                f" scale in {bar.key.name}",
                _BETWEEN if framed else _IN_A_RUN,
            )  # fmt: skip
            return


def _pass(steps: tuple[int, int]) -> bool:
    return all(1 <= abs(step) <= 2 for step in steps) and (steps[0] > 0) == (steps[1] > 0)
