"""Naming: a root, a kind of chord and the tones that sound become a chord with all its name.

Knows: which tones colour which kind of chord, and what a lowest note means.
Refuses to know: probabilities.
How: of the qualities that only add colour to the kind believed in, the one whose added tones all
sound; the lowest note is the bass where it lies low.
"""

from __future__ import annotations

from functools import lru_cache
from types import MappingProxyType
from typing import Final

from engine.hearing.evidence import C3, E3
from engine.theory.harmony import QUALITIES, QUALITY_BY_HARTE, Chord, Quality

# Which named qualities each kind of chord may turn out to be, by tones that only colour it.
_COLOURS: Final = MappingProxyType(
    {
        "maj": ("maj(9)",),
        "min": ("min(9)",),
        "maj6": ("maj6(9)",),
        "7": (
            "9", "13", "7(b9)", "7(#9)", "7(#11)", "7(b13)", "7(b9,b13)", "aug(b7)",
            "aug(b7,#9)", "(1,3,b5,b7)",
        ),
        "maj7": ("maj9",),
        "min7": ("min9", "min11"),
        "sus4(b7)": ("sus4(b7,9)",),
    }
)  # fmt: skip
assert all(QUALITY_BY_HARTE[c] in QUALITIES for cs in _COLOURS.values() for c in cs)
_PLAIN: Final = MappingProxyType({c: plain for plain, cs in _COLOURS.items() for c in cs})


# Two names of the same keys: F6 over D is Dm7.  The bass has the say.
TWINS: Final = (("maj6", "min7"), ("min6", "hdim7"))


@lru_cache(maxsize=1024)
def name_chord(root: int, kind: Quality, sounding: frozenset[int], lowest: int | None) -> Chord:
    """The chord of this root and kind that the sounding pitch classes spell, over its bass.

    A bass of its own colours nothing: F, A and C over G are F/G, and no Fadd9.
    """
    degrees = frozenset((pc - root) % 12 for pc in sounding)
    coloured = _coloured(kind, degrees)
    bass = _bass(root, {(root + i) % 12 for i in coloured.intervals}, lowest)
    below = (bass - root) % 12
    quality = coloured if below in kind.intervals else _coloured(kind, degrees - {below})
    return Chord(root, quality, bass)


def alike_but_for_colour(one: Chord, other: Chord) -> bool:
    """Whether two chords have all in common, or all but the tones that colour them: C7 and C13."""
    kinds = (_PLAIN.get(chord.quality.harte, chord.quality.harte) for chord in (one, other))
    return one.root == other.root and one.bass == other.bass and len({*kinds}) == 1


def _coloured(kind: Quality, degrees: frozenset[int]) -> Quality:
    """The richest quality whose tones beyond the plain kind's all sound, if its own still fit.

    Of two alike the one that leaves fewer tones out: C, E, G sharp and B flat are C7#5, not C7b13.
    """
    best, own = kind, set(kind.intervals)
    for name in _COLOURS.get(kind.harte, ()):
        quality = QUALITY_BY_HARTE[name]
        tones = set(quality.intervals)
        fits = tones - own <= degrees and not (own - tones) & degrees
        if fits and _shown(quality, degrees) >= _shown(best, degrees):
            best = quality
    return best


def _shown(quality: Quality, degrees: frozenset[int]) -> tuple[int, int]:
    """How many of its tones sound, and how few do not."""
    sounding = len(degrees & {*quality.intervals})
    return sounding, sounding - len(quality.intervals)


def _bass(root: int, tones: set[int], lowest: int | None) -> int:
    """The lowest tone, where it is a bass: below E3 if it belongs to the chord, else below C3.

    Higher up it is the left hand of someone who leaves the bass to us.
    """
    if lowest is None or lowest >= E3 or (lowest >= C3 and lowest % 12 not in tones):
        return root
    return lowest % 12
