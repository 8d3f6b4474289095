"""What the styles do: one row of figures for each preset, over the changes of labelled songs.

The line is asked bar by bar for a part over the labelled chords, all of them sure, so that the
figures are those of the style and not of the ear.  Off the beat is off the felt beats of the
metre; a change is a new root or bass, and landed on if its first note is one of them; a way in is
the last note before a change, ghosts and the root that is left not counted; a rhythm is the set of
places in the bar where notes begin.

--kin asks how well the styles can be told apart: each stretch of sixteen bars of the second half
of the songs is given to the style whose stretches in the first half lie nearest.

Usage: python -m bench.styles CORPUS [--preset NAME ...] [--songs N] [--json] [--kin]
       [--reference FILE]
"""

from __future__ import annotations

import argparse
import json
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from pathlib import Path
from statistics import fmean, median, pstdev
from typing import Any

from bench.arguments import folder_of_songs, from_one, run
from bench.charts import Chart, Part, charts_in, play
from engine.line.hand import moved
from engine.line.pools import scale_of
from engine.score import BassNote
from engine.style import Style
from engine.theory.harmony import Key
from engine.theory.meter import Metre
from ports.files import FileError, content_of
from presets.loader import load, names

STEPS = 16
INTERVALS = {
    "same": (0,),
    "step": (1, 2),
    "third": (3, 4),
    "fourth, fifth": (5, 7),
    "octave": (12,),
}
WAYS = {1: "semitone below", 11: "semitone above", 2: "whole below", 10: "whole above",
        5: "fifth", 7: "fourth", 0: "same"}  # fmt: skip
STRETCH = 16

# Where a reference file has its groups, and which of them each style is held against.
KINDS = "midi_by_genre"
KIN = {
    "soul": "soul_rnb_60s", "rock": "rock_poprock", "walking": "swing_crooner",
    "disco": "disco_funk", "funk": "disco_funk", "country": "country", "pop": "pop_other",
    "ballad": "pop_other",
}  # fmt: skip


def report(style: Style, parts: Sequence[tuple[Part, Key]]) -> dict[str, Any]:
    """All figures of a style over some parts."""
    metre = style.metres[0]
    bars = [bar for part, _ in parts for bar in part if bar]
    notes = [note for bar in bars for note in bar]
    toned = [(n, key) for part, key in parts for bar in part for n in bar if not n.ghost]
    ones = [(n, key) for n, key in toned if n.beat % metre.bar == 0]
    ways = Counter(way for part, _ in parts for way in _ways_in(part))
    return {
        "notes per bar": len(notes) / len(bars),
        "notes per beat": len(notes) / len(bars) / len(metre.pulses),
        "off the beat": _share(notes, lambda n: n.beat % metre.bar not in metre.pulses),
        "ghosts": _share(notes, lambda n: n.ghost),
        "length": median(_lengths(style, parts)),
        "tones": _tone_shares(toned),
        "tones on one": _tone_shares(ones),
        "intervals": _interval_shares(parts),
        "ways in": {way: count / max(1, ways.total()) for way, count in ways.most_common()},
        "semitones in": _of(ways, "semitone below", "semitone above"),
        "lands on root": landings(parts),
        "two commonest rhythms": fmean(_two_commonest(part, metre) for part, _ in parts),
        "four or more in bar": _share(bars, lambda bar: len(bar) >= 4),
        "longest copy": max(_longest_copy(part, metre) for part, _ in parts),
        "bars without repeat": max(_longest_new(part, metre) for part, _ in parts),
        "lowest": min(n.note for n, _ in toned),
        "highest": max(n.note for n, _ in toned),
        "span": fmean(_span(part) for part, _ in parts),
        "frets a second": max(_shifts(style, parts)),
        "steps": _steps(bars, metre),
    }


def _share(things: Sequence[Any], holds: Callable[[Any], bool]) -> float:
    return sum(map(holds, things)) / max(1, len(things))


def _of(counts: Counter[str], *names: str) -> float:
    return sum(counts[name] for name in names) / max(1, counts.total())


