"""How well changes are met in the rhythms that keyboard players comp in.

    python -m bench.rhythms FOLDER [--every N] [--preset NAME] [--rhythm NAME] [--folds CACHE]

A folder of charts (bars and chords, no notes): those in 4/4 throughout are played in each rhythm by
two hands, a bass and a close chord, as exactly as people play (5 ms late, give or take 10, a
chord's keys within 12 ms) at 120 a minute, without a chart.  A chord that begins where the rhythm
has no stroke gets one of its own; in the rhythms that lay back it waits for the next, in those
that push it comes with the last one before.  Foreseen and repeated as in bench.expecting, landed
and clash as in bench.landing; elsewhere is the share of a song's bass notes, between the changes
too, that were written over another root than the chart's, on an average of the songs that have
any; a note that comes with a chord which the rhythm pushes is over that chord.  With `--folds`
every song is heard and foreseen with tables that were fitted on others (see bench.folds).
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from dataclasses import replace
from enum import Enum
from math import isnan, nan
from pathlib import Path
from statistics import fmean
from tempfile import TemporaryDirectory
from typing import Final, NamedTuple, assert_never

from bench.alter import Hands, struck_by
from bench.arguments import a_folder, folder_of_songs, from_one, run
from bench.corpus import Label, Note, Song, read_charts
from bench.expecting import Measured, save
from bench.folds import Teaching, taught_from
from bench.playing import Take, take
from bench.voicings import charted, close, merged
from engine.style import Style
from engine.theory.harmony import Chord
from engine.theory.labels import parse_harte
from ports.files import FileError
from presets.loader import load


class Hand(Enum):
    """Which hand strikes, and what the left one plays."""

    LEFT = "left"
    FIFTH = "the fifth in the bass, if the chord goes on"
    WALK = "the next note of a bass that walks"
    RIGHT = "right"
    BOTH = "both"


class Stroke(NamedTuple):
    """A place in the bar, in quarter notes, how long the keys are held, and by which hand."""

    at: float
    length: float
    hand: Hand = Hand.BOTH


class Rhythm(NamedTuple):
    """Strokes of a bar of 4/4; how far after a change the next may stand for it, or before."""

    strokes: tuple[Stroke, ...]
    lays_back: float = 0.0
    pushes: float = 0.0


BEATS: Final = (0.0, 1.0, 2.0, 3.0)
RHYTHMS: Final = {
    "held": Rhythm((Stroke(0, 4),)),
    "quarters": Rhythm(tuple(Stroke(b, 0.6) for b in BEATS)),
    "charleston": Rhythm((Stroke(0, 0.9), Stroke(1.5, 0.4))),
    "sixteenths": Rhythm((
        Stroke(0, 0.2), Stroke(0.75, 0.2, Hand.RIGHT), Stroke(1.5, 0.2, Hand.RIGHT),
        Stroke(2.25, 0.2), Stroke(3.5, 0.2, Hand.RIGHT),
    )),
    "pushed": Rhythm((Stroke(1.5, 1.9), Stroke(3.5, 1.9)), pushes=0.5),
    "bass, chord": Rhythm(tuple(
        Stroke(b, 0.9, Hand.RIGHT if b % 2 else Hand.LEFT) for b in BEATS
    )),
    "bass, chord, fifth, chord": Rhythm((
        Stroke(0, 0.9, Hand.LEFT), Stroke(1, 0.7, Hand.RIGHT),
        Stroke(2, 0.9, Hand.FIFTH), Stroke(3, 0.7, Hand.RIGHT),
    )),
    "bass, then chords": Rhythm((
        Stroke(0, 3.9, Hand.LEFT), *(Stroke(b, 0.9, Hand.RIGHT) for b in BEATS[1:]),
    )),
    "walking bass, chords": Rhythm((
        *(Stroke(b, 0.95, Hand.WALK) for b in BEATS),
        Stroke(0, 1.4, Hand.RIGHT), Stroke(2, 1.4, Hand.RIGHT),
    )),
    "right hand only": Rhythm((Stroke(0, 4, Hand.RIGHT),)),
    "two and four": Rhythm((Stroke(1, 0.4), Stroke(3, 0.4)), lays_back=1.0),
    "off the beats": Rhythm(tuple(Stroke(b + 0.5, 0.25) for b in BEATS), lays_back=0.5),
}  # fmt: skip

HANDS: Final = Hands(late=0.005, give=0.010, apart=0.012)
_LOWEST: Final = 36  # C2: the left hand keeps to the octave above it
_JUST: Final = 0.1  # a note that begins so little before a change is written for it


def in_four(song: Song) -> bool:
    """Whether a charted song is in 4/4 throughout, as the rhythms are."""
    return {str(change.metre) for change in song.metres} == {"4/4"}


def played(song: Song, rhythm: Rhythm) -> Song:
    """A charted song in 4/4, comped in a rhythm; keys may be struck again before they are let go.

    bench.alter.behind lets them go.
    """
    labels = tuple(merged(song.labels))
    notes = []
    for bar in range(0, int(labels[-1].end), 4):
        for i, stroke in _strokes(labels, bar, rhythm):
            end = max(min(stroke.at + stroke.length, labels[i].end), stroke.at + 0.1)
            keys = _keys(labels, i, stroke)
            notes += [Note(stroke.at, end, key, 80) for key in keys]
    return replace(song, bars=(), notes=tuple(sorted(notes)))


def _strokes(labels: Sequence[Label], bar: int, rhythm: Rhythm) -> Iterator[tuple[int, Stroke]]:
    """The strokes of a bar, each with its chord: its own, and those for changes without one."""
    strokes = [s._replace(at=bar + s.at) for s in rhythm.strokes]
    for stroke in strokes:
        ahead = rhythm.pushes if stroke.at % 1 else 0.0
        chords = [i for i, x in enumerate(labels) if x.start <= stroke.at + ahead < x.end]
        yield from ((i, stroke) for i in chords)
    for i, label in enumerate(labels):
        if bar <= label.start < bar + 4:
            first, last = label.start - rhythm.pushes, label.start + rhythm.lays_back
            in_bar_before = bar and rhythm.pushes and label.start == bar  # where it was pushed
            if not in_bar_before and not any(first <= s.at <= last for s in strokes):
                yield i, Stroke(label.start, 0.9)


def _keys(labels: Sequence[Label], i: int, stroke: Stroke) -> list[int]:
    """The keys of a stroke for one of the chords."""
    chord = parse_harte(labels[i].harte)
    if chord is None:
        return []
    tones = [(chord.root + i) % 12 for i in sorted(chord.quality.intervals)]
    turns = [close(tones[i:] + tones[:i], 52 + j) for i in range(len(tones)) for j in range(12)]
    right = min(turns, key=lambda keys: abs(sum(keys) / len(keys) - 61))
    match stroke.hand:
        case Hand.RIGHT:
            return right
        case Hand.BOTH:
            return [_LOWEST + chord.bass, *right]
        case Hand.LEFT:
            return [_LOWEST + chord.bass]
        case Hand.FIFTH:
            goes_on = labels[i].start < stroke.at
            return [_LOWEST + (_fifth(chord) if goes_on else chord.bass)]
        case Hand.WALK:
            onward = parse_harte(labels[i + 1].harte) if i + 1 < len(labels) else None
            since, left = stroke.at - labels[i].start, labels[i].end - stroke.at
            return [_LOWEST + _walked(chord, onward, int(since), is_last=left <= 1)]
        case _:
            assert_never(stroke.hand)


def _fifth(chord: Chord) -> int:
    interval = next((i for i in chord.quality.intervals if i in {6, 7, 8}), 7)
    return (chord.root + interval) % 12


def _walked(chord: Chord, onward: Chord | None, beats: int, *, is_last: bool) -> int:
    """The bass first, then up the chord, and last a semitone beside where the next one stands."""
    if beats == 0:
        return chord.bass
    if is_last and onward is not None:
        rises = (onward.bass - chord.bass) % 12 <= 6
        return (onward.bass + (-1 if rises else 1)) % 12
    intervals = chord.quality.intervals
    return (chord.root + intervals[beats % len(intervals)]) % 12


def elsewhere(song: Song, heard: Take, pushes: float = 0.0) -> float:
    """The share of bass notes written over another root, or slash bass, than the chart's.

    A note may be over the chord that is due so many quarter notes later, if chords are pushed.
    Not a number if there are no bass notes over the chart's chords.
    """
    wrong = []
    for note in heard.notes:
        labels = {song.label_at(note.begins + _JUST + ahead) for ahead in (0.0, pushes)}
        chords = [chord for label in labels if (chord := parse_harte(label)) is not None]
        if chords:
            roots = {root for chord in chords for root in (chord.root, chord.bass)}
            wrong.append(note.play.written.chord.root not in roots)
    return sum(wrong) / len(wrong) if wrong else nan


def measure(songs: Sequence[Song], rhythm: Rhythm, style: Style, taught: Teaching) -> str:
    """The figures of one rhythm as a line."""
    measured, shares = Measured(), []
    for song in songs:
        comped = struck_by(HANDS, played(song, rhythm))
        with TemporaryDirectory() as made:
            save(comped, Path(made))
            heard = take(comped, Path(made), style, taught=taught(song))
        measured.add(comped, heard)
        shares.append(elsewhere(comped, heard, rhythm.pushes))
    cells = measured.tally.cells()
    told = "  ".join(f"{name} {cells[name]:6.1%}" for name in ("foreseen", "repeated"))
    known = [share for share in shares if not isnan(share)] or [nan]
    return f"{told}  {measured.landing.report()}  elsewhere {fmean(known):.1%}"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("folder", type=folder_of_songs)
    parser.add_argument("--every", type=from_one, default=1, help="only every Nth chart")
    parser.add_argument("--preset", default="soul")
    parser.add_argument("--rhythm", choices=RHYTHMS, help="this one only")
    parser.add_argument(
        "--folds", type=a_folder, metavar="CACHE", help="tables fitted on other songs"
    )
    options = parser.parse_args()
    taught = taught_from(options.folds)
    style = load(options.preset)
    charts = [charted(song) for song in read_charts(options.folder)[:: options.every]]
    songs = [song for song in charts if in_four(song)]
    if not songs:
        raise FileError(f"{options.folder} has no chart in 4/4 throughout")
    which = f"{len(songs)} of {len(charts)} charts, those in 4/4"
    print(f"{options.folder.name}, {options.preset}: {which}")
    for name in [options.rhythm] if options.rhythm else RHYTHMS:
        print(f"{name:26}{measure(songs, RHYTHMS[name], style, taught)}", flush=True)


if __name__ == "__main__":
    run(main)
