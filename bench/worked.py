"""Three short songs told beat by beat: what the ear expected, heard at once and heard by the end.

    python -m bench.worked

The changes are made up.  The tables are those in docs/hearing.md.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from engine.harmony import QUALITY_BY_HARTE, Chord, Key
from engine.hearing.ear import DEFAULT, Ear, Heard
from engine.hearing.tables import Array
from engine.labels import symbol
from engine.meter import FOUR_FOUR, Moment

AT_ONCE = 0.02
BY_THE_END = 0.95
SECONDS_PER_BEAT = 0.5
HEAD = """\
| bar.beat | expected | at once | by the end | key |
| --- | --- | --- | --- | --- |"""


@dataclass(frozen=True)
class Example:
    """A song: its key, the beats and keys of its chords, and the bars that are told."""

    title: str
    key: Key
    played: Sequence[tuple[int, tuple[int, ...]]]
    told: frozenset[int]
    """Beats."""


_TURN = ((0, (61, 65, 68, 72)), (4, (61, 67, 72, 77)), (8, (60, 63, 67, 70)))

EXAMPLES = (
    Example(
        "An inversion and a slash chord",
        Key(3),
        (
            (0, (39, 58, 63, 67)),
            (2, (43, 58, 63, 70)),
            (4, (44, 56, 60, 63)),
            (6, (44, 58, 62, 65)),
        ),
        frozenset({0, 2, 4, 6}),
    ),
    Example(
        "Rootless voicings",
        Key(8),
        tuple((16 * turn + beat, keys) for turn in range(3) for beat, keys in _TURN),
        frozenset({0, 4, 8, 16, 24, 32, 36}),
    ),
    Example(
        "A pedal point",
        Key(4),
        (
            (0, (40, 56, 59, 64)),
            (4, (40, 57, 61, 64)),
            (8, (40, 59, 63, 66)),
            (12, (40, 56, 59, 64)),
        ),
        frozenset({0, 4, 8, 12}),
    ),
)


def moment(position: float) -> Moment:
    """A place in a song in four at 120 beats a minute."""
    bar = int(position // 4)
    return Moment(position / 2, position, FOUR_FOUR.bar * bar, bar + 1, FOUR_FOUR, SECONDS_PER_BEAT)


def rows(example: Example) -> Iterator[str]:
    """The lines of its table; each chord is held until the next is struck."""
    ear = Ear()
    down: tuple[int, ...] = ()
    chords = dict(example.played)
    for beat in range(max(chords) + 1):
        ear.cross(moment(beat))
        if beat not in chords:
            continue
        expected = ear.foretold()
        for note in down:
            ear.note_off(moment(beat), note, 0)
        down = chords[beat]
        for note in down:
            ear.note_on(moment(beat), note, 80, 0)
        heard = ear.heard(moment(beat + AT_ONCE))
        by_the_end = ear.heard(moment(beat + BY_THE_END))
        if beat in example.told:
            cells = (
                f"{beat // 4 + 1}.{beat % 4 + 1}",
                _likeliest(expected, example.key) if beat else "all nearly alike",
                _named(heard, example.key),
                _named(by_the_end, example.key),
                f"{by_the_end.key.name} {by_the_end.key_confidence:.2f}" if beat else "none yet",
            )
            yield f"| {' | '.join(cells)} |"


def _named(heard: Heard, key: Key) -> str:
    assert heard.chord is not None
    return f"{symbol(heard.chord, key)} {heard.confidence:.2f}"


def _likeliest(belief: Array, key: Key, count: int = 3) -> str:
    """The likeliest states of a belief, (12, qualities)."""
    width = belief.shape[1]
    states = np.argsort(-belief, axis=None)[:count]
    chords = [
        Chord.of(int(s) // width, QUALITY_BY_HARTE[DEFAULT.qualities[s % width]]) for s in states
    ]
    return ", ".join(
        f"{symbol(chord, key)} {belief.flat[s]:.2f}"
        for chord, s in zip(chords, states, strict=True)
    )


def main() -> None:
    """Print the tables."""
    for example in EXAMPLES:
        print(f"{example.title}\n\n{HEAD}")
        print("\n".join(rows(example)) + "\n")


if __name__ == "__main__":
    main()
