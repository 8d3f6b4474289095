"""Teach the ear: fit its tables on labelled songs, and write them as engine/hearing/weights.py.

    python -m bench.fit_hearing FOLDER [FOLDER ...] --charts FOLDER
        [--out engine/hearing/weights.py] [--folds CACHE]

Needs PyTorch besides the project's own packages (pip install -e '.[fit]'), and some 8 GB of memory;
a fit takes about half an hour of one core.  With --folds it fits three times, each time without a
third of the songs by their numbers, and leaves fold0.py to fold2.py in a folder for
`python -m bench.hearing --folds CACHE` (see bench/folds.py).

How: the songs in all their guises (bench/guises.py) are evidence at three moments of every beat.
The network of engine/hearing/chord.py is fitted by gradient through the beats (bench/network.py).
The loss is the surprise at the labelled root and at the labelled chord, before each beat, a tenth,
half and nearly all of it in.  Key and memory, which read the network's beliefs, are computed by
the ear's own code between the lessons.
When all is fitted, bench/fit_keys.py with --anew fits the key tables once more, to the finished
network and with the charts.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import torch

from bench.arguments import folder_of_songs, run
from bench.fit_keys import Heard, fit_keys
from bench.folds import THIRDS, third_of
from bench.guises import Array, Part, read_parts
from bench.network import KINDS, STATES, Filter, Q
from bench.taught import coded, coded_keys, source_of
from engine.hearing.evidence import BEFORE, PRESENCE, WIDTH_NOW
from engine.hearing.key import KeyFilter
from engine.hearing.recall import SongMemory
from engine.hearing.stretch import Beat, Counter
from engine.hearing.tables import BAR_LINE, KeyTables, Tables
from engine.hearing.taught import Coded, tables_of


@dataclass(frozen=True)
class Lesson:
    """Some rounds over the songs: how fast, with memory or not, and in which guises.

    Each song comes in one guise a round, `charts` is the chance that a chart comes at all.
    """

    rounds: int
    rate: float
    recalling: float
    guises: dict[str, float]
    charts: float


HARDER = {"as played": 0.6, "pedal": 0.12, "no low notes": 0.18, "loose": 0.1}
LIFELIKE = {"as played": 0.78, "pedal": 0.07, "no low notes": 0.1, "loose": 0.05}
# After each lesson the ear's memory and its sense of key learn of what it hears by now.
LESSONS = (
    Lesson(3, 0.003, 0.0, HARDER, 0.36),
    Lesson(14, 0.0025, 1.0, HARDER, 0.36),
    Lesson(8, 0.0015, 1.0, HARDER, 0.36),
    Lesson(10, 0.0015, 1.0, LIFELIKE, 0.3),
)
# Songs are cut in pieces of so many beats; the filter first runs in over the others, unscored.
PIECE, RUN_IN, BATCH = 64, 16, 24
# What the surprise before a beat, a tenth, half and nearly all of it in counts for.
MOMENT_WEIGHTS = (0.5, 1.0, 0.5, 1.0)
# ... and once the next beat is over too, which is what memory keeps.
LOOK_BACK_WEIGHT = 0.5
ROOT_WEIGHT, CHORD_WEIGHT = 0.7, 0.6
# How dear large weights are; from which share of the rounds on the tables are averaged.
PRICE, AVERAGED_FROM = 1e-3, 0.6

# The loss ----------------------------------------------------------------------------------


def surprise(
    beliefs: torch.Tensor, states: torch.Tensor, weights: tuple[float, ...]
) -> torch.Tensor:
    """The mean surprise at the labelled roots and chords, of beliefs at so many moments."""
    there = (states >= 0).float()
    wanted = states.clamp(min=0)
    index = wanted[:, :, None, None].expand(-1, -1, beliefs.shape[2], 1)
    chord = beliefs.gather(3, index)[..., 0]
    roots = torch.logsumexp(beliefs.reshape(*beliefs.shape[:3], 12, Q), -1)
    root = roots.gather(3, index // Q)[..., 0]
    cost = -(CHORD_WEIGHT * chord + ROOT_WEIGHT * root) * torch.tensor(weights)
    return (cost.sum(-1) * there).sum() / there.sum().clamp(min=1)


# Rounds -------------------------------------------------------------------------------------


def _choice(parts: list[Part], lesson: Lesson, rng: np.random.Generator) -> list[Part]:
    """One round's songs: each in one guise; some of the charts in one manner."""
    by_name: dict[str, dict[str, Part]] = {}
    for part in parts:
        by_name.setdefault(part.name, {})[part.guise] = part
    out = []
    for guises in by_name.values():
        if "as played" in guises:
            out.append(guises[str(rng.choice(list(lesson.guises), p=list(lesson.guises.values())))])
        elif rng.random() < lesson.charts:
            out.append(guises[str(rng.choice(list(guises)))])
    return out


