"""Ahead: what is foretold of the beats to come, as it is told and as it is played by.

Knows: the forecasts, and which changes were foretold in vain since the chord that stays came.
Refuses to know: how a forecast comes about, and what the bass does about it.
How: a change that was guessed in vain, again and again, is told on, but no more played by unless
it has become likelier.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Final

from engine.events import Forecast, Heard
from engine.listening.foretold import BELIEVED, FIRST_KEYS, Foretold, is_rest
from engine.theory.harmony import Chord

# Who guessed a change so often, and the chord stayed, plays on in the chord until the keys tell;
_IN_VAIN: Final = 2
# or until the odds for it are so many times those that it had then.
_LIKELIER: Final = 2.0


class Ahead:
    """The beats to come.

    `told` has a forecast for each, earliest first.
    """

    def __init__(self) -> None:
        self.told: tuple[Forecast, ...] = ()
        self._stays: int | None = None
        self._failed: dict[int, tuple[int, float]] = {}

    def taken(self, chord: Chord | None) -> tuple[Forecast, ...]:
        """What is told, as it is played by while this chord sounds.

        From a change on that was guessed in vain the chord stays.
        """
        if chord is None or chord.root != self._stays:
            return self.told
        for i, forecast in enumerate(self.told):
            if forecast.chord is None or forecast.chord.root != chord.root:
                in_vain = self._is_in_vain(forecast)
                return self.told[:i] + _stays(self.told[i:], chord) if in_vain else self.told
        return self.told

    def pushed(self, heard: Heard, struck: frozenset[int], played: Chord | None) -> Heard | None:
        """The chord believed to come next instead of the one heard, if it is struck already.

        A key or two may be a tune, and tones of the chord that is played by are that chord still.
        """
        coming = next(iter(self.taken(played)), None)
        if coming is None or coming.chord is None or coming.confidence < BELIEVED:
            return None
        goes_on = played is not None and struck <= played.keys
        if goes_on or len(struck) <= FIRST_KEYS or not struck <= coming.chord.keys:
            return None
        return replace(heard, chord=coming.chord, confidence=coming.confidence)

    def rests(self) -> frozenset[Fraction]:
        """The felt beats for which it is believed that no chord comes."""
        return frozenset(f.beat for f in self.told if is_rest(f))

    def settle(self, foretold: Foretold, root: int | None) -> None:
        """A beat is over: what it was foretold by, and the root that it had."""
        if root != self._stays:
            self._stays = root
            self._failed.clear()
        elif foretold.chord is not None and foretold.chord.root != root:
            often, surest = self._failed.get(foretold.chord.root, (0, 0.0))
            self._failed[foretold.chord.root] = often + 1, max(surest, foretold.confidence)

    def cross(self, beat: Fraction) -> None:
        """A felt beat begins, and is ahead no more."""
        self.told = tuple(f for f in self.told if f.beat > beat)

    def goes_on(self, before: Chord | None, chord: Chord) -> None:
        """Until it is looked anew: what was to go on goes on, in the chord that came instead."""
        told = list(self.told)
        for i, forecast in enumerate(told):
            if forecast.chord != before:
                break
            told[i] = replace(forecast, chord=chord)
        self.told = tuple(told)

    def _is_in_vain(self, forecast: Forecast) -> bool:
        if forecast.chord is None:
            return False
        often, surest = self._failed.get(forecast.chord.root, (0, 0.0))
        sure = forecast.confidence
        return often >= _IN_VAIN and sure * (1 - surest) < _LIKELIER * surest * (1 - sure)


def _stays(told: tuple[Forecast, ...], chord: Chord) -> tuple[Forecast, ...]:
    """The chord that stays instead, as surely as no change comes."""
    return tuple(replace(f, chord=chord, confidence=1 - f.confidence) for f in told)
