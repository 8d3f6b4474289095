"""Low: whether the player plays a bass, or leaves it to somebody else.

Knows: where the last low key was struck.
Refuses to know: which chord it was the bass of.
How: a place is kept, and moved along when the song jumps.
"""

from __future__ import annotations

from math import inf
from typing import Final

from engine.hearing.evidence import C3, Reading

# After so many quarter notes without a low key the bass is left to somebody else.
_LEFT: Final = 8


class LowKeys:
    """The player's left hand, as far as it plays the bass; low is below C3."""

    def __init__(self) -> None:
        self._position = -inf

    def strike(self, position: float, note: int, velocity: int) -> None:
        """A key goes down."""
        if note < C3 and velocity > 0:
            self._position = position

    def move(self, position: float) -> None:
        """The song goes on elsewhere: what was struck is as if struck there."""
        if self._position > -inf:
            self._position = position

    def left(self, beat: float | None, reading: Reading) -> bool:
        """Whether by a beat none was struck for two bars of four, and none sounds."""
        return beat is not None and beat - self._position > _LEFT and not on_a_low_key(reading)


def on_a_low_key(reading: Reading) -> bool:
    """Whether a beat has a bass of the player's own."""
    return reading.bass is not None and reading.bass < C3
