"""Written: how the chords of a part are written one after the other, and their notes so.

Knows: what a chord's root is called between its neighbours, and which degree a note is by its name.
Refuses to know: where in the bar a chord comes.
How: a key writes each root for itself, and so Abm7 Db7 F# in C.  Here each chord may also go by the
other name of its root; of all ways to write the part the one that costs least is taken, where a
move that does not look like itself costs more than a name that the key would not choose.  A key is
heard late, so that foreign chords which lead into another are read in that as well: C#m7 F#7 in
D flat before B major.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from operator import attrgetter
from typing import Final, NamedTuple

from engine.line.placing import is_same_but_for_bass
from engine.line.reasons import reason_for
from engine.score import BassNote
from engine.theory.harmony import Chord, Family, Key, is_readable
from engine.theory.pitch import fifths_of_name, is_plain, is_usual, twin_of

# On the line of fifths from the root.
_LOWERED_ROOT: Final = -7
_FLAT_FIFTH: Final = -6
_SHARP_SIXTH: Final = 10

# How far a root moves in writing: down by a fifth, by a semitone, or not at all.
_DOWN_A_FIFTH: Final = -1
_DOWN_A_SEMITONE: Final = 5
_HELD: Final = 0

# What it costs that a move is not written as one, that a root which stays is written anew as a key
# begins, that a root goes by another name than the key's, dearer for a tone of the key and
# dearest for the chord on its tonic, and that a root or its triad is hard to read.  Weighed by hand
# on two-five-ones to all goals in all keys.
_BROKEN: Final = 12
_PARTED: Final = 8
_RENAMED: Final = 2
_OWN_RENAMED: Final = 7
_TONIC_RENAMED: Final = 14
_HARD: Final = 4

_COST: Final = attrgetter("cost")

_InKey = tuple[Chord, Key]


class _Way(NamedTuple):
    """The roots so far, written in some way: what that costs, the last one, and those before."""

    cost: int
    root: int = 0
    before: _Way | None = None


def written(chords: Sequence[_InKey]) -> list[Chord]:
    """Chords in their order, each with its key, as they are written."""
    ways = [_Way(0)]
    read_in = _leading_into(chords)
    for index, now in enumerate(chords):
        before = chords[index - 1] if index else None
        step = None if before is None else _step(before, now)
        held = step == _HELD and before is not None and before[0].family is now[0].family
        names = _names(now[0], (now[1], read_in[index], *_held_from(before, now)))
        parted = step == _HELD and read_in[index].name != read_in[index - 1].name
        broken = _PARTED if parted else _BROKEN
        ways = [_cheapest(ways, root, step, 0 if held else cost, broken) for root, cost in names]
    roots = _roots_of(min(ways, key=_COST))
    return [replace(chord, written=root) for (chord, _), root in zip(chords, roots, strict=True)]


def _held_from(before: _InKey | None, now: _InKey) -> tuple[Key, ...]:
    """The key that a chord was struck in which goes on in another: an Emaj7 becomes no Fbmaj7."""
    return () if before is None or before[0] != now[0] else (before[1],)


def _leading_into(chords: Sequence[_InKey]) -> list[Key]:
    """For each chord the key that it leads into: its own, if it is at home there."""
    keys: list[Key] = []
    for now, then in zip(reversed(chords), [None, *reversed(chords)], strict=False):
        into = then and _leads_into(now, then, keys[-1])
        keys.append(into or now[1])
    return keys[::-1]


def _leads_into(now: _InKey, then: _InKey, and_on: Key) -> Key | None:
    """The key that a foreign chord leads into, where the next is in it or leads `and_on` to it."""
    chord, key = now
    if chord.pitch_classes <= set(key.scale):
        return None
    if key.name == then[1].name:
        return and_on if _step(now, then) is not None else None
    return None if chord == then[0] else then[1]


def _roots_of(way: _Way) -> list[int]:
    roots = []
    while way.before is not None:
        roots.append(way.root)
        way = way.before
    return roots[::-1]


def _names(chord: Chord, keys: Iterable[Key]) -> Iterable[tuple[int, int]]:
    """The names of a chord's root, each with what it costs in the key where that is less."""
    costs: dict[int, int] = {}
    for key in keys:
        for root, cost in _names_in(chord, key):
            costs[root] = min(cost, costs.get(root, cost))
    return costs.items()


