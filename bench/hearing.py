"""How well the ear hears: chords, keys, speed, on folders of labelled songs.

    python -m bench.hearing FOLDER [FOLDER ...] [--folds CACHE] [--every N] [--worst N]
        [--hours H] [--bassist]

Every felt beat with a chord label is judged by the label that holds in its middle, at four
moments: at its end (0.95 of the beat has passed), half way, a tenth of a beat in, and before any
note of it.  All are counted in quarter notes, so that a longer beat, as of 6/8, is judged before it
is over.  Root, majmin and sevenths are mir_eval's comparisons, in percent of the beats whose label
they can judge, all songs together; beats labelled N or X are left out.  The notes are fed to the
ear one by one in virtual time, and it knows nothing later.  Songs whose own notes speak against
their labels (bench/doubtful.py) are counted, and there are rows without them.  To settle is to hear
the root of a change that stands on a beat, counted from its last key near it (0.15 of a beat).

With --folds every song is heard with tables fitted on songs of other numbers, which
`python -m bench.fit_hearing ... --folds CACHE` and `python -m bench.fit_keys ... --folds CACHE`
have left in a folder (bench/folds.py tells how); without it, with the tables that ship, which
were fitted on all development songs.  --bassist adds the chords as the whole engine gave them out;
with --folds its foresight, too, was fitted on other songs (bench/fit_foresight.py).
"""

from __future__ import annotations

import argparse
from pathlib import Path
from resource import RUSAGE_SELF, getrusage

import mir_eval.key
import numpy as np

from bench.alter import joined, loose, smeared, without_low_notes
from bench.arguments import a_folder, above_nought, folder_of_songs, from_nought, from_one, run
from bench.corpus import Song, read_played
from bench.doubtful import key_in_doubt, runs_ahead
from bench.folds import Choose, Teaching, tables_from, taught_from
from bench.listening import (
    MOMENTS,
    Answers,
    beats_of,
    for_hours,
    listen,
    percent,
    scores,
    settle_times,
    worst,
)
from bench.playing import take
from engine.events import ChordHeard
from engine.hearing.taught import TAUGHT
from engine.theory.harmony import Key
from engine.theory.labels import harte
from presets.loader import load

MODULATIONS = 60
_TONICS = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")


def row(folder: str, name: str, moment: str, values: dict[str, float]) -> None:
    """Print one row of chord figures."""
    print(f"{folder:10}{name:24}{moment:8}" + "".join(f"{v:9.2f}" for v in values.values()))


def chords(folder: str, songs: list[Song], tables: Choose) -> list[Answers]:
    """The songs as they are, at all moments."""
    answers = [listen(song, tables(song)) for song in songs]
    for moment in MOMENTS:
        row(folder, "as played", moment, scores(answers, moment))
    on_time = [a for a in answers if not runs_ahead(a.song)]
    if on_time and len(on_time) < len(answers):
        name = f"less {len(answers) - len(on_time)} labelled ahead"
        for moment in ("end", "tenth"):
            row(folder, name, moment, scores(on_time, moment))
    return answers


def hard_playing(folder: str, songs: list[Song], tables: Choose) -> None:
    """The songs made harder."""
    for name, change in (
        ("pedal 0.3 beat too long", smeared),
        ("no notes below E3", without_low_notes),
        ("loose timing", loose),
    ):
        answers = [listen(change(song), tables(song)) for song in songs]
        for moment in ("end", "tenth"):
            row(folder, name, moment, scores(answers, moment))
    answers = [listen(song, tables(song), bars_off=1) for song in songs]
    row(folder, "bar told a beat late", "end", scores(answers, "end"))


def weighted(truth: Key, said: Key) -> float:
    """mir_eval's score of a key: 1, a fifth above it 0.5, relative 0.3, parallel 0.2, other 0."""
    score: float = mir_eval.key.weighted_score(_named(truth), _named(said))
    return score


def _named(key: Key) -> str:
    return f"{_TONICS[key.tonic]} {'minor' if key.minor else 'major'}"


def _silent(answers: Answers) -> int:
    """How many beats pass before the first note."""
    first = answers.song.notes[0].start
    return sum(beat + 1 <= first for beat in answers.beats)


def keys(folder: str, answers: list[Answers], name: str, at: int, *, playing: bool = False) -> None:
    """Exact, weighted and same scale, in percent of the songs with one key, after so many beats.

    The beats are counted from where the song begins, or from where the playing does.
    """
    places = [(a.song.key, a, at + (_silent(a) if playing else 0)) for a in answers]
    pairs = [(key, a.keys[min(i, len(a.keys) - 1)]) for key, a, i in places if key]
    if not pairs:
        return
    values = {
        "exact": 100 * float(np.mean([t == s for t, s in pairs])),
        "weighted": 100 * float(np.mean([weighted(t, s) for t, s in pairs])),
        "scale": 100 * float(np.mean([set(t.scale) == set(s.scale) for t, s in pairs])),
    }
    row(folder, f"key {name}", f"{len(pairs)}", values)


