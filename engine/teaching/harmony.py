"""Harmony: which tones of its chords a bar plays, and what the chords do to each other.

Knows: what root, third, fifth and seventh tell, passing notes, cadences, lines of bass notes.
Refuses to know: rhythm and the neck.
How: notes that lead into the next chord are left out here, they are no tones of this one.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from types import MappingProxyType
from typing import Final

from engine.harmony import Chord, Family
from engine.line.pools import scale_of
from engine.line.reasons import spelled
from engine.modes import scale_for
from engine.score import BassNote
from engine.teaching.bars import Bar, counted, degree_name, listed, name_of, times_over
from engine.teaching.remarks import Remark, Spot, Topic


def remarks(spot: Spot) -> Iterator[Remark]:
    """What the tones and chords of a bar teach."""
    if spot.settled and spot.chord is not None:
        yield from _tones(spot, spot.chord)
        yield from _passing(spot)
    yield from _shared(spot)
    yield from _slash(spot)
    yield from _bass_line(spot)
    yield from _cadence(spot)
    yield from _stays(spot)


# Tones --------------------------------------------------------------------------------------


def _tones(spot: Spot, chord: Chord) -> Iterator[Remark]:
    bar, notes = spot.bar, spot.settled
    kinds = {degree_name(note) for note in notes}
    root = bar.key.chord_name(chord)
    if kinds == {"root"}:
        times = f", {times_over(len(notes))}" if len(notes) > 1 else ""
        onward = ", before it leads on" if len(notes) < len(bar.pitched) else ""
        yield Remark(
            Topic.TONES, 0.5,
            f"Only {root}{times}, under {bar.symbol(chord)}{onward}",
            "the bass lays the floor and leaves the colour to the keyboard",
        )  # fmt: skip
    elif kinds == {"root", "octave"}:
        yield Remark(
            Topic.TONES, 0.55,
            f"{root} below and {root} above, and nothing else of {bar.symbol(chord)}",
            "the octave gives a line a top without leaving the root",
        )  # fmt: skip
    elif kinds <= {"root", "fifth", "octave"} and "fifth" in kinds:
        fifth = next(note for note in notes if degree_name(note) == "fifth")
        yield Remark(
            Topic.TONES, 0.52,
            f"Root and fifth of {bar.symbol(chord)}, {root} and {name_of(fifth)}",
            "neither says major or minor, so nothing the keyboard does can clash with them",
        )  # fmt: skip
    else:
        yield from _coloured(bar, chord, notes)
    yield from _climb(bar, chord, notes)


def _coloured(bar: Bar, chord: Chord, notes: Sequence[BassNote]) -> Iterator[Remark]:
    """Thirds, sixths and sevenths in the bass tell what the chord is."""
    for note in notes:
        degree = degree_name(note)
        here = f"{name_of(note)} on {bar.count(note)} is the {degree} of {bar.symbol(chord)}"
        if degree.endswith("third") and note.note % 12 != chord.bass:
            yield Remark(
                Topic.TONES, 0.6, here,
                f"with the third the bass alone says {degree.split()[0]}",
            )  # fmt: skip
        elif degree.endswith("seventh") and note.note % 12 != chord.bass and bar.place(note):
            yield Remark(Topic.TONES, 0.58, here, _SEVENTH[chord.family in _RESTLESS])
        elif degree == "sixth" and note.note % 12 in scale_of(chord, bar.key):
            yield from _sixth(here, chord)


_RESTLESS: Final = frozenset({Family.DOMINANT, Family.HALF_DIMINISHED, Family.DIMINISHED})
_SEVENTH: Final = MappingProxyType(
    {
        True: "the seventh is the tone that wants to move on, where root and fifth stand still",
        False: "on a weak place a seventh is colour, on the 1 it would be another bass",
    }
)


def _sixth(here: str, chord: Chord) -> Iterator[Remark]:
    if chord.family in (Family.MAJOR, Family.DOMINANT):
        moral = "from the major pentatonic, it moves the line without asking for another chord"
        yield Remark(Topic.TONES, 0.58, here, moral)
    elif chord.family is Family.MINOR:
        moral = "by its sixth the dorian is told from the natural minor"
        yield Remark(Topic.TONES, 0.62, here, moral)


def _climb(bar: Bar, chord: Chord, notes: Sequence[BassNote]) -> Iterator[Remark]:
    """Three or more different chord tones in a row, one way: an arpeggio."""
    run = [notes[0]]
    for note in notes[1:]:
        up = note.note > run[-1].note
        onward = len(run) < 2 or up == (run[-1].note > run[-2].note)
        if note.note == run[-1].note or not onward:
            break
        run.append(note)
    tones = {note.note % 12 for note in run}
    if len(tones) >= 3 and tones <= chord.pitch_classes:
        way = "up" if run[-1].note > run[0].note else "down"
        yield Remark(
            Topic.TONES, 0.68,
            f"{listed([name_of(n) for n in run])} spell {bar.symbol(chord)} {way}"
            f" ({', '.join(degree_name(n) for n in run)})",
            "a chord taken apart is a line already, if it goes one way",
        )  # fmt: skip


def _passing(spot: Spot) -> Iterator[Remark]:
    bar, chord = spot.bar, spot.chord
    if chord is None:
        return
    scale, mode = scale_of(chord, bar.key), scale_for(chord, bar.key).name
    root = bar.key.chord_name(chord)
    settled = {note.beat for note in spot.settled}
    for before, note, after in zip(bar.pitched, bar.pitched[1:], bar.pitched[2:], strict=False):
        pitch_class = note.note % 12
        strong = bar.metre.weight(bar.place(note)) > 2
        if note.beat not in settled or pitch_class in chord.pitch_classes or strong:
            continue
        if pitch_class in scale and _pass((note.note - before.note, after.note - note.note)):
            yield Remark(
                Topic.SCALE, 0.72,
                f"{name_of(note)} on {bar.count(note)} passes between {name_of(before)} and"
                f" {name_of(after)}, no tone of {bar.symbol(chord)} but one of {root} {mode}, its"
                f" scale in {bar.key.name}",
                "between two chord tones, on a weak place, any note of the scale will do",
            )  # fmt: skip
            return


def _pass(steps: tuple[int, int]) -> bool:
    return all(1 <= abs(step) <= 2 for step in steps) and (steps[0] > 0) == (steps[1] > 0)


# Chords -------------------------------------------------------------------------------------


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
    yield Remark(
        Topic.SLASH, 0.78,
        f"{bar.symbol(chord)} wants its {degree_name(first)} at the bottom, and {name_of(first)}"
        f" comes first{line}",
        "what stands after the slash is the root as far as the bass is concerned",
    )  # fmt: skip


def _bass_line(spot: Spot) -> Iterator[Remark]:
    """The first notes of three bars that go one way by step."""
    around = spot.bars[max(spot.index - 2, 0) : spot.index + 1]
    firsts = [bar.pitched[0] for bar in around if bar.pitched and bar.rhythm[0] == 0]
    if len(around) < 3 or len(firsts) < 3:
        return
    steps = [b.note - a.note for a, b in pairwise(firsts)]
    if all(1 <= abs(s) <= 2 for s in steps) and (steps[0] > 0) == (steps[1] > 0):
        names = [name_of(note) for note in firsts]
        way = "climb" if steps[0] > 0 else "come down"
        yield Remark(
            Topic.BASS_LINE, 0.88,
            f"The first notes of bars {around[0].number} to {spot.bar.number} {way} by step,"
            f" {listed(names)}",
            "a slow line under the quick one, so let those notes be heard",
        )  # fmt: skip


def _cadence(spot: Spot) -> Iterator[Remark]:
    bar, then = spot.bar, spot.coming
    now = bar.chords[-1][1] if bar.chords else None
    if now is None or then is None or now.root == then.root:
        return
    if (then.root - now.root) % 12 == 5:
        yield from _down_a_fifth(bar, now, then)
    elif now.family is Family.DIMINISHED and (then.bass - now.bass) % 12 == 1:
        yield Remark(
            Topic.CADENCE, 0.84,
            f"{bar.symbol(now)} has its bass a semitone under that of {bar.symbol(then)}",
            "a diminished chord is a stair between two others, its root is the way in",
        )  # fmt: skip


def _down_a_fifth(bar: Bar, now: Chord, then: Chord) -> Iterator[Remark]:
    here, there = bar.symbol(now), bar.symbol(then)
    third = (now.root + 4) % 12
    if now.family in (Family.MINOR, Family.HALF_DIMINISHED) and then.family is Family.DOMINANT:
        home = bar.key.tone_name((then.root + 5) % 12)
        yield Remark(
            Topic.CADENCE, 0.7,
            f"{here} and {there} are the two and the five of {home}",
            "roots that fall by fifths pull each other along",
        )  # fmt: skip
    elif now.family is not Family.DOMINANT or then.family is Family.DOMINANT:
        return
    elif then.root == then.bass == bar.key.tonic and now.bass == now.root:
        yield Remark(
            Topic.CADENCE, 0.74,
            f"{here} goes to {there}, dominant to tonic of {bar.key.name}",
            "no other move of the roots closes as firmly",
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
