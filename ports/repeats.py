"""Repeats: what stands between |: and :| in a chart, written out as it is played.

Knows: how often a repeat is played, which of its endings is due which time, and what to say where
they do not fit together.
Refuses to know: chords, and where in the file a sign stands.
How: the bars are kept as they are written, those of each time and those of every ending, and laid
out one time after the other when the repeat is over.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

from engine.foresight.chart import Bar

_MOST: Final = 99  # more than anybody plays, and soon written out
_TWICE: Final = 2


@dataclass
class _Ending:
    """An ending: its sign ("1.-2."), the times that it is played, its bars."""

    sign: str
    times: tuple[int, ...]
    bars: list[Bar] = field(default_factory=list)


@dataclass
class Repeat:
    """A repeat that is being read."""

    common: list[Bar] = field(default_factory=list)
    """The bars that come each time."""
    endings: list[_Ending] = field(default_factory=list)
    closed: bool = False
    """Whether the ending that was read last is."""

    @property
    def latest(self) -> list[Bar]:
        """The bars that the next one comes after, as far as they lie within the repeat."""
        endings = [ending.bars for ending in self.endings]
        return next(filter(None, (*endings[-1:], self.common, *endings[-2::-1])), [])

    @property
    def over(self) -> bool:
        """Whether it may be left: the last ending needs no closing sign, unless it is the first."""
        return self.closed or len(self.endings) > 1

    def add(self, bar: Bar) -> None:
        """Take a bar that is written next."""
        (self.endings[-1].bars if self.endings else self.common).append(bar)

    def begin_ending(self, sign: str) -> None:
        """Begin the ending that a sign such as "2." or "1.-3." opens.

        Raises:
            ValueError: another is open, or is due.
        """
        if self.endings and not self.closed:
            raise ValueError(
                f"the ending {sign} begins where {self.endings[-1].sign} is not closed; put :|"
                " before it"
            )
        times, had = tuple(_times(sign)), self._times_had()
        due = next(time for time in range(1, _MOST + 2) if time not in had)
        if times[:1] != (due,) or list(times) != sorted({*times} - had) or times[-1] > _MOST:
            raise ValueError(
                f"the ending {sign} comes where {due}. is due; number them from 1. on, each time"
                f" once, to {_MOST}. at the most"
            )
        self.endings.append(_Ending(sign, times))
        self.closed = False

    def close(self, sign: str) -> list[Bar]:
        """Close the repeat at ":|" or ":| x3": all its bars, or none where an ending is closed.

        Raises:
            ValueError: it cannot be played that often.
        """
        said = re.search(r"\d+", sign)
        if said and self.endings:
            raise ValueError(
                f"{sign} counts the times of a repeat that has endings; number these instead, such"
                f" as 1.-{int(said[0])}."
            )
        if said and not _TWICE <= int(said[0]) <= _MOST:
            raise ValueError(f"{sign} cannot be played; give {_TWICE} to {_MOST} times")
        self.closed = bool(self.endings)
        return [] if self.closed else self.common * (int(said[0]) if said else _TWICE)

    def played(self) -> list[Bar]:
        """All bars with their endings, as they are played; a single ending is passed by at last.

        Raises:
            ValueError: a time has no ending, or an ending does not lead on to the next time.
        """
        last, had = self.endings[-1], self._times_had()
        count = max(had)
        missing = sorted(set(range(1, count)) - had)
        if missing:
            raise ValueError(
                f"the repeat has an ending {count}. and none for {missing[0]}.; number the endings"
                " from 1. on"
            )
        if not self.closed and last.times != (count,):
            raise ValueError(
                f"the ending {last.sign} leads back to |: and is not closed; put :| behind it"
            )
        by_time = {time: ending.bars for ending in self.endings for time in ending.times}
        out = [bar for time in range(1, count + 1) for bar in (*self.common, *by_time[time])]
        return out + self.common if len(self.endings) == 1 else out

    def _times_had(self) -> set[int]:
        return {time for ending in self.endings for time in ending.times}


def _times(sign: str) -> Iterator[int]:
    """The times that an ending is played: "1.-3." is the first three, "1., 3." the two of them."""
    for first, last in re.findall(r"(\d+)(?:\.?\s*[-\u2013]\s*(\d+))?", sign):
        yield from range(int(first), min(int(last or first), _MOST + 1) + 1)
