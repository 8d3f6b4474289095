"""The search: on which string and fret a note is played, all else being equal."""

from __future__ import annotations

import pytest

from engine.line.hand import Hand
from engine.line.search import Column, Option, best_path
from engine.score import Role
from engine.style import Neck


@pytest.mark.parametrize("note", range(33, 56))
@pytest.mark.parametrize("freedom", [0.0, 1.0])
def test_the_same_note_again_stays_on_its_string(note: int, freedom: float) -> None:
    """D at the fifth fret of the A string stays there, though the open D string is easier."""
    hand = Hand(Neck())
    again = Column([Option(note, 0.0, Role.ROOT)], 0.5, freedom)
    for place, _ in hand.places(note):
        (chosen,) = best_path([again], (note, place), hand)

        assert chosen.place == place
