"""Events: what comes in, what passes between the stages, what goes out.

Knows: the shape of every value that crosses a boundary of the engine, and of the door it takes.
Refuses to know: who made it or who takes it.
How: frozen, slotted dataclasses that check themselves.  `at` is seconds on the caller's clock,
`beat` a place in the song in quarter notes.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Final, Protocol

from engine.score import BassNote
from engine.style import Style
from engine.theory.harmony import Chord, Key
from engine.theory.meter import FOUR_FOUR, Metre

SUSTAIN: Final = 64
ALL_SOUND_OFF: Final = 120
RESET_CONTROLLERS: Final = 121
ALL_NOTES_OFF: Final = 123


def _check(name: str, value: int, highest: int) -> None:
    if not 0 <= value <= highest:
        raise ValueError(f"{name} is {value}; MIDI allows 0 to {highest}")


# What comes in ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class NoteOn:
    """A key went down."""

    at: float
    note: int
    velocity: int = 80
    channel: int = 0

    def __post_init__(self) -> None:
        _check("note", self.note, 127)
        _check("velocity", self.velocity, 127)
        _check("channel", self.channel, 15)


@dataclass(frozen=True, slots=True)
class NoteOff:
    """A key came up."""

    at: float
    note: int
    channel: int = 0

    def __post_init__(self) -> None:
        _check("note", self.note, 127)
        _check("channel", self.channel, 15)


@dataclass(frozen=True, slots=True)
class Control:
    """A controller moved; the sustain pedal is controller 64, down from value 64 on."""

    at: float
    controller: int
    value: int
    channel: int = 0

    def __post_init__(self) -> None:
        _check("controller", self.controller, 127)
        _check("controller value", self.value, 127)
        _check("channel", self.channel, 15)


@dataclass(frozen=True, slots=True)
class ClockTick:
    """A MIDI clock tick, 24 to a quarter note."""

    at: float


@dataclass(frozen=True, slots=True)
class SongPosition:
    """The sequencer moved to a place, counted in sixteenth notes from the start of the song."""

    at: float
    sixteenths: int

    def __post_init__(self) -> None:
        _check("song position", self.sixteenths, 16383)


@dataclass(frozen=True, slots=True)
class Start:
    """The sequencer starts from the top; the first clock tick after it is beat 0."""

    at: float


@dataclass(frozen=True, slots=True)
class Continue:
    """The sequencer goes on from its song position."""

    at: float


@dataclass(frozen=True, slots=True)
class Stop:
    """The sequencer, or the player, stops: the bass falls silent."""

    at: float


@dataclass(frozen=True, slots=True)
class NewMetre:
    """The time signature changes; it holds from this moment, which is a bar line."""

    at: float
    metre: Metre


@dataclass(frozen=True, slots=True)
class NewStyle:
    """Another style, taken up at the next bar line."""

    at: float
    style: Style


@dataclass(frozen=True, slots=True)
class Tick:
    """Time has come this far, and nothing else happened."""

    at: float


Incoming = (
    NoteOn
    | NoteOff
    | Control
    | ClockTick
    | SongPosition
    | Start
    | Continue
    | Stop
    | NewMetre
    | NewStyle
    | Tick
)


# What passes between the stages -------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Heard:
    """What the ear believes now: the chord and the key, each with its probability.

    No chord is heard before the first note; the key before any note is the most likely one of
    none, with the probability of a guess.
    """

    chord: Chord | None
    confidence: float
    key: Key
    key_confidence: float


@dataclass(frozen=True, slots=True)
class Forecast:
    """The chord expected to sound at a coming beat.

    `confidence` is the probability of this chord's root sounding there.
    """

    beat: Fraction
    chord: Chord | None
    confidence: float


# What goes out ------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Play:
    """A bass note begins; `at` is when it is due, which is what lateness is measured against."""

    at: float
    beat: float
    note: int
    velocity: int
    written: BassNote


@dataclass(frozen=True, slots=True)
class Release:
    """The sounding bass note ends."""

    at: float
    beat: float
    note: int


@dataclass(frozen=True, slots=True)
class Bend:
    """What sounds or is about to is bent so many semitones up (below 0 down); 0 ends the bend."""

    at: float
    beat: float
    semitones: float


@dataclass(frozen=True, slots=True)
class Beat:
    """A felt beat passes: bar from 1, count in the bar from 1 (a count-in has bars below 1)."""

    at: float
    beat: float
    bar: int
    count: int
    metre: Metre = FOUR_FOUR


@dataclass(frozen=True, slots=True)
class ChordHeard:
    """The chord believed to sound is another one now (None: nothing sounds yet)."""

    at: float
    beat: float
    chord: Chord | None
    key: Key
    confidence: float


@dataclass(frozen=True, slots=True)
class KeyHeard:
    """The key believed in is another one now."""

    at: float
    beat: float
    key: Key
    confidence: float


@dataclass(frozen=True, slots=True)
class ChangeExpected:
    """The next change expected is another one now, or is expected at another beat."""

    at: float
    beat: float
    at_beat: float
    chord: Chord
    key: Key
    confidence: float


@dataclass(frozen=True, slots=True)
class NothingExpected:
    """The change that was expected last is so no longer, nor is any other."""

    at: float
    beat: float


@dataclass(frozen=True, slots=True)
class BarOfSilence:
    """The bar that ends here had no key in it: what was heard before it is heard no longer."""

    at: float
    beat: float
    bar: int


@dataclass(frozen=True, slots=True)
class Rest:
    """The phrase has ended and the bass counts no further: the next chord is beat 1 of bar 1."""

    at: float
    beat: float


Outgoing = (
    Play
    | Release
    | Bend
    | Beat
    | ChordHeard
    | KeyHeard
    | ChangeExpected
    | NothingExpected
    | BarOfSilence
    | Rest
)


# The door ---------------------------------------------------------------------------------------


class Musician(Protocol):
    """What is fed events in order of time, and says when it wants to be woken."""

    def receive(self, event: Incoming) -> list[Outgoing]:
        """Take one event; give out what became due, or known, by its time."""

    def next_deadline(self) -> float | None:
        """The second at which it wants a Tick if nothing comes before; None if it wants none."""
