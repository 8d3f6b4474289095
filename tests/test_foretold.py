"""Foretold: what was expected of a beat, held against what its keys say."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from engine.events import Forecast
from engine.hearing.ear import Ear
from engine.listening.foretold import Foretold
from engine.theory.harmony import Chord, Key
from engine.theory.symbols import parse_symbol, symbol
from engine.timing import Timing
from tests.band import Pianist

BEAT = Fraction(4)


def foretold(name: str, sure: float = 0.95, before: str = "Bb") -> Foretold:
    """A chord foretold so surely, "-" for none, after another."""
    chord = None if name == "-" else parse_symbol(name)
    return Foretold(Forecast(BEAT, chord, sure), parse_symbol(before))


def after_a_bar(notes: str) -> Ear:
    """The ear of one who hears a bar of B flat, and then these keys on its bar line, if any."""
    player = Pianist().at(0).play("46 58 62 65").at(3.7).play("").at(4).play(notes)
    player.at(4.02).hears()
    return player.ear


def timing_of(late: float, apart: float) -> Timing:
    """What is known of a player whose keys come late, or one by one, so often."""
    timing = Timing()
    timing.late, timing.apart = late, apart
    return timing


@pytest.mark.parametrize(("name", "sure", "rests"), [
    ("-", 0.6, True), ("-", 0.4, False), ("Eb", 0.6, False),
])  # fmt: skip
def test_a_rest_is_one_that_is_believed(name: str, sure: float, *, rests: bool) -> None:
    """A silence that is as likely as not, and no chord."""
    assert foretold(name, sure).rest == (BEAT if rests else None)
    assert Foretold().rest is None


@pytest.mark.parametrize(("name", "sure", "changes"), [
    ("Eb", 0.6, True), ("Eb", 0.4, False), ("Bb7", 0.9, False), ("-", 0.9, False),
])  # fmt: skip
def test_a_change_is_another_root_that_is_believed(
    name: str, sure: float, *, changes: bool
) -> None:
    """Another colour of the same root is none, nor is silence."""
    assert foretold(name, sure).changes is changes
    assert not Foretold(None, parse_symbol("Bb")).changes


def test_what_is_as_good_as_certain_needs_no_keys() -> None:
    """Nine in ten."""
    assert foretold("Eb", 0.9).sure
    assert not foretold("Eb", 0.89).sure
    assert not Foretold().sure


def test_a_key_that_is_held_speaks_as_well() -> None:
    """D is held over the bar line under B flat and G: that is G minor, and not E flat."""
    player = Pianist().at(0).play("46 58 62 65").at(3.7)
    player.lift(46).lift(58).lift(65).at(4).strike(46).strike(55).at(4.02).hears()
    heard = replace(player.ear.ended, chord=parse_symbol("Gm/Bb"))

    assert foretold("Eb/Bb", 0.85).named(heard, player.ear) == heard


@pytest.mark.parametrize(("low", "named"), [("46 ", "Dmaj7"), ("", "Bm9")])
def test_who_leaves_the_bass_to_us_is_taken_at_the_chart_s_word(low: str, named: str) -> None:
    """D, F#, A and C# without a low key are Bm9, where that is due: nobody has played a D."""
    player = Pianist().at(4).play(f"{low}58 62 65").at(9).play("57 61 62 66").at(9.02)
    player.hears()
    heard = replace(player.ear.ended, chord=parse_symbol("Dmaj7"))
    told = Foretold(Forecast(Fraction(9), parse_symbol("Bm9"), 0.95), parse_symbol("Bb"))

    chord = told.named(heard, player.ear).chord
    assert chord is not None
    assert symbol(chord, Key(2)) == named


@pytest.mark.parametrize(("low", "named"), [("43 ", "Bbmaj7"), ("", "Gm7")])
def test_a_root_may_be_left_to_us_too(low: str, named: str) -> None:
    """B flat, D, F and A where Gm7 is due are its tones and its ninth; over a low key they tell."""
    player = Pianist().at(4).play(f"{low}58 62 65").at(9).play("58 62 65 69").at(9.02)
    player.hears()
    heard = replace(player.ear.ended, chord=parse_symbol("Bbmaj7"))
    due = Forecast(Fraction(9), parse_symbol("Gm7"), 0.95)
    told = Foretold(due, parse_symbol("F"), charted=True)

    chord = told.named(heard, player.ear).chord
    assert chord is not None
    assert symbol(chord, Key(10)) == named


def test_who_holds_a_low_key_has_not_left_the_bass() -> None:
    """D2 is a drone under all of it: struck long ago, it sounds, and D, F#, A and C# lie on it."""
    player = Pianist().at(0).play("38 57 62 66").at(12)
    player.strike(61).at(12.02).hears()

    assert not player.ear.leaves_the_bass


@pytest.mark.parametrize(("notes", "name", "sure", "named"), [
    ("46 55 63", "Eb/Bb", 0.85, "Eb/Bb"),  # B flat, G and E flat
    ("46 55", "Eb/Bb", 0.85, "Eb/Bb"),  # the first two of them
    ("46 55", "Eb/Bb", 0.4, "Gm/Bb"),  # but who expects it that little cannot tell
    ("46 55", "Eb", 0.85, "Gm/Bb"),  # E flat is not in the bass
    ("46 55 60", "Eb/Bb", 0.85, "Gm/Bb"),  # C is none of its tones
])  # fmt: skip
def test_keys_that_a_chord_foretold_has_over_its_bass_bear_its_name(
    notes: str, name: str, sure: float, named: str
) -> None:
    """Whatever else they could be: G minor, as the ear would have it."""
    ear = after_a_bar(notes)
    heard = replace(ear.ended, chord=parse_symbol("Gm/Bb"))

    chord = foretold(name, sure).named(heard, ear).chord
    assert chord is not None
    assert symbol(chord, Key(10)) == named


