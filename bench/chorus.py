"""One chorus told bar by bar: what was expected, how surely, and what the bass played.

    python -m bench.chorus [--preset NAME] [--seed N]

The changes are made up.  The chorus told is the second; one chord of it is not what it was in the
first.  The table is the one in docs/foresight.md.
"""

from __future__ import annotations

import argparse
from fractions import Fraction
from random import Random

from bench.arguments import run
from bench.pianist import BEAT_SECONDS, TEMPO, comping
from bench.watched import Outlook, WatchedForesight
from engine.bassist import Bassist
from engine.events import Forecast, Outgoing, Play, Stop
from engine.theory.harmony import Key
from engine.theory.symbols import symbol
from ports.replay import replay
from presets.loader import load

KEY = Key(8)
CHORUS = "Ab Fm7 | Bbm7 Eb7 | Cm7 F7 | Bbm7 Eb7 | Db | Gb7 | Ab/Eb Eb7 | Ab"
CHANGED = CHORUS.replace("| Gb7 |", "| Fm7 |")
BEATS = 4
EARLY = 0.125


def halves(chorus: str) -> list[str]:
    """The chord of each half bar."""
    bars = [bar.split() for bar in chorus.split("|")]
    return [bar[i * len(bar) // 2] for bar in bars for i in range(2)]


def expected(call: Forecast | None) -> str:
    """A call as a person would say it."""
    if call is None or call.chord is None:
        return "nothing"
    return f"{symbol(call.chord, KEY)} {call.confidence:.0%}"


def note(play: Play) -> str:
    """The note's name; one that leads into another stands in italics."""
    name = KEY.tone_name(play.note % 12)
    return f"*{name}*" if play.written.aims_at is not None else name


def row(bar: int, chords: list[str], calls: dict[Fraction, Forecast], notes: list[Play]) -> str:
    """One bar of the table."""
    first = Fraction(BEATS * bar)
    starts = [first] if chords[0] == chords[1] else [first, first + 2]
    called = ", ".join(expected(calls.get(start)) for start in starts)
    played = [p for p in notes if first - EARLY <= p.beat < first + BEATS - EARLY]
    names = " ".join(note(p) for p in played if not p.written.ghost)
    late = ", ".join(after(start, played) for start in starts)
    return f"| {' '.join(dict.fromkeys(chords))} | {called} | {names} | {late} |"


def after(start: Fraction, played: list[Play]) -> str:
    """How long after a beat the first note on it begins."""
    first = next((p for p in played if p.beat >= start - EARLY), None)
    if first is None or first.beat > start + EARLY:
        return "none"
    return f"{(first.at - float(start) * BEAT_SECONDS) * 1000:.0f} ms"


def main() -> None:
    """Play two choruses and print the second."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--preset", default="walking")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    calls: dict[Fraction, Forecast] = {}

    def keep(ahead: Outlook) -> Outlook:
        """Of each beat the last call before it."""
        calls.update((forecast.beat, forecast) for forecast in ahead)
        return ahead

    foresight = WatchedForesight(keep)
    bassist = Bassist(load(options.preset), Random(options.seed), tempo=TEMPO, foresight=foresight)
    chords = halves(CHORUS) + halves(CHANGED)
    out: list[Outgoing] = []
    events = comping(" ".join(chords), beats_each=2)
    replay(bassist, [*events, Stop(events[-1].at)], out.append)
    notes = [o for o in out if isinstance(o, Play)]
    print("| played by the keys | expected a beat before | played by the bass | after the beat |")
    print("| --- | --- | --- | --- |")
    bars = len(chords) // 2
    for bar in range(bars // 2, bars):
        print(row(bar, chords[2 * bar : 2 * bar + 2], calls, notes))


if __name__ == "__main__":
    run(main)
