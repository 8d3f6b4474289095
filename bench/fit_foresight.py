"""Fit the tables of foresight, and write them as engine/foresight/fitted.py.

    pip install -e '.[fit]'          (PyTorch; its CPU build will do)
    python -m bench.fit_foresight CHARTS [--also FOLDER...] --cache DIR [--fold K --folds 5]
                                  --out engine/foresight/fitted.py

CHARTS is a folder of chord charts: the habits of songs are counted on it, and it makes most of
what the networks learn from; the folders after --also add songs of other kinds to that.  Every
song is learned from twice: as it is, and as an ear might hear it (segments with a wrong root or
family, changes heard a beat late or early), the answer always being what was really played.
The counts that a song's clues come from never include the song itself.  With --fold K the songs
of that fold are left out, for an honest check with bench.foresight --folds.

The clues take a few minutes to gather and are kept in the cache; a network takes five to ten
minutes on one core.  The shipped file was written with the defaults below.
"""

from __future__ import annotations

import argparse
import pickle
import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from itertools import pairwise
from pathlib import Path
from textwrap import wrap

import numpy as np
import torch
from torch import nn

from bench.corpus import Song, read_folder
from bench.foresight import FOLDS, Felt, felt_beats, fold_of, misheard, root_of
from engine.foresight import clues
from engine.foresight.agreement import Step, Votes, place_in_bar
from engine.foresight.course import Course
from engine.foresight.custom import STAYS, TABLES, Context, Custom, outcome
from engine.foresight.memory import Memory
from engine.foresight.tables import pack_counts, pack_weights
from engine.harmony import QUALITY_BY_HARTE, Chord

# How often a context must have been seen to be kept, by table: a rare one says little, and the
# file stays small.
LEAST = (4, 4, 12, 20, 12)

Counts = dict[Context, dict[int, int]]


# What songs do ------------------------------------------------------------------------------


def count_habits(courses: Sequence[Course], came: Sequence[int]) -> Counts:
    """For each context met in one song, what followed."""
    counts: Counts = {}
    for course, root in zip(courses, came, strict=True):
        followed = outcome(course, int(root))
        for contexts, only_moves, two_ways in TABLES:
            if only_moves and followed == STAYS:
                continue
            told = min(followed, 1) if two_ways else followed
            for context in contexts(course):
                seen = counts.setdefault(context, {})
                seen[told] = seen.get(told, 0) + 1
    return counts


def add_counts(total: Counts, more: Counts) -> None:
    """Add one song's counts to a total."""
    for context, seen in more.items():
        mine = total.setdefault(context, {})
        for told, count in seen.items():
            mine[told] = mine.get(told, 0) + count


# What one song teaches ----------------------------------------------------------------------


class Kind(Enum):
    """What songs a lesson is of, and how they were played and heard."""

    CHART = "chart"
    CHART_LATER = "chart, from a later bar on"
    CHART_REORDERED = "chart, its sections in another order"
    CHART_MISHEARD = "chart, misheard"
    PLAYED = "played"
    PLAYED_MISHEARD = "played, misheard"


# How much of each kind of lesson a pass goes over, for the networks in turn.  The first is taught
# charts, also from later on and in another order, which teaches more than more passes do; a little
# mishearing teaches it not to rest on one match.  The second hears worse, and other songs.
SHARES: tuple[dict[Kind, float], ...] = (
    {
        Kind.CHART: 1.0,
        Kind.CHART_LATER: 1.0,
        Kind.CHART_REORDERED: 1.0,
        Kind.CHART_MISHEARD: 0.2,
    },
    {
        Kind.CHART: 1.0,
        Kind.CHART_LATER: 0.5,
        Kind.CHART_MISHEARD: 0.5,
        Kind.PLAYED: 0.5,
        Kind.PLAYED_MISHEARD: 0.4,
    },
)


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
        votes = memory.votes()
        before = step, votes
        candidates.append(clues.of_candidates(memory, votes, course).astype(np.float16))
        commons.append(clues.common(memory, votes, course, record).astype(np.float16))
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


def as_heard(beats: Sequence[Felt], rng: random.Random) -> list[Chord | None]:
    """The chords with the mistakes of a recogniser: roots, families, and changes off by a beat."""
    wrong, late, early, family = (
        rng.choice(shares)
        for shares in ((0.02, 0.05, 0.1), (0.0, 0.03, 0.1), (0.0, 0.02), (0.03, 0.1, 0.2))
    )
    turned = misheard(beats, wrong, rng)
    heard = list(turned)
    for i in range(1, len(beats)):
        if beats[i].chord == beats[i - 1].chord:
            continue
        if rng.random() < family:
            _colour(heard, i, rng)
        if rng.random() < late:
            heard[i] = heard[i - 1]
        elif rng.random() < early:
            heard[i - 1] = turned[i]
    return heard


