"""Leads: a chord that is led into, and what a note on the way there is.

Knows: where the next root lies, and what a note before it is to it and to the chord that it leaves.
Refuses to know: which way is taken, and on which strokes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from engine.figures import LEAD
from engine.line.dice import place_number
from engine.line.placing import Placed, Stretch
from engine.line.pools import role_of, scale_of
from engine.line.search import Option
from engine.score import Role
from engine.theory.harmony import Chord, Key


@dataclass(frozen=True, slots=True)
class Target:
    """A chord to lead into, and the note where its root lies."""

    stretch: Stretch
    note: int


@dataclass(frozen=True, slots=True)
class Stay:
    """A stretch with its anchor, the bar's strokes, which may lead out of it, and what follows."""

    chord: Chord
    anchor: int
    strokes: Sequence[Placed]
    room: list[int]
    target: Target | None


def place_of(target: Target) -> int:
    """The place of a change as a number for the dice."""
    return place_number(target.stretch.start)


def leading(note: int, target: Target, chord: Chord, key: Key) -> Option:
    """A note that leads to the target, with what it is to the chord that it leaves."""
    role = role_on_the_way(note, target.note, chord, key)
    return Option(note, 0, role, LEAD, target.stretch.chord.bass)


def role_on_the_way(note: int, goal: int, chord: Chord, key: Key) -> Role:
    """What a note that leads to another is, to that and to the chord that it leaves."""
    below = (goal - note) % 12
    if below == 1:
        return Role.APPROACH_BELOW
    if below == 11:
        return Role.APPROACH_ABOVE
    if note % 12 == chord.root:
        return Role.ROOT
    if below == 5 and note % 12 in chord.pitch_classes:
        return role_of(chord.degree_of(note % 12), chord, note % 12)
    if note % 12 in scale_of(chord, key):
        return Role.SCALE_STEP
    return Role.APPROACH_BELOW if note < goal else Role.APPROACH_ABOVE


def step_of_run(note: int, goal: int, chord: Chord) -> Option:
    """A step back to the root that stays."""
    role = Role.SCALE_STEP
    if abs(goal - note) == 1:
        role = Role.APPROACH_BELOW if note < goal else Role.APPROACH_ABOVE
    elif note % 12 == chord.root:
        role = Role.ROOT
    return Option(note, 0, role, LEAD, goal % 12)
