"""Foresight: what it expects of songs we make up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from random import Random

import numpy as np
import pytest

from engine.events import Forecast
from engine.foresight.chart import Bar, Chart, Section
from engine.foresight.outlook import Foresight
from engine.foresight.standing import Present
from engine.listening.foretold import SURE
from engine.theory.harmony import QUALITY_BY_SUFFIX, Chord, Key
from engine.theory.meter import FOUR_FOUR, Metre, Moment
from engine.theory.pitch import pitch_class_of_name

KEY = Key(10)


def chord(symbol: str) -> Chord:
    """Read a plain chord symbol."""
    cut = 2 if symbol[1:2] in ("b", "#") else 1
    return Chord.of(pitch_class_of_name(symbol[:cut]), QUALITY_BY_SUFFIX[symbol[cut:]])


def bars(text: str) -> list[Chord]:
    """Read bars of four beats such as "Bb | Gm Cm7", each shared evenly by its chords."""
    out: list[Chord] = []
    for bar in text.split("|"):
        names = bar.split()
        out += [chord(n) for n in names for _ in range(4 // len(names))]
    return out


def play(
    foresight: Foresight, beats: Sequence[Chord], start: int = 0, confidence: float = 1.0
) -> None:
    """Commit quarter-note beats in 4/4."""
    for i, sounding in enumerate(beats, start):
        foresight.commit(Fraction(i), Fraction(i % 4), FOUR_FOUR, sounding, confidence=confidence)


def at(beat: float, metre: Metre = FOUR_FOUR) -> Moment:
    """The moment at a beat of a song without odd bars."""
    bar = int(beat // metre.bar)
    return Moment(beat * 0.5, beat, bar * metre.bar, bar, metre, 0.5)


def now(
    beat: float, chord: Chord | None, confidence: float = 1.0, coming: np.ndarray | None = None
) -> Present:
    """A chord that sounds at a beat in 4/4."""
    return Present(at(beat), chord, KEY, confidence, coming)


LOOP = bars("Bb | Gm | Cm7 F7 | Bb Eb")


@pytest.mark.parametrize("shift", range(12))
def test_a_loop_is_known_the_second_time_round(shift: int) -> None:
    """After a loop was heard twice, every beat of the next two bars is called, in any key."""
    song = [c.transposed(shift) for c in LOOP * 4]
    foresight = Foresight()
    play(foresight, song[:36])

    seen = foresight.look(now(36, song[36]), 8)

    assert [f.beat for f in seen] == [Fraction(b) for b in range(37, 45)]
    assert [f.chord for f in seen] == song[37:45]


@pytest.mark.parametrize("beat", [20, 24, 33, 47])
def test_what_follows_a_chord_that_was_hardly_heard_is_less_sure(beat: int) -> None:
    """A loop in its second or third round: the more the chord that sounds is in doubt, the less."""
    sure = []
    for confidence in (1.0, 0.9, 0.6, 0.3):
        foresight = Foresight()
        play(foresight, (LOOP * 4)[:beat])
        [after] = foresight.look(now(beat, (LOOP * 4)[beat], confidence), 1)
        sure.append(after.confidence)

    assert sure == sorted(sure, reverse=True)
    assert sure[0] - sure[-1] > 0.1


def test_twelve_eight_is_felt_in_four() -> None:
    """In 12/8 the forecasts lie a dotted quarter apart."""
    metre = Metre(12, 8)
    seen = Foresight().look(Present(at(0, metre), chord("Eb"), KEY, 1.0), 4)

    assert [f.beat for f in seen] == [Fraction(3 * i, 2) for i in range(1, 5)]


@pytest.mark.slow
def test_a_song_longer_than_memory_goes_on() -> None:
    """Old beats are let go and the loop is still known."""
    foresight = Foresight()
    play(foresight, LOOP * 140)

    seen = foresight.look(now(2240, LOOP[0]), 4)

    assert [f.chord for f in seen] == LOOP[1:5]


@pytest.mark.slow
def test_an_hour_of_one_looped_bar_goes_on() -> None:
    """Each lap begins with the chord that ended the one before; so it may for ever."""
    foresight = Foresight()
    for _ in range(2200):
        foresight.relocate(Fraction(0))
        play(foresight, [chord("Em7")] * 4)

    ahead = foresight.look(Present(at(3), chord("Em7"), Key(4, minor=True), 1.0), 4)
    assert {f.chord for f in ahead} == {chord("Em7")}


@pytest.mark.parametrize(("beat", "follows"), [(8, "Db"), (24, "Gm")])
def test_a_sequencer_that_jumps_back_is_known(beat: int, follows: str) -> None:
    """After a jump to a place played before, what came after it is expected, not what came last."""
    foresight = Foresight()
    play(foresight, bars("Bb | Eb | Ab | Db | Cm7 | F7 | Ab | Gm"))
    foresight.relocate(Fraction(beat))
    for i in range(beat, beat + 3):
        foresight.commit(Fraction(i), Fraction(i % 4), FOUR_FOUR, chord("Ab"))

    seen = foresight.look(now(beat + 3, chord("Ab")), 1)

    assert seen[0].chord == chord(follows)


def test_the_transposed_verse_is_known() -> None:
    """A verse taken up a tone is expected to go on as the verse did."""
    verse = bars("Eb | Cm | Ab | Bb7 | Gm | Cm | Fm7 | Bb7")
    foresight = Foresight()
    play(foresight, verse * 2)
    lifted = [c.transposed(2) for c in verse]
    play(foresight, lifted[:23], 64)

    seen = foresight.look(now(87, lifted[23]), 1)

    assert seen[0].chord == lifted[24]


def test_one_wrong_bar_does_not_lose_the_song() -> None:
    """A bar heard wrong once is forgiven: the loop is still expected after it."""
    foresight = Foresight()
    play(foresight, LOOP * 3)
    play(foresight, [*bars("E"), *LOOP[4:12]], 48)

    seen = foresight.look(now(60, LOOP[12]), 3)

    assert [f.chord for f in seen] == LOOP[13:16]


def test_confidence_falls_with_distance() -> None:
    """The farther ahead on the path, the less sure."""
    foresight = Foresight()
    play(foresight, LOOP * 2)

    seen = foresight.look(now(32, LOOP[0]), 8)

    assert all(0 < later.confidence <= sooner.confidence for sooner, later in pairwise(seen))


def test_looking_changes_nothing() -> None:
    """A chord that was only supposed leaves no trace in what is expected."""
    asked, unasked = Foresight(), Foresight()
    for foresight in (asked, unasked):
        play(foresight, LOOP * 2)
    asked.look(now(32, chord("E")), 8)

    assert asked.look(now(32, LOOP[0]), 8) == unasked.look(now(32, LOOP[0]), 8)


def expecting(root: int) -> np.ndarray:
    """An ear that all but knows what comes next."""
    coming = np.full(12, 0.005)
    coming[root] = 0.945
    return coming


def test_what_the_ear_expects_has_a_word() -> None:
    """When a song has just begun, that B flat stays is likelier if the ear expects no E flat."""
    odds = []
    for root in (3, 10):
        foresight = Foresight()
        play(foresight, LOOP[:3])
        [seen] = foresight.look(now(3, LOOP[0], 0.9, expecting(root)), 1)
        assert seen.chord is not None
        odds.append(seen.confidence if seen.chord.root == 10 else 1 - seen.confidence)
    assert odds[0] < odds[1]


def test_a_beat_weighed_before_the_ear_was_asked_is_weighed_again_when_it_was() -> None:
    """First without its word, then with it: the same as with it from the start."""
    asked_late, asked = Foresight(), Foresight()
    coming = expecting(3)
    for foresight in (asked_late, asked):
        play(foresight, LOOP[:3])
    without = asked_late.look(now(3, LOOP[0], 0.9), 2)
    late = asked_late.look(now(3, LOOP[0], 0.9, coming), 2)

    assert late == asked.look(now(3, LOOP[0], 0.9, coming), 2) != without


def test_a_beat_that_was_amended_is_remembered_as_what_it_was() -> None:
    """Of each bar the first beat is first taken for the chord before: all is as if it never was."""
    amended, told = Foresight(), Foresight()
    song = LOOP * 3
    for i, heard in enumerate(song):
        left_out = i % 4 == 0 and i > 0
        play(amended, [song[i - 1] if left_out else heard], i)
        if left_out:
            amended.amend(heard, 1)
        play(told, [heard], i)

    seen = [f.look(now(48, LOOP[0]), 8) for f in (amended, told)]
    assert seen[0] == seen[1]
    assert [f.chord for f in seen[0]] == LOOP[1:9]


def test_all_beats_of_a_bar_can_be_amended() -> None:
    """Three beats are left out and the fourth brings the chord of the whole bar: it is learned."""
    amended, told = Foresight(), Foresight()
    song = bars("Eb | Cm | Ab | Bb7") * 3
    for i, heard in enumerate(song):
        bar = i // 4 * 4
        play(amended, [heard if i % 4 == 3 or not bar else song[bar - 1]], i)
        if i % 4 == 2 and bar:
            amended.amend(song[bar], 3)
        play(told, [heard], i)

    seen = [f.look(now(48, song[0]), 8) for f in (amended, told)]
    assert seen[0] == seen[1]


def test_beats_that_were_amended_can_be_amended_again() -> None:
    """The last beat twice, then the last two."""
    amended, told = Foresight(), Foresight()
    play(amended, LOOP * 2)
    for beats in (1, 1, 2):
        amended.amend(chord("Db"), beats)
    play(told, [*LOOP, *LOOP[:14], chord("Db"), chord("Db")])

    seen = [f.look(now(32, LOOP[0]), 8) for f in (amended, told)]
    assert seen[0] == seen[1]


@pytest.mark.slow
def test_a_song_so_long_that_its_beginning_is_forgotten_can_be_amended() -> None:
    """An hour and more: the beats before are forgotten in between, and nothing is lost."""
    amended, told = Foresight(), Foresight()
    for i in range(2100):
        heard = LOOP[i % 16]
        play(amended, [chord("E") if i % 4 == 0 and i else heard], i)
        if i % 4 == 0 and i:
            amended.amend(heard, 1)
        play(told, [heard], i)

    seen = [f.look(now(2100, LOOP[2100 % 16]), 8) for f in (amended, told)]
    assert [f.chord for f in seen[0]] == [f.chord for f in seen[1]]


def test_there_is_nothing_to_amend_before_the_first_beat_and_after_a_jump() -> None:
    """What comes next is the same whether it was asked for or not."""
    asked, unasked = Foresight(), Foresight()
    asked.amend(chord("E"), 1)
    for foresight in (asked, unasked):
        play(foresight, LOOP * 2)
        foresight.relocate(Fraction(80))
    asked.amend(chord("E"), 1)

    assert asked.look(now(80, LOOP[0]), 4) == unasked.look(now(80, LOOP[0]), 4)


def test_a_look_in_two_steps_sees_what_one_look_sees() -> None:
    """Thinking a beat further at a time, with time between for keys, costs nothing of the view."""
    at_once, in_steps = Foresight(), Foresight()
    for i, heard in enumerate([*LOOP * 2, *bars("E"), *LOOP[4:]]):
        whole = at_once.look(now(i, heard), 8, weigh=2)
        in_steps.look(now(i, heard), 8, weigh=1)
        assert in_steps.look(now(i, heard), 8, weigh=1) == whole
        play(at_once, [heard], i)
        play(in_steps, [heard], i)


# A chart ------------------------------------------------------------------------------------

VERSE = Section("Verse", tuple(Bar(((Fraction(0), c),)) for c in bars("Eb | Cm | Ab | Bb7")[::4]))
BRIDGE = Section("Bridge", tuple(Bar(((Fraction(0), c),)) for c in bars("Gm | C7 | Fm | Db")[::4]))
SONG = Chart((VERSE, VERSE, BRIDGE, VERSE))
VERSE_BEATS = bars("Eb | Cm | Ab | Bb7")
BRIDGE_BEATS = bars("Gm | C7 | Fm | Db")


def test_a_chart_is_known_before_it_is_played() -> None:
    """With a chart the first change is expected though nothing was heard before."""
    foresight = Foresight(chart=SONG)
    play(foresight, VERSE_BEATS[:3])

    seen = foresight.look(now(3, VERSE_BEATS[3]), 1)

    assert seen[0].chord == chord("Cm")
    assert seen[0].confidence > 0.8


def test_the_player_may_start_at_the_bridge() -> None:
    """Two bars into the bridge the chart's next chord is expected."""
    foresight = Foresight(chart=SONG)
    play(foresight, BRIDGE_BEATS[:7])

    seen = foresight.look(now(7, BRIDGE_BEATS[7]), 1)

    assert seen[0].chord == chord("Fm")


