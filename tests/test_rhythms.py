"""The rhythms that benches comp in: keyboard players as the engine is measured by."""

from __future__ import annotations

from itertools import pairwise

import pytest

from bench.alter import struck_by
from bench.corpus import Label, Note, Song
from bench.rhythms import HANDS, RHYTHMS, played

SONG = Song("made up", "1", (
    Label(0, 4, "Bb:maj"), Label(4, 6, "G:min7"), Label(6, 7, "Eb:maj/5"), Label(7, 12, "F:7"),
))  # fmt: skip


@pytest.mark.parametrize("name", RHYTHMS)
def test_every_chord_is_struck_where_its_rhythm_has_it(name: str) -> None:
    """On its first beat, or as far after it or before as the rhythm lays back or pushes."""
    rhythm = RHYTHMS[name]
    starts = {note.start for note in played(SONG, rhythm).notes}

    for label in SONG.labels[1:]:
        first, last = label.start - rhythm.pushes, label.start + rhythm.lays_back
        assert any(first <= start <= last for start in starts)


@pytest.mark.parametrize("name", RHYTHMS)
def test_no_key_is_struck_before_it_is_let_go(name: str) -> None:
    """As on any keyboard."""
    notes = struck_by(HANDS, played(SONG, RHYTHMS[name])).notes
    for key in {note.note for note in notes}:
        of_key = [note for note in notes if note.note == key]
        assert all(a.end <= b.start for a, b in pairwise(of_key))


def left_hand(name: str, place: float) -> list[int]:
    """The keys below C3 that go down at a place."""
    return [n.note for n in played(SONG, RHYTHMS[name]).notes if n.start == place and n.note < 48]


def test_the_left_hand_goes_to_the_fifth_only_where_the_chord_goes_on() -> None:
    """B flat and F in the first bar; in the second a new chord stands on three, with its bass."""
    assert [left_hand("bass, chord, fifth, chord", at) for at in (0, 2, 6)] == [[46], [41], [46]]


def test_a_pushed_chord_is_that_of_the_beat_after_it() -> None:
    """The eighth before the second bar has G minor, and no B flat."""
    struck = [n for n in played(SONG, RHYTHMS["pushed"]).notes if n.start == 3.5]
    assert {n.note % 12 for n in struck} == {7, 10, 2, 5}
    assert all(isinstance(n, Note) and n.end > 4 for n in struck)


def test_a_walking_left_hand_goes_up_the_chord_and_leads_into_the_next() -> None:
    """B flat, D, F, and A flat above the G that comes; G, and A below the B flat after it."""
    walked = [left_hand("walking bass, chords", at)[0] % 12 for at in range(6)]

    assert walked == [10, 2, 5, 8, 7, 9]
