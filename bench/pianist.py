"""A keyboard player who is told what to play in a short notation, and the ear that listens."""

from __future__ import annotations

from fractions import Fraction

from engine.events import Incoming, NoteOff, NoteOn
from engine.hearing.ear import Ear
from engine.theory.harmony import Key
from engine.theory.meter import FOUR_FOUR, Metre, Moment
from engine.theory.symbols import parse_symbol, symbol

TEMPO = 120.0
BEAT_SECONDS = 60 / TEMPO


def moment(position: float, metre: Metre = FOUR_FOUR) -> Moment:
    """A place in a song of one metre at 120 beats a minute."""
    bar, _ = divmod(Fraction(position).limit_denominator(960), metre.bar)
    return Moment(position / 2, position, bar * metre.bar, int(bar) + 1, metre, 0.5)


class Pianist:
    """A keyboard player, and the ear that listens."""

    def __init__(self, metre: Metre = FOUR_FOUR) -> None:
        self.ear = Ear()
        self.metre = metre
        self.now = 0.0
        self._next_beat = 0.0
        self._down: list[int] = []

    def at(self, position: float) -> Pianist:
        """Time goes on to a position; every beat on the way is crossed."""
        while self._next_beat <= position:
            here = moment(self._next_beat, self.metre)
            self.ear.cross(here)
            pulses = [float(here.bar_start + p) for p in self.metre.pulses]
            later = [p for p in pulses if p > self._next_beat]
            self._next_beat = later[0] if later else float(here.bar_start + self.metre.bar)
        self.now = position
        return self

    def play(self, notes: str) -> Pianist:
        """The keys that were down come up, these go down: "48 60 64 67"."""
        here = moment(self.now, self.metre)
        for note in self._down:
            self.ear.note_off(here, note, 0)
        self._down = [int(n) for n in notes.split()]
        for note in self._down:
            self.ear.note_on(here, note, 80, 0)
        return self

    def strike(self, note: int) -> Pianist:
        """One more key goes down."""
        self.ear.note_on(moment(self.now, self.metre), note, 80, 0)
        return self

    def lift(self, note: int) -> Pianist:
        """One key comes up."""
        self.ear.note_off(moment(self.now, self.metre), note, 0)
        return self

    def hears(self) -> str:
        """The chord heard now, spelled in C, or "-"."""
        chord = self.ear.heard(moment(self.now, self.metre)).chord
        return "-" if chord is None else symbol(chord, Key(0))


def voiced(symbol: str) -> tuple[int, ...]:
    """A chord as two hands play it: its bass below C3, its tones around middle C."""
    chord = parse_symbol(symbol)
    tones = sorted(55 + (p - 55) % 12 for p in chord.pitch_classes)
    return (36 + chord.bass, *tones)


def comping(
    chart: str, beats_each: float = 4, start: float = 0.0, velocity: int = 80
) -> list[Incoming]:
    """Block chords, one for each symbol, each held to the next and let go as it is struck."""
    events: list[Incoming] = []
    for i, name in enumerate(chart.split()):
        begins = start + i * beats_each * BEAT_SECONDS
        ends = begins + beats_each * BEAT_SECONDS
        events += [NoteOn(begins, n, velocity) for n in voiced(name)]
        events += [NoteOff(ends, n) for n in voiced(name)]
    return sorted(events, key=lambda e: (e.at, isinstance(e, NoteOn)))
