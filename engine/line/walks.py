"""Walks: steps to the next chord that set out beats ahead of it.

Knows: which changes are walked into, from which felt beat on, and by which notes.
Refuses to know: figures, and what is played before the walk sets out.
How: one step a felt beat, counted back from the change so that the arrival is on it.  Whether the
last step is a semitone is what the change drew for any way in, so that walks leave the share of
semitones as the style has it; where the scale has no such walk there is none.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final

from engine.figures import LEAD, PLAIN, Stroke
from engine.line.dice import draw
from engine.line.leads import Target, place_of
from engine.line.pickups import is_exposed
from engine.line.placing import Stretch, is_new
from engine.line.pools import scale_of, steps_between
from engine.line.roots import Roots
from engine.line.ways import Ways
from engine.score import Ask, BassNote
from engine.style import Style
from engine.theory.harmony import Chord

_NEAREST: Final = 3  # a third to a fifth: nearer is no walk, farther a run
_FARTHEST: Final = 7
_SHORT: Final = 2  # the last two beats: second half of a bar in four
_LONG: Final = 3  # and the whole bar after its root, where the chord has stood for longer
_TOO_FAR_FOR_SHORT: Final = 6
_TOO_NEAR_FOR_LONG: Final = 4


@dataclass(frozen=True, slots=True)
class Walk:
    """Where each step begins, its note, and the chord that it arrives at."""

    beats: tuple[Fraction, ...]
    notes: tuple[int, ...]
    target: Target

    def note_at(self, beat: Fraction) -> int | None:
        """The note of the step under way; None before the walk sets out."""
        step = bisect_right(self.beats, beat)
        return self.notes[step - 1] if step and beat < self.target.stretch.start else None

    def laid_over(self, strokes: Sequence[Stroke], bar_start: Fraction) -> tuple[Stroke, ...]:
        """A bar's strokes with each step begun on its beat, in the figure's rhythm where it is."""
        first = self.beats[0] - bar_start
        ends = (*self.beats[1:], self.target.stretch.start)
        off = 2 * first - (ends[0] - bar_start)  # the beat before it sets off from the root
        laid = [
            replace(
                s, length=min(s.length, first - s.in_bar), tone="1" if s.in_bar >= off else s.tone
            )
            for s in strokes
            if s.in_bar < first
        ]
        for beat, end in zip(self.beats, ends, strict=True):
            laid += _step(strokes, beat - bar_start, end - bar_start)
        return tuple(laid)


def _step(strokes: Sequence[Stroke], begin: Fraction, end: Fraction) -> list[Stroke]:
    """What the figure plays on this beat, if it begins on it, else one stroke for the beat."""
    own = [s for s in strokes if begin <= s.in_bar < end and not s.ghost and not s.early]
    if not own or own[0].in_bar != begin:
        return [Stroke(begin, end - begin, PLAIN, ghost=False, tone=LEAD)]
    return [replace(s, length=min(s.length, end - s.in_bar), tone=LEAD) for s in own]


class Walks:
    """Which changes one part walks into."""

    def __init__(self, style: Style, roots: Roots, ways: Ways, seed: int) -> None:
        self._approach = style.approach
        self._roots = roots
        self._ways = ways
        self._seed = seed

    def into(self, ask: Ask, stretches: Sequence[Stretch], anchors: Sequence[int]) -> Walk | None:
        """The walk that ends this bar, if one does."""
        if len(stretches) < 2 or stretches[-1].start != ask.end:
            return None
        if len(ask.metre.pulses) <= _SHORT:  # the bar is over before a walk has set out
            return None
        here, target = stretches[-2], Target(stretches[-1], anchors[-1])
        if not target.stretch.change or target.stretch.confidence < self._approach.daring:
            return None
        if draw(self._seed, place_of(target), 7) >= self._approach.walked:
            return None
        count = _steps(ask, here, target, abs(target.note - anchors[-2]))
        pulses = ask.metre.pulses
        if not 0 < count < len(pulses):
            return None
        beats = tuple(ask.bar_start + pulse for pulse in pulses[-count:])
        if not _has_room(ask, here, target, beats[0]):
            return None
        scale = scale_of(here.chord, ask.key)
        notes = steps_between(
            scale, anchors[-2], target.note, count, semitone=self._ways.by_semitone(target)
        )
        known = notes and all(map(self._roots.has, notes))
        notes = tuple(
            anchors[-2] if _rubs(note, here.chord) and _stands_out(ask, beat, target) else note
            for beat, note in zip(beats, notes, strict=False)
        )
        return Walk(beats, notes, target) if known else None


def _steps(ask: Ask, here: Stretch, target: Target, size: int) -> int:
    """How many felt beats ahead the walk sets out; 0 where the root is no walk away."""
    if not _NEAREST <= size <= _FARTHEST:
        return 0
    long = size >= _TOO_FAR_FOR_SHORT or (size > _TOO_NEAR_FOR_LONG and _is_slow(ask, here, target))
    return _LONG if long else _SHORT


def _is_slow(ask: Ask, here: Stretch, target: Target) -> bool:
    """Whether the chord stood in the bar before, or the longer walk has already set out."""
    last = _last_over(ask, here)
    if last is None:
        return False
    short = ask.bar_start + ask.metre.pulses[-_SHORT]
    under_way = last.aims_at == target.stretch.chord.bass and last.beat < short
    return last.beat < ask.bar_start or under_way


def _rubs(note: int, chord: Chord) -> bool:
    """Whether a step lies a semitone above the root that it sets out from, as Ab over Gm7."""
    return (note - chord.root) % 12 == 1 and note % 12 not in chord.pitch_classes


def _stands_out(ask: Ask, beat: Fraction, target: Target) -> bool:
    """Whether a step of a whole felt beat is heard as the chord: the root stays for it."""
    at, change = beat - ask.bar_start, target.stretch.start - ask.bar_start
    _, felt = ask.metre.felt_beat_at(at)
    return is_exposed(ask.metre, at, felt, change, ask.seconds_per_beat)


def _has_room(ask: Ask, here: Stretch, target: Target, first: Fraction) -> bool:
    """Whether the chord has had its root, and the walk sets out yet or goes on."""
    if ask.start > first:
        return ask.last is not None and ask.last.aims_at == target.stretch.chord.bass
    last = _last_over(ask, here)
    return here.start < first or (last is not None and last.beat < first)


def _last_over(ask: Ask, here: Stretch) -> BassNote | None:
    """The note played last, if it was over this chord and no other has come since."""
    last = ask.last
    if last is None or here.start != ask.start or is_new(here.chord, last.chord):
        return None
    return last
