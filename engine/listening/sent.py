"""Sent: chords that came before they were due, and the places they are due on.

Knows: which chord is due where.
Refuses to know: how early they come, and what follows after the last of them.
How: the places are those of the keys, on a grid of eighths.  A chord takes the place of those that
were due there or later: who sends early, sends in order.
"""

from __future__ import annotations

from fractions import Fraction
from math import floor
from typing import Final

from engine.events import Forecast
from engine.theory.harmony import Chord

_EIGHTH: Final = Fraction(1, 2)
_READ_LATE: Final = 0.2  # a chord may be read this much after the place it is for
_KEPT: Final = 64


class SentEarly:
    """The chords sent so far, by the places they are due on."""

    def __init__(self) -> None:
        self._due: list[tuple[Fraction, Chord]] = []

    def __bool__(self) -> bool:
        return bool(self._due)

    def clear(self) -> None:
        """Nothing has been sent for what comes now."""
        self._due.clear()

    def keep(self, position: float, chord: Chord) -> None:
        """A chord was read at a place of the keys."""
        due = floor((position + float(_EIGHTH) - _READ_LATE) / float(_EIGHTH)) * _EIGHTH
        self._due = [kept for kept in self._due if kept[0] < due][-_KEPT:]
        self._due.append((due, chord))

    def amend(self, began: float, chord: Chord) -> bool:
        """The beat that began there turned out to be this chord: whether that is news."""
        if not self._due:
            return False
        due, taken_for = self._due[-1]
        if chord.root == taken_for.root or float(due) > began:
            return False
        self.keep(began, chord)
        return True

    @property
    def first(self) -> Chord | None:
        """The chord that was due first, of those that are kept."""
        return self._due[0][1] if self._due else None

    def before(self, beyond: tuple[Forecast, ...]) -> tuple[Forecast, ...]:
        """The chords that were sent, which are certain, and after the last what is expected."""
        if not self._due:
            return beyond
        last, _ = self._due[-1]
        known = tuple(Forecast(beat, chord, 1.0) for beat, chord in self._due)
        return known + tuple(f for f in beyond if f.beat > last)
