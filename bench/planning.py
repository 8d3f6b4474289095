"""How long the line takes to write a bar, and to write the rest of one again.

Every bar of the first songs that bench/charts.py takes is asked for whole, and then again from each
felt beat on, as when a chord is heard otherwise; processor time of each call, so that nothing else
counts.

Usage: python -m bench.planning CORPUS [--preset NAME ...] [--songs N]
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import nan
from random import Random
from time import process_time

from bench.arguments import folder_of_songs, from_one, run
from bench.charts import Chart, asks, charts_in
from engine.line.bassline import Bassline
from engine.score import Ask, BassNote
from engine.style import Style
from presets.loader import load, names


def timed(style: Style, charts: Sequence[Chart]) -> tuple[list[float], ...]:
    """Milliseconds for each whole bar, and for each rest of a bar."""
    whole, rest = [], []
    for seed, (changes, key) in enumerate(charts):
        line = Bassline(style, Random(seed))
        last: BassNote | None = None
        for ask in asks(style, changes, key):
            asked = replace(ask, last=last)
            taken, notes = _time(line, asked)
            whole.append(taken)
            rest += [_time(line, again)[0] for again in _again(asked, notes)]
            last = notes[-1] if notes else last
    return whole, rest


def _time(line: Bassline, ask: Ask) -> tuple[float, tuple[BassNote, ...]]:
    before = process_time()
    notes = line.write(ask)
    return (process_time() - before) * 1000, notes


def _again(ask: Ask, notes: Sequence[BassNote]) -> Iterator[Ask]:
    for pulse in ask.metre.pulses[1:]:
        start = ask.bar_start + pulse
        spans = tuple(
            replace(s, start=max(s.start, start), chord=s.chord.transposed(1))
            for s in ask.spans
            if s.end > start
        )
        if spans and spans[0].start == start:
            sounded = [n for n in notes if n.beat < start]
            yield replace(ask, start=start, spans=spans, last=sounded[-1] if sounded else ask.last)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("corpus", type=folder_of_songs)
    parser.add_argument("--preset", action="append", help="only this one; may be given again")
    parser.add_argument("--songs", type=from_one, default=6, help="how many songs")
    arguments = parser.parse_args()
    charts = charts_in(arguments.corpus, arguments.songs)
    heads = f"{'p99':>7}{'max':>7}"
    print(f"{'milliseconds':14}{'bar p50':>9}{heads}{'again p50':>11}{heads}")
    for name in arguments.preset or names():
        cells = []
        for times in map(sorted, timed(load(name), charts)):
            ranks = (len(times) // 2, int(len(times) * 0.99), -1)
            cells += [times[rank] if times else nan for rank in ranks]
        print(f"{name:14}{cells[0]:9.2f}{cells[1]:7.2f}{cells[2]:7.2f}", end="")
        print(f"{cells[3]:11.2f}{cells[4]:7.2f}{cells[5]:7.2f}")


if __name__ == "__main__":
    run(main)
