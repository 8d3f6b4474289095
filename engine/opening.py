"""Opening: when a song begins that nobody counts in, and how fast it goes.

Knows: the keys that went down before the song began.
Refuses to know: chords, and what happens once it has begun.
How: a song begins with the first chord, which is two keys together, or with a low key, which is a
left hand's.  High notes alone are a tune that leads into it, and a pick-up has no bass.  One that
goes on for a bar is more than that: then the song has begun with its first note.  One high key
struck evenly for a bar is no tune: it counts in.
"""

from __future__ import annotations

from itertools import pairwise
from math import inf
from typing import Final, NamedTuple

from engine.agenda import GATHER_AT_MOST_SECONDS
from engine.theory.meter import Metre

C4: Final = 60

# Taps are a count as long as none is longer or shorter than all on average by more than this share,
# and they are neither too fast to count by (200 a minute) nor too slow (40).
_EVEN: Final = 0.15
_FASTEST_TAP: Final = 0.3
_SLOWEST_TAP: Final = 1.5

# One interval says too little: where a bar has fewer felt beats than three, four are tapped.
_FEWEST_BEATS: Final = 3
_TAPS_ELSE: Final = 4


def can_be_tapped(metre: Metre) -> bool:
    """Whether even taps say how fast it goes: all its felt beats are of one length."""
    return len({b - a for a, b in pairwise((*metre.pulses, metre.bar))}) == 1


class Beginning(NamedTuple):
    """How a song begins: the second of a place, which is in quarter notes from bar 1.

    `seconds_per_beat`, of a quarter note, is None where nobody has said how fast.
    """

    at: float
    place: float = 0.0
    seconds_per_beat: float | None = None


class Taps:
    """One key, struck once for each felt beat of a bar."""

    def __init__(self) -> None:
        self._key = -1
        self._times: list[float] = []

    @property
    def begun(self) -> bool:
        """Whether one key has been struck more than once, which may become a count."""
        return len(self._times) > 1

    def key_down(self, at: float, note: int, metre: Metre) -> Beginning | None:
        """A key goes down: the beginning that is counted to, if this was the last tap."""
        before = self._times if note == self._key else []
        self._key, felt = note, metre.pulses
        wanted = len(felt) if len(felt) >= _FEWEST_BEATS else _TAPS_ELSE
        self._times = [*before, at][-wanted:]
        length = metre.bar / len(felt)
        steps = [b - a for a, b in pairwise(self._times)]
        if len(steps) < wanted - 1:
            return None
        mean = sum(steps) / len(steps)
        even = max(abs(step - mean) for step in steps) <= _EVEN * mean
        if not even or not _FASTEST_TAP <= mean <= _SLOWEST_TAP:
            return None
        return Beginning(at, -float(length), mean / float(length))


class Opening:
    """The keys of a song that has not begun.

    Args:
        taps: whether a key that is struck evenly, once for each felt beat of a bar, counts in.
    """

    def __init__(self, *, taps: bool = False) -> None:
        self._first_at = self._last_at = -inf
        self._together: list[tuple[float, int]] = []
        self._taps = Taps() if taps else None

    def key_down(
        self, at: float, note: int, metre: Metre, seconds_per_beat: float
    ) -> Beginning | None:
        """A key goes down: how the song begins, or None if it does not yet."""
        bar_seconds = float(metre.bar) * seconds_per_beat
        if at - self._last_at > bar_seconds:  # whoever waits for so long begins anew
            self._first_at = at
        self._last_at = at
        self._together = [k for k in self._together if at - k[0] <= GATHER_AT_MOST_SECONDS]
        self._together.append((at, note % 12))
        if note < C4 or len({pitch_class for _, pitch_class in self._together}) > 1:
            return Beginning(self._together[0][0])
        if self._taps is not None and can_be_tapped(metre):
            counted = self._taps.key_down(at, note, metre)
            if counted is not None or self._taps.begun:
                return counted
        return Beginning(self._first_at) if at - self._first_at >= bar_seconds else None
