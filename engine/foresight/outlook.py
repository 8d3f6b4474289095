"""Outlook: which chord comes next, at which beat, how surely.

Knows: what the song's memory and the habits of songs say, and how to walk them forward.
Refuses to know: notes, seconds, what the bass does about it.
How: the one-beat question, answered by the longest common past, is asked again from its own best
answer, beat after beat; each answer is as sure as all those before it.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.events import Forecast
from engine.foresight.memory import EXACT, FULL, NO_CHORD, ROOTS, Memory, Step, place_in_bar
from engine.harmony import MAJOR, MINOR, Chord, Key
from engine.meter import Metre, Moment

Floats = NDArray[np.float64]

FARTHEST: Final = 8
"""Beats looked ahead at most: two bars of four, as far as a line is planned."""

# How surely the longest common past (in beats) is right, as far as it can be told from its length:
# right answers on chart songs, in bands of length.
_BANDS: Final = ((1, 0.55), (2, 0.62), (4, 0.75), (8, 0.88), (16, 0.95), (32, 0.98))

# Where a root goes when it moves, by interval up from it: mostly a fourth up, then a fifth, a tone.
_MOVES: Final = (0.0, 0.02, 0.16, 0.06, 0.05, 0.32, 0.01, 0.20, 0.04, 0.06, 0.08, 0.02)


class Foresight:
    """What is expected of the coming beats, told beat by beat what was heard."""

    def __init__(self) -> None:
        self._memory = Memory()
        self._due: Fraction | None = None
        self._metre = Metre()
        self._place = 0
        self._key = Key(0)

    def commit(  # noqa: PLR0917
        self,
        beat: Fraction,
        in_bar: Fraction,
        metre: Metre,
        chord: Chord | None,
        key: Key,
        belief: Sequence[float] | None = None,
    ) -> None:
        """Remember the felt beat that just ended, as it was finally heard."""
        del belief
        if self._due is not None and beat != self._due:
            self._memory.breaks()
        step = Step(chord, place_in_bar(in_bar, metre))
        self._memory.remember(step, beat)
        self._metre, self._key, self._place = metre, key, step.place
        self._due = beat + self._to_next(step.place)

    def revise(self, beat: Fraction, chord: Chord | None) -> None:
        """A beat committed lately was another chord after all."""
        self._memory.correct(beat, chord)

    def relocate(self, beat: Fraction) -> None:
        """The song goes on from another place."""
        self._memory.breaks()
        self._due = beat

    def prior(self) -> tuple[float, ...] | None:
        """How likely each of twelve roots is in the beat about to start, if anything is known."""
        self._memory.forget_imagined()
        if self._memory.count < 2:
            return None
        return tuple(float(p) for p in self._next()[:12])

    def look(
        self, moment: Moment, chord: Chord | None, key: Key, confidence: float, horizon: int
    ) -> tuple[Forecast, ...]:
        """One forecast for each of the coming felt beats, `chord` taken as sounding now."""
        del confidence, key
        place = place_in_bar(Fraction(moment.in_bar).limit_denominator(96), moment.metre)
        beat = moment.bar_start + _start_of(place, moment.metre)
        self._memory.forget_imagined()
        forecasts: list[Forecast] = []
        sure = 1.0
        self._metre = moment.metre
        for _ in range(min(horizon, FARTHEST)):
            self._memory.imagine(Step(chord, place))
            odds = self._next()
            root = int(odds.argmax())
            stay = NO_CHORD if chord is None else chord.root
            sure *= float(odds[root])
            change = 1.0 - float(odds[stay])
            beat += self._to_next(place)
            place = (place + 1) % len(moment.metre.pulses)
            chord = chord if root == stay else self._chord_on(root)
            forecasts.append(Forecast(beat, chord, sure, change))
        self._memory.forget_imagined()
        return tuple(forecasts)

    def _next(self) -> Floats:
        """The distribution over the next root, from the longest common past."""
        length, by_root = self._memory.longest(FULL)
        exact, by_root_exact = self._memory.longest(EXACT)
        if length < exact // 2:
            length, by_root = exact, by_root_exact
        odds = np.full(ROOTS, 0.002)
        now = self._memory.root_now
        odds[now] += 0.4
        if now != NO_CHORD:
            odds[:12] += 0.1 * np.roll(_MOVES, now)
        odds /= odds.sum()
        sure = max((p for n, p in _BANDS if length >= n), default=0.0)
        best = np.flatnonzero(by_root == length) if length else np.array([now])
        odds *= 1.0 - sure
        odds[best] += sure / len(best)
        return odds

    def _chord_on(self, root: int) -> Chord | None:
        heard = self._memory.chord_on(root)
        if heard is not None or root == NO_CHORD:
            return heard
        minor = (root + 3) % 12 in self._key.scale and (root + 4) % 12 not in self._key.scale
        return Chord.of(root, MINOR if minor else MAJOR)

    def _to_next(self, place: int) -> Fraction:
        return _start_of(place + 1, self._metre) - _start_of(place, self._metre)


def _start_of(place: int, metre: Metre) -> Fraction:
    bars, rest = divmod(place, len(metre.pulses))
    return bars * metre.bar + metre.pulses[rest]
