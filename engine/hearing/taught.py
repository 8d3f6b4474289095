"""Taught: the tables that the ear is born with, read from weights.py.

Knows: how the numbers in weights.py are laid out.
Refuses to know: how they were found (bench/fit_hearing.py does that, and writes weights.py).
How: every table is a string of whole hundredths and a shape; the chances of jumps are kept as
their logarithms.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from engine.hearing import weights
from engine.hearing.tables import Array, Tables

HUNDREDTHS: Final = 100


def _table(name: str) -> Array:
    shape, text = weights.TABLES[name]
    numbers = np.array(text.split(), dtype=float)
    return numbers.reshape(shape) / HUNDREDTHS


def _jumps() -> Array:
    chances = np.exp(_table("jumps"))
    shares: Array = chances / chances.sum(axis=(1, 2), keepdims=True)
    return shares


def _taught() -> Tables:
    return Tables(
        qualities=weights.QUALITIES,
        emission=_table("emission"),
        bias=_table("bias"),
        past=_table("past"),
        keys=_table("keys"),
        recall=_table("recall"),
        carry=_table("carry"),
        hazard=_table("hazard"),
        jumps=_jumps(),
        key_shares=_table("key_shares"),
        key_scale=1.0,
        key_weights=_table("key_weights"),
        minor_bias=float(_table("minor_bias")[0]),
        scale_chords=_table("scale_chords"),
        scale_tones=_table("scale_tones"),
    )


TAUGHT: Final = _taught()
