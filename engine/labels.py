"""Labels: chords as they are written down, and back.

Knows: Harte labels ("Bb:min7/b3"), lead-sheet symbols ("Bbm7/Db") and the many hands in which
musicians write them.
Refuses to know: which chord sounds, where, why.
How: writing reads the names off the table of qualities.  Reading turns the text into semitones
above the root and takes the quality whose tones come nearest, so a label outside the table
("min(11)", "maj13") still gives the chord that a bass player would serve it with.

Sources: Harte et al., "Symbolic representation of musical chords" (ISMIR 2005), for labels.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, NamedTuple

from engine.harmony import (
    QUALITIES,
    QUALITY_BY_HARTE,
    QUALITY_BY_SUFFIX,
    Chord,
    Key,
    Quality,
    degree_fifths,
    degree_semitones,
)
from engine.pitch import name_of_fifths, pitch_class_of_name, spell_near

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


def symbol(chord: Chord | None, key: Key) -> str:
    """The chord's lead-sheet symbol, spelled in the key; "N.C." where there is no chord."""
    if chord is None:
        return "N.C."
    slash = "" if chord.bass == chord.root else f"/{_bass_name(chord, key)}"
    return f"{key.chord_name(chord)}{chord.quality.suffix}{slash}"


def _bass_name(chord: Chord, key: Key) -> str:
    """The bass as a degree of the root (D/F#), or as the key has it if that is simpler."""
    fifths = key.chord_fifths(chord) + degree_fifths(chord.degree_of(chord.bass))
    name = name_of_fifths(fifths)
    return name if len(name) <= 2 else spell_near(chord.bass, key.tonic_fifths)


# The nearest quality ------------------------------------------------------------------------

# What it costs to leave a tone of the label out, or to put one in that it does not have, by
# semitones above the root.  Root, third and seventh make the chord; a fifth is readily supplied.
_LEFT_OUT: Final = (9, 1, 1, 4, 4, 1, 2, 3, 2, 2, 3, 3)
_PUT_IN: Final = (9, 2, 1, 8, 8, 2, 4, 1, 4, 4, 6, 6)


def nearest_quality(intervals: frozenset[int]) -> Quality:
    """The quality of the table whose tones come nearest to these semitones above the root."""
    return min(QUALITIES, key=lambda quality: _distance(intervals, frozenset(quality.intervals)))


def _distance(wanted: frozenset[int], offered: frozenset[int]) -> int:
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


# Reading lead-sheet symbols -----------------------------------------------------------------

_SYMBOL: Final = re.compile(r"([A-G][b#]*)(.*?)(?:/([A-G][b#]*))?")

# The words of a chord symbol, longest first where one begins another.
_WORD: Final = re.compile(
    r"""(?P<skip>[\s(),/]+)
      | (?P<omit>(?:no|omit)\s*[35](?:rd|th)?)
      | (?P<major>major|maj|Maj|MAJ|ma(?!dd)|Ma|M|j)
      | (?P<triangle>[Δ△∆^])
      | (?P<half>half-?dim(?:inished)?|hdim|[øØ])
      | (?P<dim>diminished|dim|[°ºo])
      | (?P<aug>augmented|aug|\+(?!\d)|\+(?=7))
      | (?P<sus>sus[24]?)
      | (?P<alt>alt(?:ered)?)
      | (?P<add>add\s*(?:[b#]?(?:11|13|[24569])))
      | (?P<altered>[b#+-](?:11|13|5|9)(?!\d))
      | (?P<dominant>dom)
      | (?P<minor>minor|min|Min|mi|m|-)
      | (?P<number>6/?9|13|11|[24-79])
    """,
    re.VERBOSE,
)

# What printed music writes otherwise: flats, sharps, and the minus sign or en dash for minor.
_PRINTED: Final = str.maketrans({"♭": "b", "♯": "#", "\u2212": "-", "\u2013": "-"})

# What a number adds to a triad; the seventh is named "7" here and settled by the words before it.
_STACKS: Final = MappingProxyType(
    {
        "2": "9",
        "4": "sus4",
        "5": "no3",
        "6": "6",
        "69": "6 9",
        "7": "7",
        "9": "7 9",
        "11": "7 9 11",
        "13": "7 9 13",
    }
)


class _Reading(NamedTuple):
    """What the words of a symbol have said so far."""

    third: int | None = 4
    fifth: int | None = 7
    seventh: int = 10
    tones: frozenset[int] = frozenset()
    number_seen: bool = False


