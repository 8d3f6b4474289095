"""Score: what the line is asked to write, and a note as it writes it.

Knows: the shape of an ask and of a written note, and how a player's manner is told.
Refuses to know: who asks, and how a note is chosen or played.
How: frozen, slotted dataclasses that check themselves; `beat` is a place in the song in quarter
notes.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from fractions import Fraction
from typing import Final

from engine.theory.harmony import Chord, Key
from engine.theory.meter import Metre


class Role(Enum):
    """What a bass note is to its chord."""

    ROOT = "root"
    OCTAVE = "octave"
    SECOND = "second"
    THIRD = "third"
    FOURTH = "fourth"
    FIFTH = "fifth"
    SIXTH = "sixth"
    SEVENTH = "seventh"
    BASS = "slash bass"
    SCALE_STEP = "scale step"
    APPROACH_BELOW = "approach from below"
    APPROACH_ABOVE = "approach from above"
    GHOST = "ghost"


class Articulation(Enum):
    """How a note begins."""

    PLUCKED = "plucked"
    HAMMERED = "hammered on"
    SLID = "slid"


@dataclass(frozen=True, slots=True)
class BassNote:
    """A bass note as written: where, how long, which, and why.

    `beat` and `length` are quarter notes; `string` counts from 1, the lowest; `accent` is how
    hard it is meant, 0 softest to 1 hardest; `aims_at` is the pitch class it leads to, if any.
    A note that is hammered on or slid into has `joined_from`, the note under the finger before;
    that one `rings_on` to its very end.  `anticipates` is where its chord begins, if it comes
    before that.
    """

    beat: Fraction
    length: Fraction
    note: int
    accent: float
    role: Role
    reason: str
    string: int
    fret: int
    chord: Chord
    aims_at: int | None = None
    articulation: Articulation = Articulation.PLUCKED
    joined_from: int | None = None
    rings_on: bool = False
    anticipates: Fraction | None = None

    def __post_init__(self) -> None:
        if not 0 <= self.note <= 127:
            raise ValueError(f"note is {self.note}; MIDI allows 0 to 127")
        if self.length <= 0:
            raise ValueError(f"the note's length is {self.length}; a note lasts more than 0 beats")
        if (self.joined_from is None) != (self.articulation is Articulation.PLUCKED):
            raise ValueError("a note that is joined, and no other, says from which note")

    @property
    def ghost(self) -> bool:
        """Whether the string is only touched."""
        return self.role is Role.GHOST


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of the song over which one chord is heard, or expected with some confidence."""

    start: Fraction
    end: Fraction
    chord: Chord
    confidence: float


LOUD_SPAN: Final = 24
"""Velocities from the player's usual to held back and to full flight: two marks, as mezzo forte
to piano or fortissimo; the bass goes as far as the keys."""


@dataclass(frozen=True, slots=True)
class Manner:
    """How the player plays just now; 0 to 1.

    `loud` and `busy` are held against the player's own usual, which is 0.5: keyboards differ, and
    so do hands.  `low` is how much the left hand does where the bass lives, 0 nothing, and
    `floor` the lowest note played.  `walks` is whether it moves to another
    low note on nearly every beat.
    """

    loud: float = 0.5
    busy: float = 0.5
    low: float = 0.0
    floor: int | None = None
    walks: bool = False

    def __post_init__(self) -> None:
        for name in ("loud", "busy", "low"):
            value = getattr(self, name)
            if not 0 <= value <= 1:
                raise ValueError(f"{name} is {value}; a manner is 0 to 1")

    @property
    def intensity(self) -> float:
        """Loud and busy in one: 0 held back, 0.5 as usual, 1 in full flight."""
        return (self.loud + self.busy) / 2


AS_USUAL: Final = Manner()


@dataclass(frozen=True, slots=True)
class Ask:
    """What the line is asked to write: the rest of one bar.

    The part is wanted from `start` up to the end of the bar that began at `bar_start`; `spans`
    cover just that stretch, in order; `coming` is the first chord after it, where one is expected
    (its start is where it comes, at the bar line or later).  `last` is the note that sounds or
    sounded last before `start`.  `seconds_per_beat` is the length of a quarter note.
    `manner` is how the player plays, the same for every ask of one bar.
    """

    start: Fraction
    bar_start: Fraction
    bar: int
    metre: Metre
    spans: tuple[Span, ...]
    coming: Span | None
    key: Key
    last: BassNote | None
    seconds_per_beat: float
    manner: Manner = AS_USUAL

    @property
    def end(self) -> Fraction:
        """The bar line that closes the bar, in quarter notes from the start of the song."""
        return self.bar_start + self.metre.bar
