"""Stretch: what has been heard since the song came into its key, and in its last bars.

Knows: how the tones and chords of beats are counted, and which bars open a phrase.
Refuses to know: what the counts say of the key.
How: every beat adds its tones and the belief about its chord.  A stretch counts that belief once
more if a phrase of four bars begins with the beat: songs come home there.  The last bars let what
they have had fade.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Final

import numpy as np

from engine.arrays import Doubles
from engine.hearing.evidence import LENGTHS, LOWEST, STRUCK, Vector

# What kinds of chord a key tells apart; every quality is one of them.
KINDS: Final = ("major", "minor", "dominant", "diminished", "open")
_KIND_BY_QUALITY: Final = {
    "maj": 0, "maj7": 0, "maj6": 0, "aug": 0, "min": 1, "min7": 1, "min6": 1, "minmaj7": 1,
    "7": 2, "dim": 3, "hdim7": 3, "dim7": 3,
}  # fmt: skip

DOMINANT: Final = KINDS.index("dominant")
# The kinds that a tonic may bear: a major one in a blues is a seventh chord.
_ON_MAJOR_TONIC: Final = [KINDS.index(kind) for kind in ("major", "dominant", "open")]
_ON_MINOR_TONIC: Final = [KINDS.index(kind) for kind in ("minor", "open")]

ROWS: Final = 3 + 3 * len(KINDS)
"""How many rows of twelve pitch classes a stretch is told by."""
ROWS_LATELY: Final = 3 + len(KINDS)
"""... and the last bars."""
_PHRASE: Final = 4  # bars
# After so many beats a stretch is half to be read as one that has just begun, half as a long one:
# at first it matters where phrases begin, later how much there was of each chord.
_YOUNG: Final = 32
# A beat counts this much less in the last bars with every beat since.
_FADE: Final = 0.9


@dataclass(frozen=True, slots=True)
class Beat:
    """What one beat adds to a stretch.

    `tones` (3, 12): how long each pitch class sounded, which were struck, which was lowest;
    `chords` (kinds, 12): the belief about the chord.
    """

    tones: Doubles
    chords: Doubles
    opens_phrase: bool

    @property
    def lengths(self) -> Doubles:
        """How long each pitch class sounded, (12,)."""
        lengths: Doubles = self.tones[0]
        return lengths


class Counter:
    """Makes beats of what the ear has read; phrases are counted from the first bar that it read.

    Args:
        qualities: Harte names of the qualities that beliefs are about.
    """

    def __init__(self, qualities: tuple[str, ...]) -> None:
        kinds = [_KIND_BY_QUALITY.get(name, len(KINDS) - 1) for name in qualities]
        self._kinds = np.eye(len(KINDS))[kinds]
        self._first: int | None = None

    def beat(self, now: Vector, belief: Doubles, bar: int | None) -> Beat:
        """What a beat adds: the vectors of evidence.NOW, a belief, the bar that begins with it."""
        opens = False
        if bar is not None:
            self._first = bar if self._first is None else self._first
            opens = (bar - self._first) % _PHRASE == 0
        tones = np.stack([now[LENGTHS], now[STRUCK], now[LOWEST]])
        return Beat(tones, (belief.reshape(12, -1) @ self._kinds).T, opens)


class Stretch:
    """What has been heard since the song came into its key."""

    def __init__(self) -> None:
        self.beats = 0
        self._phrases = 0
        self._tones = np.zeros((3, 12))
        self._chords = np.zeros((len(KINDS), 12))
        self._opening = np.zeros((len(KINDS), 12))
        self._last: deque[Doubles] = deque(maxlen=2)

    def add(self, beat: Beat) -> None:
        """One beat more."""
        self.beats += 1
        self._tones += beat.tones
        self._chords += beat.chords
        self._last.append(beat.chords)
        if beat.opens_phrase:
            self._phrases += 1
            self._opening += beat.chords

    def join(self, later: Stretch) -> None:
        """All that a later stretch has had, too."""
        self.beats += later.beats
        self._phrases += later._phrases
        self._tones += later._tones
        self._chords += later._chords
        self._opening += later._opening
        self._last = later._last

    @property
    def chords(self) -> Doubles:
        """The share of each kind of chord on each root, (kinds, 12)."""
        return self._chords / self.beats

    @property
    def youth(self) -> float:
        """How far it is still to be read as one that has just begun, 1 to 0."""
        return _YOUNG / (_YOUNG + self.beats)

    def vector(self) -> Doubles:
        """Shares, (ROWS x 12,): length, struck, lowest, chords, chords that open phrases, last."""
        rows = (
            *_shares(self._tones, self.beats),
            self.chords,
            self._opening / max(self._phrases, 1),
            sum(self._last) / len(self._last),
        )
        return np.concatenate(rows).ravel()


class Lately:
    """What the last bars have had."""

    def __init__(self) -> None:
        self._beats = 0.0
        self._tones = np.zeros((3, 12))
        self._chords = np.zeros((len(KINDS), 12))

    def add(self, beat: Beat) -> None:
        """One beat more, and all before it a little less."""
        self._beats = _FADE * self._beats + 1
        self._tones = _FADE * self._tones + beat.tones
        self._chords = _FADE * self._chords + beat.chords

    @property
    def chords(self) -> Doubles:
        """The share of each kind of chord on each root, (kinds, 12)."""
        return self._chords / self._beats

    def vector(self) -> Doubles:
        """Shares, (ROWS_LATELY x 12,): length, struck, lowest, chords."""
        rows = (*_shares(self._tones, self._beats), self.chords)
        return np.concatenate(rows).ravel()


def on_tonics(chords: Doubles) -> Doubles:
    """Of chords (kinds, 12), the share that the tonic of each key has, (24,)."""
    major, minor = (chords[kinds].sum(axis=0) for kinds in (_ON_MAJOR_TONIC, _ON_MINOR_TONIC))
    return np.concatenate((major, minor))


def in_blues(chords: Doubles) -> Doubles:
    """Of chords (kinds, 12), how much each tonic has of dominants both on it and on its fourth."""
    dominants = chords[DOMINANT]
    both: Doubles = np.minimum(dominants, np.roll(dominants, -5))
    return both


def _shares(tones: Doubles, beats: float) -> tuple[Doubles, Doubles]:
    """The roots of the shares of length and of strokes, (2, 12), how often lowest, (1, 12)."""
    totals = np.maximum(tones[:2].sum(axis=1, keepdims=True), 1e-6)
    return np.sqrt(tones[:2] / totals), tones[2:] / beats
