"""Key: a belief over the 24 keys.

Knows: the tones and chords of the beats so far, and which stretch of the song they belong to.
Refuses to know: which notes sound now, and how a key spells its tones.
How: three listeners.  One weighs all that the stretch has had and names the key, so that a borrowed
chord does not shake it and the relative major and minor are told apart by their chords.  Two
notice when the song has moved to another scale: one follows the scale from beat to beat, and is
quick; the other asks what the last bars alone would be called, and knows a move from a few borrowed
chords.  If both say so, a stretch is begun from the last beats, or an old one is taken up again, if
the song comes home.
"""

from __future__ import annotations

from collections import deque
from dataclasses import replace
from typing import Final

import numpy as np

from engine.arrays import Doubles
from engine.hearing.evidence import Vector
from engine.hearing.stretch import (
    DOMINANT,
    Beat,
    Counter,
    Lately,
    Stretch,
    in_blues,
    on_tonics,
)
from engine.hearing.tables import Tables
from engine.theory.harmony import KEYS, Key
from engine.theory.pitch import twin_of

# How far a beat's chord and a beat's tones are believed by the one who follows the scale: beats
# are no independent witnesses.
_CHORD_TRUST: Final = 0.5
_TONE_TRUST: Final = 1.0
# The chance of another scale from one beat to the next.
_LEAVE: Final = 1e-5
# A move is believed when another scale has more than this chance, and the last bars speak for it
# too; the new stretch then has the last beats, in which the doubt arose.  A stretch is first given
# time to settle, the song's first above all: songs wander less than ears do.
_MOVED: Final = 0.5
_DOUBT: Final = 8
_SETTLED: Final = 48
_SETTLED_AGAIN: Final = 16
# How far the one who names the key believes the other once the song has moved, and the least that
# any scale is given.
_FOLLOWED: Final = 0.3
_RULED_OUT: Final = -12.0
# Log odds that a song which moves stays major or minor, as far as it was sure to be.
_SAME_MODE: Final = 1.0
# Log odds that the player's own word for the key is worth at first: another scale outweighs it
# within a bar or two, the relative key within a phrase.
_TOLD: Final = 4.0
# A blues has dominants on its tonic and its fourth, which by their tones belong to the keys a fifth
# and two fifths below: log odds for each share of both that a tonic has.  Twelve bars of F7, Bb7
# and C7 were called B flat for half of their beats or more without it, and never are with it; of a
# third of the charts of one tonic, as block chords, 71.1% are named rightly at their end for 69.3%
# without this and what follows.
_BLUES: Final = 20.0
# From so much of both on a song is in one, and goes on in it while one of them has so much of the
# last bars.
_IN_BLUES: Final = 0.1
_GOES_ON: Final = 0.05
# So much of the last bars the tonic of a scale a fifth away has had before the song is there.
_ARRIVED: Final = 0.05

# A stretch this many beats long is believed half as much as a long one.
_SHORT: Final = 2.0

# The scale of each key, by its major tonic.
_SCALES: Final = np.array([key.scale[2] if key.minor else key.tonic for key in KEYS])


# The tonics that are as often written one way as the other: major F# or Gb, minor Eb or D# and G#
# or Ab.
_MAJOR_TWINS: Final = frozenset({6})
_MINOR_TWINS: Final = frozenset({3, 8})


def written_after(key: Key, before: Key) -> Key:
    """The key as it is written in a song that comes from another: F# after B, Gb after Bb.

    Of two ways to write it the one whose signature is nearer.
    """
    if key.tonic not in (_MINOR_TWINS if key.minor else _MAJOR_TWINS):
        return key
    twin = replace(key, written=twin_of(key.tonic_fifths))
    return min(key, twin, key=lambda each: abs(each.signature - before.signature))


def _chances(scores: Doubles) -> Doubles:
    """Probabilities, from what is unnormalised and logarithmic."""
    chances: Doubles = np.exp(scores - scores.max())
    chances /= chances.sum()
    return chances


