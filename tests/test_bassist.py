"""The bassist: the stages together, from keys to bass notes."""

from __future__ import annotations

from collections.abc import Sequence
from copy import deepcopy
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.bassist import Bassist
from engine.events import (
    Beat,
    Bend,
    ChangeExpected,
    ChordHeard,
    ClockTick,
    Continue,
    Control,
    Forecast,
    Heard,
    Incoming,
    KeyHeard,
    NewMetre,
    NewStyle,
    NoteOff,
    NoteOn,
    Outgoing,
    Play,
    Rest,
    SongPosition,
    Start,
    Stop,
    Tick,
)
from engine.foresight.chart import Bar, Chart, Section
from engine.foresight.outlook import WEIGHED, Foresight
from engine.foresight.standing import Present
from engine.foresight.tables import DEFAULT as FORESEEN
from engine.hearing.ear import Ear
from engine.hearing.taught import TAUGHT
from engine.line.grades import Grade
from engine.score import Articulation, Role
from engine.style import Style
from engine.theory.harmony import Chord, Key
from engine.theory.meter import Metre, Moment
from engine.theory.symbols import parse_symbol, symbol
from ports.replay import replay as play_through
from presets.loader import load, names
from tests.band import (
    BEAT_SECONDS,
    TEMPO,
    Outlook,
    WatchedForesight,
    bass_player,
    clock,
    comping,
    heard_from,
    in_time,
    pedal,
    plays,
    roots_of,
    sounding_at_most_once,
    voiced,
)

TURNAROUND = "Bb Gm7 Cm7 F7 Bb Eb Cm7 F7"


def anticipates(preset: str) -> bool:
    """Whether a style plays the coming root before its bar line, as tumbao does."""
    figures = load(preset).rhythm.figures
    return any(stroke.tone.startswith(">1") for f in figures for stroke in f.strokes)


def roots_around(out: list[Outgoing], bars: int) -> list[bool]:
    """For each bar line whether its new root sounds from a beat before it to two beats after."""
    roots = [10, 7, 0, 5, 10, 3, 0, 5]
    begun = plays(out)
    return [
        any(p.note % 12 == roots[i] for p in begun if -1.1 <= p.beat - 4 * i < 2.2)
        for i in range(bars)
    ]


def first_notes(out: list[Outgoing], beats_each: float, changes: int) -> list[int]:
    """The pitch class of the first bass note from just before each change on."""
    begun = plays(out)
    return [
        next(p.note % 12 for p in begun if p.beat >= i * beats_each - 0.1) for i in range(changes)
    ]


def test_the_first_note_comes_with_the_first_chord() -> None:
    """Within 30 ms of the first key the bass plays the root."""
    out = heard_from(bass_player(), comping("Eb"), until=2.0)

    first = plays(out)[0]
    assert first.at < 0.030
    assert first.note % 12 == 3


@pytest.mark.parametrize("preset", names())
def test_every_style_plays_the_root_on_the_change(preset: str) -> None:
    """Eight changes, a bar each: each begins on its root, or the style has played it before."""
    out = heard_from(bass_player(preset), comping(TURNAROUND), until=16.0)

    if anticipates(preset):
        assert all(roots_around(out, 8))
    else:
        assert first_notes(out, 4, 8) == [10, 7, 0, 5, 10, 3, 0, 5]


def test_a_slash_chord_gets_its_bass() -> None:
    """On F/A the bass plays A."""
    out = heard_from(bass_player(), comping("Bb F/A Gm7 F/A"), until=8.0)

    assert first_notes(out, 4, 4)[1] == 9


def test_chords_are_named_as_heard() -> None:
    """The chords come back by name, each within a beat of its change."""
    out = heard_from(bass_player(), comping(TURNAROUND), until=16.0)
    named = [(symbol(o.chord, o.key), o.beat) for o in out if isinstance(o, ChordHeard)]
    roots = [name.rstrip("m7") for name, _ in named]

    assert roots == ["Bb", "G", "C", "F", "Bb", "Eb", "C", "F"]
    assert all(beat - 4 * i < 0.5 for i, (_, beat) in enumerate(named))


def test_the_key_is_heard() -> None:
    """Eight bars around B flat are in B flat."""
    out = heard_from(bass_player(), comping(TURNAROUND), until=16.0)

    key = [o.key for o in out if isinstance(o, KeyHeard)][-1]
    assert (key.tonic, key.minor) == (10, False)


def test_the_bass_falls_silent_with_stop() -> None:
    """After Stop nothing sounds and nothing is waited for."""
    bassist = bass_player()
    out = heard_from(bassist, comping("Bb"), until=1.1)

    assert sounding_at_most_once(out)
    assert bassist.next_deadline() is None


def test_stop_with_keys_still_down_leaves_nothing_hanging() -> None:
    """The keys may be held on; the bass note is released."""
    bassist = bass_player()
    out = heard_from(bassist, [NoteOn(0.0, n) for n in voiced("Dm7")], until=1.0)

    assert sounding_at_most_once(out)


def test_after_a_stop_the_next_chord_is_beat_one_again() -> None:
    """Without a clock the song begins anew when the player does."""
    bassist = bass_player()
    heard_from(bassist, comping("Bb"), until=3.3)
    out = heard_from(bassist, comping("Ebm", start=7.77), until=9.0)

    begun = plays(out)
    assert begun[0].at == pytest.approx(7.77, abs=0.03)
    assert begun[0].note % 12 == 3


def test_a_count_in_is_counted_without_bass() -> None:
    """One bar counted: the chord struck in it is played from bar 1 on."""
    bassist = bass_player(count_in=1)
    out = heard_from(bassist, [Tick(0.0), *comping("Ab", start=1.0)], until=4.0)
    counted = [(o.bar, o.count) for o in out if isinstance(o, Beat)][:5]

    assert counted == [(0, 1), (0, 2), (0, 3), (0, 4), (1, 1)]
    assert plays(out)[0].at == pytest.approx(4 * BEAT_SECONDS, abs=0.03)


def test_a_clock_leads_the_bass() -> None:
    """Under a clock the bass begins with its first tick, a chord struck before Start included."""
    bassist = bass_player(external_clock=True)
    keys = comping(TURNAROUND, start=5.0)
    out = heard_from(bassist, in_time(keys, clock(32, start=5.0)), until=21.2)

    assert plays(out)[0].at - 5.0 < 0.030
    assert first_notes(out, 4, 8) == [10, 7, 0, 5, 10, 3, 0, 5]


def test_a_clock_that_falls_silent_leaves_nothing_sounding() -> None:
    """The plug is pulled in mid-note: the note is released all the same."""
    bassist = bass_player(external_clock=True)
    events = in_time(comping("Bb Eb"), clock(5))
    out = [o for e in events if e.at < 2.6 for o in bassist.receive(e)]
    while (due := bassist.next_deadline()) is not None and due < 10.0:
        out += bassist.receive(Tick(due))

    assert sounding_at_most_once(out)


def test_a_sequencer_that_locates_is_followed() -> None:
    """Stopped, moved to bar 9 and continued: bar 9 is where the bass goes on."""
    bassist = bass_player(external_clock=True)
    first = in_time(comping("Bb"), clock(4))
    silence = [Control(3.0, c, 0, ch) for ch in range(16) for c in (64, 121, 123)]
    again = [SongPosition(3.0, 128), *comping("Eb", start=4.0), Continue(4.0)]
    ticks = [ClockTick(4.0 + i / 48) for i in range(96)]
    out = heard_from(bassist, in_time(first, [Stop(2.5)], silence, [*again], ticks), until=6.0)

    after = [p for p in plays(out) if p.at > 3.5]
    assert after[0].beat == pytest.approx(32, abs=0.1)
    assert after[0].note % 12 == 3


@pytest.mark.parametrize("event", [SongPosition(1.3, 64), Start(1.3), Continue(1.3)])
def test_who_counts_for_himself_plays_on_when_a_sequencer_moves(event: Incoming) -> None:
    """With a tempo of his own, what leads others cuts no note and loses no place."""
    alone = heard_from(bass_player(), comping("Bb Eb"), until=4.0)
    beside = heard_from(bass_player(), in_time(comping("Bb Eb"), [event]), until=4.0)

    assert beside == alone


def test_the_sustain_pedal_holds_the_chord() -> None:
    """Keys up, pedal down: the chord still sounds, and the bass plays on."""
    held: list[Incoming] = [pedal(0.0, True), *[NoteOn(0.0, n) for n in voiced("Fm7")]]
    held += [NoteOff(0.3, n) for n in voiced("Fm7")]
    out = heard_from(bass_player(), held, until=4.0)

    assert {p.written.chord.root for p in plays(out)} == {5}


def test_a_wrong_note_is_left_at_once() -> None:
    """A chord that comes between the beats is on the bass within a sixteenth."""
    surprise = comping("Bb", beats_each=2.25) + comping("E", start=2.25 * BEAT_SECONDS)
    out = heard_from(bass_player(), surprise, until=3.0)

    new = next(p for p in plays(out) if p.written.chord.root == 4)
    assert new.beat - 2.25 <= 0.26


