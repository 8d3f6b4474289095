"""Histories: the songs that foresight is taught on, and what each was heard as.

How: a chart is learned from as it is, from a later bar on, with its sections in another order, and
with some segments on a wrong root; the answer is always what was really played.  An ear makes
other mistakes than such dice, and makes them again wherever the song comes by: so songs, as they
are and made harder to hear, and charts in block chords or in a rhythm of bench.rhythms, are also
played to the whole engine, with an ear that was taught on others (bench.folds), and what foresight
had to go on half a beat before each beat is learned from too.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from enum import Enum
from functools import lru_cache, partial
from itertools import cycle, pairwise
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final, NamedTuple

import numpy as np

from bench.alter import ALTERED, struck_by
from bench.corpus import Song, read_played
from bench.expecting import BEFORE, save
from bench.folds import SHIPPED, Choose, Taught, tables_from
from bench.foresight import Felt, felt_beats, fifth_of, misheard, root_of
from bench.playing import take
from bench.rhythms import HANDS, RHYTHMS, in_four, played
from bench.voicings import charted, render
from engine.events import Forecast
from engine.foresight import clues
from engine.foresight.agreement import Step, Votes, place_in_bar
from engine.foresight.course import Course
from engine.foresight.memory import Memory
from engine.foresight.outlook import WEIGHED, Foresight
from engine.foresight.standing import Present, Standing, Way
from engine.theory.harmony import Chord
from presets.loader import load

STYLE: Final = "soul"
# Of the segments of a chart that is misheard, so many are on a wrong root.
WRONG: Final = 0.05
SEED: Final = 1
# How often what the ear expects is withheld: half of the looks at a beat come before it is asked.
WITHHELD: Final = 0.5


class Kind(Enum):
    """What songs a lesson is of, and how they were played and heard."""

    CHART = "chart"
    CHART_LATER = "chart, from a later bar on"
    CHART_REORDERED = "chart, its sections in another order"
    CHART_MISHEARD = "chart, misheard"
    CHART_HEARD = "chart, played to the ear"
    SONG_HEARD = "song, played to the ear"
    SONG_HEARD_BADLY = "song made harder to hear, played to the ear"


@dataclass
class Lesson:
    """One song as it was heard once: clues, courses and answers, a row for each beat."""

    kind: Kind
    song: str
    candidates: np.ndarray
    common: np.ndarray
    came: np.ndarray
    weight: np.ndarray
    courses: list[Course]


# Chords given -------------------------------------------------------------------------------


def lesson_of(
    kind: Kind, song: str, beats: Sequence[Felt], heard: Sequence[Chord | None]
) -> Lesson:
    """Play a song to a memory and note the clues at each beat."""
    memory, course, record = Memory(), Course(), clues.Record()
    candidates, commons, courses = [], [], []
    before: tuple[Step, Votes] | None = None
    for felt, chord in zip(beats, heard, strict=True):
        step = Step(chord, place_in_bar(felt.in_bar, felt.metre))
        if before is not None:
            record.judge(before[1].longest, before[0].root, step.root)
        memory.remember(step, felt.beat)
        course = course.after(step, len(felt.metre.pulses))
        gathered = clues.gather(memory, course)
        before = step, gathered.votes
        own, shared = gathered.told(record, clues.GIVEN)
        candidates.append(own.astype(np.float16))
        commons.append(shared.astype(np.float16))
        courses.append(course)
    roots = [root_of(felt.chord) for felt in beats]
    right = [root_of(chord) == root for chord, root in zip(heard, roots, strict=True)]
    return Lesson(
        kind,
        song,
        np.array(candidates[:-1]),
        np.array(commons[:-1]),
        np.array(roots[1:]),
        np.where(right[:-1], 1.0, 0.5).astype(np.float32),
        courses[:-1],
    )


def of_chart(song: Song, rng: random.Random) -> Iterator[Lesson]:
    """What a chart teaches whose chords are given; as it is comes first."""
    beats = felt_beats(song)
    variants = [
        (Kind.CHART, beats),
        (Kind.CHART_LATER, from_later(beats, rng)),
        (Kind.CHART_LATER, from_later(beats, rng)),
        (Kind.CHART_REORDERED, reordered(song, beats, rng)),
    ]
    for kind, variant in variants:
        yield lesson_of(kind, song.number, variant, [felt.chord for felt in variant])
    yield lesson_of(Kind.CHART_MISHEARD, song.number, beats, misheard(beats, WRONG, rng))


def from_later(beats: Sequence[Felt], rng: random.Random) -> list[Felt]:
    """The song from one of its bars on, in its first three fifths."""
    starts = [i for i, felt in enumerate(beats) if felt.in_bar == 0 and 8 <= i < 0.6 * len(beats)]
    return list(beats[rng.choice(starts) :] if starts else beats)


def reordered(song: Song, beats: Sequence[Felt], rng: random.Random) -> list[Felt]:
    """As many sections as the song has, each followed by the next one or by any."""
    begins = [int(bar.start) for bar in song.bars if bar.section]
    cuts = sorted({0, *begins, len(beats)})
    sections = [beats[start:end] for start, end in pairwise(cuts)]
    at = rng.randrange(len(sections))
    out: list[Felt] = []
    for _ in sections:
        out += sections[at]
        goes_on = rng.random() < 0.55
        at = (at + 1) % len(sections) if goes_on else rng.randrange(len(sections))
    return out


# Chords heard -------------------------------------------------------------------------------


class _Noting(Foresight):
    """Foresight that notes what it had to go on for each beat, when it last looked in time."""

    def __init__(self) -> None:
        super().__init__()
        self.noted: dict[float, tuple[np.ndarray, np.ndarray, Course]] = {}
        # By the identity of what came of them, which is kept here so that it stays the only one.
        self._clues: dict[int, tuple[Standing, tuple[np.ndarray, np.ndarray, Course]]] = {}

    def look(self, now: Present, horizon: int, *, weigh: int = WEIGHED) -> tuple[Forecast, ...]:
        out = super().look(now, horizon, weigh=weigh)
        beat, standing = float(out[0].beat), self._path[0].standing
        if now.moment.position <= beat - BEFORE and standing is not None:
            self.noted[beat] = self._clues[id(standing)][1]
        return out

    def _weigh(self, way: Way, said: clues.Said) -> Standing:
        candidates, common = way.clues.told(self._record, said)
        standing = super()._weigh(way, said)
        noted = candidates.astype(np.float16), common.astype(np.float16), way.course
        self._clues[id(standing)] = standing, noted
        return standing


class Playing(NamedTuple):
    """A song to be played to the ear: of what kind, and the folder of its file, if it has one."""

    kind: Kind
    song: Song
    folder: Path | None


def as_recorded(folder: Path) -> Iterator[Playing]:
    """The songs of a folder, and each once more, made harder to hear in one way or another."""
    songs = read_played(folder)
    harder = [change for guise, change in ALTERED.items() if guise != "as played"]
    for song, change in zip(songs, cycle(harder), strict=False):
        yield Playing(Kind.SONG_HEARD, song, folder)
        yield Playing(Kind.SONG_HEARD_BADLY, change(song), None)


def comped(charts: Sequence[Song]) -> Iterator[Playing]:
    """Charts as they are to be heard: every second one in 4/4 in a rhythm, the others in blocks."""
    songs = [charted(chart) for chart in charts]
    four = [song for song in songs if in_four(song)]
    for song, name in zip(four[1::2], cycle(RHYTHMS), strict=False):
        yield Playing(Kind.CHART_HEARD, struck_by(HANDS, played(song, RHYTHMS[name])), None)
    for song in [*four[::2], *(song for song in songs if not in_four(song))]:
        yield Playing(Kind.CHART_HEARD, replace(render(song, "block", SEED), bars=()), None)


def all_heard(playings: Sequence[Playing], cache: Path) -> list[Lesson]:
    """What the ear hears of each, with its tables for the song from a cache of bench.folds."""
    with ProcessPoolExecutor() as pool:
        return list(pool.map(partial(_heard_from, cache), playings))


@lru_cache(maxsize=1)
def _ears(cache: Path) -> Choose:
    return tables_from(cache)


def _heard_from(cache: Path, playing: Playing) -> Lesson:
    return heard(playing, Taught(_ears(cache)(playing.song)))


def heard(playing: Playing, taught: Taught = SHIPPED) -> Lesson:
    """Play a song to the whole engine, and note the clues that foresight had for each beat."""
    kind, song, folder = playing
    foresight = _Noting()
    with TemporaryDirectory() as made:
        if folder is None:
            save(song, Path(made))
        take(song, folder or Path(made), load(STYLE), foresight=foresight, taught=taught)
    came = {float(felt.beat): root_of(felt.chord) for felt in felt_beats(song)}
    noted = {beat: clue for beat, clue in foresight.noted.items() if beat in came}
    candidates, common, courses = zip(*noted.values(), strict=True)
    return Lesson(
        kind,
        song.number,
        np.array(candidates),
        np.array(common),
        np.array([came[beat] for beat in noted]),
        np.ones(len(noted), np.float32),
        list(courses),
    )


# Kept for fits ------------------------------------------------------------------------------


class Rows(NamedTuple):
    """All lessons of a kind, one after the other: a row for each beat, and the fold of its song."""

    candidates: np.ndarray
    common: np.ndarray
    came: np.ndarray
    weight: np.ndarray
    folds: np.ndarray


def keep(lessons: Sequence[Lesson], folder: Path) -> None:
    """Leave lessons in files of a folder, from where they can be read a few rows at a time."""
    for kind in {lesson.kind for lesson in lessons}:
        some = [lesson for lesson in lessons if lesson.kind is kind]
        for name in Rows._fields[:-1]:
            rows = np.concatenate([getattr(lesson, name) for lesson in some])
            np.save(_file(folder, kind, name), rows)
        folds = [np.full(len(lesson.came), fifth_of(lesson.song)) for lesson in some]
        np.save(_file(folder, kind, "folds"), np.concatenate(folds))


def kept_rows(kind: Kind, folder: Path) -> Rows:
    """The lessons of a kind, as they were left in a folder."""
    return Rows(*(np.load(_file(folder, kind, name), mmap_mode="r") for name in Rows._fields))


def _file(folder: Path, kind: Kind, name: str) -> Path:
    return folder / f"{kind.name.lower()}_{name}.npy"


def withhold(candidates: np.ndarray, common: np.ndarray, rng: np.random.Generator) -> None:
    """Take what the ear expects out of some rows, and with it that it was asked."""
    some = rng.random(len(common)) < WITHHELD
    candidates[some, :, clues.OF_EAR] = 0
    common[some, -1] = 0
