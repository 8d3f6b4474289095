"""Bar lines: a line of a chart, taken apart into its signs and its bars.

Knows: which signs stand on bar lines, and where one bar ends and the next begins.
Refuses to know: chords, and in which order the bars are played.
How: what stands between two bar lines is a bar, also where nothing stands there.  A repeat sign, an
ending or a double bar line may have a bar line beside it that is the same one; who writes both sets
them a blank apart, and so does one who closes a repeat and opens the next.  What tells how often a
repeat is played stands behind the sign that closes it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Final

# Endings are numbered 1. or, for more than one time, 1.-3. and 1., 2. and the like.
_ENDING: Final = re.compile(r"\d+(?:\.?\s*[-\u2013,&+]\s*\d+|\.\s*\d+)*\.")
TIMES: Final = re.compile(r"\(?(?:[x\u00d7]\s*\d+|\d+\s*(?:[x\u00d7]|times))\)?(?!\w)")
"""How often a repeat is played: x3, 3x, 3 times, in brackets or not."""
_BAR_LINE: Final = re.compile(
    rf"(:\|+\]?\s*{TIMES.pattern}|:?\|+[:\]]?(?:\s*\[?{_ENDING.pattern})?)"
)


def signs_and_bars(line: str) -> Iterator[tuple[str, str | None]]:
    """The line as pairs: the sign on a bar line, or none, then a bar's words.

    The sign is ":|", ":| x3" with how often it is played, "|:" or the number of an ending, "1.-2.".

    A bar with nothing in it has no words (""); where there is none, it is None.

    Raises:
        ValueError: the line does not begin with a bar line, or nobody could say whether there is
            a bar in a gap.
    """
    if not line.startswith(("|", ":")):
        raise ValueError(f"{line!r} does not begin with a bar line; put a | before it")
    pieces = _BAR_LINE.split(line)
    bars, bar_lines = pieces[0::2], pieces[1::2]
    for before, between, after in zip(["", *bar_lines], bars, [*bar_lines, ""], strict=True):
        for sign in _signs(before):
            yield sign, None
        if between.strip() or _is_bar(before, between, after):
            yield "", between.strip()


def _signs(bar_line: str) -> Iterator[str]:
    if bar_line.startswith(":"):
        times = TIMES.search(bar_line)
        yield f":| {times[0]}" if times else ":|"
    if "|:" in bar_line:
        yield "|:"
    yield from _ENDING.findall(bar_line)


def _is_bar(before: str, gap: str, after: str) -> bool:
    """Whether the gap between two bar lines is a bar in which nothing is written."""
    if not (before and gap and after):  # two signs on one bar line, or the end of the line
        return False
    opens = "|:" in after or after.endswith(".")
    if after.startswith(":") or (before == "|" and not opens):
        return True
    if (before != "|" and opens) or gap == " ":
        return False
    raise ValueError(
        f"between {before} and {after} is room for a bar, and nothing in it; write the chord that"
        " is played there, or close the gap"
    )
