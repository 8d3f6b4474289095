"""The ear: held tones, chords, keys."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from engine.harmony import Key
from engine.hearing.ear import Ear
from engine.hearing.held import HeldNotes
from engine.labels import parse_symbol, symbol
from engine.meter import FOUR_FOUR, Metre, Moment


def moment(position: float, metre: Metre = FOUR_FOUR) -> Moment:
    """A place in a song of one metre at 120 beats a minute."""
    bar, _ = divmod(Fraction(position).limit_denominator(960), metre.bar)
    return Moment(position / 2, position, bar * metre.bar, int(bar) + 1, metre, 0.5)


class Player:
    """A keyboard player, and the ear that listens."""

    def __init__(self, metre: Metre = FOUR_FOUR) -> None:
        self.ear = Ear()
        self.metre = metre
        self.now = 0.0
        self._next_beat = 0.0
        self._down: list[int] = []

    def at(self, position: float) -> Player:
        """Time goes on to a position; every beat on the way is crossed."""
        while self._next_beat <= position:
            here = moment(self._next_beat, self.metre)
            self.ear.cross(here)
            pulses = [float(here.bar_start + p) for p in self.metre.pulses]
            later = [p for p in pulses if p > self._next_beat]
            self._next_beat = later[0] if later else float(here.bar_start + self.metre.bar)
        self.now = position
        return self

    def play(self, notes: str) -> Player:
        """The keys that were down come up, these go down: "48 60 64 67"."""
        here = moment(self.now, self.metre)
        for note in self._down:
            self.ear.note_off(here, note, 0)
        self._down = [int(n) for n in notes.split()]
        for note in self._down:
            self.ear.note_on(here, note, 80, 0)
        return self

    def hears(self) -> str:
        """The chord heard now, spelled in C, or "-"."""
        chord = self.ear.heard(moment(self.now, self.metre)).chord
        return "-" if chord is None else symbol(chord, Key(0))


def up(notes: str, semitones: int) -> str:
    """The same notes, moved."""
    return " ".join(str(int(n) + semitones) for n in notes.split())


# Held ---------------------------------------------------------------------------------------


def sounding(held: HeldNotes) -> list[int]:
    """The notes that sound."""
    return sorted(t.note for t in held if t.end is None)


def test_a_tone_ends_with_its_key() -> None:
    """Without the pedal a tone sounds as long as its key is down."""
    held = HeldNotes()
    held.strike(0.0, 60, 80, 0)
    assert sounding(held) == [60]
    held.release(1.0, 60, 0)
    assert sounding(held) == []
    assert held.silent


def test_the_pedal_holds_what_was_played_on_its_channel() -> None:
    """The pedal keeps tones after their keys, on its own channel only, until it comes up."""
    held = HeldNotes()
    held.strike(0.0, 60, 80, 0)
    held.strike(0.0, 64, 80, 1)
    held.control(0.1, 64, 127, 0)
    held.release(0.2, 60, 0)
    held.release(0.2, 64, 1)
    assert sounding(held) == [60]
    held.control(0.3, 64, 0, 0)
    assert sounding(held) == []


@pytest.mark.parametrize(("value", "holds"), [(0, False), (63, False), (64, True), (90, True)])
def test_a_pedal_half_way_down_holds_from_the_middle_on(value: int, holds: bool) -> None:
    """A pedal that sends values in between is down from 64 on."""
    held = HeldNotes()
    held.control(0.0, 64, value, 0)
    held.strike(0.1, 60, 80, 0)
    held.release(0.2, 60, 0)
    assert sounding(held) == ([60] if holds else [])


def test_a_key_struck_again_under_the_pedal_sounds_anew() -> None:
    """A pedalled tone whose key is struck and released again goes on, counted once."""
    held = HeldNotes()
    held.control(0.0, 64, 127, 0)
    for at in (0.0, 1.0, 2.0):
        held.strike(at, 60, 80, 0)
        held.release(at + 0.5, 60, 0)
    assert sounding(held) == [60]
    assert [t.onset for t in held if t.end is None] == [2.0]


def test_a_note_off_after_the_note_on_of_the_same_instant_ends_the_old_tone() -> None:
    """Sequencers repeat a key with note-on before note-off: the new tone sounds on."""
    held = HeldNotes()
    held.strike(0.0, 60, 80, 0)
    held.strike(1.0, 60, 80, 0)
    held.release(1.0, 60, 0)
    assert sounding(held) == [60]
    held.release(2.0, 60, 0)
    assert sounding(held) == []


@pytest.mark.parametrize(
    ("controller", "left"), [(120, "none"), (121, "key"), (123, "pedal"), (7, "both")]
)
def test_controllers_that_end_notes(controller: int, left: str) -> None:
    """120 silences, 121 lifts the pedal, 123 lifts the keys, volume does neither."""
    held = HeldNotes()
    held.control(0.0, 64, 127, 0)
    held.strike(0.0, 60, 80, 0)
    held.strike(0.0, 64, 80, 0)
    held.release(0.1, 64, 0)
    held.control(0.2, controller, 0, 0)
    assert sounding(held) == {
        "none": [], "key": [60], "pedal": [60, 64], "both": [60, 64]
    }[left]  # fmt: skip


def test_velocity_zero_is_a_release() -> None:
    """A note-on with velocity 0 ends the tone."""
    held = HeldNotes()
    held.strike(0.0, 60, 80, 0)
    held.strike(1.0, 60, 0, 0)
    assert held.silent


def test_hours_of_playing_before_the_start_take_no_room() -> None:
    """Tones that ended are kept up to a bound."""
    held = HeldNotes()
    for _ in range(1000):
        held.strike(0.0, 60, 80, 0)
        held.release(0.0, 60, 0)
    assert len(list(held)) < 100


# Chords -------------------------------------------------------------------------------------


def test_nothing_is_heard_before_the_first_note() -> None:
    """Before any note there is no chord, and the key is a guess of one in 24."""
    heard = Player().at(0).ear.heard(moment(0.0))
    assert heard.chord is None
    assert heard.key_confidence == pytest.approx(1 / 24)


@pytest.mark.parametrize(
    ("notes", "name"),
    [
        ("48 60 64 67", "C"),
        ("48 60 63 67", "Cm"),
        ("40 60 64 67", "C/E"),
        ("43 60 64 72", "C/G"),
        ("47 59 62 65", "Bdim"),
    ],
)
def test_a_struck_chord_is_heard_at_once_in_every_key(notes: str, name: str) -> None:
    """Root, kind and inversion of a plainly voiced chord, at the moment it is struck."""
    for steps in range(12):
        expected = symbol(parse_symbol(name).transposed(steps), Key(0))
        assert Player().at(0).play(up(notes, steps)).hears() == expected


def test_chords_struck_before_the_sequencer_starts_are_heard_at_its_start() -> None:
    """A sequencer's first notes come before its start, at the place where it will start."""
    player = Player().play("48 60 64 67")
    assert player.hears() == "C"
    assert player.at(0).hears() == "C"


