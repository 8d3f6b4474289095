"""How fast songs are replayed, and whether what comes out is whole.

For each MIDI file of a corpus folder: read it, play bass to it, write the part and the trace, all
as `groundling replay FILE --out --trace` does, timed from the first byte read to the last written
(the start of Python itself left out) in seconds of the processor, so that one core is measured
whatever else the machine does.  Then the part is read again and must hold one note at a time with
none left hanging, and each line of the trace must have the fields it is documented to have.  Every
note must lie in the style's register and on the string and fret it is written for, no two so far
apart that a hand could not get from one to the other in time, and every ghost must be short and
soft.  Ends with status 1 if a song fails.

Usage: python -m bench.replay CORPUS... [--preset NAME ... | --every-preset] [--songs N]
"""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass
from io import BytesIO
from itertools import pairwise, product
from pathlib import Path
from random import Random
from statistics import median
from time import process_time
from typing import BinaryIO, Final

import mido
from mir_eval.chord import validate_chord_label

from bench.arguments import a_folder, from_one, run
from bench.playing import Sounded, sounded
from engine.bassist import Bassist
from engine.events import Outgoing
from engine.line.grades import Grade
from engine.line.hand import reachable
from engine.style import Style
from ports.bass_file import BassFile
from ports.files import FileError
from ports.replay import replay
from ports.song import read
from ports.trace import Trace
from presets.loader import load, names

FIELDS: Final = {
    "style": {"type", "time", "beat", "name", "grade", "seed", "tuning", "span"},
    "bar": {"type", "time", "beat", "bar", "metre"},
    "chord": {"type", "time", "beat", "label", "symbol", "bass", "confidence"},
    "key": {"type", "time", "beat", "label", "confidence"},
    "expect": {"type", "time", "beat", "at_beat", "label", "confidence"},
    "note": {
        "type", "time", "beat", "until", "until_beat", "pitch", "velocity", "role", "reason",
        "string", "fret", "articulation", "joined_from", "bar", "place", "length", "chord",
        "aims_at",
    },
}  # fmt: skip
# A ghost is shorter than a sixteenth at a middling tempo, in seconds.  A shift is timed by when the
# notes fell, which player's looseness and a tempo on the move shift by this much at most.
GHOST_AT_MOST: Final = 0.12
LOOSENESS: Final = 0.03


@dataclass(frozen=True, slots=True)
class Run:
    """One song replayed: its length, how long that took, and what was wrong, if anything."""

    name: str
    song_seconds: float
    run_seconds: float
    notes: int
    faults: tuple[str, ...]

    @property
    def times_real_time(self) -> float:
        """How many seconds of music a second of work gave."""
        return self.song_seconds / self.run_seconds


def replayed(path: Path, style: Style) -> Run:
    """Replay one file and look the result over."""
    part, lines, out = BytesIO(), list[str](), list[Outgoing]()
    began = process_time()
    song = read(path)
    bass, trace = BassFile(song), Trace(lines.append, song.tempo.beat_at)

    trace.begin(style, Grade.EVERYTHING, 1)
    bassist = Bassist(style, Random(1), external_clock=True)

    def tell(told: Outgoing) -> None:
        for take in (bass.take, trace.take, out.append):
            take(told)

    replay(bassist, song.with_clock(), tell)
    trace.close(song.end)
    bass.save(part)
    took = process_time() - began
    part.seek(0)
    notes, faults = faults_of_part(part)
    faults += _faults_of_trace(lines, song.end) + faults_of_hand(sounded(out), style)
    return Run(path.stem, song.end, took, notes, tuple(faults))


def faults_of_part(part: BinaryIO) -> tuple[int, list[str]]:
    """Notes in the part, and where two sound at once, one hangs, or one ends that never began.

    A part without a note is a fault itself: a song has chords to play to.
    """
    notes, sounding, faults = 0, list[int](), list[str]()
    for message in mido.merge_tracks(mido.MidiFile(file=part).tracks):
        if message.type == "note_on":
            notes += 1
            if sounding:
                faults.append(f"note {message.note} begins while {sounding[0]} sounds")
            sounding.append(message.note)
        elif message.type == "note_off":
            if message.note in sounding:
                sounding.remove(message.note)
            else:
                faults.append(f"note {message.note} ends and does not sound")
    faults += [f"note {note} is left hanging" for note in sounding]
    return notes, faults if notes else ["the bass plays nothing"]


