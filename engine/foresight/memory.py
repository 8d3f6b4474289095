"""Memory: what this song has done, and so what it may do here.

Knows: the song's felt beats so far, as chord and place in the bar, and for each earlier beat how
well its past agrees with the present one.
Refuses to know: what songs in general do, seconds, notes, probabilities.
How: suffix matching.  For every earlier beat j and every way of agreeing, the length of the
common past ending at j and now; one step moves the whole row along: L[j] = L[j - 1] + 1 where
beat j agrees with the new beat, else 0.  Each j then speaks for the root that followed it.
`votes` counts who speaks for which root, by way and by length.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from engine.harmony import QUALITIES, Chord, Family
from engine.meter import Metre

Ints = NDArray[np.int32]
Floats = NDArray[np.float32]

NO_CHORD: Final = 12
ROOTS: Final = 13
"""Twelve roots, and no chord."""

KEPT: Final = 2000
"""Beats remembered: sixteen minutes at 120; older ones give way, so that a step stays cheap."""

AHEAD: Final = 16
"""Room after the last beat for steps that are only imagined."""

CORRECTABLE: Final = 16
"""Beats that may still be heard otherwise: four bars, longer than any ear doubts."""

FAMILY_INDEX: Final = {family: i for i, family in enumerate(Family)}
NO_FAMILY: Final = len(FAMILY_INDEX)
_QUALITY_INDEX: Final = {quality: i for i, quality in enumerate(QUALITIES)}
_PLACES: Final = 64

EXACT, ROOT_ONLY, FULL, TRANSPOSED = range(4)
TOLERANT, SOFT_SHORT, SOFT_LONG = range(4, 7)
EVENTS, EVENTS_TIMED, SHAPES, SHAPES_TIMED = range(7, 11)
WAYS: Final = 11
"""How the past can agree with now.  Beat by beat: in root and family; root; root, quality and
bass; the same at another pitch; as the first but forgiving a differing chord; as the share of the
last beats (short, long) that agree.  Chord by chord, whatever their lengths: in root and family;
at another pitch; each of these also asking how long that chord lasted."""

_SOFT_SHIFTS: Final = np.array(((3,), (5,)), dtype=np.int32)
_SOFT_WHOLE: Final = 1 << 20
"""The two soft ways forget an eighth and a thirty-second each beat; a whole share is 2 ** 20."""

LENGTHS: Final = (1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64, 96, 128, 192)
BINS: Final = len(LENGTHS) + 1
_BIN_OF: Final = np.searchsorted(LENGTHS, np.arange(KEPT + AHEAD + 1), side="right").astype(
    np.int32
)
_WAY: Final = np.arange(WAYS, dtype=np.int32)[:, None]
_INDEX_BITS: Final = 12
_INDEX: Final = (1 << _INDEX_BITS) - 1
_SOFT_AS_LENGTH: Final = 13
"""By how many bits a soft share is shifted to count as a length: a whole one is 128 beats."""

_SAME_PLACE: Final = 32
"""The same place of a sequencer's song is taken for an agreement of so many beats."""


@dataclass(frozen=True, slots=True)
class Step:
    """One felt beat as the memory takes it: its chord, and which felt beat of the bar it is."""

    chord: Chord | None
    place: int

    @property
    def root(self) -> int:
        """The root as 0..11, or NO_CHORD."""
        return NO_CHORD if self.chord is None else self.chord.root

    @property
    def family(self) -> int:
        """The index of the family, or NO_FAMILY."""
        return NO_FAMILY if self.chord is None else FAMILY_INDEX[self.chord.family]


def place_in_bar(in_bar: Fraction, metre: Metre) -> int:
    """Which felt beat of the bar a place belongs to, from 0; a bar that overruns counts on."""
    bars, rest = divmod(in_bar, metre.bar)
    pulses = metre.pulses
    return int(bars) * len(pulses) + sum(1 for p in pulses if p <= rest) - 1


@dataclass(frozen=True, slots=True)
class Agreement:
    """How the past agrees with one beat.

    `beats` is how many beats there are, the newest included, `chords` how many chords; `lasted`
    how many beats the newest chord has sounded.  `lengths` has a row for each of the ways that go
    beat by beat and a column for each beat but the newest; they are 0 but in the columns `where`,
    which `there` holds alone.  `by_chord` is the same for the two ways that go chord by chord.
    """

    beats: int
    chords: int
    lasted: int
    lengths: Ints
    where: NDArray[np.int64]
    there: Ints
    by_chord: Ints


