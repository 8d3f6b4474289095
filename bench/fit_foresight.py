"""Fit the tables of foresight, and write them as engine/foresight/fitted.py.

    pip install -e '.[fit]'          (PyTorch; its CPU build will do)
    python -m bench.fit_foresight CHARTS --songs FOLDER... --folds CACHE --clues DIR
                                  [--fold K] --out engine/foresight/fitted.py

CHARTS is a folder of chord charts: the habits of songs are counted on it, and its chords are
learned from as they are.  Charts and songs are learned from as the ear hears them, too, with the
tables in CACHE, where bench.fit_hearing and bench.fit_keys have left some for each song that were
fitted on others (see bench/histories.py).  The counts that a song's clues come from never include
the song itself.  With --fold K the songs of that fold are left out, for an honest check with
bench.foresight or bench.expecting.

To gather the clues takes some twenty minutes of two cores; they are kept in DIR, 8 GB in all, from
where any number of fits can read them.  A network takes two or three minutes of one core.
The shipped file was written with the defaults below.
"""

from __future__ import annotations

import argparse
import pickle
import random
from collections.abc import Iterator, Mapping, Sequence
from itertools import chain
from pathlib import Path
from textwrap import wrap
from typing import NamedTuple

import numpy as np
import torch
from torch import nn

from bench.arguments import a_folder, folder_of_songs, run
from bench.corpus import read_charts
from bench.foresight import FIFTHS, fifth_of
from bench.histories import (
    Kind,
    Lesson,
    Rows,
    all_heard,
    as_recorded,
    comped,
    keep,
    kept_rows,
    of_chart,
    withhold,
)
from engine.foresight import clues
from engine.foresight.course import Course
from engine.foresight.custom import STAYS, TABLES, Context, Custom, outcome
from engine.foresight.tables import pack_counts, pack_weights

# How often a context must have been seen to be kept, by table: a rare one says little, and the
# file stays small.
LEAST = (4, 4, 12, 20, 12)

# How much of each kind of lesson a pass goes over, for the networks in turn.  The first is taught
# charts above all, also from later on and in another order, which teaches more than more passes
# do; the second is taught above all what songs and charts sound like to the ear.
SHARES: tuple[dict[Kind, float], ...] = (
    {
        Kind.CHART: 1.0,
        Kind.CHART_LATER: 1.0,
        Kind.CHART_REORDERED: 1.0,
        Kind.CHART_MISHEARD: 0.2,
        Kind.CHART_HEARD: 0.5,
        Kind.SONG_HEARD: 0.5,
    },
    {
        Kind.CHART: 0.5,
        Kind.CHART_LATER: 0.5,
        Kind.CHART_HEARD: 1.0,
        Kind.SONG_HEARD: 0.7,
        Kind.SONG_HEARD_BADLY: 0.5,
    },
)

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


# Fitting ------------------------------------------------------------------------------------


def out_of_fold(songs: Mapping[str, Counts], fold: int) -> Counts:
    """The habits of all charts but those of one fold, the seldom ones left out."""
    total: Counts = {}
    for name, counts in songs.items():
        if fifth_of(name) != fold:
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


class Taught(NamedTuple):
    """Lessons of a kind, which of their rows may be learned from, and how many in a pass."""

    lessons: Rows
    rows: np.ndarray
    in_a_pass: int


def drawn(
    taught: Sequence[Taught], batch: int, rng: np.random.Generator
) -> Iterator[list[torch.Tensor]]:
    """Batches of beats without end: clues, answers and weights, each kind by its share."""
    while True:
        picked = [rng.permutation(each.rows)[: each.in_a_pass] for each in taught]
        kinds = np.repeat(np.arange(len(picked)), [len(rows) for rows in picked])
        rows, order = np.concatenate(picked), rng.permutation(len(kinds))
        for some in np.split(order, range(batch, len(order), batch))[:-1]:
            parts = [
                [column[np.sort(rows[some[kinds[some] == kind]])] for column in each.lessons[:4]]
                for kind, each in enumerate(taught)
            ]
            candidates, common, *rest = (np.concatenate(each) for each in zip(*parts, strict=True))
            withhold(candidates, common, rng)
            yield [torch.from_numpy(column) for column in (candidates, common, *rest)]