@pytest.mark.parametrize("first", [1, 2, 3])
def test_a_song_that_begins_within_a_bar_is_followed_from_there(first: int) -> None:
    """A pick-up: nothing sounds before the second, third or fourth beat of the first bar."""
    foresight = Foresight(chart=SONG)
    play(foresight, VERSE_BEATS[first:7], first)

    seen = foresight.look(now(7, VERSE_BEATS[7]), 1)

    assert seen[0].chord == chord("Ab")
    assert seen[0].confidence > 0.8


def test_a_substitute_is_followed_by_the_written_chord() -> None:
    """After a chord that is not in the chart, the chart's next chord is expected in its bar."""
    foresight = Foresight(chart=SONG)
    played = [*VERSE_BEATS[:4], *bars("E7"), *VERSE_BEATS[8:]]
    play(foresight, played[:7])

    seen = foresight.look(now(7, played[7]), 1)

    assert seen[0].chord == chord("Ab")


def test_what_was_hardly_heard_speaks_little_against_a_chart() -> None:
    """Under a solo six guesses of ten are wrong: whoever is not sure of them stays in the chart."""
    sure, unsure = ([after_guesses(seed, c) for seed in range(8)] for c in (1.0, 0.4))
    stays = [seen.chord == chord("Gm") and seen.confidence > 0.9 for seen in (*sure, *unsure)]

    assert all(stays[8:])
    assert sum(stays[:8]) <= 4


