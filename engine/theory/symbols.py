"""Symbols: chords as musicians write them above a staff, and back.

Knows: lead-sheet symbols ("Bbm7/Db"), and the many hands in which they are written.
Refuses to know: which chord sounds, where, why.
How: writing reads the suffix off the table of qualities.  Reading turns the words of a symbol into
semitones above the root and takes the quality that serves a bass player best in its place: the
third is to be right before all else, then fifth and seventh, and a tone that the symbol alters is
not to come unaltered.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, NamedTuple

from engine.theory.harmony import (
    QUALITIES,
    QUALITY_BY_SUFFIX,
    Chord,
    Key,
    Quality,
    degree_semitones,
)
from engine.theory.labels import distance
from engine.theory.pitch import pitch_class_of_name
from engine.theory.spelling import spelled

# Writing ------------------------------------------------------------------------------------


def symbol(chord: Chord | None, key: Key) -> str:
    """The chord's lead-sheet symbol, spelled in the key; "N.C." where there is no chord."""
    if chord is None:
        return "N.C."
    slash = "" if chord.bass == chord.root else f"/{spelled(chord.bass, chord, key)}"
    return f"{key.chord_name(chord)}{chord.quality.suffix}{slash}"


# Reading ------------------------------------------------------------------------------------

_SYMBOL: Final = re.compile(r"([A-G][b#]*)(.*?)(?:/([A-G][b#]*))?")

# The words of a chord symbol, longest first where one begins another.  Only M and m differ by their
# size; a hand that writes capitals throughout has CMA7 and CMI7.
_WORD: Final = re.compile(
    r"""(?P<skip>[\s(),/]+)
      | (?P<omit>(?i:no|omit)\s*[35](?:rd|th)?)
      | (?P<major>(?i:major|maj|ma(?!dd))|M(?![Ii])|j)
      | (?P<triangle>[Δ△∆^])
      | (?P<half>(?i:half-?dim(?:inished)?|hdim)|[øØ∅⌀])
      | (?P<dim>(?i:diminished|dim)|[°ºo])
      | (?P<aug>(?i:augmented|aug)|\+(?!\d)|\+(?=7))
      | (?P<sus>(?i:sus)[24]?)
      | (?P<alt>(?i:alt(?:ered)?))
      | (?P<add>(?i:add)\s*(?:[b#]?(?:11|13|[24569])))
      | (?P<altered>[b#+-](?:11|13|5|9)(?!\d)|b6)
      | (?P<dominant>(?i:dom))
      | (?P<minor>(?i:minor|min|mi)|m|-)
      | (?P<number>6/?9|13|11|[24-79])
    """,
    re.VERBOSE,
)

_RAISED_SEVENTH: Final = re.compile(r"(?P<major>[#+])(?=7)")

PRINTED: Final = str.maketrans({"♭": "b", "♯": "#", "\u2212": "-", "\u2013": "-"})
"""What printed music writes otherwise: flats, sharps, the minus sign or en dash for minor."""

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

    @property
    def intervals(self) -> frozenset[int]:
        """All tones that the symbol names, in semitones above the root."""
        named = {t for t in (self.third, self.fifth) if t is not None}
        return frozenset({0} | named | self.tones)


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
    plain = text.strip().translate(PRINTED)
    found = _SYMBOL.fullmatch(plain)
    if found is None:
        raise _not_symbol(text, plain)
    root, suffix, bass = found.groups()
    quality = QUALITY_BY_SUFFIX.get(suffix) or _serving(_read(text, suffix))
    tonic = pitch_class_of_name(root)
    return Chord.of(tonic, quality, None if bass is None else pitch_class_of_name(bass))


def _not_symbol(text: str, rest: str) -> ValueError:
    return ValueError(
        f"{text!r} is not a chord symbol: {rest!r} says nothing; write one such as Bbm7, F#7b9 or"
        " Eb/G"
    )


def _read(text: str, suffix: str) -> _Reading:
    reading = _Reading()
    at = 0
    while at < len(suffix):
        word = _next_word(suffix, at, reading)
        if word is None:
            raise _not_symbol(text, suffix[at:])
        kind = word.lastgroup
        if kind is not None:
            reading = _read_word(reading, kind, word.group())
        at = word.end()
    return reading


def _next_word(suffix: str, at: int, said: _Reading) -> re.Match[str] | None:
    """The next word; "-9" and "+9" alter a chord that has its number, and else begin one.

    A fifth is altered in any chord: C-5 is no minor fifth.  Over a minor third "+7" is a seventh
    that is raised, and no minor chord has its fifth raised instead.
    """
    if said.third == 3 and (raised := _RAISED_SEVENTH.match(suffix, at)):
        return raised
    if suffix[at] in "-+" and suffix[at + 1 : at + 2] != "5" and not said.number_seen:
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
    replaced = {degree_semitones(word[1:]) % 12} - {said.seventh}  # a dim7 keeps its bb7
    return said._replace(tones=said.tones - replaced | {semitones})


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


# The quality that serves -------------------------------------------------------------------

# Which kind of chord a third makes; a chord without one (None) is neither major nor minor.
_KIND: Final = MappingProxyType({4: "major", 3: "minor", 5: "suspended", 2: "suspended", None: ""})

# The forms of ninth, eleventh and thirteenth, in semitones above the root: a symbol that names one
# of them denies the others, unless it names them too.  A fifth and a seventh are named or denied in
# every symbol.
_FORMS: Final = tuple(map(frozenset, ((1, 2, 3), (5, 6), (8, 9))))
_FIFTHS: Final = frozenset({6, 7, 8})
_SEVENTHS: Final = frozenset({10, 11})

# What it costs to lose an altered tone, which a bass would then take for unaltered.  A ninth is a
# step from the root, and nearer to what a bass plays.
_ALTERED: Final = MappingProxyType({1: 3, 3: 3, 6: 2, 8: 2})


def _serving(said: _Reading) -> Quality:
    """The quality of the table that serves a bass player best where the table lacks the chord.

    Some chords have none that is true to them: no major seventh chord has its fifth flat.  Then the
    one whose tones come nearest has to do.
    """
    return min(QUALITIES, key=lambda quality: _unlike(said, frozenset(quality.intervals)))


def _unlike(said: _Reading, offered: frozenset[int]) -> tuple[int, ...]:
    """How ill these tones serve for what the symbol says, the gravest fault first."""
    other_fifth = (7 if said.fifth is None else said.fifth) not in offered
    other_seventh = said.tones & _SEVENTHS != offered & _SEVENTHS
    return (
        _KIND[said.third] != _KIND[next((t for t in (4, 3, 5, 2) if t in offered), None)],
        len(_denied(said) & offered),
        other_fifth + other_seventh,
        sum(_ALTERED.get(tone, 0) for tone in said.tones - offered),
        distance(said.intervals, offered),
        said.third not in offered,
    )


def _denied(said: _Reading) -> frozenset[int]:
    """The tones that the symbol excludes, most of them by naming another form of the degree."""
    denied = _SEVENTHS if said.fifth is None else _SEVENTHS | _FIFTHS
    for forms in _FORMS:
        if said.tones & forms:
            denied |= forms
    return denied - said.intervals
