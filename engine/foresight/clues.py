"""Clues: everything that speaks for or against each root, as numbers for the judge.

Knows: the shape and scale of what the judge was fitted on.
Refuses to know: what the judge makes of it.
How: one row per candidate (twelve roots and no chord), and one row that is common to all; each
clue is a share, a flag or a logarithm, near 0 to 1.  What a place of the song tells is gathered
once; what the ear says, and who has been right so far, is filled in each time it is judged by.
"""

from __future__ import annotations

from math import log, log2, log10
from typing import Final, NamedTuple

import numpy as np

from engine.arrays import Doubles, Singles
from engine.foresight.agreement import (
    AHEAD,
    BINS,
    EXACT,
    KEPT,
    NO_CHORD,
    NO_FAMILY,
    ROOTS,
    WAYS,
    Ints,
    Votes,
)
from engine.foresight.course import Course
from engine.foresight.custom import STAYS, TABLES
from engine.foresight.memory import Memory

_DEPTHS: Final = np.array((1, 2, 4, 6, 8, 10, 12, 14))
"""The length bands at which votes are counted: from 1, 2, 4, 8, 16, 32, 64 and 128 beats."""

_AT_LEAST: Final = (np.arange(BINS)[:, None] >= _DEPTHS[None, :]).astype(np.float32)
_SCALED: Final = np.log2(1 + np.arange(KEPT + AHEAD + 2), dtype=np.float32) / np.float32(8)
_AGES: Final = np.log1p(np.arange(KEPT + AHEAD + 2), dtype=np.float32) * np.float32(0.15)

_TURNS: Final = (np.arange(12)[:, None] + np.arange(12)[None, :]) % 12
_HIT_FADE: Final = 15 / 16
"""How well a way of remembering does is judged by about its last sixteen calls."""

_LONG_HIT_FADE: Final = 95 / 96

_TAKES: Final = (4, 8, 16, 32)
"""How many beats must agree for an earlier time to count as the same passage."""

_BARS_AGO: Final = (1, 2, 4, 8, 12, 16)

_TWO_WAYS: Final = [i for i, table in enumerate(TABLES) if table.two_ways]
_ONLY_MOVES: Final = [i for i, table in enumerate(TABLES) if table.only_moves]

_PLACES: Final = 12
_LASTED: Final = 17
_PULSES: Final = (3, 4, 6, 12)
_DUE: Final = (1, 2, 4, 8, 16)

_LEAST_DOUBT: Final = 0.01
"""The ear is sure where it doubts less than that; chords that are given are not doubted at all."""

_LEAST_COMING: Final = 0.003
"""What the ear expects less than that it does not expect."""

OF_EAR: Final = slice(-len(TABLES) - 1, -len(TABLES))
"""Where the ear's word stands among all clues of a candidate; whether it was asked is the last of
those common to all."""

_NOTHING_TOLD: Final = np.zeros((ROOTS, 1), dtype=np.float32)
_OF_RECORD: Final = slice(2 * WAYS, 5 * WAYS)
"""Where the record of each way of remembering stands among the clues common to all."""


class Said(NamedTuple):
    """What the ear says: how surely it heard the chord that sounds, and what it expects.

    `coming` is its belief about the root of the next beat, (12,): see Ear.coming; None where it was
    not asked.
    """

    sure: float
    coming: Doubles | None = None


GIVEN: Final = Said(1.0)
"""Of chords that nobody had to hear."""


class Record:
    """How well each way of remembering has called the beats of this song, and the changes."""

    def __init__(self) -> None:
        self.hits: Singles = np.full((3, WAYS), 0.5, dtype=np.float32)

    def judge(self, longest: Ints, root_before: int, root: int) -> None:
        """Note who was right about a beat."""
        calls = np.where(longest.max(0) > 0, longest.argmax(0), root_before)
        right = calls == root
        moved = (calls != root_before) | (root != root_before)
        fades = np.empty((3, WAYS), dtype=np.float32)
        fades[0], fades[2] = _HIT_FADE, _LONG_HIT_FADE
        fades[1] = np.where(moved, _HIT_FADE, 1.0)
        self.hits = fades * self.hits + (1 - fades) * right


