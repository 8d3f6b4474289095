"""What simple listeners hear on labelled songs: the figures that the ear has to beat.

    python -m bench.baselines FOLDER [FOLDER ...]

Each beat is judged as bench.hearing does, but with all of its notes in hand, later ones too.  The
listeners: the lowest note is the root; chord templates, each beat alone (the tones that sound,
weighted by how long, against those of nine kinds of chord, and more for a root that is lowest);
the same with a price for changing.  For the key: the profiles of Albrecht and Shanahan ("The use
of large corpora to train a new type of key-finding algorithm", Music Perception 31, 2013), to
which the song's tones are laid in all keys, the nearest by Euclidean distance named.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

from bench.arguments import folder_of_songs, run
from bench.corpus import NO_CHORD, Song, read_played
from bench.hearing import weighted
from bench.listening import beats_of, percent
from engine.theory.harmony import KEYS, QUALITY_BY_HARTE, Chord, Key
from engine.theory.labels import harte

Array = NDArray[np.float64]

KINDS: Final = ("maj", "min", "7", "maj7", "min7", "dim", "aug", "sus2", "sus4")
# More for a root that is lowest, less for each tone of the chord, and the price of a change.
LOWEST: Final = 0.2
EACH_TONE: Final = 0.12
CHANGE: Final = 0.12

# Thousandths of a song's tones, tonic upward.
_MAJOR: Final = (238, 6, 111, 6, 137, 94, 16, 214, 9, 80, 8, 81)
_MINOR: Final = (220, 6, 104, 123, 19, 103, 12, 214, 62, 22, 61, 52)
PROFILES: Final = np.array([np.roll(_MINOR if k.minor else _MAJOR, k.tonic) for k in KEYS]) / 1000


def sounding(song: Song) -> Iterator[tuple[Array, int | None]]:
    """For each beat how long each pitch class sounds in it, and the lowest note."""
    notes = sorted(song.notes)
    for beat in beats_of(song):
        start, end = beat.position, beat.position + 1
        lengths, lowest = np.zeros(12), None
        for note in notes:
            if note.start >= end:
                break
            heard = min(note.end, end) - max(note.start, start)
            if heard > 0:
                lengths[note.note % 12] += heard
                lowest = note.note if lowest is None else min(lowest, note.note)
        notes = [n for n in notes if n.end > start]
        yield lengths, lowest


def _templates() -> Array:
    out = np.zeros((12, len(KINDS), 12))
    for root in range(12):
        for i, kind in enumerate(KINDS):
            tones = [(root + step) % 12 for step in QUALITY_BY_HARTE[kind].intervals]
            out[root, i, tones] = 1.0
    return out


TEMPLATES: Final = _templates()


def match(lengths: Array, lowest: int | None) -> Array:
    """How well each root and kind fits: (12, kinds)."""
    shares = lengths / max(float(lengths.sum()), 1e-9)
    scores: Array = 2 * TEMPLATES @ shares - EACH_TONE * TEMPLATES.sum(axis=2)
    if lowest is not None:
        scores[lowest % 12] += LOWEST
    return scores


def by_lowest(song: Song) -> list[Chord]:
    """The lowest note is the root."""
    kept, out = 0, []
    for _, lowest in sounding(song):
        kept = kept if lowest is None else lowest % 12
        out.append(Chord.of(kept))
    return out


def by_templates(song: Song, change: float) -> list[Chord]:
    """The best template, where another than the last one has to be better by the price."""
    out: list[Chord] = []
    last: tuple[int, int] | None = None
    for lengths, lowest in sounding(song):
        scores = match(lengths, lowest)
        if last is not None:
            scores[last] += change
        if lowest is not None or last is None:
            root, kind = np.unravel_index(scores.argmax(), scores.shape)
            last = int(root), int(kind)
        out.append(Chord.of(last[0], QUALITY_BY_HARTE[KINDS[last[1]]]))
    return out


def by_profile(song: Song, beats: int | None) -> Key:
    """The key whose profile is nearest to the tones of the first beats, or of all."""
    total = sum((lengths for lengths, _ in list(sounding(song))[:beats]), np.zeros(12))
    distances = ((PROFILES - total / max(float(total.sum()), 1e-9)) ** 2).sum(axis=1)
    return KEYS[int(distances.argmin())]


def _chords(folder: str, name: str, songs: list[Song], said: list[list[Chord]]) -> None:
    pairs = [
        (song.label_at(beat.position + 0.5), harte(chord, Key(0)))
        for song, chords in zip(songs, said, strict=True)
        for beat, chord in zip(beats_of(song), chords, strict=True)
    ]
    pairs = [pair for pair in pairs if pair[0] not in NO_CHORD]
    values = percent([t for t, _ in pairs], [s for _, s in pairs])
    print(f"{folder:10}{name:32}" + "".join(f"{v:9.2f}" for v in values.values()), flush=True)


def _keys(folder: str, name: str, songs: list[Song], beats: int | None) -> None:
    pairs = [(song.key, by_profile(song, beats)) for song in songs if song.key]
    exact = 100 * float(np.mean([t == s for t, s in pairs]))
    mirex = 100 * float(np.mean([weighted(t, s) for t, s in pairs]))
    print(f"{folder:10}{name:32}{exact:9.2f}{mirex:9.2f}", flush=True)


def main() -> None:
    """Print one table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("folders", nargs="+", type=folder_of_songs, metavar="FOLDER")
    options = parser.parse_args()
    print(f"{'':42}{'root':>9}{'majmin':>9}{'sevenths':>9}   (keys: exact, weighted)")
    for path in options.folders:
        songs = read_played(path)
        _chords(path.name, "lowest note", songs, [by_lowest(s) for s in songs])
        _chords(path.name, "templates", songs, [by_templates(s, 0.0) for s in songs])
        _chords(
            path.name, "templates, changing costs", songs, [by_templates(s, CHANGE) for s in songs]
        )
        _keys(path.name, "key by profile, 32 beats", songs, 32)
        _keys(path.name, "key by profile, whole song", songs, None)


if __name__ == "__main__":
    run(main)
