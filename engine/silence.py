"""Silence: the player has stopped, though the song goes on.

Knows: on which felt beat a tone sounded last, whether the bar has had any, and whether the bass
rests.
Refuses to know: which tones, and how a phrase is ended.
How: counted from beat to beat; the bass rests from a bar line on, until a key goes down.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Final

from engine.theory.meter import Moment

# After so many bars without a tone the player has stopped: the bass ends the phrase and waits.
BARS_OF_SILENCE: Final = 2


class Silence:
    """How long the player has been silent, in the song's own time."""

    def __init__(self) -> None:
        self.resting = False
        self._sounded_beat = Fraction(0)
        self._struck = False
        self._bar: int | None = None  # the bar whose felt beats were all left out so far

    def key_down(self) -> None:
        """A key goes down: the player plays, however shortly it sounds."""
        self.resting = False
        self._struck = True

    def move(self, beat: Fraction) -> None:
        """The song goes on from another place."""
        self._sounded_beat = beat
        self._bar = None

    def bar_left_out(self, moment: Moment, *, left_out: bool) -> int | None:
        """A felt beat begins, and the one before it was left out or not: the bar that had no key.

        None where the bar goes on, or had one.
        """
        bar = self._bar if left_out else None
        if moment.in_bar:
            self._bar = bar
            return None
        self._bar = moment.bar
        return bar

    def cross(self, beat: Fraction, moment: Moment, *, silent: bool) -> bool:
        """A felt beat begins: whether the phrase ends on it, and the bass rests."""
        if self._struck or not silent:
            self._sounded_beat = beat
        self._struck = False
        lasts = beat - self._sounded_beat >= BARS_OF_SILENCE * moment.metre.bar
        ends = lasts and not self.resting and beat == moment.bar_start
        self.resting = self.resting or ends
        return ends
