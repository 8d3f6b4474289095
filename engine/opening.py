"""Opening: when a song begins that nobody counts in.

Knows: the keys that went down before the song began.
Refuses to know: chords, and what happens once it has begun.
How: a song begins with the first chord, which is two keys together, or with a low key, which is a
left hand's.  High notes alone are a tune that leads into it, and a pick-up has no bass.  One that
goes on for a bar is more than that: then the song has begun with its first note.
"""

from __future__ import annotations

from math import inf
from typing import Final

from engine.agenda import GATHER_AT_MOST_SECONDS

C4: Final = 60


class Opening:
    """The keys of a song that has not begun."""

    def __init__(self) -> None:
        self._first_at = self._last_at = -inf
        self._together: list[tuple[float, int]] = []

    def key_down(self, at: float, note: int, bar_seconds: float) -> float | None:
        """A key goes down: the second at which the song began, or None if it has not begun."""
        if at - self._last_at > bar_seconds:  # whoever waits for so long begins anew
            self._first_at = at
        self._last_at = at
        self._together = [k for k in self._together if at - k[0] <= GATHER_AT_MOST_SECONDS]
        self._together.append((at, note % 12))
        if note < C4 or len({pitch_class for _, pitch_class in self._together}) > 1:
            return self._together[0][0]
        return self._first_at if at - self._first_at >= bar_seconds else None
