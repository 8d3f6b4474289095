"""Bassline: one bar of bass, written to order.

Knows: the order of the work: rhythm, walks, placing, offers, search, reasons, joining.
Refuses to know: when it is asked and why.
How: everything is a function of the ask, the style and one seed drawn at the start, so the same
ask always gets the same bar.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from random import Random
from typing import Final

from engine.figures import FREE, LEAD, OCTAVE
from engine.line.hand import Hand, Place
from engine.line.joining import Joining
from engine.line.leads import Stay, Target, leading
from engine.line.offers import Offers
from engine.line.placing import Placed, Stretch, is_new, placed, stretches_of
from engine.line.pools import role_of
from engine.line.reach import within_reach
from engine.line.reasons import reason_for
from engine.line.rhythm import Rhythms
from engine.line.roots import Roots
from engine.line.search import Choice, Column, Coming, Option, best_path, leads_up
from engine.line.walks import Walk, Walks
from engine.line.ways import Ways
from engine.score import Ask, BassNote, Manner, Role
from engine.style import Style
from engine.theory.meter import Metre

# From here on a left hand is kept clear of: low strokes on five beats of eight, for a style that
# gives a room of 0.4, and on every beat for one that gives half as much.
_KEPT_CLEAR: Final = 0.2

# A leap into a note that leads is heard twice: it breaks the line and spoils the arrival.
_WAY_OUT: Final = 1.5

# A new chord is met an octave up only where no hand would come down in time: dearer than any taste.
_IN_NEED: Final = 12.0
# But after a note from which the root below would be more than an octave down, there it is nearer.
_NEARER: Final = 1.0


class Bassline:
    """The part of one bass player in one style."""

    def __init__(self, style: Style, random: Random) -> None:
        seed = random.getrandbits(31)
        self._approach = style.approach
        self._room = style.interplay.room
        self._rhythms = Rhythms(style, seed)
        self._roots = Roots(style.register, seed, style.rhythm.octaves)
        self._offers = Offers(style, self._roots, seed)
        self._ways = Ways(style, self._roots, seed)
        self._walks = Walks(style, self._roots, self._ways, seed)
        self._hand = Hand(style.neck)
        self._joining = Joining(style, seed)

    def write(self, ask: Ask) -> tuple[BassNote, ...]:
        """The notes from `ask.start` to the bar line, earliest first."""
        self._roots.keep_below(self._left_hand(ask.manner))
        stretches = stretches_of(ask)
        anchors = self._anchors(ask, stretches)
        walk = self._walks.into(ask, stretches, anchors)
        figure = self._rhythms.bar(ask.bar, ask.metre, ask.manner)
        if walk is not None:
            figure = walk.laid_over(figure, ask.bar_start)
        elif len(stretches) > 1 and stretches[-1].start == ask.end:
            figure = self._ways.with_room(ask, Target(stretches[-1], anchors[-1]), figure)
        strokes = placed(ask, figure, stretches, self._approach)
        if not strokes:
            return ()
        options = self._options(ask, strokes, stretches, anchors)
        if walk is not None:
            _step_through(walk, strokes, options, ask)
        last = (ask.last.note, (ask.last.string, ask.last.fret)) if ask.last else None
        coming = None
        if stretches[-1].start == ask.end:
            coming = Coming(anchors[-1], float(ask.end - strokes[-1].beat) * ask.seconds_per_beat)
        choices = best_path(self._columns(ask, strokes, options), last, self._hand, coming)
        notes = self._notes(ask, strokes, stretches, choices)
        changes = frozenset(stroke.beat for stroke in strokes if stroke.lands)
        kept = within_reach(notes, changes, ask.last, ask.seconds_per_beat, self._hand.span)
        return self._joining.joined(kept, ask.last, ask.seconds_per_beat)

    def _left_hand(self, manner: Manner) -> int | None:
        """The left hand's lowest note, where it is to be kept clear of."""
        return manner.floor if self._room * manner.low >= _KEPT_CLEAR else None

    def _options(
        self,
        ask: Ask,
        strokes: Sequence[Placed],
        stretches: Sequence[Stretch],
        anchors: Sequence[int],
    ) -> list[list[Option]]:
        """What is on offer for every stroke; a ghost has nothing of its own."""
        targets = [Target(s, a) for s, a in zip(stretches[1:], anchors[1:], strict=True)]
        options: list[list[Option]] = [[] for _ in strokes]
        for index, (stretch, anchor) in enumerate(zip(stretches, anchors, strict=True)):
            mine = [i for i, s in enumerate(strokes) if s.stretch == index and not s.ghost]
            low = self._built_on(anchor, [strokes[i] for i in mine], ask)
            for i in mine:
                options[i] = self._offers.tones(ask, strokes[i], stretch.chord, low)
                if strokes[i].lands:
                    options[i] = self._landings(options[i], ask.last if i == 0 else None)
            room = [i for i in mine if not strokes[i].lands and strokes[i].beat != ask.bar_start]
            target = targets[index] if index < len(targets) else None
            self._ways.lead(ask, Stay(stretch.chord, anchor, strokes, room, target), options)
        return options

    def _landings(self, options: Sequence[Option], last: BassNote | None) -> list[Option]:
        """The same notes, and an octave up for who comes from far away, whether hand or ear.

        Where the note before leads by step to the octave, only that arrives.
        """
        up, led = [], False
        for option in options:
            led = led or (last is not None and leads_up(last.note, last.aims_at, option.note))
            leaps = last is not None and last.note - option.note > 12
            cost = option.cost + (_NEARER if leaps else _IN_NEED)
            up.append(replace(option, note=option.note + 12, cost=cost))
        up = [option for option in up if self._roots.has(option.note)]
        return up if led and up else [*options, *up]

    def _built_on(self, anchor: int, strokes: Sequence[Placed], ask: Ask) -> int:
        """The root that a figure is built on: lower, where one that comes down has no octave."""
        comes_down = bool(strokes) and strokes[0].beat == ask.bar_start
        comes_down = comes_down and strokes[0].tone == OCTAVE
        if not comes_down or self._roots.has(anchor + 12) or any(s.tone == "1" for s in strokes):
            return anchor
        return anchor - 12

    def _anchors(self, ask: Ask, stretches: Sequence[Stretch]) -> list[int]:
        before = ask.last.chord.bass if ask.last is not None else stretches[0].chord.bass
        anchors = []
        for stretch in stretches:
            bar = ask.bar if stretch.start < ask.end else ask.bar + 1
            anchors.append(self._roots.note(stretch.chord.bass, before, bar))
            before = stretch.chord.bass
        if stretches[-1].start == ask.end and self._comes_down(ask.bar + 1, ask.metre):
            above = anchors[-1] + 12
            anchors[-1] = above if self._roots.has(above) else anchors[-1]
        return anchors

    def _comes_down(self, bar: int, metre: Metre) -> bool:
        """Whether the figure of a bar begins on the octave, so that this is led to."""
        first = self._rhythms.bar(bar, metre)[0]
        return first.in_bar == 0 and first.tone == OCTAVE

    def _columns(
        self, ask: Ask, strokes: Sequence[Placed], options: Sequence[list[Option]]
    ) -> list[Column]:
        columns = []
        before = ask.last.beat if ask.last else ask.start - 1
        for stroke, offered in zip(strokes, options, strict=True):
            if stroke.ghost:
                continue
            seconds = float(stroke.beat - before) * ask.seconds_per_beat
            leads = stroke.tone == LEAD or offered[0].tone == LEAD
            freedom = _WAY_OUT if leads else float(stroke.tone == FREE)
            columns.append(Column(offered, seconds, freedom))
            before = stroke.beat
        return columns

    def _notes(
        self,
        ask: Ask,
        strokes: Sequence[Placed],
        stretches: Sequence[Stretch],
        choices: Sequence[Choice],
    ) -> tuple[BassNote, ...]:
        notes = []
        rest = iter(choices)
        here = _standing(ask, choices)
        # The root of a chord that is met an octave up has no octave at that place.
        landed = _landed_already(ask)
        for stroke in strokes:
            stretch = stretches[stroke.stretch]
            chord = stretch.chord
            if stroke.ghost:
                if here is None:
                    continue
                option, place = Option(here[0], 0, Role.GHOST), here[1]
            else:
                choice = next(rest)
                option, place = choice.option, choice.place
                here = option.note, place
                landed = option.note if stroke.lands else landed
                if option.role is Role.OCTAVE and option.note <= landed:
                    option = replace(option, role=role_of("1", chord, option.note % 12))
            reason = reason_for(option.role, option.note, chord, ask.key, option.aims_at)
            notes.append(
                BassNote(
                    stroke.beat, stroke.length, option.note, stroke.accent, option.role, reason,
                    *place, chord, option.aims_at,
                    anticipates=stretch.start if stretch.start > stroke.beat else None,
                )
            )  # fmt: skip
        return tuple(notes)


def _step_through(
    walk: Walk, strokes: Sequence[Placed], options: list[list[Option]], ask: Ask
) -> None:
    """Give the strokes of a walk its notes."""
    for i, stroke in enumerate(strokes):
        note = walk.note_at(stroke.beat)
        if note is not None and not stroke.ghost:
            options[i] = [leading(note, walk.target, ask.spans[-1].chord, ask.key)]


def _landed_already(ask: Ask) -> int:
    """Where the root or bass of the chord lay in this bar, if it was the last to sound; else 0."""
    last, chord = ask.last, ask.spans[0].chord
    if last is None or last.beat < ask.bar_start or is_new(chord, last.chord):
        return 0
    return last.note if last.role in (Role.ROOT, Role.BASS) else 0


def _standing(ask: Ask, choices: Sequence[Choice]) -> tuple[int, Place] | None:
    """The note under the finger before the first stroke: a ghost is touched there."""
    if ask.last is not None:
        return ask.last.note, (ask.last.string, ask.last.fret)
    return (choices[0].option.note, choices[0].place) if choices else None
