"""Evidence: what the tones of a beat say, as vectors of twelve pitch classes.

Knows: tones and the beat they fall in.
Refuses to know: chords, and what the evidence is worth.
How: every vector answers one question about the beat so far ("what was struck on it?", "which
tone is lowest?").  A tone that rings on from earlier beats counts half for every beat since it
was struck, so a pedal held too long fades out of what is heard.  Reading the same beat again is
a fresh reading, never an addition.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.hearing.held import Tone

Vector = NDArray[np.float64]

# What each vector of a beat asks, in order.
NOW: Final = (
    "length",
    "length below C3",
    "length from C3 to E flat 4",
    "length from E4",
    "struck",
    "struck on the beat",
    "struck in the second half",
    "present",
    "lowest",
    "lowest, below E3",
    "lowest on the beat",
    "still sounding",
    "carried over the beat line",
)
# The same of what went before.
BEFORE: Final = (
    "the beat before",
    "lowest of the beat before",
    "the last beats, fading",
    "lowest of the last beats, fading",
    "the song so far",
)
WIDTH_NOW: Final = 12 * len(NOW) + 1
WIDTH_BEFORE: Final = 12 * len(BEFORE)

C3: Final = 48
E3: Final = 52
E4: Final = 64
_NONE: Final = 128  # above all notes

# A tone struck this share of a beat early was meant for the beat.
EARLY: Final = 0.08
# ... and this share late it was still struck on it.
LATE: Final = 0.12
# Longer tones say no more than this share of a beat does.
LENGTH_CAP: Final = 0.5
# A lowest tone older than this many beats is no longer heard as the bass, if others are fresher.
BASS_AGE: Final = 2.0


class Reading:
    """The evidence of one beat up to a moment."""

    __slots__ = ("lowest", "now")

    def __init__(self, now: Vector, lowest: int | None) -> None:
        self.now = now
        self.lowest = lowest


def read_beat(tones: Iterable[Tone], beat: float, length: float, until: float) -> Reading:
    """Read the tones of the beat that began at `beat` and lasts `length`, up to `until`.

    Tones struck less than EARLY before the end of the beat belong to the next one.
    """
    out = [0.0] * WIDTH_NOW
    end = beat + length
    last = end - EARLY * length
    first = beat - EARLY * length
    fresh = stale = on_beat = _NONE
    for tone in tones:
        onset = tone.onset
        stop = until if tone.end is None or tone.end > until else tone.end
        if onset >= last or onset > until or (stop <= beat and onset < first):
            continue
        pitch_class = tone.note % 12
        age = (beat - onset) / length
        weight = 1.0 if age <= 0 else 0.5**age
        heard = min((stop - (onset if onset > beat else beat)) / length, LENGTH_CAP) * weight
        if heard > 0:
            out[pitch_class] += heard
            region = 12 if tone.note < C3 else 24 if tone.note < E4 else 36
            out[region + pitch_class] += heard
        if onset >= first:
            out[48 + pitch_class] = weight = 1.0
            if age >= -LATE:
                out[60 + pitch_class] = 1.0
                on_beat = min(on_beat, tone.note)
            elif age <= -0.5 + EARLY:
                out[72 + pitch_class] = 1.0
        out[84 + pitch_class] = max(weight, out[84 + pitch_class])
        if tone.end is None or tone.end > until:
            out[132 + pitch_class] = max(weight, out[132 + pitch_class])
        if EARLY < age <= 0.5 + EARLY:
            out[144 + pitch_class] = 1.0
        if age <= BASS_AGE:
            fresh = min(fresh, tone.note)
        else:
            stale = min(stale, tone.note)
    lowest = fresh if fresh < _NONE else stale
    _write_lowest(out, lowest, on_beat)
    out[-1] = min(max((until - beat) / length, 0.0), 1.0)
    return Reading(np.array(out), lowest if lowest < _NONE else None)


def _write_lowest(out: list[float], lowest: int, on_beat: int) -> None:
    if lowest < _NONE:
        out[96 + lowest % 12] = 1.0
        if lowest < E3:
            out[108 + lowest % 12] = 1.0
    if on_beat < _NONE:
        out[120 + on_beat % 12] = 1.0


class Past:
    """What the beats before have left: one, the last few, and the whole song."""

    FADE: Final = 0.6
    """A beat counts this much less with every beat since."""

    def __init__(self) -> None:
        self._before = np.zeros((len(BEFORE), 12))

    def vector(self) -> Vector:
        """The vectors of BEFORE, one after the other."""
        total = self._before[4].sum()
        out: Vector = self._before.copy()
        if total > 0:
            out[4] *= 12 / total
        return out.ravel()

    def add(self, reading: Reading) -> None:
        """A beat is over: it becomes the past."""
        length, lowest = reading.now[0:12], reading.now[96:108]
        self._before[0] = length
        self._before[1] = lowest
        self._before[2] = self.FADE * self._before[2] + length
        self._before[3] = self.FADE * self._before[3] + lowest
        self._before[4] += length

    def leave(self) -> None:
        """The song goes on elsewhere: only what the whole song has had is kept."""
        self._before[:4] = 0.0
