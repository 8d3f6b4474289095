"""Memory: what this song has done, and so what it may do here.

Knows: the song's felt beats so far, as chord and place in the bar, and for each earlier beat how
long its past agrees with the present one.
Refuses to know: what songs in general do, seconds, notes, probabilities.
How: suffix matching.  For every earlier beat j and every way of agreeing, the length of the
common past ending at j and now; one step moves the whole row along: L[j] = L[j - 1] + 1 where
beat j agrees with the new beat, else 0.  Each j then speaks for the root that followed it.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.harmony import QUALITIES, Chord, Family
from engine.meter import Metre

Ints = NDArray[np.int32]

NO_CHORD: Final = 12
ROOTS: Final = 13
"""Twelve roots, and no chord."""

KEPT: Final = 2000
"""Beats remembered: sixteen minutes at 120; older ones give way, so that a step stays cheap."""

AHEAD: Final = 16
"""Room after the last beat for steps that are only imagined."""

CORRECTABLE: Final = 16
"""Beats that may still be heard otherwise: four bars, longer than any ear doubts."""

_FAMILY_INDEX: Final = {family: i for i, family in enumerate(Family)}
_QUALITY_INDEX: Final = {quality: i for i, quality in enumerate(QUALITIES)}
_PLACES: Final = 64

EXACT, ROOT_ONLY, FULL, TRANSPOSED = range(4)
WAYS: Final = 4
"""How two beats can agree: root and family; root; root, quality and bass; the same at another
pitch.  The place in the bar must agree in all of them."""


@dataclass(frozen=True, slots=True)
class Step:
    """One felt beat as the memory takes it: its chord, and which felt beat of the bar it is."""

    chord: Chord | None
    place: int

    @property
    def root(self) -> int:
        """The root as 0..11, or NO_CHORD."""
        return NO_CHORD if self.chord is None else self.chord.root


def place_in_bar(in_bar: Fraction, metre: Metre) -> int:
    """Which felt beat of the bar a place belongs to, from 0; a bar that overruns counts on."""
    bars, rest = divmod(in_bar, metre.bar)
    pulses = metre.pulses
    return int(bars) * len(pulses) + sum(1 for p in pulses if p <= rest) - 1


class Memory:
    """The beats of the song, and the lengths of their agreement with now.

    Beats up to `count` are remembered; `imagine` goes on from there without remembering.
    """

    def __init__(self) -> None:
        room = KEPT + AHEAD
        self.count = 0
        self._signs: Ints = np.zeros((WAYS, room), dtype=np.int32)
        self._roots: Ints = np.zeros(room, dtype=np.int32)
        self._chords: list[Chord | None] = []
        self._lengths: Ints = np.zeros((WAYS, 0), dtype=np.int32)
        self._committed = self._lengths
        self._now = 0
        self._tail: deque[tuple[Fraction, Step, Ints]] = deque(maxlen=CORRECTABLE)

    @property
    def root_now(self) -> int:
        """The root of the newest beat, imagined or real."""
        return int(self._roots[self._now - 1]) if self._now else NO_CHORD

    def remember(self, step: Step, beat: Fraction) -> None:
        """Add the beat that just ended."""
        if self.count >= KEPT:
            self._forget(KEPT // 4)
        self.forget_imagined()
        before = self._lengths
        self._lengths = self._stepped(step)
        self.count += 1
        self._now = self.count
        self._chords.append(step.chord)
        self._committed = self._lengths
        self._tail.append((beat, step, before))

    def correct(self, beat: Fraction, chord: Chord | None) -> None:
        """Hear one of the last beats as another chord, and go over the beats since."""
        self.forget_imagined()
        places = [i for i, (at, _, _) in enumerate(self._tail) if at == beat]
        if not places or self._tail[places[-1]][1].chord == chord:
            return
        again = list(self._tail)[places[-1] :]
        self._lengths = self._committed = again[0][2]
        self.count = self._now = self.count - len(again)
        del self._chords[self.count :]
        for _ in again:
            self._tail.pop()
        again[0] = (beat, Step(chord, again[0][1].place), again[0][2])
        for at, step, _ in again:
            self.remember(step, at)

    def imagine(self, step: Step) -> None:
        """Go on as if this beat came next."""
        self._lengths = self._stepped(step)
        self._now += 1
        self._chords.append(step.chord)

    def forget_imagined(self) -> None:
        """Return to the last beat that really was."""
        if self._now > self.count:
            self._now = self.count
            del self._chords[self.count :]
            self._lengths = self._committed

    def breaks(self) -> None:
        """The next beat does not follow on the last: no past is common any more."""
        self.forget_imagined()
        self._committed = self._lengths = np.zeros_like(self._lengths)

    def longest(self, way: int) -> tuple[int, Ints]:
        """For one way of agreeing: the longest length, and for each root the longest before it.

        The newest beat has no follower yet and does not speak.
        """
        lengths = self._lengths[way, : self._now - 1]
        best = np.zeros(ROOTS, dtype=np.int32)
        np.maximum.at(best, self._votes(way), lengths)
        return int(best.max(initial=0)), best

    def chord_on(self, root: int) -> Chord | None:
        """The chord last heard on a root in this song, if any."""
        if root == NO_CHORD:
            return None
        for chord in reversed(self._chords):
            if chord is not None and chord.root == root:
                return chord
        return None

    def _votes(self, way: int) -> Ints:
        """The root that each beat but the newest speaks for."""
        roots = self._roots[: self._now]
        followers = roots[1:]
        if way != TRANSPOSED:
            return followers
        moved = (followers - roots[:-1] + roots[-1]) % 12
        silent = (followers == NO_CHORD) | (roots[:-1] == NO_CHORD) | (roots[-1] == NO_CHORD)
        return np.where(silent, followers, moved).astype(np.int32)

    def _stepped(self, step: Step) -> Ints:
        now = self._now
        signs = self._write(step)
        lengths = np.zeros((WAYS, now + 1), dtype=np.int32)
        if now:
            lengths[:, 1:now] = self._lengths[:, : now - 1] + 1
            lengths[:, 0] = 1
            lengths[:, :now] *= self._signs[:, :now] == signs[:, None]
        return lengths

    def _write(self, step: Step) -> Ints:
        now, chord, root = self._now, step.chord, step.root
        before = int(self._roots[now - 1]) if now else NO_CHORD
        family = quality = bass = 40
        motion = NO_CHORD
        if chord is not None:
            family = _FAMILY_INDEX[chord.family]
            quality = _QUALITY_INDEX.get(chord.quality, 41)
            bass = chord.bass
            motion = (root - before) % 12 if before != NO_CHORD else NO_CHORD
        place = step.place % _PLACES
        signs = np.array(
            (
                (root * 64 + family) * _PLACES + place,
                root * _PLACES + place,
                ((root * 64 + quality) * 64 + bass) * _PLACES + place,
                (motion * 64 + family) * _PLACES + place,
            ),
            dtype=np.int32,
        )
        self._signs[:, now] = signs
        self._roots[now] = root
        return signs

    def _forget(self, beats: int) -> None:
        """Drop the oldest beats."""
        self.forget_imagined()
        kept = self.count - beats
        self._signs[:, :kept] = self._signs[:, beats : self.count].copy()
        self._roots[:kept] = self._roots[beats : self.count].copy()
        self._lengths = self._committed = self._lengths[:, beats:].copy()
        del self._chords[:beats]
        self._tail.clear()
        self.count = self._now = kept
