"""How far the player's hands move the bass, in bars sorted by how the player plays in them.

Each song is played twice, in the style as it is and in the same style without interplay, so that
what the songs themselves do (a loud chorus has other chords) can be told from what the ear does.
With `--folds` every song is heard and foreseen with tables that were fitted on others (see
bench.folds).

Usage: python -m bench.interplay CORPUS [--preset NAME ...] [--songs N] [--folds CACHE]
"""

from __future__ import annotations

import argparse
from bisect import bisect_right
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from random import Random
from typing import Final

from bench.arguments import a_folder, folder_of_songs, from_one, run
from bench.corpus import read_played
from bench.folds import Taught, taught_from
from engine.bassist import Bassist
from engine.events import Beat, Incoming, NoteOn, Outgoing, Play
from engine.foresight.outlook import Foresight
from engine.hearing.ear import Ear
from engine.player import Player
from engine.score import AS_USUAL, Manner
from engine.style import Interplay, Style
from ports.replay import replay
from ports.song import read
from presets.loader import load, names

Bar = tuple[Manner, list[Play]]

ROWS: Final[dict[str, Callable[[Manner], bool]]] = {
    "loud": lambda m: m.loud > 0.5,
    "soft": lambda m: m.loud < 0.5,
    "busy": lambda m: m.busy > 0.5,
    "sparse": lambda m: m.busy < 0.5,
    "left hand low and busy": lambda m: m.low >= 0.5,
    "left hand high or calm": lambda m: m.low == 0,
    "all bars": lambda _: True,
}


def bars_of(path: Path, style: Style, taught: Taught) -> list[Bar]:
    """The bars of a song: the player's manner when each was written, and what the bass played."""
    events = list(read(path).with_clock())
    out: list[Outgoing] = []
    ear, foresight = Ear(taught.ear), Foresight(taught.foresight)
    bassist = Bassist(style, Random(1), external_clock=True, ear=ear, foresight=foresight)
    replay(bassist, events, out.append)
    beats = [o for o in out if isinstance(o, Beat)]
    starts = [beat for beat in beats if beat.count == 1]
    manners = manners_of(events, beats)
    bars: list[Bar] = [(manners.get(start.bar, AS_USUAL), []) for start in starts]
    for note in out:
        if isinstance(note, Play):
            place = bisect_right(starts, float(note.written.beat), key=lambda s: s.beat) - 1
            bars[max(0, place)][1].append(note)
    return bars


def manners_of(events: Sequence[Incoming], beats: Sequence[Beat]) -> dict[int, Manner]:
    """For each bar what was heard of the player by the last felt beat of the bar before."""
    player, found = Player(), {}
    keys = iter([e for e in events if isinstance(e, NoteOn) and e.velocity])
    key = next(keys, None)
    felt = Counter(beat.bar for beat in beats)
    for beat in beats:
        while key is not None and key.at <= beat.at:
            player.key_down(key.at, key.note, key.velocity)
            key = next(keys, None)
        player.cross(beat.at, felt[beat.bar])
        found[beat.bar + 1] = player.manner
    return found


def cells(bars: Sequence[Bar]) -> str:
    """Notes a bar, and their mean velocity."""
    notes = [note for _, played in bars for note in played]
    velocity = sum(n.velocity for n in notes) / len(notes) if notes else 0
    return f"{len(notes) / len(bars):12.2f}{velocity:10.1f}" if bars else f"{'-':>12}{'-':>10}"


def main() -> None:
    """Print a table for each preset."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("corpus", type=folder_of_songs)
    parser.add_argument("--preset", action="append", help="only this one; may be given again")
    parser.add_argument("--songs", type=from_one, default=6, help="how many songs")
    parser.add_argument(
        "--folds", type=a_folder, metavar="CACHE", help="tables fitted on other songs"
    )
    arguments = parser.parse_args()
    taught = taught_from(arguments.folds)
    songs = [
        (arguments.corpus / f"{song.number}.mid", taught(song))
        for song in read_played(arguments.corpus)[: arguments.songs]
    ]
    for name in arguments.preset or names():
        along = load(name)
        aloof = replace(along, interplay=Interplay())
        takes = [
            [bar for path, tables in songs for bar in bars_of(path, style, tables)]
            for style in (aloof, along)
        ]
        says = along.interplay
        print(f"{name}: loudness {says.loudness:g}, busyness {says.busyness:g}, room {says.room:g}")
        print(f"{'the player is':24}{'bars':>6}{'aloof: notes':>14}{'velocity':>9}", end="")
        print(f"{'along: notes':>14}{'velocity':>9}")
        for row, holds in ROWS.items():
            chosen = [[bar for bar in bars if holds(bar[0])] for bars in takes]
            print(f"{row:24}{len(chosen[0]):6}  {cells(chosen[0])} {cells(chosen[1])}")


if __name__ == "__main__":
    run(main)
