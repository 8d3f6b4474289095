"""Offers: the notes on offer for each stroke of the bar.

Knows: what each tone of a figure, or of a pool, costs at its place.
Refuses to know: which of them is chosen, and the ways into the next chord (that is ways.py).
"""

from __future__ import annotations

from collections.abc import Sequence
from math import log
from typing import Final

from engine.figures import FREE, LEAD
from engine.line.dice import draw, place_number
from engine.line.placing import Placed
from engine.line.pools import (
    interval_of,
    number_of,
    offered,
    on_minor_sixth,
    pool_of,
    role_of,
)
from engine.line.roots import Roots
from engine.line.search import Option
from engine.score import Ask, Role
from engine.style import Pool, Style
from engine.theory.harmony import Chord, Key

_POOL: Final = 0.6  # a tone of half the weight costs 0.4, as much as a third more of leap
_BELOW: Final = 0.3  # a free tone is sought above the root first
_OTHER_OCTAVE: Final = 1.6  # a figure turned over is still the figure, but less so
_OUTSIDE_ON_STRONG: Final = (0.0, 0.0, 0.8, 2.5, 3.5)  # by the weight of the place, see Metre
_MOTIVE: Final = 2.5  # how much a tone away from the motive costs where it is kept firmly
_VARIETY: Final = 0.9  # a taste that changes from bar to bar, so that free bars differ


class Offers:
    """What one part offers, stroke by stroke."""

    def __init__(self, style: Style, roots: Roots, seed: int) -> None:
        self._style = style
        self._roots = roots
        self._seed = seed

    def tones(self, ask: Ask, stroke: Placed, chord: Chord, anchor: int) -> list[Option]:
        """The options for a stroke over a chord whose root lies at `anchor`."""
        if stroke.tone in (FREE, LEAD):
            return self._free(ask, stroke, chord, anchor)
        return self._wished(stroke.tone, chord, ask, anchor)

    def _pool(self, ask: Ask, chord: Chord) -> Pool:
        return pool_of(self._style, chord.family, ask.manner.intensity)

    def _wished(self, tone: str, chord: Chord, ask: Ask, anchor: int) -> list[Option]:
        key, pool = ask.key, self._pool(ask, chord)
        tone = offered(tone, chord, key, pool)
        note = tone_note(tone, chord, key, anchor)
        farther = 2 * _OTHER_OCTAVE
        if number_of(tone) != 1 and note % 12 == anchor % 12:  # the slash bass has it already
            tone, note = "1", anchor + (chord.root - anchor) % 12
            farther = 0.0  # the root is no tune: it lies where the hand is
        role = role_of(tone, chord, note % 12)
        # What is built on a root below the register still finds one in it.
        root = anchor if self._roots.has(anchor) else anchor + 12
        if number_of(tone) == 1 and note == anchor:
            return [Option(root, 0, role, tone)]
        octaves = [(note, 0.0), (note - 12, _OTHER_OCTAVE), (note + 12, farther)]
        found = [
            Option(n, cost, _octave_or_bass(role, n, chord, anchor), tone)
            for n, cost in octaves
            if self._roots.has(n)
        ]
        return found or [Option(root, 0, role_of("1", chord, root % 12), "1")]

    def _free(self, ask: Ask, stroke: Placed, chord: Chord, anchor: int) -> list[Option]:
        pool = self._pool(ask, chord)
        top = max(weight for _, weight in pool)
        in_bar = stroke.beat - ask.bar_start
        strong = _OUTSIDE_ON_STRONG[ask.metre.weight(in_bar)]
        place = place_number(in_bar)
        wish = on_minor_sixth(self._wish(place, pool), chord)
        found: dict[int, Option] = {}
        for named, weight in pool:
            if weight == 0:
                continue
            tone = on_minor_sixth(named, chord)
            note = tone_note(tone, chord, ask.key, anchor)
            cost = -_POOL * log(weight / top)
            cost += (
                0 if tone == wish or stroke.tone == LEAD else _MOTIVE * self._style.phrase.motive
            )
            cost += 0 if note % 12 in chord.pitch_classes else strong
            cost += _VARIETY * draw(self._seed, ask.bar, place, note)
            role = role_of(tone, chord, note % 12)
            for n, more in ((note, 0.0), (note - 12, _BELOW)):
                self._offer(
                    found, Option(n, cost + more, _octave_or_bass(role, n, chord, anchor), tone)
                )
        return list(found.values()) or self._wished("1", chord, ask, anchor)

    def _offer(self, found: dict[int, Option], option: Option) -> None:
        """Offer a note where the register has it, the cheapest way of coming by it."""
        known = found.get(option.note)
        if self._roots.has(option.note) and (known is None or known.cost > option.cost):
            found[option.note] = option

    def _wish(self, place: int, pool: Sequence[tuple[str, float]]) -> str:
        """The tone that the motive has at this place: one draw for the whole part."""
        at = draw(self._seed, place) * sum(weight for _, weight in pool)
        for tone, weight in pool:
            at -= weight
            if at < 0:
                return tone
        return pool[0][0]


def _octave_or_bass(role: Role, note: int, chord: Chord, anchor: int) -> Role:
    """An octave taken down to the bass note, or below it, is that note itself."""
    return role_of("1", chord, note % 12) if role is Role.OCTAVE and note <= anchor else role


def tone_note(tone: str, chord: Chord, key: Key, anchor: int) -> int:
    """The note of a degree over the anchor: above it, or below with a comma."""
    low = 12 if tone.endswith(",") else 0
    if number_of(tone) == 1:
        return anchor + (12 if tone.lstrip("b#").startswith("8") else 0) - low
    interval = interval_of(tone, chord, key)
    above = anchor + (chord.root + interval - anchor) % 12
    return above + (12 if interval >= 12 else 0) - low
