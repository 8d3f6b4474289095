"""The tally: how a performance went, in the figures that the summary prints.

Knows: how chords, changes and bass notes are counted.
Refuses to know: whether the performance was live or replayed.
How: a change is a chord whose root differs from the one before.  It is answered by the bass note
that starts it, which may lie a little before the moment at which the ear was sure of the chord.
What was played to nobody, as before a sequencer starts, does not count: of the changes before the
first bass note only the last is left.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from engine.events import ChordHeard, Outgoing, Play
from engine.theory.harmony import Chord

EARLY_SECONDS: Final = 0.08
"""A bass note at most this long before a chord is heard answers it: a foreseen change sounds on its
beat, and the ear needs some 30 ms of gathering; an eighth note before it is four times as far."""


@dataclass(frozen=True, slots=True)
class Figures:
    """What was counted."""

    chords: int
    changes: int
    on_root: int | None
    notes: int

    @property
    def root_share(self) -> float | None:
        """Of all changes, how many a bass note began on the new root (0 to 1); None: not known."""
        if self.on_root is None or not self.changes:
            return None
        return self.on_root / self.changes


class Tally:
    """Counts while the music goes by.

    Args:
        sent_early: chords come before they are due, so the note after one does not answer it; then
            it is not known how the changes began.
    """

    def __init__(self, *, sent_early: bool = False) -> None:
        self._sent_early = sent_early
        self._chords = self._changes = self._on_root = self._notes = 0
        self._root: int | None = None
        self._open: Chord | None = None
        self._last: Play | None = None

    def take(self, outgoing: Outgoing) -> None:
        """Count one thing the engine gave out."""
        match outgoing:
            case ChordHeard(chord=Chord() as chord, at=at):
                self._hear(chord, at)
            case Play():
                self._notes += 1
                self._answer(outgoing.note)
                self._last = outgoing

    def close(self) -> None:
        """Nothing more comes; what was counted stays."""

    def figures(self) -> Figures:
        """The count so far."""
        on_root = None if self._sent_early else self._on_root
        return Figures(self._chords, self._changes, on_root, self._notes)

    def _hear(self, chord: Chord, at: float) -> None:
        self._chords += 1
        changed, self._root = chord.root != self._root, chord.root
        if changed:
            self._changes = self._changes + 1 if self._notes else 1
            self._open = None if self._sent_early else chord
            if self._last is not None and at - self._last.at <= EARLY_SECONDS:
                self._answer(self._last.note)
        elif self._open is not None:
            self._open = chord  # the same root understood better, perhaps with its slash bass

    def _answer(self, note: int) -> None:
        if self._open is not None:
            self._on_root += note % 12 in (self._open.root, self._open.bass)
            self._open = None


def _so_many(count: int, thing: str) -> str:
    return f"{count} {thing}{'' if count == 1 else 's'}"


def told(figures: Figures) -> str:
    """The figures in a line for a person."""
    chords = _so_many(figures.chords, "chord")
    changes, notes = _so_many(figures.changes, "change"), _so_many(figures.notes, "note")
    if not figures.notes:
        return f"{chords} heard, {notes}"
    share = figures.root_share
    roots = "" if share is None else f" ({share:.0%} of them begun on the new root)"
    return f"{chords} heard, {changes}{roots}, {notes}"
