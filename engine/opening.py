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
from engine.meter import Metre

C4: Final = 60

# Taps are a count as long as none is longer or shorter than all on average by more than this share,
# and they are neither too fast to count by (200 a minute) nor too slow (40).
_EVEN: Final = 0.15
_FASTEST_TAP, _SLOWEST_TAP = 0.3, 1.5
_FEWEST_TAPS: Final = 3


class Beginning(NamedTuple):
    """How a song begins: the second of a place, which is in quarter notes from bar 1.

    `seconds_per_beat`, of a quarter note, is None where nobody has said how fast.
    """

    at: float
    place: float = 0.0
    seconds_per_beat: float | None = None


class Opening:
    """The keys of a song that has not begun.

    Args:
        taps: whether a key that is struck evenly, once for each felt beat of a bar, counts in.
    """

    def __init__(self, *, taps: bool = False) -> None:
        self._first_at = self._last_at = -inf
        self._together: list[tuple[float, int]] = []
        self._counts = taps
        self._taps: list[tuple[float, int]] = []

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
        counted = self._counted(at, note, metre)
        if counted is not None or at - self._first_at < bar_seconds or self._is_count:
            return counted
        return Beginning(self._first_at)

    @property
    def _is_count(self) -> bool:
        """Whether one key and no other has been struck, which may yet become a count."""
        return self._counts and len(self._taps) > 1

    def _counted(self, at: float, note: int, metre: Metre) -> Beginning | None:
        """The beginning that taps have counted to, if this was the last of them."""
        felt = metre.pulses
        lengths = {b - a for a, b in pairwise((*felt, metre.bar))}
        wanted = len(felt) if len(felt) >= _FEWEST_TAPS else 2 * _FEWEST_TAPS - 2
        same = [tap for tap in self._taps if tap[1] == note]
        self._taps = [*(same if len(same) == len(self._taps) else []), (at, note)][-wanted:]
        if not self._counts or len(lengths) > 1 or len(self._taps) < wanted:
            return None
        steps = [b - a for (a, _), (b, _) in pairwise(self._taps)]
        mean = sum(steps) / len(steps)
        if not _FASTEST_TAP <= mean <= _SLOWEST_TAP:
            return None
        if max(abs(step - mean) for step in steps) > _EVEN * mean:
            return None
        (length,) = lengths
        self._taps = []
        return Beginning(at, -float(length), mean / float(length))