def test_the_bass_ends_the_phrase_when_the_player_stops() -> None:
    """Two bars after the last chord was let go: a root held for a bar, then silence."""
    out = heard_from(bass_player(), comping("Bb Eb"), until=16.0)

    last = plays(out)[-1]
    assert last.beat == pytest.approx(16, abs=0.1)
    assert (last.note % 12, last.written.length) == (3, 4)


def stabs(chart: str, places: Sequence[float], length: float) -> list[Incoming]:
    """A chord a bar, struck at these places of the bar in quarter notes, each held so long."""
    events: list[Incoming] = []
    for bar, name in enumerate(chart.split()):
        for at in (max(0.0, 4 * bar + place) for place in places):
            for note in voiced(name):
                events.append(NoteOn(at * BEAT_SECONDS, note))
                events.append(NoteOff((at + length) * BEAT_SECONDS, note))
    return sorted(events, key=lambda e: (e.at, isinstance(e, NoteOn)))


LOOP = "Bb Gm7 Eb F7 Dm7 Gm7 Cm7 F7 "


def test_chords_between_the_beats_are_no_silence() -> None:
    """Short chords on every off-beat: from the second time round each root is on its bar line."""
    one: list[Incoming] = [NoteOn(0.0, 46), NoteOff(0.1, 46)]  # from where the beats are counted
    keys = in_time(one, stabs(LOOP * 4, (0.5, 1.5, 2.5, 3.5), 0.2))
    begun = plays(heard_from(bass_player(), keys, until=63.5))

    for bar, name in list(enumerate(LOOP.split() * 4))[16:]:
        here = [p for p in begun if 4 * bar - 0.1 < p.written.beat < 4 * bar + 3.9]
        assert here[0].note % 12 == parse_symbol(name).bass
        assert -0.01 < here[0].at - 2 * bar < 0.03
        assert here[0].written.length < 4  # it is no end of a phrase


@pytest.mark.slow
@pytest.mark.parametrize("places", [(1.0, 3.0), (1.0,), (1.5,), (2.5,)], ids=str)
@pytest.mark.parametrize("early", [0.0, 0.03], ids=str)
def test_who_strikes_after_the_bar_line_still_changes_chords_on_it(
    places: Sequence[float], early: float
) -> None:
    """Short chords on two and four: by the third time round the root is on the bar line."""
    one: list[Incoming] = [NoteOn(0.0, n) for n in (46, 58, 62)]  # on the first beat of all
    held = [NoteOff(0.3, n) for n in (46, 58, 62)]
    strokes = stabs(LOOP * 4, [place - 2 * early for place in places], 0.4)
    begun = plays(heard_from(bass_player(), in_time([*one, *held], strokes), until=63.5))

    right = 0
    for bar, name in list(enumerate(LOOP.split() * 4))[16:]:
        here = next(p for p in begun if p.written.beat > 4 * bar - 0.1)
        assert -0.01 < here.at - 2 * bar < 0.03
        right += here.note % 12 == parse_symbol(name).bass
    assert right >= 15


@pytest.mark.parametrize(
    ("tune", "names"),
    [
        ([(0.25, 72)], ["Bb", "Bb"]),  # C after the beat that the chord is on
        ([(1.25, 72)], ["Bb", "Bb"]),  # or after another one
        ([(1.0, 72)], ["Bb", "Bb"]),  # or on that, on its own
        ([(0.0, 72)], ["Bbadd9", "Bb"]),  # struck with the chord it is the chord's
        ([(0.0, 72), (0.5, 74), (1.0, 77)], ["Bbadd9", "Bb"]),  # and stays so for the bar
    ],
)
def test_a_tune_does_not_colour_the_chord_under_it(
    tune: list[tuple[float, int]], names: list[str]
) -> None:
    """B flat is struck once in each of two bars, the tune over the first of them."""
    over: list[Incoming] = [NoteOn(at, note) for at, note in tune]
    over += [NoteOff(at + 0.24, note) for at, note in tune]
    out = heard_from(bass_player(), in_time(comping("Bb Bb"), over), until=3.9)

    told = [o for o in out if isinstance(o, ChordHeard)]
    heard = [[t for t in told if t.at < end][-1] for end in (2.0, 4.0)]
    assert [symbol(t.chord, Key(10)) for t in heard] == names
    assert len(told) == len(set(names))


def test_a_coloured_chord_between_two_beats_is_one() -> None:
    """B flat, and after the second beat of its bar B flat struck anew with a ninth in it."""
    ninth = (46, 58, 62, 65, 72)
    keys = in_time(comping("Bb", beats_each=1), (NoteOn(1.25, n) for n in ninth))
    out = heard_from(bass_player(), keys, until=1.9)

    told = [(o.at, symbol(o.chord, Key(10))) for o in out if isinstance(o, ChordHeard)]
    assert [name for _, name in told] == ["Bb", "Bbadd9"]
    assert told[1][0] == pytest.approx(1.256, abs=0.02)


def test_another_third_is_another_chord_within_the_bar_too() -> None:
    """B flat minor between two beats of a bar that began in B flat: by the next beat it is told."""
    keys = in_time(comping("Bb", beats_each=2), comping("Bbm", beats_each=3, start=1.25))
    out = heard_from(bass_player(), keys, until=2.75)

    told = [symbol(o.chord, Key(10)) for o in out if isinstance(o, ChordHeard) and o.at < 1.6]
    assert told == ["Bb", "Bbm"]


def test_a_chord_is_named_anew_at_the_bar_line() -> None:
    """B flat is held for two bars; the C that it was struck with is over when the second begins."""
    over: list[Incoming] = [NoteOn(0.0, 72), NoteOff(0.5, 72), NoteOn(2.0, 74)]
    out = heard_from(bass_player(), in_time(comping("Bb", beats_each=8), over), until=3.0)

    told = [(o.at, symbol(o.chord, Key(10))) for o in out if isinstance(o, ChordHeard)]
    assert [name for _, name in told] == ["Bbadd9", "Bb"]
    assert told[1][0] == pytest.approx(2.006, abs=0.02)


@pytest.mark.parametrize("keys", [(48, 70, 74, 77), (53, 62, 65, 70, 74)])
def test_a_chord_that_is_held_keeps_its_name_until_the_next_beat(keys: Sequence[int]) -> None:
    """A sixteenth after the beat nothing new was struck: what the bass plays by is not in doubt."""
    came = in_time(comping("Gm7 Gm7", beats_each=2), [NoteOn(2.0, n) for n in keys])
    out = heard_from(bass_player(), came, until=2.4)

    assert not [o for o in out if isinstance(o, ChordHeard) and o.at > 2.05]


class Certain(WatchedForesight):
    """Foresight that expects Eb on the fourth beat, and notes what it remembers otherwise."""

    def __init__(self, sure: float) -> None:
        super().__init__(self._certain)
        self._sure = sure
        self.amended: list[int] = []

    def _certain(self, ahead: Outlook) -> Outlook:
        chords = (parse_symbol("Bb" if forecast.beat < 3 else "Eb") for forecast in ahead)
        return tuple(Forecast(f.beat, c, self._sure) for f, c in zip(ahead, chords, strict=True))

    def amend(self, chord: Chord | None, beats: int, *, grounded: bool = False) -> None:
        """Note it."""
        self.amended.append(beats)
        super().amend(chord, beats, grounded=grounded)


@pytest.mark.parametrize(
    ("place", "sure", "amended"), [(3.5, 0.95, []), (3.0, 0.4, [1]), (3.0, 0.95, [])]
)
def test_a_chord_ahead_of_the_bar_line_is_none_of_the_half_bar(
    place: float, sure: float, amended: list[int]
) -> None:
    """Nothing on three, and Eb on four: it was due on three; on four-and it is the next bar's.

    Where it was foretold on four, it was due there.
    """
    foresight = Certain(sure)
    keys = in_time(stabs("Bb", (0.0, 1.0), 0.4), stabs("Eb", (place,), 0.4))
    heard_from(bass_player(foresight=foresight), keys, until=3.0)

    assert foresight.amended == amended


@pytest.mark.parametrize(
    ("key", "heard"), [(55, "Eb/Bb"), (63, "Eb/Bb"), (46, "Eb/Bb"), (50, "Bb"), (53, "Bb")]
)
def test_a_broken_chord_over_another_bass_goes_by_the_name_foretold(key: int, heard: str) -> None:
    """Bb in the bass after a bar of Bb, and G or Eb begin Eb/Bb; with D or F it is Bb still."""

    def over_its_fifth(ahead: Outlook) -> Outlook:
        chords = (parse_symbol("Bb" if forecast.beat < 4 else "Eb/Bb") for forecast in ahead)
        return tuple(Forecast(f.beat, c, 0.85) for f, c in zip(ahead, chords, strict=True))

    broken: list[Incoming] = [NoteOn(2.0, 46), NoteOff(2.25, 46), NoteOn(2.25, key)]
    foresight = WatchedForesight(over_its_fifth)
    out = heard_from(bass_player(foresight=foresight), in_time(comping("Bb"), broken), until=2.45)

    told = [o for o in out if isinstance(o, ChordHeard)]
    assert symbol(told[-1].chord, Key(10)) == heard


