"""Labels: chords as corpora and programs write them, and back.

Knows: Harte labels ("Bb:min7/b3"), and which quality comes nearest to any set of tones.
Refuses to know: which chord sounds, where, why, and how musicians write it (symbols.py).
How: writing reads the names off the table of qualities.  Reading turns the text into semitones
above the root and takes the quality whose tones come nearest, so a label outside the table
("min(11)", "maj13") still gives the chord that a bass player would serve it with.

Sources: Harte et al., "Symbolic representation of musical chords" (ISMIR 2005).
"""

from __future__ import annotations

import re
from types import MappingProxyType
from typing import Final

from engine.theory.harmony import QUALITIES, QUALITY_BY_HARTE, Chord, Key, Quality, degree_semitones
from engine.theory.pitch import name_of_fifths, pitch_class_of_name

NO_CHORD: Final = "N"

# Writing ------------------------------------------------------------------------------------


def harte(chord: Chord | None, key: Key) -> str:
    """The chord's Harte label, its root spelled in the key; "N" where there is no chord."""
    if chord is None:
        return NO_CHORD
    slash = "" if chord.bass == chord.root else f"/{chord.degree_of(chord.bass)}"
    return f"{key.chord_name(chord)}:{chord.quality.harte}{slash}"


def harte_key(key: Key) -> str:
    """The key as a label: "Eb:maj", "C#:min"."""
    return f"{name_of_fifths(key.tonic_fifths)}:{'min' if key.minor else 'maj'}"


# The nearest quality ------------------------------------------------------------------------

# What it costs to leave a tone of the label out, or to put one in that it does not have, by
# semitones above the root.  Root, third and seventh make the chord; a fifth is readily supplied.
_LEFT_OUT: Final = (9, 1, 1, 4, 4, 1, 2, 3, 2, 2, 3, 3)
_PUT_IN: Final = (9, 2, 1, 8, 8, 2, 4, 1, 4, 4, 6, 6)


def nearest_quality(intervals: frozenset[int]) -> Quality:
    """The quality of the table whose tones come nearest to these semitones above the root.

    What was fitted on labelled songs was fitted on what this says of them; what a player writes is
    weighed with more care (symbols.py).
    """
    return min(QUALITIES, key=lambda quality: distance(intervals, frozenset(quality.intervals)))


def distance(wanted: frozenset[int], offered: frozenset[int]) -> int:
    """How far the tones of a quality are from those wanted, both in semitones above the root."""
    left_out = sum(_LEFT_OUT[i] for i in wanted - offered)
    return left_out + sum(_PUT_IN[i] for i in offered - wanted)


# Reading Harte labels -----------------------------------------------------------------------

_HARTE: Final = re.compile(r"([A-G][b#]*)(?::([a-z0-9]*)(?:\(([^()]*)\))?)?(?:/([b#]*\d+))?")

# Harte's shorthands that the table of qualities does not have under the same name.
_MORE_SHORTHANDS: Final = MappingProxyType(
    {
        "": "1",
        "1": "1",
        "maj11": "1 3 5 7 9 11",
        "maj13": "1 3 5 7 9 13",
        "min13": "1 b3 5 b7 9 13",
    }
)


def parse_harte(text: str) -> Chord | None:
    """The chord of a Harte label; None for "N" (no chord) and "X" (a chord without a name).

    Raises:
        ValueError: not a Harte label.
    """
    if text in (NO_CHORD, "X"):
        return None
    found = _HARTE.fullmatch(text)
    if found is None:
        raise _not_harte(text)
    root, shorthand, extra, bass = found.groups()
    try:
        quality = _harte_quality(shorthand, extra)
        bass_degree = degree_semitones(bass or "1")
    except (KeyError, ValueError):
        raise _not_harte(text) from None
    tonic = pitch_class_of_name(root)
    return Chord.of(tonic, quality, (tonic + bass_degree) % 12)


def _not_harte(text: str) -> ValueError:
    return ValueError(f"{text!r} is not a chord label; write one such as Bb:min7, F#:7(b9) or N")


def _harte_quality(shorthand: str | None, extra: str | None) -> Quality:
    if shorthand is None:  # a bare root is a major chord
        return QUALITY_BY_HARTE["maj"]
    whole = shorthand if extra is None else f"{shorthand}({extra})"
    if whole in QUALITY_BY_HARTE:
        return QUALITY_BY_HARTE[whole]
    intervals = set(_shorthand_intervals(shorthand))
    for degree in (extra or "").split(",") if extra else ():
        if degree.startswith("*"):
            intervals.discard(degree_semitones(degree[1:]) % 12)
        else:
            intervals.add(degree_semitones(degree.strip()) % 12)
    return nearest_quality(frozenset(intervals))


def _shorthand_intervals(shorthand: str) -> tuple[int, ...]:
    if shorthand in QUALITY_BY_HARTE:
        return QUALITY_BY_HARTE[shorthand].intervals
    return tuple(degree_semitones(d) % 12 for d in _MORE_SHORTHANDS[shorthand].split())
