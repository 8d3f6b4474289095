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

from engine.arrays import Doubles
from engine.hearing import weights
from engine.hearing.tables import KeyTables, Tables

# Shape, step, text.
Coded = tuple[tuple[int, ...], float, str]


def tables_of(qualities: tuple[str, ...], coded: Mapping[str, Coded]) -> Tables:
    """The tables that such texts say."""
    read = {name: _decoded(*each) for name, each in coded.items()}
    for_keys = KeyTables(
        key_weights=read.pop("key_weights"),
        minor_bias=float(read.pop("minor_bias")[0]),
        lately_weights=read.pop("lately_weights"),
        lately_bias=float(read.pop("lately_bias")[0]),
        scale_chords=read.pop("scale_chords"),
        scale_tones=read.pop("scale_tones"),
    )
    network = {name: table.astype(np.float32) for name, table in read.items()}
    return Tables(qualities=qualities, **network, for_keys=for_keys)


def _decoded(shape: tuple[int, ...], step: float, text: str) -> Doubles:
    whole = np.frombuffer(b64decode(text), "<i2")
    out: Doubles = step * whole.reshape(shape).astype(float)
    return out


TAUGHT: Final = tables_of(weights.QUALITIES, weights.TABLES)
