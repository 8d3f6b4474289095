"""Played: a trace read back as the bars of a part.

Knows: which lines of the trace make a bar, and what to say of lines that make none.
Refuses to know: what can be learned from the bars.
How: bars follow each other as they were played, so that a loop is written out; a note belongs to
the nearest bar of its number, a chord to the place at which it was heard.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from operator import itemgetter
from pathlib import Path
from typing import Final

from engine.line.hand import SPAN
from engine.score import Articulation, BassNote, Role
from engine.teaching.bars import Bar, Taken, bars_of
from engine.theory.harmony import C_MAJOR, Chord, Key
from engine.theory.labels import parse_harte
from engine.theory.meter import Metre
from engine.theory.pitch import pitch_class_of_name
from ports.facts import Fact, check, facts_in, whole_lines
from ports.files import FileError

# Written places lie on grids of up to 48 to a quarter note; the trace rounds them to six digits.
_FINEST: Final = 48
# A bar of 32/1 is the longest that can be counted: no place and no note is longer.
_LONGEST_BAR: Final = 128
_MOST_STRINGS: Final = 6
# A chord is heard a little after the keys land, and players are not machines: in quarter notes.
_HEARD_LATE: Final = 0.06
# A last note shorter than any touch was struck as the playing stopped; nobody heard it.
_CUT_OFF_SECONDS: Final = 0.03


@dataclass(frozen=True, slots=True)
class Played:
    """A part as it was played: the style's name, its grade and seed, the neck, the bars.

    `tuning` are the open strings, `span` the frets under the hand.
    """

    style: str
    grade: int
    seed: int
    tuning: tuple[int, ...]
    span: int
    bars: tuple[Bar, ...]


def begins_trace(content: bytes) -> bool:
    """Whether this may be the beginning of a trace."""
    return content.startswith(b"{")


def read_played(path: Path, content: bytes | None = None) -> Played:
    """The part in a trace; `content` is what is in the file, where that has been read already.

    Raises:
        FileError: no trace, or one without a bass note.
    """
    try:
        text = (path.read_bytes() if content is None else content).decode()
    except FileNotFoundError as error:
        raise FileError(f"there is no file {path}") from error
    except (OSError, UnicodeDecodeError) as error:
        raise FileError(f"{path} cannot be read as a trace; give what --trace wrote") from error
    return played_in(whole_lines(text), str(path))


def played_in(lines: Iterable[str], name: str) -> Played:
    """The part in the lines of a trace; `name` stands for it in errors.

    Raises:
        FileError: a line that is none of a trace, or no bass note in any.
    """
    told = list(facts_in(lines, name))
    style = next((fact for fact in told if fact["type"] == "style"), None)
    if style is None:
        raise FileError(f"{name} does not say in which style it was played; write the trace anew")
    check(told, name)
    facts = _without_cut_off(told)
    if not any(fact["type"] == "note" for fact in facts):
        raise FileError(f"{name} has no bass notes; there is nothing to explain")
    if not any(fact["type"] == "bar" for fact in facts):
        raise FileError(f"{name} does not say where its bars begin; write the trace anew")
    try:
        bars = tuple(_with_notes(bars_of(_taken(facts))))
        # Early traces do not tell the span: they were played with a finger to each fret.
        tuning, span = _tuning(style, bars), style.get("span", SPAN)
        return Played(style["name"], style["grade"], style["seed"], tuning, span, bars)
    except (LookupError, ValueError, ArithmeticError) as error:
        raise FileError(f"{name} is damaged ({error} in it makes no sense)") from error


def _tuning(style: Fact, bars: Iterable[Bar]) -> tuple[int, ...]:
    """The open strings, with those of any other instrument that was taken up on the way."""
    tuning: list[int] = list(style["tuning"])
    for note in (note for bar in bars for note in bar.notes):
        if not (1 <= note.string <= _MOST_STRINGS and 0 <= note.fret <= note.note):
            raise ValueError(f"string {note.string}, fret {note.fret}")
        tuning += [note.note - note.fret] * (note.string - len(tuning))
    return tuple(tuning)


def _without_cut_off(facts: list[Fact]) -> list[Fact]:
    last = max((f for f in facts if f["type"] == "note"), key=lambda f: f["time"], default=None)
    cut = last is not None and last["until"] - last["time"] < _CUT_OFF_SECONDS
    return [fact for fact in facts if not (cut and fact is last)]


def _with_notes(bars: Sequence[Bar]) -> Iterator[Bar]:
    """Without the empty bars after the last note: there the song was over."""
    last = max((i for i, bar in enumerate(bars) if bar.notes), default=-1)
    yield from bars[: last + 1]


# Bars ---------------------------------------------------------------------------------------


def _taken(facts: Sequence[Fact]) -> Iterator[Taken]:
    heads = _heads(_told(facts, "bar"))
    notes = _notes_by_bar(_told(facts, "note"), heads)
    keys, chords = _told(facts, "key"), _told(facts, "chord")
    silent = set(_silent(_told(facts, "silence"), heads))
    start = Fraction(0)
    for index, (head, until) in enumerate(zip(heads, _ends(heads, facts), strict=True)):
        metre = Metre.of(head["metre"])
        began = head["time"]
        per_second = float(metre.bar) / (until - began) if until > began else 0.0
        taken = Taken(
            number=head["bar"],
            start=start,
            metre=metre,
            key=_key_at(keys, until),
            heard=tuple(_heard(chords, began, until, per_second)),
            silent=index in silent,
            notes=tuple(replace(n, beat=n.beat + start) for n in notes[index]),
        )
        yield taken
        start += metre.bar


_TIME: Final = itemgetter("time")


def _told(facts: Iterable[Fact], kind: str) -> list[Fact]:
    """The lines of a kind in order of time, so that what is looked for need not be searched."""
    return sorted((fact for fact in facts if fact["type"] == kind), key=_TIME)


def _heads(told: Iterable[Fact]) -> list[Fact]:
    """The bar lines; where the metre changes on one, it is told again, and the later one holds.

    The bar has begun when it was told first: what was heard since then belongs to it.
    """
    heads: list[Fact] = []
    for head in told:
        again = bool(heads) and _told_again(heads[-1], head)
        heads.append({**head, "time": heads.pop()["time"]} if again else head)
    return heads


def _told_again(head: Fact, following: Fact) -> bool:
    """Whether both tell one bar line, although the clock may have crossed it before the metre came.

    In a loop of one bar, or after a rest in the first, the same number is another bar.
    """
    at_once, as_before = (head[fact] == following[fact] for fact in ("time", "metre"))
    return head["bar"] == following["bar"] and (at_once or not as_before)


def _ends(heads: Sequence[Fact], facts: Sequence[Fact]) -> list[float]:
    """When each bar ends; the last one is as long as the one before, or as its notes sound."""
    starts = [head["time"] for head in heads]
    lasts = starts[-1] - starts[-2] if len(starts) > 1 else 0.0
    sounds = max((fact["until"] for fact in facts if fact["type"] == "note"), default=0.0)
    return [*starts[1:], starts[-1] + lasts if lasts > 0 else sounds]


def _silent(told: Iterable[Fact], heads: Sequence[Fact]) -> Iterator[int]:
    """Which bars had no key in them: each is told as it ends."""
    starts = [head["time"] for head in heads]
    for fact in told:
        index = bisect_left(starts, fact["time"]) - 1
        if index >= 0 and heads[index]["bar"] == fact["bar"]:
            yield index


def _notes_by_bar(told: Iterable[Fact], heads: Sequence[Fact]) -> list[list[BassNote]]:
    found: list[list[BassNote]] = [[] for _ in heads]
    by_number: dict[int, list[int]] = {}
    for index, head in enumerate(heads):
        by_number.setdefault(head["bar"], []).append(index)
    for fact in told:
        mine = by_number.get(fact["bar"])
        if mine:  # none where the playing stopped just before the bar line
            found[_nearest(mine, heads, fact["time"])].append(_note(fact))
    return [sorted(notes, key=lambda note: note.beat) for notes in found]


def _nearest(mine: Sequence[int], heads: Sequence[Fact], time: float) -> int:
    """Which of some bars began nearest to a moment; a loop has many of one number."""
    later = bisect_left(mine, time, key=lambda i: heads[i]["time"])
    return min(mine[max(later - 1, 0) : later + 1], key=lambda i: abs(heads[i]["time"] - time))


def _note(fact: Fact) -> BassNote:
    """The note as it was written, its beat counted from the bar line."""
    aims_at = fact["aims_at"]
    chord = parse_harte(fact["chord"])
    if chord is None:
        raise ValueError("a note without a chord")
    return BassNote(
        beat=_place(fact["place"]),
        length=_place(fact["length"]),
        note=fact["pitch"],
        accent=fact["velocity"] / 127,
        role=Role(fact["role"]),
        reason=fact["reason"],
        string=fact["string"],
        fret=fact["fret"],
        chord=chord,
        aims_at=None if aims_at is None else pitch_class_of_name(aims_at),
        articulation=Articulation(fact.get("articulation", Articulation.PLUCKED.value)),
        joined_from=fact.get("joined_from"),
    )


def _place(quarters: float) -> Fraction:
    if not 0 <= quarters <= _LONGEST_BAR:
        raise ValueError(f"{quarters} quarter notes")
    return Fraction(quarters).limit_denominator(_FINEST)


def _heard(
    chords: Sequence[Fact], began: float, until: float, per_second: float
) -> Iterator[tuple[Fraction, Chord | None]]:
    first, end = (bisect_left(chords, time, key=_TIME) for time in (began, until))
    for fact in chords[first:end]:
        place = (fact["time"] - began) * per_second - _HEARD_LATE
        yield Fraction(max(round(place * 2), 0), 2), parse_harte(fact["label"])


def _key_at(keys: Sequence[Fact], until: float) -> Key:
    known = bisect_left(keys, until, key=_TIME)
    return _key(keys[known - 1]["label"]) if known else C_MAJOR


def _key(label: str) -> Key:
    tonic, _, mode = label.partition(":")
    return Key.named(tonic, minor=mode == "min")
