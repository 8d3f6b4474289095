"""Ways: the last strokes of a chord, given to the next one.

Knows: which change is led into, on which way, and which strokes there are for it.
Refuses to know: what the other strokes play.
How: a change draws whether and how it is led into, always the same for the same place in the
song.  A change that draws no way keeps its tones, less those that would lead by a semitone, so
that the weights of a style say what is heard.  A change that may not come is led into by a tone of
the scale that sounds, and never by a semitone: nobody hears that it led nowhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from engine.figures import LEAD, OCTAVE, Stroke
from engine.line.dice import draw
from engine.line.leads import Stay, Target, leading, place_of, step_of_run
from engine.line.pickups import is_exposed, with_pickup
from engine.line.placing import Placed
from engine.line.pools import lead_in, scale_of
from engine.line.roots import Roots
from engine.line.runs import Runs, ends_a_run
from engine.line.search import Option
from engine.score import Ask
from engine.style import Style, Way

_ONWARD: Final = 1.5  # a way that goes in the direction of the root change is liked more
# Cheaper than a leap of more than an octave into the way, and dearer than most that are smaller.
_OCTAVE_UP: Final = 2.5
_TENTH: Final = 16  # farther up the octave of the next root is out of the hand, and of the line

LIKELY: Final = 0.75
"""Below this a change is one that may not come, and is not led into by a semitone.

Of the semitones into changes of 28 songs 91% led to the root that was really played, 89% with
0.65, for 20 and 23% of all changes (bench.expecting on pop909, --every 5)."""

_BY_SEMITONE: Final = frozenset(
    {
        Way.SEMITONE_BELOW,
        Way.SEMITONE_ABOVE,
        Way.TWO_SEMITONES_BELOW,
        Way.TWO_SEMITONES_ABOVE,
        Way.ENCLOSURE,
    }
)


class Ways:
    """How one part goes from chord to chord."""

    def __init__(self, style: Style, roots: Roots, seed: int) -> None:
        self._approach = style.approach
        self._roots = roots
        self._runs = Runs(roots, seed)
        self._seed = seed

    def with_room(
        self, ask: Ask, target: Target, strokes: tuple[Stroke, ...]
    ) -> tuple[Stroke, ...]:
        """A bar's strokes, with a pickup where it is led out of and only its middle could lead."""
        led = draw(self._seed, place_of(target), 1) < self._approach.led
        wanted = target.stretch.change and target.stretch.confidence >= self._approach.daring
        return with_pickup(ask.metre, strokes, ask.seconds_per_beat) if led and wanted else strokes

    def lead(self, ask: Ask, stay: Stay, options: list[list[Option]]) -> None:
        """Replace the options of the last strokes of a stretch by those of a way in."""
        target = stay.target
        if target is not None and target.stretch.confidence < self._approach.daring:
            target = None
        asked = _asked(stay.strokes, stay.room)
        last = asked == 1 and not ends_a_run(ask, stay)
        if last and target is not None and target.stretch.change:
            self._arrive(ask, stay, target, stay.room, options)
        elif asked:
            self._run(ask, stay, target, stay.room[-asked:], options)
        elif target is not None and target.stretch.change and stay.room:
            self._approach_to(ask, stay, target, options)

    def _approach_to(
        self, ask: Ask, stay: Stay, target: Target, options: list[list[Option]]
    ) -> None:
        if draw(self._seed, place_of(target), 1) >= self._approach.led:
            _without_semitones(options[stay.room[-1]], target.note)
        else:
            self._arrive(ask, stay, target, stay.room, options)

    def _arrive(
        self,
        ask: Ask,
        stay: Stay,
        target: Target,
        places: Sequence[int],
        options: list[list[Option]],
    ) -> None:
        """Give the last of these strokes to a way in, as many as it can have."""
        way = self._way(ask, stay, target, places[-1])
        if way is None:
            return
        notes = lead_in(way, stay.chord, ask.key, target.note)[-len(places) :]
        high = _sounds_before(ask, stay, target, places[-len(notes)])
        for i, choices in zip(places[::-1], notes[::-1], strict=False):
            if _is_wrong(ask, stay, target, i, choices):
                return
            playable = [note for note in choices if self._roots.has(note)]
            if playable:
                found = [leading(n, target, stay.chord, ask.key) for n in playable]
                options[i] = found + self._an_octave_up(found, high)

    def _an_octave_up(self, options: Sequence[Option], high: int) -> list[Option]:
        """The same notes an octave up, where they lie more than an octave below a high note."""
        far = [option for option in options if high - option.note > 12]
        up = [replace(option, note=option.note + 12, cost=_OCTAVE_UP) for option in far]
        return [option for option in up if self._roots.has(option.note)]

    def _way(self, ask: Ask, stay: Stay, target: Target, last: int) -> Way | None:
        """The way that this change draws, when the stroke `last` leads into it.

        Whether it ends in a semitone is drawn first, by the weights of all ways, so that ways
        which do not exist here leave the share of semitones as the style has it.
        """
        semitone = self.by_semitone(target)
        kind = [
            (way, weight)
            for way, weight in self._approach.ways
            if (way in _BY_SEMITONE) == semitone
        ]
        feasible = self._feasible(ask, stay, target, last, kind)
        if not feasible and _is_likely(target):
            feasible = self._feasible(ask, stay, target, last, self._approach.ways)
        return self._drawn(target, 3, feasible)

    def by_semitone(self, target: Target) -> bool:
        """Whether this change is reached by a semitone, if it is led into."""
        drawn = self._drawn(target, 2, self._approach.ways)
        return drawn in _BY_SEMITONE and _is_likely(target)

    def _feasible(
        self, ask: Ask, stay: Stay, target: Target, last: int, ways: Sequence[tuple[Way, float]]
    ) -> list[tuple[Way, float]]:
        found = []
        scale = scale_of(stay.chord, ask.key)
        for way, weight in ways:
            notes = lead_in(way, stay.chord, ask.key, target.note)
            if not _is_likely(target) and not all(n % 12 in scale for each in notes for n in each):
                continue
            if way is Way.FIFTH and not _is_its_fifth(target, scale):
                continue
            if _was_played(notes, ask) or (notes and _is_wrong(ask, stay, target, last, notes[-1])):
                continue
            if way is Way.OCTAVE and not self._is_near(ask, stay, last, notes[-1]):
                continue
            if weight and notes and any(self._roots.has(note) for note in notes[-1]):
                rises = min(notes[-1], key=lambda n: abs(n - stay.anchor)) < target.note
                onward = _ONWARD if rises == (stay.anchor < target.note) else 1.0
                found.append((way, weight * onward))
        moving = [(way, weight) for way, weight in found if not _stands(way, stay, target)]
        return moving or found

    def _is_near(self, ask: Ask, stay: Stay, last: int, notes: Sequence[int]) -> bool:
        """Whether a note on the last stroke is not far from the one that the figure has before."""
        before = [stroke.tone for stroke in stay.strokes[:last] if not stroke.ghost]
        root = stay.anchor + 12 * (before[-1:] == [OCTAVE])
        left = root if before or ask.last is None else ask.last.note
        return any(self._roots.has(note) and abs(note - left) <= _TENTH for note in notes)

    def _drawn(self, target: Target, dice: int, ways: Sequence[tuple[Way, float]]) -> Way | None:
        at = draw(self._seed, place_of(target), dice) * sum(weight for _, weight in ways)
        for way, weight in ways:
            at -= weight
            if at < 0:
                return way
        return None

    def _run(
        self,
        ask: Ask,
        stay: Stay,
        target: Target | None,
        places: Sequence[int],
        options: list[list[Option]],
    ) -> None:
        """The strokes that a figure gives to leading on: steps to the next root, or back home."""
        if target is None or not target.stretch.change:
            run = self._runs.home(ask, stay, places)
            steps = [step_of_run(note, stay.anchor, stay.chord) for note in run]
        else:
            semitone = self.by_semitone(target)
            run = self._runs.onward(ask, stay, target, places, semitone=semitone)
            steps = [leading(note, target, stay.chord, ask.key) for note in run]
            if not steps:
                self._arrive(ask, stay, target, places, options)
        for i, step in zip(places, steps, strict=False):
            options[i] = [step]