@pytest.mark.parametrize("again", [(), (46,)])
def test_a_chord_that_is_held_is_not_called_another_that_was_foretold(again: list[int]) -> None:
    """Bb is held for two bars, its bass struck once more or not: it is no Gm/Bb."""

    def over_its_third(ahead: Outlook) -> Outlook:
        chords = (parse_symbol("Bb" if forecast.beat < 4 else "Gm/Bb") for forecast in ahead)
        return tuple(Forecast(f.beat, c, 0.6) for f, c in zip(ahead, chords, strict=True))

    held = [e for e in comping("Bb", beats_each=8) if e != NoteOff(4.0, 46) or not again]
    keys = in_time(held, [NoteOn(2.0, n) for n in again])
    out = heard_from(bass_player(foresight=WatchedForesight(over_its_third)), keys, until=3.0)

    written = [p.written for p in plays(out) if p.written.beat > 4.5]
    assert {symbol(note.chord, Key(10)) for note in written} == {"Bb"}


def halves(chords: str) -> tuple[tuple[Fraction, Chord | None], ...]:
    """A bar of four for a chart, two chords sharing it."""
    return tuple((Fraction(2 * i), parse_symbol(name)) for i, name in enumerate(chords.split()))


@pytest.mark.parametrize("external", [False, True], ids=["a tempo of its own", "a clock"])
@pytest.mark.parametrize("preset", ["soul", "walking", "pop", "ballad"])
def test_the_first_bar_of_a_chart_has_all_its_chords(preset: str, external: bool) -> None:
    """Ebm and Ab share the bar that the song begins with: the bass is on Ab as it comes."""
    bars = tuple(Bar(chords) for chords in (halves("Ebm Ab"), halves("Bbm Bbm")))
    foresight = Foresight(chart=Chart((Section("Song", bars),), Metre(4, 4)))
    keys = in_time(clock(8) if external else [], comping("Ebm Ab Bbm Bbm", beats_each=2))
    player = bass_player(preset, foresight=foresight, external_clock=external)
    begun = plays(heard_from(player, keys, until=3.9))

    second = next(p for p in begun if p.beat > 1.9)
    assert second.note % 12 == 8
    assert second.at < 1.04
    assert {p.written.chord.root for p in begun if 1.9 < p.beat < 3.9} == {8}


@pytest.mark.parametrize(
    ("lowest", "root"), [(0, 4), (52, 1)], ids=["over a low E", "by the right hand alone"]
)
def test_a_triad_over_its_own_bass_is_no_seventh_chord(lowest: int, root: int) -> None:
    """E where the chart has C#m7: over a low E it is E, without it it is the C#m7 of the chart."""
    written = ("A", "F#m7", "D", "E", "A", "C#m7", "Bm7", "E")
    bars = tuple(Bar(((Fraction(0), parse_symbol(name)),)) for name in written)
    foresight = Foresight(chart=Chart((Section("Song", bars),)))
    played = comping("A F#m7 D E A E Bm7 E")
    keys = [e for e in played if isinstance(e, NoteOn | NoteOff) and e.note >= lowest]
    begun = plays(heard_from(bass_player(foresight=foresight), keys, until=15.9))

    assert {p.written.chord.root for p in begun if 20 < p.beat + 0.1 < 23.9} == {root}


def test_a_ninth_of_the_tune_takes_no_bass_away() -> None:
    """C7 over a low C, a D above it on two: the player plays the bass of that chord all along."""
    grounded: list[bool] = []

    class Asked(Foresight):
        """Foresight that notes whether the player plays the bass."""

        def look(self, now: Present, horizon: int, *, weigh: int = WEIGHED) -> Outlook:
            """Note it."""
            grounded.append(now.grounded)
            return super().look(now, horizon, weigh=weigh)

    keys: list[Incoming] = [NoteOn(0.0, n) for n in (36, 58, 64, 67)]
    heard_from(bass_player(foresight=Asked()), [*keys, NoteOn(0.5, 74)], until=1.9)

    assert len(grounded) > 4
    assert all(grounded)


@pytest.mark.slow
def test_a_player_who_rests_for_a_bar_finds_the_bass_where_the_song_is() -> None:
    """The fourth time round nobody plays the Eb: the bass does, and nothing else in that bar."""
    keys = [e for e in stabs(LOOP * 4, (0.0,), 3.8) if not 51.9 < e.at < 53.95]
    begun = plays(heard_from(bass_player(), keys, until=63.5))

    here = [p for p in begun if 103.9 < p.written.beat < 107]
    assert here[0].note % 12 == 3
    assert {p.written.chord.root for p in here} == {3}


def test_a_bar_that_was_rested_through_is_remembered_as_the_song_has_it() -> None:
    """The third time round nobody plays the Eb and the F7, which were surely foretold."""
    foresight = WatchedForesight()
    keys = [e for e in stabs(LOOP * 3, (0.0,), 3.8) if not 35.9 < e.at < 39.95]
    heard_from(bass_player(foresight=foresight), keys, until=47.5)

    assert roots_of(foresight, range(72, 80)) == [3] * 4 + [5] * 4


@pytest.mark.parametrize("preset", ["soul", "walking", "rock"])
@pytest.mark.parametrize("seed", range(3))
def test_the_phrase_ends_on_one_note(preset: str, seed: int) -> None:
    """The root heard last is struck once and held, or what had begun on the bar line by then."""
    keys = stabs(LOOP * 2 + "Bb", (0.0,), 3.8)
    begun = plays(heard_from(bass_player(preset, seed=seed), keys, until=48.0))

    (last,) = [p for p in begun if p.written.beat >= 76]
    assert last.note % 12 == last.written.chord.bass
    assert last.note % 12 == 10 or last.written.length < 4


def test_who_plays_on_two_and_four_is_met_on_one_where_the_chord_is_only_likely() -> None:
    """The second time round eight chords that were heard once: each bar begins on its root."""
    keys = in_time(clock(64), stabs(LOOP * 2, (1.0, 3.0), 0.4))
    begun = plays(heard_from(bass_player("reggae", external_clock=True), keys, until=31.5))

    for bar, name in list(enumerate((LOOP * 2).split()))[8:]:
        first = next(p for p in begun if p.at > 2.0 * bar - 0.05)
        assert first.note % 12 == parse_symbol(name).root


