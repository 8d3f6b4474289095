"""How well the ear hears: chords, keys, speed, on a folder of labelled songs.

    python -m bench.hearing FOLDER [FOLDER ...] [--worst N]

Every beat with a chord label is judged by the label that holds in its middle, at four moments:
at its end (0.95 of the beat has passed), half way, a tenth of a beat in, and before any note of
it.  Root, majmin and sevenths are mir_eval's comparisons; all are shares of beats, all songs
together.  The notes are fed to the ear one by one in virtual time, and it knows nothing later.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import mir_eval.chord
import numpy as np

from bench.corpus import NO_CHORD, Note, Song, read_folder
from engine.harmony import Chord, Key
from engine.hearing.ear import DEFAULT, Ear
from engine.hearing.tables import Tables
from engine.labels import harte
from engine.meter import Moment

MOMENTS = {"end": 0.95, "half": 0.5, "tenth": 0.1, "before": 0.0}
MEASURES = {
    "root": mir_eval.chord.root,
    "majmin": mir_eval.chord.majmin,
    "sevenths": mir_eval.chord.sevenths,
}


@dataclass
class Answers:
    """What the ear said about one song: labels by moment, keys by beat."""

    song: Song
    beats: list[float] = field(default_factory=list)
    truth: list[str] = field(default_factory=list)
    said: dict[str, list[str]] = field(default_factory=lambda: {m: [] for m in MOMENTS})
    keys: list[Key] = field(default_factory=list)


def beats_of(song: Song) -> Iterator[Moment]:
    """Every felt beat of a song, bar lines as its metres have them."""
    end = song.labels[-1].end
    changes = [*song.metres[1:], None]
    bar = 1
    at = song.metres[0].start
    for change, following in zip(song.metres, changes, strict=True):
        until = float(following.start) if following else end
        while float(at) < until:
            for pulse in change.metre.pulses:
                place = float(at + pulse)
                if place < until:
                    yield Moment(song.seconds_at(place), place, at, bar, change.metre, 0.5)
            at += change.metre.bar
            bar += 1
        if following:
            at = following.start


def events_of(notes: tuple[Note, ...]) -> list[tuple[float, int, Note]]:
    """Note-offs (0) and note-ons (1) in order of time."""
    events = [(n.end, 0, n) for n in notes] + [(n.start, 1, n) for n in notes]
    return sorted(events, key=lambda e: e[:2])


def listen(song: Song, tables: Tables = DEFAULT) -> Answers:
    """Play a song to a new ear and ask it at every moment of every beat."""
    answers = Answers(song)
    ear = Ear(tables)
    events = events_of(song.notes)
    at = 0

    def play_until(moment: Moment, position: float) -> Moment:
        nonlocal at
        while at < len(events) and events[at][0] < position:
            when, on, note = events[at]
            now = _at(moment, when)
            if on:
                ear.note_on(now, note.note, note.velocity, 0)
            else:
                ear.note_off(now, note.note, 0)
            at += 1
        return _at(moment, position)

    for beat in beats_of(song):
        play_until(beat, beat.position)
        ear.cross(beat)
        answers.beats.append(beat.position)
        answers.truth.append(song.label_at(beat.position + 0.5))
        answers.keys.append(ear.heard(beat).key)
        answers.said["before"].append(_foretold(ear, tables))
        for name in ("tenth", "half", "end"):
            now = play_until(beat, beat.position + MOMENTS[name])
            answers.said[name].append(_label(ear.heard(now).chord))
    return answers


def _at(beat: Moment, position: float) -> Moment:
    return Moment(
        beat.at + (position - beat.position) * beat.seconds_per_beat,
        position,
        beat.bar_start,
        beat.bar,
        beat.metre,
        beat.seconds_per_beat,
    )


def _label(chord: Chord | None) -> str:
    return harte(chord, Key(0))


def _foretold(ear: Ear, tables: Tables) -> str:
    belief = ear.foretold()
    root = int(belief.sum(axis=1).argmax())
    return _label(Chord.of(root, tables.quality_values[int(belief[root].argmax())]))


def scores(answers: list[Answers], moment: str) -> dict[str, float]:
    """Percent right by measure, beats labelled with a chord only."""
    pairs = [
        (t, s)
        for a in answers
        for t, s in zip(a.truth, a.said[moment], strict=True)
        if t not in NO_CHORD
    ]
    truth = [t for t, _ in pairs]
    said = [s for _, s in pairs]
    out = {}
    for name, measure in MEASURES.items():
        right = measure(truth, said)
        out[name] = 100 * float(right[right >= 0].mean())
    return out


def main() -> None:
    """Print one table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("folders", nargs="+", type=Path, metavar="FOLDER")
    parser.add_argument("--worst", type=int, default=0, metavar="N")
    options = parser.parse_args()
    print(f"{'':12}{'':10}{'root':>10}{'majmin':>10}{'sevenths':>10}")
    for folder in options.folders:
        answers = [listen(song) for song in read_folder(folder) if song.notes]
        for moment in MOMENTS:
            row = scores(answers, moment)
            print(f"{folder.name:12}{moment:10}" + "".join(f"{v:10.2f}" for v in row.values()))
        by_song = sorted((scores([a], "end")["root"], a.song.name) for a in answers)
        for value, name in by_song[: options.worst]:
            print(f"{name:22}{value:10.2f}")
        print(f"songs: {len(answers)}, median song {np.median([v for v, _ in by_song]):.1f}")


if __name__ == "__main__":
    main()
