"""Performance: a written note becomes a played one.

Knows: swing, lay-back, human spread, and how hard and how long a note of a style is played.
Refuses to know: which notes are written, and when a bar is planned.
How: the beat is warped by the swing, the lag is seconds added after the tempo has its say, on
felt beats never early by looseness, for the keys on that beat are to be heard first; a length
never reaches the place where the next note may begin.  How loose a note is belongs to its place: a
bar that is written anew because another chord is expected keeps its feel.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from random import Random
from types import MappingProxyType
from typing import Final

from engine.figures import GHOST, PLAIN
from engine.score import AS_USUAL, LOUD_SPAN, Articulation, BassNote, Manner
from engine.style import Feel, Style, Touch
from engine.theory.meter import Metre, Moment

_GHOST_SECONDS: Final = 0.06  # longer, and a touched string begins to sound like a note
_GAP_SECONDS: Final = 0.004  # two notes on one string are parted by the finger
# A finger that hammers or slides moves the string less than one that plucks it;
# how much less is a guess.
_FORCE: Final = MappingProxyType(
    {Articulation.PLUCKED: 1.0, Articulation.HAMMERED: 0.85, Articulation.SLID: 0.92}
)
_WIDEST: Final = 2.0  # in standard deviations: a slip beyond that is no longer looseness


@dataclass(frozen=True, slots=True)
class Performed:
    """A note as played: `beat` and `until` in quarter notes as swung, `lag` in seconds.

    The note is due `lag` seconds after `beat`; `until` has the lag in it already.  A note that is
    slid into begins `bent` by so many semitones.
    """

    beat: float
    lag: float
    until: float
    velocity: int
    bent: int = 0


class Performer:
    """The right hand of one player in one style."""

    def __init__(self, style: Style, random: Random) -> None:
        self._feel = style.feel
        self._touch = style.touch
        self._loudness = style.interplay.loudness
        self._random = random
        self._drawn: dict[Fraction, tuple[float, float]] = {}

    def forget(self) -> None:
        """The song goes on elsewhere, or comes by here again."""
        self._drawn.clear()

    def perform(
        self,
        note: BassNote,
        bar: Moment,
        manner: Manner = AS_USUAL,
    ) -> Performed:
        """The note with swing, lag, length and velocity, as hard as the player's manner asks.

        `bar` is any moment of the bar that the note is written in.
        """
        beat = swung(note.beat, self._feel, bar)
        following = swung(note.beat + note.length, self._feel, bar)
        late, hard = self._looseness(note.beat, bar)
        loose = late * self._feel.looseness_ms
        if note.beat - bar.bar_start in bar.metre.pulses:
            loose = abs(loose)  # keys that are on the beat are to be heard first
        lag = (self._feel.lay_back_ms + loose) / 1000
        until = self._until(note, beat, following, lag, bar.seconds_per_beat)
        return Performed(beat, lag, until, self._velocity(note, manner, hard), _bent(note))

    def _until(
        self, note: BassNote, beat: float, following: float, lag: float, seconds_per_beat: float
    ) -> float:
        length = (following - beat) * (1 if note.rings_on else self._touch.length)
        if note.ghost:
            length = min(length, _GHOST_SECONDS / seconds_per_beat)
        feel = self._feel
        earliest = (feel.lay_back_ms - _WIDEST * feel.looseness_ms) / 1000 - _GAP_SECONDS
        latest = following + earliest / seconds_per_beat
        start = beat + lag / seconds_per_beat
        return max(min(start + length, latest), start + min(length, 0.25 * (following - beat)))

    def _velocity(self, note: BassNote, manner: Manner, hard: float) -> int:
        level = struck(note.accent, self._touch) + hard * self._touch.spread
        level += LOUD_SPAN * self._loudness * (2 * manner.loud - 1)
        level *= _FORCE[note.articulation]
        if note.ghost:
            level = min(level, self._touch.ghost + self._touch.spread)
        return max(1, min(127, round(level)))

    def _looseness(self, place: Fraction, bar: Moment) -> tuple[float, float]:
        """How late, and how hard, a note at a place comes by chance, in standard deviations."""
        if place not in self._drawn:
            since = bar.bar_start - bar.metre.bar  # a bar back may still be written anew
            self._drawn = {beat: drawn for beat, drawn in self._drawn.items() if beat >= since}
            self._drawn[place] = self._deviation(), self._deviation()
        return self._drawn[place]

    def _deviation(self) -> float:
        return max(-_WIDEST, min(_WIDEST, self._random.gauss(0, 1)))


def _bent(note: BassNote) -> int:
    if note.articulation is not Articulation.SLID or note.joined_from is None:
        return 0
    return note.joined_from - note.note


def struck(accent: float, touch: Touch) -> float:
    """The velocity of an accent 0..1, between the three that the style names."""
    if accent >= PLAIN:
        return touch.plain + (touch.accent - touch.plain) * (accent - PLAIN) / (1 - PLAIN)
    share = (PLAIN - accent) / (PLAIN - GHOST)
    return touch.plain - (touch.plain - touch.ghost) * min(1.0, share)


def swung(beat: Fraction, feel: Feel, bar: Moment) -> float:
    """Where a written beat falls when the off-beat of the swung grid comes late.

    The off-beat moves, its own halves go along; a triplet has swing already and stays.  Swing is
    counted within each felt beat, which itself stays: one that the grid does not divide in pairs,
    such as three eighths, is not swung.
    """
    if feel.swing == 0.5:
        return float(beat)
    in_bar = _swung_in_bar(beat - bar.bar_start, feel.swing, 2 * feel.swing_on.step, bar.metre)
    return float(bar.bar_start) + in_bar


@lru_cache(maxsize=1024)  # a part keeps to a few dozen places
def _swung_in_bar(in_bar: Fraction, swing: float, unit: Fraction, metre: Metre) -> float:
    begins, length = metre.felt_beat_at(in_bar)
    whole, place = divmod(in_bar - begins, unit)
    share = place / unit
    if length % unit or share.denominator % 3 == 0:
        return float(in_bar)
    late = (
        2 * float(share) * swing
        if share <= Fraction(1, 2)
        else swing + (2 * float(share) - 1) * (1 - swing)
    )
    return float(begins) + float(unit) * (float(whole) + late)
