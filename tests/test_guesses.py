"""A change that is guessed in vain while a chord stays, and what the bass makes of it then."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from engine.events import ChangeExpected, Forecast, Outgoing
from engine.listening.ahead import Ahead
from engine.listening.foretold import Foretold
from engine.theory.harmony import Chord
from engine.theory.symbols import parse_symbol
from tests.band import bass_player, comping, heard_from, plays

BARS = 6


def after(foretold: str, shift: int = 0) -> tuple[Ahead, Chord]:
    """What is known after beats of F#dim7, each with what was foretold of it: "G .4, Em .3"."""
    ahead, chord = Ahead(), parse_symbol("F#dim7").transposed(shift)
    ahead.settle(Foretold(), chord.root)
    for guess in foretold.split(", "):
        ahead.settle(Foretold(forecast(guess, shift)), chord.root)
    return ahead, chord


def forecast(guess: str, shift: int = 0) -> Forecast:
    """A chord foretold so surely: "G .4"; "-" for none."""
    name, sure = guess.split()
    chord = None if name == "-" else parse_symbol(name).transposed(shift)
    return Forecast(Fraction(8), chord, float(sure))


@pytest.mark.parametrize("shift", range(12))
@pytest.mark.parametrize(
    ("foretold", "guess", "played_by"),
    [
        ("G .4, G .3", "G .4", False),
        ("G .4, G .3", "G7 .4", False),  # whichever of its chords
        ("G .4, G .3", "G .55", False),
        ("G .4, G .3", "G .6", True),  # the odds are more than twice what they were
        ("G .6, G .9", "G .9", False),
        ("G .4", "G .4", True),  # once is no rule
        ("G .4, F#dim7 .7, Em .4", "G .4", True),
        ("G .4, Em .4, G .4", "Em .4", True),
        ("G .4, G .4", "- .4", True),
    ],
)
def test_who_guessed_a_change_twice_in_vain_waits_for_the_keys(
    foretold: str, guess: str, shift: int, *, played_by: bool
) -> None:
    """F#dim7 stays where G was expected, and stays again: a third G has to be likelier."""
    ahead, chord = after(foretold, shift)
    told = (forecast("F#dim7 .9", shift), forecast(guess, shift), forecast("C .2", shift))
    ahead.told = told
    taken = ahead.taken(chord)

    assert (taken == told) is played_by
    if not played_by:
        assert {f.chord for f in taken} == {chord}
        assert taken[1].confidence == pytest.approx(1 - told[1].confidence)


def test_another_chord_is_another_question() -> None:
    """After two guesses in vain under F#dim7 a B7 comes: under that a G is worth a guess."""
    ahead, _ = after("G .4, G .4")
    ahead.told = (forecast("G .4"),)
    b7 = parse_symbol("B7")

    assert ahead.taken(b7) == ahead.told
    ahead.settle(Foretold(), b7.root)
    assert ahead.taken(b7) == ahead.told
    assert ahead.taken(None) == ahead.told


def held(loop: str, last: str, late: float, pocket: float) -> list[Outgoing]:
    """What the bass makes of a loop, three times played, whose last chord then stays."""
    chords = comping(f"{loop} " * 3)
    at = chords[-1].at
    keys = [*chords, *comping(last, beats_each=4 * BARS, start=at)]
    keys = [replace(e, at=e.at + (late if e.at else 0.0)) for e in keys]
    return heard_from(bass_player("rock", pocket=pocket), keys, until=at + 2 * BARS - 0.1)


@pytest.mark.parametrize(
    ("loop", "last", "late", "pocket"),
    [
        ("G Bm Em F#dim7", "F#dim7", 0.0, 0.0),
        ("Bb Dm Gm Adim7", "Adim7", 0.0, 0.0),
        ("Gm F Eb D7", "D7", 0.04, 0.025),
    ],
)
def test_a_chord_that_stays_is_not_left_on_every_bar_line(
    loop: str, last: str, late: float, pocket: float
) -> None:
    """A dominant is held for six bars where the loop goes home: the bass goes there twice at most.

    What is expected is told all the while.
    """
    out = held(loop, last, late, pocket)
    start = 4 * 3 * len(loop.split())
    home, chord = parse_symbol(loop.split(maxsplit=1)[0]), parse_symbol(last)

    gone = {p.written.beat // 4 for p in plays(out) if p.written.chord.root != chord.root}
    assert len([bar for bar in gone if bar >= start // 4]) <= 2
    told = [o for o in out if isinstance(o, ChangeExpected) and o.beat > start + 12]
    assert home.root in {o.chord.root for o in told}