def test_the_chord_is_kept_in_silence() -> None:
    """When the hands are lifted the last chord stands, for as long as nothing sounds."""
    player = Player().at(0).play("45 60 64 69").at(0.5).play("")
    assert player.at(0.9).hears() == "Am"
    assert player.at(9.5).hears() == "Am"


def test_a_chord_struck_just_before_its_beat_is_that_beats() -> None:
    """A change played a hair early changes nothing about the beat that ends."""
    player = Player().at(0).play("48 60 64 67").at(3.95).play("41 57 60 65").at(4.0)
    root_before = int(player.ear.committed().sum(axis=1).argmax())
    assert root_before == 0
    assert player.at(4.02).hears() == "F"


def test_looking_twice_changes_nothing() -> None:
    """The belief depends on what was played, not on how often it is asked for."""
    once, often = Player().at(0).play("40 59 62 67"), Player().at(0).play("40 59 62 67")
    for step in range(50):
        often.at(step / 100).hears()
    assert once.at(0.5).hears() == often.at(0.5).hears()
    assert np.array_equal(once.at(1).ear.committed(), often.at(1).ear.committed())


def test_chords_are_heard_in_other_metres() -> None:
    """In 6/8 a felt beat lasts a dotted quarter, and a chord for each is heard."""
    player = Player(Metre(6, 8))
    said = []
    for bar, chords in enumerate([("48 60 64 67", "43 59 62 67"), ("45 60 64 69", "41 57 60 65")]):
        for half, notes in enumerate(chords):
            player.at(3 * bar + 1.5 * half).play(notes)
            said.append(player.at(player.now + 1.2).hears())
    assert said == ["C", "G", "Am", "F"]


def test_a_jump_forgets_the_place_and_keeps_the_keys_down() -> None:
    """After a jump the chord that is still held is heard at the new place."""
    player = Player().at(0).play("48 60 64 67").at(1.5)
    player.ear.relocate(moment(32.0))
    player.ear.cross(moment(32.0))
    heard = player.ear.heard(moment(32.1))
    assert heard.chord == parse_symbol("C")


# Keys ---------------------------------------------------------------------------------------


def test_a_cadence_tells_its_key_in_all_keys() -> None:
    """I, IV, V7, I over two bars: the major key is heard, whichever it is."""
    for steps in range(12):
        player = Player()
        for bar, notes in enumerate(("48 60 64 67", "41 57 60 65", "43 59 62 65", "48 60 64 67")):
            player.at(2 * bar).play(up(notes, steps))
        assert player.at(8).ear.heard(moment(8.0)).key == Key(steps)
