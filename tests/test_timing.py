"""Timing: what the places of the keys around the beats tell of a player."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction

import pytest

from engine.agenda import Agenda, Due
from engine.part import Part
from engine.pulse import Pulse
from engine.timing import Timing
from tests.band import BEAT_SECONDS, moment


def known_after(
    beats: int, keys: Sequence[float], timing: Timing | None = None, *, start: int = 0
) -> Timing:
    """A player whose keys go down so many seconds after each beat, all the way."""
    timing = timing or Timing()
    strokes = sorted(b + at / BEAT_SECONDS for b in range(start, start + beats) for at in keys)
    for beat in range(start, start + beats + 1):
        for place in _within(strokes, beat - 1, beat):
            timing.key_down(moment(place))
        timing.cross(moment(beat))
    return timing


def _within(places: Iterable[float], start: float, end: float) -> list[float]:
    return [place for place in places if start <= place < end]


def test_a_machine_is_never_late_and_strikes_all_keys_at_once() -> None:
    """Three keys on every beat, exactly: after eight bars nothing else is supposed of it."""
    timing = known_after(32, (0.0, 0.0, 0.0))

    assert timing.late == timing.apart == pytest.approx(0, abs=0.01)


def test_who_is_far_behind_is_late() -> None:
    """Keys 80 ms after the beat are late on every beat, and not apart."""
    timing = known_after(32, (0.08, 0.08))

    assert timing.late == pytest.approx(1, abs=0.05)
    assert timing.apart < 0.01


@pytest.mark.parametrize(("seconds", "behind"), [
    (-0.03, 0.0), (0.0, 0.0), (0.01, 0.01), (0.02, 0.02), (0.03, 0.025), (0.08, 0.0),
])  # fmt: skip
def test_the_bass_waits_where_the_player_is_and_no_further_than_the_pocket(
    seconds: float, behind: float
) -> None:
    """Who lays back by 20 ms is met there; 80 ms are not laid back but late."""
    assert known_after(32, (seconds, seconds)).behind == pytest.approx(behind, abs=0.001)


def test_a_beat_is_read_again_a_little_after_it_began_where_the_player_is() -> None:
    """After 22 ms; 15 ms later yet for who lays back by as much; before any beat never."""
    exact, laid_back = (known_after(32, (at, at)) for at in (0.0, 0.015))

    for timing, seconds, again in (
        (exact, 0.02, True), (exact, 0.024, False), (laid_back, 0.035, True),
        (laid_back, 0.039, False), (Timing(), 0.0, False),
    ):  # fmt: skip
        assert timing.reads_again(moment(32 + seconds / BEAT_SECONDS)) is again


def test_who_is_always_as_far_behind_is_not_late_by_that() -> None:
    """Keys 30 ms after each beat are after its reading for two bars, and not any more."""
    assert known_after(8, (0.03,)).late > 0.25
    assert known_after(32, (0.03,)).late < 0.1


def test_a_player_is_met_within_two_bars() -> None:
    """Eight beats with keys 20 ms after them are enough to wait half as far."""
    assert known_after(8, (0.02,)).behind > 0.01


def test_one_chord_far_off_its_beat_shifts_nothing() -> None:
    """A chord that comes 90 ms after one beat, from an exact player, is waited for no longer."""
    timing = known_after(32, (0.0,))
    known_after(1, (0.09,), timing, start=33)

    assert timing.behind == 0


@pytest.mark.parametrize("seconds", [-0.06, -0.02, 0.0, 0.02])
def test_a_little_before_or_after_is_in_time(seconds: float) -> None:
    """What is ahead of its beat, or no further behind than the bass waits, is not late."""
    assert known_after(32, (seconds,)).late < 0.01


def test_who_rolls_chords_has_keys_apart() -> None:
    """The keys of each chord 10 ms after each other, the first on the beat."""
    timing = known_after(32, (0.0, 0.01, 0.02))

    assert timing.apart > 0.95
    assert timing.late < 0.01


def test_a_roll_that_begins_before_the_beat_is_one() -> None:
    """Its first key 15 ms ahead, the last on the beat."""
    assert known_after(32, (-0.015, 0.0)).apart > 0.95


def test_notes_between_the_beats_tell_nothing() -> None:
    """Sixteenths and eighths are no late beats: what was supposed of the player stands."""
    supposed = Timing()
    timing = known_after(32, (0.25 * BEAT_SECONDS, 0.5 * BEAT_SECONDS))

    assert (timing.late, timing.apart) == (supposed.late, supposed.apart)


def test_a_player_who_changes_is_known_again_within_four_bars() -> None:
    """Eight bars exact, then four behind: late on most beats by then."""
    timing = known_after(32, (0.0,))
    known_after(16, (0.07,), timing, start=33)

    assert timing.late > 0.7


def test_what_is_struck_while_the_song_stands_is_not_of_it() -> None:
    """The song jumps back; a key before its first beat there is late for none."""
    timing = known_after(32, (0.0,))
    before = timing.late
    timing.key_down(moment(8.3))
    timing.cross(moment(9))

    assert timing.late == before


def rests(keys: Sequence[float], *, sounds: bool = False) -> bool:
    """Whether the beat at 4 is left out, if keys go down at these places around it."""
    timing = Timing()
    timing.cross(moment(3))
    for place in (p for p in keys if p < 4):
        timing.key_down(moment(place))
    timing.cross(moment(4))
    for place in sorted([*keys, 4.25]):
        if place == 4.25:
            timing.read(moment(place), silent=not sounds)
        elif place > 4:
            timing.key_down(moment(place))
            timing.read(moment(place), silent=False)
    return timing.rests


@pytest.mark.parametrize(("keys", "left_out"), [
    ((), True), ((3.0,), True), ((3.5,), True), ((4.9,), True),
    ((3.9,), False), ((4.0001,), False), ((4.5,), False), ((3.0, 4.7), False),
])  # fmt: skip
def test_a_beat_is_left_out_if_none_of_its_keys_goes_down(
    keys: Sequence[float], left_out: bool
) -> None:
    """Keys a little ahead of the beat are its own, those a little ahead of the next are not."""
    assert rests(keys) is left_out


def test_a_beat_through_which_a_chord_is_held_is_not_left_out() -> None:
    """Nothing is struck, and something sounds."""
    assert not rests((), sounds=True)


@pytest.mark.parametrize("external", [True, False], ids=["a clock", "a tempo of its own"])
def test_a_beat_is_read_a_last_time_a_sixteenth_after_it(external: bool) -> None:
    """Under a clock nobody knows beforehand when that is: it is when the clock has come so far."""
    pulse = Pulse(120.0, external=external)
    pulse.start(0.0)
    pulse.strike(0.0)
    agenda = Agenda(pulse, Part(), lambda _: False, Timing(), 0.025)
    agenda.next_beat = Fraction(1)
    pulse.tick(0.0)
    agenda.crossed(0.0, 0.0)
    agenda.has_read(0.022)
    for tick in range(1, 7):
        pulse.tick(tick / 48)

    assert agenda.next_due() == (pytest.approx(0.125), Due.HEAR)
    agenda.has_read(0.125)
    assert agenda.next_due()[1] is Due.CROSS
