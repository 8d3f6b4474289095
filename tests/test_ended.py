"""Ended: beats that were left out, and the chord that comes after them."""

from __future__ import annotations

from math import inf
from typing import NamedTuple

import pytest

from engine.events import Heard
from engine.foresight.outlook import Foresight
from engine.hearing.ear import Ear
from engine.listening.ended import Ended, EndedBeat
from engine.theory.harmony import Chord, Key
from engine.theory.meter import FOUR_FOUR, Metre
from engine.theory.symbols import parse_symbol
from tests.band import moment

WALTZ = Metre(3, 4)


class Struck(NamedTuple):
    """A felt beat of the song: its chord, or the chord before it where nothing is struck.

    N is no chord.
    """

    at: int
    chord: str
    rested: bool = False
    between: bool = False
    due: bool = False
    apart: bool = False


def left_out(at: int, before: str) -> Struck:
    """A beat on which the player rests, taken for more of the chord before."""
    return Struck(at, before, rested=True)


class Told(Ear):
    """An ear that notes what it is told to remember otherwise."""

    def __init__(self) -> None:
        super().__init__()
        self.told: list[tuple[int, float, float]] = []

    def amend(self, root: int, since: float, until: float) -> None:
        """Note it."""
        self.told.append((root, since, until))


class Noting(Foresight):
    """Foresight that notes what it is asked to remember otherwise."""

    def __init__(self) -> None:
        super().__init__()
        self.amended: list[tuple[str, int]] = []

    def amend(self, chord: Chord | None, beats: int, *, grounded: bool = False) -> None:
        """Note it."""
        assert chord is not None
        self.amended.append((str(chord.root), beats))
        super().amend(chord, beats, grounded=grounded)


def end(ended: Ended, beat: Struck, metre: Metre = FOUR_FOUR) -> None:
    """Let a beat be over."""
    place, following = moment(beat.at, metre), moment(beat.at + 1, metre)
    weight = max(place.weight, beat.between * following.weight)
    chord = None if beat.chord == "N" else parse_symbol(beat.chord)
    heard = Heard(chord, 0.9, Key(10), 0.9)
    ended.last = EndedBeat(place, heard, beat.rested, weight, beat.due, beat.apart)
    ended.commit()


def amended(
    *beats: Struck, metre: Metre = FOUR_FOUR, jump_at: int | None = None
) -> list[tuple[str, int]]:
    """By which root, and for how many beats, it is remembered otherwise."""
    foresight = Noting()
    ended = Ended(foresight, Ear())
    for beat in beats:
        if beat.at == jump_at:
            ended.relocate()
        end(ended, beat, metre)
    assert ended.last is None
    return foresight.amended


@pytest.mark.parametrize(
    ("beats", "wanted"),
    [
        # Nothing on one, another chord on two, on three, and on four.
        ((Struck(3, "Bb"), left_out(4, "Bb"), Struck(5, "Eb")), [("3", 1)]),
        ((left_out(4, "Bb"), left_out(5, "Bb"), Struck(6, "Eb")), [("3", 2)]),
        ((left_out(4, "Bb"), left_out(5, "Bb"), left_out(6, "Bb"), Struck(7, "Eb")), [("3", 3)]),
        # Nothing on two, another chord on three: that is where it changes.
        ((Struck(4, "Bb"), left_out(5, "Bb"), Struck(6, "Eb")), []),
        # Nothing on two and three, another chord on four: the half bar was meant.
        ((Struck(4, "Bb"), left_out(5, "Bb"), left_out(6, "Bb"), Struck(7, "Eb")), [("3", 1)]),
        # The bar before was left out as well: it stays what it was.
        ((left_out(2, "Bb"), left_out(3, "Bb"), left_out(4, "Bb"), Struck(5, "Eb")), [("3", 1)]),
        ((*(left_out(i, "Bb") for i in range(4, 9)), Struck(9, "Eb")), [("3", 1)]),
        ((left_out(2, "Bb"), left_out(3, "Bb"), Struck(4, "Eb")), []),
        # Nothing is struck on two either, but the song was surely foretold to change there.
        ((left_out(4, "Bb"), left_out(5, "Eb")), []),
        # A change was foretold for the beat that brings one: it came when it was due.
        ((left_out(4, "Bb"), Struck(5, "Eb", due=True)), []),
        # The same chord goes on.
        ((left_out(4, "Bb"), Struck(5, "Bb7")), []),
        # Struck between two and three, nothing on one; and between four and one, nothing on three.
        ((left_out(4, "Bb"), Struck(5, "Eb", between=True)), [("3", 1)]),
        ((Struck(5, "Bb"), left_out(6, "Bb"), Struck(7, "Eb", between=True)), []),
    ],
)
def test_a_chord_was_due_with_the_strongest_beat_left_out(
    beats: tuple[Struck, ...], wanted: list[tuple[str, int]]
) -> None:
    """And with all those that were left out after it; a beat that is no stronger has none of it."""
    assert amended(*beats) == wanted


def test_two_beats_of_a_waltz_are_equals() -> None:
    """Nothing on two, another chord on three: it changes on three."""
    assert amended(Struck(3, "Bb"), left_out(4, "Bb"), Struck(5, "Eb"), metre=WALTZ) == []


def test_what_was_left_out_before_a_jump_has_nothing_to_do_with_what_comes() -> None:
    """The song goes on elsewhere."""
    assert amended(left_out(4, "Bb"), Struck(5, "Eb"), jump_at=5) == []


@pytest.mark.parametrize(("at", "yields"), [(4, True), (6, False)])
def test_a_push_goes_to_the_next_beat_unless_a_stronger_one_was_left_out(
    at: int, *, yields: bool
) -> None:
    """Nothing on the first beat of a bar: a chord ahead of its third is not that one's."""
    ended = Ended(Foresight(), Ear())
    heard = Heard(parse_symbol("Bb"), 0.9, Key(10), 0.9)
    ended.last = EndedBeat(moment(at - 2), heard, True, moment(at - 2).weight, due=False)
    ended.commit()

    assert ended.yields_to(moment(at)) is yields


@pytest.mark.parametrize(
    ("beats", "wanted"),
    [
        # Nothing on one, another chord on two or on four: the beats before had it, too.
        ((left_out(4, "Bb"), Struck(5, "Eb")), [(3, 4.0, 5.0)]),
        ((*(left_out(i, "Bb") for i in (4, 5, 6)), Struck(7, "Eb")), [(3, 4.0, 7.0)]),
        # Nothing on two, another chord on three: it was heard when it was due.
        ((Struck(4, "Bb"), left_out(5, "Bb"), Struck(6, "Eb")), []),
        # Pushed: the beat on which it was heard still had the chord before.
        ((Struck(6, "Bb"), Struck(7, "Bb", apart=True)), [(10, 7.0, inf)]),
        # The player stopped, and no chord was played by.
        ((Struck(6, "Bb"), Struck(7, "N", apart=True)), []),
    ],
)
def test_the_ear_is_told_where_a_chord_was_due(
    beats: tuple[Struck, ...], wanted: list[tuple[int, float, float]]
) -> None:
    """By which root, from where, and before what."""
    ear = Told()
    ended = Ended(Foresight(), ear)
    for beat in beats:
        end(ended, beat)
    assert ear.told == wanted
