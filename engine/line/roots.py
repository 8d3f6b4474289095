"""Roots: in which octave the root of each chord lies.

Knows: the style's register and home, and which root went before.
Refuses to know: rhythm, other tones.
How: the octave depends on the two roots and the bar's number alone, so that the bar which leads
to a root and the bar which begins on it agree without asking each other.
"""

from __future__ import annotations

from typing import Final

from engine.line.dice import draw
from engine.style import Register

_HOME_PULL: Final = 0.15  # a root an octave from home costs about two doubtful tones
_ROOT_LEAP: Final = 0.06  # and roots follow each other closely rather than widely
_NO_OCTAVE: Final = 1.0  # but a figure of octaves wants its upper one, even if the root is far


class Roots:
    """Where the roots of one part lie.

    Args:
        register: the style's.
        seed: of where home wanders.
        octaves: how many of the style's figures, 0 to 1, ask for the octave above the root.
    """

    def __init__(self, register: Register, seed: int, octaves: float = 0.0) -> None:
        self._octaves_asked = octaves
        self._register = register
        self._highest = register.highest
        self._seed = seed

    def keep_below(self, floor: int | None) -> None:
        """Stay below this note, or in the lowest octave if it lies in that; None: go anywhere."""
        low = self._register.lowest
        highest = self._register.highest if floor is None else max(floor - 1, low + 11)
        self._highest = min(self._register.highest, highest)

    def has(self, note: int) -> bool:
        """Whether the style goes there."""
        return self._register.lowest <= note <= self._highest

    def note(self, pitch_class: int, before: int, bar: int) -> int:
        """The octave of a root in a bar, coming from the root `before` (both pitch classes)."""
        home = self._home(bar)
        place = min(self._octaves(before), key=lambda n: abs(n - home))

        def cost(note: int) -> float:
            lacking = _NO_OCTAVE * self._octaves_asked * (not self.has(note + 12))
            return _HOME_PULL * abs(note - home) + _ROOT_LEAP * abs(note - place) + lacking

        return min(self._octaves(pitch_class), key=cost)

    def _home(self, bar: int) -> float:
        """Home wanders as far as the style lets it, to another place every four bars."""
        return self._register.home + self._register.roam * (2 * draw(self._seed, bar // 4, 5) - 1)

    def _octaves(self, pitch_class: int) -> range:
        first = self._register.lowest + (pitch_class - self._register.lowest) % 12
        return range(first, self._highest + 1, 12)
