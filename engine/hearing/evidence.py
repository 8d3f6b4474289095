"""Evidence: what the tones of a beat say, as vectors of twelve pitch classes.

Knows: tones and the beat they fall in.
Refuses to know: chords, and what the evidence is worth.
How: every vector answers one question about the beat so far ("what was struck on it?", "which
tone is lowest?").  A tone that rings on from earlier beats counts half for every beat since it
was struck, so a pedal held too long fades out of what is heard.  Reading the same beat again is
a fresh reading, never an addition.
"""

from __future__ import annotations

from array import array
from collections.abc import Iterable
from typing import Final, NamedTuple

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
    "length of the highest",
    "length of the loud",
    "length from C5",
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

# Where the answers to each question of NOW begin, and the row of each of BEFORE.
(
    _LENGTH, _LENGTH_LOW, _LENGTH_MIDDLE, _LENGTH_HIGH, _STRUCK, _STRUCK_ON_BEAT, _STRUCK_LATER,
    _PRESENT, _LOWEST, _LOWEST_LOW, _LOWEST_ON_BEAT, _SOUNDING, _CARRIED, _HIGHEST, _LOUD, _TOP,
) = range(0, 12 * len(NOW), 12)  # fmt: skip
_LAST, _LAST_LOWEST, _FADING, _FADING_LOWEST, _SONG = range(len(BEFORE))

LENGTHS: Final = slice(_LENGTH, _LENGTH + 12)
"""How long each pitch class has sounded."""
STRUCK: Final = slice(_STRUCK, _STRUCK + 12)
"""A one for each pitch class struck in the beat, or just before it."""
PRESENCE: Final = slice(_PRESENT, _PRESENT + 12)
"""How strongly each pitch class is there: 1 if struck in this beat, less if long ago."""
LOWEST: Final = slice(_LOWEST, _LOWEST + 12)
"""A one for the pitch class that is the bass of the beat."""

C3: Final = 48
E3: Final = 52
E4: Final = 64
C5: Final = 72
_NONE: Final = 128  # above all notes

# A tone struck this share of a beat early was meant for the beat.
EARLY: Final = 0.08
# ... and this share late it was still struck on it.
LATE: Final = 0.12
# Longer tones say no more than this share of a beat does.
LENGTH_CAP: Final = 0.5
# A tone held over from before is not the bass of a beat that has a low one of its own, for this
# share of the beat: fingers and pedal let go a little late.
HELD_OVER: Final = 0.5
# A lowest tone older than this many beats is no longer heard as the bass, if others are fresher.
BASS_AGE: Final = 2.0


class Reading(NamedTuple):
    """The evidence of one beat up to a moment, and the tone that is its bass.

    `low` is the lowest tone struck on the beat, if it is below E3; `under` the lowest of all, also
    where one that is held from before is no longer the bass.  Of the pitch classes `struck` are
    those struck in the beat, or just before it, `carried` those struck in the half beat before
    that ring on over the beat line, `sounding` those that sound on, struck now or before.
    """

    now: Vector
    bass: int | None
    low: int | None
    under: int | None
    struck: frozenset[int]
    carried: frozenset[int]
    sounding: frozenset[int]

    @property
    def fresh(self) -> bool:
        """Whether a tone was struck on the beat or later, or in the half beat before."""
        return bool(self.struck or self.carried)


_NO_TONES: Final[frozenset[int]] = frozenset()
NOTHING_READ: Final = Reading(
    np.zeros(WIDTH_NOW), None, None, None, _NO_TONES, _NO_TONES, _NO_TONES
)


def read_beat(tones: Iterable[Tone], beat: float, length: float, until: float) -> Reading:
    """Read the tones of the beat that began at `beat` and lasts `length`, up to `until`.

    Tones struck less than EARLY before the end of the beat belong to the next one.
    """
    page = _Page(beat, length, until)
    for tone in tones:
        page.read(tone)
    return page.reading()