def _sounds_before(ask: Ask, stay: Stay, target: Target, first: int) -> int:
    """The note played already, if a way into the next bar begins with the stroke after it; else 0.

    A way that is foreseen in time is none of these: the figure turns down before it.
    """
    if ask.last is None or target.stretch.start < ask.end:
        return 0
    return ask.last.note if all(stroke.ghost for stroke in stay.strokes[:first]) else 0


def _is_wrong(ask: Ask, stay: Stay, target: Target, i: int, notes: Sequence[int]) -> bool:
    """Whether these notes, outside chord and scale, would be heard as wrong ones on a stroke."""
    belong = stay.chord.pitch_classes | scale_of(stay.chord, ask.key)
    if all(note % 12 in belong for note in notes):
        return False
    stroke, change = stay.strokes[i], target.stretch.start - ask.bar_start
    at = stroke.beat - ask.bar_start
    return is_exposed(ask.metre, at, stroke.length, change, ask.seconds_per_beat)


def _is_its_fifth(target: Target, scale: frozenset[int]) -> bool:
    """Whether the fifth above the next bass is that chord's own, and no wrong note before it."""
    goal = target.stretch.chord
    fifth = (goal.bass + 7) % 12
    return goal.bass == goal.root and fifth in goal.pitch_classes and fifth in scale


def _was_played(notes: Sequence[Sequence[int]], ask: Ask) -> bool:
    """Whether the way is the note that led on last: written anew, it goes on from there."""
    last = ask.last
    if last is None or last.aims_at is None or last.beat < ask.bar_start:
        return False
    return len(notes) == 1 and list(notes[0]) == [last.note]


def _stands(way: Way, stay: Stay, target: Target) -> bool:
    """Whether the fifth of the next root is the bass that sounds: it leads no one from V to I."""
    return way is Way.FIFTH and (target.note + 7 - stay.chord.bass) % 12 == 0


def _is_likely(target: Target) -> bool:
    return target.stretch.confidence >= LIKELY


def _asked(strokes: Sequence[Placed], room: Sequence[int]) -> int:
    """How many of the last strokes the figure itself gives to leading on."""
    count = 0
    for i in reversed(room):
        if strokes[i].tone != LEAD:
            break
        count += 1
    return count


def _without_semitones(options: list[Option], target: int) -> None:
    kept = [o for o in options if (o.note - target) % 12 not in (1, 11)]
    if kept:
        options[:] = kept
