"""What simple listeners hear on labelled songs: the figures that the ear has to beat.

    python -m bench.baselines FOLDER [FOLDER ...]

Each beat is judged as bench.hearing does, but with all of its notes in hand, later ones too.  The
listeners: the lowest note is the root; chord templates, each beat alone (the tones that sound,
weighted by how long, against those of nine kinds of chord, and more for a root that is lowest);
the same with a price for changing; and where music21 is installed (pip install -e '.[compare]') the
root and triad that it finds by stacking the tones in thirds.  For the key: the profiles of Albrecht
and Shanahan ("The use of large corpora to train a new type of key-finding algorithm", Music
Perception 31, 2013), to which the song's tones are laid in all keys, the nearest by Euclidean
distance named.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator
from functools import cache
from typing import Any, Final

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


def keys_down(song: Song) -> Iterator[dict[int, float]]:
    """For each beat the keys that sound in it, from the lowest up, and for how much of it."""
    notes = sorted(song.notes)
    for beat in beats_of(song):
        start, end = beat.position, beat.position + 1
        lengths: dict[int, float] = {}
        for note in notes:
            if note.start >= end:
                break
            heard = min(note.end, end) - max(note.start, start)
            if heard > 0:
                lengths[note.note] = lengths.get(note.note, 0.0) + heard
        notes = [n for n in notes if n.end > start]
        yield dict(sorted(lengths.items()))


def sounding(song: Song) -> Iterator[tuple[Array, int | None]]:
    """For each beat how long each pitch class sounds in it, and the lowest note."""
    for keys in keys_down(song):
        lengths = np.zeros(12)
        for key, heard in keys.items():
            lengths[key % 12] += heard
        yield lengths, next(iter(keys), None)


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


TRIADS: Final = {"minor": "min", "diminished": "dim", "augmented": "aug"}


def stacker() -> Callable[[Song], list[Chord]] | None:
    """A listener that stacks the tones of a beat in thirds; None where music21 is missing."""
    try:
        import music21.chord as stacked  # noqa: PLC0415  (heavy, and of use here only)
    except ImportError:
        return None

    @cache
    def named(keys: tuple[int, ...]) -> Chord:
        found: Any = stacked.Chord(keys)
        return Chord.of(found.root().pitchClass, QUALITY_BY_HARTE[TRIADS.get(found.quality, "maj")])

    def by_thirds(song: Song) -> list[Chord]:
        out: list[Chord] = []
        for keys in keys_down(song):
            last = out[-1] if out else Chord.of(0)
            out.append(named(tuple(keys)) if keys else last)
        return out

    return by_thirds


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
    by_thirds = stacker()
    if by_thirds is None:
        print("music21 is not installed; its listener is left out", file=sys.stderr)
    print(f"{'':42}{'root':>9}{'majmin':>9}{'sevenths':>9}   (keys: exact, weighted)")
    for path in options.folders:
        songs = read_played(path)
        _chords(path.name, "lowest note", songs, [by_lowest(s) for s in songs])
        _chords(path.name, "templates", songs, [by_templates(s, 0.0) for s in songs])
        _chords(
            path.name, "templates, changing costs", songs, [by_templates(s, CHANGE) for s in songs]
        )
        if by_thirds:
            _chords(path.name, "stacked in thirds, by music21", songs, [*map(by_thirds, songs)])
        _keys(path.name, "key by profile, 32 beats", songs, 32)
        _keys(path.name, "key by profile, whole song", songs, None)


if __name__ == "__main__":
    run(main)