class Clues(NamedTuple):
    """What speaks at one place of the song, whatever the ear says and whoever has been right.

    `candidates` has a row for each of the thirteen, `common` is one row for all of them; the places
    of what is still to be told are empty.
    """

    votes: Votes
    candidates: Singles
    common: Singles

    def told(self, record: Record, said: Said) -> tuple[Singles, Singles]:
        """The clues of the candidates and those common to all, with nothing left to be told."""
        candidates, common = self.candidates.copy(), self.common.copy()
        if said.coming is not None:
            candidates[:12, -1] = 0.2 * np.log(said.coming + _LEAST_COMING)
            candidates[NO_CHORD, -1] = 0.2 * log(_LEAST_COMING)  # the ear expects no silence
        common[_OF_RECORD] = record.hits.ravel()
        common[-2:] = -0.5 * log10(1 - said.sure + _LEAST_DOUBT), said.coming is not None
        return candidates, common


def gather(memory: Memory, course: Course) -> Clues:
    """What speaks after the beat that the memory has come to."""
    votes = memory.votes()
    return Clues(votes, _of_candidates(memory, votes, course), _common(memory, votes, course))


def _of_candidates(memory: Memory, votes: Votes, course: Course) -> Singles:
    deep = votes.counts.reshape(-1, BINS).astype(np.float32) @ _AT_LEAST
    deep = deep.reshape(ROOTS, -1)
    parts = (
        np.log1p(deep) * np.float32(0.25),
        deep / np.maximum(deep.sum(0), 1),
        _of_longest(votes, memory.now.beats).reshape(ROOTS, -1),
        _of_latest(memory),
        _of_bars_ago(memory, course),
        _of_roots(course),
        _NOTHING_TOLD,
    )
    return np.concatenate(parts, axis=1, dtype=np.float32)


def _of_longest(votes: Votes, beats: int) -> Singles:
    """By root and way: the longest agreement, its lead over the others, and how old it is."""
    longest, latest = votes.longest, votes.latest
    best = longest.max(0)
    leads = longest == best
    second = np.where(leads, -1, longest).max(0)
    other = np.where(leads, np.where(leads.sum(0) > 1, best, second), best)
    newest = (latest * leads).max(0)
    out = np.empty((ROOTS, WAYS, 5), dtype=np.float32)
    out[:, :, 0] = _SCALED[longest]
    out[:, :, 1] = out[:, :, 0] - _SCALED[other]
    out[:, :, 2] = np.minimum(np.maximum((longest - other) / 16, -1), 1)
    out[:, :, 3] = (latest == newest) & (longest > 0)
    out[:, :, 4] = np.where(longest > 0, _AGES[np.maximum(beats - latest, 0)], 1)
    return out


def _of_latest(memory: Memory) -> Singles:
    """What came the last times this was played: of endings the first and second take turns."""
    out = np.zeros((ROOTS, 3 * len(_TAKES)), dtype=np.float32)
    for i, roots in enumerate(memory.latest(_TAKES, 3)):
        for back, root in enumerate(roots):
            out[root, 3 * i + back] = 1
    return out


def _of_bars_ago(memory: Memory, course: Course) -> Singles:
    """What came so and so many whole bars ago, and how far back it agrees from there."""
    out = np.zeros((ROOTS, len(_BARS_AGO)), dtype=np.float32)
    for i, bars in enumerate(_BARS_AGO):
        root, length = memory.ago(bars * course.pulses)
        out[root, i] = 0.25 + 0.09 * log2(1 + length)
    return out


def _of_roots(course: Course) -> Singles:
    """What each candidate is to the chords and tones of the song so far."""
    out = np.zeros((ROOTS, 13 + 5 + 3 + 36), dtype=np.float32)
    intervals = (np.arange(12) - course.reference) % 12
    out[np.arange(12), intervals] = 1
    out[NO_CHORD, 12] = 1
    now = NO_CHORD if course.chord is None else course.chord.root
    out[now, 13] = course.beats > 0
    for back in range(1, 5):
        if back < len(course.chords):
            out[course.chords[back].root, 13 + back] = 1
    out[:, 18] = course.roots / max(course.beats, 1)
    out[:, 19] = np.log1p(np.minimum(course.beats - course.heard, 1000)) * 0.15
    out[:, 20] = course.roots > 0
    tones = np.concatenate((course.tones, course.roots[None, :12]))
    tones = tones / np.maximum(tones.sum(1, keepdims=True), 1)
    out[:12, 21:] = tones.take(_TURNS, axis=1).swapaxes(0, 1).reshape(12, 36) * 3
    return out


