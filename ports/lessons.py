"""Lessons: a part explained, as text for people and as values for programs.

Knows: what stands where on the page, and the fields of docs/explain.md.
Refuses to know: what is worth saying about a bar.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import Any

from engine.line.grades import Grade
from engine.line.pools import scale_of
from engine.score import BassNote
from engine.teaching.bars import (
    Bar,
    counted,
    degree_name,
    name_of,
    named_with_octave,
    why,
)
from engine.teaching.lessons import Lesson, lessons
from engine.teaching.ways import Lead
from engine.teaching.written import degree_of
from engine.theory.labels import harte, harte_key
from ports.played import Played
from ports.tablature import DrawnBar, step_of, string_names, system

# As text ------------------------------------------------------------------------------------


def page(played: Played) -> Iterator[str]:
    """The part bar by bar, line by line."""
    tuning = played.tuning
    strings = " ".join(string_names(tuning))
    graded = "" if played.grade == Grade.EVERYTHING else f", grade {played.grade}"
    yield (
        f"{played.style}{graded}, seed {played.seed}, {len(played.bars)} bars, strings {strings}"
    )
    before: Bar | None = None
    for lesson in lessons(played.bars, played.span):
        yield ""
        yield from _section(lesson, before, tuning)
        before = lesson.bar


def _section(lesson: Lesson, before: Bar | None, tuning: tuple[int, ...]) -> Iterator[str]:
    bar = lesson.bar
    news = [
        *([str(bar.metre)] if before is None or before.metre != bar.metre else []),
        *([bar.key.name] if before is None or before.key.name != bar.key.name else []),
    ]
    told = f" ({', '.join(news)})" if news else ""
    yield f"Bar {bar.number}{told}: {_chords(bar)}"
    yield ""
    drawn = DrawnBar("", bar.start, bar.metre, bar.notes)
    yield from list(system([drawn], step_of([drawn]), tuning))[1:]
    yield ""
    names = string_names(tuning)
    yield from (_line(bar, note, names[note.string - 1]) for note in bar.notes)
    yield from (_way_in(bar, lead) for lead in lesson.leads)
    yield f"  {lesson.teaching}"


def _chords(bar: Bar) -> str:
    if not bar.chords:
        return "no keys" if bar.silent else "no chord"
    first, *others = [(place, bar.symbol(chord)) for place, chord in bar.chords]
    later = [f"{name} on {counted(place, bar.metre)}" for place, name in others]
    begins = "" if first[0] == 0 else f" on {counted(first[0], bar.metre)}"
    return ", ".join([first[1] + begins, *later, *(["no keys"] if bar.silent else [])])


def _line(bar: Bar, note: BassNote, string: str) -> str:
    place = f"{string} string " + (f"fret {note.fret}" if note.fret else "open")
    if note.ghost:
        return f"  {bar.count(note):<12}{'x':<5}{place:<18}{why(note)}"
    text = f"  {bar.count(note):<12}{named_with_octave(note):<5}{place:<18}"
    return f"{text}{degree_name(note):<19}{why(note)}"


def _way_in(bar: Bar, lead: Lead) -> str:
    return f"  way in: {_way_of(bar, lead)}, to {lead.goal}{_ended(bar, lead)}"


def _way_of(bar: Bar, lead: Lead) -> str:
    """The way by the words of a preset, but for a whole step that the scale does not have."""
    if lead.way is None:
        return "by other steps"
    last = lead.notes[-1]
    outside = last.note % 12 not in scale_of(last.chord, bar.key)
    return lead.way.value.replace("scale", "whole step") if outside else lead.way.value


def _ended(bar: Bar, lead: Lead) -> str:
    """What became of the way in, where it did not end where it aimed."""
    if lead.met:
        return ""
    if lead.arrival is None:
        return ", where the part ends"
    if lead.kept is None:
        return ", which did not come"
    if lead.onward is None:
        return f", but {bar.symbol(lead.kept)} stays"
    return f", given up for {lead.onward}"


# As values ----------------------------------------------------------------------------------


def explained(played: Played) -> dict[str, Any]:
    """The part as docs/explain.md describes it for programs."""
    return {
        "style": played.style,
        "grade": played.grade,
        "seed": played.seed,
        "tuning": list(played.tuning),
        "span": played.span,
        "bars": [
            _bar(lesson, bar)
            for lesson, bar in zip(lessons(played.bars, played.span), played.bars, strict=True)
        ],
    }


def _bar(lesson: Lesson, bar: Bar) -> dict[str, Any]:
    """The bar as it was played: a program may hold its reasons against those of the trace."""
    return {
        "bar": bar.number,
        "metre": str(bar.metre),
        "key": harte_key(bar.key),
        "silent": bar.silent,
        "chords": [
            {
                "place": _quarters(place),
                "count": counted(place, bar.metre),
                "label": harte(chord, bar.key),
                "symbol": bar.symbol(chord),
            }
            for place, chord in bar.chords
        ],
        "notes": [_note(lesson, bar, note) for note in bar.notes],
        "ways_in": [
            {
                "place": _quarters(bar.place(lead.notes[-1])),
                "way": lead.way.value if lead.way else None,
                "to": lead.goal,
                "met": lead.met,
            }
            for lead in lesson.leads
        ],
        "topic": lesson.remark.topic.value,
        "teaching": lesson.teaching,
    }


def _note(lesson: Lesson, bar: Bar, note: BassNote) -> dict[str, Any]:
    return {
        "place": _quarters(bar.place(note)),
        "count": bar.count(note),
        "length": _quarters(note.length),
        "pitch": note.note,
        "name": name_of(note),
        "degree": degree_of(note),
        "degree_name": degree_name(note),
        "role": note.role.value,
        "reason": note.reason,
        "aims_at": _goal(lesson, bar, note),
        "chord": harte(note.chord, bar.key),
        "string": note.string,
        "fret": note.fret,
        "articulation": note.articulation.value,
    }


def _goal(lesson: Lesson, bar: Bar, note: BassNote) -> str | None:
    """What a note leads to, by the name that its way in has for it."""
    if note.aims_at is None:
        return None
    told = (lead.goal for lead in lesson.leads if note.beat in {n.beat for n in lead.notes})
    return next(told, bar.key.tone_name(note.aims_at))


def _quarters(place: Fraction) -> float:
    return round(float(place), 6)