def after_guesses(seed: int, confidence: float) -> Forecast:
    """What is expected of the second beat after a verse that was guessed at."""
    foresight, dice = Foresight(chart=SONG), Random(seed)
    play(foresight, VERSE_BEATS)
    for i, written in enumerate(VERSE_BEATS, 16):  # looked ahead at every beat, as live
        guess = written.transposed(dice.choice((3, 5, 7, 9)) if dice.random() < 0.6 else 0)
        foresight.look(now(i, guess), 8, weigh=1)
        play(foresight, [guess], i, confidence)
    return foresight.look(now(32, BRIDGE_BEATS[0]), 2)[1]


def test_without_a_chart_there_is_nothing_to_follow_or_to_begin_with() -> None:
    """With one its first chord is there, on every felt beat of its bar, until one was heard."""
    assert not Foresight().follows_chart
    assert Foresight().opening(at(0)) is None

    foresight = Foresight(chart=SONG)
    for beat in range(4):
        opening = foresight.opening(at(beat))
        assert opening is not None
        assert (opening.beat, opening.chord) == (Fraction(beat), chord("Eb"))
        assert opening.confidence > 0.5
    play(foresight, VERSE_BEATS[:1])
    assert foresight.opening(at(1)) is None


def test_who_replaces_chords_is_not_taken_at_the_charts_word() -> None:
    """The written chord is surer to come from who plays what is written than from who does not."""
    faithful, free = Foresight(chart=SONG), Foresight(chart=SONG)
    play(faithful, VERSE_BEATS * 2)
    play(free, [c.transposed(6 * (i % 8 < 4)) for i, c in enumerate(VERSE_BEATS * 2)])

    sure, unsure = (
        f.look(now(2 * len(VERSE_BEATS) + 3, VERSE_BEATS[3]), 1)[0].confidence
        for f in (faithful, free)
    )

    assert unsure < sure - 0.05