def _faults_of_trace(lines: list[str], end: float) -> list[str]:
    facts = [json.loads(line) for line in lines]
    faults = [f"{f} has other fields" for f in facts if set(f) != FIELDS.get(f["type"])]
    faults += [f"{f} lies outside the song" for f in facts if not 0 <= f["time"] <= end + 0.1]
    labels = {f["label"] for f in facts if f["type"] in ("chord", "expect") and f["label"]}
    for label in labels | {f["chord"] for f in facts if f["type"] == "note"}:
        try:
            validate_chord_label(label)
        except Exception as error:
            faults.append(f"{label} is no chord label: {error}")
    return faults


def faults_of_hand(notes: list[Sounded], style: Style) -> list[str]:
    """Notes that nobody could play on this neck, and ghosts that are heard as notes."""
    faults = []
    softest = style.touch.ghost + style.touch.spread
    for note in notes:
        play, written = note.play, note.play.written
        where = f"note {play.note} at beat {note.begins:.2f}"
        if style.neck.tuning[written.string - 1] + written.fret != play.note:
            faults.append(f"{where} is not on string {written.string}, fret {written.fret}")
        if not style.register.lowest <= play.note <= style.register.highest:
            faults.append(f"{where} lies outside the register")
        if written.ghost and (play.velocity > softest or note.seconds > GHOST_AT_MOST):
            faults.append(f"{where} is a ghost of {note.seconds:.2f} s, velocity {play.velocity}")
    stopped = [note for note in notes if note.play.written.fret]  # an open string moves no hand
    for last, note in pairwise(stopped):
        frets = (last.play.written.fret, note.play.written.fret)
        shift = max(0, abs(frets[1] - frets[0]) - style.neck.span + 1)
        if not reachable(shift, note.play.at - last.play.at + LOOSENESS):
            faults.append(f"fret {frets[0]} to {frets[1]} at beat {note.begins:.2f} is too far")
    return faults


def table(name: str, runs: list[Run]) -> str:
    """One corpus in one line."""
    ratios = [r.times_real_time for r in runs]
    slowest = min(runs, key=lambda r: r.times_real_time)
    hours = sum(r.song_seconds for r in runs) / 3600
    whole = sum(r.song_seconds for r in runs) / sum(r.run_seconds for r in runs)
    faulty = sum(bool(r.faults) for r in runs)
    return (
        f"{name:<24}{len(runs):>6}{hours:>8.2f}{sum(r.notes for r in runs):>8}"
        f"{whole:>9.0f}{median(ratios):>9.0f}{slowest.times_real_time:>9.0f}"
        f"{faulty:>8}  {slowest.name}"
    )


def main() -> int:
    """Print a line for each folder, and every fault."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("corpus", nargs="+", type=a_folder)
    parser.add_argument("--preset", action="append", help="this one; may be given again")
    parser.add_argument("--every-preset", action="store_true", help="all that ship, one by one")
    parser.add_argument("--songs", type=from_one, help="only so many songs of each folder")
    arguments = parser.parse_args()
    presets = names() if arguments.every_preset else arguments.preset or ["soul"]
    styles = [load(preset) for preset in presets]
    files = {each: sorted(each.glob("*.mid"))[: arguments.songs] for each in arguments.corpus}
    for corpus, paths in files.items():
        if not paths:
            raise FileError(f"{corpus} has no .mid files")
    print(f"{'':<24}{'songs':>6}{'hours':>8}{'notes':>8}{'x real':>9}{'median':>9}{'slowest':>9}"
          f"{'faulty':>8}  slowest song")  # fmt: skip
    faulty = False
    for (corpus, paths), style in product(files.items(), styles):
        runs = [replayed(path, style) for path in paths]
        print(table(f"{corpus.name} {style.name}", runs), flush=True)
        for each in (r for r in runs if r.faults):
            faulty = True
            print(f"  {each.name}: {'; '.join(each.faults[:3])}")
    return int(faulty)


if __name__ == "__main__":
    run(main)
