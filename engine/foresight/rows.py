"""Rows: the felt beats and chords of a song as numbers that can be held against each other.

Knows: how a beat is written down so that each way of agreeing is one comparison of numbers.
Refuses to know: what agrees with what.
How: an array for each thing known of a beat, or of a chord, with room for the beats remembered
and a few imagined after them.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.foresight.agreement import AHEAD, KEPT, NO_CHORD, Agreement, Ints, Step
from engine.theory.harmony import QUALITIES, Chord

_QUALITY_INDEX: Final = {quality: i for i, quality in enumerate(QUALITIES)}
_PLACES: Final = 64
_NONE: Final = 60
_UNLISTED: Final = 61


class Rows:
    """What is written of each beat and of each chord; `signs` agree where beats agree."""

    def __init__(self) -> None:
        room = KEPT + AHEAD
        self.signs: Ints = np.zeros((4, room), dtype=np.int32)
        self.roots: Ints = np.full(room, NO_CHORD, dtype=np.int32)
        self.places: Ints = np.zeros(room, dtype=np.int32)
        self.positions = np.zeros(room)
        self.changed: NDArray[np.bool_] = np.zeros(room, dtype=np.bool_)
        # Where a chord begins: on a change, and after a break even on the root before it.
        self.begins: NDArray[np.bool_] = np.zeros(room, dtype=np.bool_)
        self.chords: list[Chord | None] = []
        self.chord_signs: Ints = np.zeros((2, room), dtype=np.int32)
        self.chord_roots: Ints = np.zeros(room, dtype=np.int32)
        self.chord_lasted: Ints = np.zeros(room, dtype=np.int32)

    def write(self, step: Step, old: Agreement) -> None:
        """Write the beat that comes after those of `old`."""
        n, root = old.beats, step.root
        before = int(self.roots[n - 1]) if n else -1
        quality = bass = _NONE
        if step.chord is not None:
            quality = _QUALITY_INDEX.get(step.chord.quality, _UNLISTED)
            bass = step.chord.bass
        place, family = step.place % _PLACES, step.family
        motion = NO_CHORD if NO_CHORD in (root, before) else (root - before) % 12
        self.signs[:, n] = (
            (root * 64 + family) * _PLACES + place,
            root * _PLACES + place,
            ((root * 64 + quality) * 64 + bass) * _PLACES + place,
            (motion * 64 + family) * _PLACES + place,
        )
        self.roots[n] = root
        self.places[n] = step.place
        self.changed[n] = root != before
        self.begins[n] = self.changed[n] or not old.lasted
        self.chords.append(step.chord)
        self._write_chord(step, old, motion)

    def _write_chord(self, step: Step, old: Agreement, motion: int) -> None:
        m = old.chords
        if not self.begins[old.beats]:
            self.chord_lasted[m - 1] = old.lasted + 1
            return
        if old.lasted:  # what was imagined of the chord before is forgotten
            self.chord_lasted[m - 1] = old.lasted
        self.chord_roots[m] = step.root
        self.chord_signs[:, m] = step.root * 64 + step.family, motion * 64 + step.family
        self.chord_lasted[m] = 1

    def drop(self, count: int, beats: int) -> int:
        """Drop the oldest of `count` beats; the number of chords that went with them."""
        chords = int(self.begins[:beats].sum())
        by_beats = (self.signs, self.roots, self.places, self.positions, self.changed, self.begins)
        for by_beat in by_beats:
            by_beat[..., : count - beats] = by_beat[..., beats:count].copy()
        for by_chord in (self.chord_signs, self.chord_roots, self.chord_lasted):
            by_chord[..., : count - chords] = by_chord[..., chords:count].copy()
        del self.chords[:beats]
        return chords
