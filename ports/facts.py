"""Facts: the lines of a trace read back, and checked before anything is made of them.

Knows: which fields the reader needs of each kind of line, and what belongs into each.
Refuses to know: what the lines tell of a part.
How: a line may have been changed by hand or by another program.  What is no line of a trace, or
has something else in a field than the format allows, is told with its number; that a value of the
right kind makes no sense is for those to say who make something of it.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from reprlib import repr as shortened
from sys import float_info
from types import MappingProxyType
from typing import Any, Final

from ports.files import FileError

Fact = Mapping[str, Any]
"""One line of a trace: its fields by their names."""


def whole_lines(text: str) -> list[str]:
    """The lines of a trace; where its writing was broken off, without the piece at the end."""
    *lines, last = text.split("\n")
    return [*lines, last] if _is_whole_line(last) else lines


def _is_whole_line(line: str) -> bool:
    try:
        json.loads(line)
    except (ValueError, RecursionError):
        return False
    return True


def facts_in(lines: Iterable[str], name: str) -> Iterator[Fact]:
    """The lines as values, of which so far only kind and time are known to be there.

    Raises:
        FileError: one that is no line of a trace; `name` stands for the trace.
    """
    for number, line in enumerate(lines, start=1):
        try:
            fact = json.loads(line)
            sound = isinstance(fact["type"], str) and _is_number(fact["time"])
        except (ValueError, TypeError, KeyError, RecursionError):
            sound = False
        if not sound:
            raise FileError(f"{name} line {number} is no line of a trace; give what --trace wrote")
        yield fact


# What belongs where -------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Content:
    """What belongs into a field, in words and as a test."""

    words: str
    fits: Callable[[Any], bool]


def _is_whole(value: Any) -> bool:  # noqa: ANN401  # a trace may hold anything
    return isinstance(value, int) and not isinstance(value, bool)


def _is_number(value: Any) -> bool:  # noqa: ANN401
    return (isinstance(value, float) or _is_whole(value)) and abs(value) <= float_info.max


def _is_text(value: Any) -> bool:  # noqa: ANN401
    return isinstance(value, str)


_WHOLE: Final = _Content("a whole number", _is_whole)
_NUMBER: Final = _Content("a number", _is_number)
_TEXT: Final = _Content("text", _is_text)
_NOTES: Final = _Content(
    "a list of whole numbers", lambda value: isinstance(value, list) and all(map(_is_whole, value))
)
_TEXT_OR_NULL: Final = _Content("text or null", lambda value: value is None or _is_text(value))
_WHOLE_OR_NULL: Final = _Content(
    "a whole number or null", lambda value: value is None or _is_whole(value)
)

_FIELDS: Final[Mapping[str, Mapping[str, _Content]]] = MappingProxyType(
    {
        "style": {
            "name": _TEXT, "grade": _WHOLE, "seed": _WHOLE, "tuning": _NOTES, "span": _WHOLE,
        },
        "bar": {"bar": _WHOLE, "metre": _TEXT},
        "chord": {"label": _TEXT},
        "silence": {"bar": _WHOLE},
        "key": {"label": _TEXT},
        "note": {
            "until": _NUMBER, "pitch": _WHOLE, "velocity": _WHOLE, "role": _TEXT, "reason": _TEXT,
            "string": _WHOLE, "fret": _WHOLE, "articulation": _TEXT, "joined_from": _WHOLE_OR_NULL,
            "bar": _WHOLE, "place": _NUMBER, "length": _NUMBER, "chord": _TEXT,
            "aims_at": _TEXT_OR_NULL,
        },
    }
)  # fmt: skip

# Early traces do not have them.
_LATER: Final = frozenset({"span", "articulation", "joined_from"})


def check(facts: Sequence[Fact], name: str) -> None:
    """See that each line has the fields of its kind, with what belongs into them.

    Raises:
        FileError: one that has not; `name` stands for the trace.
    """
    for number, fact in enumerate(facts, start=1):
        for field, content in _FIELDS.get(fact["type"], {}).items():
            if field not in fact and field in _LATER:
                continue
            if field not in fact:
                raise _damaged(name, f'line {number} has no "{field}"')
            if not content.fits(fact[field]):
                told = f"{_shown(fact[field])}, not {content.words}"
                raise _damaged(name, f'in line {number} "{field}" is {told}')


def _damaged(name: str, where: str) -> FileError:
    return FileError(f"{name} is damaged: {where}; write the trace anew")


def _shown(value: object) -> str:
    return "null" if value is None else shortened(value)
