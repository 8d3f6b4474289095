"""Chart header: what a player writes above the bars of a chart.

Knows: how a title, a key, a metre and a tempo are written, and what to say when they are not.
Refuses to know: bars, and where in the file a line stands.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Final

from engine.pulse import FASTEST, SLOWEST
from engine.theory.harmony import Key
from engine.theory.meter import FOUR_FOUR, Metre
from engine.theory.symbols import PRINTED

_KEY: Final = re.compile(r"([A-Ga-g][b#]?)\s*(m|min|minor|maj|major)?", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Header:
    """What the header has said so far; a chart need not say anything."""

    metre: Metre = FOUR_FOUR
    key: Key | None = None
    tempo: float | None = None
    given: frozenset[str] = frozenset()
    """Which lines there were."""

    def with_line(self, word: str, value: str) -> Header:
        """The header with one line more, such as `key` and `Bb`.

        Raises:
            ValueError: there is no such line, it was there already, or its value means nothing.
        """
        if word not in _READERS:
            raise ValueError(
                f"a chart has no {word!r}; its header may say title, key, metre and tempo, and the"
                " name of a section stands alone on its line"
            )
        name = _NAMES.get(word, word)
        if name in self.given:
            raise ValueError(f"{word} is given twice, now as {value!r}; give {_WHICH[name]}")
        return replace(_READERS[word](self, value), given=self.given | {name})


def valueless(line: str) -> str | None:
    """What is said of a header line with nothing behind its colon; None if it is none."""
    word = line.removesuffix(":").rstrip()
    if word == line or word.lower() not in _READERS:
        return None
    return f"{line!r} says nothing; write behind the colon what it is, or leave the line out"


def late(word: str) -> str | None:
    """What is said of a header line that stands below the first bar; None if it is none."""
    if word not in _READERS:
        return None
    return (
        f"{word} stands after the first bar; put it above all bars{_BELOW[_NAMES.get(word, word)]}"
    )


def _with_key(header: Header, value: str) -> Header:
    found = _KEY.fullmatch(value.translate(PRINTED))
    if found is None or (found[2] is None and found[1][0].islower()):
        raise ValueError(f"{value!r} is not a key; write one such as Bb, F#m or C minor")
    minor = found[2] == "m" or (found[2] or "").lower() in ("min", "minor")
    return replace(header, key=Key.named(found[1].capitalize(), minor=minor))


def _with_metre(header: Header, value: str) -> Header:
    try:
        return replace(header, metre=Metre.of(value))
    except ValueError:
        raise ValueError(f"{value!r} is not a metre; write one such as 4/4 or 12/8") from None


def _with_tempo(header: Header, value: str) -> Header:
    try:
        tempo = float(value)
    except ValueError:
        tempo = 0.0
    if not SLOWEST <= tempo <= FASTEST:
        raise ValueError(
            f"{value!r} is not a tempo; write quarter notes a minute, {SLOWEST:g} to {FASTEST:g}"
        )
    return replace(header, tempo=tempo)


def _with_title(header: Header, _: str) -> Header:
    """Whose song it is matters to who wrote it down."""
    return header


_READERS: Final[Mapping[str, Callable[[Header, str], Header]]] = MappingProxyType(
    {
        "title": _with_title,
        "key": _with_key,
        "metre": _with_metre,
        "meter": _with_metre,
        "time": _with_metre,
        "tempo": _with_tempo,
    }
)

_NAMES: Final[Mapping[str, str]] = MappingProxyType({"meter": "metre", "time": "metre"})

# Which one of two lines would do.
_WHICH: Final[Mapping[str, str]] = MappingProxyType(
    {
        "title": "it once",
        "key": "the one that the song begins in, and the next will be heard",
        "metre": "the one that all bars have",
        "tempo": "the one that the song begins in",
    }
)

# Who writes a line below bars may mean that it changes there.
_BELOW: Final[Mapping[str, str]] = MappingProxyType(
    {
        "title": "",
        "key": ", or leave it out if the key changes here: that is heard",
        "metre": " if they all have it; a chart cannot change its metre",
        "tempo": " if it is that of the song; a chart cannot change its tempo",
    }
)