def _batches(
    parts: list[Part], rng: np.random.Generator
) -> Iterator[list[tuple[Part, int, int, int]]]:
    """Pieces: a song, where it is run in from, where it is scored from, where it ends."""
    pieces = []
    for part in parts:
        beats = len(part.places)
        at = -int(rng.integers(0, PIECE)) if beats > PIECE else 0
        while at < beats:
            first, end = max(at, 0), min(beats, at + PIECE)
            if end - first > 4:
                pieces.append((part, max(0, at - RUN_IN), first, end))
            at += PIECE
    order = rng.permutation(len(pieces))
    for i in range(0, len(pieces), BATCH):
        yield [pieces[j] for j in order[i : i + BATCH]]


def _tensors(pieces: list[tuple[Part, int, int, int]]) -> dict[str, torch.Tensor]:
    longest = max(end - begin for _, begin, _, end in pieces)
    shape = (len(pieces), longest)
    out = {
        "now": np.zeros((*shape, 3, WIDTH_NOW), np.float32),
        "past": np.zeros((*shape, 12 * len(BEFORE)), np.float32),
        "keys": np.zeros((*shape, 24), np.float32),
        "recalled": np.zeros((*shape, STATES), np.float32),
        "hints": np.zeros((*shape, 7), np.float32),
        "places": np.zeros(shape, np.int64),
        "states": np.full(shape, -1, np.int64),
    }
    for i, (part, begin, first, end) in enumerate(pieces):
        for name, rows in out.items():
            rows[i, : end - begin] = getattr(part, name)[begin:end]
        out["states"][i, : first - begin] = -1
    return {name: torch.from_numpy(rows) for name, rows in out.items()}


def teach(model: Filter, parts: list[Part], lesson: Lesson) -> None:
    """Fit for some rounds; what is kept is the mean of the tables over the last of them."""
    rounds = lesson.rounds
    rng = np.random.default_rng(rounds)
    optimizer = torch.optim.AdamW(
        model.parameters(), lr=lesson.rate, betas=(0.9, 0.98), weight_decay=PRICE
    )
    mean: list[torch.Tensor] = []
    seen = 0
    model.train()
    for turn in range(rounds):
        batches = list(_batches(_choice(parts, lesson, rng), rng))
        total = 0.0
        for i, pieces in enumerate(batches):
            done = (turn + i / len(batches)) / rounds
            for group in optimizer.param_groups:
                group["lr"] = lesson.rate * (min(1.0, 3 * done * rounds) * (1 - done) + 0.01)
            batch = _tensors(pieces)
            beliefs, looked_back = model(batch, lesson.recalling)
            loss = surprise(beliefs, batch["states"], MOMENT_WEIGHTS)
            loss += surprise(looked_back[:, :, None], batch["states"][:, :-1], (LOOK_BACK_WEIGHT,))
            optimizer.zero_grad()
            loss.backward()
            torch.nn.utils.clip_grad_norm_(model.parameters(), 2.0)
            optimizer.step()
            total += loss.item()
            if done > AVERAGED_FROM:
                seen += 1
                mean = _averaged(mean, model, seen)
        print(f"round {turn + 1} of {rounds}: surprise {total / len(batches):.3f}", flush=True)
    model.eval()
    with torch.no_grad():
        for parameter, value in zip(model.parameters(), mean, strict=True):
            parameter.copy_(value)


def _averaged(mean: list[torch.Tensor], model: Filter, seen: int) -> list[torch.Tensor]:
    with torch.no_grad():
        now = [p.clone() for p in model.parameters()]
        return [m + (p - m) / seen for m, p in zip(mean, now, strict=True)] if mean else now


