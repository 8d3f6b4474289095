"""Style: everything a preset may say, as one checked value.

Knows: the words of a preset, the limits of every number in it, and what a rhythm figure spells.
Refuses to know: files (that is presets/loader.py), and how a part is made of all this.
How: one frozen class for each section; a field carries its limits and what it means, so that the
check, the loader and the preset schema read the same line.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, fields
from enum import Enum
from fractions import Fraction
from typing import Any, Final

from engine.harmony import Family
from engine.meter import FOUR_FOUR, Metre
from engine.pitch import note_name


class StyleError(ValueError):
    """A style says something that cannot be played: which key, its value, what would do."""

    def __init__(self, key: str, value: object, wanted: str) -> None:
        said = f"{value:g}" if isinstance(value, float) else str(value)
        super().__init__(f"{key} is {said}; give {wanted}")
        self.key = key
        self.value = value
        self.wanted = wanted


def number(low: float, high: float, default: float, about: str) -> Any:  # noqa: ANN401 - a field
    """A field that holds a number between two limits."""
    return field(default=default, metadata={"low": low, "high": high, "about": about})


def check_limits(section: object, prefix: str) -> None:
    """Hold every number of a section against its limits.

    Raises:
        StyleError: one lies outside.
    """
    for each in fields(section):  # type: ignore[arg-type]
        if "low" not in each.metadata:
            continue
        low, high = each.metadata["low"], each.metadata["high"]
        value = getattr(section, each.name)
        if isinstance(value, bool) or not low <= value <= high:
            raise StyleError(f"{prefix}.{each.name}", value, f"{low:g} to {high:g}")


def _between(low: int, high: int) -> str:
    return f"{note_name(low)} to {note_name(high)}"


class Grid(Enum):
    """The finest step that a figure is written on; the value is steps to a quarter note."""

    EIGHTHS = 2
    TRIPLETS = 3
    SIXTEENTHS = 4

    @property
    def step(self) -> Fraction:
        """Length of one step in quarter notes."""
        return Fraction(1, self.value)


class Way(Enum):
    """A way into the coming chord, by the last notes before it."""

    SCALE_BELOW = "scale below"
    SCALE_ABOVE = "scale above"
    SEMITONE_BELOW = "semitone below"
    SEMITONE_ABOVE = "semitone above"
    FIFTH = "fifth"
    TWO_SEMITONES_BELOW = "two semitones below"
    TWO_SEMITONES_ABOVE = "two semitones above"
    ENCLOSURE = "enclosure"
    WALK_UP = "walk up"
    WALK_DOWN = "walk down"
    OCTAVE = "octave"
    REPEAT = "repeat"


class Turn(Enum):
    """How a bar of the figure may be varied."""

    ADD = "add"
    DROP = "drop"
    PUSH = "push"


@dataclass(frozen=True, slots=True)
class Tempo:
    """The tempos at which the style is at home, in quarter notes a minute."""

    low: float = number(20, 400, 60, "slowest usual tempo, quarter notes a minute")
    high: float = number(20, 400, 180, "fastest usual tempo, quarter notes a minute")

    def __post_init__(self) -> None:
        check_limits(self, "tempo")
        if self.low > self.high:
            raise StyleError("tempo.low", f"{self.low:g}", f"no more than high, {self.high:g}")


@dataclass(frozen=True, slots=True)
class Register:
    """Where on the instrument the part lives, as note numbers (28 is the open E)."""

    lowest: int = number(12, 72, 28, "lowest note")
    highest: int = number(12, 84, 52, "highest note")
    home: int = number(12, 72, 33, "where the roots like to lie")
    roam: float = number(0, 9, 0, "semitones that home may wander, from one four bars to the next")

    def __post_init__(self) -> None:
        check_limits(self, "register")
        if self.highest - self.lowest < 12:
            wanted = f"at least an octave above lowest, {note_name(self.lowest + 12)} or more"
            raise StyleError("register.highest", note_name(self.highest), wanted)
        if not self.lowest <= self.home <= self.highest:
            wanted = f"a note from lowest to highest, {_between(self.lowest, self.highest)}"
            raise StyleError("register.home", note_name(self.home), wanted)


@dataclass(frozen=True, slots=True)
class Feel:
    """How the part sits in time."""

    swing: float = number(0.5, 0.75, 0.5, "where the off-beat falls; 0.5 straight, 0.67 triplet")
    swing_on: Grid = Grid.EIGHTHS
    lay_back_ms: float = number(-30, 60, 0, "milliseconds behind the beat; below 0 ahead of it")
    looseness_ms: float = number(0, 15, 3, "human spread in time, in milliseconds")

    def __post_init__(self) -> None:
        check_limits(self, "feel")
        if self.swing_on is Grid.TRIPLETS:
            raise StyleError("feel.swing_on", "triplets", "eighths or sixteenths")


@dataclass(frozen=True, slots=True)
class Touch:
    """How the string is struck and how long it rings."""

    accent: int = number(1, 127, 104, "velocity of an accented note")
    plain: int = number(1, 127, 86, "velocity of a plain note")
    ghost: int = number(1, 60, 38, "velocity of a ghost note")
    spread: float = number(0, 15, 4, "human spread of the velocities")
    length: float = number(0.1, 1, 0.85, "note length as a share of its place in the figure")

    def __post_init__(self) -> None:
        check_limits(self, "touch")
        if not self.ghost < self.plain <= self.accent:
            wanted = "ghost below plain, and plain no higher than accent"
            raise StyleError("touch.plain", self.plain, wanted)


@dataclass(frozen=True, slots=True)
class Phrase:
    """How bars make a phrase."""

    bars: int = number(1, 16, 4, "bars in a phrase")
    answer: float = number(0, 1, 0.5, "share of phrases that answer themselves")
    answer_every: int = number(0, 8, 0, "bars from answer to answer; 0 keeps it for the last half")
    vary: float = number(0, 1, 0.25, "share of inner bars that ornament or thin the figure")
    fill: float = number(0, 1, 0.7, "share of phrases that end in a fill")
    motive: float = number(0, 1, 0.8, "how firmly the tones of the figure are kept")
    turns: tuple[Turn, ...] = (Turn.ADD, Turn.DROP, Turn.PUSH)

    def __post_init__(self) -> None:
        check_limits(self, "phrase")
        if not self.turns:
            raise StyleError("phrase.turns", "empty", "one or more of add, drop, push")


@dataclass(frozen=True, slots=True)
class Approach:
    """How the part goes into the next chord."""

    led: float = number(0, 1, 0.6, "share of changes that are led into")
    wait: float = number(0, 4, 0, "quarter notes a change may wait for the figure's next note")
    daring: float = number(0, 1, 0.5, "belief needed to aim at a chord that is only expected")
    ways: tuple[tuple[Way, float], ...] = ((Way.SCALE_BELOW, 1), (Way.SCALE_ABOVE, 1))

    def __post_init__(self) -> None:
        check_limits(self, "approach")
        _check_weights(self.ways, "approach.ways")


@dataclass(frozen=True, slots=True)
class Neck:
    """The instrument: its open strings as note numbers, lowest first, and its frets."""

    tuning: tuple[int, ...] = (28, 33, 38, 43)
    frets: int = number(5, 24, 14, "highest fret the style goes up to")
    open_strings: float = number(0, 1, 0.5, "liking for open strings; 0.5 takes them as they come")

    def __post_init__(self) -> None:
        check_limits(self, "neck")
        rising = all(low < high for low, high in zip(self.tuning, self.tuning[1:], strict=False))
        if not 3 <= len(self.tuning) <= 6 or not rising or not 12 <= self.tuning[0] <= 40:
            wanted = "3 to 6 open strings, lowest first, such as E1 A1 D2 G2"
            raise StyleError("neck.tuning", self.tuning, wanted)


# Figures -------------------------------------------------------------------------------------

_SIGN_ACCENT: Final = {"X": 1.0, "x": 0.6, "g": 0.2}
_TONE: Final = re.compile(r">?[b#]?(?:10|[1-9]),?|[*>]")
FREE: Final = "*"
LEAD: Final = ">"


@dataclass(frozen=True, slots=True)
class Stroke:
    """One stroke of a figure: where it falls in the bar and how long it may ring.

    `tone` is a degree ("5", "b7", "5," for the fifth below the root, "8" for the octave), `*`
    where the search may choose, `>` where the note leads into the next chord, or `>1` where it
    is the next chord's degree, sounded early and held over.
    """

    at: Fraction
    length: Fraction
    accent: float
    ghost: bool
    tone: str = FREE

    @property
    def early(self) -> bool:
        """Whether it anticipates the next chord."""
        return self.tone.startswith(LEAD) and self.tone != LEAD


@dataclass(frozen=True, slots=True)
class Figure:
    """A bar's rhythm as a line of signs, one to a step of the grid, and the tones it likes.

    X accented, x plain, g ghost, - the note rings on, . silence; blanks are for the eye.
    """

    strokes: tuple[Stroke, ...]
    metre: Metre = FOUR_FOUR
    weight: float = 1

    @classmethod
    def of(
        cls, signs: str, tones: str, grid: Grid, metre: Metre = FOUR_FOUR, weight: float = 1
    ) -> Figure:
        """Read a figure from its two lines.

        Raises:
            StyleError: a sign or tone that means nothing, or lines of the wrong length.
        """
        line = "".join(signs.split())
        steps = metre.bar / grid.step
        if len(line) != steps:
            wanted = f"{steps} signs for a bar of {metre} in {grid.name.lower()}"
            raise StyleError("strokes", f"{signs!r} ({len(line)} signs)", wanted)
        if line.strip("Xxg-.") or not line.strip("-."):
            raise StyleError("strokes", repr(signs), "X, x, g, - and . with at least one stroke")
        words = _tones(tones, sum(sign in "Xx" for sign in line))
        return cls(tuple(_strokes(line, words, grid.step)), metre, weight)


def _tones(tones: str, count: int) -> list[str]:
    strange = _TONE.sub("", tones).split()
    if strange:
        wanted = "degrees such as 1 b3 5 5, 8; * is free, > leads on, >1 is the next root early"
        raise StyleError("tones", strange[0], wanted)
    words = _TONE.findall(tones) or [FREE] * count
    if len(words) != count:
        raise StyleError(
            "tones", f"{tones!r} ({len(words)} tones)", f"{count}, one for each X or x"
        )
    return words


def _strokes(line: str, words: list[str], step: Fraction) -> list[Stroke]:
    found = []
    tones = iter(words)
    for place, sign in enumerate(line):
        if sign in "-.":
            continue
        rest = line[place + 1 :]
        ring = 1 + len(rest) - len(rest.lstrip("-"))
        tone = FREE if sign == "g" else next(tones)
        found.append(Stroke(place * step, ring * step, _SIGN_ACCENT[sign], sign == "g", tone))
    return found


@dataclass(frozen=True, slots=True)
class Rhythm:
    """The figures of a style: what it plays, how it answers itself, how it fills."""

    grid: Grid
    figures: tuple[Figure, ...]
    answers: tuple[Figure, ...] = ()
    fills: tuple[Figure, ...] = ()
    density: float = number(0, 1, 0.5, "0.5 plays the figures as written; less thins, more fills")

    def __post_init__(self) -> None:
        check_limits(self, "rhythm")
        if not self.figures:
            raise StyleError("rhythm.figures", "empty", "at least one figure")
        for key in ("figures", "answers", "fills"):
            weights = tuple((key, figure.weight) for figure in getattr(self, key))
            if weights:
                _check_weights(weights, f"rhythm.{key}")


# The whole ------------------------------------------------------------------------------------

Pool = tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class Style:
    """A way of playing, whole and checked.

    Raises:
        StyleError: a section says something that cannot be played.
    """

    name: str
    rhythm: Rhythm
    title: str = ""
    description: str = ""
    tempo: Tempo = field(default_factory=Tempo)
    metres: tuple[Metre, ...] = (FOUR_FOUR,)
    pools: tuple[tuple[Family, Pool], ...] = ()
    phrase: Phrase = field(default_factory=Phrase)
    approach: Approach = field(default_factory=Approach)
    register: Register = field(default_factory=Register)
    feel: Feel = field(default_factory=Feel)
    touch: Touch = field(default_factory=Touch)
    neck: Neck = field(default_factory=Neck)

    def __post_init__(self) -> None:
        if not self.metres:
            raise StyleError("metres", "empty", "at least one, such as 4/4")
        for family, pool in self.pools:
            _check_pool(family, pool)
        top = self.neck.tuning[-1] + self.neck.frets
        if self.register.lowest < self.neck.tuning[0] or self.register.highest > top:
            span = _between(self.register.lowest, self.register.highest)
            wanted = f"notes that the neck has, {_between(self.neck.tuning[0], top)}"
            raise StyleError("register", span, wanted)


def _check_weights(weights: tuple[tuple[Any, float], ...], key: str) -> None:
    for name, weight in weights:
        if not 0 <= weight <= 100:
            raise StyleError(f"{key}.{getattr(name, 'value', name)}", weight, "0 to 100")
    if not any(weight > 0 for _, weight in weights):
        raise StyleError(key, "without any weight", "at least one weight above 0")


def _check_pool(family: Family, pool: Pool) -> None:
    _check_weights(pool, f"pools.{family.value}")
    for tone, _ in pool:
        if not _TONE.fullmatch(tone) or tone[0] in (FREE, LEAD):
            raise StyleError(f"pools.{family.value}", tone, "degrees such as 1, b3, 5, 6 or 8")
