"""Counted tables: what can be learned about chords by counting labelled songs.

Knows: how often each degree above a chord's root sounds in a beat of it, which degree is lowest,
when chords change and to where; what each pitch class says about the key.
Refuses to know: the song at hand.
How: percentages as counted, turned into weights of the evidence once, on import.

Source: counted on the labelled piano arrangements POP909 (Wang et al., ISMIR 2020, MIT licence)
and POP909-CL (2025, MIT licence), all development songs.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from engine.hearing.evidence import BEFORE, NOW
from engine.hearing.tables import HINTS, Array, Tables

# Percent of beats in which each degree above the root sounds (1 b2 2 b3 3 4 b5 5 b6 6 b7 7), then
# percent of beats with each degree lowest (the same twelve), then how common the quality is.
_SOUNDS: Final = {
    "maj": "98 0 16 1 79 8 2 95 1 10 3 5",
    "min": "97 1 11 82 0 10 0 95 4 1 15 0",
    "7": "92 1 18 3 75 20 2 85 3 10 74 2",
    "maj7": "90 0 24 1 76 2 3 90 0 14 0 73",
    "min7": "96 2 14 87 0 16 0 89 6 2 80 0",
    "sus4": "95 1 14 8 10 70 0 82 4 9 9 0",
    "sus2": "93 0 69 9 22 8 1 89 1 9 9 4",
    "dim": "96 12 1 85 2 7 84 2 9 2 18 3",
}
_LOWEST: Final = {
    "maj": "92 0 0 0 3 0 0 5 0 0 0 0",
    "min": "91 0 0 2 0 0 0 5 0 0 1 0",
    "7": "72 0 1 0 5 1 0 7 0 1 13 0",
    "maj7": "72 0 0 0 7 0 0 6 0 0 0 14",
    "min7": "85 0 0 2 0 1 0 3 0 0 9 0",
    "sus4": "83 0 0 0 0 14 0 1 0 0 1 0",
    "sus2": "89 0 5 0 0 0 0 4 0 0 1 0",
    "dim": "93 0 0 2 0 0 3 0 0 0 1 0",
}
_COMMON: Final = {
    "maj": 57, "min": 27, "7": 4, "maj7": 3, "min7": 6, "sus4": 1.5, "sus2": 1, "dim": 0.5,
}  # fmt: skip

# The chance that the chord changes on beats 1, 2, 3 and 4 of a bar.
_HAZARD: Final = (0.84, 0.08, 0.47, 0.06)

# Where the root goes when the chord changes, in semitones up: fourths and fifths, then seconds.
_ROOT_MOVES: Final = (0.04, 0.01, 0.16, 0.06, 0.08, 0.22, 0.01, 0.18, 0.06, 0.08, 0.09, 0.01)

# Evidence is softened, because the tones of one beat are not independent witnesses.
_SOUNDS_WEIGHT: Final = 0.5
_LOWEST_WEIGHT: Final = 0.7
_COMMON_WEIGHT: Final = 0.3

# What the square root of each pitch class's share says for a key, tonic upward.
_KEY_MAJOR: Final = "5.96 -1.93 -0.59 -3.13 3.09 1.99 -4.99 4.93 -1.02 -1.41 -5.31 2.06"
_KEY_MINOR: Final = "5.80 -4.70 1.70 2.83 -3.81 -0.52 -2.47 4.73 1.31 -4.58 -0.87 0.91"
_KEY_SHARES: Final = np.array([_KEY_MAJOR.split(), _KEY_MINOR.split()], dtype=float)
# How much of each tone a major scale has, for following it: its own tones, and few others.
_SCALE_TONES: Final = np.array([4, 0.4, 4, 0.4, 4, 3, 0.4, 4, 0.5, 4, 0.6, 3])


def _chances(row: str) -> Array:
    return np.clip(np.array(row.split(), dtype=float) / 100, 0.01, 0.99)


def _emission() -> tuple[Array, Array]:
    """Weights and biases: log-odds of sounding, log-chance of being lowest, log of how common."""
    weights = np.zeros((len(NOW), 12, len(_SOUNDS)))
    bias = np.zeros(len(_SOUNDS))
    for i, (name, row) in enumerate(_SOUNDS.items()):
        sounds = _chances(row)
        weights[NOW.index("present"), :, i] = _SOUNDS_WEIGHT * np.log(sounds / (1 - sounds))
        weights[NOW.index("lowest"), :, i] = _LOWEST_WEIGHT * np.log(_chances(_LOWEST[name]))
        bias[i] = _SOUNDS_WEIGHT * np.log(1 - sounds).sum()
        bias[i] += _COMMON_WEIGHT * np.log(_COMMON[name])
    return np.stack([weights, weights]), np.stack([bias, bias])


def _jumps() -> Array:
    common = np.array(list(_COMMON.values()))
    table = np.array(_ROOT_MOVES)[None, :, None] * common[None, None, :]
    table = np.repeat(table, len(_COMMON), axis=0)
    same = np.arange(len(_COMMON))
    table[same, 0, same] = 0.0  # a change is to another chord
    shares: Array = table / table.sum(axis=(1, 2), keepdims=True)
    return shares


def _counted() -> Tables:
    weights, bias = _emission()
    chances = np.array(_HAZARD)
    hazard = np.zeros((4, HINTS))
    key_weights = np.zeros((2, 18, 12))
    key_weights[:, 0] = _KEY_SHARES
    hazard[:, 0] = np.log(chances / (1 - chances))
    return Tables(
        qualities=tuple(_SOUNDS),
        emission=weights,
        bias=bias,
        past=np.zeros((3, len(BEFORE), 12, len(_SOUNDS))),
        keys=np.zeros((3, 2, 12, len(_SOUNDS))),
        recall=np.zeros(3),
        carry=np.ones(3),
        hazard=hazard,
        jumps=_jumps(),
        key_weights=key_weights,
        minor_bias=0.0,
        scale_chords=np.zeros((5, 12)),
        scale_tones=np.log(_SCALE_TONES / _SCALE_TONES.sum()),
    )


COUNTED: Final = _counted()