# The second bar of the first verse, a C minor on the chart, is an E7.
REHARMONISED = [*VERSE_BEATS[:4], *bars("E7"), *VERSE_BEATS[8:]]
AFTER_IT = [*VERSE_BEATS, *BRIDGE_BEATS, *VERSE_BEATS]


def second_bar(*choruses: list[Chord]) -> tuple[Forecast, Foresight]:
    """What is expected of the second bar after so many choruses, by their first verses."""
    foresight = Foresight(chart=SONG)
    played = [c for verse in choruses for c in (*verse, *AFTER_IT)]
    played += VERSE_BEATS[:3]
    for i, sounding in enumerate(played):  # looked ahead at every beat, as live
        for _ in range(2):
            foresight.look(now(i, sounding), 8, weigh=1)
        play(foresight, [sounding], i)
    return foresight.look(now(len(played), VERSE_BEATS[3]), 1)[0], foresight


def test_a_chord_that_always_comes_instead_is_pencilled_in() -> None:
    """Once it may be a whim, and nobody knows; the third time round it is expected."""
    once, _ = second_bar(REHARMONISED)
    twice, _ = second_bar(REHARMONISED, REHARMONISED)

    assert once.confidence < SURE
    assert twice.chord == chord("E7")
    assert twice.confidence > 0.7


