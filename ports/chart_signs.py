"""Chart signs: what stands in lead sheets and is not read in a chart, and what would do.

Knows: the signs that musicians write among chords, or on a line of their own, and that are none.
Refuses to know: chords, bar lines, and where in the file a sign stands.
How: one table, a line for each kind of sign with the sentence that answers it.
"""

from __future__ import annotations

import re
from typing import Final

from ports.bar_lines import TIMES

_JUMP: Final = re.compile(
    r"(?:d\.\s?[sc]\.?|d[sc]\.?|d\s[sc](?=\s+al\b)|da\s+capo|dal\s+segno|to\s+coda)"
    r"(?:\s+al\s+(?:coda|fine|segno))?(?!\S)",
    re.IGNORECASE,
)
_METRE: Final = re.compile(r"\d+\s*/\s*(?:1|2|4|8|16|32)")

_JUMPS: Final = (
    "{!r} jumps to another place, which a chart here does not; write the bars out as they are"
    " played"
)
_METRES: Final = (
    "{!r} is a metre, of which a chart has one for all its bars; write it above them, as in"
    " metre: 3/4"
)
_COUNTS: Final = (
    "{!r} counts how often bars are played; put it behind the sign that closes their repeat, as in"
    " :| x3"
)

# What is sought in a bar, as words of their own, and what is said of it.
_IN_BARS: Final = tuple(
    (re.compile(rf"(?<!\S)(?:{pattern})(?!\S)", re.IGNORECASE), sentence)
    for pattern, sentence in (
        (_JUMP.pattern, _JUMPS),
        (
            r"(?:al\s+)?(?:coda|fine|segno)|[\U0001d10b\U0001d10c]",
            "{!r} marks a place for jumps, and a chart here has none; write the bars out as they"
            " are played",
        ),
        (_METRE.pattern, _METRES),
        (
            r"%%|^//$|\U0001d10f",
            "{!r} stands for two bars, which one bar here cannot; write both out, with % for one"
            " that is as the bar before it",
        ),
        ("%", "{!r} stands for a whole bar; leave it alone in the bar, or write all its chords"),
        (TIMES.pattern, _COUNTS),
        (
            r"\[?\d+\.?",
            "{!r} is no chord, since chords go by letters, and opens no ending, which has a bar"
            " line before and a dot behind its number, as in |1.",
        ),
    )
)


def unread_in_bar(words: str) -> str | None:
    """What is said of a sign among the words of a bar, if there is one that is not read there."""
    told = (
        sentence.format(found[0])
        for pattern, sentence in _IN_BARS
        if (found := pattern.search(words))
    )
    return next(told, None)


def unread_line(line: str) -> str | None:
    """What is said of a line without bar lines that is a sign, and no name of a section."""
    if _JUMP.match(line):
        return _JUMPS.format(line)
    for pattern, sentence in ((_METRE, _METRES), (TIMES, _COUNTS)):
        if pattern.fullmatch(line):
            return sentence.format(line)
    return None
