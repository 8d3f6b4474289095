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

_DECAY: Final = np.array(((0.875,), (0.96875,)), dtype=np.float32)
"""The two soft ways remember about 8 and 32 beats."""

LENGTHS: Final = (1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64, 96, 128, 192)
BINS: Final = len(LENGTHS) + 1
_BIN_OF: Final = np.searchsorted(LENGTHS, np.arange(KEPT + AHEAD + 1), side="right").astype(
    np.int32
)
_CELLS: Final = (np.arange(WAYS, dtype=np.int32) * ROOTS)[:, None]
_INDEX_BITS: Final = 12
_INDEX: Final = (1 << _INDEX_BITS) - 1

_SAME_PLACE: Final = 32
"""The same place of a sequencer's song is taken for an agreement of so many beats."""

SOFT_WHOLE: Final = 128
"""A soft agreement of the whole past, as a length."""


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
    """How the past agrees with one beat: a row of beats by way, a row of chords by way.

    `beats` is how many beats there are, the newest included, `chords` how many chords; `lasted`
    how many beats the newest chord has sounded.
    """

    beats: int
    chords: int
    lasted: int
    lengths: Ints
    tolerant: Ints
    soft: Floats
    by_chord: Ints

    def beat_lengths(self) -> Ints:
        """The lengths by beat, a row for each way; the soft ways as SOFT_WHOLE times the share."""
        soft = (self.soft * SOFT_WHOLE).astype(np.int32)
        return np.concatenate((self.lengths, self.tolerant[None], soft))


class Votes(NamedTuple):
    """Who speaks for which root.

    `counts` are the earlier beats (chords, in the ways that go by chord) by way, root and band of
    length; `longest` the longest agreement by way and root, `latest` which beat it was, from 1.
    Band 0 is no agreement; band b from 1 on holds lengths from LENGTHS[b - 1].
    """

    counts: Ints
    longest: Ints
    latest: Ints


def _nothing() -> Agreement:
    none = np.zeros((4, 0), dtype=np.int32)
    return Agreement(0, 0, 0, none, none[0], np.zeros((2, 0), np.float32), none[:2])


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

    def remember(self, step: Step, beat: Fraction) -> None:
        """Add the beat that just ended."""
        if self.count >= KEPT:
            self._forget(KEPT // 4)
        self.forget_imagined()
        before = self.now
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
        soft = np.zeros_like(now.soft)
        soft[:, here] = 1 - _DECAY**_SAME_PLACE
        self._real = self.now = Agreement(
            now.beats,
            now.chords,
            0,
            lengths,
            lengths[EXACT].copy(),
            soft,
            np.zeros_like(now.by_chord),
        )

    def votes(self) -> Votes:
        """Who speaks for which root."""
        counts: Ints = np.zeros(WAYS * ROOTS * BINS, dtype=np.int32)
        longest: Ints = np.zeros(WAYS * ROOTS, dtype=np.int32)
        if self.now.beats > 1:
            self._poll(self._beat_votes(), self.now.beat_lengths(), 0, counts, longest)
            self._poll(self._chord_votes(), self._chord_lengths(), EVENTS, counts, longest)
        by_way = longest.reshape(WAYS, ROOTS)
        return Votes(counts.reshape(WAYS, ROOTS, BINS), by_way >> _INDEX_BITS, by_way & _INDEX)

    @staticmethod
    def _poll(voted: Ints, lengths: Ints, first_way: int, counts: Ints, longest: Ints) -> None:
        """Count votes for roots by way and band, and keep the longest, the latest on a tie."""
        cells = voted + _CELLS[first_way : first_way + len(voted)]
        counts[:] += np.bincount((cells * BINS + _BIN_OF[lengths]).ravel(), minlength=len(counts))
        keys = (lengths << _INDEX_BITS) + np.arange(1, lengths.shape[1] + 1, dtype=np.int32)
        np.maximum.at(longest, cells.ravel(), np.where(lengths > 0, keys, 0).ravel())

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

    def after_best(self, beats: int) -> list[Chord | None]:
        """How the past that agrees best went on, for so many beats after the next."""
        lengths = self.now.lengths[EXACT]
        best = int(lengths.argmax()) if len(lengths) else 0
        went_on = self._chords[best + 2 :] if len(lengths) and lengths[best] else []
        return (went_on + [None] * beats)[:beats]

    def _beat_votes(self) -> Ints:
        n = self.now.beats
        here, followers = self._roots[: n - 1], self._roots[1:n]
        voted = np.repeat(followers[None], EVENTS, axis=0)
        voted[TRANSPOSED] = _moved(here, followers, int(self._roots[n - 1]))
        return voted

    def _chord_votes(self) -> Ints:
        m = self.now.chords
        here, followers = self._chord_roots[: m - 1], self._chord_roots[1:m]
        root = int(self._chord_roots[m - 1])
        moved = _moved(here, followers, root)
        longer = self._chord_lasted[: m - 1] > self.now.lasted
        return np.stack(
            (followers, np.where(longer, root, followers), moved, np.where(longer, root, moved))
        )

    def _chord_lengths(self) -> Ints:
        exact, shape = self.now.by_chord
        timely = self._chord_lasted[: self.now.chords - 1] >= self.now.lasted
        return np.stack((exact, exact * timely, shape, shape * timely))

    def _stepped(self, step: Step, old: Agreement) -> Agreement:
        n = old.beats
        changed = bool(self._changed[n])
        same_place = self._places[:n] == step.place
        agrees = self._signs[:, :n] == self._signs[:, n, None]
        lengths = np.ones((4, n), dtype=np.int32)
        lengths[:, 1:] += old.lengths[:, : n - 1]
        lengths *= agrees
        tolerant = self._forgiving(old, agrees[EXACT], changed, same_place)
        soft = np.zeros((2, n), dtype=np.float32)
        soft[:, 1:] = old.soft[:, : n - 1] * _DECAY
        soft += agrees[EXACT] * (1 - _DECAY)
        soft *= same_place
        starts = changed or not old.lasted
        by_chord = self._chord_by_chord(old) if starts else old.by_chord
        return Agreement(
            n + 1,
            old.chords + starts,
            1 if starts else old.lasted + 1,
            lengths,
            tolerant,
            soft,
            by_chord,
        )

    def _forgiving(
        self,
        old: Agreement,
        agrees: NDArray[np.bool_],
        changed: bool,
        same_place: NDArray[np.bool_],
    ) -> Ints:
        """Lengths of agreement where a differing chord costs a quarter and two beats, not all."""
        n = old.beats
        before = np.zeros(n, dtype=np.int32)
        before[1:] = old.tolerant[: n - 1]
        cost = (before >> 2) + 2
        if not changed and n > 1:
            goes_on = ~self._changed[:n]
            goes_on[1:] &= old.lengths[EXACT, : n - 1] == 0
            cost[goes_on] = 0
        kept = np.maximum(before - cost, 0)
        return np.where(agrees, before + 1, kept) * same_place

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
        self._real = self.now = Agreement(
            n - beats,
            now.chords - chords,
            now.lasted,
            np.minimum(now.lengths[:, beats:], n - beats),
            np.minimum(now.tolerant[beats:], n - beats),
            now.soft[:, beats:].copy(),
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
