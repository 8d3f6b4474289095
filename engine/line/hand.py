"""Hand: string and fret, and what a shift costs.

Knows: the open strings, how many frets lie under a hand, how far it gets in a given time.
Refuses to know: harmony; it is told notes.
How: the hand stands at a fret and covers four, one finger each; or three on an upright, whose
semitones are wider, so that a whole tone lies between the first finger and the last.  A note
inside them costs nothing, an open string moves nothing, and any other shifts the hand just far
enough.  A fretless neck has the same places; the numbers are where frets would be.
"""

from __future__ import annotations

from typing import Final

from engine.style import Neck

SPAN: Final = 4  # one finger per fret

# A shift starts with a reach of about a tenth of a second and covers some 60 frets a second once
# under way: an octave on one string takes 0.3 s.  Estimated from what players manage, not measured.
_SHIFT_START_SECONDS: Final = 0.06
_SHIFT_FRET_SECONDS: Final = 0.017

Place = tuple[int, int]
"""String, counted from 1 for the lowest, and fret; 0 is open."""


class Hand:
    """The left hand on one neck."""

    def __init__(self, neck: Neck) -> None:
        self.span = neck.span
        self._neck = neck
        self._places: dict[int, tuple[tuple[Place, float], ...]] = {}

    def places(self, note: int) -> tuple[tuple[Place, float], ...]:
        """Where a note lies, each with what it costs to play it there; the easiest three."""
        known = self._places.get(note)
        if known is None:
            known = self._places[note] = self._find(note)
        return known

    def _find(self, note: int) -> tuple[tuple[Place, float], ...]:
        found = []
        for string, opened in enumerate(self._neck.tuning, start=1):
            fret = note - opened
            if 0 <= fret <= self._neck.frets:
                found.append(((string, fret), self._cost(fret)))
        return tuple(sorted(found, key=lambda each: (each[1], each[0]))[:3])

    def _cost(self, fret: int) -> float:
        if fret == 0:
            return 1 - 2 * self._neck.open_strings
        # The tone thins out up the neck, and the markers of the first positions are home.
        return 0.05 * fret + 0.1 * max(0, fret - 7)


def moved(position: int, fret: int, span: int = SPAN) -> int:
    """Where a hand stands after playing a fret from a position, moving as little as it can."""
    if fret == 0 or position <= fret < position + span:
        return position
    return fret if fret < position else fret - span + 1


def reachable(frets: int, seconds: float) -> bool:
    """Whether a shift over so many frets can be made in time."""
    return shift_seconds(frets) <= seconds


def shift_seconds(frets: int) -> float:
    """How long a shift over so many frets takes, in seconds."""
    return _SHIFT_START_SECONDS + _SHIFT_FRET_SECONDS * frets if frets else 0.0
