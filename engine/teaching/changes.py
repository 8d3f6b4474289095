"""Changes: which chords a bar stands on, and where in it they come.

Knows: what the ear heard in the bar and from before it, and for which chords the bass played.
Refuses to know: what the chords are called, and what the notes are over them.
How: a chord that was heard for a beat is there, whether the bass played for it or not; one that
was heard for less is there if a note was written for it, as a passing doubt of the ear is not.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import groupby
from typing import Final, NamedTuple

from engine.line.placing import is_same_but_for_bass
from engine.theory.harmony import Chord, Family

# So long a doubt of the ear does not last: a quarter note.
_HEARD_LONG: Final = Fraction(1)

Heard = tuple[Fraction, Chord | None]
"""A place in the bar in quarter notes, and the chord that is heard from there on."""


class PlayedFor(NamedTuple):
    """A chord that a note was written for, and where that begins in the bar and how long it is."""

    place: Fraction
    chord: Chord
    length: Fraction


def in_force(heard: Sequence[Heard], before: Chord | None) -> tuple[Heard, ...]:
    """What is heard in a bar, and at its beginning what is heard on from `before` it.

    Of several chords that were heard on one place the others were taken back at once.
    """
    told = {Fraction(0): before} | dict(heard)
    return tuple(sorted(told.items(), key=lambda each: each[0]))


def changes_of(
    heard: Sequence[Heard], played: Sequence[PlayedFor], carried: Chord | None, ends: Fraction
) -> Iterator[tuple[Fraction, Chord]]:
    """The chords of a bar that ends at `ends`, each with its place.

    `heard` is in force in it, `played` are its notes in their order, and `carried` is the chord
    that the bar before ended on.
    """
    lasting = tuple(_lasting(heard, ends))
    found = [] if carried is None else [(Fraction(0), carried)]
    last = Fraction(0)
    # On one place the ear comes after the note, and has the last word: the note was written before.
    for place, chord, length in sorted([*played, *lasting], key=lambda each: each.place):
        came_in = _came_in(chord, last, place, length, heard)
        if came_in is not None or not any(each.place <= place for each in lasting):
            if place == 0 and chord != carried and found == [(Fraction(0), carried)]:
                found.clear()  # on the bar line it is heard anew: G after a bar of G6 is no G6
            _take_in(found, chord, came_in, place)
        last = place
    yield from found


def _lasting(heard: Sequence[Heard], ends: Fraction) -> Iterator[PlayedFor]:
    """The chords that were heard for a beat or more, as if a note had been played for each."""
    lasts = zip(heard, [*heard[1:], (ends, None)], strict=True)
    for _, run in groupby(lasts, key=lambda each: known_as(each[0][1])):
        each = list(run)
        (began, _), (_, (until, _)) = each[0][0], each[-1]
        if until - began >= min(_HEARD_LONG, ends):
            yield from (PlayedFor(at, chord, Fraction(0)) for (at, chord), _ in each if chord)


def known_as(chord: Chord | None) -> tuple[int, int, Family] | None:
    """What is one chord to a bass player, be it told by a longer or a shorter name."""
    return None if chord is None else (chord.root, chord.bass, chord.family)


def _came_in(
    chord: Chord, last: Fraction, place: Fraction, length: Fraction, heard: Sequence[Heard]
) -> Fraction | None:
    """Where a note's chord was heard: since the note before, or else while the note rings."""
    places = [at for at, each in heard if each == chord and last <= at <= place + length]
    before = [at for at in places if at <= place]
    return before[-1] if before else next(iter(places), None)


def _take_in(
    found: list[tuple[Fraction, Chord]], chord: Chord, heard: Fraction | None, place: Fraction
) -> None:
    """Add a chord where it came in, unless it is the one that stands there."""
    at = place if heard is None else heard
    if found and is_same_but_for_bass(found[-1][1], chord):
        began, before = found[-1]
        if before.bass == chord.bass:  # the same by a longer or a shorter name
            chord = max(before, chord, key=lambda c: len(c.quality.degrees))
            at = min(at, began)
        elif heard is None:
            return
    while found and found[-1][0] >= at:
        found.pop()
    if not found or found[-1][1] != chord:
        found.append((at, chord))
