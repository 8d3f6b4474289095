"""A small band for tests: what the keys play in a short notation, an ear to hear it, the bass."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction
from random import Random

from engine.bassist import Bassist
from engine.events import (
    ClockTick,
    Control,
    Forecast,
    Incoming,
    NoteOff,
    NoteOn,
    Outgoing,
    Play,
    Release,
    Start,
    Stop,
)
from engine.foresight.outlook import WEIGHED, Foresight
from engine.foresight.standing import Present
from engine.hearing.ear import Ear
from engine.theory.harmony import Key
from engine.theory.meter import FOUR_FOUR, Metre, Moment
from engine.theory.symbols import parse_symbol, symbol
from ports.replay import replay
from presets.loader import load

TEMPO = 120.0
BEAT_SECONDS = 60 / TEMPO

Outlook = tuple[Forecast, ...]


def moment(position: float, metre: Metre = FOUR_FOUR) -> Moment:
    """A place in a song of one metre at 120 beats a minute."""
    bar, _ = divmod(Fraction(position).limit_denominator(960), metre.bar)
    return Moment(position / 2, position, bar * metre.bar, int(bar) + 1, metre, 0.5)


class WatchedForesight(Foresight):
    """Foresight that lets each outlook be seen, or be made another one, before it is told.

    `asked` is whether the ear had been asked what comes.
    """

    def __init__(self, watch: Callable[[Outlook], Outlook]) -> None:
        super().__init__()
        self._watch = watch
        self.asked = False

    def look(self, now: Present, horizon: int, *, weigh: int = WEIGHED) -> Outlook:
        """Look ahead as usual, and pass it on."""
        self.asked = now.coming is not None
        seen = super().look(now, horizon, weigh=weigh)
        return self._watch(seen)


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


def clock(beats: int, start: float = 0.0) -> list[Incoming]:
    """A sequencer's clock: start, then even ticks, with one more tick on the last beat."""
    ticks = [ClockTick(start + i * BEAT_SECONDS / 24) for i in range(beats * 24 + 1)]
    return [Start(start), *ticks]


def in_time(*parts: Iterable[Incoming]) -> list[Incoming]:
    """Several players' events in the order of time; at one instant the first named come first."""
    return sorted((e for part in parts for e in part), key=lambda e: e.at)


def bass_player(preset: str = "soul", seed: int = 1, **how: object) -> Bassist:
    """A bassist at the test tempo."""
    return Bassist(load(preset), Random(seed), **{"tempo": TEMPO, **how})  # type: ignore[arg-type]


def heard_from(bassist: Bassist, events: Sequence[Incoming], until: float) -> list[Outgoing]:
    """All that the bassist gives out, woken whenever it asks, until the music stops."""
    out: list[Outgoing] = []
    replay(bassist, [*events, Stop(until)], out.append)
    return out


def plays(out: Iterable[Outgoing]) -> list[Play]:
    """Of what was given out the notes that begin."""
    return [o for o in out if isinstance(o, Play)]


def sounding_at_most_once(out: Iterable[Outgoing]) -> bool:
    """Whether every note that begins is released before the next, and none twice."""
    sounding: int | None = None
    for o in out:
        if isinstance(o, Play):
            if sounding is not None:
                return False
            sounding = o.note
        elif isinstance(o, Release):
            if sounding != o.note:
                return False
            sounding = None
    return sounding is None


def pedal(at: float, down: bool) -> Control:
    """The sustain pedal goes down or up."""
    return Control(at, 64, 127 if down else 0)
