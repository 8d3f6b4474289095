"""Style: everything a preset may say, as one checked value.

Knows: the words of a preset and the limits of every number in it.
Refuses to know: files (that is presets/reading.py), and how a part is made of all this.
How: one frozen class for each section; a field carries its limits and what it means, see limits.py.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum
from itertools import pairwise
from typing import Final

from engine.figures import FREE, LEAD, OCTAVE, TONE, Figure, Grid
from engine.limits import StyleError, check_limits, check_weights, number
from engine.theory.harmony import Family
from engine.theory.meter import FOUR_FOUR, Metre
from engine.theory.pitch import note_name


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

    lowest: int = number(12, 72, 28, "lowest note", note_name)
    highest: int = number(12, 84, 52, "highest note", note_name)
    home: int = number(12, 72, 33, "where the roots like to lie", note_name)
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
    slides: float = number(0, 1, 0, "share of the moves of up to four frets on one string, slid")
    hammers: float = number(0, 1, 0, "share of the moves of up to three frets up, hammered on")

    def __post_init__(self) -> None:
        check_limits(self, "touch")
        if not self.ghost < self.plain <= self.accent:
            wanted = "ghost below plain, and plain no higher than accent"
            raise StyleError("touch.plain", self.plain, wanted)


@dataclass(frozen=True, slots=True)
class Interplay:
    """How far the part goes along with the player's hands; 0 plays on whatever they do."""

    loudness: float = number(0, 1, 0, "how far the touch follows the keys when they swell or fade")
    busyness: float = number(0, 1, 0, "how far the part fills and thins as the player does")
    room: float = number(
        0, 1, 0, "how far the part thins, and keeps below, where the left hand is low and busy"
    )

    def __post_init__(self) -> None:
        check_limits(self, "interplay")


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
    walked: float = number(0, 1, 0, "share of changes a third to a fifth away that are walked into")
    wait: float = number(0, 4, 0, "quarter notes a change may wait for the figure's next note")
    daring: float = number(0, 1, 0.5, "belief needed to aim at a chord that is only expected")
    ways: tuple[tuple[Way, float], ...] = ((Way.SCALE_BELOW, 1), (Way.SCALE_ABOVE, 1))

    def __post_init__(self) -> None:
        check_limits(self, "approach")
        check_weights(self.ways, "approach.ways")


@dataclass(frozen=True, slots=True)
class Neck:
    """The instrument: its open strings as note numbers, lowest first, and its frets."""

    tuning: tuple[int, ...] = (28, 33, 38, 43)
    frets: int = number(5, 24, 14, "highest fret the style goes up to")
    span: int = number(3, 5, 4, "frets under the hand: 4 for a finger each, 3 on an upright")
    open_strings: float = number(0, 1, 0.5, "liking for open strings; 0.5 takes them as they come")

    def __post_init__(self) -> None:
        check_limits(self, "neck")
        steps = [high - low for low, high in pairwise(self.tuning)]
        said = " ".join(note_name(string) for string in self.tuning) or "empty"
        rising = all(step > 0 for step in steps)
        if not 3 <= len(self.tuning) <= 6 or not rising or not 12 <= self.tuning[0] <= 40:
            wanted = "3 to 6 open strings, lowest first, such as E1 A1 D2 G2"
            raise StyleError("neck.tuning", said, wanted)
        if max(steps) > self.frets + 1:  # there would be notes that lie on neither string
            wanted = f"strings no further apart than {self.frets + 1} semitones, or more frets"
            raise StyleError("neck.tuning", said, wanted)


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
            weights = tuple(("weight", figure.weight) for figure in getattr(self, key))
            if weights:
                check_weights(weights, f"rhythm.{key}")

    @property
    def octaves(self) -> float:
        """How many of its figures, by their weight, ask for the octave above the root, 0 to 1."""
        asking = [f.weight for f in self.figures if any(s.tone.endswith(OCTAVE) for s in f.strokes)]
        return sum(asking) / sum(figure.weight for figure in self.figures)


# The whole ------------------------------------------------------------------------------------

Pool = tuple[tuple[str, float], ...]

POOLS: Final = ("pools", "quiet_pools", "full_pools")
"""What chords offer: as the player usually plays, held back, and in full flight."""


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
    quiet_pools: tuple[tuple[Family, Pool], ...] = ()
    full_pools: tuple[tuple[Family, Pool], ...] = ()
    phrase: Phrase = field(default_factory=Phrase)
    approach: Approach = field(default_factory=Approach)
    register: Register = field(default_factory=Register)
    feel: Feel = field(default_factory=Feel)
    touch: Touch = field(default_factory=Touch)
    interplay: Interplay = field(default_factory=Interplay)
    neck: Neck = field(default_factory=Neck)

    def __post_init__(self) -> None:
        if not self.metres:
            raise StyleError("metres", "empty", "at least one, such as 4/4")
        for name in POOLS:
            for family, pool in getattr(self, name):
                _check_pool(f"{name}.{family.value}", pool)
        top = self.neck.tuning[-1] + self.neck.frets
        if self.register.lowest < self.neck.tuning[0] or self.register.highest > top:
            span = _between(self.register.lowest, self.register.highest)
            wanted = f"notes that the neck has, {_between(self.neck.tuning[0], top)}"
            raise StyleError("register", span, wanted)


def _between(low: int, high: int) -> str:
    return f"{note_name(low)} to {note_name(high)}"


def _check_pool(key: str, pool: Pool) -> None:
    check_weights(pool, key)
    for tone, _ in pool:
        if not TONE.fullmatch(tone) or tone[0] in (FREE, LEAD):
            raise StyleError(f"{key}.{tone}", "no degree", "1, b3, 5, 6, 8 or the like")