# Words that change the third, the fifth or what "7" means (0: left as it is), or add tones.
_PLAIN: Final[Mapping[str, tuple[int, int, int, frozenset[int]]]] = MappingProxyType(
    {
        "minor": (3, 0, 0, frozenset()),
        "major": (0, 0, 11, frozenset()),
        "triangle": (0, 0, 11, frozenset({11})),
        "half": (3, 6, 0, frozenset({10})),
        "dim": (3, 6, 9, frozenset()),
        "aug": (0, 8, 0, frozenset()),
        "alt": (0, 8, 0, frozenset({10, 3})),
    }
)


def parse_symbol(text: str) -> Chord:
    """The chord of a lead-sheet symbol, in any of the usual hands: Bbm7, Bb-7, Bbmin7, BbΔ, Eb/G.

    Raises:
        ValueError: not a chord symbol.
    """
    plain = text.strip().translate(_PRINTED)
    found = _SYMBOL.fullmatch(plain)
    if found is None:
        raise _not_symbol(text, plain)
    root, suffix, bass = found.groups()
    quality = QUALITY_BY_SUFFIX.get(suffix) or nearest_quality(_symbol_intervals(text, suffix))
    tonic = pitch_class_of_name(root)
    return Chord.of(tonic, quality, None if bass is None else pitch_class_of_name(bass))


def _not_symbol(text: str, rest: str) -> ValueError:
    return ValueError(
        f"{text!r} is not a chord symbol: {rest!r} says nothing; write one such as Bbm7, F#7b9 or"
        " Eb/G"
    )


def _symbol_intervals(text: str, suffix: str) -> frozenset[int]:
    reading = _Reading()
    at = 0
    while at < len(suffix):
        word = _next_word(suffix, at, reading.number_seen)
        if word is None:
            raise _not_symbol(text, suffix[at:])
        kind = word.lastgroup
        if kind is not None:
            reading = _read_word(reading, kind, word.group())
        at = word.end()
    named = {t for t in (reading.third, reading.fifth) if t is not None}
    return frozenset({0} | named | reading.tones)


def _next_word(suffix: str, at: int, number_seen: bool) -> re.Match[str] | None:
    """The next word; "-9" and "+9" alter a chord that has its number, and else begin one.

    A fifth is altered in any chord: C-5 is no minor fifth.
    """
    if suffix[at] in "-+" and suffix[at + 1 : at + 2] != "5" and not number_seen:
        return re.compile(r"(?P<minor>-)|(?P<aug>\+)").match(suffix, at)
    return _WORD.match(suffix, at)


def _read_word(said: _Reading, kind: str, word: str) -> _Reading:
    if kind in _PLAIN:
        third, fifth, seventh, tones = _PLAIN[kind]
        before = said.tones
        if seventh and said.number_seen and said.seventh in before:  # C7M: the word comes after
            before = before - {said.seventh} | {seventh}
        return _Reading(
            third or said.third,
            fifth or said.fifth,
            seventh or said.seventh,
            before | tones,
            said.number_seen,
        )
    match kind:
        case "sus":
            return said._replace(third=2 if word.endswith("2") else 5)
        case "add":
            return said._replace(tones=said.tones | {degree_semitones(word[3:].strip()) % 12})
        case "omit":
            return said._replace(third=None) if "3" in word else said._replace(fifth=None)
        case "altered":
            return _alter(said, word)
        case "number":
            return _stack(said, word.replace("/", ""))
        case _:
            return said


def _alter(said: _Reading, word: str) -> _Reading:
    semitones = degree_semitones(word.replace("+", "#").replace("-", "b")) % 12
    if word[1:] == "5":
        return said._replace(fifth=semitones)
    return said._replace(tones=said.tones | {semitones})


def _stack(said: _Reading, number: str) -> _Reading:
    stack = _STACKS[number].split()
    if stack == ["no3"]:
        return said._replace(third=None, number_seen=True)
    if stack == ["sus4"]:
        return said._replace(third=5, number_seen=True)
    if said.number_seen:  # the 9 of "6 9" or "7(9)" is a tone more, not another chord
        stack = stack[-1:]
    tones = {said.seventh if d == "7" else degree_semitones(d) % 12 for d in stack}
    return said._replace(tones=said.tones | tones, number_seen=True)
