"""Grades: the same style in seven degrees of difficulty.

Knows: what a pupil of each grade may use: which tones, how many notes, which ways in.
Refuses to know: how a part is written.
How: a grade turns a style into a simpler style, and the line plays that.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from enum import IntEnum
from types import MappingProxyType
from typing import Final

from engine.figures import FREE, LEAD, Figure, Stroke
from engine.style import Approach, Rhythm, Style, Way
from engine.theory.harmony import Family


class Grade(IntEnum):
    """How much of the style is played."""

    ROOTS = 1
    FIFTHS = 2
    TRIADS = 3
    PATTERN = 4
    SCALE_LINKS = 5
    CHROMATIC_LINKS = 6
    EVERYTHING = 7


# The tones of the first three grades, for every chord alike: bare degrees are the chord's own.
_TONES: Final = MappingProxyType(
    {
        Grade.ROOTS: (("1", 1.0),),
        Grade.FIFTHS: (("1", 2.0), ("5", 1.0)),
        Grade.TRIADS: (("1", 2.0), ("3", 1.0), ("5", 1.0)),
    }
)

# How far their rhythm is thinned: about two strokes of five, three, and four.
_DENSITY: Final = MappingProxyType({Grade.ROOTS: 0.15, Grade.FIFTHS: 0.25, Grade.TRIADS: 0.38})

_EIGHTH: Final = 0.5

_WITHIN_SCALE: Final = frozenset(
    {
        Way.SCALE_BELOW,
        Way.SCALE_ABOVE,
        Way.WALK_UP,
        Way.WALK_DOWN,
        Way.REPEAT,
    }
)
_PLAIN_WAYS: Final = ((Way.SCALE_BELOW, 1.0), (Way.SCALE_ABOVE, 1.0))


def graded(style: Style, grade: Grade) -> Style:
    """The style as a pupil of this grade plays it; the last grade is the style itself."""
    if grade is Grade.EVERYTHING:
        return style
    phrase = replace(style.phrase, vary=0)
    if grade >= Grade.SCALE_LINKS:
        linked = replace(
            _plucked(style), phrase=phrase, rhythm=_changed(style.rhythm, _without_ghosts)
        )
        return linked if grade is Grade.CHROMATIC_LINKS else _within_scale(linked)
    plain = replace(
        _plucked(style),
        phrase=replace(phrase, fill=0),
        approach=replace(style.approach, led=0, walked=0),
        rhythm=_changed(style.rhythm, _unled),
    )
    return plain if grade is Grade.PATTERN else _first_grades(plain, grade)


def _plucked(style: Style) -> Style:
    """Slides and hammer-ons come last, with the ghosts."""
    return replace(style, touch=replace(style.touch, slides=0, hammers=0))


def _within_scale(style: Style) -> Style:
    ways = tuple((way, w) for way, w in style.approach.ways if way in _WITHIN_SCALE and w)
    return replace(style, approach=replace(style.approach, ways=ways or _PLAIN_WAYS))


def _first_grades(style: Style, grade: Grade) -> Style:
    return replace(
        style,
        approach=_met_in_time(style),
        pools=tuple((family, _TONES[grade]) for family in Family),
        quiet_pools=(),
        full_pools=(),
        phrase=replace(style.phrase, answer=0),
        interplay=replace(style.interplay, busyness=0),
        rhythm=replace(_changed(style.rhythm, _on_the_root), density=_DENSITY[grade]),
    )


def _met_in_time(style: Style) -> Approach:
    """A change does not wait for a stroke that may be left out here, nor for one that was early.

    An eighth it may wait, for a style off the beats remains one.
    """
    figures = (*style.rhythm.figures, *style.rhythm.answers)
    early = any(stroke.early for figure in figures for stroke in figure.strokes)
    return replace(style.approach, wait=0 if early else min(style.approach.wait, _EIGHTH))


def _changed(rhythm: Rhythm, change: Callable[[Figure], Figure]) -> Rhythm:
    return replace(
        rhythm,
        figures=tuple(map(change, rhythm.figures)),
        answers=tuple(map(change, rhythm.answers)),
        fills=tuple(map(change, rhythm.fills)),
    )


def _without_ghosts(figure: Figure) -> Figure:
    kept = tuple(stroke for stroke in figure.strokes if not stroke.ghost)
    return replace(figure, strokes=kept or figure.strokes)


def _unled(figure: Figure) -> Figure:
    plain = _without_ghosts(figure)
    tones = tuple(
        replace(stroke, tone=FREE) if stroke.tone == LEAD else stroke for stroke in plain.strokes
    )
    return replace(plain, strokes=tones)


def _on_the_root(figure: Figure) -> Figure:
    """No octaves and nothing early: both come with the pattern."""
    return replace(figure, strokes=tuple(map(_grounded, figure.strokes)))


def _grounded(stroke: Stroke) -> Stroke:
    tone = stroke.tone[1:] if stroke.early else stroke.tone
    return replace(stroke, tone="1" if tone.startswith("8") else tone)
