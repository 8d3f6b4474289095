"""How a song begins that nobody counts in: with its first chord, and not with the tune before."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from engine.events import Beat, Incoming, NoteOff, NoteOn, Outgoing
from tests.band import BEAT_SECONDS, bass_player, clock, comping, heard_from, in_time, plays

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


def test_under_a_clock_any_key_is_heard() -> None:
    """A sequencer says where bar 1 is: a high note alone has its bass at once."""
    keys = in_time(clock(8), tune([(0.0, 1.9, 70)]))
    out = heard_from(bass_player(external_clock=True), keys, until=2.0)

    assert plays(out)[0].at < 0.03
