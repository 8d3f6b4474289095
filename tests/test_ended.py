"""Ended: beats that were left out, and the chord that comes after them."""

from __future__ import annotations

from typing import NamedTuple

import pytest

from engine.ended import Ended, EndedBeat
from engine.events import Heard
from engine.foresight.outlook import Foresight
from engine.harmony import Chord, Key
from engine.meter import FOUR_FOUR, Metre
from engine.symbols import parse_symbol
from tests.band import moment

WALTZ = Metre(3, 4)


class Struck(NamedTuple):
    """A felt beat of the song: its chord, or the chord before it where nothing is struck."""

    at: int
    chord: str
    rested: bool = False
    between: bool = False
    due: bool = False


def left_out(at: int, before: str) -> Struck:
    """A beat on which the player rests, taken for more of the chord before."""
    return Struck(at, before, rested=True)


class Noting(Foresight):
    """Foresight that notes what it is asked to remember otherwise."""

    def __init__(self) -> None:
        super().__init__()
        self.amended: list[tuple[str, int]] = []

    def amend(self, chord: Chord | None, beats: int) -> None:
        """Note it."""
        assert chord is not None
        self.amended.append((str(chord.root), beats))
        super().amend(chord, beats)


def end(ended: Ended, beat: Struck, metre: Metre = FOUR_FOUR, *, apart: bool = False) -> None:
    """Let a beat be over."""
    place, following = moment(beat.at, metre), moment(beat.at + 1, metre)
    weight = max(place.weight, beat.between * following.weight)
    heard = Heard(parse_symbol(beat.chord), 0.9, Key(10), 0.9)
    ended.last = EndedBeat(place, heard, beat.rested, weight, beat.due, apart)
    ended.commit()


def amended(
    *beats: Struck, metre: Metre = FOUR_FOUR, jump_at: int | None = None
) -> list[tuple[str, int]]:
    """By which root, and for how many beats, it is remembered otherwise."""
    foresight = Noting()
    ended = Ended(foresight)
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
    ended = Ended(Foresight())
    heard = Heard(parse_symbol("Bb"), 0.9, Key(10), 0.9)
    ended.last = EndedBeat(moment(at - 2), heard, True, moment(at - 2).weight, due=False)
    ended.commit()

    assert ended.yields_to(moment(at)) is yields


@pytest.mark.parametrize("pushed", [False, True])
def test_for_four_bars_the_ear_may_be_wrong_about_when_chords_change(*, pushed: bool) -> None:
    """Once a chord was due before its keys came, or, pushed, after them; no such song, no doubt."""
    ended = Ended(Foresight())
    end(ended, Struck(3, "Bb"))
    assert not ended.apart
    if pushed:
        end(ended, Struck(4, "Bb"), apart=True)
    else:
        end(ended, left_out(4, "Bb"))
        end(ended, Struck(5, "Eb"))

    for beat in range(6, 21):
        end(ended, Struck(beat, "Eb"))
        assert ended.apart
    end(ended, Struck(21, "Eb"))
    assert not ended.apart