class _Page:
    """The vectors of NOW while they are being written, and the lowest and highest tones."""

    __slots__ = (
        "_bass", "_beat", "_carried", "_fresh", "_highest", "_last", "_length", "_longest",
        "_on_beat", "_out", "_sounding", "_stale", "_struck", "_until",
    )  # fmt: skip

    def __init__(self, beat: float, length: float, until: float) -> None:
        self._beat = beat
        self._length = length
        self._until = until
        self._last = min(beat + (1 - EARLY) * length, until)
        self._out = [0.0] * WIDTH_NOW
        self._fresh = self._stale = self._on_beat = self._bass = _NONE
        self._highest, self._longest = -1, 0.0
        self._struck: set[int] = set()
        self._carried: set[int] = set()
        self._sounding: set[int] = set()

    def read(self, tone: Tone) -> None:
        """Write down what one tone says."""
        onset, until = tone.onset, self._until
        age = (self._beat - onset) / self._length
        stop = until if tone.end is None or tone.end > until else tone.end
        struck = age <= EARLY
        if onset > self._last or (stop <= self._beat and not struck):
            return
        weight = 1.0 if struck else 0.5**age
        sounding = stop >= until
        self._measure(tone, (stop - max(onset, self._beat)) / self._length, weight)
        self._place(tone.note % 12, age, weight, struck=struck, sounding=sounding)
        self._compare(tone.note, age, bass=age >= -LATE and (struck or sounding))

    def _measure(self, tone: Tone, length: float, weight: float) -> None:
        """How long it has sounded, in which region, as the top voice, loudly."""
        if length <= 0:
            return
        out, note, pitch_class = self._out, tone.note, tone.note % 12
        heard = min(length, LENGTH_CAP) * weight
        out[_LENGTH + pitch_class] += heard
        region = _LENGTH_LOW if note < C3 else _LENGTH_MIDDLE if note < E4 else _LENGTH_HIGH
        out[region + pitch_class] += heard
        if note > self._highest:
            self._highest, self._longest = note, heard
        if tone.loud:
            out[_LOUD + pitch_class] += heard
        if note >= C5:
            out[_TOP + pitch_class] += heard

    def _place(
        self, pitch_class: int, age: float, weight: float, *, struck: bool, sounding: bool
    ) -> None:
        """When it was struck, and whether it sounds on."""
        out = self._out
        if struck:
            out[_STRUCK + pitch_class] = 1.0
            self._struck.add(pitch_class)
            if age >= -LATE:
                out[_STRUCK_ON_BEAT + pitch_class] = 1.0
            elif age <= EARLY - 0.5:
                out[_STRUCK_LATER + pitch_class] = 1.0
        elif age <= 0.5 + EARLY:
            out[_CARRIED + pitch_class] = 1.0
            self._carried.add(pitch_class)
        out[_PRESENT + pitch_class] = max(weight, out[_PRESENT + pitch_class])
        if sounding:
            out[_SOUNDING + pitch_class] = max(weight, out[_SOUNDING + pitch_class])
            self._sounding.add(pitch_class)

    def _compare(self, note: int, age: float, *, bass: bool) -> None:
        """Whether it is the lowest, among fresh and stale tones, on the beat, as the bass."""
        if age > BASS_AGE:
            self._stale = min(self._stale, note)
        else:
            self._fresh = min(self._fresh, note)
            if -LATE <= age <= EARLY:
                self._on_beat = min(self._on_beat, note)
        if bass:
            self._bass = min(self._bass, note)

    def reading(self) -> Reading:
        """All that was written."""
        out = self._out
        lowest = self._fresh if self._fresh < _NONE else self._stale
        if lowest < _NONE:
            out[_LOWEST + lowest % 12] = 1.0
            if lowest < E3:
                out[_LOWEST_LOW + lowest % 12] = 1.0
        if self._on_beat < _NONE:
            out[_LOWEST_ON_BEAT + self._on_beat % 12] = 1.0
        if self._highest >= 0:
            out[_HIGHEST + self._highest % 12] = self._longest
        out[-1] = min(max((self._until - self._beat) / self._length, 0.0), 1.0)
        bass = under = self._bass if self._bass < _NONE else lowest
        if self._on_beat < E3 and out[-1] < HELD_OVER:
            bass = self._on_beat
        return Reading(
            np.frombuffer(array("d", out)),
            bass if bass < _NONE else None,
            self._on_beat if self._on_beat < E3 else None,
            under if under < _NONE else None,
            frozenset(self._struck),
            frozenset(self._carried),
            frozenset(self._sounding),
        )


class Past:
    """What the beats before have left: one, the last few, and the whole song."""

    FADE: Final = 0.6
    """A beat counts this much less with every beat since."""

    def __init__(self) -> None:
        self._before = np.zeros((len(BEFORE), 12))

    def vector(self) -> Vector:
        """The vectors of BEFORE, one after the other."""
        total = self._before[_SONG].sum()
        out: Vector = self._before.copy()
        if total > 0:
            out[_SONG] *= 12 / total
        return out.ravel()

    def after(self, reading: Reading) -> Past:
        """The past as it will be when a beat is over."""
        lengths, lowest = reading.now[LENGTHS], reading.now[LOWEST]
        past, fade = Past(), self.FADE
        past._before = before = self._before.copy()
        before[_LAST], before[_LAST_LOWEST] = lengths, lowest
        before[_FADING] = fade * before[_FADING] + lengths
        before[_FADING_LOWEST] = fade * before[_FADING_LOWEST] + lowest
        before[_SONG] += lengths
        return past

    def leave(self) -> None:
        """The song goes on elsewhere: only what the whole song has had is kept."""
        self._before[:_SONG] = 0.0
