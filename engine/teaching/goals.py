"""Goals: what the notes that lead on aim at, and what that is called.

Knows: which notes go one way in together, the note that stands after them, and the chords near by.
Refuses to know: which way in it is, and why it works.
How: a goal is called what the note is called that reaches it.  Where none does it is the bass of a
chord that comes, and where no chord has it, what the key calls it.  Notes, ways in and lessons all
ask here, so that one goal has one name.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import groupby
from typing import NamedTuple

from engine.line.reasons import reason_for
from engine.score import BassNote
from engine.teaching.heard import is_mended
from engine.theory.harmony import Chord, Key
from engine.theory.pitch import fifths_of_name
from engine.theory.spelling import fifths_over


class Run(NamedTuple):
    """Notes that aim at one pitch class, and the note that stands after them."""

    notes: tuple[BassNote, ...]
    aims_at: int
    arrival: BassNote | None


def runs_of(notes: Sequence[BassNote], following: Sequence[BassNote]) -> Iterator[Run]:
    """The ways in among the notes of a bar, in their order; `following` are those of the next."""
    at = 0
    for aims_at, group in groupby(notes, key=lambda note: note.aims_at):
        run = tuple(group)
        at += len(run)
        if aims_at is not None:
            yield Run(run, aims_at, _stands((*notes[at:], *following)))


def _stands(notes: Sequence[BassNote]) -> BassNote | None:
    """The first note, or the second where that took its place at once."""
    first, second = (*notes[:2], None, None)[:2]
    return second if first is not None and is_mended(first, second) else first


def goal_of(run: Run, near: Iterable[Chord], key: Key) -> int:
    """Where the goal is written on the line of fifths; `near` are the chords of bar and next."""
    arrival, aims_at = run.arrival, run.aims_at
    if arrival is not None and arrival.note % 12 == aims_at:
        return fifths_of_name(arrival.reason.partition(":")[0])
    over = next((chord for chord in near if chord.bass == aims_at), None)
    return key.tone_fifths(aims_at) if over is None else fifths_over(aims_at, over, key)


def aimed(
    notes: Sequence[BassNote], following: Sequence[BassNote], near: Sequence[Chord], key: Key
) -> tuple[BassNote, ...]:
    """The notes of a bar, each that leads on with a reason that calls its goal by its name.

    `following` have theirs already: what a note that leads on is called hangs on where it leads.
    """
    told: dict[BassNote | None, BassNote] = {}
    for run in reversed(list(runs_of([note for note in notes if not note.ghost], following))):
        goal = goal_of(run._replace(arrival=told.get(run.arrival, run.arrival)), near, key)
        for note in run.notes:
            reason = reason_for(note.role, note.note, note.chord, key, note.aims_at, goal=goal)
            told[note] = replace(note, reason=reason)
    return tuple(told.get(note, note) for note in notes)
