"""How a song begins that nobody counts in: with its first chord, and not with the tune before."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from engine.events import Beat, Incoming, NoteOff, NoteOn, Outgoing, Rest, Tick
from engine.theory.meter import Metre
from tests.band import (
    BEAT_SECONDS,
    bass_player,
    clock,
    comping,
    heard_from,
    in_time,
    plays,
    voiced,
)

Tune = Sequence[tuple[float, float, int]]
"""The second and the seconds of each note, and the key."""


def tune(notes: Tune) -> list[Incoming]:
    """A tune for one finger."""
    return in_time([e for at, length, n in notes for e in (NoteOn(at, n), NoteOff(at + length, n))])


def bar_lines(out: list[Outgoing]) -> list[tuple[int, float]]:
    """The bars that were counted, and when each began."""
    return [(o.bar, o.at) for o in out if isinstance(o, Beat) and o.count == 1]


@pytest.mark.parametrize(
    "notes",
    [
        [(0.0, 0.24, 65)],
        [(0.0, 0.24, 62), (0.25, 0.24, 65), (0.5, 0.24, 70)],
        [(0.0, 0.3, 62), (0.25, 0.3, 65), (0.5, 0.3, 70)],
        [(0.0, 0.1, 70), (0.04, 0.9, 82)],
    ],
    ids=["an eighth", "three eighths", "three eighths, legato", "an octave"],
)
def test_a_pick_up_has_no_bass_and_bar_1_begins_with_the_chord(notes: Tune) -> None:
    """The right hand leads in; the bass comes with the chord, on the first beat."""
    begins = notes[-1][0] + 0.25
    keys = in_time(tune(notes), comping("Bb Gm7", start=begins))
    out = heard_from(bass_player(), keys, until=begins + 3.9)

    assert bar_lines(out) == [(1, begins), (2, begins + 4 * BEAT_SECONDS)]
    assert all(o.at >= begins for o in out)
    first = plays(out)[0]
    assert 0 <= first.at - begins < 0.03
    assert first.note % 12 == 10


def test_a_low_key_begins_the_song() -> None:
    """A left hand that comes alone means it: its first note is the first beat."""
    out = heard_from(bass_player(), tune([(1.0, 1.9, 46)]), until=2.9)

    assert bar_lines(out) == [(1, 1.0)]
    assert plays(out)[0].note % 12 == 10


def test_a_chord_that_is_rolled_begins_with_its_first_key() -> None:
    """High up, 20 ms from key to key: the song has begun with the first of them."""
    rolled: list[Incoming] = [NoteOn(1 + i * 0.02, n) for i, n in enumerate((74, 77, 82))]
    out = heard_from(bass_player(), rolled, until=2.9)

    lines = [o.beat for o in out if isinstance(o, Beat)]
    assert lines == [0, 1, 2, 3]
    assert [o.at for o in out if isinstance(o, Beat)][1:] == [1.5, 2.0, 2.5]


def test_a_tune_that_goes_on_is_no_pick_up() -> None:
    """After a bar of single notes the bass comes in, in the tune's own second bar."""
    notes = [(i * BEAT_SECONDS, 0.4, n) for i, n in enumerate((70, 74, 77, 74) * 2)]
    out = heard_from(bass_player(), tune(notes), until=3.9)

    assert bar_lines(out) == [(2, 4 * BEAT_SECONDS)]
    assert plays(out)[0].at >= 4 * BEAT_SECONDS


def test_a_key_tried_long_before_begins_nothing() -> None:
    """Half a minute later a pick-up is a pick-up again."""
    keys = in_time(tune([(0.0, 0.3, 62), (30.0, 0.24, 65)]), comping("Bb", start=30.25))
    out = heard_from(bass_player(), keys, until=32.0)

    assert bar_lines(out) == [(1, 30.25)]


def taps(times: Sequence[float], key: int = 72) -> list[Incoming]:
    """One key, struck at these seconds."""
    return tune([(at, 0.1, key) for at in times])


@pytest.mark.parametrize(
    ("metre", "count", "felt"),
    [(Metre(4, 4), 4, 1.0), (Metre(3, 4), 3, 1.0), (Metre(6, 8), 4, 1.5), (Metre(2, 4), 4, 1.0)],
    ids=str,
)
@pytest.mark.parametrize("gap", [0.35, 0.8, 1.4])
def test_one_key_struck_for_a_bar_counts_in(
    metre: Metre, count: int, felt: float, gap: float
) -> None:
    """Its beats are the tempo, and bar 1 comes after the last of them."""
    begins = count * gap
    chord: list[Incoming] = [NoteOn(begins, n) for n in voiced("Bb")]
    player = bass_player(metre=metre, taps=True)
    out = heard_from(player, [*taps([i * gap for i in range(count)]), *chord], begins + 2 * gap)

    beats = [o for o in out if isinstance(o, Beat)]
    assert [round(o.at - begins, 6) for o in beats] == [round(i * gap, 6) for i in (-1, 0, 1)]
    assert [o.beat for o in beats] == [-felt, 0, felt]
    assert beats[1].bar == 1
    first = plays(out)[0]
    assert 0 <= first.at - begins < 0.03
    assert first.note % 12 == 10


