"""How whole chords are named: each kind on all roots, over its own bass and over another tone.

    python -m bench.whole

Every chord is struck at once, its bass below C3 and all its tones about middle C, on the bar line
after one of four sorts of changes, and held.  Printed is how many are heard on another root, and by
another name, at once and after a beat and a half.  The tables are those that ship.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from copy import deepcopy
from typing import Final

from bench.arguments import run
from bench.pianist import Pianist, moment, voiced
from engine.theory.harmony import Chord, Key
from engine.theory.symbols import parse_symbol, symbol

BEFORE: Final = ("", "Bb Gm7 Cm7 F7", "Cm7 F7 Bbmaj7 Ebmaj7", "Gm Cm D7 Gm")
ON_ITS_ROOT: Final = (
    "C", "Cm", "C7", "Cmaj7", "Cm7", "C6", "Cm6", "Cm(maj7)", "Cm7b5", "Cdim7", "Cdim", "Caug",
    "Csus4", "C7sus4", "C9", "Cm9", "Cmaj9", "C13", "Cm11", "C7b9", "C7#9", "C7#5", "C7#11",
    "Cadd9",
)  # fmt: skip
OVER_ANOTHER: Final = (
    "C/E", "C/G", "Cm/Eb", "Cm/G", "C7/E", "C7/G", "C7/Bb", "Cmaj7/E", "Cmaj7/G", "Cmaj7/B",
    "Cm7/G", "Cm7/Bb", "C/D", "C/F", "Cm/D", "Cm/F",
)  # fmt: skip
AT_ONCE, LATER = 0.02, 1.5


def heard_after(before: str, name: str, later: float = AT_ONCE) -> Iterator[tuple[Chord, Chord]]:
    """A chord on all twelve roots, each as it was played and as it was heard, some beats later."""
    player = Pianist()
    changes = before.split()
    for bar, other in enumerate(changes):
        player.at(4 * bar).play(keys_of(other))
    begins = 4 * len(changes)
    for semitones in range(12):
        chord = parse_symbol(name).transposed(semitones)
        there = deepcopy(player).at(begins).play(keys_of(symbol(chord, Key(0)))).at(begins + later)
        heard = there.ear.heard(moment(begins + later)).chord
        assert heard is not None
        yield chord, heard


def keys_of(name: str) -> str:
    """The keys of a chord, as two hands play it."""
    return " ".join(map(str, voiced(name)))


def row(name: str) -> str:
    """One kind of chord, counted."""
    cells = [f"{name:10}{12 * len(BEFORE):6}"]
    for later in (AT_ONCE, LATER):
        pairs = [pair for before in BEFORE for pair in heard_after(before, name, later)]
        roots = sum(heard.root != played.root for played, heard in pairs)
        names = sum(heard != played for played, heard in pairs)
        cells.append(f"{roots:10}{names:8}")
    return "  ".join(cells)


def main() -> None:
    """Print the table."""
    argparse.ArgumentParser(description=__doc__.split("\n")[0]).parse_args()
    print(f"{'':10}played    at once: root    name      later: root    name")
    for name in (*ON_ITS_ROOT, *OVER_ANOTHER):
        print(row(name), flush=True)


if __name__ == "__main__":
    run(main)
