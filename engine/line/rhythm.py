"""Rhythm: where in the bar the bass speaks.

Knows: the style's figures, how a phrase holds, varies, answers and fills them, and how a figure
is thinned or thickened.
Refuses to know: chords, and which tones are played.
How: a bar's rhythm is a pure function of the seed, the style and the bar's number, so that a bar
planned again keeps its rhythm.  One figure is the motive of the part and is heard in every phrase.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from math import ceil, floor
from random import Random
from types import MappingProxyType
from typing import Final

from engine.figures import FREE, LEAD, PLAIN, Figure, Stroke
from engine.line.fitting import felt_alike, fitted, step_in
from engine.score import AS_USUAL, Manner
from engine.style import Style, Turn
from engine.theory.meter import Metre

Bar = tuple[Stroke, ...]

_FIRST_BAR: Final = 1
_COPIES: Final = 3  # literal copies of a bar in a row, at most
_PHRASES_KEPT: Final = 8  # a bar is only ever asked near the one before it
_BARS_KEPT: Final = 16  # and once more each time it is written anew
_SECTION_PHRASES: Final = 4  # the answer is drawn anew about once a verse: four phrases
_LOOSE: Final = 0.2  # below it tones differ from bar to bar, by the taste in engine/line/offers.py
# Steps of the golden ratio: the thresholds of neighbouring phrases lie as far apart as can be, so
# that a density between two whole numbers of strokes is met within a few of them.  In a phrase it
# is one: bars that are alike stay so when they are thinned, or the figure would limp.
_GOLDEN: Final = 0.6180339887
# How far a player moves the density of a part that goes along all the way: half the way to nothing
# but the strongest stroke, or to a stroke on every step.
_ALONG: Final = 0.25


class Rhythms:
    """The rhythm of any bar of one part."""

    def __init__(self, style: Style, seed: int, density: float | None = None) -> None:
        self._style = style
        self._seed = seed
        self._density = style.rhythm.density if density is None else density
        self._phrases: dict[tuple[int, Metre], tuple[Bar, ...]] = {}
        self._bars: dict[tuple[int, Metre, float], Bar] = {}

    def bar(self, bar: int, metre: Metre, manner: Manner = AS_USUAL) -> Bar:
        """The strokes of a bar, counted from its bar line, earliest first.

        A stroke that anticipates rings over the bar line up to the first stroke of the next bar.
        """
        density = self._density_for(manner)
        strokes = self._plain(bar, metre, density)
        last = strokes[-1]
        if last.early and last.in_bar + last.length == metre.bar:
            following = self._plain(bar + 1, metre, density)[0].in_bar
            return (*strokes[:-1], replace(last, length=last.length + following))
        return strokes

    def _density_for(self, manner: Manner) -> float:
        """Fuller with a busy player, thinner with a sparse one or over a busy left hand."""
        along = self._style.interplay
        moved = _ALONG * (along.busyness * (2 * manner.busy - 1) - along.room * manner.low)
        return max(0.0, min(1.0, self._density + moved))

    def _plain(self, bar: int, metre: Metre, density: float) -> Bar:
        known = self._bars.get((bar, metre, density))
        if known is None:
            if len(self._bars) >= _BARS_KEPT:
                self._bars.clear()
            phrase, place = divmod(bar - _FIRST_BAR, self._style.phrase.bars)
            plain = self._phrase(phrase, metre)[place]
            known = at_density(plain, density, (phrase + 1) * _GOLDEN % 1, metre, self._style)
            self._bars[bar, metre, density] = known
        return known

    def _phrase(self, phrase: int, metre: Metre) -> tuple[Bar, ...]:
        known = self._phrases.get((phrase, metre))
        if known is None:
            if len(self._phrases) >= _PHRASES_KEPT:
                self._phrases.clear()
            known = self._phrases[phrase, metre] = self._plan(phrase, metre)
        return known

    def _plan(self, phrase: int, metre: Metre) -> tuple[Bar, ...]:
        """The phrase as drafted, but no bar is the fourth literal copy in a row."""
        chance = Random(self._seed + 15485863 * phrase)
        # Nobody heard a bar before the first: the figure is stated as it is.
        earlier = range(max(0, phrase - ceil(_COPIES / self._style.phrase.bars)), phrase)
        bars = [bar for each in earlier for bar in self._draft(each, metre)][-_COPIES:]
        heard = len(bars)
        for bar in self._draft(phrase, metre):
            copied = bars[-_COPIES:] == [bar] * _COPIES
            stale = copied and not _finds_its_own_notes(bar, self._style)
            bars.append(varied(bar, chance, metre, self._style) if stale else bar)
        return tuple(bars[heard:])

    def _draft(self, phrase: int, metre: Metre) -> list[Bar]:
        habits = self._style.phrase
        chance = Random(self._seed + 7919 * phrase)
        motive, answer = self._motive(metre), self._answer(phrase, metre)
        answers = chance.random() < habits.answer
        bars: list[Bar] = []
        for place in range(habits.bars):
            bar = answer if answers and self._answers_at(place) else motive
            if place and chance.random() < habits.vary:
                bar = varied(bar, chance, metre, self._style)
            bars.append(bar)
        if chance.random() < habits.fill:
            bars[-1] = self._fill(chance, metre, bars[-1])
        return bars

    def _answers_at(self, place: int) -> bool:
        habits = self._style.phrase
        if habits.answer_every:
            return place % habits.answer_every == habits.answer_every - 1
        return place >= (habits.bars + 1) // 2

    def _motive(self, metre: Metre) -> Bar:
        return _drawn(self._style.rhythm.figures, Random(self._seed), metre)

    def _answer(self, phrase: int, metre: Metre) -> Bar:
        rhythm = self._style.rhythm
        chance = Random(self._seed + 104729 * (phrase // _SECTION_PHRASES))
        return _drawn(rhythm.answers or rhythm.figures, chance, metre)

    def _fill(self, chance: Random, metre: Metre, bar: Bar) -> Bar:
        fills = self._style.rhythm.fills
        if any(figure.metre == metre for figure in fills):
            return _drawn(fills, chance, metre)
        return walked_out(bar, metre, _step(self._style, metre))


def _finds_its_own_notes(bar: Bar, style: Style) -> bool:
    """Whether a bar is the same in rhythm only: free tones, and no motive that they keep to."""
    return style.phrase.motive < _LOOSE and all(stroke.tone == FREE for stroke in bar)


def _drawn(figures: Sequence[Figure], chance: Random, metre: Metre) -> Bar:
    written = [figure for figure in figures if figure.metre == metre]
    alike = [figure for figure in figures if felt_alike(figure.metre, metre)]
    choice = written or alike or figures
    pick = chance.choices(choice, [figure.weight for figure in choice])[0]
    return pick.strokes if written else fitted(pick, metre)


def _step(style: Style, metre: Metre) -> Fraction:
    return step_in(metre, style.rhythm.grid, style.rhythm.figures)


def walked_out(bar: Bar, metre: Metre, step: Fraction) -> Bar:
    """The bar with its last felt beat given to eighths that lead on, where it has room for one.

    A part that steps in thirds of a beat walks in them.
    """
    start = metre.pulses[-1]
    kept = [s for s in bar if s.in_bar < start]
    if kept and kept[-1].in_bar + kept[-1].length > start:
        kept[-1] = replace(kept[-1], length=start - kept[-1].in_bar)
    each = Fraction(1, 3) if step.denominator % 3 == 0 else Fraction(1, 2)
    count = int((metre.bar - start) / each)
    if not count:
        return bar
    return (*kept, *(Stroke(start + i * each, each, PLAIN, False, LEAD) for i in range(count)))


def varied(bar: Bar, chance: Random, metre: Metre, style: Style) -> Bar:
    """The bar with one light touch: a stroke added, left out or played a step early."""
    turns = list(style.phrase.turns)
    chance.shuffle(turns)
    for turn in turns:
        changed = _TURNS[turn](bar, chance, metre, _step(style, metre))
        if changed != bar:
            return changed
    return bar


def _ornamented(bar: Bar, chance: Random, metre: Metre, step: Fraction) -> Bar:
    taken = {s.in_bar for s in bar}
    pickups = [p - step for p in (*metre.pulses[1:], metre.bar)]
    free = [at for at in pickups if at > 0 and at not in taken]
    return _added(bar, chance.choice(free), step, 0.4) if free else bar


def _truncated(bar: Bar, chance: Random, metre: Metre, step: Fraction) -> Bar:  # noqa: ARG001
    weak = [s for s in bar if metre.weight(s.in_bar) <= 1 and s.accent < 1]
    return _without(bar, chance.choice(weak)) if weak and len(bar) > 1 else bar


def _displaced(bar: Bar, chance: Random, metre: Metre, step: Fraction) -> Bar:
    taken = {s.in_bar for s in bar}
    movable = [s for s in bar[1:] if metre.weight(s.in_bar) == 2 and s.in_bar - step not in taken]
    if not movable:
        return bar
    moved = chance.choice(movable)
    rest = _without(bar, moved)
    early = replace(moved, in_bar=moved.in_bar - step, length=moved.length + step)
    return _inserted(rest, early)


_TURNS: Final = MappingProxyType(
    {Turn.ADD: _ornamented, Turn.DROP: _truncated, Turn.PUSH: _displaced}
)


def _without(bar: Bar, gone: Stroke) -> Bar:
    kept = []
    for stroke in bar:
        if stroke is gone:
            continue
        # One that rang up to the one left out rings on.
        more = gone.length if stroke.in_bar + stroke.length == gone.in_bar else 0
        kept.append(replace(stroke, length=stroke.length + more))
    return tuple(kept)


def _added(bar: Bar, at: Fraction, step: Fraction, accent: float) -> Bar:
    return _inserted(bar, Stroke(at, step, accent, ghost=False))


def _inserted(bar: Bar, new: Stroke) -> Bar:
    cut = [
        replace(s, length=new.in_bar - s.in_bar)
        if s.in_bar < new.in_bar < s.in_bar + s.length
        else s
        for s in bar
    ]
    later = [s.in_bar for s in bar if s.in_bar > new.in_bar]
    if later:
        new = replace(new, length=min(new.length, later[0] - new.in_bar))
    return tuple(sorted((*cut, new), key=lambda s: s.in_bar))


def at_density(bar: Bar, density: float, threshold: float, metre: Metre, style: Style) -> Bar:
    """The same figure thinned (density below a half) or thickened (above).

    Strokes go and come in one fixed order, so that a neighbouring density keeps nearly all of
    them; `threshold` (0..1) is where the phrase rounds a number of strokes between two wholes.
    """
    if density == 0.5:
        return bar
    if density < 0.5:
        wanted = floor(1 + (len(bar) - 1) * 2 * density + threshold)
        for stroke in _as_needed(bar, metre)[max(1, wanted) :][::-1]:
            bar = _without(bar, next(s for s in bar if s.in_bar == stroke.in_bar))
        return bar
    free = _free_steps(bar, metre, style)
    step = _step(style, metre)
    for at in free[: floor(len(free) * (2 * density - 1) + threshold)]:
        bar = _added(bar, at, step / 2, 0.45)
    return bar


def _as_needed(bar: Bar, metre: Metre) -> list[Stroke]:
    """The strokes in the order in which they are kept, first the strong ones.

    Of equals first the one that is farthest from those kept, and of these the later: it is the way
    into the next bar.  So who walks with less room plays 1 3 4, and no bar limps.
    """
    kept: list[Stroke] = []
    left = list(bar)
    while left:
        strongest = min(_rank(stroke, metre) for stroke in left)
        equals = [stroke for stroke in left if _rank(stroke, metre) == strongest]
        gaps = [min((_apart(s, other, metre) for other in kept), default=-s.in_bar) for s in equals]
        farthest = max(range(len(equals)), key=lambda i: (gaps[i], equals[i].in_bar))
        kept.append(equals[farthest])
        left.remove(equals[farthest])
    return kept


def _rank(stroke: Stroke, metre: Metre) -> tuple[bool, int, float]:
    return stroke.ghost, -metre.weight(stroke.in_bar), -stroke.accent


def _apart(one: Stroke, other: Stroke, metre: Metre) -> Fraction:
    """How far two strokes are from each other in a bar that comes again."""
    distance = abs(one.in_bar - other.in_bar)
    return min(distance, metre.bar - distance)


def _free_steps(bar: Bar, metre: Metre, style: Style) -> list[Fraction]:
    """The steps that thickening fills, first the ones a listener expects most."""
    step = _step(style, metre)
    taken = {s.in_bar for s in bar}
    every = [i * step for i in range(int(metre.bar / step))]
    free = [at for at in every if at not in taken]
    if len(free) < 3:  # a full figure thickens by pickups of half a step
        pickups = [p - step / 2 for p in (*metre.pulses[1:], metre.bar)]
        free += [at for at in pickups if at > 0 and at not in taken and at not in free]
    return sorted(free, key=lambda at: (-metre.weight(at), -metre.weight(at + step), at))
