"""Fitting: a figure played in a metre that it was not written for.

Knows: where the felt beats of two metres lie, and how a beat in two parts is played in three.
Refuses to know: styles, phrases and chance.
How: where both metres are felt alike the figure runs through the bar as it is, begun again or
broken off at the bar line.  Elsewhere felt beat is laid on felt beat: what was on a beat stays on
it, and what was between two of them goes to the nearest place that is played there.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache
from itertools import count, groupby, pairwise, takewhile
from math import floor

from engine.figures import PLAIN, Figure, Grid, Stroke
from engine.theory.meter import HALF_BAR, Metre


def felt_alike(one: Metre, other: Metre) -> bool:
    """Whether all beats of both metres fall into two parts, or all of them into three."""
    return len(_parts(one) | _parts(other)) == 1


@lru_cache(maxsize=256)  # a phrase asks for the same few again, and fractions are slow
def fitted(figure: Figure, metre: Metre) -> tuple[Stroke, ...]:
    """A figure in another metre, from bar line to bar line; never a silent bar."""
    alike = felt_alike(figure.metre, metre)
    strokes = _broken_off(figure, metre) if alike else _laid(figure, metre)
    return tuple(strokes) or (Stroke(Fraction(0), metre.bar, PLAIN, ghost=False),)


def step_in(metre: Metre, grid: Grid, figures: Sequence[Figure]) -> Fraction:
    """The step of a style's grid as its figures have it in a metre, in quarter notes."""
    written = figures[0].metre
    mixed = len(_parts(metre)) > 1 or len(_parts(written)) > 1
    if mixed or any(felt_alike(figure.metre, metre) for figure in figures):
        return grid.step
    beat = metre.start_of(1)
    return beat / 3 if _in_three(beat) else grid.step * beat / written.start_of(1)


@lru_cache(maxsize=64)
def _parts(metre: Metre) -> frozenset[int]:
    """Into how many parts the beats of a metre fall: two, three, or both (2+2+3 eighths)."""
    edges = (*metre.pulses, metre.bar)
    return frozenset(3 if _in_three(ends - begins) else 2 for begins, ends in pairwise(edges))


def _in_three(beat: Fraction) -> bool:
    return beat.numerator % 3 == 0


def _endless(figure: Figure) -> Iterator[Stroke]:
    """The figure again and again."""
    for times in count():
        yield from (replace(s, in_bar=s.in_bar + times * figure.metre.bar) for s in figure.strokes)


def _until(place: Fraction, figure: Figure) -> list[Stroke]:
    return list(takewhile(lambda stroke: stroke.in_bar < place, _endless(figure)))


def _broken_off(figure: Figure, metre: Metre) -> list[Stroke]:
    strokes = _until(metre.bar, figure)
    if strokes:
        rest = metre.bar - strokes[-1].in_bar
        strokes[-1] = replace(strokes[-1], length=min(strokes[-1].length, rest))
    return strokes


# Felt beat on felt beat ---------------------------------------------------------------------


def _laid(figure: Figure, metre: Metre) -> Iterator[Stroke]:
    """Each stroke in its felt beat; what rang on to the next one rings on.

    Of two strokes that fall together the stronger is played.
    """
    laid = _Laid(figure.metre, metre)
    strokes = laid.running_on(_until(figure.metre.start_of(len(metre.pulses)), figure))
    groups = [(at, list(together)) for at, together in groupby(strokes, laid.place)]
    nexts = [(at, laid.stretched(together[0].in_bar)) for at, together in groups[1:]]
    nexts.append((metre.bar, metre.bar))
    for (at, group), (end, reached) in zip(groups, nexts, strict=False):  # none, if all is silent
        begins, ends = (
            laid.stretched(t) for t in (group[0].in_bar, group[-1].in_bar + group[-1].length)
        )
        length = end - at if ends >= reached else min(end - at, ends - begins)
        kept = max(group, key=_strength)
        yield replace(kept, in_bar=at, length=length, accent=_accent(kept, at, figure, metre))


def _strength(stroke: Stroke) -> tuple[bool, bool, float]:
    return not stroke.ghost, stroke.early, stroke.accent


def _accent(stroke: Stroke, at: Fraction, figure: Figure, metre: Metre) -> float:
    """The half of the bar is as strong as in the figure, also where it comes a beat sooner."""
    if stroke.ghost or metre.weight(at) != HALF_BAR:
        return stroke.accent
    halves = [s.accent for s in figure.strokes if figure.metre.weight(s.in_bar) == HALF_BAR]
    return max(stroke.accent, *halves, 0)


class _Laid:
    """Where the places of one metre come to lie in the felt beats of another."""

    def __init__(self, written: Metre, metre: Metre) -> None:
        self._written = written
        self._metre = metre
        self._mixed = len(_parts(metre)) > 1
        # What is written in threes throughout is played in triplets where all beats are in two.
        self._triplets = _parts(written) == {3} and not self._mixed

    def stretched(self, place: Fraction) -> Fraction:
        """A place with its share of the beat kept, for lengths."""
        begins, length, there, room = self._beat(place)
        return there + (place - begins) / length * room

    def place(self, stroke: Stroke) -> Fraction:
        """Where a stroke is played: its place in the beat, or the nearest that one plays."""
        begins, length, there, room = self._beat(stroke.in_bar)
        share = (stroke.in_bar - begins) / length
        if length == room or (self._triplets and not _in_three(room)):
            return there + share * room
        parts = 3 if _in_three(room) else _halvings(share, room)
        # Halfway goes to the later place: a half to two thirds, as in a shuffle.
        return there + min(parts - 1, floor(share * parts + Fraction(1, 2))) * room / parts

    def running_on(self, strokes: Sequence[Stroke]) -> Iterator[Stroke]:
        """Among beats of two eighths and of three all are alike: where they run, one more runs."""
        for stroke in strokes:
            yield stroke
            begins, length, _, room = self._beat(stroke.in_bar)
            longer = self._mixed and _in_three(room) and not _in_three(length)
            inside = [s.in_bar - begins for s in strokes if begins <= s.in_bar < begins + length]
            if longer and stroke.in_bar == begins and inside == [0, length / 2]:
                yield replace(stroke, in_bar=begins + length / 3, length=length / 6, accent=PLAIN)

    def _beat(self, place: Fraction) -> tuple[Fraction, Fraction, Fraction, Fraction]:
        """The felt beat of a place, where it begins and how long it is, as written and as laid."""
        bars, rest = divmod(place, self._written.bar)
        index = bars * len(self._written.pulses) + bisect_right(self._written.pulses, rest) - 1
        begins, there = self._written.start_of(index), self._metre.start_of(index)
        length = self._written.start_of(index + 1) - begins
        return begins, length, there, self._metre.start_of(index + 1) - there


def _halvings(share: Fraction, room: Fraction) -> int:
    """How finely a beat in two parts is divided for what lay at this share of another."""
    return 2 if share.denominator in (1, 3) or room < 1 else 4