def _colour(heard: list[Chord | None], start: int, rng: random.Random) -> None:
    """Hear the segment that starts here with another quality."""
    quality = QUALITY_BY_HARTE[rng.choice(("maj", "min", "7", "min7", "maj7", "sus4"))]
    was = heard[start]
    for i in range(start, len(heard)):
        if heard[i] != was or was is None:
            return
        heard[i] = Chord.of(was.root, quality)


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


# Fitting ------------------------------------------------------------------------------------


def out_of_fold(songs: Mapping[str, Counts], fold: int) -> Counts:
    """The habits of all charts but those of one fold, the seldom ones left out."""
    total: Counts = {}
    for name, counts in songs.items():
        if fold_of(name) != fold:
            add_counts(total, counts)
    return usual(total)


def usual(counts: Counts) -> Counts:
    """The contexts that were seen often enough."""
    return {c: seen for c, seen in counts.items() if sum(seen.values()) >= LEAST[c[0]]}


class Scorer:
    """The network of engine.foresight.judge, as torch fits it."""

    def __init__(self, clues_of_one: int, clues_of_all: int, options: argparse.Namespace) -> None:
        wide, narrow = options.hidden, options.hidden // 2
        self.layers = nn.ModuleDict(
            {
                "candidate": nn.Linear(clues_of_one, wide),
                "common": nn.Linear(clues_of_all, wide, bias=False),
                "first": nn.Linear(wide, narrow),
                "rivals": nn.Linear(2 * wide, narrow, bias=False),
                "second": nn.Linear(narrow, 1, bias=False),
                "skip": nn.Linear(clues_of_one, 1, bias=False),
            }
        )
        nn.init.zeros_(self.layers["skip"].weight)
        self._drop = nn.Dropout(options.dropout)

    def scores(self, candidates: torch.Tensor, common: torch.Tensor) -> torch.Tensor:
        """Scores of the candidates of many beats, while fitting."""
        layers, drop = self.layers, self._drop
        hidden = torch.relu(layers["candidate"](candidates) + layers["common"](common)[:, None])
        pooled = torch.cat((hidden.mean(1), hidden.amax(1)), 1)
        second = layers["first"](drop(hidden)) + layers["rivals"](drop(pooled))[:, None]
        return (layers["second"](torch.relu(second)) + layers["skip"](candidates))[..., 0]

    def weights(self) -> dict[str, np.ndarray]:
        """The weights by the names of engine.foresight.judge.Network."""
        named = {name: layer.weight.detach().numpy().T for name, layer in self.layers.items()}
        named["bias"] = self.layers["candidate"].bias.detach().numpy()
        named["first_bias"] = self.layers["first"].bias.detach().numpy()
        named["second"], named["skip"] = named["second"][:, 0], named["skip"][:, 0]
        return named


