"""Player: how the keys are played just now, against how this player usually plays.

Knows: strokes on the keys, how hard they fall, how many of them, and how low they reach.
Refuses to know: chords, and what the bass makes of it.
How: strokes are counted off by felt beats.  The last two bars of them are held against the
player's usual, which is the song so far, slowly forgotten: keyboards and hands differ too much
for a velocity to mean the same on each.  What comes out moves in steps, and only when the playing
has left the last step for good, so that a steady player gets a steady bass.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from itertools import pairwise
from math import log2
from typing import Final

from engine.score import AS_USUAL, LOUD_SPAN, Manner

BARS_HEARD: Final = 2  # one bar is often half of a figure of two
_FORGOTTEN_BEATS: Final = 128  # 32 bars of four, a chorus: by then half of what was usual is gone
_KEEP: Final = 0.5 ** (1 / _FORGOTTEN_BEATS)

TOGETHER_SECONDS: Final = 0.05  # keys of one chord; two strokes by one hand are twice as far apart
_EARLY_SECONDS: Final = 0.08  # a stroke so little before a felt beat was meant on it

_STROKES_KEPT: Final = 256  # a bound, so that playing on while no clock comes takes no room

LOW: Final = 48  # C3: below it lies what the bass plays
# One low stroke a bar of four is a root set down, and in nobody's way; one a beat fills the place.
_LOW_IN_NOBODYS_WAY: Final = 0.25

# A left hand walks whose low notes come on so many of the beats, and move on so many.
_WALKED: Final = 0.75
_FEWEST_STEPS: Final = 3  # in a bar: two low notes are its halves, each with a chord of its own

# Strokes added on either side before busy is compared: of one chord a bar, one more is no trend.
_FEW: Final = 2

_LOUD_STEP: Final = 0.125  # three to six velocities, about the least that is heard as louder
_STEP: Final = 0.25
_FOR_GOOD: Final = 0.8  # of a step: half way would flicker


@dataclass(frozen=True, slots=True)
class _Felt:
    """One felt beat: how many strokes, how many of them low, their velocities, the lowest note."""

    strokes: int
    low: int
    velocities: int
    lowest: int


class _Steps:
    """A value that moves in steps, each held until it is left for good."""

    def __init__(self, step: float, value: float) -> None:
        self._step = step
        self.value = value

    def take(self, value: float) -> None:
        """Let it be near this value, which is 0 to 1 where it is not beyond."""
        value = max(0.0, min(1.0, value))
        if abs(value - self.value) >= _FOR_GOOD * self._step:
            self.value = self._step * round(value / self._step)


class Player:
    """What is heard of the player's hands."""

    def __init__(self) -> None:
        self._struck: list[tuple[float, int, int]] = []
        self._beats: deque[_Felt] = deque()
        self._usual_beats = self._usual_strokes = self._usual_velocities = 0.0
        self._loud = _Steps(_LOUD_STEP, AS_USUAL.loud)
        self._busy = _Steps(_STEP, AS_USUAL.busy)
        self._low = _Steps(_STEP, AS_USUAL.low)
        self.manner = AS_USUAL

    def key_down(self, at: float, note: int, velocity: int) -> None:
        """A key was struck at a second."""
        if self._struck and at - self._struck[-1][0] <= TOGETHER_SECONDS:
            began, lowest, loudest = self._struck[-1]
            self._struck[-1] = (began, min(lowest, note), max(loudest, velocity))
        else:
            self._struck.append((at, note, velocity))
            del self._struck[:-_STROKES_KEPT]

    def relocate(self) -> None:
        """The song goes on from another place: what was struck while it stood is not of it."""
        self._struck.clear()

    def cross(self, at: float, beats_in_bar: int) -> None:
        """A felt beat begins at this second: what was struck before it is weighed."""
        before = [s for s in self._struck if s[0] < at - _EARLY_SECONDS]
        self._struck = self._struck[len(before) :]
        notes = [note for _, note, _ in before]
        loudness = sum(velocity for *_, velocity in before)
        felt = _Felt(len(before), sum(n < LOW for n in notes), loudness, min(notes, default=127))
        if felt.strokes or self._beats:
            self._count(felt)
            self._weigh_up(beats_in_bar)

    def _count(self, felt: _Felt) -> None:
        self._beats.append(felt)
        self._usual_beats = self._usual_beats * _KEEP + 1
        self._usual_strokes = self._usual_strokes * _KEEP + felt.strokes
        self._usual_velocities = self._usual_velocities * _KEEP + felt.velocities

    def _weigh_up(self, beats_in_bar: int) -> None:
        window = BARS_HEARD * beats_in_bar
        while len(self._beats) > window:
            self._beats.popleft()
        if any(each.strokes for each in self._beats):
            if len(self._beats) % beats_in_bar == 0:  # a part of a bar says nothing of how full
                self._weigh(beats_in_bar)
        elif len(self._beats) == window:
            self._beats.clear()  # nobody plays; who comes back is heard afresh

    def _weigh(self, beats_in_bar: int) -> None:
        beats = len(self._beats)
        strokes = sum(each.strokes for each in self._beats)
        low = sum(each.low for each in self._beats) / beats
        louder = (
            sum(each.velocities for each in self._beats) / strokes
            - self._usual_velocities / self._usual_strokes
        )
        usual = beats * self._usual_strokes / self._usual_beats
        self._loud.take(0.5 + 0.5 * louder / LOUD_SPAN)
        self._busy.take(0.5 + 0.5 * log2((strokes + _FEW) / (usual + _FEW)))
        self._low.take((low - _LOW_IN_NOBODYS_WAY) / (1 - _LOW_IN_NOBODYS_WAY))
        floor = min(each.lowest for each in self._beats)
        walks = min(self._low.value, self._moving()) >= _WALKED and beats_in_bar >= _FEWEST_STEPS
        self.manner = Manner(self._loud.value, self._busy.value, self._low.value, floor, walks)

    def _moving(self) -> float:
        """On how many beats the lowest note, a low one, is another than on the beat before."""
        lowest = [each.lowest for each in self._beats if each.low]
        steps = [one != other for one, other in pairwise(lowest)]
        return sum(steps) / len(steps) if steps else 0.0