def beliefs_of(model: Filter, parts: list[Part], recalling: float) -> list[tuple[Array, Array]]:
    """What the filter believes at the end of every beat of every part, and a beat later of it."""
    out: list[tuple[Array, Array]] = [(np.zeros(0), np.zeros(0))] * len(parts)
    order = sorted(range(len(parts)), key=lambda i: len(parts[i].places))
    with torch.no_grad():
        for k in range(0, len(order), 24):
            some = order[k : k + 24]
            pieces = [(parts[i], 0, 0, len(parts[i].places)) for i in some]
            ended, later = model(_tensors(pieces), recalling)
            ended, later = ended[:, :, 3].exp().numpy(), later.exp().numpy()
            for row, row_later, i in zip(ended, later, some, strict=True):
                beats = len(parts[i].places)
                out[i] = row[:beats].astype(float), row_later[: beats - 1].astype(float)
    return out


def bars_of(part: Part) -> list[int | None]:
    """The number of the bar that begins with each beat; none within a bar."""
    begins = part.places == BAR_LINE
    return [int(bar) if first else None for bar, first in zip(begins.cumsum(), begins, strict=True)]


def beats_of(part: Part, beliefs: Array) -> list[Beat]:
    """What a part's key filter is told, if its beats are believed to be these chords."""
    counter, now = Counter(KINDS), part.now[:, 2].astype(float)
    told = zip(now, beliefs, bars_of(part), strict=True)
    return [counter.beat(*beat) for beat in told if beat[0][PRESENCE].any()]


def remember(parts: list[Part], beliefs: list[tuple[Array, Array]], tables: Tables) -> None:
    """Let the ear's own memory and key filter say what they would have said at every beat."""
    for part, (belief, later) in zip(parts, beliefs, strict=True):
        memory, keys, bars = SongMemory(STATES), KeyFilter(tables), bars_of(part)
        for t, heard in enumerate(belief):
            pulse = int(part.pulses[t])
            recalled = memory.expect(pulse, part.in_bar)
            part.recalled[t] = recalled.log_shares
            part.hints[t] = recalled.hints
            part.keys[t] = keys.belief
            if part.now[t, 2, PRESENCE].any():
                keys.add(part.now[t, 2].astype(float), heard, bars[t])
                if t:
                    memory.revise(later[t - 1])
            memory.add(float(part.positions[t]), pulse, heard)


# --------------------------------------------------------------------------------------------


def coded_of(model: Filter, keys: KeyTables) -> dict[str, Coded]:
    """All tables, in the writing of engine/hearing/taught.py."""
    network = {n: coded(p.detach().numpy()) for n, p in model.named_parameters()}
    return network | coded_keys(keys)


def number_of(part: Part) -> str:
    """The song's number, which is the same in all folders."""
    return part.name.split("/")[1]


def fit(parts: list[Part]) -> dict[str, Coded]:
    """All tables, from parts."""
    parts = [
        replace(p, keys=p.keys.copy(), recalled=p.recalled.copy(), hints=p.hints.copy())
        for p in parts
    ]
    model = Filter()
    keyed = [i for i, p in enumerate(parts) if p.key is not None and p.guise == "as played"]

    for lesson in LESSONS:
        teach(model, parts, lesson)
        beliefs = beliefs_of(model, parts, lesson.recalling)
        keys = fit_keys([Heard(parts[i].key, beats_of(parts[i], beliefs[i][0])) for i in keyed])
        remember(parts, beliefs, tables_of(KINDS, coded_of(model, keys)))
    return coded_of(model, keys)


def main() -> None:
    """Fit and write."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("folders", nargs="+", type=folder_of_songs, metavar="FOLDER")
    parser.add_argument("--charts", type=folder_of_songs, required=True, metavar="FOLDER")
    parser.add_argument("--out", type=Path, default=Path("engine/hearing/weights.py"))
    parser.add_argument("--folds", type=Path, metavar="CACHE")
    options = parser.parse_args()
    torch.manual_seed(0)
    torch.set_num_threads(1)
    parts = read_parts(options.folders, options.charts)
    if options.folds is None:
        options.out.write_text(source_of(KINDS, fit(parts)), "utf-8")
        return
    options.folds.mkdir(parents=True, exist_ok=True)
    for fold in range(THIRDS):
        others = [p for p in parts if third_of(number_of(p)) != fold]
        source = source_of(KINDS, fit(others))
        (options.folds / f"fold{fold}.py").write_text(source, "utf-8")


if __name__ == "__main__":
    run(main)
