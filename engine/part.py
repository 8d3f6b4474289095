"""Part: the notes that are written and wait to sound, and the one that sounds.

Knows: one note at a time, each released before the next begins, none forgotten.
Refuses to know: why a note was written or when a place in the song comes.
How: a queue in order of place, and the note that sounds with the place where it ends.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from engine.events import Play, Release
from engine.performance import Performed
from engine.score import BassNote


@dataclass(frozen=True, slots=True)
class Ready:
    """A note as written and as it is to be played."""

    written: BassNote
    played: Performed


class Part:
    """What waits to sound and what sounds."""

    def __init__(self) -> None:
        self._waiting: deque[Ready] = deque()
        self.sounding: Ready | None = None
        self.last: BassNote | None = None

    def write(self, notes: Iterable[Ready]) -> None:
        """Add notes after all that are there."""
        self._waiting.extend(notes)

    def strike_out(self, start: Fraction) -> None:
        """Drop what is written at `start` or later."""
        while self._waiting and self._waiting[-1].written.beat >= start:
            self._waiting.pop()

    def next(self) -> Ready | None:
        """The note that sounds next, if one is written."""
        return self._waiting[0] if self._waiting else None

    def last_before(self, start: Fraction) -> BassNote | None:
        """The last note before a place, sounded or still waiting."""
        for note in reversed(self._waiting):
            if note.written.beat < start:
                return note.written
        return self.last

    def play(self, at: float, position: float) -> list[Play | Release]:
        """Begin the next note now, the one before it released first."""
        out: list[Play | Release] = self.release(at, position)
        note = self._waiting.popleft()
        self.sounding, self.last = note, note.written
        out.append(Play(at, position, note.written.note, note.played.velocity, note.written))
        return out

    def release(self, at: float, position: float) -> list[Play | Release]:
        """End the note that sounds, if any."""
        note, self.sounding = self.sounding, None
        return [] if note is None else [Release(at, position, note.written.note)]

    def clear(self) -> None:
        """Forget what is written and what was played; the note that sounds stays to be released."""
        self._waiting.clear()
        self.last = None
