"""The doors of the bassist: what it refuses, and what it makes of the time when nobody called."""

from __future__ import annotations

from math import inf, nan

import pytest

from engine.events import (
    ALL_NOTES_OFF,
    ALL_SOUND_OFF,
    Beat,
    ClockTick,
    Control,
    Heard,
    Incoming,
    NoteOff,
    NoteOn,
    Outgoing,
    Release,
    Start,
    Stop,
    Tick,
)
from engine.hearing.ear import Ear
from engine.theory.meter import Moment
from engine.timing import GATHER_SECONDS
from tests.band import BEAT_SECONDS, bass_player, comping, heard_from, plays, voiced


@pytest.mark.parametrize("at", [nan, inf, -inf])
@pytest.mark.parametrize("event", [NoteOn(0, 58), NoteOff(0, 58), Tick(0), ClockTick(0), Start(0)])
def test_what_comes_at_no_second_is_refused(event: Incoming, at: float) -> None:
    """It is answered with a sentence at once, and the bass plays on as if it had not come."""
    bassist = bass_player()
    bassist.receive(NoteOn(0.0, 46))
    due = bassist.next_deadline()
    nowhere = type(event)(at, *[getattr(event, f) for f in event.__slots__[1:]])

    with pytest.raises(ValueError, match=rf"comes at {at}; give seconds on a clock"):
        bassist.receive(nowhere)
    assert bassist.next_deadline() == due


@pytest.mark.parametrize("tempo", [0.0, -100.0, nan, inf])
def test_a_tempo_at_which_nothing_moves_is_refused(tempo: float) -> None:
    """Nobody counts a song in at no quarter notes a minute, or at fewer."""
    with pytest.raises(ValueError, match=rf"the tempo is {tempo}; give quarter notes a minute"):
        bass_player(tempo=tempo)


def test_a_bassist_whom_nobody_called_for_long_is_back_within_a_bar() -> None:
    """Half a minute late it has counted every beat, and does not play what it missed all at once.

    Of the notes of that half minute only the one comes that was written, and is let go; then the
    bass goes on where the song is.
    """
    bassist = bass_player()
    for note in voiced("Eb"):
        bassist.receive(NoteOn(0.0, note))
    bassist.receive(Tick(1.0))
    missed = bassist.receive(Tick(31.0))
    out: list[Outgoing] = []
    while not plays(out):
        due = bassist.next_deadline()
        assert due is not None
        out += bassist.receive(Tick(due))

    assert [o.beat for o in missed if isinstance(o, Beat)] == list(range(3, 63))
    assert len(plays(missed)) <= 1
    assert len([o for o in missed if isinstance(o, Release)]) >= len(plays(missed))
    (again,) = plays(out)
    assert 31 <= again.at < 31 + 4 * BEAT_SECONDS
    assert again.note % 12 == 3


@pytest.mark.parametrize("beats", [0.9, 0.97, 0.99, 1.0, 1.01, 1.03, 1.1, 1.26, 1.5])
def test_after_a_stop_nothing_is_left_to_do(beats: float) -> None:
    """Wherever in the beat it comes, nobody need call again before the next key."""
    bassist = bass_player()
    for event in comping("Gm7"):
        if event.at < beats * BEAT_SECONDS:
            bassist.receive(event)
    while (due := bassist.next_deadline()) is not None and due < beats * BEAT_SECONDS:
        bassist.receive(Tick(due))
    bassist.receive(Stop(beats * BEAT_SECONDS))

    assert bassist.next_deadline() is None


class Noting(Ear):
    """An ear that notes when the keys are read, and whether any still sounds."""

    def __init__(self) -> None:
        super().__init__()
        self.read: list[tuple[float, bool]] = []

    def heard(self, moment: Moment, *, whole: bool = False) -> Heard:
        """Note it, and hear as usual."""
        self.read.append((moment.at, self.silent))
        return super().heard(moment, whole=whole)


@pytest.mark.parametrize("controller", [ALL_SOUND_OFF, ALL_NOTES_OFF])
@pytest.mark.parametrize("beats", [0.1, 0.3, 0.45, 0.8])
def test_who_lets_all_keys_go_at_once_is_heard_within_the_beat(
    controller: int, beats: float
) -> None:
    """As a key that goes down is: the silence is known as soon as the last message has landed."""
    ear = Noting()
    off = beats * BEAT_SECONDS
    keys: list[Incoming] = [NoteOn(0.0, note) for note in voiced("Gm7")]
    heard_from(bass_player(ear=ear), [*keys, Control(off, controller, 0)], BEAT_SECONDS - 0.01)

    since = [at for at, silent in ear.read if silent]
    assert since[0] == pytest.approx(off + GATHER_SECONDS)
