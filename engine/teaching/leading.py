"""Leading: what a way into a chord does to the ear, and what an early or mended note does.

Knows: the ways in, whether they are met, and why each works.
Refuses to know: how the line chose them.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from engine.line.pools import scale_of
from engine.score import BassNote
from engine.style import Way
from engine.teaching.bars import Bar, degree_name, listed, name_of
from engine.teaching.heard import is_mended, is_the_same
from engine.teaching.remarks import Remark, Spot, Topic
from engine.teaching.ways import Lead, leads_of
from engine.theory.harmony import Chord
from engine.theory.modes import scale_for
from engine.theory.pitch import nearest


def remarks(spot: Spot) -> Iterator[Remark]:
    """What the ways in and the early notes of a bar teach."""
    for lead in leads_of(spot):
        if lead.met:
            yield from _met(spot, lead)
        elif lead.arrival is not None and lead.arrival.note % 12 != lead.target:
            yield _missed(spot, lead, lead.arrival)
    yield from _mended(spot.bar)
    yield from _not_mended(spot)
    yield from _pushed(spot)


def _missed(spot: Spot, lead: Lead, arrival: BassNote) -> Remark:
    bar, last = spot.bar, lead.notes[-1]
    aim = f"{name_of(last)} on {bar.count(last)} aims at {lead.goal}"
    if lead.kept and lead.onward is not None:
        turn = f"from {name_of(arrival)} on the line leads to {lead.onward}"
        return Remark(
            Topic.MISSED, 0.7, f"{aim}, but {turn}",
            "another chord is expected by then, and the line turns towards it",
        )  # fmt: skip
    if spot.after is not None and spot.after.silent and arrival in spot.after.notes:
        return Remark(
            Topic.MISSED, 0.9,
            f"{aim}, but no key comes, and the line goes on from {name_of(arrival)}",
            "where nobody plays there is nothing to lead to",
        )  # fmt: skip
    chord = bar.symbol(lead.kept or arrival.chord)
    comes = f"{chord} stays" if lead.kept else f"what comes is {chord}"
    return Remark(
        Topic.MISSED, 0.9,
        f"{aim}, but {comes}, and the line goes on from {name_of(arrival)}",
        "played in time, a way in that is not met is heard as a passing note",
    )  # fmt: skip


def _mended(bar: Bar) -> Iterator[Remark]:
    """A note between two places of the grid: another chord was heard than the one played for."""
    for before, note in pairwise(bar.pitched):
        late = bar.count(note).endswith("+") and before.aims_at is None  # a lead was to move on
        if late and not is_the_same(note.chord, before.chord):
            yield Remark(
                Topic.MENDED, 0.95,
                f"{bar.symbol(note.chord)} was heard where {bar.symbol(before.chord)} was expected,"
                f" and {name_of(note)} takes the place of {name_of(before)} on {bar.count(note)}",
                "better a right note late than a wrong one held",
            )  # fmt: skip
            return


def _not_mended(spot: Spot) -> Iterator[Remark]:
    """A note for a chord that did not come, which stands because no other took its place."""
    bar = spot.bar
    for note, following in zip(bar.pitched, [*bar.pitched[1:], None], strict=False):
        if spot.is_in_vain(note) and not is_mended(note, following):
            heard, expected = bar.symbol(spot.sounding(note)), bar.symbol(note.chord)
            yield Remark(
                Topic.MISSED, 0.9,
                f"{heard} was heard where {expected} was expected, and {name_of(note)} on"
                f" {bar.count(note)} is no tone of it",
                "a wrong note that is left in time is soon forgotten",
            )  # fmt: skip
            return


def _pushed(spot: Spot) -> Iterator[Remark]:
    bar, after = spot.bar, spot.after
    note = bar.pitched[-1] if bar.pitched else None
    if note is None or after is None or not bar.rings_over(note) or not bar.chords:
        return
    coming = spot.coming or note.chord  # what came, where the note was played for a guess
    if note.chord != bar.chords[-1][1] and note.note % 12 in coming.keys and 0 not in after.rhythm:
        yield Remark(
            Topic.PUSH, 0.85,
            f"{name_of(note)} on {bar.count(note)} belongs to {bar.symbol(coming)} already and"
            " is held across the bar line",
            "the change is pulled ahead of the beat, and nothing may be struck on the next 1",
        )  # fmt: skip


def _met(spot: Spot, lead: Lead) -> Iterator[Remark]:
    if lead.arrival is None or lead.way is None:
        return
    told = _Told(spot.bar, lead, lead.arrival)
    if lead.arrival.chord.bass == lead.notes[-1].chord.bass:
        yield Remark(Topic.WAY_IN, 0.6, *told.home_again())
        return
    match lead.way:
        case Way.SEMITONE_BELOW:
            yield Remark(Topic.WAY_IN, 0.8, *told.semitone_below())
        case Way.SEMITONE_ABOVE:
            yield Remark(Topic.WAY_IN, 0.8, *told.semitone_above())
        case Way.TWO_SEMITONES_BELOW | Way.TWO_SEMITONES_ABOVE:
            yield Remark(Topic.WAY_IN, 0.85, *told.two_semitones())
        case Way.ENCLOSURE:
            yield Remark(Topic.WAY_IN, 0.9, *told.enclosure())
        case Way.WALK_UP | Way.WALK_DOWN:
            yield Remark(Topic.WAY_IN, 0.85, *told.walk())
        case Way.SCALE_BELOW | Way.SCALE_ABOVE:
            yield Remark(Topic.WAY_IN, 0.65, *told.whole_step())
        case Way.FIFTH:
            yield Remark(Topic.WAY_IN, 0.7, *told.fifth())
        case Way.REPEAT | Way.OCTAVE:
            yield Remark(Topic.WAY_IN, 0.4, *told.there_already())


Words = tuple[str, str]


class _Told:
    """A way in that is met, put into words: what it does, and why it works."""

    def __init__(self, bar: Bar, lead: Lead, arrival: BassNote) -> None:
        self._bar = bar
        self._notes = lead.notes
        self._last = lead.notes[-1]
        self._now: Chord = self._last.chord
        self._coming = arrival.chord
        self._target = lead.target
        self._arrival = arrival
        at_goal = arrival.note % 12 == lead.target
        self._goal = lead.goal
        self._names = [name_of(note) for note in lead.notes]
        self._jump = abs(arrival.note - self._last.note) if at_goal else 0
        self._here = f"{self._names[-1]} on {bar.count(self._last)}"
        self._chord, self._then = bar.symbol(self._now), bar.symbol(arrival.chord)

    def semitone_below(self) -> Words:
        under = f"a semitone under {self._goal}{self._octave()}"
        if self._is_chord_tone():
            return (
                f"{self._here} is the {degree_name(self._last)} of {self._chord} and {under}",
                "the chord itself holds the way into the next one",
            )
        if self._is_inside():
            return (
                f"{self._here} is in the scale of {self._chord}, {under}",
                "a semitone is the shortest step there is, and here no note from outside is needed",
            )
        if self._last.note % 12 in self._coming.pitch_classes:
            return (
                f"{self._here} is no tone of {self._chord}, but one of {self._then}, {under}",
                "the coming chord is heard a moment before it is there",
            )
        return (
            f"{self._here} belongs to neither {self._chord} nor {self._then}, but lies {under}",
            "a note that fits nothing cannot stay, and the ear knows where it must go",
        )

    def semitone_above(self) -> Words:
        where = (
            f"in the scale of {self._chord}" if self._is_inside() else f"foreign to {self._chord}"
        )
        return (
            f"{self._here}, {where}, lies a semitone over {self._goal}{self._octave()}",
            "a step down into a root has weight, where the step up has urge",
        )

    def two_semitones(self) -> Words:
        path = listed([*self._names[-2:], self._goal])
        pair = self._notes[-2:]
        one_string = pair[0].string == pair[1].string and pair[0].fret and pair[1].fret
        where = (
            f", frets {pair[0].fret} and {pair[1].fret} and then the root," if one_string else ""
        )
        return (
            f"{path}{where} lie a semitone apart and end on {self._goal_of_chord()}",
            "after the second nobody doubts the third",
        )

    def enclosure(self) -> Words:
        first, second = self._names[-2:]
        from_above = self._notes[-2].note > self._notes[-1].note
        sides = ("above", "below") if from_above else ("below", "above")
        return (
            f"{first} from {sides[0]} and {second} from {sides[1]} close in on"
            f" {self._goal}{self._octave()}",
            "its place is fixed from both sides before it sounds",
        )

    def walk(self) -> Words:
        up = self._notes[-1].note > self._notes[0].note
        scale = scale_of(self._now, self._bar.key)
        inside = all(note.note % 12 in scale for note in self._notes)
        root = self._bar.key.chord_name(self._now)
        mode = f"{root} {scale_for(self._now, self._bar.key).name}"
        source = f"all of {mode}, the scale of {self._chord}" if inside else f"not all of {mode}"
        return (
            f"{listed(self._names)} {'climb' if up else 'come down'} to {self._goal} by step,"
            f" {source}",
            "the direction tells the ear where it will end",
        )

    def whole_step(self) -> Words:
        side = "under" if self._away() > 0 else "over"
        source = "in" if self._is_inside() else "outside"
        return (
            f"{self._here}, {source} the scale of {self._chord}, is a whole step {side}"
            f" {self._goal}{self._octave()}",
            "it points to the next chord without the edge that a semitone has",
        )

    def fifth(self) -> Words:
        if self._is_chord_tone():
            return (
                f"{self._here} serves twice, as {degree_name(self._last)} of {self._chord} and as"
                f" the fifth above {self._goal}, {self._goal_of_chord()}",
                "a tone that both chords have makes the step from one to the other small"
                if self._last.note % 12 in self._coming.pitch_classes
                else "",
            )
        return (
            f"{self._here} is no tone of {self._chord}, but the fifth above {self._goal},"
            f" {self._goal_of_chord()}",
            "from a fifth to its root is the move that says dominant and tonic",
        )

    def there_already(self) -> Words:
        return (
            f"{self._here} is {self._goal_of_chord()} before the chord is there",
            "the keyboard makes the change, the bass was waiting for it",
        )

    def home_again(self) -> Words:
        lead = "lead" if len(self._names) > 1 else "leads"
        stays = is_the_same(self._now, self._coming)
        change = f"{self._then} stays" if stays else f"{self._chord} becomes {self._then}"
        return (
            f"{listed(self._names)} {lead} back to {self._goal} while {change}",
            "a line goes out to come home on a strong beat",
        )

    def _is_chord_tone(self) -> bool:
        return self._last.note % 12 in self._now.pitch_classes

    def _is_inside(self) -> bool:
        return self._last.note % 12 in scale_of(self._now, self._bar.key)

    def _away(self) -> int:
        return nearest(self._target, self._last.note) - self._last.note

    def _goal_of_chord(self) -> str:
        if self._then == self._goal:
            return "the coming root"
        if self._coming.bass != self._target:  # another chord came that has the tone as well
            return f"the {degree_name(self._arrival)} of {self._then}"
        part = "root" if self._coming.bass == self._coming.root else "bass"
        return f"the {part} of {self._then}"

    def _octave(self) -> str:
        """That the root lies in another octave than the step would have it."""
        return ", which lies an octave off" if self._jump > 6 else ""
