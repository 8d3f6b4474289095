"""Harmony: what the chords of a part do to each other, and what the bass makes of that.

Knows: cadences, slash chords, chords that share a bar or stay, lines of bass notes.
Refuses to know: which tones of a chord a bar plays, rhythm and the neck.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from types import MappingProxyType
from typing import Final

from engine.score import BassNote
from engine.teaching.bars import Bar, counted, degree_name, listed, name_of
from engine.teaching.remarks import Remark, Spot, Topic
from engine.theory.harmony import Chord, Family, Key
from engine.theory.pitch import name_of_fifths
from engine.theory.spelling import spelled


def remarks(spot: Spot) -> Iterator[Remark]:
    """What the chords of a bar and around it teach."""
    yield from _shared(spot)
    yield from _slash(spot)
    yield from _bass_line(spot)
    yield from _cadence(spot)
    yield from _stays(spot)


_NUMBERS: Final = MappingProxyType({2: "Two", 3: "Three", 4: "Four"})


def _shared(spot: Spot) -> Iterator[Remark]:
    bar = spot.bar
    if len(bar.chords) < 2:
        return
    begun = {bar.place(note): note for note in bar.pitched}
    rooted = [
        (place, begun[place])
        for place, chord in bar.chords
        if place in begun and begun[place].note % 12 == chord.bass
    ]
    moving = len({chord.bass for _, chord in bar.chords}) > 1
    if moving and len(rooted) == len(bar.chords):
        landings = [f"{name_of(n)} on {counted(place, bar.metre)}" for place, n in rooted]
        yield Remark(
            Topic.SHARED, 0.72,
            f"{_NUMBERS.get(len(rooted), str(len(rooted)))} chords share the bar, and each gets its"
            f" bass the moment it comes, {listed(landings)}",
            "where chords are quick that is the first duty, and nearly the whole of it",
        )  # fmt: skip


def _slash(spot: Spot) -> Iterator[Remark]:
    bar, chord = spot.bar, spot.bar.chords[0][1] if spot.bar.chords else None
    first = bar.pitched[0] if bar.pitched else None
    if chord is None or first is None or chord.bass == chord.root:
        return
    if first.note % 12 != chord.bass or first.chord != chord:
        return
    before = spot.before.pitched[:1] if spot.before else ()
    near = [n for n in before if 1 <= abs(n.note - first.note) <= 2]
    line = f", a step from the {name_of(near[0])} that began the bar before" if near else ""
    own, alone = chord.bass in chord.pitch_classes, replace(chord, bass=chord.root)
    under = f"a bass that is no tone of {bar.symbol(alone)}"
    wanted = f"its {degree_name(first)} at the bottom" if own else under
    yield Remark(
        Topic.SLASH, 0.78,
        f"{bar.symbol(chord)} wants {wanted}, and {name_of(first)} comes first{line}",
        "what stands after the slash is the root as far as the bass is concerned",
    )  # fmt: skip


def _bass_line(spot: Spot) -> Iterator[Remark]:
    """The first notes of three bars that go one way by step."""
    around = spot.bars[max(spot.index - 2, 0) : spot.index + 1]
    firsts = [(bar, bar.pitched[0]) for bar in around if bar.pitched and bar.rhythm[0] == 0]
    if len(around) < 3 or len(firsts) < 3:
        return
    steps = [b.note - a.note for (_, a), (_, b) in pairwise(firsts)]
    if all(1 <= abs(s) <= 2 for s in steps) and (steps[0] > 0) == (steps[1] > 0):
        names = [_name_in(spot.bar.key, note, bar) for bar, note in firsts]
        way = "climb" if steps[0] > 0 else "come down"
        yield Remark(
            Topic.BASS_LINE, 0.88,
            f"The first notes of bars {around[0].number} to {spot.bar.number} {way} by step,"
            f" {listed(names)}",
            "a slow line under the quick one, so let those notes be heard",
        )  # fmt: skip


def _name_in(key: Key, note: BassNote, bar: Bar) -> str:
    """A note of a bar, written in the key that the line has come to."""
    if bar.key.name == key.name:
        return name_of(note)
    return spelled(note.note % 12, replace(note.chord, written=None), key)


def _cadence(spot: Spot) -> Iterator[Remark]:
    bar, then = spot.bar, spot.coming
    now = bar.chords[-1][1] if bar.chords else None
    if now is None or then is None or now.root == then.root:
        return
    if (then.root - now.root) % 12 == 5:
        yield from _down_a_fifth(spot, now, then)
    elif now.family is Family.DIMINISHED and (then.bass - now.bass) % 12 == 1:
        yield Remark(
            Topic.CADENCE, 0.84,
            f"{bar.symbol(now)} has its bass a semitone under that of {bar.symbol(then)}",
            "a diminished chord is a stair between two others, its bass is the way in",
        )  # fmt: skip


def _down_a_fifth(spot: Spot, now: Chord, then: Chord) -> Iterator[Remark]:
    if now.family in (Family.MINOR, Family.HALF_DIMINISHED) and then.family is Family.DOMINANT:
        dorian = _is_dorian_turn(spot, now, then)
        yield (_dorian_turn if dorian else _two_and_five)(spot.bar, now, then)
    elif now.family is Family.DOMINANT and then.family is not Family.DOMINANT:
        yield from _resolved(spot, now, then)


def _two_and_five(bar: Bar, now: Chord, then: Chord) -> Remark:
    home = name_of_fifths(bar.key.chord_fifths(then) - 1)
    return Remark(
        Topic.CADENCE, 0.7,
        f"{bar.symbol(now)} and {bar.symbol(then)} are the two and the five of {home}",
        "roots that fall by fifths pull each other along",
    )  # fmt: skip


def _dorian_turn(bar: Bar, now: Chord, then: Chord) -> Remark:
    third = spelled((then.root + 4) % 12, then, bar.key)
    return Remark(
        Topic.CADENCE, 0.7,
        f"{bar.symbol(now)} and {bar.symbol(then)} are the one and the four of {bar.key.name}, made"
        f" dorian by {third}, the third of {bar.symbol(then)}",
        "the roots go to and fro, and home is the minor chord",
    )  # fmt: skip


def _is_dorian_turn(spot: Spot, now: Chord, then: Chord) -> bool:
    """Whether they are one and four of a minor key: like two and five, but they lead nowhere."""
    key = spot.bar.key
    on_one = key.minor and now.root == key.tonic and now.family is Family.MINOR
    return on_one and _root_after(spot, then) != (then.root + 5) % 12


def _root_after(spot: Spot, then: Chord) -> int | None:
    """The root that follows the chord of the next bar; None where the part ends on it."""
    ahead = (chord.root for bar in spot.bars[spot.index + 1 :] for _, chord in bar.chords)
    return next((root for root in ahead if root != then.root), None)


def _resolved(spot: Spot, now: Chord, then: Chord) -> Iterator[Remark]:
    """A dominant that goes to its tonic: of the key, of the one that begins there, or borrowed."""
    bar = spot.bar
    here, there = bar.symbol(now), bar.symbol(then)
    third = (now.root + 4) % 12
    keys = [bar.key, *([spot.after.key] if spot.after else [])]
    homes = [key for key in keys if key.tonic == then.root]  # Ab major, where G# minor is left
    home = max(homes, key=lambda key: then.pitch_classes <= set(key.scale), default=None)
    if home is not None and now.bass == now.root and then.bass == then.root:
        yield Remark(
            Topic.CADENCE, 0.74,
            f"{here} goes to {there}, dominant to tonic of {home.name}",
            "no other move of the roots closes as firmly",
        )  # fmt: skip
    elif home is not None:
        yield Remark(
            Topic.CADENCE, 0.72,
            f"{here} goes to {there}, dominant to tonic of {home.name}, but the bass does not fall"
            " from root to root",
            "the chords close, and the bass leaves the door open",
        )  # fmt: skip
    elif third in now.pitch_classes and third not in bar.key.scale:
        yield Remark(
            Topic.CADENCE, 0.82,
            f"{here} is borrowed to lead to {there}, its third, {spelled(third, now, bar.key)}, not"
            f" being in {bar.key.name}",
            "by the foreign third one hears which chord is meant",
        )  # fmt: skip


def _stays(spot: Spot) -> Iterator[Remark]:
    bar, before, chord = spot.bar, spot.before, spot.chord
    if before is None or chord is None or not before.chords or not bar.pitched:
        return
    first = bar.pitched[0]
    elsewhere = first.note % 12 != chord.bass and first.aims_at is None and first.chord == chord
    if before.chords[-1][1] == chord and elsewhere:
        yield Remark(
            Topic.STAY, 0.76,
            f"{bar.symbol(chord)} stays, and the bar begins on {name_of(first)}, its"
            f" {degree_name(first)}",
            "a root that was heard a bar ago need not be told again",
        )  # fmt: skip
