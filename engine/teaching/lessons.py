"""Lessons: one line of teaching for each bar of a part.

Knows: whom to ask for remarks, and that a pupil tires of hearing the same.
Refuses to know: what makes a remark true.
How: every remark of a bar has a weight.  A topic that was touched in the bars just before weighs
less, a fact that was told on the same page is not told again, and the heaviest that is left is.
Why a thing works is said the first time that it comes up; from then on the bar only shows it.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from engine.line.hand import SPAN
from engine.teaching import harmony, leading, neck, rhythm, tones
from engine.teaching.bars import Bar, degree_name, listed, name_of, standing
from engine.teaching.heard import by_one_name
from engine.teaching.remarks import BarsByRhythm, Remark, Spot, Topic
from engine.teaching.ways import Lead, leads_of

# What a topic loses when it was touched one, two, three bars ago: more than any difference in
# weight, then less and less, so that every topic may come back within a phrase of four.
_LATELY: Final = (0.6, 0.3, 0.15)
_LAST_RESORT: Final = -1.0  # below anything that is worth saying, however worn its topic
_PAGE: Final = 32  # bars after which a fact may be told again, as on a page that is turned
_EACH_TIME: Final = 0.02  # and for every time on the page: what is rare is told


@dataclass(frozen=True, slots=True)
class Lesson:
    """A bar as it is taught, the ways in that it takes, and the line of teaching for it."""

    bar: Bar
    leads: tuple[Lead, ...]
    remark: Remark
    teaching: str


def lessons(bars: Sequence[Bar], span: int = SPAN) -> tuple[Lesson, ...]:
    """The bars of a part, each with what there is to learn from it; `span` frets under the hand."""
    bars = _by_one_name(bars)
    rhythms, page, morals = BarsByRhythm(bars), deque[Remark](maxlen=_PAGE), set[str]()
    told: list[Lesson] = []
    for index, bar in enumerate(bars):
        spot = Spot(bars, index, span, rhythms)
        remark = _best(spot, page)
        teaching = remark.told(with_moral=remark.moral not in morals)
        told.append(Lesson(bar, leads_of(spot), remark, teaching))
        page.append(remark)
        morals.add(remark.moral)
    return tuple(told)


def _by_one_name(bars: Sequence[Bar]) -> tuple[Bar, ...]:
    """The bars as they are taught: one bar calls one chord what stands above it."""
    taught = []
    for index, bar in enumerate(bars):
        around = standing(bars, index)
        named = (
            note if note.beat in bar.expected else by_one_name(note, around, bar.key)
            for note in bar.notes
        )
        taught.append(replace(bar, notes=tuple(named)))
    return tuple(taught)


def remarks(spot: Spot) -> Iterator[Remark]:
    """All that can be said about a bar."""
    yield from leading.remarks(spot)
    yield from rhythm.remarks(spot)
    yield from tones.remarks(spot)
    yield from harmony.remarks(spot)
    yield from neck.remarks(spot)
    if spot.bar.pitched:
        yield _plainly(spot.bar)


def _plainly(bar: Bar) -> Remark:
    """What is always true, for where all else was said before."""
    notes = [f"{name_of(n)} ({degree_name(n)})" for n in bar.pitched]
    places = listed([bar.count(note) for note in bar.pitched])
    return Remark(Topic.TONES, _LAST_RESORT, f"{listed(notes)}, on {places}")


def _best(spot: Spot, page: deque[Remark]) -> Remark:
    said = {remark.fact for remark in page}
    lately: dict[Topic, float] = {}
    for remark, loss in zip(reversed(page), _LATELY, strict=False):
        lately.setdefault(remark.topic, loss)
    often = Counter(remark.topic for remark in page)

    def worth(remark: Remark) -> float:
        tired = lately.get(remark.topic, 0.0) + _EACH_TIME * often[remark.topic]
        return remark.weight - tired

    found = list(remarks(spot))
    return max([r for r in found if r.fact not in said] or found, key=worth)
