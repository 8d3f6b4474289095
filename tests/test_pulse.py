"""The pulse: where in the song a second is."""

from __future__ import annotations

from fractions import Fraction
from math import ceil, inf
from random import Random

import pytest

from engine.pulse import STALL_SECONDS, Pulse
from engine.theory.meter import Metre


def clocked(tempo: float = 120.0, beats: float = 4.0, start: float = 10.0) -> Pulse:
    """A pulse that has been led for some beats by an even clock."""
    pulse = Pulse(external=True)
    pulse.start(start)
    for tick in range(int(beats * 24) + 1):
        pulse.tick(start + tick * 60 / tempo / 24)
    return pulse


def test_the_first_chord_is_beat_one() -> None:
    """Without a clock bar 1 begins where the first key goes down."""
    pulse = Pulse(120)
    pulse.strike(5.0)

    assert pulse.position(5.0) == 0
    assert pulse.position(6.0) == 2
    assert pulse.seconds_of(4) == 7.0


def test_a_second_key_does_not_move_the_beat() -> None:
    """Only the first key sets the beat."""
    pulse = Pulse(120)
    pulse.strike(5.0)
    pulse.strike(5.3)

    assert pulse.position(6.0) == 2


def test_a_count_in_comes_before_bar_one() -> None:
    """Two bars counted: bar 1 begins eight beats after the count began, whatever is played."""
    pulse = Pulse(120, count_in=2)
    pulse.begin_count(1.0)
    pulse.strike(2.0)

    assert pulse.position(1.0) == -8
    assert pulse.position(5.0) == 0
    assert pulse.moment(1.0).bar == -1
    assert pulse.moment(5.0).bar == 1


def test_the_first_tick_after_start_is_beat_zero() -> None:
    """Before the first tick nothing has begun; with it beat 0 has."""
    pulse = Pulse(external=True)
    pulse.start(3.0)
    assert pulse.seconds_of(0.0) == inf

    pulse.tick(3.1)

    assert pulse.seconds_of(0.0) == 3.1


@pytest.mark.parametrize("tempo", [40, 100, 240])
def test_a_clock_gives_the_tempo(tempo: float) -> None:
    """Twenty-four ticks are a quarter note."""
    pulse = clocked(tempo)

    assert pulse.seconds_per_beat == pytest.approx(60 / tempo, rel=1e-6)
    assert pulse.position(10 + 4 * 60 / tempo) == pytest.approx(4)


def test_a_clock_that_goes_on_while_stopped_tells_the_tempo() -> None:
    """The first beat after Start has the tempo the clock had before it."""
    pulse = Pulse(100, external=True)
    for tick in range(48):
        pulse.tick(tick * 60 / 150 / 24)
    pulse.start(1.0)

    assert pulse.seconds_per_beat == pytest.approx(60 / 150, rel=1e-3)


def test_jitter_on_the_wire_is_halved() -> None:
    """A clock whose ticks stray up to 2.5 ms carries a beat that strays half as much."""
    random = Random(7)
    pulse = Pulse(external=True)
    pulse.start(0.0)
    sent, carried = [], []
    for tick in range(24 * 40):
        stray = random.uniform(-0.0025, 0.0025)
        pulse.tick(tick * 0.025 + stray)
        sent.append(stray**2)
        carried.append((pulse.seconds_of(tick / 24) - tick * 0.025) ** 2)

    assert sum(carried[48:]) < sum(sent[48:]) / 4


@pytest.mark.parametrize("rate", [44100, 48000])
@pytest.mark.parametrize("frames", [128, 256, 512, 1024])
@pytest.mark.parametrize("tempo", [60, 97, 120, 150, 180])
def test_ticks_sent_where_audio_buffers_end_are_no_tempo(
    rate: int, frames: int, tempo: int
) -> None:
    """A sequencer sends its clock buffer by buffer: the tempo holds, and no beat is carried off."""
    pulse = Pulse(tempo, external=True)
    pulse.start(0.0)
    buffer, tick = frames / rate, 60 / tempo / 24
    for count in range(24 * 32):
        pulse.tick(ceil(count * tick / buffer) * buffer)

        assert pulse.seconds_per_beat == pytest.approx(60 / tempo, rel=0.05)
        assert -0.001 <= pulse.seconds_of(count / 24) - count * tick <= buffer + 0.005


@pytest.mark.parametrize(("before", "after"), [(60, 180), (180, 60), (90, 200), (200, 80)])
def test_a_leap_of_the_tempo_is_followed_within_three_ticks(before: int, after: int) -> None:
    """Two ticks that come astray may be jitter; the third tells the tempo."""
    pulse = clocked(before, start=0.0)
    end = 4 * 60 / before
    for tick in range(1, 4):
        pulse.tick(end + tick * 60 / after / 24)

    assert pulse.seconds_per_beat == pytest.approx(60 / after)
    assert pulse.position(end + 3 * 60 / after / 24) == pytest.approx(4 + 3 / 24)


