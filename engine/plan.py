"""Plan: the harmony ahead, as the line is asked to play it.

Knows: what a part is written for, and how the chord heard and those expected make one row of spans.
Refuses to know: how either was come by.
How: the forecasts name a chord for each coming felt beat; neighbours with one chord join.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from engine.events import Forecast
from engine.score import BassNote, Span
from engine.theory.harmony import Chord, Key
from engine.theory.meter import Moment


@dataclass(frozen=True, slots=True)
class Belief:
    """What the part is to be written for: the chord now, the chords ahead, the key.

    `rests` are felt beats for which it is written that nobody plays.
    """

    chord: Chord
    confidence: float
    key: Key
    ahead: tuple[Forecast, ...]
    rests: frozenset[Fraction] = frozenset()


def spans_between(
    start: Fraction, end: Fraction, chord: Chord, confidence: float, ahead: tuple[Forecast, ...]
) -> tuple[Span, ...]:
    """The chords from `start` to `end`, the heard one until the first forecast that differs."""
    spans = [Span(start, end, chord, confidence)]
    for forecast in ahead:
        if forecast.beat >= end:
            break
        _append(spans, forecast, end)
    return tuple(spans)


def _append(spans: list[Span], forecast: Forecast, end: Fraction) -> None:
    last = spans[-1]
    if forecast.chord is None or forecast.chord == last.chord:
        return
    if forecast.beat <= last.start:
        spans[-1] = Span(last.start, end, forecast.chord, forecast.confidence)
        return
    spans[-1] = Span(last.start, forecast.beat, last.chord, last.confidence)
    spans.append(Span(forecast.beat, end, forecast.chord, forecast.confidence))


def without_rests(
    notes: Sequence[BassNote], rests: frozenset[Fraction], bar: Moment
) -> list[BassNote]:
    """The notes of a bar that no rest swallows, none of them ringing into one or leading there."""
    kept: list[BassNote] = []
    for note in notes:
        felt, _ = bar.metre.felt_beat_at(note.beat - bar.bar_start)
        if bar.bar_start + felt in rests:
            continue
        ends = min((r for r in rests if r > note.beat), default=note.beat + note.length)
        kept.append(replace(note, length=min(note.length, ends - note.beat)))
    while kept and kept[-1].aims_at is not None and bar.bar_start + bar.metre.bar in rests:
        kept.pop()
    return kept


def coming_after(end: Fraction, chord: Chord, ahead: tuple[Forecast, ...]) -> Span | None:
    """The first chord at or after `end`: the one expected there, or the change that is expected.

    None where nothing is forecast that far.
    """
    for forecast in ahead:
        if forecast.beat >= end and forecast.chord is not None:
            at_bar_line = forecast.beat == end
            if at_bar_line or forecast.chord != chord:
                return Span(forecast.beat, forecast.beat + 1, forecast.chord, forecast.confidence)
    return None


def next_change(chord: Chord, ahead: tuple[Forecast, ...]) -> Forecast | None:
    """The first forecast of another chord than the one that sounds."""
    return next((f for f in ahead if f.chord is not None and f.chord != chord), None)
