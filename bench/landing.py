"""How the bass lands on the changes of labelled songs, through the whole engine.

A change is a place where the label's root (or "no chord") differs from the label before and a
chord follows.  Landed: the first bass note from a thirty-second before the change on, before the
next change, is the new root or its slash bass.  Clash: quarter notes within the first beat of the
new chord in which the bass sounds a tone outside it, ghost notes not counted, per change.

Usage: python -m bench.landing CORPUS [--preset NAME] [--songs N]
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from bench.corpus import Song, read_folder
from bench.playing import Sounded, Take, take
from engine.harmony import Chord
from engine.labels import parse_harte
from presets.loader import load

EARLY = 0.125


@dataclass(frozen=True, slots=True)
class Change:
    """A labelled change: where, to which chord, and where the next change is."""

    beat: float
    chord: Chord
    until: float


@dataclass(slots=True)
class Landing:
    """Counts over some songs."""

    changes: int = 0
    answered: int = 0
    landed: int = 0
    clash_beats: float = 0.0

    def add(self, change: Change, notes: list[Sounded]) -> None:
        """Count one change and the notes that sound from a sixteenth before it."""
        self.changes += 1
        begun = [n for n in notes if change.beat - EARLY <= n.begins < change.until - EARLY]
        if begun:
            self.answered += 1
            first = begun[0].play.note % 12
            self.landed += first in (change.chord.root, change.chord.bass)
        self.clash_beats += sum(_outside(change, n) for n in notes)

    def report(self) -> str:
        """The figures in a line."""
        landed = self.landed / max(self.answered, 1)
        clash = self.clash_beats / max(self.changes, 1)
        return f"landed {landed:.1%}  clash {clash:.3f}"


def _outside(change: Change, note: Sounded) -> float:
    tones = change.chord.pitch_classes | {change.chord.bass}
    if note.play.note % 12 in tones or note.play.written.ghost:
        return 0.0
    end = min(change.beat + 1, change.until, note.ends)
    return max(0.0, end - max(change.beat, note.begins))


def changes(song: Song) -> Iterator[Change]:
    """The root changes of a song's labels."""
    chords = [(label.start, label.end, parse_harte(label.harte)) for label in song.labels]
    moves = [
        (start, chord)
        for i, (start, _, chord) in enumerate(chords)
        if i and (None if chord is None else chord.root) != _root(chords[i - 1][2])
    ]
    for i, (start, chord) in enumerate(moves):
        if chord is not None:
            until = moves[i + 1][0] if i + 1 < len(moves) else chords[-1][1]
            yield Change(start, chord, until)


def _root(chord: Chord | None) -> int | None:
    return None if chord is None else chord.root


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
    parser.add_argument("corpus", type=Path)
    parser.add_argument("--preset", default="soul")
    parser.add_argument("--songs", type=int, help="only the first so many")
    arguments = parser.parse_args()
    style = load(arguments.preset)
    landing = Landing()
    for song in read_folder(arguments.corpus)[: arguments.songs]:
        count(song, take(song, arguments.corpus, style), landing)
    print(f"{arguments.corpus.name}, {arguments.preset}: root changes {landing.changes}")
    print(f"  answered by a bass note   {landing.answered / landing.changes:6.1%}")
    print(f"  landed, of those answered {landing.landed / landing.answered:6.1%}")
    print(f"  clash, beats per change   {landing.clash_beats / landing.changes:6.3f}")


if __name__ == "__main__":
    main()
