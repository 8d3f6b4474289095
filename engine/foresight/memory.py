"""Memory: what this song has done, and so what it may do here.

Knows: the song's felt beats so far, as chord and place in the bar, and for each earlier beat how
well its past agrees with the present one.
Refuses to know: what songs in general do, seconds, notes, probabilities.
How: suffix matching.  For every earlier beat j and every way of agreeing, the length of the
common past ending at j and now; one step moves the whole row along: L[j] = L[j - 1] + 1 where
beat j agrees with the new beat, else 0.  Each j then speaks for the root that followed it.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.foresight.agreement import (
    EVENTS,
    EXACT,
    FULL,
    KEPT,
    NO_CHORD,
    SOFT_SHORT,
    SOFT_WHOLE,
    TOLERANT,
    TRANSPOSED,
    Agreement,
    Ints,
    Step,
    Votes,
    moved,
    nothing,
)
from engine.foresight.rows import Rows
from engine.foresight.votes import count_votes
from engine.theory.harmony import Chord

_SOFT_SHIFTS: Final = np.array(((3,), (5,)), dtype=np.int32)
"""The two soft ways forget an eighth and a thirty-second each beat."""

_SAME_PLACE: Final = 32
"""The same place of a sequencer's song is taken for an agreement of so many beats."""


class Memory:
    """The beats of the song, and their agreement with now.

    Beats up to `count` are remembered; `imagine` goes on from there without remembering.
    """

    def __init__(self) -> None:
        self.count = 0
        self._rows = Rows()
        self._real = self.now = nothing()

    def remember(self, step: Step, beat: Fraction, imagined: Agreement | None = None) -> None:
        """Add the beat that just ended; `imagined` is its agreement, had it been imagined last."""
        if self.count >= KEPT:
            self._forget(KEPT // 4)
        self.forget_imagined()
        if imagined is None or not self.resume(step, imagined):
            self.imagine(step)
        self._rows.positions[self.count] = float(beat)
        self.count += 1
        self._real = self.now

    def return_to(self, agreement: Agreement) -> None:
        """Forget the beats that came after the one with which the past agreed so."""
        self._real, self.count = agreement, agreement.beats
        self.forget_imagined()

    def imagine(self, step: Step) -> None:
        """Go on as if this beat came next."""
        old = self.now
        self._rows.write(step, old)
        self.now = self._stepped(step, old)

    def resume(self, step: Step, agreement: Agreement) -> bool:
        """Go on to a beat that was imagined here before; False if it was not here."""
        if agreement.beats != self.now.beats + 1:
            return False
        self._rows.chords.append(step.chord)
        self.now = agreement
        return True

    def forget_imagined(self) -> None:
        """Return to the last beat that really was."""
        if self.now is not self._real:
            del self._rows.chords[self.count :]
            self.now = self._real

    def breaks(self, beat: Fraction) -> None:
        """The next beat, at this place in the song, does not follow on the last.

        No past is common any more, but where this place was heard before it will likely sound
        the same, as in the loop of a sequencer.
        """
        self.forget_imagined()
        now = self.now
        lengths = np.zeros_like(now.lengths)
        here = np.flatnonzero(self._rows.positions[1 : self.count] == float(beat))
        lengths[:, here] = _SAME_PLACE
        lengths[SOFT_SHORT:, here] = SOFT_WHOLE // 2
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
        return count_votes(self.now, self._rows)

    def likeliest_chord(self, root: int) -> Chord | None:
        """The chord on a root that followed the best agreeing past, at this pitch or another."""
        n = self.now.beats
        if root == NO_CHORD or n < 2:
            return None
        lengths, here = self.now.lengths, int(self._rows.roots[n - 1])
        leads_there = moved(self._rows.roots[: n - 1], self._rows.roots[1:n], here) == root
        elsewhere = np.where(leads_there, lengths[TRANSPOSED], 0)
        followed = np.where(
            self._rows.roots[1:n] == root, lengths[EXACT] * 2 + lengths[FULL] + 1, 0
        )
        best, other = _last_best(followed), _last_best(elsewhere)
        if followed[best] > 2 * elsewhere[other]:
            return self._rows.chords[best + 1]
        chord = self._rows.chords[other + 1] if elsewhere[other] else None
        return None if chord is None else chord.transposed(root - chord.root)

    def latest(self, depths: Sequence[int], count: int) -> list[list[int]]:
        """For each depth the roots that followed the last few pasts that agree exactly so far."""
        lengths = self.now.lengths[EXACT]
        agreeing = np.flatnonzero(lengths >= depths[0])[::-1]
        lengths, followers = lengths[agreeing], self._rows.roots[agreeing + 1]
        return [followers[lengths >= depth][:count].tolist() for depth in depths]

    def ago(self, beats: int) -> tuple[int, int]:
        """The root so many beats before the next, and how long the past agrees up to there."""
        at = self.now.beats - beats
        if at < 0:
            return NO_CHORD, 0
        return int(self._rows.roots[at]), int(self.now.lengths[EXACT, at - 1]) if at else 0

    def after_best(self, beats: int) -> list[Chord | None]:
        """How the past that agrees best went on, for so many beats after the next."""
        lengths = self.now.lengths[EXACT]
        best = int(lengths.argmax()) if len(lengths) else 0
        went_on = self._rows.chords[best + 2 :] if len(lengths) and lengths[best] else []
        return (went_on + [None] * beats)[:beats]

    def _stepped(self, step: Step, old: Agreement) -> Agreement:
        n = old.beats
        changed = bool(self._rows.changed[n])
        where = np.flatnonzero(self._rows.places[:n] == step.place)
        before: Ints = np.zeros((EVENTS, len(where)), dtype=np.int32)
        if n > 1:
            before = old.lengths.take(where - 1, axis=1)  # row by row, as it is gone on with
        if len(where) and where[0] == 0:
            before[:, 0] = 0
        agrees = self._rows.signs.take(where, axis=1) == self._rows.signs[:, n, None]
        there = np.empty_like(before)
        np.multiply(before[:TOLERANT] + 1, agrees, out=there[:TOLERANT])
        there[TOLERANT] = self._forgiving(before, agrees[EXACT], changed, self._rows.changed[where])
        soft = before[SOFT_SHORT:]
        gains = (SOFT_WHOLE >> _SOFT_SHIFTS) * agrees[EXACT]
        there[SOFT_SHORT:] = soft - (soft >> _SOFT_SHIFTS) + gains
        lengths: Ints = np.zeros((EVENTS, n), dtype=np.int32)
        lengths[:, where] = there
        starts = bool(self._rows.begins[n])
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
        agrees = self._rows.chord_signs[:, :m] == self._rows.chord_signs[:, m, None]
        lengths = np.ones((2, m), dtype=np.int32)
        lengths[:, 1:] += old.by_chord[:, : m - 1]
        lengths *= agrees
        return lengths

    def _forget(self, beats: int) -> None:
        """Drop the oldest beats, and the chords that ended before them."""
        self.forget_imagined()
        now, n = self.now, self.now.beats
        chords = self._rows.drop(n, beats)
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


def _last_best(scores: Ints) -> int:
    """Where the highest score is, the last of equals."""
    return len(scores) - 1 - int(scores[::-1].argmax())
