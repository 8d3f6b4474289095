"""Part: the notes that are written and wait to sound, and the one that sounds.

Knows: one note at a time, each released before the next begins, none forgotten.
Refuses to know: why a note was written or when a place in the song comes.
How: a queue in order of place, and the note that sounds with the place where it ends.  A slide
begins where the finger comes from and glides to its note in a few steps; whatever ends a note ends
its bend as well.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction
from math import inf
from typing import Final

from engine.events import Bend, Play, Release
from engine.performance import Performed
from engine.score import BassNote

# A slide over a few frets is heard as one below about a tenth of a second; its steps are too fine
# to be told apart, and few enough for a MIDI cable, which takes a millisecond for each.
_GLIDE_SECONDS: Final = 0.07
_GLIDE_STEPS: Final = 10

Played = Play | Release | Bend


@dataclass(frozen=True, slots=True)
class Ready:
    """A note as written and as it is to be played."""

    written: BassNote
    played: Performed


class Part:
    """What waits to sound and what sounds.

    Args:
        bend_range: semitones that a slide may be bent; 0 leaves slides unbent.

    `began_at` is the second at which a note began last.
    """

    def __init__(self, bend_range: int = 0) -> None:
        self._waiting: deque[Ready] = deque()
        self.sounding: Ready | None = None
        self.last: BassNote | None = None
        self.began_at = -inf
        self._bend_range = bend_range
        self._glide: deque[tuple[float, float]] = deque()
        self._bent = False

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

    @property
    def silent(self) -> bool:
        """Whether nothing sounds, nor waits to."""
        return self.sounding is None and not self._waiting

    def last_before(self, start: Fraction) -> BassNote | None:
        """The last note before a place, sounded or still waiting."""
        for note in reversed(self._waiting):
            if note.written.beat < start:
                return note.written
        return self.last

    def play(self, at: float, position: float) -> list[Played]:
        """Begin the next note now, the one before it released first."""
        out = self.release(at, position)
        note = self._waiting.popleft()
        self.sounding, self.last, self.began_at = note, note.written, at
        if self._bend_range and note.played.bent:
            out.append(self._slide(note.played.bent, at, position))
        out.append(Play(at, position, note.written.note, note.played.velocity, note.written))
        return out

    def release(self, at: float, position: float) -> list[Played]:
        """End the note that sounds, if any, and its bend."""
        note, self.sounding = self.sounding, None
        out: list[Played] = []
        if note is not None:
            out.append(Release(at, position, note.written.note))
        if self._bent:
            self._bent = False
            self._glide.clear()
            out.append(Bend(at, position, 0.0))
        return out

    def hold(self, start: Fraction, until: float) -> bool:
        """Let the note that sounds end there, if it was written at `start` or later."""
        note = self.sounding
        if note is None or note.written.beat < start:
            return False
        self.sounding = replace(note, played=replace(note.played, until=until))
        return True

    @property
    def bends_at(self) -> float:
        """When the slide under way takes its next step; infinity if none is."""
        return self._glide[0][0] if self._glide else inf

    def bend(self, at: float, position: float) -> list[Played]:
        """Take the next step of the slide."""
        _, semitones = self._glide.popleft()
        self._bent = semitones != 0
        return [Bend(at, position, semitones)]

    def _slide(self, semitones: int, at: float, position: float) -> Bend:
        """The bend with which a slide begins; the rest is put in the glide."""
        first = float(max(-self._bend_range, min(self._bend_range, semitones)))
        self._glide.extend(
            (at + _GLIDE_SECONDS * i / _GLIDE_STEPS, first * (1 - i / _GLIDE_STEPS))
            for i in range(1, _GLIDE_STEPS + 1)
        )
        self._bent = True
        return Bend(at, position, first)

    def clear(self) -> None:
        """Forget what is written and what was played; the note that sounds stays to be released."""
        self._waiting.clear()
        self.last = None
