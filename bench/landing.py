"""How the bass lands on the changes of labelled songs, through the whole engine.

A change is a place where the label's root (or "no chord") differs from the label before and a
chord follows.  Answered: a bass note begins from a thirty-second before the change on and before
the next change.  Landed: of the answered, those whose first note is the new root or its slash bass.
Clash: quarter notes within the first beat of the new chord in which the bass sounds a tone outside
it, ghost notes not counted, per change.  Left: of the landed, those whose note was left within a
sixteenth for one outside the chord.  The same again without the songs whose labels run ahead of
their keys (bench/doubtful.py), if there are any.  With `--folds` every song is heard and foreseen
with tables that were fitted on others (see bench.folds).

Usage: python -m bench.landing CORPUS [--preset NAME] [--songs N] [--folds CACHE]
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass

from bench.arguments import a_folder, folder_of_songs, from_one, run
from bench.changes import Change, changes
from bench.corpus import Song, read_played
from bench.doubtful import runs_ahead
from bench.folds import taught_from
from bench.playing import Sounded, Take, take
from presets.loader import load

EARLY = 0.125
SIXTEENTH = 0.25


@dataclass(slots=True)
class Landing:
    """Counts over some songs."""

    changes: int = 0
    answered: int = 0
    landed: int = 0
    left: int = 0
    clash_beats: float = 0.0

    def add(self, change: Change, notes: list[Sounded]) -> None:
        """Count one change and the notes that sound from a thirty-second before it."""
        self.changes += 1
        begun = [n for n in notes if change.beat - EARLY <= n.begins < change.until - EARLY]
        if begun:
            self.answered += 1
            first = begun[0].play.note % 12
            lands = first in (change.chord.root, change.chord.bass)
            self.landed += lands
            soon = [n for n in begun[1:] if n.begins < change.beat + SIXTEENTH]
            self.left += lands and any(_outside(change, n) for n in soon)
        self.clash_beats += sum(_outside(change, n) for n in notes)

    def report(self) -> str:
        """The figures in a line."""
        answered = self.answered / max(self.changes, 1)
        landed = self.landed / max(self.answered, 1)
        clash = self.clash_beats / max(self.changes, 1)
        left = self.left / max(self.landed, 1)
        return f"answered {answered:.1%}  landed {landed:.1%}  clash {clash:.3f}  left {left:.1%}"


def _outside(change: Change, note: Sounded) -> float:
    tones = change.chord.pitch_classes | {change.chord.bass}
    if note.play.note % 12 in tones or note.play.written.ghost:
        return 0.0
    end = min(change.beat + 1, change.until, note.ends)
    return max(0.0, end - max(change.beat, note.begins))


def count(song: Song, played: Take, landing: Landing) -> Landing:
    """Add a song to the counts."""
    notes = list(played.notes)
    for change in changes(song):
        near = [n for n in notes if n.ends > change.beat - EARLY and n.begins < change.until]
        landing.add(change, near)
    return landing


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("corpus", type=folder_of_songs)
    parser.add_argument("--preset", default="soul")
    parser.add_argument("--songs", type=from_one, help="only the first so many")
    parser.add_argument(
        "--folds", type=a_folder, metavar="CACHE", help="tables fitted on other songs"
    )
    arguments = parser.parse_args()
    taught = taught_from(arguments.folds)
    style = load(arguments.preset)
    every, on_time = Landing(), Landing()
    ahead = []
    for song in read_played(arguments.corpus)[: arguments.songs]:
        played = take(song, arguments.corpus, style, taught=taught(song))
        count(song, played, every)
        if runs_ahead(song):
            ahead.append(song.number)
        else:
            count(song, played, on_time)
    print(f"{arguments.corpus.name}, {arguments.preset}: root changes {every.changes}")
    print(f"  {every.report()}")
    if ahead:
        print(f"without the songs whose labels run ahead of the keys, {', '.join(ahead)}:")
        print(f"  {on_time.report()}, {on_time.changes} changes")


if __name__ == "__main__":
    run(main)
