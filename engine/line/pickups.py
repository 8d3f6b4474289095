"""Pickups: where in the bar a note that is not the chord's may lead out of it.

Knows: which strokes are heard as the chord itself, whatever they lead to, and where a stroke is
added that can lead.
Refuses to know: notes, and which changes are led into.
How: the middle of a bar belongs to its chord, and so does whatever rings for a slow felt beat
before the last one.  A semitone there is a wrong note; a bass player keeps the chord, and plays the
semitone as a pickup: on the last beat, or in 6/8, where that is the middle, on its last eighth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Final

from engine.figures import LEAD, PLAIN, Stroke
from engine.theory.meter import HALF_BAR, Metre

# Soon over, a semitone is heard to move; those found to be plainly wrong rang for 0.8 s and longer.
_SOON_OVER_SECONDS: Final = 0.7


def is_exposed(
    metre: Metre, at: Fraction, length: Fraction, change: Fraction, seconds_per_beat: float
) -> bool:
    """Whether a stroke before a change is heard as the chord, and a foreign note as a wrong one.

    Args:
        metre: of the bar.
        at: where in the bar it begins, in quarter notes.
        length: how long it rings, in quarter notes.
        change: where the next chord comes, in quarter notes from the same bar line.
        seconds_per_beat: the length of a quarter note.
    """
    _, felt = metre.felt_beat_at(at)
    middle = metre.weight(at) >= HALF_BAR
    lasts = length >= felt and float(length) * seconds_per_beat > _SOON_OVER_SECONDS
    if change - at <= felt:  # the last felt beat leads, in two as well
        return middle and lasts
    return middle or lasts


def with_pickup(
    metre: Metre, strokes: Sequence[Stroke], seconds_per_beat: float
) -> tuple[Stroke, ...]:
    """A bar's strokes, one added near its end where otherwise only an exposed one could lead."""
    own = [stroke for stroke in strokes if not stroke.ghost]
    last = own[-1] if own else None
    if last is None or last.early:
        return tuple(strokes)
    if not is_exposed(metre, last.in_bar, last.length, metre.bar, seconds_per_beat):
        return tuple(strokes)
    at = _place(metre, last.in_bar)
    cut = (replace(s, length=min(s.length, at - s.in_bar)) for s in strokes if s.in_bar < at)
    return (*cut, Stroke(at, metre.bar - at, PLAIN, ghost=False, tone=LEAD))


def _place(metre: Metre, last: Fraction) -> Fraction:
    """The last felt beat, or its last eighth: in 6/8, or after a stroke that is on the beat."""
    begins, felt = metre.felt_beat_at(metre.pulses[-1])
    in_three = felt.numerator % 3 == 0
    if last < begins and not (in_three and metre.weight(begins) >= HALF_BAR):
        return begins
    return metre.bar - felt / (3 if in_three else 2)