@pytest.mark.parametrize(
    ("times", "keys"),
    [
        ((0.0, 0.5, 1.2, 1.7), (72, 72, 72, 72)),
        ((0.0, 0.5, 1.0, 1.5), (72, 72, 74, 72)),
        ((0.0, 0.25, 0.5, 0.75), (72, 72, 72, 72)),
        ((0.0, 0.5, 1.0), (72, 72, 72)),
    ],
    ids=["uneven", "another key", "too fast", "too few"],
)
def test_what_is_no_count_is_a_pick_up(times: Sequence[float], keys: Sequence[int]) -> None:
    """Bar 1 begins with the chord, in the tempo that was set."""
    begins = times[-1] + 0.3
    lead_in = in_time(*(taps([at], key) for at, key in zip(times, keys, strict=True)))
    out = heard_from(
        bass_player(taps=True), in_time(lead_in, comping("Bb", start=begins)), begins + 1.9
    )

    assert [o.at for o in out if isinstance(o, Beat)] == [begins + i / 2 for i in range(4)]


def test_beats_of_two_lengths_are_not_tapped() -> None:
    """Three even taps in 7/8, which is felt 2+2+3, say nothing of its tempo."""
    keys = in_time(taps([0.0, 0.6, 1.2]), comping("Bb", start=1.5))
    out = heard_from(bass_player(metre=Metre(7, 8), taps=True), keys, until=3.4)

    assert [o.at for o in out if isinstance(o, Beat)] == [1.5, 2.0, 2.5, 3.25]


def test_what_cannot_be_tapped_is_a_tune() -> None:
    """In 7/8 one note struck evenly for a bar is a tune like any other: the second bar has bass."""
    notes = taps([i * 0.25 for i in range(12)])
    out = heard_from(bass_player(metre=Metre(7, 8), taps=True), notes, until=3.0)

    assert bar_lines(out) == [(2, 1.75)]


def test_a_count_is_not_heard_as_a_chord() -> None:
    """Four taps and nothing after them: the beats go on, and no bass."""
    out = heard_from(bass_player(taps=True), taps([0.0, 0.5, 1.0, 1.5]), until=3.9)

    assert [o.count for o in out if isinstance(o, Beat)] == [4, 1, 2, 3, 4]
    assert not plays(out)


def test_who_counts_in_and_does_not_play_begins_anew() -> None:
    """Two bars later nobody knows the count any more: the chord is bar 1, in the tempo tapped."""
    keys = in_time(taps([0.0, 0.6, 1.2, 1.8]), comping("Bb", start=13.37))
    out = heard_from(bass_player(taps=True), keys, until=15.0)

    assert [o.at for o in out if isinstance(o, Rest)] == [pytest.approx(2.4 + 8 * 0.6)]
    first, second, *_ = [o for o in out if isinstance(o, Beat) and o.at > 10]
    assert (first.bar, first.count, first.at) == (1, 1, 13.37)
    assert second.at == pytest.approx(13.37 + 0.6)


def test_a_long_count_in_is_no_silence() -> None:
    """Three bars are counted, and the bar after them is bar 1, with a chord on two."""
    keys = comping("Bb", start=6.5)
    out = heard_from(bass_player(count_in=3), in_time([Tick(0.0)], keys), until=7.9)

    assert not any(isinstance(o, Rest) for o in out)
    assert (1, 6.0) in bar_lines(out)
    assert plays(out)[0].at == pytest.approx(6.5, abs=0.03)


def test_who_has_set_a_tempo_keeps_it() -> None:
    """The same taps to a bass that was told how fast: a tune of one note, and its second bar."""
    out = heard_from(bass_player(), taps([i * 0.6 for i in range(5)]), until=3.0)

    assert [o.at for o in out if isinstance(o, Beat)] == [2.5]


def test_under_a_clock_any_key_is_heard() -> None:
    """A sequencer says where bar 1 is: a high note alone has its bass at once."""
    keys = in_time(clock(8), tune([(0.0, 1.9, 70)]))
    out = heard_from(bass_player(external_clock=True), keys, until=2.0)

    assert plays(out)[0].at < 0.03
