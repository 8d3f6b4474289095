"""A small band for tests: what the keys play in a short notation, an ear to hear it, the bass.

The keyboard player and the foresight that can be watched are those of the benches.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from random import Random

from bench.pianist import BEAT_SECONDS, TEMPO, Pianist, comping, moment, voiced
from bench.watched import Outlook, WatchedForesight
from engine.bassist import Bassist
from engine.events import ClockTick, Control, Incoming, Outgoing, Play, Release, Start, Stop
from ports.replay import replay
from presets.loader import load

__all__ = [
    "BEAT_SECONDS",
    "TEMPO",
    "Outlook",
    "Pianist",
    "WatchedForesight",
    "bass_player",
    "clock",
    "comping",
    "heard_from",
    "in_time",
    "moment",
    "pedal",
    "plays",
    "roots_of",
    "sounding_at_most_once",
    "voiced",
]


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


def roots_of(foresight: WatchedForesight, beats: Iterable[int]) -> list[int | None]:
    """The root that each beat is remembered with, None for silence."""
    chords = (foresight.remembered[Fraction(beat)] for beat in beats)
    return [None if chord is None else chord.root for chord in chords]


def pedal(at: float, down: bool) -> Control:
    """The sustain pedal goes down or up."""
    return Control(at, 64, 127 if down else 0)
