"""Taught: the tables that the ear is born with, read from weights.py.

Knows: how the numbers in weights.py are laid out.
Refuses to know: how they were found (bench/fit_hearing.py does that, and writes weights.py).
How: every table is a string of whole hundredths and a shape; the chances of jumps are kept as
their logarithms.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from engine.hearing import weights
from engine.hearing.tables import Array, Tables

HUNDREDTHS: Final = 100

Texts = Mapping[str, tuple[tuple[int, ...], str]]


def tables_of(qualities: tuple[str, ...], texts: Texts) -> Tables:
    """The tables that such strings of hundredths say."""

    def table(name: str) -> Array:
        shape, text = texts[name]
        return np.array(text.split(), dtype=float).reshape(shape) / HUNDREDTHS

    chances = np.exp(table("jumps"))
    return Tables(
        qualities=qualities,
        emission=table("emission"),
        bias=table("bias"),
        past=table("past"),
        keys=table("keys"),
        recall=table("recall"),
        carry=table("carry"),
        hazard=table("hazard"),
        jumps=chances / chances.sum(axis=(1, 2), keepdims=True),
        key_weights=table("key_weights"),
        minor_bias=float(table("minor_bias")[0]),
        scale_chords=table("scale_chords"),
        scale_tones=table("scale_tones"),
    )


TAUGHT: Final = tables_of(weights.QUALITIES, weights.TABLES)