def all_keys(folder: str, answers: list[Answers]) -> None:
    """The keys at three moments, and once more without those in doubt, if any are."""
    sure = [a for a in answers if not key_in_doubt(a.song)]
    groups = [(answers, "")] if len(sure) == len(answers) else [(answers, ""), (sure, " sure")]
    for heard, which in groups:
        keys(folder, heard, f"after 32 beats{which}", 32)
        keys(folder, heard, f"32 played{which}", 32, playing=True)
        keys(folder, heard, f"at the end{which}", 10**9)


def modulations(folder: str, songs: list[Song], tables: Choose) -> None:
    """Joined songs: is the new scale heard four bars after the seam?"""
    hits = []
    for song, seam, other in joined(songs, MODULATIONS):
        answers = listen(song, tables(other))
        bars = [b.position for b in beats_of(song) if b.in_bar == 0 and b.position >= seam]
        if other.key is not None and len(bars) > 4:
            said = answers.keys[answers.beats.index(bars[4])]
            hits.append(set(said.scale) == set(other.key.scale))
    if hits:
        row(folder, "modulation, 4 bars", f"{len(hits)}", {"scale": 100 * float(np.mean(hits))})


def speed(folder: str, answers: list[Answers]) -> None:
    """Microseconds for an event with the belief asked for, and for a beat."""
    for name, times in (
        ("event", [t for a in answers for t in a.event_ns]),
        ("beat", [t for a in answers for t in a.beat_ns]),
    ):
        median, high = np.percentile(times, [50, 99]) / 1000
        print(f"{folder:10}microseconds per {name:8}median {median:6.0f}, 99th {high:6.0f}")


def long_evening(folder: str, song: Song, hours: float) -> None:
    """Whether hours of playing make an event dearer, or take room."""
    for_hours(song, TAUGHT, 0.2)
    room = getrusage(RUSAGE_SELF).ru_maxrss
    times = for_hours(song, TAUGHT, hours)
    grown = getrusage(RUSAGE_SELF).ru_maxrss - room - len(times) * 36 // 1024
    tenth = len(times) // 10
    first, last = (np.median(part) / 1000 for part in (times[:tenth], times[-tenth:]))
    print(
        f"{folder:10}microseconds per event   first tenth {first:4.0f}, last tenth {last:4.0f}"
        f"   ({hours:g} hours, {len(times)} events, {max(grown, 0)} kB more)"
    )


def settled(folder: str, songs: list[Song], tables: Choose) -> None:
    """Milliseconds from the last key of a new chord to its root being heard."""
    every = 1000 * np.array([t for s in songs for t in settle_times(s, tables(s))])
    times = every[~np.isnan(every)]
    if len(times):
        median, ninth = np.percentile(times, [50, 90], method="inverted_cdf")
        print(
            f"{folder:10}milliseconds to settle  median {median:6.0f}, 90th {ninth:7.0f}"
            f"   ({len(times)} changes, {len(every) - len(times)} more without a key near them)"
        )


def through_the_bassist(path: Path, songs: list[Song], taught: Teaching) -> None:
    """What the whole engine gave out."""
    style = load("soul")
    truth, said = [], []
    for song in songs:
        played = take(song, path, style, taught=taught(song))
        told = [t for t in played.told if isinstance(t, ChordHeard)]
        for beat in beats_of(song):
            past = [t for t in told if t.beat <= beat.position + MOMENTS["end"]]
            truth.append(song.label_at(beat.position + 0.5))
            said.append(harte(past[-1].chord if past else None, Key(0)))
    row(path.name, "through the engine", "end", percent(truth, said))


def main() -> None:
    """Print one table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("folders", nargs="+", type=folder_of_songs, metavar="FOLDER")
    parser.add_argument(
        "--folds", type=a_folder, metavar="CACHE", help="tables fitted on other songs"
    )
    parser.add_argument(
        "--worst", type=from_nought, default=0, metavar="N", help="list the worst songs"
    )
    parser.add_argument(
        "--every", type=from_one, default=1, metavar="N", help="hear every Nth song"
    )
    parser.add_argument(
        "--hours", type=above_nought, default=0, help="play one song for so many hours"
    )
    parser.add_argument("--bassist", action="store_true", help="ask the whole engine as well")
    options = parser.parse_args()
    tables = tables_from(options.folds)
    taught = taught_from(options.folds) if options.bassist else None
    print("tables:", options.folds or "those that ship, fitted on all development songs")
    print(f"{'':42}{'root':>9}{'majmin':>9}{'sevenths':>9}   (keys: exact, weighted, scale)")
    for path in options.folders:
        songs = read_played(path)[:: options.every]
        answers = chords(path.name, songs, tables)
        hard_playing(path.name, songs, tables)
        all_keys(path.name, answers)
        modulations(path.name, songs, tables)
        settled(path.name, songs, tables)
        speed(path.name, answers)
        if options.hours:
            long_evening(path.name, songs[0], options.hours)
        if taught is not None:
            through_the_bassist(path, songs, taught)
        rights = [(scores([a], "end")["root"], a.song.name) for a in answers]
        for value, name in worst(rights, options.worst):
            print(f"{name:42}{value:9.2f}")


if __name__ == "__main__":
    run(main)
