"""Bar lines: a line of a chart, taken apart into its signs and its bars.

Knows: which signs stand on bar lines, and where one bar ends and the next begins.
Refuses to know: chords, and in which order the bars are played.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Final

_BAR_LINE: Final = re.compile(r"(:?\|+:?)")
_ENDING: Final = re.compile(r"(\d+)\.")


def signs_and_bars(line: str) -> Iterator[tuple[str, str]]:
    """The line as pairs: the sign on a bar line (":|", "|:", "1." or none), then a bar's words.

    Raises:
        ValueError: the line does not begin with a bar line.
    """
    if not line.startswith(("|", ":")):
        raise ValueError(f"{line!r} does not begin with a bar line; put a | before it")
    for piece in _BAR_LINE.split(line):
        if _BAR_LINE.fullmatch(piece):
            if piece.startswith(":"):
                yield ":|", ""
            if piece.endswith(":"):
                yield "|:", ""
            continue
        words = piece.strip()
        ending = _ENDING.match(words)
        if ending:
            yield ending[0], words[ending.end() :].strip()
        elif words:
            yield "", words