def _notes(part: Part) -> list[BassNote]:
    return [note for bar in part for note in bar]


def _lengths(style: Style, parts: Sequence[tuple[Part, Key]]) -> Iterator[float]:
    for part, _ in parts:
        for note, following in pairwise(_notes(part)):
            if not note.ghost and following.beat - note.beat <= 4:
                length = note.length * style.touch.length
                yield min(1.2, float(length / (following.beat - note.beat)))


def _tone_shares(toned: Sequence[tuple[BassNote, Key]]) -> dict[str, float]:
    counts = Counter(_tone(note, key) for note, key in toned)
    return {kind: counts[kind] / max(1, len(toned)) for kind in ("root", "chord", "scale", "other")}


def _tone(note: BassNote, key: Key) -> str:
    pitch_class = note.note % 12
    if pitch_class in (note.chord.root, note.chord.bass):
        return "root"
    if pitch_class in note.chord.pitch_classes:
        return "chord"
    return "scale" if pitch_class in scale_of(note.chord, key) else "other"


def _interval_shares(parts: Sequence[tuple[Part, Key]]) -> dict[str, float]:
    sizes = [
        abs(b.note - a.note)
        for part, _ in parts
        for a, b in pairwise(n for n in _notes(part) if not n.ghost)
    ]
    shares = {k: sum(s in v for s in sizes) / max(1, len(sizes)) for k, v in INTERVALS.items()}
    return {**shares, "other": 1 - sum(shares.values())}


def _arrivals(part: Part) -> Iterator[tuple[BassNote, BassNote]]:
    for before, after in pairwise(n for n in _notes(part) if not n.ghost):
        old, new = before.chord, after.chord
        if (old.root, old.bass) != (new.root, new.bass):
            yield before, after


def _ways_in(part: Part) -> Iterator[str]:
    for before, after in _arrivals(part):
        if before.note % 12 not in (before.chord.root, before.chord.bass) or before.aims_at:
            yield WAYS.get((after.chord.bass - before.note) % 12, "other")


def landings(parts: Sequence[tuple[Part, Key]]) -> float:
    """The share of changes whose first note is their root or their slash bass."""
    landed = [
        after.note % 12 in (after.chord.root, after.chord.bass)
        for part, _ in parts
        for _, after in _arrivals(part)
    ]
    return sum(landed) / max(1, len(landed))


def _rhythm(bar: Sequence[BassNote], metre: Metre) -> tuple[Any, ...]:
    return tuple(note.beat % metre.bar for note in bar)


def _two_commonest(part: Part, metre: Metre) -> float:
    counts = Counter(_rhythm(bar, metre) for bar in part if bar)
    return sum(count for _, count in counts.most_common(2)) / max(1, counts.total())


def _literal(bar: Sequence[BassNote], metre: Metre) -> tuple[Any, ...]:
    return tuple((note.beat % metre.bar, note.note) for note in bar)


def _longest_copy(part: Part, metre: Metre) -> int:
    """The longest run of bars that are the same to the note."""
    longest = run = 1
    for before, bar in pairwise(part):
        run = run + 1 if bar and _literal(bar, metre) == _literal(before, metre) else 1
        longest = max(longest, run)
    return longest


def _longest_new(part: Part, metre: Metre) -> int:
    """The longest run of bars none of whose rhythms was heard in the eight bars before."""
    longest = run = 0
    rhythms = [_rhythm(bar, metre) for bar in part]
    for place, rhythm in enumerate(rhythms):
        run = 0 if rhythm in rhythms[max(0, place - 8) : place] else run + 1
        longest = max(longest, run)
    return longest


def _span(part: Part) -> float:
    """Semitones from the 5th to the 95th in a hundred of a part's notes."""
    notes = sorted(note.note for note in _notes(part) if not note.ghost)
    return notes[int(0.95 * (len(notes) - 1))] - notes[int(0.05 * (len(notes) - 1))]


