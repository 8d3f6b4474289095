"""Laid: the low notes that a left hand has laid down since the bar line, for the chord above them.

Knows: which notes those are, and what a chord would be on one of them.
Refuses to know: what is believed of the keys.
How: a stride, an oom-pah, a waltz strikes the root on one and lets it go, and the rest of the chord
comes after it: C, E flat and G after a low A flat are A flat major seven.  They are for one chord:
when another comes in the bar, only what was laid down since the last one is for it.
"""

from __future__ import annotations

from collections import deque
from functools import lru_cache
from typing import Final

from engine.hearing.evidence import E3, Reading
from engine.theory.harmony import QUALITY_BY_HARTE

# So many tones struck are the chord that a low note was laid down for; two may be a melody's.
_CHORD: Final = 3

# What a low root and the keys after it may make together, whole but for the tones that hands leave
# out first, the fifth and the ninth.
_WHOLE: Final = (
    "maj7", "min7", "7", "maj6", "min6", "minmaj7", "hdim7", "dim7", "9", "min9", "maj9", "13",
    "7(b9)", "7(#9)", "maj6(9)", "7(b9,b13)",
)  # fmt: skip
_LEFT_OUT: Final = frozenset({2, 7})

# A bar in eighths, both hands low: where no bar line comes, more than that is not kept.
_KEPT: Final = 16


class LaidDown:
    """The low notes struck since the bar line, in order."""

    def __init__(self) -> None:
        self._notes: deque[tuple[float, int]] = deque(maxlen=_KEPT)
        self._above: frozenset[int] = frozenset()
        self._for_it = 0  # how many of them, the first, are for the chord above

    def strike(self, position: float, note: int, velocity: int) -> None:
        """A key goes down; only a low one is laid down."""
        if note < E3 and velocity > 0:
            self._notes.append((position, note % 12))

    def since(self, position: float) -> None:
        """A bar begins: what was struck before this place is forgotten."""
        while self._notes and self._notes[0][0] < position:
            self._notes.popleft()
        self._above, self._for_it = frozenset(), 0

    def root_under(self, reading: Reading) -> int | None:
        """The root, of these, on which what is struck above is a whole chord, if there is one."""
        low = reading.low if reading.struck else reading.bass
        played = reading.struck or reading.carried
        without = low is None or low >= E3
        if not without or len(played) < _CHORD or not reading.sounding <= played:
            return None
        self._lie_under(played)
        return stands_upon(played, tuple(note for _, note in self._notes))

    def _lie_under(self, chord: frozenset[int]) -> None:
        """A chord comes above: if it is another one, what was for the last is not for it."""
        if len(chord & self._above) < _CHORD:
            for _ in range(min(self._for_it, len(self._notes))):
                self._notes.popleft()
        self._above, self._for_it = chord, len(self._notes)


@lru_cache(maxsize=512)
def stands_upon(struck: frozenset[int], laid: tuple[int, ...]) -> int | None:
    """The root, of pitch classes laid down in turn, on which others are a whole chord.

    Of several the one with the fewest tones missing, then the latest.  What was laid after it
    belongs to the chord; a tone of what is struck is no root of it, but its bass.
    """
    found = [
        (missing, -i, laid[i])
        for i in range(len(laid))
        if laid[i] not in struck
        and (missing := _missing(struck | {*laid[i:]}, laid[i])) is not None
    ]
    return min(found)[2] if found else None


def _missing(pitch_classes: frozenset[int], root: int) -> int | None:
    """How many tones of a whole chord on a root they lack, of the one that lacks fewest."""
    degrees = {(pitch_class - root) % 12 for pitch_class in pitch_classes}
    kinds = [{*QUALITY_BY_HARTE[kind].intervals} for kind in _WHOLE]
    lacks = [k - degrees for k in kinds if degrees <= k]
    return min((len(lack) for lack in lacks if lack <= _LEFT_OUT and len(lack) < 2), default=None)
