"""Three short songs told beat by beat: what the ear expected, heard at once and heard by the end.

    python -m bench.worked

The changes are made up.  The tables are those in docs/hearing.md.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from bench.arguments import run
from bench.pianist import Pianist, moment
from engine.arrays import Doubles
from engine.events import Heard
from engine.hearing.taught import TAUGHT
from engine.theory.harmony import QUALITY_BY_HARTE, Chord, Key
from engine.theory.symbols import symbol

AT_ONCE = 0.02
BY_THE_END = 0.95
HEAD = """\
| bar.beat | expected | at once | by the end | key |
| --- | --- | --- | --- | --- |"""


@dataclass(frozen=True)
class Example:
    """A song: its key, and the keys that are struck at its beats, "39 58 63 67"."""

    title: str
    key: Key
    played: Mapping[int, str]


_TURN = {0: "61 65 68 72", 4: "61 67 72 77", 8: "60 63 67 70"}

EXAMPLES = (
    Example(
        "An inversion and a slash chord",
        Key(3),
        {0: "39 58 63 67", 2: "43 58 63 70", 4: "44 56 60 63", 6: "44 58 62 65"},
    ),
    Example(
        "Rootless voicings",
        Key(8),
        {16 * turn + beat: keys for turn in range(3) for beat, keys in _TURN.items()},
    ),
    Example(
        "A pedal point",
        Key(4),
        {0: "40 56 59 64", 4: "40 57 61 64", 8: "40 59 63 66", 12: "40 56 59 64"},
    ),
)


def rows(example: Example) -> Iterator[str]:
    """The lines of its table; each chord is held until the next is struck."""
    pianist = Pianist()
    for beat, keys in example.played.items():
        expected = pianist.at(beat).ear.foretold()
        pianist.play(keys)
        at_once = pianist.ear.heard(moment(beat + AT_ONCE))
        by_the_end = pianist.ear.heard(moment(beat + BY_THE_END))
        cells = (
            f"{beat // 4 + 1}.{beat % 4 + 1}",
            _likeliest(expected, example.key) if beat else "all nearly alike",
            _named(at_once, example.key),
            _named(by_the_end, example.key),
            f"{by_the_end.key.name} {by_the_end.key_confidence:.2f}",
        )
        yield f"| {' | '.join(cells)} |"


def _named(heard: Heard, key: Key) -> str:
    assert heard.chord is not None
    return f"{symbol(heard.chord, key)} {heard.confidence:.2f}"


def _likeliest(belief: Doubles, key: Key, count: int = 3) -> str:
    """The likeliest states of a belief, (12, qualities)."""
    width = belief.shape[1]
    states = np.argsort(-belief, axis=None)[:count]
    chords = [
        Chord.of(int(s) // width, QUALITY_BY_HARTE[TAUGHT.qualities[s % width]]) for s in states
    ]
    return ", ".join(
        f"{symbol(chord, key)} {belief.flat[s]:.2f}"
        for chord, s in zip(chords, states, strict=True)
    )


def main() -> None:
    """Print the tables."""
    argparse.ArgumentParser(description=__doc__.split("\n")[0]).parse_args()
    for example in EXAMPLES:
        print(f"{example.title}\n\n{HEAD}")
        print("\n".join(rows(example)) + "\n")


if __name__ == "__main__":
    run(main)