def test_a_habit_is_forgotten_where_the_written_chord_comes_back() -> None:
    """Two choruses of E7 and two as written: the written one is expected again."""
    seen, _ = second_bar(REHARMONISED, REHARMONISED, VERSE_BEATS, VERSE_BEATS)

    assert seen.chord == chord("Cm")
    assert seen.confidence > 0.7


def test_a_habit_is_forgotten_also_where_only_a_seventh_was_to_come() -> None:
    """B7 for F7 after F twice, then F7 as written twice: F7 is expected on the root that stays."""
    written = bars("F | F7 | Bb | Gm")
    song = Section("Song", tuple(Bar(((Fraction(0), c),)) for c in written[::4]))
    foresight = Foresight(chart=Chart((song,)))
    instead = [*written[:4], *bars("B7"), *written[8:]]
    played = [*instead * 2, *written * 2, *written[:3]]
    play(foresight, played)

    seen = foresight.look(now(len(played), written[3]), 1)[0]

    assert seen.chord is not None
    assert seen.chord.root == chord("F").root


def test_what_is_pencilled_in_outlasts_a_jump() -> None:
    """The sequencer goes back to the start: the player's E7 is still the player's."""
    _, foresight = second_bar(REHARMONISED, REHARMONISED)
    foresight.relocate(Fraction(1000))
    play(foresight, VERSE_BEATS[:3], 1000)

    assert foresight.look(now(1003, VERSE_BEATS[3]), 1)[0].chord == chord("E7")


@pytest.mark.parametrize("name", ["Em7b5", "Em"])
def test_a_slash_chord_called_by_its_bass_is_as_written(name: str) -> None:
    """Gm over E may be heard as Em7b5, or any chord on E: the chart is trusted as before."""
    over_e = replace(chord("Gm"), bass=pitch_class_of_name("E"))
    written = [chord("Bb"), over_e, chord("Eb"), chord("F7")]
    verse = Section("Verse", tuple(Bar(((Fraction(0), c),)) for c in written))
    foresight = Foresight(chart=Chart((verse, verse, verse, BRIDGE)))
    heard = bars(f"Bb | {name} | Eb | F7") * 3
    play(foresight, heard[:47])

    seen = foresight.look(now(47, heard[47]), 1)

    assert seen[0].chord == chord("Gm")
    assert seen[0].confidence > 0.8


def test_a_loop_of_a_section_is_followed() -> None:
    """Played again unasked, the section is followed from its second chord on."""
    foresight = Foresight(chart=SONG)
    played = [*VERSE_BEATS * 2, *BRIDGE_BEATS, *BRIDGE_BEATS]
    play(foresight, played[:55])

    seen = foresight.look(now(55, played[55]), 1)

    assert seen[0].chord == chord("Fm")


def test_a_chart_of_another_song_is_given_up() -> None:
    """The ears decide: who plays something else is foreseen by what was played."""
    foresight = Foresight(chart=SONG)
    played = bars("A | D | E7 | F#m") * 6
    play(foresight, played[:91])

    seen = foresight.look(now(91, played[91]), 1)

    assert seen[0].chord == played[92]


def test_a_chart_needs_bars() -> None:
    """A chart or a section without bars is refused."""
    with pytest.raises(ValueError, match="has no bars"):
        Section("Verse", ())
    with pytest.raises(ValueError, match="has no bars"):
        Chart(())
