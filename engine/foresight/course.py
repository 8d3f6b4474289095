"""Course: the run of the song so far, as a player carries it in the head.

Knows: the last few chords and how long each lasted, the bar of the song, which tones and roots
have been heard.
Refuses to know: what comes next.
How: a frozen value; each felt beat makes the next one from it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final, NamedTuple

import numpy as np

from engine.arrays import Singles
from engine.foresight.agreement import NO_CHORD, NO_FAMILY, ROOTS, Step
from engine.theory.harmony import Chord

CHORDS_KEPT: Final = 5

_FADES: Final = np.array(((0.93,), (0.99,)), dtype=np.float32)
"""Tones are forgotten to a third within about 14 beats (the phrase) and 100 (the key)."""

# Albrecht & Shanahan, "The use of large corpora to train a new type of key-finding algorithm"
# (Music Perception 31, 2013): share of each scale degree in major and minor.
_MAJOR_SHARES: Final = (
    0.238, 0.006, 0.111, 0.006, 0.137, 0.094, 0.016, 0.214, 0.009, 0.080, 0.008, 0.081,
)  # fmt: skip
_MINOR_SHARES: Final = (
    0.220, 0.006, 0.104, 0.123, 0.019, 0.103, 0.012, 0.214, 0.062, 0.022, 0.061, 0.052,
)  # fmt: skip
_KEYS: Final = np.array(
    [np.roll(shares, tonic) for shares in (_MAJOR_SHARES, _MINOR_SHARES) for tonic in range(12)],
    dtype=np.float32,
)


class Sounded(NamedTuple):
    """A chord of the past: its root, family and how many beats it lasted."""

    root: int
    family: int
    beats: int


def _zeros(*shape: int) -> Singles:
    return np.zeros(shape, dtype=np.float32)


@dataclass(frozen=True, slots=True)
class Course:
    """Where the song is after a number of beats.

    `chords` are the last few, newest first; `pulses` is felt beats to the bar; `bar` counts from 0.
    `tones` is how much each pitch class sounded (lately, for long), `roots` how many beats each
    root had, `heard` at which beat it sounded last.
    """

    beats: int = 0
    place: int = 0
    pulses: int = 4
    bar: int = 0
    chord: Chord | None = None
    chords: tuple[Sounded, ...] = ()
    reference: int = 0
    tones: Singles = field(default_factory=lambda: _zeros(2, 12))
    roots: Singles = field(default_factory=lambda: _zeros(ROOTS))
    heard: Singles = field(default_factory=lambda: np.full(ROOTS, -1e4, dtype=np.float32))

    def after(self, step: Step, pulses: int) -> Course:
        """The course after one more felt beat."""
        starts_bar = self.beats > 0 and step.place <= self.place
        roots, heard = self.roots.copy(), self.heard.copy()
        roots[step.root] += 1
        heard[step.root] = self.beats
        return Course(
            self.beats + 1,
            step.place,
            pulses,
            self.bar + starts_bar,
            step.chord,
            self._chords_after(step),
            self.reference if step.chord is None else step.root,
            self._tones_after(step.chord),
            roots,
            heard,
        )

    def _chords_after(self, step: Step) -> tuple[Sounded, ...]:
        if self.chords and self.chords[0].root == step.root:
            newest = self.chords[0]
            return (newest._replace(beats=newest.beats + 1), *self.chords[1:])
        started = Sounded(step.root, step.family, 1)
        return (started, *self.chords[: CHORDS_KEPT - 1])

    def _tones_after(self, chord: Chord | None) -> Singles:
        tones = self.tones * _FADES
        if chord is not None:
            share = 1.0 / len(chord.quality.intervals)
            for interval in chord.quality.intervals:
                tones[:, (chord.root + interval) % 12] += share
            tones[:, chord.root] += share
        return tones

    @property
    def key(self) -> int:
        """The likeliest key: the tonic, plus 12 when minor."""
        return int((_KEYS @ self.tones[1]).argmax())

    def motion(self, back: int) -> int:
        """By what interval the root moved into the chord `back` chords ago, or NO_CHORD."""
        if back + 1 >= len(self.chords):
            return NO_CHORD
        to, since = self.chords[back].root, self.chords[back + 1].root
        return NO_CHORD if NO_CHORD in (to, since) else (to - since) % 12

    def family(self, back: int) -> int:
        """The family of the chord `back` chords ago."""
        return self.chords[back].family if back < len(self.chords) else NO_FAMILY

    def lasted(self, back: int) -> int:
        """How many beats the chord `back` chords ago lasted, 0 before the first."""
        return self.chords[back].beats if back < len(self.chords) else 0
