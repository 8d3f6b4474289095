"""Where in a bar of a chart its chords begin, and what is said where that does not come out."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from engine.theory.meter import Metre


def places(count: int, metre: Metre) -> Sequence[Fraction]:
    """Where the shares of a bar begin: on the felt beats if they are as many, else evenly.

    In 5/8 or 7/8 the felt beats are not alike, and even shares would lie beside them.
    """
    if count == len(metre.pulses):
        return metre.pulses
    return [i * metre.bar / count for i in range(count)]


def miscounted(words: Sequence[str], starts: Sequence[Fraction], metre: Metre) -> str | None:
    """What is wrong with the count of a bar, None if nothing is.

    A chart is followed by felt beats: a chord that sounds on none of them would be lost.  And who
    writes strokes counts with them: | Gm7 / C7 | in 4/4 lacks a beat, and nobody knows which.

    Args:
        words: its chords and strokes.
        starts: where its chords begin, in quarter notes.
        metre: that of the bar.
    """
    beats = len(metre.pulses)
    ends = [*starts[1:], metre.bar]
    if any(metre.pulse_from(start) >= end for start, end in zip(starts, ends, strict=True)):
        return (
            f"has a chord between two felt beats, which are {beats} in a bar of {metre}; write no"
            " more than one on each"
        )
    if "/" in words and not {*starts} <= {*metre.pulses}:
        return (
            f"counts to {len(words)} with its strokes, and a bar of {metre} has {beats} felt beats;"
            f" write {beats} chords and strokes, such as {_counted(words, beats)}"
        )
    return None


def _counted(words: Sequence[str], beats: int) -> str:
    """The chords of a bar with as many strokes as make its beats, shared as evenly as may be."""
    chords = [word for i, word in enumerate(words) if word != "/" or i == 0]
    each, more = divmod(beats, len(chords))
    shares = [[chord] + ["/"] * (each - 1 + (i < more)) for i, chord in enumerate(chords)]
    return f"| {' '.join(sign for share in shares for sign in share)} |"