class KeyFilter:
    """What is believed about the key so far; `told` is the key that the player gave, if any."""

    def __init__(self, tables: Tables, told: Key | None = None) -> None:
        self._tables = tables.for_keys
        self._told = np.array([_TOLD * (key == told) for key in KEYS])
        self._home, self._key = told, told or KEYS[0]
        self._guessed: tuple[Key, float] | None = None  # by the first beat, while it runs
        self._been_in: dict[int, Key] = {}  # by scale, a key of it as it was written
        self._counter = Counter(tables.qualities)
        self._stretch = Stretch()
        self._left: dict[int, Stretch] = {}  # by scale, the last one of each
        self._last: deque[Beat] = deque(maxlen=_DOUBT)
        self._lately = Lately()
        self._scales = np.zeros(12)
        self._minor_before = 0.5
        self.belief: Doubles = _chances(self._told)

    def best(self) -> tuple[Key, float]:
        """The likeliest key and its probability; while the first beat runs by that beat alone."""
        return self._guessed or (self._key, float(self.belief.max()))

    def guess(self, now: Vector, belief: Doubles, bar: int | None) -> None:
        """The song's first beat as far as it has come, told as to `add`: nothing else tells yet.

        A key that the player gave stands, and the belief waits for the whole beat.
        """
        if self._stretch.beats or self._home is not None:
            return
        begun = Stretch()
        beat = self._counter.beat(now, belief, None)  # phrases are counted from whole beats
        begun.add(replace(beat, opens_phrase=bar is not None))
        chances = _chances(self._scores(begun))
        likeliest = int(chances.argmax())
        self._guessed = written_after(KEYS[likeliest], self._key), float(chances[likeliest])

    def add(self, now: Vector, belief: Doubles, bar: int | None) -> None:
        """A beat is over, in which something sounded.

        Args:
            now: the vectors of evidence.NOW when it was.
            belief: about its chord, (12 x qualities,).
            bar: the number of the bar that began with it, if one did.
        """
        self.follow(self._counter.beat(now, belief, bar))

    def follow(self, beat: Beat) -> None:
        """A beat is over, in which something sounded."""
        self._guessed = None
        self._stretch.add(beat)
        self._last.append(beat)
        self._lately.add(beat)
        self._follow_scale(beat)
        self._name()
        if self._has_moved():
            self._move()
        if self._is_home():
            self._come_home()

    def _move(self) -> None:
        """To a new stretch, which has the last beats."""
        self._minor_before = float(self.belief[12:].sum())
        self._left[self._scale()] = self._stretch
        self._stretch = Stretch()
        for beat in self._last:
            self._stretch.add(beat)
        self._name()

    def _come_home(self) -> None:
        """To a stretch that the song had left: what has been heard since belongs to it."""
        home = self._left.pop(self._scale())
        home.join(self._stretch)
        self._stretch, self._minor_before = home, 0.5
        self._name()

    def _follow_scale(self, beat: Beat) -> None:
        scales = np.log((1 - _LEAVE) * _chances(self._scales) + _LEAVE / 12)
        tones = beat.lengths / max(float(beat.lengths.sum()), 0.5)
        scales += _CHORD_TRUST * (beat.chords.ravel() @ self._tables.turned_scale_chords)
        scales += _TONE_TRUST * (tones @ self._tables.turned_scale_tones)
        self._scales = scales - np.logaddexp.reduce(scales)

    def _scores(self, stretch: Stretch) -> Doubles:
        """What a stretch says for each key by itself, (24,)."""
        begun, long = stretch.vector() @ self._tables.turned_weights
        scores: Doubles = long + stretch.youth * (begun - long)
        scores[12:] += self._tables.minor_bias
        scores[:12] += _BLUES * in_blues(stretch.chords)
        scores *= stretch.beats / (stretch.beats + _SHORT)
        return scores

    def _name(self) -> None:
        stretch = self._stretch
        scores = self._scores(stretch)
        if self._left:  # a new stretch is short, and the one who follows saw it come
            scores += _FOLLOWED * np.maximum(self._scales[_SCALES], _RULED_OUT)
            scores[12:] += _SAME_MODE * (2 * self._minor_before - 1)
        else:
            scores += self._told
        self.belief = _chances(scores)
        self._key = self._as_written(KEYS[int(self.belief.argmax())])
        if self._left or stretch.beats >= _SETTLED_AGAIN:  # the first beats may name any key
            self._been_in.setdefault(self._scale(), self._key)

    def _as_written(self, key: Key) -> Key:
        """The key as the player wrote it, or else as the song has had it: Gb after B flat.

        G flat minor has no signature and is written F#, so the key before would not do alone.
        """
        if key == self._key:
            return self._key
        before = self._been_in.get(self._scale(), self._key)
        return self._home if self._home == key else written_after(key, before)

    def _scale(self) -> int:
        return int(_SCALES[self.belief.argmax()])

    def _has_moved(self) -> bool:
        """Whether another scale than the named key's is believed in."""
        here, there = self._scale(), int(self._scales.argmax())
        return (
            there != here
            and self._stretch.beats >= (_SETTLED_AGAIN if self._left else _SETTLED)
            and self._scales[there] > np.log(_MOVED)
            and self._sounds_lately(there, here)
            and self._has_arrived(there, here)
            and not self._goes_on_in_blues()
        )

    def _has_arrived(self, scale: int, other: int) -> bool:
        """Whether a scale that shares all tones but one with the other has had its tonic lately."""
        if (scale - other) % 12 not in {5, 7}:
            return True
        of_the_scale = on_tonics(self._lately.chords)[scale == _SCALES]
        return bool(of_the_scale.max() >= _ARRIVED)

    def _goes_on_in_blues(self) -> bool:
        """Whether the song is a blues, as the key is called, and still has its chords."""
        key = self._key
        tonic, fourth = key.tonic, (key.tonic + 5) % 12
        if key.minor or in_blues(self._stretch.chords)[tonic] < _IN_BLUES:
            return False
        lately = self._lately.chords[DOMINANT]
        return bool(max(lately[tonic], lately[fourth]) > _GOES_ON)

    def _is_home(self) -> bool:
        """Whether the song is in a scale that it has left, by its name and by who follows."""
        return self._scale() in self._left and self._scale() == int(self._scales.argmax())

    def _sounds_lately(self, scale: int, other: int) -> bool:
        """Whether the last bars alone would sooner be in one scale than in another."""
        scores = self._lately.vector() @ self._tables.turned_lately
        scores[12:] += self._tables.lately_bias
        one, two = (np.logaddexp.reduce(scores[each == _SCALES]) for each in (scale, other))
        return bool(one > two)
