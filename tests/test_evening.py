"""A whole evening: what is kept of it takes no more room in the end than after some bars."""

from __future__ import annotations

import pickle
from fractions import Fraction
from random import Random

import pytest

from engine.performance import Performer
from engine.plan import Belief
from engine.player import Player
from engine.pulse import Pulse
from engine.score import BassNote, Role
from engine.theory.harmony import Chord, Key
from engine.writing import Writing
from presets.loader import load
from tests.band import moment

SOME, MANY = 400, 2000
"""Beats."""


def room(kept: object) -> int:
    """How much room something takes, in bytes."""
    return len(pickle.dumps(kept))


def player_after(beats: int, *, counted: bool) -> Player:
    """A player who has struck a key on each of so many beats, with or without a clock."""
    player = Player()
    for beat in range(beats):
        player.key_down(0.5 * beat, 60, 80)
        if counted:
            player.cross(0.5 * beat, 4)
    return player


def performer_after(beats: int) -> Performer:
    """One who has played a note on each of so many beats."""
    performer = Performer(load("neo-soul"), Random(1))
    for beat in range(beats):
        place = Fraction(beat)
        note = BassNote(place, Fraction(1), 34, 0.5, Role.ROOT, "", 2, 1, Chord.of(10))
        performer.perform(note, moment(beat))
    return performer


def writing_after(beats: int) -> Writing:
    """A part of so many beats, of which every bar was written and then played."""
    pulse = Pulse(120)
    pulse.strike(0.0)
    writing = Writing(load("neo-soul"), Random(1), pulse, Player())
    belief = Belief(Chord.of(10), 1.0, Key(10), (), frozenset())
    for beat in range(beats):
        writing.write_on(Fraction(beat), Fraction(beat + 1), belief)
        while (note := writing.part.next()) and note.written.beat < beat + 1:
            writing.part.play(0.5 * beat, float(beat))
    return writing


@pytest.mark.parametrize("counted", [True, False], ids=["in time", "while no clock comes"])
def test_of_the_keys_only_the_last_are_kept(*, counted: bool) -> None:
    """However long somebody plays, with the clock of a sequencer or before it starts."""
    some, many = (player_after(beats, counted=counted) for beats in (SOME, MANY))

    assert room(many) <= 1.1 * room(some)


def test_of_how_notes_fell_only_the_last_bars_are_kept() -> None:
    """What may be written anew keeps its looseness; what is over does not."""
    assert room(performer_after(MANY)) <= 1.1 * room(performer_after(SOME))


@pytest.mark.slow
def test_of_the_part_only_the_last_bars_are_kept() -> None:
    """With the harmony it was written for, and the manner of the player in each bar."""
    assert room(writing_after(MANY)) <= 1.1 * room(writing_after(SOME))
