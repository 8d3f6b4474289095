"""Bars for which a chart has no chord: the bass is silent there, until the keys say otherwise."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from engine.events import Beat, Forecast, Incoming, NoteOff, NoteOn, Outgoing, Release, Rest
from engine.foresight.outlook import Foresight
from engine.theory.symbols import parse_symbol
from ports.charts import parse_chart
from tests.band import (
    Outlook,
    WatchedForesight,
    bass_player,
    heard_from,
    in_time,
    plays,
    roots_of,
    voiced,
)

BAR = 2.0
CHART = "| Bb | Gm7 | Eb | F7 | N.C. | Bb | Gm7 | F7 |"
PLAYED = ["Bb", "Gm7", "Eb", "F7", "-", "Bb", "Gm7", "F7"]


def one_a_bar(names: Sequence[str], *, held: Sequence[int] = ()) -> list[Incoming]:
    """A chord a bar, "-" for none; after the bars that are `held` the keys stay down for one."""
    keys: list[Incoming] = []
    for bar, name in enumerate(names):
        until = (bar + 1 + (bar in held)) * BAR - 0.05
        notes = () if name == "-" else voiced(name)
        keys += [e for n in notes for e in (NoteOn(bar * BAR, n), NoteOff(until, n))]
    return in_time(sorted(keys, key=lambda e: e.at))


def follow(chart: str, keys: Sequence[Incoming], bars: int, preset: str = "soul") -> list[Outgoing]:
    """What a bassist gives out who has the chart."""
    foresight = Foresight(chart=parse_chart(chart))
    return heard_from(bass_player(preset, foresight=foresight), keys, until=bars * BAR - 0.05)


def onsets_in(out: list[Outgoing], bar: int) -> list[float]:
    """Where in a bar, counted from 0, the bass begins notes, in seconds."""
    return [p.at - bar * BAR for p in plays(out) if -0.05 <= p.at - bar * BAR < BAR - 0.05]


@pytest.mark.parametrize("preset", ["soul", "walking", "rock", "tumbao"])
def test_where_no_chord_is_written_the_bass_is_silent(preset: str) -> None:
    """Nothing sounds in the fifth bar, the first time as well as the second, and it is back after.

    What was played last is over with its bar.
    """
    out = follow(CHART, one_a_bar(PLAYED * 2), 16, preset)

    for bar in (4, 12):
        assert onsets_in(out, bar) == []
        ended = max(o.at for o in out if isinstance(o, Release) and o.at < (bar + 1) * BAR)
        assert ended < bar * BAR + 0.03
        last = [p for p in plays(out) if p.at < bar * BAR - 0.05][-1]
        assert last.written.aims_at is None
        assert any(-0.005 <= at < 0.03 for at in onsets_in(out, bar + 1))


@pytest.mark.parametrize(
    ("tune", "held"), [((74, 77, 75, 72), ()), ((), (3, 11))], ids=["a tune", "a chord held"]
)
def test_a_tune_or_a_held_chord_does_not_call_for_the_bass(
    tune: Sequence[int], held: Sequence[int]
) -> None:
    """Single notes over the silence, or the chord before still under the hands."""
    melody: list[Incoming] = [
        e
        for bar in (4, 12)
        for i, n in enumerate(tune)
        for e in (NoteOn(bar * BAR + i / 2, n), NoteOff(bar * BAR + i / 2 + 0.45, n))
    ]
    out = follow(CHART, in_time(one_a_bar(PLAYED * 2, held=held), melody), 16)

    assert [onsets_in(out, bar) for bar in (4, 12)] == [[], []]


@pytest.mark.parametrize("late", [0.0, 0.75, 1.0])
@pytest.mark.parametrize("name", ["F7", "Eb", "Dm7"])
def test_a_chord_that_is_played_all_the_same_has_its_bass(name: str, late: float) -> None:
    """The ears decide: another chord or the one before, the bass comes with it and stays."""
    comes = 4 * BAR + late
    chord = [e for n in voiced(name) for e in (NoteOn(comes, n), NoteOff(5 * BAR - 0.05, n))]
    keys = in_time(one_a_bar(PLAYED), sorted(chord, key=lambda e: e.at))
    out = follow(CHART, keys, 8)

    first, *more = [p for p in plays(out) if 4 * BAR - 0.05 < p.at < 5 * BAR - 0.05]
    assert 0 <= first.at - comes < 0.03
    assert first.note % 12 in parse_symbol(name).keys
    assert more


def test_silence_is_remembered_as_silence() -> None:
    """As no chord, and not as the chord before it."""
    foresight = WatchedForesight(chart=parse_chart(CHART))
    heard_from(bass_player(foresight=foresight), one_a_bar(PLAYED), until=15.9)

    assert roots_of(foresight, range(15, 21)) == [5, *[None] * 4, 10]


@pytest.mark.parametrize(("confidence", "silent"), [(0.3, False), (0.9, True)])
def test_a_silence_that_is_hardly_believed_in_is_none(confidence: float, silent: bool) -> None:
    """From the second bar on nobody plays, for one reason or the other."""

    def ends(ahead: Outlook) -> Outlook:
        return tuple(f if f.beat < 4 else Forecast(f.beat, None, confidence) for f in ahead)

    player = bass_player(foresight=WatchedForesight(ends))
    out = heard_from(player, one_a_bar(["Bb", "-"]), until=2 * BAR - 0.05)

    assert (onsets_in(out, 1) == []) is silent


def test_half_a_bar_can_be_silent() -> None:
    """F7 for two beats, and nothing for two."""
    chart = "| Bb | Gm7 | Eb | F7 N.C. | Bb | Gm7 | F7 | F7 |"
    out = follow(chart, one_a_bar(["Bb", "Gm7", "Eb", "-", "Bb", "Gm7", "F7", "F7"]), 8)

    assert len(onsets_in(out, 3)) > 1
    assert max(onsets_in(out, 3)) < BAR / 2
    assert max(o.at for o in out if isinstance(o, Release) and o.at < 4 * BAR) < 3.5 * BAR + 0.03


def test_a_long_silence_that_is_written_ends_no_phrase() -> None:
    """Four bars without a chord: the count goes on, and the bass is there when the chords are."""
    chart = "| Bb | Gm7 | Eb | F7 | N.C. | % | % | % | Bb | F7 |"
    out = follow(chart, one_a_bar(["Bb", "Gm7", "Eb", "F7", *"----", "Bb", "F7"]), 10)

    assert not any(isinstance(o, Rest) for o in out)
    assert [o.bar for o in out if isinstance(o, Beat) and o.count == 1] == list(range(1, 11))
    assert [onsets_in(out, bar) for bar in range(4, 8)] == [[]] * 4
    assert 0 <= onsets_in(out, 8)[0] < 0.03