def draws(
    lessons: Sequence[Lesson], shares: Mapping[Kind, float], batch: int
) -> Iterator[torch.Tensor]:
    """Batches of beats without end, each kind of lesson by its share."""
    sizes = [len(lesson.came) for lesson in lessons]
    starts = np.cumsum([0, *sizes[:-1]])
    while True:
        rows = [
            start + torch.randperm(size)[: round(size * shares[lesson.kind])]
            for lesson, start, size in zip(lessons, starts, sizes, strict=True)
        ]
        order = torch.cat(rows)
        order = order[torch.randperm(len(order))]
        yield from order[: len(order) // batch * batch].split(batch)


def fit_network(
    lessons: Sequence[Lesson], shares: Mapping[Kind, float], options: argparse.Namespace
) -> dict[str, np.ndarray]:
    """The weights of one network."""
    lessons = [lesson for lesson in lessons if lesson.kind in shares]
    torch.set_num_threads(1)
    torch.manual_seed(options.seed)
    candidates, common, came, weight = (
        torch.from_numpy(np.concatenate([getattr(lesson, name) for lesson in lessons]))
        for name in ("candidates", "common", "came", "weight")
    )
    scorer = Scorer(candidates.shape[2], common.shape[1], options)
    adam = torch.optim.AdamW(scorer.layers.parameters(), lr=options.rate, weight_decay=0.02)
    a_pass = sum(len(lesson.came) * shares[lesson.kind] for lesson in lessons)
    steps = int(options.passes * a_pass / options.batch)
    for step, rows in zip(range(steps), draws(lessons, shares, options.batch), strict=False):
        fade = min(1, (step + 1) / 200) * (1 + np.cos(np.pi * step / steps)) / 2
        adam.param_groups[0]["lr"] = options.rate * fade
        with torch.autocast("cpu", dtype=torch.bfloat16):
            scores = scorer.scores(candidates[rows].bfloat16(), common[rows].bfloat16())
        losses = nn.functional.cross_entropy(scores.float(), came[rows], reduction="none")
        loss = (losses * weight[rows]).sum() / weight[rows].sum()
        adam.zero_grad()
        loss.backward()
        adam.step()
        if step % 500 == 0:
            print(f"step {step} of {steps}: loss {loss.item():.4f}", flush=True)
    return scorer.weights()


# Writing it down ----------------------------------------------------------------------------

HEADER = '''"""What foresight was fitted to; written by bench/fit_foresight.py, not by hand.

Counted on and fitted to chord charts of 370 songs (McGill Billboard, Burgoyne et al. 2011, CC0)
and the chord labels of 280 (POP909, Wang et al. 2020; POP909-CL, 2025; both MIT).
tables.py tells how it is packed.
"""

'''


def fitted_module(counts: Counts, networks: Sequence[Mapping[str, np.ndarray]]) -> str:
    """The source of the data module."""
    out = [HEADER, "COUNTS = (\n", *_lines(pack_counts(counts)), ")\n\nNETWORKS = (\n"]
    for network in networks:
        out.append("    {\n")
        for name, weights in network.items():
            shape, scales, whole = pack_weights(weights)
            out += [f'        "{name}": (\n            {shape},\n']
            for text in (scales, whole):
                out += ["            (\n", *_lines(text), "            ),\n"]
            out.append("        ),\n")
        out.append("    },\n")
    return "".join([*out, ")\n"])


def _lines(text: str) -> list[str]:
    return [f'"{line}"\n' for line in wrap(text, 96, break_on_hyphens=False)]


def gather(options: argparse.Namespace) -> tuple[list[Lesson], dict[str, Counts]]:
    """All lessons, and each chart's own habits."""
    charts, rng = read_folder(options.charts), random.Random(options.seed)
    played = [song for folder in options.also for song in read_folder(folder)]
    lessons: list[Lesson] = []
    habits: dict[str, Counts] = {}
    for song in [*charts, *played]:
        beats = felt_beats(song)
        clean = [felt.chord for felt in beats]
        if song.bars:
            lessons.append(lesson_of(Kind.CHART, song.number, beats, clean))
            habits[song.number] = count_habits(lessons[-1].courses, lessons[-1].came)
            heard = misheard(beats, 0.05, rng)
            lessons.append(lesson_of(Kind.CHART_MISHEARD, song.number, beats, heard))
            others = {
                Kind.CHART_LATER: [from_later(beats, rng), from_later(beats, rng)],
                Kind.CHART_REORDERED: [reordered(song, beats, rng)],
            }
            for kind, variants in others.items():
                for other in variants:
                    played_so = [felt.chord for felt in other]
                    lessons.append(lesson_of(kind, song.number, other, played_so))
        else:
            heard = as_heard(beats, rng)
            lessons.append(lesson_of(Kind.PLAYED, song.number, beats, clean))
            lessons.append(lesson_of(Kind.PLAYED_MISHEARD, song.number, beats, heard))
    return lessons, habits


def add_customs(lessons: Sequence[Lesson], habits: Mapping[str, Counts]) -> None:
    """Add to each lesson what the charts of the other folds do."""
    for fold in range(FOLDS):
        custom = Custom(out_of_fold(habits, fold))
        for lesson in lessons:
            if fold_of(lesson.song) == fold:
                rows = [clues.of_customs(c, custom.odds(c)) for c in lesson.courses]
                lesson.candidates = np.concatenate((lesson.candidates, rows), 2, dtype=np.float16)


def main() -> None:
    """Gather, fit, write."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("charts", type=Path, help="a folder of chord charts")
    parser.add_argument("--also", type=Path, nargs="*", default=[], help="folders of songs played")
    parser.add_argument("--cache", type=Path, help="where to keep the clues for another run")
    parser.add_argument("--fold", type=int, help=f"leave out this fold of {FOLDS}")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--hidden", type=int, default=96)
    parser.add_argument("--passes", type=float, default=5)
    parser.add_argument("--dropout", type=float, default=0.2)
    parser.add_argument("--rate", type=float, default=2e-3)
    parser.add_argument("--batch", type=int, default=512)
    parser.add_argument("--seed", type=int, default=2)
    options = parser.parse_args()
    if options.cache is not None and options.cache.exists():
        lessons, habits = pickle.loads(options.cache.read_bytes())
    else:
        lessons, habits = gather(options)
        add_customs(lessons, habits)
        if options.cache is not None:
            options.cache.write_bytes(pickle.dumps((lessons, habits), protocol=5))
    lessons = [le for le in lessons if options.fold is None or fold_of(le.song) != options.fold]
    counts = out_of_fold(habits, -1 if options.fold is None else options.fold)
    networks = []
    for shares in SHARES:
        networks.append(fit_network(lessons, shares, options))
        options.seed += 1
    options.out.write_text(fitted_module(counts, networks), encoding="utf-8")


if __name__ == "__main__":
    main()
