"""Recall: what the song has done before in places like this one.

Knows: the beliefs about the last 256 beats and how well each distance back has matched lately.
Refuses to know: notes, keys.
How: songs repeat at whole numbers of bars, most of all of four.  Every such distance back is a
witness, and of each it is kept how well it would have foretold the beats of late, and those of the
last minute: the logarithm of its odds against a guess.  What followed then is expected now, each
distance counting by these odds.  What was believed of a beat is put right when the next is over,
and when it turns out that a chord had been due before its keys came, or after them.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from engine.arrays import Doubles

REACH: Final = 256
"""Beats back that are remembered: 64 bars of four."""
_ROOM: Final = 4 * REACH

# A distance is given this chance of being no witness of a beat at all, and is measured against a
# guess that would be right so often.
_CHANCE: Final = 0.1
_GUESS: Final = 0.15
# What a beat has said of a distance fades by this much a beat, for the beats of late and for those
# of the last minute; and how far each counts.
_FADES: Final = np.array([[0.75], [0.97]])
_COUNTS: Final = np.array([1.0, 0.1])
# What distances of four bars, two bars, one bar and half a bar count for, all else being equal.
_LAG_WEIGHTS: Final = (4.0, 2.0, 1.0, 0.2)
# How much "nothing like it yet" weighs against them, and the chance of a change that goes with it.
_NOTHING_YET: Final = 30.0
_USUAL_CHANGE: Final = 0.3
# An earlier pass of the same place in the song is believed to match from the start.
_SAME_PLACE: Final = 3.5
# How fast the share of changes at a place in the bar is learned, and where it starts.
_RATE: Final = 0.15
_FIRST_RATE: Final = 0.35

_TAKEN_BACK: Final = 8
"""How many beats can be remembered otherwise: a bar's."""
_FAINTEST: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Recalled:
    """What memory expects of a beat: each state's share, and seven hints about a change.

    The hints: the changes of root into each of the last four beats (the latest first), the
    change expected by memory, how often this place in the bar has had one, and how much memory
    has to say.
    """

    log_shares: Doubles
    hints: Doubles


class _Before(NamedTuple):
    """A beat, and what had been learned before it was added."""

    position: float
    pulse: int
    rates: Doubles
    odds: Doubles
    was_open: bool