def _shifts(style: Style, parts: Sequence[tuple[Part, Key]]) -> Iterator[float]:
    seconds_per_beat = 60 / style.tempo.high
    yield 0.0
    for part, _ in parts:
        position = 1
        for before, after in pairwise(_notes(part)):
            there = moved(position, after.fret, style.neck.span)
            yield abs(there - position) / (float(after.beat - before.beat) * seconds_per_beat)
            position = there


def _steps(bars: Sequence[Sequence[BassNote]], metre: Metre) -> list[float]:
    counts = Counter(int(n.beat % metre.bar * STEPS / metre.bar) for bar in bars for n in bar)
    return [counts[step] / len(bars) for step in range(STEPS)]


# Telling them apart ----------------------------------------------------------------------------


def vector(style: Style, part: Part, key: Key) -> list[float]:
    """A stretch of a part as figures of rhythm and notes, in no style's favour."""
    found = report(style, [(part, key)])
    return [
        *found["steps"],
        found["notes per bar"] / 8,
        found["notes per beat"] / 2,
        found["off the beat"],
        found["ghosts"] * 2,
        found["length"],
        *found["tones"].values(),
        *found["intervals"].values(),
        found["two commonest rhythms"] / 2,
        found["span"] / 24,
    ]


def told_apart(styles: Sequence[Style], charts: Sequence[Chart]) -> dict[str, float]:
    """For each style the share of held-out stretches that are nearest to its own."""
    half = len(charts) // 2
    known = [(s.name, v) for s in styles for v in _stretches(s, charts[:half])]
    if not known:
        raise FileError(f"to tell styles apart takes two songs of {STRETCH} bars or more")
    scales: list[float] = [
        max(pstdev(column), 0.02) for column in zip(*(v for _, v in known), strict=True)
    ]

    def distance(one: Sequence[float], other: Sequence[float]) -> float:
        return sum(((a - b) / s) ** 2 for a, b, s in zip(one, other, scales, strict=True))

    shares = {}
    for style in styles:
        guesses = [
            min(known, key=lambda each, v=v: distance(each[1], v))[0]  # type: ignore[misc]
            for v in _stretches(style, charts[half:])
        ]
        shares[style.name] = guesses.count(style.name) / max(1, len(guesses))
    return shares


def _stretches(style: Style, charts: Sequence[Chart]) -> Iterator[list[float]]:
    for seed, (changes, key) in enumerate(charts):
        part = [bar for bar in play(style, changes, key, seed) if bar]
        for start in range(0, len(part) - STRETCH + 1, STRETCH):
            yield vector(style, part[start : start + STRETCH], key)


# Printing --------------------------------------------------------------------------------------

COLUMNS: dict[str, tuple[str, Callable[[dict[str, Any]], float]]] = {
    "a bar": ("{:6.2f}", lambda r: r["notes per bar"]),
    "a beat": ("{:6.2f}", lambda r: r["notes per beat"]),
    "off": ("{:6.0%}", lambda r: r["off the beat"]),
    "chord": ("{:6.0%}", lambda r: r["tones"]["root"] + r["tones"]["chord"]),
    "root": ("{:6.0%}", lambda r: r["tones"]["root"]),
    "one": ("{:6.0%}", lambda r: r["tones on one"]["root"] + r["tones on one"]["chord"]),
    "semi": ("{:6.0%}", lambda r: r["semitones in"]),
    "lands": ("{:6.0%}", lambda r: r["lands on root"]),
    "top2": ("{:6.0%}", lambda r: r["two commonest rhythms"]),
    "4+": ("{:6.0%}", lambda r: r["four or more in bar"]),
    "copy": ("{:6d}", lambda r: r["longest copy"]),
    "new": ("{:6d}", lambda r: r["bars without repeat"]),
    "span": ("{:6.1f}", lambda r: r["span"]),
    "fr/s": ("{:6.0f}", lambda r: r["frets a second"]),
}


def print_table(reports: dict[str, dict[str, Any]]) -> None:
    """One line a style."""
    print(f"{'':14}" + "".join(f"{name:>7}" for name in COLUMNS))
    for name, found in reports.items():
        cells = (" " + form.format(pick(found)) for form, pick in COLUMNS.values())
        print(f"{name:14}" + "".join(cells))


