"""Chords that are struck ahead of the beat that they were foretold for, on one that is left out."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from engine.events import ChordHeard, Forecast, Heard, Outgoing
from engine.listening.ahead import Ahead
from engine.theory.harmony import Key
from engine.theory.symbols import parse_symbol, symbol
from tests.band import bass_player, comping, heard_from, plays

KEY = Key(6, minor=True)
LOOP = "F#m7 D A E F#m7 D Bm7 C#7"
EIGHTH = 0.25


@pytest.mark.parametrize("shift", range(12))
@pytest.mark.parametrize(("struck", "foretold", "sure", "pushed"), [
    ("D F# A", "D", 0.9, True),  # by themselves F#m7 over D
    ("D F# A", "D", 0.4, False),
    ("D F# A C", "D", 0.9, False),  # C is none of its tones
    ("D A", "D", 0.9, False),  # two may be a tune
    ("F# A C#", "Dmaj7", 0.9, False),  # F#m7 goes on, or does so as far as anybody can tell
    ("D F# A", "-", 0.9, False),
])  # fmt: skip
def test_keys_of_the_chord_foretold_next_are_that_chord(
    struck: str, foretold: str, sure: float, shift: int, *, pushed: bool
) -> None:
    """Under F#m7, which is what stands."""
    played = parse_symbol("F#m7").transposed(shift)
    coming = None if foretold == "-" else parse_symbol(foretold).transposed(shift)
    heard = Heard(parse_symbol("F#m7/D").transposed(shift), 0.6, Key(0), 1.0)
    ahead = Ahead()
    ahead.told = (Forecast(Fraction(8), coming, sure), Forecast(Fraction(9), played, 0.9))
    keys = frozenset((parse_symbol(name).root + shift) % 12 for name in struck.split())

    told = replace(heard, chord=coming, confidence=sure)
    assert ahead.pushed(heard, keys, played) == (told if pushed else None)


def test_where_nothing_is_foretold_nothing_is_pushed() -> None:
    """Keys are then what they spell."""
    heard = Heard(parse_symbol("F#m7/D"), 0.6, Key(0), 1.0)

    assert Ahead().pushed(heard, frozenset({2, 6, 9}), parse_symbol("F#m7")) is None


def an_eighth_early(rounds: int) -> list[Outgoing]:
    """What is made of a loop whose chords, two to a bar, come an eighth before one and three."""
    keys = comping(" ".join([LOOP] * rounds), beats_each=2)
    early = [replace(e, at=max(0.0, e.at - EIGHTH)) for e in keys]
    return heard_from(bass_player(), early, until=8.0 * rounds - 0.3)


def test_a_pushed_chord_that_is_known_is_told_by_its_name_at_once() -> None:
    """The third time round: D, not F#m7/D until the beat comes."""
    told = [o for o in an_eighth_early(3) if isinstance(o, ChordHeard) and o.at > 15.6]

    assert " ".join(symbol(o.chord, KEY) for o in told) == LOOP


def test_the_bass_is_with_a_pushed_chord_that_is_known() -> None:
    """The third time round the last note begun before its beat is a tone of it."""
    begun = plays(an_eighth_early(3))

    for at, name in enumerate(LOOP.split(), start=16):
        *_, last = [p for p in begun if p.at < at - 0.02]
        assert last.note % 12 in parse_symbol(name).keys
