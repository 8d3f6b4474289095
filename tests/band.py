"""A small band for tests: a short notation for what the keys play, and a way to hear the bass."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from random import Random

from engine.bassist import Bassist
from engine.events import (
    ClockTick,
    Control,
    Incoming,
    NoteOff,
    NoteOn,
    Outgoing,
    Play,
    Release,
    Start,
    Stop,
)
from engine.labels import parse_symbol
from ports.replay import replay
from presets.loader import load

TEMPO = 120.0
BEAT_SECONDS = 60 / TEMPO


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
    for i, symbol in enumerate(chart.split()):
        begins = start + i * beats_each * BEAT_SECONDS
        ends = begins + beats_each * BEAT_SECONDS
        events += [NoteOn(begins, n, velocity) for n in voiced(symbol)]
        events += [NoteOff(ends, n) for n in voiced(symbol)]
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
    return Bassist(load(preset), Random(seed), tempo=TEMPO, **how)  # type: ignore[arg-type]


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