def _names_in(chord: Chord, key: Key) -> Iterator[tuple[int, int]]:
    """The name that the key has for a chord's root, and the other, each with what it costs.

    Of a diminished chord only a plain one: nobody writes a Cbdim7, nor any chord on Fb or B#.
    """
    usual = key.chord_fifths(chord)
    yield usual, _HARD * (not is_readable(chord, usual))
    twin = twin_of(usual)
    if is_plain(twin) or (is_usual(twin) and chord.family is not Family.DIMINISHED):
        hard = (not is_readable(chord, twin)) + (not is_plain(twin))
        yield twin, _HARD * hard + _renamed(chord, key)


def _renamed(chord: Chord, key: Key) -> int:
    if chord.root == key.tonic and chord.pitch_classes <= set(key.scale):
        return _TONIC_RENAMED
    return _OWN_RENAMED if chord.root in key.scale else _RENAMED


def _cheapest(ways: Sequence[_Way], root: int, step: int | None, cost: int, broken: int) -> _Way:
    """The best of the ways so far, with one root more, which costs this by itself.

    `broken` is what it costs beside that if the step is not seen.

    A diminished chord has its name from the one that it falls to, and not that one from it: where
    it can have none, as there is no Fbdim7 before Ebm7, it breaks nothing.
    """
    if step == _DOWN_A_SEMITONE and all(root - way.root != step for way in ways):
        step = None
    longer = []
    for way in ways:
        unseen = step is not None and root - way.root != step
        longer.append(_Way(way.cost + cost + broken * unseen, root, way))
    return min(longer, key=_COST)


def _step(before: _InKey, now: _InKey) -> int | None:
    """How far a root moves on the line of fifths, where the way of writing it tells of the move.

    To a dominant or from one it falls by a fifth; a diminished chord that falls by a semitone has
    the flat second, and one that goes on into another key its name; and within one key a root that
    stays is not written anew.
    """
    falls = (before[0].root - now[0].root) % 12
    families = before[0].family, now[0].family
    if falls == 1 and families[0] is Family.DIMINISHED:
        return _DOWN_A_SEMITONE
    stays = falls == 0 and before[1].name == now[1].name  # Gb major that becomes F# is another
    if (stays and Family.DIMINISHED not in families) or _goes_on(before[0], now[0]):
        return _HELD
    return _DOWN_A_FIFTH if falls == 7 and Family.DOMINANT in families else None


def _goes_on(before: Chord, now: Chord) -> bool:
    return before == now and now.family is Family.DIMINISHED


def respelled(note: BassNote, key: Key, near: Sequence[Chord]) -> BassNote:
    """The note in the key of its bar, and its chord as it is written near by."""
    (chord,) = written([(note.chord, key)])
    alike = (each for each in near if is_same_but_for_bass(each, chord))
    chord = replace(chord, written=next(alike, chord).written)
    reason = reason_for(note.role, note.note, chord, key, note.aims_at)
    return replace(note, chord=chord, reason=reason)


def degree_of(note: BassNote) -> str:
    """What a note is above the root of its chord: "b3", and "#4" where it is written so.

    A tone of the chord is what the chord calls it.  Any other is named by letter and accidentals,
    unless they are far from the root: C# over C is a raised root, F over C never a sharp third.
    The root of a diminished chord is itself a raised tone: Bb over Bdim7 stays its seventh.
    """
    chord, pitch_class = note.chord, note.note % 12
    if chord.written is None or pitch_class in chord.pitch_classes:
        return chord.degree_of(pitch_class)
    name, _, _ = note.reason.partition(":")
    fifths = fifths_of_name(name) - chord.written
    lowest = _FLAT_FIFTH if chord.family is Family.DIMINISHED else _LOWERED_ROOT
    usual = lowest <= fifths <= _SHARP_SIXTH
    return _degree_of_fifths(fifths) if usual else chord.degree_of(pitch_class)


def _degree_of_fifths(fifths: int) -> str:
    """The degree that lies so far along the line of fifths from its root: 1 is "5", 6 is "#4"."""
    accidentals, place = divmod(fifths + 1, 7)
    return ("#" if accidentals > 0 else "b") * abs(accidentals) + "4152637"[place]
