"""Search: the bar as one path through the notes on offer and the neck.

Knows: what a leap, a repeat, a change of direction and a shift of the hand cost.
Refuses to know: why a note is on offer, rhythm, chords.
How: dynamic programming over the places of the neck, one column for each stroke.  A path carries
its hand position and its last direction along; among paths that end on the same place only the
cheapest lives on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from engine.line.hand import Hand, Place, moved, reachable
from engine.score import Role

# What a step of so many semitones costs where the line is free to choose.  Seconds are the
# commonest step of real walking parts (45% of moves), thirds and fourths or fifths follow
# (18% and 17%), tritones, sixths and sevenths together make a tenth.
_LEAP: Final = (
    1.3, 0.1, 0.0, 0.3, 0.3, 0.5, 1.1, 0.6, 1.2, 1.3, 1.8, 2.4, 1.1,
    *(2.5 + 0.3 * i for i in range(60)),
)  # fmt: skip

_FIGURE_LEAP: Final = 0.25  # a figure owns its leaps: an octave jump is the point of it
_OCTAVE: Final = 12  # but no more than that
# A fret's shift weighs as much as a semitone of doubt between two tones; at speed it weighs more.
_SHIFT: Final = 0.12
_AT_LEISURE_SECONDS: Final = 0.3
_UNREACHABLE: Final = 40.0  # more than any sum of tastes in a bar
_RUN_ON: Final = -0.3  # going on by step in one direction is what makes a line
_TWO_LEAPS: Final = 0.7  # two leaps one way fall out of the hand and of the ear
_RETURN: Final = 0.6  # to and fro between two notes marks time


@dataclass(frozen=True, slots=True)
class Option:
    """A note on offer for one stroke: what it costs and what it is."""

    note: int
    cost: float
    role: Role
    tone: str = ""
    aims_at: int | None = None


@dataclass(frozen=True, slots=True)
class Column:
    """One stroke of the bar: what is on offer, and how long before it the last one began.

    `freedom` is how much the move to it counts as melody: nothing in a figure, which owns its
    moves, and most in a way out of it.
    """

    options: Sequence[Option]
    seconds: float
    freedom: float


@dataclass(slots=True)
class _Path:
    cost: float
    option: Option
    place: Place
    position: int
    direction: int
    before: _Path | None


@dataclass(frozen=True, slots=True)
class Choice:
    """What the search chose for a stroke."""

    option: Option
    place: Place


@dataclass(frozen=True, slots=True)
class Coming:
    """The note that the next bar begins with, and how long before it the last stroke began."""

    note: int
    seconds: float


def best_path(
    columns: Sequence[Column],
    last: tuple[int, Place] | None,
    hand: Hand,
    coming: Coming | None = None,
) -> list[Choice]:
    """The cheapest path through the columns, starting from the note and place played last.

    `coming` is None if nobody knows what the next bar begins with.
    """
    paths = [_beginning(last)] if last else []
    for column in columns:
        paths = _extended(paths, column, hand)
    path: _Path | None = min(paths, key=lambda p: p.cost + _landing(p, coming, hand))
    chosen: list[Choice] = []
    while path is not None and len(chosen) < len(columns):
        chosen.append(Choice(path.option, path.place))
        path = path.before
    return chosen[::-1]


def leads_up(note: int, aims_at: int | None, root: int) -> bool:
    """Whether a note leads by step to the octave above a root, and not to the root itself."""
    return aims_at == root % 12 and abs(note - root - _OCTAVE) in (1, 2)


def _landing(path: _Path, coming: Coming | None, hand: Hand) -> float:
    """What it costs to come down on the next bar from here: a long leap, or no time for it."""
    if coming is None:
        return 0.0
    option = path.option
    note = coming.note + _OCTAVE * leads_up(option.note, option.aims_at, coming.note)
    size = abs(option.note - note)
    cost = _LEAP[size] if size > _OCTAVE else 0.0
    frets = (fret for (_, fret), _ in hand.places(note))
    shifts = (abs(moved(path.position, fret, hand.span) - path.position) for fret in frets)
    return cost if any(reachable(s, coming.seconds) for s in shifts) else cost + _UNREACHABLE


def _beginning(last: tuple[int, Place]) -> _Path:
    note, (string, fret) = last
    return _Path(0, Option(note, 0, Role.ROOT), (string, fret), max(1, fret - 1), 0, None)


def _extended(paths: list[_Path], column: Column, hand: Hand) -> list[_Path]:
    grown = []
    for option in column.options:
        for place, cost in hand.places(option.note):
            base = option.cost + 0.4 * cost
            if not paths:
                position = max(1, place[1] - 1)
                grown.append(_Path(base, option, place, position, 0, None))
            else:
                step = _best_step(paths, column, option, place, hand.span)
                step.cost += base
                grown.append(step)
    return grown


def _best_step(
    paths: list[_Path], column: Column, option: Option, place: Place, span: int
) -> _Path:
    """The cheapest way to a place from any path so far, without what the place itself costs.

    This is the innermost loop of planning: everything in it is arithmetic on plain numbers.
    """
    note, (string, fret) = option.note, place
    freedom, seconds = column.freedom, column.seconds
    hurry = _SHIFT * max(1.0, _AT_LEISURE_SECONDS / seconds) if seconds > 0 else _SHIFT
    lowest = 1e9
    best = paths[0]
    for path in paths:
        move = note - path.option.note
        cost = path.cost
        if freedom:
            cost += freedom * _melodic(path, note, move)
        elif move:
            size = -move if move < 0 else move
            cost += _LEAP[size] if size > _OCTAVE else _FIGURE_LEAP * _LEAP[size]
        low = path.position
        if fret and not low <= fret < low + span:
            shift = low - fret if fret < low else fret - low - span + 1
            cost += hurry * shift
            if not reachable(shift, seconds):
                cost += _UNREACHABLE
        elif not move and string != path.place[0]:
            cost += 0.5  # the same note stays on its string
        if cost < lowest:
            lowest, best = cost, path
    direction = note - best.option.note or best.direction
    return _Path(lowest, option, place, moved(best.position, fret, span), direction, best)


def _melodic(path: _Path, note: int, move: int) -> float:
    """What a move costs where the line is free to choose."""
    size = -move if move < 0 else move
    cost = _LEAP[size]
    if path.direction and move and (move > 0) == (path.direction > 0):
        if size <= 4:
            cost += _RUN_ON
        elif abs(path.direction) > 4:
            cost += _TWO_LEAPS
    before = path.before
    if before is not None and before.option.note == note:
        cost += _RETURN
    return cost