@pytest.mark.parametrize(("notes", "sure", "late", "apart", "waits"), [
    ("", 0.6, 0.0, 0.0, True),  # nothing sounds: nothing speaks against it
    ("", 0.4, 0.0, 0.0, False),
    ("39", 0.8, 0.0, 0.5, True),  # its root, by who rolls chords
    ("39", 0.8, 0.5, 0.0, False),  # by who strikes them at once
    ("39 55 58", 0.8, 0.0, 0.5, False),  # three keys are a chord
    ("41", 0.8, 0.0, 0.5, False),  # F is none of its tones
    ("43", 0.8, 0.0, 0.5, False),  # G is one, but in the bass it begins another chord
    ("43 46", 0.8, 0.0, 0.5, False),
    ("55", 0.8, 0.0, 0.5, True),  # higher up it may be the first of E flat
])  # fmt: skip
def test_a_chord_foretold_is_waited_for_while_its_keys_may_come(
    notes: str, sure: float, late: float, apart: float, *, waits: bool
) -> None:
    """E flat is foretold, and as yet it sounds like B flat."""
    ear, timing = after_a_bar(notes), timing_of(late, apart)
    chord: Chord = parse_symbol("Bb")

    assert foretold("Eb", sure).may_come_yet(chord, ear, timing, late=False) is waits
    if notes:
        assert not foretold("Eb", sure).may_come_yet(chord, ear, timing, late=True)
    assert not foretold("Bb7", sure).may_come_yet(chord, ear, timing, late=False)


@pytest.mark.parametrize(("notes", "sure", "waits"), [
    ("58 62 67", 0.95, True),  # all of E flat's seventh chord but its root
    ("58 62 67", 0.8, False),  # who is not that sure goes by what is heard
    ("39 58 62 67", 0.95, False),  # the root is there
    ("57 62 65", 0.95, False),  # D minor: another chord
])  # fmt: skip
def test_a_hand_that_plays_what_is_due_waits_for_the_other(
    notes: str, sure: float, *, waits: bool
) -> None:
    """The right hand is a few milliseconds ahead, and sounds like G minor alone."""
    ear, timing, gm = after_a_bar(notes), Timing(), parse_symbol("Gm")
    due = foretold("Ebmaj7", sure)

    assert due.may_come_yet(gm, ear, timing, late=False, again=True) is waits
    assert not due.may_come_yet(gm, ear, timing, late=False, again=False)


def test_who_has_no_left_hand_is_not_waited_for() -> None:
    """Two bars without a low key: none is to come."""
    player = Pianist().at(0).play("58 62 65").at(9).play("58 62 67").at(9.02)
    player.hears()
    due = Foretold(Forecast(Fraction(9), parse_symbol("Ebmaj7"), 0.95), parse_symbol("Bb"))

    gm = parse_symbol("Gm")
    assert not due.may_come_yet(gm, player.ear, Timing(), late=False, again=True)


def test_in_silence_a_bar_line_brings_the_likeliest_chord() -> None:
    """Who strikes between the beats only leaves it silent: four in ten for E flat will do there."""
    ear, timing = after_a_bar(""), Timing()
    chord: Chord = parse_symbol("Bb")
    likeliest = Foretold(Forecast(BEAT, parse_symbol("Eb"), 0.4), bar_line=True)

    assert likeliest.may_come_yet(chord, ear, timing, late=False)
    assert not likeliest.may_come_yet(chord, after_a_bar("41 58 62 65"), timing, late=False)


def test_keys_not_struck_yet_may_come_from_who_is_often_late() -> None:
    """The chord before is held over the bar line."""
    player = Pianist().at(0).play("46 58 62 65").at(4.02)
    player.hears()

    for late, waits in ((0.5, True), (0.0, False)):
        timing = timing_of(late, 0.0)
        chord = parse_symbol("Bb")
        assert foretold("Eb", 0.8).may_come_yet(chord, player.ear, timing, late=False) is waits


def test_a_root_that_is_heard_faintly_does_not_stand_against_a_sure_one() -> None:
    """Against what is not played by, or was not foretold, any root stands."""
    ear = after_a_bar("39 55 58 63")
    faint, clear, other = (parse_symbol(name) for name in ("Bb", "Eb", "F"))

    assert foretold("Bb", 0.9).yields_to(clear, faint, ear)
    assert not foretold("Eb", 0.9).yields_to(faint, clear, ear)
    assert foretold("Eb", 0.9).yields_to(faint, other, ear)
    assert Foretold().yields_to(faint, clear, ear)


def test_another_chord_over_the_bass_that_is_played_takes_nothing_from_it() -> None:
    """F was guessed, and Eb/F is heard: the bass is on F either way, and now knows the rest."""
    ear = after_a_bar("41 55 58 63")
    heard, played = parse_symbol("Eb/F"), parse_symbol("F")

    assert foretold("F", 0.4).yields_to(heard, played, ear)