class Votes(NamedTuple):
    """Who speaks for which root.

    `counts` are the earlier beats (chords, in the ways that go by chord) by root, way and band of
    length; `longest` the longest agreement by root and way, `latest` which beat it was, from 1.
    Band 0 is no agreement; band b from 1 on holds lengths from LENGTHS[b - 1].
    """

    counts: Ints
    longest: Ints
    latest: Ints


def _nothing() -> Agreement:
    none: Ints = np.zeros((EVENTS, 0), dtype=np.int32)
    return Agreement(0, 0, 0, none, np.zeros(0, dtype=np.int64), none, none[:2])


class Memory:
    """The beats of the song, and their agreement with now.

    Beats up to `count` are remembered; `imagine` goes on from there without remembering.
    """

    def __init__(self) -> None:
        room = KEPT + AHEAD
        self.count = 0
        self._signs: Ints = np.zeros((4, room), dtype=np.int32)
        self._roots: Ints = np.full(room, NO_CHORD, dtype=np.int32)
        self._places: Ints = np.zeros(room, dtype=np.int32)
        self._positions = np.zeros(room)
        self._changed = np.zeros(room, dtype=np.bool_)
        self._chord_signs: Ints = np.zeros((2, room), dtype=np.int32)
        self._chord_roots: Ints = np.zeros(room, dtype=np.int32)
        self._chord_lasted: Ints = np.zeros(room, dtype=np.int32)
        self._chords: list[Chord | None] = []
        self._real = self.now = _nothing()
        self._tail: deque[tuple[Fraction, Step, Agreement]] = deque(maxlen=CORRECTABLE)

    @property
    def root_now(self) -> int:
        """The root of the newest beat, imagined or real."""
        return int(self._roots[self.now.beats - 1]) if self.now.beats else NO_CHORD

    def remember(self, step: Step, beat: Fraction, imagined: Agreement | None = None) -> None:
        """Add the beat that just ended; `imagined` is its agreement, had it been imagined last."""
        if self.count >= KEPT:
            self._forget(KEPT // 4)
        self.forget_imagined()
        before = self.now
        if imagined is None or not self.resume(step, imagined):
            self.imagine(step)
        self._positions[self.count] = float(beat)
        self.count += 1
        self._real = self.now
        self._tail.append((beat, step, before))

    def correct(self, beat: Fraction, chord: Chord | None) -> bool:
        """Hear one of the last beats as another chord, and go over the beats since."""
        self.forget_imagined()
        places = [i for i, (at, _, _) in enumerate(self._tail) if at == beat]
        if not places or self._tail[places[-1]][1].chord == chord:
            return False
        again = list(self._tail)[places[-1] :]
        self.now = self._real = again[0][2]
        self.count -= len(again)
        del self._chords[self.count :]
        for _ in again:
            self._tail.pop()
        again[0] = (beat, Step(chord, again[0][1].place), again[0][2])
        for at, step, _ in again:
            self.remember(step, at)
        return True

    def imagine(self, step: Step) -> None:
        """Go on as if this beat came next."""
        old = self.now
        self._write(step, old)
        self._chords.append(step.chord)
        self.now = self._stepped(step, old)

    def resume(self, step: Step, agreement: Agreement) -> bool:
        """Go on to a beat that was imagined here before; False if it was not here."""
        if agreement.beats != self.now.beats + 1:
            return False
        self._chords.append(step.chord)
        self.now = agreement
        return True

    def forget_imagined(self) -> None:
        """Return to the last beat that really was."""
        if self.now is not self._real:
            del self._chords[self.count :]
            self.now = self._real

    def breaks(self, beat: Fraction) -> None:
        """The next beat, at this place in the song, does not follow on the last.

        No past is common any more, but where this place was heard before it will likely sound
        the same, as in the loop of a sequencer.
        """
        self.forget_imagined()
        self._tail.clear()
        now = self.now
        lengths = np.zeros_like(now.lengths)
        here = np.flatnonzero(self._positions[1 : self.count] == float(beat))
        lengths[:, here] = _SAME_PLACE
        lengths[SOFT_SHORT:, here] = _SOFT_WHOLE // 2
        self._real = self.now = Agreement(
            now.beats,
            now.chords,
            0,
            lengths,
            here,
            lengths[:, here],
            np.zeros_like(now.by_chord),
        )

    def votes(self) -> Votes:
        """Who speaks for which root."""
        cells, lengths, indices = self._spoken()
        bands = cells * BINS + _BIN_OF[lengths]
        counts = np.bincount(bands, minlength=ROOTS * WAYS * BINS).astype(np.int32)
        longest: Ints = np.zeros(ROOTS * WAYS, dtype=np.int32)
        keys = np.where(lengths > 0, (lengths << _INDEX_BITS) + indices + 1, 0)
        np.maximum.at(longest, cells, keys)
        by_root = longest.reshape(ROOTS, WAYS)
        return Votes(counts.reshape(ROOTS, WAYS, BINS), by_root >> _INDEX_BITS, by_root & _INDEX)

    def _spoken(self) -> tuple[Ints, Ints, Ints]:
        """All voices in a row: for which root and in which way, how long they agree, who it is."""
        now = self.now
        beats, chords = len(now.where), max(now.chords - 1, 0)
        count = EVENTS * beats
        cells, lengths, indices = np.empty((3, count + 4 * chords), dtype=np.int32)
        by_beat, by_chord = cells[:count].reshape(EVENTS, -1), cells[count:].reshape(4, -1)
        by_beat[:] = self._roots[now.where + 1]
        root = int(self._roots[now.beats - 1])
        by_beat[TRANSPOSED] = _moved(self._roots[now.where], by_beat[EXACT], root)
        long_by_beat = lengths[:count].reshape(EVENTS, -1)
        long_by_beat[:] = now.there
        long_by_beat[SOFT_SHORT:] >>= _SOFT_AS_LENGTH
        self._speak_by_chord(by_chord, lengths[count:].reshape(4, -1))
        by_beat *= WAYS
        by_beat += _WAY[:EVENTS]
        by_chord *= WAYS
        by_chord += _WAY[EVENTS:]
        indices[:count].reshape(EVENTS, -1)[:] = now.where
        indices[count:].reshape(4, -1)[:] = np.arange(chords)
        return cells, lengths, indices

    def _speak_by_chord(self, roots: Ints, lengths: Ints) -> None:
        """Fill in the roots and lengths of the ways that go chord by chord."""
        m = self.now.chords
        if m < 2:
            return
        here, followers = self._chord_roots[: m - 1], self._chord_roots[1:m]
        root, lasted = int(self._chord_roots[m - 1]), self._chord_lasted[: m - 1]
        longer, timely = lasted > self.now.lasted, lasted >= self.now.lasted
        roots[0], roots[2] = followers, _moved(here, followers, root)
        roots[1::2] = np.where(longer, root, roots[::2])
        lengths[::2] = self.now.by_chord
        lengths[1::2] = self.now.by_chord * timely

    def likeliest_chord(self, root: int) -> Chord | None:
        """The chord on a root that followed the best agreeing past, at this pitch or another."""
        n = self.now.beats
        if root == NO_CHORD or n < 2:
            return None
        lengths, here = self.now.lengths, int(self._roots[n - 1])
        moved = _moved(self._roots[: n - 1], self._roots[1:n], here) == root
        elsewhere = np.where(moved, lengths[TRANSPOSED], 0)
        followed = np.where(self._roots[1:n] == root, lengths[EXACT] * 2 + lengths[FULL] + 1, 0)
        best, other = _last_best(followed), _last_best(elsewhere)
        if followed[best] > 2 * elsewhere[other]:
            return self._chords[best + 1]
        chord = self._chords[other + 1] if elsewhere[other] else None
        return None if chord is None else chord.transposed(root - chord.root)

    def latest(self, depths: Sequence[int], count: int) -> list[list[int]]:
        """For each depth the roots that followed the last few pasts that agree exactly so far."""
        lengths = self.now.lengths[EXACT]
        agreeing = np.flatnonzero(lengths >= depths[0])[::-1]
        lengths, followers = lengths[agreeing], self._roots[agreeing + 1]
        return [followers[lengths >= depth][:count].tolist() for depth in depths]

    def ago(self, beats: int) -> tuple[int, int]:
        """The root so many beats before the next, and how long the past agrees up to there."""
        at = self.now.beats - beats
        if at < 0:
            return NO_CHORD, 0
        return int(self._roots[at]), int(self.now.lengths[EXACT, at - 1]) if at else 0

    def after_best(self, beats: int) -> list[Chord | None]:
        """How the past that agrees best went on, for so many beats after the next."""
        lengths = self.now.lengths[EXACT]
        best = int(lengths.argmax()) if len(lengths) else 0
        went_on = self._chords[best + 2 :] if len(lengths) and lengths[best] else []
        return (went_on + [None] * beats)[:beats]

    def _stepped(self, step: Step, old: Agreement) -> Agreement:
        n = old.beats
        changed = bool(self._changed[n])
        where = np.flatnonzero(self._places[:n] == step.place)
        before = old.lengths[:, where - 1] if n > 1 else np.zeros((EVENTS, len(where)), np.int32)
        if len(where) and where[0] == 0:
            before[:, 0] = 0
        agrees = self._signs[:, where] == self._signs[:, n, None]
        there = np.empty_like(before)
        np.multiply(before[:TOLERANT] + 1, agrees, out=there[:TOLERANT])
        there[TOLERANT] = self._forgiving(before, agrees[EXACT], changed, self._changed[where])
        soft = before[SOFT_SHORT:]
        gains = (_SOFT_WHOLE >> _SOFT_SHIFTS) * agrees[EXACT]
        there[SOFT_SHORT:] = soft - (soft >> _SOFT_SHIFTS) + gains
        lengths: Ints = np.zeros((EVENTS, n), dtype=np.int32)
        lengths[:, where] = there
        starts = changed or not old.lasted
        return Agreement(
            n + 1,
            old.chords + starts,
            1 if starts else old.lasted + 1,
            lengths,
            where,
            there,
            self._chord_by_chord(old) if starts else old.by_chord,
        )

    @staticmethod
    def _forgiving(
        before: Ints, agrees: NDArray[np.bool_], changed: bool, there_changed: NDArray[np.bool_]
    ) -> Ints:
        """Lengths of agreement where a differing chord costs a quarter and two beats, not all."""
        tolerated = before[TOLERANT]
        cost = (tolerated >> 2) + 2
        if not changed:
            cost *= there_changed | (before[EXACT] > 0)
        kept: Ints = np.where(agrees, tolerated + 1, np.maximum(tolerated - cost, 0))
        return kept

    def _chord_by_chord(self, old: Agreement) -> Ints:
        m = old.chords
        agrees = self._chord_signs[:, :m] == self._chord_signs[:, m, None]
        lengths = np.ones((2, m), dtype=np.int32)
        lengths[:, 1:] += old.by_chord[:, : m - 1]
        lengths *= agrees
        return lengths

    def _write(self, step: Step, old: Agreement) -> None:
        n, root = old.beats, step.root
        before = int(self._roots[n - 1]) if n else -1
        quality = bass = 60
        if step.chord is not None:
            quality = _QUALITY_INDEX.get(step.chord.quality, 61)
            bass = step.chord.bass
        place, family = step.place % _PLACES, step.family
        motion = NO_CHORD if NO_CHORD in (root, before) else (root - before) % 12
        self._signs[:, n] = (
            (root * 64 + family) * _PLACES + place,
            root * _PLACES + place,
            ((root * 64 + quality) * 64 + bass) * _PLACES + place,
            (motion * 64 + family) * _PLACES + place,
        )
        self._roots[n] = root
        self._places[n] = step.place
        self._changed[n] = root != before
        self._write_chord(step, old, motion)

    def _write_chord(self, step: Step, old: Agreement, motion: int) -> None:
        starts = self._changed[old.beats] or not old.lasted
        m = old.chords if starts else old.chords - 1
        if starts:
            self._chord_roots[m] = step.root
            self._chord_signs[:, m] = step.root * 64 + step.family, motion * 64 + step.family
        self._chord_lasted[m] = 1 if starts else old.lasted + 1

    def _forget(self, beats: int) -> None:
        """Drop the oldest beats, and the chords that ended before them."""
        self.forget_imagined()
        now, n = self.now, self.now.beats
        chords = int(self._changed[:beats].sum())
        for row in (self._signs, self._chord_signs):
            cut = beats if row is self._signs else chords
            row[:, : n - cut] = row[:, cut:n].copy()
        for line in (self._roots, self._places, self._changed, self._positions):
            line[: n - beats] = line[beats:n].copy()
        for line in (self._chord_roots, self._chord_lasted):
            line[: n - chords] = line[chords:n].copy()
        del self._chords[:beats]
        self._tail.clear()
        self.count -= beats
        lengths = now.lengths[:, beats:].copy()
        np.minimum(lengths[:SOFT_SHORT], n - beats, out=lengths[:SOFT_SHORT])
        where = now.where[now.where >= beats] - beats
        self._real = self.now = Agreement(
            n - beats,
            now.chords - chords,
            now.lasted,
            lengths,
            where,
            lengths[:, where],
            np.minimum(now.by_chord[:, chords:], now.chords - chords),
        )


def _moved(here: Ints, followers: Ints, root: int) -> Ints:
    """The followers, moved by the interval from where they were heard to a root now."""
    if root == NO_CHORD:
        return followers
    moved = (followers - here + root) % 12
    return np.where((followers == NO_CHORD) | (here == NO_CHORD), followers, moved)


def _last_best(scores: Ints) -> int:
    """Where the highest score is, the last of equals."""
    return len(scores) - 1 - int(scores[::-1].argmax())