@pytest.mark.slow
def test_a_song_whose_chords_are_pushed_changes_on_its_bar_lines() -> None:
    """Each chord an eighth before its bar: by the third time the fourth beat is the old chord's."""
    begun = plays(heard_from(bass_player("walking"), stabs(LOOP * 4, (-0.5, 1.0), 0.4), until=63.5))

    on_four = {p.written.beat // 4: p for p in begun if p.written.beat % 4 == 3}
    names = LOOP.split() * 4
    late = [on_four[bar] for bar in range(16, 31) if bar in on_four]
    assert len(late) > 10
    assert all(p.written.chord.root == parse_symbol(names[p.written.beat // 4]).root for p in late)


def d_flat_on_four(ahead: Outlook) -> Outlook:
    """What is expected, but D flat on every fourth beat."""
    wrong = parse_symbol("Db")
    return tuple(
        replace(each, chord=wrong, confidence=0.6) if each.beat % 4 == 3 else each for each in ahead
    )


def test_a_pushed_chord_is_due_on_its_bar_line_whatever_else_was_foretold() -> None:
    """D flat is expected on four and does not come: the fourth beat was the old chord's."""
    foresight = WatchedForesight(d_flat_on_four)
    heard_from(bass_player(foresight=foresight), stabs(LOOP * 2, (-0.5, 1.0), 0.4), until=31.5)

    names = LOOP.split() * 2
    on_four = {beat: chord for beat, chord in foresight.remembered.items() if beat % 4 == 3}
    late = [(beat, chord) for beat, chord in on_four.items() if 8 <= beat < 60]
    assert len(late) > 10
    for beat, chord in late:
        assert chord is not None
        assert chord.root == parse_symbol(names[int(beat // 4)]).root


def test_the_bass_comes_back_with_the_player() -> None:
    """After eight bars of silence a chord on beat three is answered there, once."""
    back = 17.0
    out = heard_from(bass_player(), comping("Bb") + comping("Bb", start=back), until=19.0)

    after = [p for p in plays(out) if p.at >= back]
    assert after[0].at - back < 0.030
    assert all(b.at - a.at > 0.1 for a, b in pairwise(after))


@pytest.mark.slow
def test_who_begins_again_after_the_bass_has_rested_begins_with_bar_one() -> None:
    """Nobody counts in silence: the next chord is on the first beat again, wherever it comes.

    It is the song from the top: what was played before is known, and met on its bar lines.
    """
    back = 16.13
    keys = comping(LOOP * 2) + comping(LOOP, start=32 + back)
    out = heard_from(bass_player("rock"), keys, until=32 + back + 15.9)

    (rest,) = [o for o in out if isinstance(o, Rest)]
    assert 32 + 3.5 < rest.at <= 32 + 6
    beats = [o for o in out if isinstance(o, Beat) and o.at > rest.at]
    assert (beats[0].bar, beats[0].at) == (1, 32 + back)
    assert beats[1].at == pytest.approx(32 + back + BEAT_SECONDS)
    again = [p for p in plays(out) if p.at >= 32 + back]
    for bar, name in enumerate(LOOP.split()):
        first = next(p for p in again if p.written.beat > 4 * bar - 0.1)
        assert first.note % 12 == parse_symbol(name).bass
        assert first.at - 32 - back - 2 * bar < 0.03


def test_a_sequencer_counts_on_while_the_player_rests() -> None:
    """Under a clock eight bars of silence change nothing: the chord is where the song is."""
    keys = comping("Bb") + comping("Bb", start=17.2)
    out = heard_from(bass_player(external_clock=True), in_time(clock(40), keys), until=19.5)

    assert [o.bar for o in out if isinstance(o, Beat) and o.count == 1] == list(range(1, 11))


@pytest.mark.parametrize("metre", [Metre(3, 8), Metre(1, 4), Metre(2, 8), Metre(1, 16)], ids=str)
@pytest.mark.parametrize("preset", ["walking", "reggae", "jazz-waltz"])
def test_short_bars_are_played(metre: Metre, preset: str) -> None:
    """Bars with one felt beat, or shorter than an eighth, are played like any others."""
    changes = comping("Bb Eb G F#m E A", beats_each=max(2 * float(metre.bar), 0.75))
    for seed in range(4):
        out = heard_from(bass_player(preset, seed=seed, metre=metre), changes, until=5.0)
        assert len(plays(out)) >= 4


def test_with_a_lead_the_same_chord_brings_the_bass_back_after_a_stop() -> None:
    """A song that ended on the chord it begins with is played again from its first chord on."""
    again = [Stop(2.5), *comping("Bb Bb", start=4.0)]
    out = heard_from(bass_player("walking", lead=1), comping("Bb") + again, until=8.0)

    assert min(play.at for play in plays(out) if play.at > 3.0) == pytest.approx(4.5, abs=0.05)


def test_chords_sent_a_beat_early_are_landed_on_and_led_into() -> None:
    """With a lead of one beat every root stands on its beat, a beat after its keys went down."""
    out = heard_from(bass_player("walking", lead=1), comping(TURNAROUND), until=16.4)

    begun = plays(out)
    landed = [next(p for p in begun if p.beat >= 4 * i - 0.1) for i in range(8)]
    assert [p.note % 12 for p in landed] == [10, 7, 0, 5, 10, 3, 0, 5]
    assert [p.at - 2.0 * i for i, p in enumerate(landed)] == pytest.approx([0.5] * 8, abs=0.015)
    led = [p.written.aims_at for p in begun if p.written.aims_at is not None]
    assert len(led) >= 4


@pytest.mark.parametrize("metre", [Metre(7, 8), Metre(5, 8), Metre(8, 8), Metre(6, 8)], ids=str)
@pytest.mark.parametrize("lead", [1, 2, 4])
def test_a_lead_goes_from_felt_beat_to_felt_beat(metre: Metre, lead: int) -> None:
    """In uneven bars too: chords sent so many felt beats before a bar line stand on it."""
    bar, early = float(metre.bar), -float(metre.start_of(-lead)) * BEAT_SECONDS
    sent = comping("Bb Gm7 Eb F7 Bb Gm7 Eb F7", beats_each=bar)
    out = heard_from(bass_player("ballad", lead=lead, metre=metre), sent, until=8 * bar / 2 + early)

    begun = plays(out)
    landed = [next(p for p in begun if p.written.beat >= bar * i) for i in range(8)]
    assert [p.note % 12 for p in landed] == [10, 7, 3, 5, 10, 7, 3, 5]
    due = [early + i * bar * BEAT_SECONDS for i in range(8)]
    assert [p.at for p in landed] == pytest.approx(due, abs=0.03)


class SecondThoughts(Ear):
    """An ear that takes an F for D minor until the beat is over."""

    @property
    def ended(self) -> Heard:
        """The beat that ended last, D minor understood as F."""
        heard = super().ended
        misheard = heard.chord is not None and heard.chord.root == 2
        return replace(heard, chord=parse_symbol("F")) if misheard else heard


def test_a_chord_sent_early_is_what_it_was_heard_to_be_by_its_beat() -> None:
    """First taken for D minor and then for F, a chord that is due now is an F."""
    out = heard_from(bass_player(lead=1, ear=SecondThoughts()), comping("Bb Dm Bb"), until=6.0)

    assert next(p for p in plays(out) if p.beat >= 3.9).note % 12 == 5


def test_with_a_lead_a_chord_held_through_a_jump_is_due_where_the_song_goes_on() -> None:
    """Eb is held while the song goes back to its beginning: it stands until Gm is due there."""
    held: list[Incoming] = [Stop(4.1), *(NoteOn(4.5, n) for n in voiced("Eb"))]
    sent = in_time(comping("Bb Gm7"), held, (NoteOff(6.0, n) for n in voiced("Eb")))
    keys = in_time(clock(8), sent, clock(8, start=5.0), comping("Gm", start=6.0))
    out = heard_from(bass_player("walking", external_clock=True, lead=1), keys, until=8.0)

    begun = [(p.at, p.written.chord.root) for p in plays(out) if p.at > 4.9]
    assert {root for at, root in begun if at < 6.45} == {3}
    assert {root for at, root in begun if at > 6.45} == {7}


class Hesitating(Ear):
    """An ear that takes an F for D minor, except for what the whole of a beat would be."""

    def heard(self, moment: Moment, *, whole: bool = False) -> Heard:
        """What is believed now."""
        heard = super().heard(moment, whole=whole)
        misheard = not whole and heard.chord is not None and heard.chord.root == 5
        return replace(heard, chord=parse_symbol("Dm")) if misheard else heard


def test_a_chord_sent_early_is_told_rightly_half_a_beat_before_it_is_due() -> None:
    """First taken for D minor: heard for a while it is an F, and due where its keys went down."""
    out = heard_from(bass_player(lead=1, ear=Hesitating()), comping("Bb F Bb"), until=6.0)

    told = [o for o in out if isinstance(o, ChangeExpected) and 2.0 <= o.at < 2.25]
    assert told[-1].at_beat == 4
    assert told[-1].chord.root == 5
    assert next(p for p in plays(out) if p.beat >= 3.9).note % 12 == 5


def test_a_first_chord_inside_the_bar_is_answered_there() -> None:
    """Under a clock the first chord may come on beat three; what is past is not caught up on."""
    bassist = bass_player(external_clock=True)
    out = heard_from(bassist, in_time(comping("Ab", start=1.25), clock(8)), until=4.0)

    first, second = plays(out)[:2]
    assert 0 < first.at - 1.25 < 0.030
    assert second.at - first.at > 0.1


def test_a_new_style_is_taken_up_at_the_bar_line() -> None:
    """A walking style asked for in bar 1 walks from bar 2 on."""
    events = in_time(comping(TURNAROUND), [NewStyle(0.9, load("walking"))])
    out = heard_from(bass_player("rock"), events, until=16.0)

    per_bar = [sum(4 * b - 0.1 <= p.beat < 4 * b + 3.9 for p in plays(out)) for b in range(8)]
    assert per_bar[0] > 5
    assert sum(per_bar[1:]) / 7 < 5.5


@pytest.mark.parametrize("preset", names())
def test_a_pupil_of_the_first_grade_plays_roots(preset: str) -> None:
    """In every style the first grade plays no tone but the bass of the chord; the second fifths."""
    events = comping(TURNAROUND)
    roots, fifths = (
        plays(heard_from(bass_player(preset, grade=grade), events, until=16.0))
        for grade in (Grade.ROOTS, Grade.FIFTHS)
    )

    assert roots
    assert {p.note % 12 for p in roots} <= {p.written.chord.bass for p in roots}
    assert {p.written.role for p in fifths} <= {Role.ROOT, Role.BASS, Role.FIFTH}


def test_a_new_style_is_taken_up_in_the_grade_of_the_pupil() -> None:
    """Who plays roots in rock plays roots in the walking style that takes over at the bar line."""
    events = in_time(comping(TURNAROUND), [NewStyle(0.9, load("walking"))])
    out = heard_from(bass_player("rock", grade=Grade.ROOTS), events, until=16.0)

    assert {p.written.role for p in plays(out)} == {Role.ROOT}


def noting_looks(log: list[object]) -> Foresight:
    """Foresight that notes in a log when it looks ahead."""

    def note(ahead: Outlook) -> Outlook:
        log.append("look")
        return ahead

    return WatchedForesight(note)


def noting_questions(log: list[object]) -> Foresight:
    """Foresight that notes in a log each look, and whether it was given the ear's word."""

    def note(ahead: Outlook) -> Outlook:
        log.append("looks again" if foresight.asked else "looks")
        return ahead

    foresight = WatchedForesight(note)
    return foresight


def test_a_sixteenth_after_each_beat_it_is_looked_again_with_what_the_ear_expects() -> None:
    """As a beat begins the ear has not heard it yet; a sixteenth later it says how it goes on."""
    log: list[object] = []
    bassist = bass_player("rock", foresight=noting_questions(log))
    for event in [*comping(" ".join([TURNAROUND] * 2)), Stop(32.0)]:
        while (due := bassist.next_deadline()) is not None and due < event.at:
            log.append(due)
            log += [o for o in bassist.receive(Tick(due)) if isinstance(o, Beat)]
        bassist.receive(event)

    starts = [i for i, o in enumerate(log) if isinstance(o, Beat)]
    for start, end in pairwise(starts[1:]):
        beat, of_beat = log[start], log[start:end]
        again = of_beat.index("looks again")
        at = [due for due in of_beat[:again] if isinstance(due, float)][-1]
        assert isinstance(beat, Beat) and 0.125 <= at - beat.at < 0.15
        assert "looks" in of_beat[:again] and "looks" not in of_beat[again:]


@pytest.mark.parametrize(
    ("places", "length", "asked"),
    [((0.0,), 1.5, {0, 1}), ((1.0, 3.0), 0.4, {1, 3})],
    ids=["on one", "on two and four"],
)
def test_the_ear_is_asked_while_it_hears(
    places: Sequence[float], length: float, asked: set[int]
) -> None:
    """On the beats on which a chord sounds, here for a beat and a half or for less than one."""
    log: list[object] = []
    keys = in_time(clock(64), stabs(LOOP * 2, places, length))
    bassist = bass_player("rock", foresight=noting_questions(log), external_clock=True)
    play_through(bassist, [*keys, Stop(31.5)], log.append)

    starts = [i for i, o in enumerate(log) if isinstance(o, Beat)]
    found = {
        n % 4 for n, (i, j) in enumerate(pairwise(starts)) if "looks again" in log[i:j] and n > 7
    }
    assert found == asked


@pytest.mark.parametrize(
    ("places", "length"),
    [((1.0, 3.0), 0.4), ((-0.5, 1.5), 1.9)],
    ids=["on two and four", "pushed"],
)
def test_the_ear_expects_chords_where_they_are_due(places: Sequence[float], length: float) -> None:
    """Not where their keys come: the third time round it has each new root on its bar line."""
    ear = Ear()
    expected: list[int] = []

    def ask(outgoing: Outgoing) -> None:
        if isinstance(outgoing, Beat) and outgoing.count == 1:
            expected.append(int(ear.foretold().sum(axis=1).argmax()))

    keys = in_time(clock(96), stabs(LOOP * 3, places, length))
    play_through(bass_player("rock", ear=ear, external_clock=True), [*keys, Stop(47.9)], ask)

    assert expected[16:24] == [parse_symbol(name).root for name in LOOP.split()]


def test_a_chord_that_is_altered_at_the_end_of_its_bar_makes_no_bar_line_late() -> None:
    """B flat turns minor on the last eighth of the bar: the next bar is written again at once."""
    two = {"Bb": (46, 58, 62, 65), "Gm": (43, 58, 62, 67), "Eb": (39, 58, 63, 67)}
    keys: list[Incoming] = []
    for bar, name in enumerate(("Bb", "Gm", "Eb", "Gm") * 4):
        turned = (46, 58, 61, 65) if name == "Bb" else (two[name][0],)
        strokes = [(0, two[name], 1.9), (2, (two[name][0],), 0.9), (3, (two[name][0],), 0.4)]
        for place, notes, length in [*strokes, (3.5, turned, 0.3)]:
            at = 2 * bar + place / 2
            keys += [NoteOn(at, note) for note in notes]
            keys += [NoteOff(at + length / 2, note) for note in notes]
    keys.sort(key=lambda event: event.at)
    begun = [p.at for p in plays(heard_from(bass_player("rock"), keys, until=31.9))]

    for bar in (5, 9, 13):
        assert next(at for at in begun if at > 2 * bar - 0.02) - 2 * bar < 0.008


def test_after_a_jump_the_ear_is_not_asked_before_it_has_heard_a_beat() -> None:
    """A chord that is struck between the jump and the next beat is looked on from without it."""
    log: list[object] = []
    bassist = bass_player("rock", foresight=noting_questions(log), external_clock=True)
    keys = in_time(clock(8), stabs("Bb Eb", (0.0,), 3.8))
    play_through(bassist, [e for e in keys if e.at < 3.3], lambda _: None)
    log.clear()
    bassist.receive(Stop(3.4))
    bassist.receive(SongPosition(3.5, 5))
    bassist.receive(Continue(3.6))
    ticks = [ClockTick(3.6 + n / 48) for n in range(10)]
    chord = [NoteOn(3.65, note) for note in (53, 57, 60, 65)]
    play_through(bassist, sorted([*ticks, *chord], key=lambda event: event.at), lambda _: None)

    assert "looks" in log and "looks again" not in log


def test_the_note_on_the_beat_does_not_wait_for_the_look_ahead() -> None:
    """What takes long is done when the note due with the beat is on its way."""
    log: list[object] = []
    bassist = bass_player("rock", foresight=noting_looks(log))
    play_through(bassist, [*comping(" ".join([TURNAROUND] * 3)), Stop(48.0)], log.append)

    beats = [(i, o.at) for i, o in enumerate(log) if isinstance(o, Beat)]
    first = [next(o for o in log[i:] if o == "look" or isinstance(o, Play)) for i, _ in beats]
    notes = {p.at for p in log if isinstance(p, Play)}
    due = [any(0 <= note - at < 0.008 for note in notes) for _, at in beats]
    assert sum(due) >= 12
    assert all(isinstance(o, Play) for o, is_due in zip(first, due, strict=True) if is_due)
    assert log.count("look") >= len(beats)


def test_woken_late_the_bass_gives_out_the_note_before_it_looks_ahead() -> None:
    """A note 5 ms overdue is not kept back by the look that is overdue as well."""
    log: list[object] = []
    bassist = bass_player("rock", foresight=noting_looks(log))
    given = 0
    for event in comping(" ".join([TURNAROUND] * 2)):
        while (due := bassist.next_deadline()) is not None and due + 0.005 < event.at:
            log.clear()
            out = bassist.receive(Tick(due + 0.005))
            beats = [o for o in out if isinstance(o, Beat)]
            if beats and any(0 <= p.at - beats[0].at < 0.005 for p in plays(out)):
                given += 1
                assert not log
        bassist.receive(event)
    assert given >= 5


def woken_in_time(bassist: Bassist, until: float) -> list[float]:
    """When the notes begin that are due until a time."""
    times: list[float] = []
    while (due := bassist.next_deadline()) is not None and due <= until:
        times += [play.at for play in plays(bassist.receive(Tick(due)))]
    return times


@pytest.mark.slow
def test_woken_late_a_note_keeps_the_time_that_it_was_due_at() -> None:
    """Every waking comes 30 ms late; the notes bear the times that they would bear woken in time.

    What sends them on may have room to send them in time, as JACK has with its periods.
    """
    tables = (FORESEEN.counts, FORESEEN.networks, TAUGHT)
    shared = {id(table): table for table in tables}  # too large to be copied each time
    bassist = bass_player("soul")
    lateness: list[float] = []
    for event in [*comping(" ".join([TURNAROUND] * 2)), Stop(32.0)]:
        while (due := bassist.next_deadline()) is not None and due + 0.03 < event.at:
            in_time = woken_in_time(deepcopy(bassist, dict(shared)), due + 0.03)
            late = [play.at for play in plays(bassist.receive(Tick(due + 0.03)))]
            assert late == in_time
            lateness += [due + 0.03 - at for at in late]
        bassist.receive(event)

    assert len(lateness) > 40
    assert min(lateness) > 0.005


def test_keys_that_come_while_the_bass_thinks_are_heard_before_it_thinks_on() -> None:
    """Looking ahead goes a step at a time: a key that comes a millisecond later is next."""
    log: list[object] = []
    bassist = bass_player("rock", foresight=noting_looks(log))
    interrupted = 0
    for event in [*comping(" ".join([TURNAROUND] * 2)), Stop(32.0)]:
        while (due := bassist.next_deadline()) is not None and due < event.at:
            log.clear()
            bassist.receive(Tick(due))
            assert len(log) <= 1
            if log:
                interrupted += 1
                bassist.receive(NoteOff(due + 0.001, 21))
                assert len(log) == 1
        bassist.receive(event)
    assert interrupted >= 16


def test_a_chord_pushed_by_a_hair_is_on_the_bass_with_the_beat() -> None:
    """Keys that go down 30 ms before the beat are those of the beat."""
    chart = "Bb Gm7 Eb Ab Db Gb Cb E A D"
    pushed = [replace(e, at=max(0.0, e.at - 0.03)) for e in comping(chart)]
    out = heard_from(bass_player(), pushed, until=20.0)

    for bar, written in enumerate(chart.split()[1:], start=1):
        first = next(p for p in plays(out) if p.beat >= 4 * bar - 0.1)
        assert first.note % 12 == parse_symbol(written).root
        assert first.at - 2.0 * bar < 0.015


@pytest.mark.parametrize("preset", ["soul", "walking", "rock"])
@pytest.mark.parametrize("early", [0.05, 0.07, 0.09])
def test_a_chord_ahead_of_its_beat_gets_one_note_and_not_two(preset: str, early: float) -> None:
    """The keys are a little ahead: the bass plays the root with the beat, and not with them too."""
    chart = "Bb Gm7 Eb Ab Db Gb Cb E A D"
    ahead = [replace(e, at=max(0.0, e.at - early)) for e in comping(chart)]
    begun = plays(heard_from(bass_player(preset), ahead, until=20.0))

    leans = min(0.0, load(preset).feel.lay_back_ms / 1000)
    for bar, written in enumerate(chart.split()[1:], start=1):
        (note,) = [p for p in begun if -early < p.at - 2.0 * bar < 0.1]
        assert note.note % 12 == parse_symbol(written).bass
        assert note.at >= 2.0 * bar + leans


def test_keys_late_in_the_pocket_are_waited_for() -> None:
    """A change nobody could know, 20 ms late: the bass comes with it, on its root."""
    chart = "Bb Gm7 Eb Ab Db Gb Cb E A D"
    late = [replace(e, at=e.at + (0.02 if e.at else 0.0)) for e in comping(chart)]
    out = heard_from(bass_player(), late, until=20.0)

    roots = [next(p for p in plays(out) if p.beat >= 4 * i - 0.1).note % 12 for i in range(1, 10)]
    assert roots == [parse_symbol(written).root for written in chart.split()[1:]]


def test_who_rushes_is_met_on_the_beat() -> None:
    """Chords of the right hand alone, all 80 ms early: their roots are there on the bar lines."""
    chart = "Bbm Fm Bbm Eb Abm Eb Db Fm Bbm Ab Fm Db"
    right = [e for e in comping(chart) if isinstance(e, NoteOn | NoteOff) and e.note > 48]
    early = [replace(e, at=e.at - (0.08 if e.at else 0.0)) for e in right]
    begun = plays(heard_from(bass_player(), early, until=24.0))

    for bar, written in list(enumerate(chart.split()))[1:]:
        first = next(p for p in begun if p.at > 2.0 * bar - 0.05)
        assert (first.note % 12, first.at - 2.0 * bar < 0.03) == (parse_symbol(written).root, True)


def test_who_lays_back_is_waited_for_where_the_keys_usually_are() -> None:
    """Changes nobody could know, all 35 ms late: after two bars the bass comes with the keys."""
    loop, surprises = "Bb Bb " * 12, "Gm7 Eb Ab Db Gb Cb E A D"
    late = [replace(e, at=e.at + (0.035 if e.at else 0.0)) for e in comping(loop + surprises)]
    begun = plays(heard_from(bass_player(), late, until=66.0))

    for bar, written in enumerate(surprises.split(), start=24):
        first = next(p for p in begun if p.at > 2.0 * bar - 0.05)
        assert first.note % 12 == parse_symbol(written).root
        assert first.at - 2.0 * bar < 0.051


@pytest.mark.parametrize(("late", "by"), [(0.03, 0.04), (0.05, 0.06), (0.08, 0.03)])
def test_who_lays_back_is_not_run_away_from(late: float, by: float) -> None:
    """A loop that is known by now, its keys behind the beat: the bass is there by then."""
    chart = "Bb Gm7 Eb F7 " * 6
    behind = [replace(e, at=e.at + (late if e.at else 0.0)) for e in comping(chart)]
    begun = plays(heard_from(bass_player(), behind, until=47.5))

    for bar, written in list(enumerate(chart.split()))[12:]:
        first, *more = [p for p in begun if -0.05 < p.at - 2.0 * bar < 0.2]
        assert first.note % 12 == parse_symbol(written).root
        assert first.at - 2.0 * bar < by
        assert not more


def rolled_from_the_top(chart: str) -> list[Incoming]:
    """A chord a bar, each key 15 ms after the one above it."""

    def late(event: Incoming) -> float:
        if not isinstance(event, NoteOn):
            return 0.0
        downwards = voiced(chart.split()[round(event.at / 2)])[::-1]
        return 0.015 * downwards.index(event.note)

    return in_time([replace(e, at=e.at + late(e)) for e in comping(chart)])


def test_a_rolled_chord_is_not_left_for_its_first_keys() -> None:
    """A loop that is known by now, its chords rolled from the top: each has one bass note."""
    chart = "Bb Gm7 Ebmaj7 Am7b5 " * 6
    begun = plays(heard_from(bass_player(), rolled_from_the_top(chart), until=47.5))

    for bar, written in list(enumerate(chart.split()))[12:]:
        first, *more = [p for p in begun if -0.05 < p.at - 2.0 * bar < 0.2]
        assert first.note % 12 == parse_symbol(written).root
        assert not more


@pytest.mark.parametrize("preset", ["soul", "walking", "rock", "gallop"])
def test_no_note_is_left_before_it_was_one(preset: str) -> None:
    """Chords that nobody knows, 15 ms from key to key: what each key says is not played at once."""
    chart = "Bb Gm7 Ebmaj7 Am7b5 Dm7 Bbm7 Gb Ab Db Bb"
    begun = plays(heard_from(bass_player(preset), rolled_from_the_top(chart), until=19.5))

    assert all(b.at - a.at > 0.049 for a, b in pairwise(begun))


def test_a_bass_alone_on_the_bar_line_begins_the_next_chord() -> None:
    """Bass on one, chord on two, its keys 8 ms apart: a low F after eight bars of B flat is F."""
    keys: list[Incoming] = []
    for bar, name in enumerate(["Bb"] * 8 + ["F"]):
        bass, *chord = voiced(name)
        for at, notes in ((0.0, [bass]), (0.5, chord), (1.0, [bass]), (1.5, chord)):
            keys += [NoteOn(2.0 * bar + at + 0.008 * i, n) for i, n in enumerate(notes)]
            keys += [NoteOff(2.0 * bar + at + 0.4, n) for n in notes]
    begun = plays(heard_from(bass_player(), in_time(keys), until=17.9))

    first = next(p for p in begun if p.at > 15.95)
    assert (first.note % 12, first.at < 16.03) == (5, True)


def test_keys_that_speak_against_what_was_foretold_are_enough() -> None:
    """Where Ebmaj7 is due F# and C# are struck, which it has not: the bass goes there at once."""
    chart = "Bb Gm7 Ebmaj7 Am7b5 " * 4 + "Bb Gm7"
    keys = in_time(rolled_from_the_top(chart), [NoteOn(36.0, n) for n in (42, 49)])
    begun = plays(heard_from(bass_player(), keys, until=37.5))

    assert 6 in {p.note % 12 for p in begun if 36 < p.at < 36.06}


def test_a_chord_that_stays_on_is_gone_back_to() -> None:
    """Four times round Eb follows Gm7; then Gm7 is held: Eb is left again by the next sixteenth."""
    chart = "Bb Gm7 Eb F7 " * 4 + "Bb Gm7"
    held = comping(chart)
    at = held[-1].at
    begun = plays(heard_from(bass_player(), [e for e in held if e.at < at], until=at + 1.9))

    last = [p for p in begun if p.at >= at - 0.05]
    assert last[0].note % 12 == 3
    assert last[1].at - at < 0.2
    assert {p.note % 12 for p in last[1:] if p.at - at < 1} <= {7, 10, 2, 5}


def struck_again(early: float, *notes: int) -> list[Play]:
    """Of a loop that is known by now the last chord goes on, struck so early; the bass from there.

    Db follows Ab four times; then these keys of Ab go down again where Db is due, at 32 s.
    """
    loop = [e for e in comping("Db Bbm Gb Ab " * 4) if e.at < 31.9]
    at = 32.0 - early
    again = in_time([NoteOff(at, n) for n in notes], [NoteOn(at, n) for n in notes])
    begun = plays(heard_from(bass_player(), in_time(loop, again), until=33.0))
    return [p for p in begun if p.at > 31.95]


@pytest.mark.parametrize("early", [0.01, 0.03, 0.045])
def test_a_chord_struck_again_a_little_early_is_not_left_for_one_foretold(early: float) -> None:
    """Ab goes on for a bar where Db was due: all of it is struck, so it is no Db that is late."""
    first, *_ = begun = struck_again(early, *voiced("Ab"))

    assert (first.note % 12, first.at < 32.03) == (8, True)
    assert {p.note % 12 for p in begun} <= {8, 0, 3}


@pytest.mark.parametrize("notes", [(44,), (44, 60), (44, 56)])
def test_a_chord_that_seems_to_be_late_is_looked_for_once_more(notes: Sequence[int]) -> None:
    """A key or two of Ab a little early, the rest held: Db is left a sixteenth after the beat."""
    first, second, *_ = struck_again(0.03, *notes)

    assert first.note % 12 == 1
    assert (second.note % 12, second.at < 32.2) == (8, True)


def test_a_chord_whose_keys_land_apart_is_waited_for_in_the_pocket() -> None:
    """The lowest key, the only one that tells Bbm7 from Db, comes some ms after the others."""
    chart = "Ab Bbm7 Fm7 Db Gm7 Bb Cm7 Eb Dm7 F"
    lowest = [(2.0 * i, min(voiced(name))) for i, name in enumerate(chart.split())][1:]
    apart = [
        replace(e, at=e.at + 0.018 * (isinstance(e, NoteOn) and (e.at, e.note) in lowest))
        for e in comping(chart)
    ]
    out = heard_from(bass_player(), in_time(apart), until=20.0)

    firsts = [next(p for p in plays(out) if p.beat >= 4 * i - 0.1) for i in range(1, 10)]
    assert [p.note % 12 for p in firsts] == [parse_symbol(c).root for c in chart.split()[1:]]
    assert all(p.at - 2.0 * i <= 0.026 for i, p in enumerate(firsts, start=1))


def test_a_chord_held_before_the_start_is_on_the_bass_with_the_first_beat() -> None:
    """A sequencer starts a second after the chord went down: there is nothing left to wait for."""
    held = [NoteOn(0.0, note, 80) for note in (56, 60, 63)]
    out = heard_from(
        bass_player(external_clock=True), in_time(held, clock(4, start=1.0)), until=3.0
    )

    first = plays(out)[0]
    assert first.note % 12 == 8
    assert 0 <= first.at - 1.0 < 0.015


def test_without_a_pocket_no_note_waits_for_the_keys() -> None:
    """The same keys, 30 ms late all the while, and no pocket: the bass is there before them."""
    chart = "Bb " * 16 + "Gm7 Eb Ab Db Gb Cb E A D"
    late = [replace(e, at=e.at + (0.03 if e.at else 0.0)) for e in comping(chart)]
    out = heard_from(bass_player(pocket=0.0), late, until=50.0)

    firsts = [next(p for p in plays(out) if p.beat >= 4 * i - 0.1) for i in range(1, 25)]
    assert all(first.at - 2.0 * i < 0.02 for i, first in enumerate(firsts, start=1))


def test_a_change_of_metre_breaks_no_expectation() -> None:
    """What was foreseen on the bar line stands there, three beats to the bar or four."""
    form = comping("Bb Bb Eb F7") + comping("Bb Bb Eb F7", start=8.0)
    metre = [NewMetre(16.0 + 1e-7, Metre(3, 4))]
    out = heard_from(bass_player(), in_time(form, comping("Bb", start=16.0), metre), until=17.5)

    first = next(p for p in plays(out) if p.beat >= 31.9)
    assert (first.note % 12, round(first.beat)) == (10, 32)
    assert [o.beat for o in out if isinstance(o, Beat) and o.beat >= 31] == [31, 32, 33, 34, 35]


def test_a_waltz_has_three() -> None:
    """In three-four every third beat is a bar line."""
    events = [NewMetre(0.0, Metre(3, 4)), *comping("Bb Cm7 F7 Bb", beats_each=3)]
    out = heard_from(bass_player(), events, until=6.0)

    assert [o.count for o in out if isinstance(o, Beat)][:6] == [1, 2, 3, 1, 2, 3]
    assert first_notes(out, 3, 4) == [10, 0, 5, 10]


def test_same_events_and_seed_same_part() -> None:
    """Played twice the same way, the part is the same to the last digit; another seed differs."""
    events = comping(TURNAROUND)
    takes = [heard_from(bass_player(seed=s), events, until=16.0) for s in (3, 3, 4)]

    assert takes[0] == takes[1]
    assert takes[0] != takes[2]


@pytest.mark.slow
@settings(max_examples=25, deadline=None)
@given(st.lists(st.floats(0.0, 8.0), max_size=40))
def test_extra_ticks_are_inaudible(times: list[float]) -> None:
    """Looking at the watch more often changes nothing in the part."""
    events = comping("Bb Gm7 Cm7 F7")
    spread = in_time(events, [Tick(t) for t in times])

    assert heard_from(bass_player(), spread, 8.1) == heard_from(bass_player(), events, 8.1)


STYLES = {name: load(name) for name in names()}
STRATEGIES = st.one_of(
    st.builds(NoteOn, st.just(0.0), st.integers(0, 127), st.integers(0, 127), st.integers(0, 1)),
    st.builds(NoteOn, st.just(0.0), st.integers(40, 70), st.integers(1, 127)),
    st.builds(NoteOff, st.just(0.0), st.integers(40, 70)),
    st.builds(
        Control,
        st.just(0.0),
        st.sampled_from([1, 64, 120, 121, 123]),
        st.integers(0, 127),
    ),
    st.builds(ClockTick, st.just(0.0)),
    st.builds(SongPosition, st.just(0.0), st.integers(0, 400)),
    st.builds(Start, st.just(0.0)),
    st.builds(Continue, st.just(0.0)),
    st.builds(Stop, st.just(0.0)),
    st.builds(Tick, st.just(0.0)),
    st.builds(NewStyle, st.just(0.0), st.sampled_from(list(STYLES.values()))),
    st.builds(
        NewMetre,
        st.just(0.0),
        st.builds(Metre, st.integers(1, 12), st.sampled_from([4, 8])),
    ),
)


@st.composite
def playing(draw: st.DrawFn) -> list[Incoming]:
    """Any sequence of events, at times that mostly rise."""
    drawn = draw(st.lists(STRATEGIES, max_size=60))
    at = 0.0
    events: list[Incoming] = []
    for event in drawn:
        at += draw(st.sampled_from([0.0, 0.0, 0.001, 1 / 48, 0.02, 0.3, 2.0, -0.01, -1.0]))
        events.append(type(event)(at, *[getattr(event, f) for f in event.__slots__[1:]]))
    return events


def is_on_the_neck(note: Play, styles: Sequence[Style]) -> bool:
    """Whether it lies in the register of one of the styles, where that one's neck has it."""
    string, fret = note.written.string, note.written.fret
    return any(
        style.register.lowest <= note.note <= style.register.highest
        and string <= len(style.neck.tuning)
        and fret <= style.neck.frets
        and style.neck.tuning[string - 1] + fret == note.note
        for style in styles
    )


# How the bassist is asked for: sent early, by a pupil, and begun by taps.
ASKED = st.fixed_dictionaries(
    {
        "external_clock": st.booleans(),
        "lead": st.sampled_from([0, 0, 1, 3]),
        "grade": st.sampled_from(Grade),
        "taps": st.booleans(),
    }
)


@pytest.mark.slow
@settings(max_examples=100, deadline=None)
@given(playing(), ASKED, st.sampled_from(names()))
def test_whatever_comes_in_is_legal_music(
    events: list[Incoming], asked: dict[str, object], preset: str
) -> None:
    """No input breaks the player.

    One note at a time, each released, on the neck, none but a slide begun bent, in time that never
    runs back, and silence after the end.
    """
    bassist = bass_player(preset, 1, bend_range=12, **asked)
    end = max((e.at for e in events), default=0.0) + 1.0
    styles = [STYLES[preset], *(e.style for e in events if isinstance(e, NewStyle))]
    out = heard_from(bassist, events, end)

    assert sounding_at_most_once(out)
    assert all(slid == (bent != 0) for slid, bent in begun_bent(out))
    times = [o.at for o in out]
    assert times == sorted(times)
    assert all(is_on_the_neck(play, styles) for play in plays(out))
    assert bassist.next_deadline() is None


@pytest.mark.slow
def test_random_bars_never_sound_two_notes() -> None:
    """A hundred chords at any moment, one bass note at a time."""
    random = Random(11)
    at = 0.0
    events: list[Incoming] = []
    for _ in range(100):
        notes = random.sample(range(36, 80), 4)
        events += [NoteOn(at, n) for n in notes]
        at += random.choice([0.05, 0.21, 0.5, 1.0])
        events += [NoteOff(at, n) for n in notes]
    out = heard_from(bass_player(), events, at + 1)

    assert len(plays(out)) > 50
    assert sounding_at_most_once(out)


def chart_of(chords: str) -> Chart:
    """A chart of one section, each chord a bar."""
    bars = tuple(Bar(((Fraction(0), parse_symbol(name)),)) for name in chords.split())
    return Chart((Section("Verse", bars),))


def test_a_chord_goes_by_the_name_it_has_in_the_chart() -> None:
    """F#m over B has the keys of Bm9: it is what the chart says, and is what it sounds without."""
    song = "A F#m/B E7 A " * 2
    chart = Foresight(chart=chart_of(song))

    def names_of(bassist: Bassist) -> list[str]:
        told = heard_from(bassist, comping(song), until=16)
        return [symbol(o.chord, Key(9)) for o in told if isinstance(o, ChordHeard)]

    assert "F#m/B" in names_of(bass_player(foresight=chart))
    assert "F#m/B" not in names_of(bass_player())


# Rootless hands, as they are near one another: the third or the seventh below, the ninth on top.
ROOTLESS = {
    "Fm7": (56, 60, 63, 67), "Bb7": (56, 60, 62, 67), "Ebmaj7": (55, 58, 62, 65),
    "Cm7": (58, 62, 63, 67), "Gm7": (58, 62, 65, 69), "C7": (58, 62, 64, 69),
}  # fmt: skip


@pytest.mark.parametrize("tones", [4, 2], ids=["with tensions", "thirds and sevenths"])
def test_who_plays_the_chart_without_roots_gets_them_from_the_bass(tones: int) -> None:
    """Ab C Eb G is the Fm7 that is written, and G Bb D F the Ebmaj7, from the first time on."""
    song = "Fm7 Bb7 Ebmaj7 Cm7 Gm7 C7 Fm7 Bb7 " * 3
    hands = {name: (hand if tones == 4 else guides(name, hand)) for name, hand in ROOTLESS.items()}
    keys: list[Incoming] = []
    for bar, name in enumerate(song.split()):
        keys += [NoteOn(2.0 * bar, n) for n in hands[name]]
        keys += [NoteOff(2.0 * bar + 1.95, n) for n in hands[name]]
    foresight = Foresight(chart=chart_of(song))
    begun = plays(heard_from(bass_player("walking", foresight=foresight), keys, until=47.9))

    written = [parse_symbol(name).root for name in song.split()]
    due = {4 * bar: root for bar, root in enumerate(written)}
    assert {beat: note.note % 12 for note in begun if (beat := note.written.beat) in due} == due


def guides(name: str, hand: tuple[int, ...]) -> tuple[int, ...]:
    """The third and the seventh of a chord, as a hand has them."""
    root = parse_symbol(name).root
    return tuple(note for note in hand if (note - root) % 12 in {3, 4, 10, 11})


def test_a_solo_of_single_notes_keeps_the_form_of_the_chart() -> None:
    """After two choruses of chords two of eighths, chord tones on the beats, with some left out."""
    chorus = "Ebmaj7 Cm7 Fm7 Bb7 Gm7 C7 Fm7 Bb7 Bbm7 Eb7 Abmaj7 Db7 Gm7 C7 Fm7 Bb7 "
    keys, dice = comping(chorus * 2), Random(1)
    for bar, name in enumerate((chorus * 2).split(), 32):
        for eighth in range(8):
            begins = 2 * bar + eighth / 4
            note = of_a_solo(parse_symbol(name), dice, on_beat=eighth % 2 == 0)
            if dice.random() < 0.8:
                keys += [NoteOn(begins, note), NoteOff(begins + 0.22, note)]
    player = bass_player("walking", foresight=Foresight(chart=chart_of(chorus)))
    begun = plays(heard_from(player, in_time(keys), until=127.9))

    first = {int(p.written.beat) // 4: p.note % 12 for p in begun if p.written.beat % 4 == 0}
    roots = [parse_symbol(name).root for name in chorus.split()] * 4
    met = [first.get(bar) == roots[bar] for bar in range(32, 64)]
    assert sum(met) >= 28


def of_a_solo(chord: Chord, dice: Random, *, on_beat: bool) -> int:
    """A note above G4: a tone of the chord on a beat, else of a scale that it has."""
    minor = 3 in chord.quality.intervals
    scale = Key((chord.root + 10 * minor) % 12).scale  # ionian, or dorian
    tone = dice.choice(sorted(chord.pitch_classes) if on_beat else scale)
    return 67 + (tone - 67) % 12


@pytest.mark.parametrize("later", [0.012, 0.018])
def test_a_left_hand_behind_the_right_finds_the_bass_on_its_root(later: float) -> None:
    """Third, fifth and seventh first, the low root a little after them: no third is played."""
    song = "Bbmaj7 Gm7 Ebmaj7 F7 Dm7 Gm7 Cm7 F7 " * 2
    keys = [
        replace(e, at=e.at + later) if isinstance(e, NoteOn) and e.note < 48 else e
        for e in comping(song)
        if not isinstance(e, NoteOn | NoteOff) or e.note < 48 or not is_root(e, song)
    ]
    foresight = Foresight(chart=chart_of(song))
    player = bass_player("walking", foresight=foresight)
    begun = plays(heard_from(player, sorted(keys, key=lambda e: e.at), until=31.9))

    roots = [parse_symbol(name).root for name in song.split()]
    first = {bar: [p.note % 12 for p in begun if p.written.beat == 4 * bar] for bar in range(2, 16)}
    assert first == {bar: [roots[bar]] for bar in range(2, 16)}


def is_root(key: NoteOn | NoteOff, song: str) -> bool:
    """Whether a key is the root of the chord that it is struck or let go with."""
    bar = int(key.at / 2 - 0.1 * isinstance(key, NoteOff))
    return key.note % 12 == parse_symbol(song.split()[bar]).root


def test_chords_that_are_sent_early_are_what_they_spell() -> None:
    """F#m over B stays F#m/B from bar line to bar line, each time round."""
    out = heard_from(bass_player(lead=1), comping("A F#m/B E7 A " * 2), until=16)
    names = [symbol(o.chord, Key(9)) for o in out if isinstance(o, ChordHeard)]
    assert names == ["A", "F#m/B", "E7", "A", "F#m/B", "E7", "A"]


def begun_bent(out: list[Outgoing]) -> list[tuple[bool, float]]:
    """For each note whether it is slid into, and how far the pitch is bent when it begins."""
    begun, bent = [], 0.0
    for o in out:
        if isinstance(o, Bend):
            bent = o.semitones
        elif isinstance(o, Play):
            begun.append((o.written.articulation is Articulation.SLID, bent))
    return begun


def test_a_slide_is_heard_as_a_bend_that_always_ends() -> None:
    """Every note but a slide is struck unbent, and when the music stops nothing is."""
    chart = "Gm7 C7 F6 Dm7 " * 6
    style = load("gospel")
    style = replace(style, touch=replace(style.touch, slides=1))
    bassist = Bassist(style, Random(1), tempo=TEMPO, bend_range=12)
    out = heard_from(bassist, comping(chart), until=20)

    slides = begun_bent(out)
    assert sum(slid for slid, _ in slides) > 3
    assert all(slid == (bent != 0) for slid, bent in slides)
    assert [o.semitones for o in out if isinstance(o, Bend)][-1] == 0
    assert [o.at for o in out] == sorted(o.at for o in out)


def test_bends_change_nothing_else() -> None:
    """The notes are the same with and without."""
    events = comping("Gm7 C7 F6 Dm7 " * 3)
    plain = heard_from(bass_player("neo-soul"), events, until=20)
    bent = heard_from(bass_player("neo-soul", bend_range=7), events, until=20)

    assert plays(plain) == plays(bent)
    assert any(isinstance(o, Bend) for o in bent)
    assert not any(isinstance(o, Bend) for o in plain)


@pytest.mark.parametrize("pause_after", [25.0, 25.5, 26.0, 26.3])
@pytest.mark.parametrize("located", [False, True])
def test_a_pause_keeps_the_place_in_the_chart(pause_after: float, *, located: bool) -> None:
    """Stopped within the seventh bar and continued there, the eighth is landed on without a key."""
    song = "Bb Eb Bb Gm Bb Eb Bb F#7 Bb"
    bassist = bass_player(external_clock=True, foresight=Foresight(chart=chart_of(song)))
    pause, again = pause_after * BEAT_SECONDS, 60.0
    place = [SongPosition(again, int(pause_after * 4))] if located else []
    resumed = again - (int(pause_after * 4) / 4 if located else pause_after) * BEAT_SECONDS
    played = [e for e in in_time(clock(32), comping(song[:-2])) if e.at <= pause]
    ticks = [ClockTick(resumed + i * BEAT_SECONDS / 24) for i in range(29 * 24)]
    later: list[Incoming] = [*place, Continue(again), *(t for t in ticks if t.at > again)]
    told = heard_from(bassist, [*played, Stop(pause + 0.001), *later], until=resumed + 14.4)

    landed = [p for p in plays(told) if p.written.beat >= 28]
    assert landed[0].written.beat == 28
    assert landed[0].written.chord == parse_symbol("F#7")