def test_a_clock_that_is_wound_on_tells_no_tempo_that_nobody_plays() -> None:
    """Ticks a thousandth of a second apart would be 2500 quarter notes a minute."""
    pulse = clocked()
    for tick in range(1, 200):
        pulse.tick(12 + tick / 1000)

    assert pulse.seconds_per_beat == 60 / 480
    assert pulse.position(12.2) == pytest.approx(4 + 199 / 24, abs=0.1)


def test_a_new_tempo_is_followed_within_a_beat() -> None:
    """From 100 to 110 a minute: a beat later the place is right to 2 ms."""
    pulse = Pulse(external=True)
    pulse.start(0.0)
    at = 0.0
    for tick in range(24 * 9):
        pulse.tick(at)
        at += 60 / (100 if tick < 24 * 8 else 110) / 24

    assert pulse.seconds_of(9.0) == pytest.approx(at, abs=0.002)


def test_nobody_is_carried_on_by_a_silent_clock() -> None:
    """When ticks stop the song goes a tick and a half further, no more, and then counts as over."""
    pulse = clocked(beats=4)

    assert pulse.position(60.0) == pytest.approx(4 + 1.5 / 24)
    assert pulse.seconds_of(5.0) == inf
    assert pulse.stalls_at() == pytest.approx(12.0 + STALL_SECONDS)


def test_stop_and_continue_keep_the_place() -> None:
    """Continue goes on from where Stop left off."""
    pulse = clocked(beats=4)
    pulse.stop(12.01)
    pulse.locate(13.0, 16)
    pulse.resume(14.0)
    pulse.tick(14.1)

    assert pulse.position(14.1) == 4


def test_locate_moves_to_a_sixteenth() -> None:
    """Song position 34 is the second eighth of the third bar of four."""
    pulse = Pulse(external=True)
    pulse.locate(0.0, 34)

    moment = pulse.moment(0.0)
    assert (moment.position, moment.bar, moment.in_bar) == (8.5, 3, 0.5)


def test_a_set_tempo_ignores_the_clock() -> None:
    """Ticks, locates and starts mean nothing to a player who counts for himself."""
    pulse = Pulse(120)
    pulse.tick(0.0)
    pulse.locate(0.0, 64)
    pulse.strike(1.0)

    assert pulse.position(2.0) == 2


def test_bars_are_counted_across_a_new_metre() -> None:
    """Two bars of four, then threes: beat 11 is the bar line of bar 4."""
    pulse = Pulse(60)
    pulse.strike(0.0)
    pulse.new_metre(8.0, Metre(3, 4))

    moment = pulse.moment(11.0)
    assert (moment.bar, moment.bar_start) == (4, Fraction(11))


def test_who_begins_again_at_a_set_tempo_begins_with_bar_one() -> None:
    """After a stop the next key is beat 0, also where another metre had come in between."""
    pulse = Pulse(60)
    pulse.strike(0.0)
    pulse.new_metre(8.0, Metre(3, 4))
    pulse.stop(30.0)
    pulse.strike(40.5)

    moment = pulse.moment(43.5)
    assert (moment.position, moment.bar, moment.bar_start) == (3, 2, Fraction(3))


def test_a_short_bar_before_a_new_metre_counts_as_a_bar() -> None:
    """A bar of four cut to two beats by a new metre is still a bar."""
    pulse = Pulse(60)
    pulse.strike(0.0)
    pulse.new_metre(6.0, Metre(3, 4))

    assert pulse.moment(6.0).bar == 3
    assert pulse.moment(6.0).bar_start == 6


@pytest.mark.parametrize(
    ("beat", "bar", "began", "metre"),
    [
        (0, 1, 0, "4/4"), (7, 2, 4, "4/4"), (8, 3, 8, "4/4"), (39, 10, 36, "4/4"),
        (40, 11, 40, "3/4"), (44, 12, 43, "3/4"), (52, 15, 52, "7/8"), (56, 16, 55.5, "7/8"),
    ],
)  # fmt: skip
def test_a_jump_leads_into_the_bar_and_the_metre_that_the_song_has_there(
    beat: int, bar: int, began: float, metre: str
) -> None:
    """Ten bars of 4/4, four of 3/4, then 7/8: before each change the bars are as they were."""
    pulse = clocked(120, beats=39.9, start=0.0)
    for at, each in ((40, "3/4"), (52, "7/8")):
        pulse.locate(at / 2, 4 * at)
        pulse.new_metre(at / 2, Metre.of(each))
    pulse.locate(30.0, 4 * beat)
    moment = pulse.moment(30.0)

    assert (moment.bar, moment.bar_start, str(moment.metre)) == (bar, began, metre)


def test_a_song_that_comes_by_a_change_of_metre_again_counts_it_again() -> None:
    """From the top once more, with other bars before the change than the first time."""
    pulse = Pulse(external=True)
    for change in (40, 8):
        pulse.start(0.0)
        pulse.locate(0.0, 4 * change)
        pulse.new_metre(0.0, Metre(3, 4))

    assert (pulse.moment(0.0).bar, pulse.moment(0.0).bar_start) == (3, 8)