def fit_network(
    kept: Mapping[Kind, Rows], shares: Mapping[Kind, float], options: argparse.Namespace
) -> dict[str, np.ndarray]:
    """The weights of one network."""
    torch.set_num_threads(1)
    torch.manual_seed(options.seed)
    taught = []
    for kind, share in shares.items():
        rows = np.flatnonzero(kept[kind].folds != options.fold)
        taught.append(Taught(kept[kind], rows, round(len(rows) * share)))
    scorer = Scorer(kept[Kind.CHART].candidates.shape[2], kept[Kind.CHART].common.shape[1], options)
    adam = torch.optim.AdamW(scorer.layers.parameters(), lr=options.rate, weight_decay=0.02)
    steps = int(options.passes * sum(each.in_a_pass for each in taught) / options.batch)
    batches = drawn(taught, options.batch, np.random.default_rng(options.seed))
    for step, batch in zip(range(steps), batches, strict=False):
        fade = min(1, (step + 1) / 200) * (1 + np.cos(np.pi * step / steps)) / 2
        adam.param_groups[0]["lr"] = options.rate * fade
        candidates, common, came, weight = batch
        with torch.autocast("cpu", dtype=torch.bfloat16):
            scores = scorer.scores(candidates.bfloat16(), common.bfloat16())
        losses = nn.functional.cross_entropy(scores.float(), came, reduction="none")
        loss = (losses * weight).sum() / weight.sum()
        adam.zero_grad()
        loss.backward()
        adam.step()
        if step % 500 == 0:
            print(f"step {step} of {steps}: loss {loss.item():.4f}", flush=True)
    return scorer.weights()


# Writing it down ----------------------------------------------------------------------------

HEADER = '''"""What foresight was fitted to; written by bench/fit_foresight.py, not by hand.

Counted on and fitted to chord charts of 370 songs (McGill Billboard, Burgoyne et al. 2011, CC0),
as written and as the ear hears them, and to 280 songs as the ear hears them (POP909, Wang et al.
2020; POP909-CL, 2025; both MIT).
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
    rng = random.Random(options.seed)
    charts = read_charts(options.charts)
    lessons: list[Lesson] = []
    habits: dict[str, Counts] = {}
    for chart in charts:
        as_written, *others = of_chart(chart, rng)
        lessons += [as_written, *others]
        habits[chart.number] = count_habits(as_written.courses, as_written.came)
    print(f"read {len(charts)} charts", flush=True)
    songs = chain.from_iterable(as_recorded(folder) for folder in options.songs)
    return lessons + all_heard([*songs, *comped(charts)], options.folds), habits


def add_customs(lessons: Sequence[Lesson], habits: Mapping[str, Counts]) -> None:
    """Add to each lesson what the charts of the other folds do."""
    for fold in range(FIFTHS):
        custom = Custom(out_of_fold(habits, fold))
        for lesson in lessons:
            if fifth_of(lesson.song) == fold:
                rows = [clues.of_customs(c, custom.odds(c)) for c in lesson.courses]
                lesson.candidates = np.concatenate((lesson.candidates, rows), 2, dtype=np.float16)


def gathered(options: argparse.Namespace) -> dict[str, Counts]:
    """Each chart's own habits, and all clues in their files, as an earlier run left them or new."""
    left = options.clues / "habits.pickle"
    if not left.exists():
        options.clues.mkdir(parents=True, exist_ok=True)
        lessons, habits = gather(options)
        add_customs(lessons, habits)
        keep(lessons, options.clues)
        left.write_bytes(pickle.dumps(habits))
    return pickle.loads(left.read_bytes())


def main() -> None:
    """Gather, fit, write."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("charts", type=folder_of_songs, help="a folder of chord charts")
    parser.add_argument(
        "--songs", type=folder_of_songs, nargs="+", required=True, help="folders of songs"
    )
    parser.add_argument(
        "--folds", type=a_folder, required=True, help="tables of the ear, for each song"
    )
    parser.add_argument(
        "--clues", type=Path, required=True, metavar="DIR", help="... are kept here"
    )
    parser.add_argument(
        "--fold",
        type=int,
        default=-1,
        choices=range(FIFTHS),
        help=f"leave out this fold of {FIFTHS}",
    )
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--hidden", type=int, default=96)
    parser.add_argument("--passes", type=float, default=5)
    parser.add_argument("--dropout", type=float, default=0.2)
    parser.add_argument("--rate", type=float, default=2e-3)
    parser.add_argument("--batch", type=int, default=512)
    parser.add_argument("--seed", type=int, default=2)
    options = parser.parse_args()
    habits = gathered(options)
    kept = {kind: kept_rows(kind, options.clues) for kind in Kind}
    networks = []
    for shares in SHARES:
        networks.append(fit_network(kept, shares, options))
        options.seed += 1
    counts = out_of_fold(habits, options.fold)
    options.out.write_text(fitted_module(counts, networks), encoding="utf-8")


if __name__ == "__main__":
    run(main)