def print_beside(reports: dict[str, dict[str, Any]], reference: dict[str, Any]) -> None:
    """Each style's figures beside those of real parts of its kind, with their spread if given."""
    groups = reference[KINDS]
    print(f"\n{'':14}{'':22}{'ours':>8}{'real':>8}   10 to 90 in 100")
    for name, found in reports.items():
        if KIN.get(name) in groups:
            for what, ours, real, spread in _pairs(found, groups[KIN[name]]):
                within = "" if spread is None else f"   {spread[0]:.2f} to {spread[-1]:.2f}"
                flag = " <" if spread and not spread[0] <= ours <= spread[-1] else ""
                print(f"{name:14}{what:22}{ours:8.2f}{real:8.2f}{within}{flag}")


def _pairs(
    found: dict[str, Any], real: dict[str, Any]
) -> Iterator[tuple[str, float, float, list[float] | None]]:
    tones = real["tone_class(chords_inferred)"]
    steps, moves = real["abs_interval_semitones"], real["bar_rhythm_repetition"]
    bar, length = real["notes_per_bar"], real["duration_over_IOI"]
    yield "notes per bar", found["notes per bar"], bar["mean"], bar["p10_50_90"]
    top = moves["share_bars_in_top2"], moves["top2_p10_50_90"]
    yield "two commonest rhythms", found["two commonest rhythms"], *top
    spread = length["pooled_p5_25_50_75_95"]
    yield "length", found["length"], length["mean_of_song_medians"], spread
    onsets = real.get("share_of_onsets(straight)")
    if onsets:
        yield "off the beat", found["off the beat"], 1 - onsets["on_beat"], None
    yield "roots", found["tones"]["root"], tones["all"]["root"], None
    yield "roots on one", found["tones on one"]["root"], tones["b1"]["root"], None
    yield "same note", found["intervals"]["same"], steps["0"], None
    yield "steps", found["intervals"]["step"], steps["1"] + steps["2"], None
    yield "octaves", found["intervals"]["octave"], steps["12"], None
    yield "span", found["span"], real["register_midi"]["per_song_span_p5_95_median"], None


def reference(text: str) -> dict[str, Any]:
    """The figures of real parts, by kind, that are in a file."""
    try:
        found = json.loads(content_of(Path(text), "a JSON file", lambda _: True))
    except (FileError, ValueError) as error:
        why = error if isinstance(error, FileError) else f"{text} is not JSON: {error}"
        raise argparse.ArgumentTypeError(str(why)) from error
    if not isinstance(found, dict) or KINDS not in found:
        raise argparse.ArgumentTypeError(f"{text} has no {KINDS!r} in it")
    return found


def main() -> None:
    """Print the table, or JSON."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("corpus", type=folder_of_songs)
    parser.add_argument("--preset", action="append", help="only this one; may be given again")
    parser.add_argument("--songs", type=from_one, default=12, help="how many songs")
    parser.add_argument("--json", action="store_true", help="print everything as JSON")
    parser.add_argument("--kin", action="store_true", help="how well the styles are told apart")
    parser.add_argument(
        "--reference", type=reference, metavar="FILE", help="figures of real parts, as JSON"
    )
    arguments = parser.parse_args()
    if arguments.json and (arguments.kin or arguments.reference):
        parser.error("--json prints the figures of the styles; leave --kin and --reference out")
    charts = charts_in(arguments.corpus, arguments.songs)
    styles = [load(name) for name in arguments.preset or names()]
    reports = {
        style.name: report(style, [(play(style, c, k, i), k) for i, (c, k) in enumerate(charts)])
        for style in styles
    }
    if arguments.json:
        print(json.dumps(reports, indent=1))
        return
    print_table(reports)
    if arguments.reference:
        print_beside(reports, arguments.reference)
    if arguments.kin:
        print("\ntold apart: share of held-out stretches given to their own style")
        for name, share in told_apart(styles, charts).items():
            print(f"{name:14}{share:7.0%}")


if __name__ == "__main__":
    run(main)
