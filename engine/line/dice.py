"""Dice: chance that a bar always throws alike.

Knows: numbers.
Refuses to know: what is decided by them.
How: a throw is a mixture of the part's seed and the keys that name it (a bar, a place, a purpose),
so a bar that is written anew comes out as it was, wherever nothing else speaks against it.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Final

_PLACES: Final = 48  # in a quarter note: every place of a grid has a number of its own


def draw(seed: int, *keys: int) -> float:
    """A number 0..1 that belongs to these keys: the same bar asked again draws the same."""
    mixed = seed & 0xFFFFFFFF
    for key in keys:
        mixed = (mixed ^ (key & 0xFFFFFFFF)) * 0x9E3779B1 & 0xFFFFFFFF
        mixed = (mixed ^ mixed >> 15) * 0x85EBCA77 & 0xFFFFFFFF
        mixed ^= mixed >> 13
    return mixed / 0x100000000


def place_number(beat: Fraction) -> int:
    """A place, in quarter notes, as a key for the dice."""
    return int(beat * _PLACES)
