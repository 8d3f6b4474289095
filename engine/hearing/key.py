"""Key: a belief over the 24 keys.

Knows: how much of each pitch class and each kind of chord this stretch of the song has had, on
bar lines, lately and in cadences.
Refuses to know: which notes sound now, how a key is spelled.
How: two listeners.  One follows the scale from beat to beat and notices when the song has moved
to another; then a stretch is begun from the last beats, or taken up again if the song comes home.
The other weighs all that the stretch has had and names the key, so that a borrowed chord does
not shake it and the relative major and minor are told apart by their chords.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Final

import numpy as np

from engine.harmony import KEYS, Key
from engine.hearing.evidence import Vector
from engine.hearing.tables import BAR_LINE, Array, Tables

# What kinds of chord a key tells apart; every quality is one of them.
KINDS: Final = ("major", "minor", "dominant", "diminished", "open")
_KIND_BY_QUALITY: Final = {
    "maj": 0, "maj7": 0, "maj6": 0, "aug": 0, "min": 1, "min7": 1, "min6": 1, "minmaj7": 1,
    "7": 2, "dim": 3, "hdim7": 3, "dim7": 3,
}  # fmt: skip

# How far a beat's chord and a beat's tones are believed by the one who follows the scale: beats
# are no independent witnesses.
_CHORD_TRUST: Final = 0.5
_TONE_TRUST: Final = 1.0
# The chance of another scale from one beat to the next.
_LEAVE: Final = 1e-5
# A move is believed when another scale has had more than this chance for some beats on end, so that
# a last chord turned major is none; the new stretch then has the last beats, in which the doubt
# arose.  A stretch is first given time to settle, the song's first above all: songs wander less
# than ears do.
_MOVED: Final = 0.5
_STOOD: Final = 3
_DOUBT: Final = 8
_SETTLED: Final = 48
_SETTLED_AGAIN: Final = 16
# How far the one who names the key believes the other once the song has moved, and the least that
# any scale is given.
_FOLLOWED: Final = 0.3
_RULED_OUT: Final = -12.0
# Log odds that the player's own word for the key is worth at first: another scale outweighs it
# within a bar or two, the relative key within a phrase.
_TOLD: Final = 4.0
# A stretch this many beats long is believed half as much as a long one.
_SHORT: Final = 2.0

# The scale of each key, by its major tonic.
_SCALES: Final = np.array([key.scale[2] if key.minor else key.tonic for key in KEYS])


@dataclass(frozen=True, slots=True)
class Beat:
    """What one beat adds to a stretch."""

    tones: Array
    chords: Array
    cadences: Array
    on_bar_line: bool


class Stretch:
    """What has been heard since the song came into its key."""

    def __init__(self) -> None:
        self.beats = 0
        self._bars = 0
        self._tones = np.zeros(12)
        self._chords = np.zeros((len(KINDS), 12))
        self._on_bars = np.zeros((len(KINDS), 12))
        self._cadences = np.zeros((2, 12))
        self._last: deque[Array] = deque(maxlen=2)

    def add(self, beat: Beat) -> None:
        """One beat more."""
        self.beats += 1
        self._tones += beat.tones
        self._chords += beat.chords
        self._cadences += beat.cadences
        self._last.append(beat.chords)
        if beat.on_bar_line:
            self._bars += 1
            self._on_bars += beat.chords

    def vector(self) -> Array:
        """Shares, 18 rows of twelve: tones, chords, chords on bar lines, last, cadences."""
        total = max(float(self._tones.sum()), 1e-6)
        chords = self._chords / self.beats
        on_bars = self._on_bars / self._bars if self._bars else chords
        last = sum(self._last) / len(self._last)
        cadences = self._cadences / max(self.beats - 1, 1)
        rows = (np.sqrt(self._tones / total)[None], chords, on_bars, last, cadences)
        return np.concatenate(rows).ravel()


def kinds_of(qualities: tuple[str, ...]) -> Array:
    """Which kind each quality is: (qualities, kinds), ones and zeros."""
    return np.eye(len(KINDS))[[_KIND_BY_QUALITY.get(name, 4) for name in qualities]]


def beat_of(lengths: Array, belief: Array, place: int, before: Beat | None, kinds: Array) -> Beat:
    """What a beat adds: a cadence is a major chord or dominant a fifth above, just before."""
    chords = (belief.reshape(12, -1) @ kinds).T
    cadences = np.zeros((2, 12))
    if before is not None:
        cadences = np.roll(before.chords[0] + before.chords[2], -7) * chords[:2]
    return Beat(lengths, chords, cadences, place == BAR_LINE)


class KeyFilter:
    """What is believed about the key so far; `told` is the key that the player gave, if any."""

    def __init__(self, tables: Tables, told: Key | None = None) -> None:
        self._tables = tables
        self._told = np.array([_TOLD * (key == told) for key in KEYS])
        self._kinds = kinds_of(tables.qualities)
        self._stretch = Stretch()
        self._left: dict[int, Stretch] = {}
        self._lately: deque[Beat] = deque(maxlen=_DOUBT)
        self._scales = np.zeros(12)
        self._stood = 0
        self.belief: Array = np.exp(self._told) / np.exp(self._told).sum()

    def best(self) -> tuple[Key, float]:
        """The likeliest key and its probability."""
        index = int(self.belief.argmax())
        return KEYS[index], float(self.belief[index])

    def add(self, lengths: Vector, chords: Array, place: int) -> None:
        """A beat is over: so much of each pitch class, this belief about its chord."""
        if lengths.sum() <= 0:
            return
        before = self._lately[-1] if self._lately else None
        beat = beat_of(lengths, chords, place, before, self._kinds)
        self._stretch.add(beat)
        self._lately.append(beat)
        self._follow_scale(beat)
        self._name()
        self._stood = self._stood + 1 if self._doubted() else 0
        if self._stood >= _STOOD:
            self._stood = 0
            self._left[self._scale()] = self._stretch
            self._stretch = self._left.pop(int(self._scales.argmax()), Stretch())
            for each in self._lately:
                self._stretch.add(each)
            self._name()

    def _follow_scale(self, beat: Beat) -> None:
        chances = np.exp(self._scales - self._scales.max())
        chances /= chances.sum()
        scales = np.log((1 - _LEAVE) * chances + _LEAVE / 12)
        tones = beat.tones / max(float(beat.tones.sum()), 0.5)
        scales += _CHORD_TRUST * (beat.chords.ravel() @ self._tables.turned_scale_chords)
        scales += _TONE_TRUST * (tones @ self._tables.turned_scale_tones)
        self._scales = scales - np.logaddexp.reduce(scales)

    def _name(self) -> None:
        scores = self._stretch.vector() @ self._tables.turned_key_weights
        scores[12:] += self._tables.minor_bias
        scores *= self._stretch.beats / (self._stretch.beats + _SHORT)
        if self._left:  # a new stretch is short, and the one who follows saw it come
            scores += _FOLLOWED * np.maximum(self._scales[_SCALES], _RULED_OUT)
        else:
            scores += self._told
        chances = np.exp(scores - scores.max())
        self.belief = chances / chances.sum()

    def _scale(self) -> int:
        return int(_SCALES[self.belief.argmax()])

    def _doubted(self) -> bool:
        """Whether another scale than the named key's is believed in."""
        there = int(self._scales.argmax())
        return (
            there != self._scale()
            and self._stretch.beats >= (_SETTLED_AGAIN if self._left else _SETTLED)
            and self._scales[there] > np.log(_MOVED)
        )
