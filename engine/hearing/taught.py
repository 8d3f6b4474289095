"""Taught: the tables that the ear is born with, read from weights.py.

Knows: how the numbers in weights.py are laid out.
Refuses to know: how they were found (bench/fit_hearing.py does that, and writes weights.py).
How: every table is a shape, a step and whole numbers of steps: 16 bits each, the low byte first,
in base 64.
"""

from __future__ import annotations

from base64 import b64decode
from collections.abc import Mapping
from typing import Final

import numpy as np

from engine.hearing import weights
from engine.hearing.tables import Array, Tables

# Shape, step, text.
Coded = tuple[tuple[int, ...], float, str]
_FOR_KEYS: Final = (
    "key_weights", "minor_bias", "lately_weights", "lately_bias", "scale_chords", "scale_tones",
)  # fmt: skip


def tables_of(qualities: tuple[str, ...], coded: Mapping[str, Coded]) -> Tables:
    """The tables that such texts say."""
    read = {name: _decoded(*each) for name, each in coded.items()}
    network = {n: table.astype(np.float32) for n, table in read.items() if n not in _FOR_KEYS}
    return Tables(
        qualities=qualities,
        **network,
        key_weights=read["key_weights"],
        minor_bias=float(read["minor_bias"][0]),
        lately_weights=read["lately_weights"],
        lately_bias=float(read["lately_bias"][0]),
        scale_chords=read["scale_chords"],
        scale_tones=read["scale_tones"],
    )


def _decoded(shape: tuple[int, ...], step: float, text: str) -> Array:
    whole = np.frombuffer(b64decode(text), "<i2")
    out: Array = step * whole.reshape(shape).astype(float)
    return out


TAUGHT: Final = tables_of(weights.QUALITIES, weights.TABLES)
