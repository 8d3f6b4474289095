"""The histories that foresight is taught on: what was played, and what there was to go on."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from bench.corpus import Bar, Label, Song
from bench.expecting import save
from bench.foresight import felt_beats, fifth_of, root_of
from bench.histories import (
    Kind,
    Lesson,
    Playing,
    comped,
    from_later,
    heard,
    keep,
    kept_rows,
    lesson_of,
    of_chart,
    reordered,
    withhold,
)
from engine.foresight.clues import OF_EAR
from engine.foresight.custom import TABLES

ROUND = ("Eb:maj", "C:min", "F:min7", "Bb:7")
CHORDS = ROUND * 4
SECTIONS = {0: "verse", 8: "bridge", 12: "verse"}
CHART = Song(
    "made up",
    "7",
    tuple(Label(4 * bar, 4 * bar + 4, name) for bar, name in enumerate(CHORDS)),
    bars=tuple(Bar(4 * bar, 4, SECTIONS.get(bar, "")) for bar in range(len(CHORDS))),
)


@pytest.fixture(scope="module")
def in_blocks() -> Lesson:
    """The chart as the ear heard it, in block chords."""
    [playing] = comped([CHART])
    return heard(playing)


def test_all_that_is_learned_from_a_chart_has_what_was_really_played_for_an_answer() -> None:
    """The beat after each, also where a wrong root was heard on the way."""
    lessons = {lesson.kind: lesson for lesson in of_chart(CHART, random.Random(1))}
    roots = [root_of(felt.chord) for felt in felt_beats(CHART)]

    assert lessons[Kind.CHART].came.tolist() == roots[1:]
    assert lessons[Kind.CHART_MISHEARD].came.tolist() == roots[1:]


def test_a_song_that_is_learned_from_later_on_begins_with_a_bar() -> None:
    """And ends where the song does."""
    beats = felt_beats(CHART)
    for seed in range(8):
        later = from_later(beats, random.Random(seed))
        assert later == beats[-len(later) :]
        assert later[0].in_bar == 0 and len(later) < len(beats)


def test_sections_change_places_whole() -> None:
    """Each begins as it does in the song, and goes on to its end."""
    beats = felt_beats(CHART)
    sections = [beats[:32], beats[32:48], beats[48:]]
    for seed in range(8):
        rest = reordered(CHART, beats, random.Random(seed))
        for _ in sections:
            [section] = [s for s in sections if rest[: len(s)] == s and s[0] is rest[0]]
            rest = rest[len(section) :]
        assert not rest


def test_what_the_ear_heard_has_a_row_for_each_beat_that_was_looked_ahead_to(
    in_blocks: Lesson,
) -> None:
    """All but the first: nothing has been heard before it.  The chart's roots are the answers."""
    roots = [root_of(felt.chord) for felt in felt_beats(CHART)]

    assert in_blocks.kind is Kind.CHART_HEARD
    assert in_blocks.came.tolist() == roots[1:]
    assert len(in_blocks.candidates) == len(in_blocks.common) == len(in_blocks.courses)


def test_what_there_was_to_go_on_is_the_chord_before(in_blocks: Lesson) -> None:
    """Half a beat before each beat, the chord of block chords that sounds is known."""
    now = [course.chord and course.chord.root for course in in_blocks.courses]
    roots = [root_of(felt.chord) for felt in felt_beats(CHART)]

    assert now == roots[:-1]


def test_every_second_chart_is_comped_in_a_rhythm() -> None:
    """And the others, and all in another metre, in block chords; none is left out."""
    waltz = Song("made up", "8", CHART.labels, bars=tuple(Bar(3.0 * i, 3, "") for i in range(21)))
    playings = list(comped([CHART, CHART, waltz, CHART]))

    assert all(playing.kind is Kind.CHART_HEARD for playing in playings)
    assert sorted(playing.song.number for playing in playings) == ["7", "7", "7", "8"]
    assert all(playing.song.notes and playing.folder is None for playing in playings)


def test_lessons_that_were_kept_can_be_read_in_parts(tmp_path: Path, in_blocks: Lesson) -> None:
    """Each row with the fold of its song."""
    keep([in_blocks, in_blocks], tmp_path)
    rows = kept_rows(Kind.CHART_HEARD, tmp_path)

    beats = len(in_blocks.came)
    assert np.array_equal(rows.candidates[beats:], in_blocks.candidates)
    assert set(rows.folds) == {fifth_of("7")}


def test_a_song_that_has_a_file_is_played_from_it(tmp_path: Path, in_blocks: Lesson) -> None:
    """The same keys teach the same."""
    [playing] = comped([CHART])
    save(playing.song, tmp_path)
    from_file = heard(Playing(Kind.SONG_HEARD, replace(CHART, bars=()), tmp_path))

    assert from_file.kind is Kind.SONG_HEARD
    assert np.array_equal(from_file.candidates, in_blocks.candidates)


def test_the_ear_was_asked_what_comes_where_it_heard_the_song(in_blocks: Lesson) -> None:
    """And is right of most beats of a song that goes round; of chords that are given it is not."""
    given = lesson_of(
        Kind.CHART, "7", felt_beats(CHART), [felt.chord for felt in felt_beats(CHART)]
    )
    asked = in_blocks.common[:, -1] == 1
    expected = in_blocks.candidates[asked, :12, -1].argmax(axis=1)

    assert asked.mean() > 0.6
    assert (expected == in_blocks.came[asked]).mean() > 0.75
    assert not in_blocks.candidates[~asked, :, -1].any()
    assert not given.common[:, -1].any() and not given.candidates[:, :, -1].any()


def test_now_and_then_the_ear_is_not_asked(in_blocks: Lesson) -> None:
    """Half of the rows have nothing of what it expects; nothing else is missing from any."""
    customs = np.ones((len(in_blocks.came), 13, len(TABLES)), np.float16)
    whole = np.tile(np.concatenate((in_blocks.candidates, customs), axis=2), (40, 1, 1))
    asked = np.tile(in_blocks.common, (40, 1))
    candidates, common = whole.copy(), asked.copy()
    withhold(candidates, common, np.random.default_rng(1))

    silent = (common != asked).any(axis=1)
    assert 0.45 < silent[asked[:, -1] == 1].mean() < 0.55
    assert not candidates[silent, :, OF_EAR].any() and not common[silent, -1].any()
    candidates[silent, :, OF_EAR] = whole[silent, :, OF_EAR]
    common[silent, -1] = 1
    assert np.array_equal(candidates, whole) and np.array_equal(common, asked)
