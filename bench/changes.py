"""Where labelled songs change their root."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from bench.corpus import Song
from engine.theory.harmony import Chord
from engine.theory.labels import parse_harte


@dataclass(frozen=True, slots=True)
class Change:
    """A labelled change: where, to which chord, and where the next change is."""

    beat: float
    chord: Chord
    until: float


def changes(song: Song) -> Iterator[Change]:
    """The root changes of a song's labels."""
    chords = [(label.start, label.end, parse_harte(label.harte)) for label in song.labels]
    moves = [
        (start, chord)
        for i, (start, _, chord) in enumerate(chords)
        if i and _root(chord) != _root(chords[i - 1][2])
    ]
    for i, (start, chord) in enumerate(moves):
        if chord is not None:
            until = moves[i + 1][0] if i + 1 < len(moves) else chords[-1][1]
            yield Change(start, chord, until)


def _root(chord: Chord | None) -> int | None:
    return None if chord is None else chord.root
