"""What the numbers of a preset do to the part: a little of one against much of it."""

from __future__ import annotations

from collections import Counter
from random import Random

import pytest

from engine.bassist import Bassist
from engine.events import Play
from presets.reading import read
from tests.band import BEAT_SECONDS, TEMPO, comping, heard_from, plays

# One stroke in a figure, four in an answer, eight in a fill: a bar is known by their number.
COUNTED = """\
rhythm:
  grid: eighths
  figures:
    - {strokes: "X--- ----", tones: "1"}
  answers:
    - {strokes: "X-x- X-x-", tones: 1 5 1 5}
  fills:
    - {strokes: "XxXx XxXx", tones: 1 5 1 5 1 5 1 5}
"""


def played(preset: str, chart: str, beats_each: float = 4, seed: int = 1) -> list[Play]:
    """The notes to chords of so many beats, at 120."""
    bassist = Bassist(read(preset, "habits"), Random(seed), tempo=TEMPO)
    end = len(chart.split()) * beats_each * BEAT_SECONDS
    return plays(heard_from(bassist, comping(chart, beats_each), until=end - 0.05))


def by_bar(notes: list[Play]) -> list[int]:
    """How many notes each bar has."""
    counted = Counter(note.written.beat // 4 for note in notes)
    return [counted[bar] for bar in range(8)]


EIGHT_BARS = "Fm7 " * 8


def test_phrases_end_in_fills_as_often_as_they_are_asked_to() -> None:
    """With `fill: 1` each fourth bar is a fill, with `fill: 0` none is."""
    how = COUNTED + "phrase: {bars: 4, answer: 1, vary: 0, fill: %d}\n"

    assert by_bar(played(how % 1, EIGHT_BARS)) == [1, 1, 4, 8, 1, 1, 4, 8]
    assert by_bar(played(how % 0, EIGHT_BARS)) == [1, 1, 4, 4, 1, 1, 4, 4]


def test_answers_come_every_so_many_bars() -> None:
    """With `answer_every: 2` figure and answer take turns."""
    how = COUNTED + "phrase: {bars: 4, answer: 1, answer_every: 2, vary: 0, fill: 0}\n"

    assert by_bar(played(how, EIGHT_BARS)) == [1, 4, 1, 4, 1, 4, 1, 4]


def test_a_heavier_figure_is_drawn_more_often() -> None:
    """Of two figures the one with nine times the weight is that of most performances."""
    how = """\
rhythm:
  grid: eighths
  figures:
    - {strokes: "X--- ----", tones: "1", weight: 9}
    - {strokes: "X-x- X-x-", tones: 1 5 1 5, weight: 1}
phrase: {vary: 0, fill: 0, answer: 0}
"""
    drawn = Counter(by_bar(played(how, "Fm7 Fm7", seed=seed))[0] for seed in range(20))

    assert drawn[1] > 14
    assert drawn[1] + drawn[4] == 20


def test_a_heavier_tone_of_the_pool_is_played_more() -> None:
    """Free strokes over Fm7: with nine times the weight the fifth is most of them, not a few."""
    how = """\
rhythm:
  grid: eighths
  figures:
    - {strokes: "X-x- x-x-", tones: 1 * * *}
phrase: {vary: 0, fill: 0, answer: 0, motive: 0}
pools: {minor: {1: 1, b3: 1, 5: %d, b7: 1}}
"""

    def fifths(weight: int) -> int:
        return sum(note.note % 12 == 0 for note in played(how % weight, EIGHT_BARS))

    assert fifths(9) > 1.5 * fifths(1)


@pytest.mark.slow
def test_the_figure_is_stated_before_it_is_varied() -> None:
    """Three bars of nothing but the figure, and then a variation."""
    how = COUNTED + "phrase: {bars: 4, answer: 0, vary: 0, fill: 0, turns: [add]}\n"

    for seed in range(10):
        assert by_bar(played(how, EIGHT_BARS, seed=seed))[:4] == [1, 1, 1, 2]


@pytest.mark.slow
def test_home_wanders_as_far_as_it_may() -> None:
    """Each bar's root stays in its octave; with `roam: 9` it is played in another as well."""
    how = COUNTED + "register: {lowest: E1, highest: D3, home: A1, roam: %d}\n"

    def octaves(roam: int) -> set[int]:
        notes = played(how % roam, "Fm7 " * 32)
        return {n.note for n in notes if n.written.beat % 4 == 0}

    assert octaves(0) == {29}
    assert octaves(9) == {29, 41}


def test_open_strings_are_played_by_those_who_like_them() -> None:
    """With `open_strings: 1` the A of an A chord is the open string more often than with 0."""
    how = COUNTED + "neck: {open_strings: %d}\nphrase: {fill: 0, answer: 1}\n"

    def opened(liking: int) -> int:
        notes = played(how % liking, "A7 D7 A7 E7 " * 2)
        return sum(note.written.fret == 0 for note in notes)

    assert opened(0) < opened(1)


def test_a_change_may_wait_for_the_figures_next_note() -> None:
    """A chord on beat 3, where the figure has no note: played there, or with the note on beat 4."""
    how = """\
rhythm:
  grid: eighths
  figures:
    - {strokes: "X--- --x-", tones: 1 1}
phrase: {vary: 0, fill: 0, answer: 0}
approach: {wait: %d}
"""

    def places(wait: int) -> list[float]:
        notes = played(how % wait, "Fm7 Bb7 " * 3, beats_each=2)
        return [float(n.written.beat) for n in notes if 4 <= n.written.beat < 8]

    assert places(0) == [4, 6, 7]
    assert places(1) == [4, 7]
