"""The benches: what they count, and what they do not let pass."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from io import BytesIO

import mido
import pytest

from bench.jam import Part
from bench.playing import Sounded
from bench.replay import faults_of_hand, faults_of_part
from engine.events import Outgoing, Play, Release
from engine.score import BassNote, Role
from engine.theory.symbols import parse_symbol
from presets.loader import load


def part_of(*messages: tuple[str, int]) -> BytesIO:
    """A part as a MIDI file, its messages a quarter note apart."""
    file = mido.MidiFile()
    track = mido.MidiTrack([mido.Message(kind, note=note, time=480) for kind, note in messages])
    file.tracks.append(track)
    part = BytesIO()
    file.save(file=part)
    part.seek(0)
    return part


@pytest.mark.parametrize(
    ("messages", "faults"),
    [
        ((("note_on", 34), ("note_off", 34)), []),
        ((("note_on", 34), ("note_on", 39)),
         ["note 39 begins while 34 sounds", "note 34 is left hanging", "note 39 is left hanging"]),
        ((("note_on", 34), ("note_off", 34), ("note_off", 41)),
         ["note 41 ends and does not sound"]),
        ((("note_off", 41), ("note_on", 34), ("note_off", 34)),
         ["note 41 ends and does not sound"]),
        ((), ["the bass plays nothing"]),
    ],
    ids=["sound", "two at once", "one ends twice", "one ends before any began", "silence"],
)  # fmt: skip
def test_each_fault_of_a_part_is_told(messages: list[tuple[str, int]], faults: list[str]) -> None:
    """A part that is broken in whatever way is told of, and the bench goes on."""
    begun = sum(kind == "note_on" for kind, _ in messages)

    assert faults_of_part(part_of(*messages)) == (begun, faults)


def bass(beat: float, note: int, chord: str = "Bb", fret: int = 1) -> Sounded:
    """A bass note of a beat at 120 a minute, over a chord."""
    place, root = Fraction(beat), parse_symbol(chord)
    written = BassNote(place, Fraction(1), note, 0.5, Role.ROOT, "", 1, fret, root)
    return Sounded(beat, beat + 1, Play(beat / 2, beat, note, 80, written), 0.5)


@pytest.mark.parametrize("open_between", [False, True])
def test_no_hand_gets_far_up_the_neck_in_no_time_with_an_open_string_between(
    open_between: bool,
) -> None:
    """From the first fret to the twelfth takes a quarter of a second, whatever else is played."""
    style = load("rock")
    open_string, up = style.neck.tuning[0], style.neck.tuning[0] + 12
    notes = [bass(0.0, open_string + 1, fret=1), bass(0.25, up, fret=12)]
    if open_between:
        notes.insert(1, bass(0.125, open_string, fret=0))

    assert faults_of_hand(notes, style) == ["fret 1 to 12 at beat 0.25 is too far"]


def outgoing(*told: tuple[str, int]) -> Iterable[Outgoing]:
    """Notes that begin (+) and end (-)."""
    for sign, note in told:
        yield bass(0, note).play if sign == "+" else Release(0.0, 0.0, note)


@pytest.mark.parametrize(
    ("told", "hanging"),
    [
        ((("+", 34), ("-", 34)), []),
        ((("+", 34),), [34]),
        ((("+", 34), ("+", 39), ("-", 39)), [34]),
        ((("+", 34), ("-", 39)), [34]),
        ((("-", 34), ("+", 34)), [34]),
    ],
)
def test_a_note_that_hangs_in_a_jam_is_found_whatever_is_played_after_it(
    told: tuple[tuple[str, int], ...], hanging: list[int]
) -> None:
    """Only its own end ends it."""
    part = Part()
    for each in outgoing(*told):
        part.take(each)

    assert part.hanging() == hanging
