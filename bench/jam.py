"""Whether the engine stays as quick and as small after hours of playing.

    python -m bench.jam FOLDER [--hours 4] [--preset NAME] [--tempo 100]

The songs of the folder are played one after the other to one bassist that keeps its own time and
is never stopped.  For every quarter of the time: processor time of each key that comes in and of
each time the bassist is woken to hear, look ahead or play; the most memory the process has had by
then; and how many bass notes were played.  A note that is left hanging is an error.
Runs where the system tells a process its memory: on Linux and macOS.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import cycle
from math import nan
from random import Random
from resource import RUSAGE_SELF, getrusage
from time import thread_time_ns

import numpy as np

from bench.arguments import above_nought, folder_of_songs, run
from bench.corpus import Song, read_played
from engine.bassist import Bassist
from engine.events import Incoming, NoteOff, NoteOn, Outgoing, Play, Release, Stop, Tick
from ports.replay import replay
from presets.loader import load

QUARTERS = 4
# On Linux the most memory is told in kB, on macOS in bytes.
_OF_A_MEGABYTE = 1024**2 if sys.platform == "darwin" else 1024


class Timed:
    """A bassist, and what everything it was asked to do cost, in nanoseconds."""

    def __init__(self, bassist: Bassist) -> None:
        self._bassist = bassist
        self.keys: list[float] = []
        self.wakings: list[float] = []

    def receive(self, event: Incoming) -> list[Outgoing]:
        """Let it take one event."""
        began = thread_time_ns()
        out = self._bassist.receive(event)
        (self.wakings if isinstance(event, Tick) else self.keys).append(thread_time_ns() - began)
        return out

    def next_deadline(self) -> float | None:
        """When it wants to be woken."""
        return self._bassist.next_deadline()

    def report(self) -> str:
        """What was asked since the last report, in microseconds."""
        rows = (
            np.percentile(times or [nan], (50, 99)) / 1000 for times in (self.keys, self.wakings)
        )
        self.keys, self.wakings = [], []
        return "".join(f"{median:9.0f}{late:9.0f}" for median, late in rows)


class Part:
    """The part as it comes out: how many notes, and which of them sound."""

    def __init__(self) -> None:
        self.notes = 0
        self.sounding: Counter[int] = Counter()

    def take(self, told: Outgoing) -> None:
        """Hear what the bassist gave out."""
        if isinstance(told, Play):
            self.notes += 1
            self.sounding[told.note] += 1
        elif isinstance(told, Release):
            self.sounding[told.note] = max(0, self.sounding[told.note] - 1)

    def hanging(self) -> list[int]:
        """The notes that were begun and never ended."""
        return sorted(self.sounding.elements())


def jam(songs: Sequence[Song], seconds: float, tempo: float) -> Iterator[Incoming]:
    """The keys of the songs, each after the other, for so long."""
    begins = 0.0
    for song in cycle(songs):
        keys: list[tuple[float, int, NoteOn | NoteOff]] = []
        for n in song.notes:
            on, off = ((begins + beat) * 60 / tempo for beat in (n.start, n.end))
            keys += [(on, 1, NoteOn(on, n.note, n.velocity)), (off, 0, NoteOff(off, n.note))]
        for at, _, event in sorted(keys, key=lambda key: key[:2]):
            if at >= seconds:
                return
            yield event
        begins += float(song.labels[-1].end // 4 + 1) * 4


def main() -> int:
    """Print a line for each quarter."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("folder", type=folder_of_songs)
    parser.add_argument("--hours", type=above_nought, default=4.0)
    parser.add_argument("--preset", default="soul")
    parser.add_argument("--tempo", type=above_nought, default=100.0, help="quarter notes a minute")
    options = parser.parse_args()
    songs = read_played(options.folder)
    bassist = Timed(Bassist(load(options.preset), Random(1), tempo=options.tempo))
    part, quarter = Part(), 3600 / QUARTERS * options.hours
    print(f"{'':8}{'us a key':>18}{'us a waking':>18}")
    print(f"{'hours':8}" + f"{'median':>9}{'p99':>9}" * 2 + f"{'MB':>9}{'notes':>9}", flush=True)

    def stopped() -> Iterator[Incoming]:
        told = quarter
        for event in jam(songs, QUARTERS * quarter, options.tempo):
            if event.at >= told:
                _tell(told, bassist, part)
                told += quarter
            yield event
        yield Stop(QUARTERS * quarter)

    replay(bassist, stopped(), part.take)
    _tell(QUARTERS * quarter, bassist, part)
    for note in part.hanging():
        print(f"note {note} is left hanging")
    return int(bool(part.hanging()))


def _tell(seconds: float, bassist: Timed, part: Part) -> None:
    memory = getrusage(RUSAGE_SELF).ru_maxrss / _OF_A_MEGABYTE
    print(f"{seconds / 3600:<8.2f}{bassist.report()}{memory:9.0f}{part.notes:9}", flush=True)
    part.notes = 0


if __name__ == "__main__":
    run(main)
