"""Voicings: which keys show a chord that has no root in them."""

from __future__ import annotations

import pytest

from engine.theory.pitch import fifths_of_name, pitch_class_of_fifths
from engine.theory.symbols import parse_symbol
from engine.theory.voicings import shows


def keys(names: str) -> frozenset[int]:
    """Note names as pitch classes."""
    return frozenset(pitch_class_of_fifths(fifths_of_name(name)) for name in names.split())


@pytest.mark.parametrize(("name", "played"), [
    ("Gm7", "Bb F"), ("Gm7", "Bb D F A"), ("Gm7", "F A Bb C"),
    ("Ebmaj7", "G Bb D F"), ("Ebmaj7", "G A D"), ("Eb6", "G Bb C F"),
    ("F7", "A D Eb G"), ("F7", "A Db Eb Gb"), ("F7", "A C Eb G#"), ("F7", "Eb A B"),
    ("C7sus4", "Bb D F"), ("C7sus4", "Bb C F G"),
    ("Am7b5", "C Eb G B"), ("Am7b5", "C Eb F G"), ("Bdim7", "D F Ab"),
])  # fmt: skip
def test_third_and_seventh_show_a_chord_with_its_tensions(name: str, played: str) -> None:
    """Ninths, elevenths and thirteenths that the family is played with, and any on a dominant."""
    assert shows(parse_symbol(name), keys(played))


@pytest.mark.parametrize(("name", "played", "why"), [
    ("Gm7", "Bb D", "no seventh"), ("Gm7", "D F A", "no third"), ("Gm7", "Bb D F Ab", "b9"),
    ("Gm7", "B D F A", "a major third"), ("Gm7", "Bb D F# A", "a major seventh"),
    ("Ebmaj7", "G Ab D", "a fourth"), ("F7", "A C Eb Bb", "a fourth"), ("F7", "A C E", "maj7"),
    ("Eb", "G Bb D", "nothing but a triad is written"), ("F7", "C Eb G", "no third"),
    ("C7sus4", "Bb E G", "the third"), ("C7sus4", "Bb E F", "the third as well"),
])  # fmt: skip
def test_one_key_too_many_or_too_few_shows_another(name: str, played: str, why: str) -> None:
    """Without its third or seventh it is not shown, and a foreign key is another chord's."""
    assert not shows(parse_symbol(name), keys(played)), why