class SongMemory:
    """The song so far, as it was heard."""

    def __init__(self, states: int) -> None:
        self._states = states
        self._heard = np.zeros((_ROOM, states))
        self._roots = np.zeros((_ROOM, 12))
        self._changes = np.zeros(_ROOM)
        self._positions = np.full(_ROOM, np.inf)
        self._beats = 0
        self._pulses = 0
        self._open = False
        self._rates = np.full(64, _FIRST_RATE)
        self._lags = np.zeros(0, dtype=int)
        self._weights = np.zeros(0)
        self._odds = np.zeros((2, 0))
        # One more than that, so that a beat which is only imagined pushes out none that is meant.
        self._before: deque[_Before] = deque(maxlen=_TAKEN_BACK + 1)

    def expect(self, pulse: int, pulses: int) -> Recalled:
        """What is expected of the next beat, the given pulse of a bar that has so many."""
        if pulses != self._pulses:
            self._measure(pulses)
        there = self._lags <= self._beats
        back = self._beats - self._lags[there]
        weights = self._weights[there] * np.exp(_COUNTS @ self._odds[:, there])
        total = _NOTHING_YET + weights.sum()
        shares = (weights @ self._heard[back] + _NOTHING_YET / self._states) / total
        change = (weights @ self._changes[back] + _NOTHING_YET * _USUAL_CHANGE) / total
        recent = self._changes[max(self._beats - 4, 0) : self._beats][::-1]
        hints = np.zeros(7)
        hints[: len(recent)] = recent
        hints[4:] = change, self._rates[pulse], 1 - _NOTHING_YET / total
        return Recalled(np.log(shares), hints)

    def add(self, position: float, pulse: int, belief: Doubles) -> None:
        """A beat is over, with this belief about it."""
        if self._beats == _ROOM:
            self._make_room()
        before = _Before(position, pulse, self._rates.copy(), self._odds.copy(), self._open)
        self._before.append(before)
        at = self._beats
        roots = belief.reshape(12, -1).sum(axis=1)
        change = 0.5 if at == 0 else 1 - float(roots @ self._roots[at - 1])
        self._heard[at], self._roots[at] = belief, roots
        self._changes[at], self._positions[at] = change, position
        self._rates[pulse] += _RATE * (change - self._rates[pulse])
        there = self._lags <= at
        foretold = _CHANCE + (1 - _CHANCE) * (self._roots[at - self._lags[there]] @ roots)
        self._odds *= _FADES
        self._odds[:, there] += np.log(foretold / (_CHANCE + (1 - _CHANCE) * _GUESS))
        self._beats += 1
        self._open = True

    def foresee(self, pulse: int, belief: Doubles) -> Recalled:
        """What to expect of the beat after the running one, if that were over with this belief."""
        self.add(np.inf, pulse, belief)
        out = self.expect((pulse + 1) % self._pulses, self._pulses)
        self._take_back(1)
        return out

    def _take_back(self, beats: int) -> list[_Before]:
        """Unlearn so many beats, the last ones."""
        taken = [self._before.pop() for _ in range(beats)][::-1]
        first = taken[0]
        self._beats -= beats
        self._rates, self._odds, self._open = first.rates, first.odds, first.was_open
        return taken

    def amend(self, root: int, since: float, until: float) -> None:
        """The beats from one place to before another had this root after all.

        Of the last eight, and since the last jump.  The kind of chord is what the song has mostly
        had on that root.
        """
        beats = sum(each.position >= since for each in list(self._before)[-_TAKEN_BACK:])
        if not beats:
            return
        belief, kinds = np.full((12, self._states // 12), _FAINTEST), self._kinds_on(root)
        belief[root] = kinds / kinds.sum()
        heard = self._heard[self._beats - beats : self._beats].copy()
        for each, as_heard in zip(self._take_back(beats), heard, strict=True):
            amended = each.position < until
            self.add(each.position, each.pulse, belief.ravel() if amended else as_heard)
            self._open = not amended

    def _kinds_on(self, root: int) -> Doubles:
        """How much of each kind of chord this root has had, in what is remembered."""
        heard = self._heard[max(self._beats - REACH, 0) : self._beats]
        kinds: Doubles = heard.reshape(-1, 12, self._states // 12)[:, root].sum(axis=0)
        return kinds + _FAINTEST

    def revise(self, belief: Doubles) -> None:
        """The beat before the next is believed to have been this, now that more is known."""
        at = self._beats - 1
        if not self._open:
            return
        self._heard[at], self._roots[at] = belief, belief.reshape(12, -1).sum(axis=1)
        if at > 0:
            self._changes[at] = 1 - float(self._roots[at] @ self._roots[at - 1])

    def jump(self, position: float) -> None:
        """The song goes on at another place; if it has been there, that is what to expect."""
        self._odds[:] = 0.0
        self._open = False
        self._before.clear()
        near = np.abs(self._positions[: self._beats] - position) < 0.25
        if near.any() and self._pulses:
            self._measure(self._pulses)
            lag = self._beats - int(np.flatnonzero(near)[-1])
            self._lags = np.append(self._lags, lag)
            self._weights = np.append(self._weights, _LAG_WEIGHTS[0])
            self._odds = np.append(self._odds, [[_SAME_PLACE], [0.0]], axis=1)

    def _measure(self, pulses: int) -> None:
        """The distances that songs repeat at, in bars of so many pulses."""
        self._pulses = pulses
        half = pulses // 2 if pulses % 2 == 0 else pulses
        self._lags = np.arange(half, REACH + 1, half)
        four, two, one, less = _LAG_WEIGHTS
        self._weights = np.select(
            [self._lags % (bars * pulses) == 0 for bars in (4, 2, 1)], [four, two, one], less
        )
        self._odds = np.zeros((2, len(self._lags)))
        self._before.clear()

    def _make_room(self) -> None:
        for kept in (self._heard, self._roots, self._changes, self._positions):
            kept[:REACH] = kept[-REACH:].copy()
        self._positions[REACH:] = np.inf
        self._beats = REACH
        far = self._lags > REACH  # an earlier pass further back than that is forgotten
        self._weights[far] = 0.0