def of_customs(course: Course, customs: Singles) -> Singles:
    """The logarithms of what songs in general would do, a row for each candidate."""
    logs = np.log(customs + 1e-4) * np.float32(0.2)
    now = NO_CHORD if course.chord is None else course.chord.root
    out = np.empty((ROOTS, len(TABLES)), dtype=np.float32)
    out[:12] = logs.take(_TURNS[-course.reference % 12], axis=1).T
    out[NO_CHORD] = logs[:, NO_CHORD]
    out[:, _TWO_WAYS] = logs[_TWO_WAYS, 1]
    out[now] = logs[:, STAYS]
    out[now, _ONLY_MOVES] = 0
    return out


def _common(memory: Memory, votes: Votes, course: Course) -> Singles:
    ranked = _SCALED[np.sort(votes.longest, axis=0)[-2:].T]
    parts = (
        ranked.ravel(),
        np.zeros(3 * WAYS),  # of the record
        _of_time(course),
        _of_chords(course),
        _of_lag(memory, course),
        np.zeros(2),  # how surely the last chord was heard, and whether the ear was asked
    )
    return np.concatenate(parts, dtype=np.float32)


def _of_time(course: Course) -> Singles:
    out = np.zeros(_PLACES + _LASTED + len(_PULSES) + 1 + 8 + 12, dtype=np.float32)
    out[min(course.place, _PLACES - 1)] = 1
    at = _PLACES
    lasted = course.lasted(0)
    out[at + min(lasted, _LASTED) - 1] = 1
    at += _LASTED
    out[at + (_PULSES.index(course.pulses) if course.pulses in _PULSES else 4)] = 1
    at += len(_PULSES) + 1
    out[at + course.bar % 8] = 1
    at += 8
    out[at] = course.bar % 16 >= 8
    out[at + 1] = (course.pulses - course.place) / 4
    out[at + 2 : at + 5] = [np.log1p(course.lasted(back)) * 0.3 for back in range(3)]
    out[at + 5 : at + 8] = [lasted == course.lasted(back) for back in range(1, 4)]
    out[at + 8] = lasted > course.lasted(1)
    out[at + 9] = np.log1p(course.bar) * 0.2
    out[at + 10] = lasted % (4 * course.pulses) == 0
    out[at + 11] = lasted % course.pulses == 0
    return out


def _of_chords(course: Course) -> Singles:
    families = NO_FAMILY + 1
    out = np.zeros(2 * families + 2 * 13 + 12 + 4 + 24, dtype=np.float32)
    out[course.family(0)] = 1
    out[families + course.family(1)] = 1
    at = 2 * families
    out[at + course.motion(0)] = 1
    out[at + 13 + course.motion(1)] = 1
    at += 26
    if course.chord is not None:
        quality = course.chord.quality
        out[at + (course.chord.bass - course.chord.root) % 12] = 1
        out[at + 12] = 10 in quality.intervals
        out[at + 13] = 11 in quality.intervals
        out[at + 14] = len(quality.intervals) > 3
        out[at + 15] = 9 in quality.intervals
    at += 16
    tones = course.tones / np.maximum(course.tones.sum(1, keepdims=True), 1)
    out[at:] = tones.take(_TURNS[course.reference], axis=1).ravel() * 3
    return out


def _of_lag(memory: Memory, course: Course) -> Singles:
    """How far back the longest exact agreement lies."""
    out = np.zeros(2 + len(_DUE), dtype=np.float32)
    lengths = memory.now.lengths[EXACT]
    if not len(lengths) or not lengths.any():
        return out
    lag = len(lengths) - int(len(lengths) - 1 - lengths[::-1].argmax())
    out[0] = np.log1p(lag) * 0.15
    out[1] = np.log1p(course.beats) * 0.15
    out[2:] = [lag % (bars * course.pulses) == 0 for bars in _DUE]
    return out
