"""The part as it is kept written: from where it is written anew, and how it ends."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from random import Random

import pytest

from engine.part import Ready
from engine.performance import Performed
from engine.plan import Belief
from engine.player import Player
from engine.pulse import Pulse
from engine.score import BassNote, Role
from engine.theory.harmony import Chord, Key
from engine.theory.symbols import parse_symbol
from engine.writing import Writing
from presets.loader import load, names
from tests.band import moment

G = 31


def writing(preset: str = "soul") -> Writing:
    """A part, as yet empty, in a song that has begun."""
    pulse = Pulse(120)
    pulse.strike(0.0)
    return Writing(load(preset), Random(0), pulse, Player())


def ready(beat: Fraction, note: int) -> Ready:
    """A note of an eighth as it is written, on its place as it is played."""
    length = Fraction(1, 2)
    written = BassNote(beat, length, note, 0.5, Role.ROOT, "", 1, note - 28, Chord.of(note % 12))
    return Ready(written, Performed(float(beat), 0.0, float(beat + length), 80))


def waiting(part: Writing) -> list[BassNote]:
    """What is written and waits to sound, played through."""
    notes = []
    while (note := part.part.next()) is not None:
        notes.append(note.written)
        part.part.play(float(note.written.beat) / 2, float(note.written.beat))
    return notes


def changed(
    position: float, chord: str, *, sounds: str | None = None, waits: str | None = None
) -> Fraction:
    """From where the part is written anew for a chord that is heard at a place of the song.

    A G sounds since one beat and waits for another, if it does.
    """
    part = writing()
    notes = [Fraction(each) for each in (sounds, waits) if each is not None]
    part.part.write(ready(beat, G) for beat in notes)
    if sounds is not None:
        part.part.play(float(sounds) / 2, float(sounds))
    return part.place_to_change(moment(position), lambda _: parse_symbol(chord))


@pytest.mark.parametrize(
    ("position", "chord", "sounds", "waits", "place"),
    [
        # The first chord of a song: on the felt beat it is meant for, or where its keys are.
        (0.01, "Eb", None, None, "0"),
        (1.15, "Eb", None, None, "1"),
        (1.3, "Eb", None, None, "31/24"),
        (1.9, "Eb", None, None, "2"),
        # What sounds fits: the next sixteenth.  What sounds does not: now, and not a beat late.
        (1.3, "Eb", "1", None, "3/2"),
        (1.3, "Gm7", "1", None, "3/2"),
        (1.3, "D", "1", None, "31/24"),
        (1.02, "D", "1", None, "1"),
        # Keys a little ahead of the beat are the beat's.
        (1.81, "Eb", "1", None, "2"),
        (1.81, "D", "1", None, "2"),
        (1.79, "D", "1", None, "42/24"),
        # A note that is late for its place is the one to change.
        (1.05, "D", "0", "1", "1"),
        (1.3, "Eb", "0", "5/4", "5/4"),
        (1.2, "Eb", "0", "5/4", "5/4"),
    ],
)
def test_a_part_is_written_anew_from_where_a_bass_player_would_change(
    position: float, chord: str, sounds: str | None, waits: str | None, place: str
) -> None:
    """At once where a G is wrong, with the next sixteenth where it is in the chord."""
    assert changed(position, chord, sounds=sounds, waits=waits) == Fraction(place)


@pytest.mark.parametrize("beat", [1, 7, 129, 4097])
@pytest.mark.parametrize("tick", range(5, 19))
def test_now_is_the_tick_that_it_is(beat: int, tick: int) -> None:
    """A place of the clock's own grid, however it is rounded, is not taken for the one before."""
    place = beat + Fraction(tick, 24)
    for position in (float(place), beat + tick / 24, beat + tick * (1 / 24), float(place) - 1e-9):
        assert changed(position, "D", sounds=str(beat)) == place


@pytest.mark.parametrize("preset", names())
def test_a_phrase_ends_on_one_root_whatever_went_before(preset: str) -> None:
    """One note, the bass of the chord, also where the chord has stood for a bar and goes on."""
    part = writing(preset)
    belief = Belief(parse_symbol("Ebmaj7"), 1.0, Key(10), ())
    part.rewrite(Fraction(0), belief)
    assert waiting(part)
    part.close(Fraction(8), belief)
    (last,) = waiting(part)

    assert last.note % 12 == 3
    assert last.length == 4


@pytest.mark.parametrize("shift", range(12))
@pytest.mark.parametrize(
    ("first", "heard", "position", "struck_again"),
    [
        ("Am", "F/A", 4.1, False),
        ("C7", "F/C", 4.1, False),
        ("Am", "F", 4.1, True),
        ("Am", "F/A", 4.5, True),
    ],
)
def test_the_bass_of_a_rolled_chord_is_not_struck_again(
    first: str, heard: str, position: float, shift: int, *, struck_again: bool
) -> None:
    """F/A from below is first an Am; its A has sounded, and 2 has no note in the figure.

    Another bass wants its note, and so does a chord that comes an eighth after the note.
    """
    part = writing("pop")
    before, chord = (parse_symbol(name).transposed(shift) for name in (first, heard))
    note = ready(Fraction(4), 28 + (before.root - 4) % 12)
    part.part.write([replace(note, written=replace(note.written, chord=before))])
    part.part.play(2.0, 4.0)
    part.serve(chord, position)
    part.rewrite(Fraction(5), Belief(chord, 1.0, Key(5), ()))

    assert (waiting(part)[0].beat == 5) is struck_again
