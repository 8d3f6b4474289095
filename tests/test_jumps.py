"""What a jump leaves behind, and what it does not: the song goes on elsewhere."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import pytest

from engine.events import (
    ClockTick,
    Continue,
    Forecast,
    Incoming,
    NoteOff,
    NoteOn,
    SongPosition,
    Start,
    Stop,
)
from engine.foresight.outlook import Foresight
from engine.hearing.ear import Ear
from engine.listening.listening import Listening
from engine.theory.symbols import parse_symbol
from tests.band import (
    BEAT_SECONDS,
    Outlook,
    Pianist,
    WatchedForesight,
    bass_player,
    comping,
    heard_from,
    in_time,
    moment,
    plays,
    voiced,
)

# The bass ------------------------------------------------------------------------------------


def ticks(start: float, beats: float) -> list[Incoming]:
    """An even clock."""
    return [ClockTick(start + i * BEAT_SECONDS / 24) for i in range(round(24 * beats))]


@pytest.mark.parametrize("keys", [(55, 58), (67, 70)])
@pytest.mark.parametrize("foretold", ["Eb", "N.C."])
def test_what_was_foretold_for_the_bar_that_was_left_does_not_hold_after_a_jump(
    foretold: str, keys: Sequence[int]
) -> None:
    """G and B flat are Gm at once, though where the song was they could still become an E flat.

    Nor is the bass silent any more because it was to be silent there.
    """

    def certain(ahead: Outlook) -> Outlook:
        second_bar = None if foretold == "N.C." else parse_symbol(foretold)
        first = parse_symbol("Bb")
        return tuple(Forecast(f.beat, second_bar if f.beat < 8 else first, 0.99) for f in ahead)

    left, again = 4.4 * BEAT_SECONDS, 3.0
    first_bar = [e for e in comping("Bb") if e.at < 2.0]
    let_go = [NoteOff(1.95, note) for note in voiced("Bb")]
    before = in_time([Start(0.0)], ticks(0.0, 4.4), first_bar, let_go)
    jump: list[Incoming] = [Stop(left), SongPosition(again - 0.1, 38), Continue(again)]
    struck: list[Incoming] = [NoteOn(again + 0.03, note) for note in keys]
    events = in_time(before, jump, ticks(again + 0.001, 2), struck)
    foresight = WatchedForesight(certain)
    out = heard_from(bass_player(external_clock=True, foresight=foresight), events, again + 0.2)

    first, *_ = [p for p in plays(out) if p.at > again]
    assert first.at - (again + 0.03) < 0.02
    assert first.note % 12 == 7


def test_a_beat_that_was_in_doubt_is_so_no_longer_after_a_jump() -> None:
    """Back within the same beat of the song nobody waits for the keys that it began with then."""
    listening = Listening(Ear(), Foresight())
    listening.cross(moment(8.0), Fraction(8))
    before = listening.in_doubt(Fraction(8))
    listening.relocate(moment(8.125))

    assert (before, listening.in_doubt(Fraction(8))) == (True, False)


# The ear -------------------------------------------------------------------------------------


def jump(player: Pianist, position: float, beat: float) -> None:
    """The song goes on at this place, and then a felt beat begins."""
    player.ear.relocate(moment(position))
    player.now = position
    player.ear.cross(moment(beat))


@pytest.mark.parametrize("place", [32.0, 32.1, 32.4, 33.0])
@pytest.mark.parametrize("other", ["F", "Am", "D7"])
def test_a_chord_that_was_changed_while_the_song_stood_is_heard_where_it_goes_on(
    place: float, other: str
) -> None:
    """Wherever in the beat that is, and though by the next beat its keys have long been down."""
    player = Pianist().at(0).play("48 60 64 67").at(1.5)
    assert player.hears() == "C"
    player.play(" ".join(map(str, voiced(other))))
    jump(player, place, 33.0)
    player.now = 33.1

    assert player.hears() == other


@pytest.mark.parametrize("beat", [32.0, 33.0, 34.0, 35.0])
def test_a_bass_that_was_set_down_does_not_come_along_on_a_jump(beat: float) -> None:
    """D over F sharp keeps its bass through the bar, but not into the middle of another."""
    player = Pianist().at(0).play("42 57 62 66").at(2.0).play("57 62 66")
    assert player.hears() == "D/F#"
    jump(player, beat, beat)
    player.now = beat
    player.play("57 62 66")

    assert player.hears() == "D"


@pytest.mark.parametrize("place", [16.0, 400.0])
def test_a_jump_is_no_time_without_a_low_key(place: float) -> None:
    """Who plays the bass a beat before a jump is not taken to have left it to us ever since."""
    player = Pianist().at(0).play("36 60 64 67").at(1.0).play("60 64 67").at(1.5)
    jump(player, place, place)
    player.now = place + 0.1

    assert player.hears() == "C"
    assert not player.ear.leaves_the_bass
