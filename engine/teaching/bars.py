"""Bars: a part as it was played, laid out bar by bar over its chords.

Knows: what a bar is made of, how a place in it is counted, and what its notes are called.
Refuses to know: why a note was chosen, and what there is to learn from it.
How: what was taken down is gone through bar by bar, since a chord goes on over the bar line; then
the chords are written one beside the other, each note over the chord that was heard, and last what
leads on by what its goal is called.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from types import MappingProxyType
from typing import Final

from engine.score import BassNote, Role
from engine.teaching.changes import PlayedFor, changes_of, in_force
from engine.teaching.goals import aimed
from engine.teaching.heard import Standing, as_heard, over
from engine.teaching.written import degree_of, respelled, written
from engine.theory.harmony import Chord, Key
from engine.theory.meter import Metre
from engine.theory.pitch import NATURAL_PITCH_CLASS
from engine.theory.symbols import symbol

_EIGHTH: Final = Fraction(1, 2)

Chords = tuple[tuple[Fraction, Chord], ...]
"""Chords, each with its place in the bar in quarter notes."""


@dataclass(frozen=True, slots=True)
class Taken:
    """What was taken down of one bar: what was heard, and what was played.

    `start` is where it begins in quarter notes from the beginning of the part; the notes' beats
    count from there too.
    """

    number: int
    start: Fraction
    metre: Metre
    key: Key
    heard: tuple[tuple[Fraction, Chord | None], ...]
    notes: tuple[BassNote, ...]
    silent: bool = False
    """Whether it had no key."""


@dataclass(frozen=True)
class Bar:
    """One bar of a part, over its chords.

    `expected` are the beats of its notes that were written for a chord which did not come, and
    are told so.  `silent` is whether it had no key: then its chords are those of the bass.
    Every bar is held against every other, so its rhythm is worked out once.
    """

    number: int
    start: Fraction
    metre: Metre
    key: Key
    chords: Chords
    notes: tuple[BassNote, ...]
    expected: frozenset[Fraction] = frozenset()
    silent: bool = False

    @property
    def end(self) -> Fraction:
        """The bar line that closes it, in quarter notes from the beginning of the part."""
        return self.start + self.metre.bar

    @cached_property
    def pitched(self) -> tuple[BassNote, ...]:
        """The notes that have a pitch: all but the ghosts."""
        return tuple(note for note in self.notes if not note.ghost)

    @cached_property
    def rhythm(self) -> tuple[Fraction, ...]:
        """Where in the bar its pitched notes begin."""
        return tuple(self.place(note) for note in self.pitched)

    def place(self, note: BassNote) -> Fraction:
        """Where in the bar a note begins, in quarter notes."""
        return note.beat - self.start

    def count(self, note: BassNote) -> str:
        """The same as a player counts it: "2&"."""
        return counted(self.place(note), self.metre)

    def rings_over(self, note: BassNote) -> bool:
        """Whether a note is held across the bar line."""
        return note.beat + note.length > self.end

    def symbol(self, chord: Chord) -> str:
        """A chord of this bar as a lead sheet has it."""
        return symbol(chord, self.key)


# From what was taken down to bars -----------------------------------------------------------


def bars_of(taken: Iterable[Taken]) -> tuple[Bar, ...]:
    """The bars of a part with the chords that it was played over."""
    bars: list[Bar] = []
    carried: Chord | None = None
    early: list[Chord] = []
    lately: tuple[Chord | None, ...] = (None,)
    played = tuple(taken)
    for raw, following in zip(played, [*played[1:], None], strict=True):
        one = _with_pushed(raw, following)
        if one.silent:
            bars.append(_alone(one))
            carried, early, lately = None, [], (None,)
            continue
        heard = in_force(one.heard, lately[-1])
        known = [*lately, *(chord for _, chord in heard)]
        came_early = [chord for chord in early if chord in known]
        carried = came_early[-1] if came_early else carried
        chords = tuple(changes_of(heard, _played_for(one, known), carried, one.metre.bar))
        bars.append(Bar(one.number, one.start, one.metre, one.key, chords, one.notes))
        carried = chords[-1][1] if chords else None
        early = [note.chord for note in one.notes if _early(note, one)]
        lately = tuple(chord for _, chord in heard)
    return _aimed(tuple(_as_heard(tuple(_written(bars)))))


def _alone(bar: Taken) -> Bar:
    """A bar without a key: over the chords that the bass goes on by."""
    chords: list[tuple[Fraction, Chord]] = []
    for note in bar.notes:
        if not _early(note, bar) and (not chords or chords[-1][1] != note.chord):
            chords.append((note.beat - bar.start if chords else Fraction(0), note.chord))
    return Bar(bar.number, bar.start, bar.metre, bar.key, tuple(chords), bar.notes, silent=True)


def _with_pushed(bar: Taken, following: Taken | None) -> Taken:
    """The bar, with a chord of its last eighth by the name that it has when the next bar is there.

    Struck early it was heard as the old chord over the new bass: Am7/D, where D7 begins.
    """
    coming = None if following is None else _first_heard(following)
    if coming is None:
        return bar
    late = bar.metre.bar - _EIGHTH
    pushed = {c for at, c in bar.heard if c and at >= late and _has_bass_of(c, coming)}
    heard = tuple((at, coming if c in pushed and at >= late else c) for at, c in bar.heard)
    notes = tuple(
        over(n, coming, bar.key) if n.chord in pushed and n.beat - bar.start >= late else n
        for n in bar.notes
    )
    return replace(bar, heard=heard, notes=notes)


def _first_heard(bar: Taken) -> Chord | None:
    return next((chord for at, chord in bar.heard if chord and at < _EIGHTH), None)


def _has_bass_of(chord: Chord, coming: Chord) -> bool:
    return chord.bass == coming.bass and chord.root != coming.root


def _written(bars: Sequence[Bar]) -> Iterator[Bar]:
    """The bars with their chords as they are written one beside the other, and their notes so."""
    names = iter(written([(chord, bar.key) for bar in bars for _, chord in bar.chords]))
    chords = [tuple((place, next(names)) for place, _ in bar.chords) for bar in bars]
    told = [replace(bar, chords=own) for bar, own in zip(bars, chords, strict=True)]
    for index, bar in enumerate(told):
        around = near(told, index)
        yield replace(bar, notes=tuple(respelled(note, bar.key, around) for note in bar.notes))


def _as_heard(bars: Sequence[Bar]) -> Iterator[Bar]:
    """The bars with each note over the chord that was heard."""
    for index, bar in enumerate(bars):
        told = tuple(as_heard(bar.notes, standing(bars, index), bar.key))
        expected = frozenset(note.beat for note, in_vain in told if in_vain)
        yield replace(bar, notes=tuple(note for note, _ in told), expected=expected)


def _aimed(bars: Sequence[Bar]) -> tuple[Bar, ...]:
    """The bars with each note that leads on told by what its goal is called."""
    told: list[Bar] = []
    for index, bar in reversed(list(enumerate(bars))):
        following = told[-1].pitched[:2] if told else ()
        notes = aimed(bar.notes, following, near(bars, index), bar.key)
        told.append(replace(bar, notes=notes))
    return tuple(reversed(told))


def near(bars: Sequence[Bar], index: int) -> list[Chord]:
    """The chords of a bar and of the next, among which is what a note of it leads to."""
    return [chord for bar in bars[index : index + 2] for _, chord in bar.chords]


def standing(bars: Sequence[Bar], index: int) -> Standing:
    """The chords of a bar and of its neighbours, each with the beat that it comes on."""
    around = bars[max(index - 1, 0) : index + 2]
    return [(each.start + place, chord) for each in around for place, chord in each.chords]


def _early(note: BassNote, bar: Taken) -> bool:
    return note.beat + note.length > bar.start + bar.metre.bar


def _played_for(bar: Taken, known: Sequence[Chord | None]) -> list[PlayedFor]:
    """The notes that speak for a chord: not an early one, nor one whose chord nobody heard."""
    return [
        PlayedFor(n.beat - bar.start, n.chord, n.length)
        for n in bar.notes
        if not _early(n, bar) and n.chord in known
    ]


# Words --------------------------------------------------------------------------------------

_SHARES: Final = MappingProxyType(
    {
        Fraction(0): "", Fraction(1, 4): "e", Fraction(1, 3): "-trip", Fraction(1, 2): "&",
        Fraction(2, 3): "-let", Fraction(3, 4): "a",
    }
)  # fmt: skip
# A beat of three eighths is counted in its eighths: 1-trip-let.  In 7/8 it stands beside beats of
# two, so that a sixteenth after the beat is an e in both, and an & always an eighth after it.
_SHARES_OF_THREE: Final = MappingProxyType(
    {
        Fraction(0): "", Fraction(1, 6): "e", Fraction(1, 3): "-trip", Fraction(1, 2): "-trip-e",
        Fraction(2, 3): "-let", Fraction(5, 6): "-let-e",
    }
)  # fmt: skip

_ORDINALS: Final = (
    "root", "second", "third", "fourth", "fifth", "sixth", "seventh",
    "octave", "ninth", "tenth", "eleventh", "twelfth", "thirteenth",
)  # fmt: skip
_OWN_NAMES: Final = MappingProxyType(
    {
        "3": "major third", "b3": "minor third", "7": "major seventh", "bb7": "diminished seventh",
        "#1": "raised root", "b1": "lowered root",
    }
)  # fmt: skip
_ALTERED: Final = MappingProxyType({"": "", "b": "flat ", "#": "sharp "})


def counted(place: Fraction, metre: Metre) -> str:
    """A place in the bar as it is counted aloud: "1", "2&", "3e", "4a", "2-trip", "2-let".

    In a beat of three eighths these are "2-trip" and "2-let" too, and an e is a sixteenth after
    the beat or an eighth of it: "2e", "2-trip-e", "2-let-e".  A plus is a little later: what was
    written anew in the middle of a beat lies on no grid.
    """
    pulses = (*metre.pulses, metre.bar)
    beat = bisect_right(metre.pulses, place) - 1
    length = pulses[beat + 1] - pulses[beat]
    share = (place - pulses[beat]) / length
    shares = _SHARES_OF_THREE if length.numerator % 3 == 0 else _SHARES
    nearest = max(known for known in shares if known <= share)
    return f"{beat + 1}{shares[nearest]}{'' if nearest == share else '+'}"


def degree_name(note: BassNote) -> str:
    """What a note is above the root of its chord, in words: "minor third", "sharp fourth"."""
    degree = degree_of(note)
    if degree == "1" and note.role is Role.OCTAVE:
        return "octave"
    bare = degree.lstrip("b#")
    altered = degree[: -len(bare)]
    return _OWN_NAMES.get(degree) or _ALTERED[altered] + _ORDINALS[int(bare) - 1]


def name_of(note: BassNote) -> str:
    """The note's name as it was spelled when it was written: the first word of its reason."""
    return note.reason.partition(":")[0]


def why(note: BassNote) -> str:
    """The rest of its reason."""
    return note.reason.partition(":")[2].strip()


def named_with_octave(note: BassNote) -> str:
    """The note's name with its octave: "Eb2"; the open E is E1."""
    name = name_of(note)
    natural = NATURAL_PITCH_CLASS[name[0]]
    raised = name.count("#") - name.count("b")
    return f"{name}{(note.note - raised - natural) // 12 - 1}"


def listed(words: Sequence[str]) -> str:
    """Words as a sentence lists them: "C, E and G"."""
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def times_over(count: int) -> str:
    """How often: "twice", "3 times"."""
    return "twice" if count == 2 else f"{count} times"
