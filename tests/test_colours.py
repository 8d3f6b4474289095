"""Colours: which ninths are the chord's, and which the tune's."""

from __future__ import annotations

import pytest

from engine.listening.colours import Colours
from engine.theory.symbols import parse_symbol


@pytest.mark.parametrize(
    ("before", "heard", "keys", "bar_line", "played"),
    [
        ("Ebmaj7", "Ebmaj9", 1, False, "Ebmaj7"),  # the tune goes to the ninth
        ("Ebmaj9", "Ebmaj7", 2, False, "Ebmaj9"),  # ... and leaves it
        ("Ebmaj7", "Ebmaj9", 3, False, "Ebmaj9"),  # a chord with a ninth is struck
        ("Ebmaj7", "Ebmaj9", 1, True, "Ebmaj9"),  # a bar begins with it
        ("Ebmaj7", "Eb7", 1, False, "Eb7"),  # a seventh is more than colour
        ("Ebmaj7", "Ebmaj9/Bb", 1, False, "Ebmaj9/Bb"),  # so is a bass
        (None, "Ebmaj9", 1, False, "Ebmaj9"),  # nothing was played by yet
    ],
)
def test_a_key_or_two_within_a_bar_do_not_rename_a_chord(
    before: str | None, heard: str, keys: int, bar_line: bool, played: str
) -> None:
    """A colour is the chord's if a hand strikes it or a bar begins with it, and else the tune's."""
    by = None if before is None else parse_symbol(before)
    chord = Colours().without_the_tune(parse_symbol(heard), by, keys, bar_line=bar_line)

    assert chord == parse_symbol(played)


def test_a_song_is_remembered_in_the_colours_of_the_tune() -> None:
    """The part goes by E flat major 7, and the ninth above it is remembered all the same."""
    colours = Colours()
    played = colours.without_the_tune(
        parse_symbol("Ebmaj9"), parse_symbol("Ebmaj7"), 1, bar_line=False
    )

    assert colours.with_the_tune(played) == parse_symbol("Ebmaj9")


def test_another_chord_has_colours_of_its_own() -> None:
    """The ninth of the chord before is nothing to the one that is played by now."""
    colours = Colours()
    colours.without_the_tune(parse_symbol("Ebmaj9"), None, 4, bar_line=True)

    assert colours.with_the_tune(parse_symbol("Abmaj7")) == parse_symbol("Abmaj7")
