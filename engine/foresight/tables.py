"""The fitted tables of foresight, unpacked.

Knows: how fitted.py packs them.
Refuses to know: how they were fitted.
How: text is base 85 of deflated bytes.  Weights are whole numbers from -127 to 127 with a scale
for each row; counts are bytes, one context after another.
"""

from __future__ import annotations

import base64
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.foresight import fitted
from engine.foresight.custom import Context, Counts
from engine.foresight.judge import Network

_MOST: Final = 255
"""The largest number that fits a byte; larger counts are scaled down with their context."""


@dataclass(frozen=True, slots=True)
class Tables:
    """What foresight was fitted to: the habits of songs, and the networks that judge."""

    counts: Counts
    networks: tuple[Network, ...]


def pack(data: bytes) -> str:
    """Bytes as text."""
    return base64.b85encode(zlib.compress(data, 9)).decode("ascii")


def unpack(text: str) -> bytes:
    """The bytes of a text."""
    return zlib.decompress(base64.b85decode(text))


def pack_counts(counts: Counts) -> str:
    """Counts as text: per context its length, its numbers, how many outcomes, and those."""
    out = bytearray()
    for context, seen in sorted(counts.items()):
        most = max(seen.values())
        out += bytes((len(context), *context, len(seen)))
        for outcome, count in sorted(seen.items()):
            out += bytes((outcome, max(1, count * min(_MOST, most) // most)))
    return pack(bytes(out))


def unpack_counts(text: str) -> dict[Context, Mapping[int, int]]:
    """The counts in a text."""
    data = unpack(text)
    counts: dict[Context, Mapping[int, int]] = {}
    at = 0
    while at < len(data):
        end = at + 1 + data[at]
        pairs = data[end + 1 : end + 1 + 2 * data[end]]
        counts[tuple(data[at + 1 : end])] = dict(zip(pairs[::2], pairs[1::2], strict=True))
        at = end + 1 + len(pairs)
    return counts


def pack_weights(weights: NDArray[np.float32]) -> tuple[tuple[int, ...], str, str]:
    """Weights as shape, text of the scales and text of the whole numbers."""
    rows = weights.reshape(len(weights), -1)
    scales = np.maximum(np.abs(rows).max(1), 1e-9).astype("<f4") / np.float32(127)
    whole = np.rint(rows / scales[:, None]).astype(np.int8)
    return weights.shape, pack(scales.tobytes()), pack(whole.tobytes())


def unpack_weights(shape: Sequence[int], scales: str, whole: str) -> NDArray[np.float32]:
    """The weights of shape, scales and whole numbers."""
    rows = np.frombuffer(unpack(whole), dtype=np.int8).reshape(shape[0], -1).astype(np.float32)
    rows *= np.frombuffer(unpack(scales), dtype="<f4")[:, None]
    return rows.reshape(shape)


Packed = Mapping[str, tuple[tuple[int, ...], str, str]]


def unpack_tables(counts: str, networks: Sequence[Packed]) -> Tables:
    """The tables of a data module."""
    unpacked = (
        {name: unpack_weights(*weights) for name, weights in packed.items()} for packed in networks
    )
    return Tables(unpack_counts(counts), tuple(Network(**weights) for weights in unpacked))


DEFAULT: Final = unpack_tables(fitted.COUNTS, fitted.NETWORKS)
