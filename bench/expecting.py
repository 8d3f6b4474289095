"""How well changes are foreseen through the whole engine: chords heard, not given.

    python -m bench.expecting FOLDER... [--preset NAME] [--every N] [--rendered MANNER]
        [--spread MS] [--late MS] [--give MS] [--folds CACHE]

Half a beat before each felt beat, the change that was last told as expected is taken (what the
trace calls `expect`), for foreseen and alarms alike also if it is expected no longer.  Foreseen: of
the beats at which the labelled root changes, those for which that change, to that root, was
expected; repeated, new, alarms and ECE as in bench.foresight (ECE over the beats for which a change
was expected).  Grounded: the same where the bass of a slash chord is as good as its root (Am/D and
D9sus4 are the same keys), also a bass that is known to stay.  Known: of all beats of a chord after
one of a chord, those whose root was expected to sound: the root told for that beat, or else the
root last heard; "at last" the same a fifth of a beat before it, the last place whose keys are not
taken for its own.  Leading in: by which interval, octaves aside, the last bass note before a
foreseen change leads into the note that is played on it.  Reached: of the notes written a semitone
from the root they lead to, those that this note resolves.  A change on which no note is played has
neither.
Landed and clash are those of bench.landing.  All is printed again without the songs whose labels
run ahead of their keys (bench/doubtful.py), if there are any.
With `--folds` every song is heard and foreseen with tables that were fitted on others (see
bench.folds).
"""

from __future__ import annotations

import argparse
from bisect import bisect_left
from collections import Counter
from collections.abc import Container
from dataclasses import dataclass, field, replace
from itertools import pairwise
from math import nan
from pathlib import Path
from tempfile import TemporaryDirectory

import mido
import numpy as np

from bench.alter import Hands, struck_by
from bench.arguments import a_folder, folder_of_songs, from_one, run
from bench.corpus import Song, read_charts, read_played
from bench.doubtful import runs_ahead
from bench.folds import taught_from
from bench.foresight import NO_ROOT, Felt, calibration_error, felt_beats, mean_of, repeats, root_of
from bench.landing import Landing, count
from bench.playing import Take, take
from bench.voicings import MANNERS, charted, render
from engine.events import ChangeExpected, ChordHeard
from engine.theory.meter import ON_THE_BEAT
from presets.loader import load

BEFORE = 0.5
EARLY = 0.125
TICKS = 480
WAYS_IN = {
    0: "the same",
    1: "semitone",
    2: "tone",
    5: "fourth or fifth",
    7: "fourth or fifth",
}


class _Trace:
    """What was told while a song was played, to be looked up by place."""

    def __init__(self, played: Take) -> None:
        self._expects = [told for told in played.told if isinstance(told, ChangeExpected)]
        self._chords = [told for told in played.told if isinstance(told, ChordHeard)]
        self._expect_beats = [told.beat for told in self._expects]
        self._chord_beats = [told.beat for told in self._chords]

    def expected(self, beat: float, by: float) -> ChangeExpected | None:
        """The change last told before a place, if it was for this beat."""
        last = bisect_left(self._expect_beats, by) - 1
        told = self._expects[last] if last >= 0 else None
        return told if told is not None and abs(told.at_beat - beat) < 0.1 else None

    def heard(self, by: float) -> int:
        """The root last heard before a place."""
        at = bisect_left(self._chord_beats, by) - 1
        return root_of(self._chords[at].chord) if at >= 0 else NO_ROOT


@dataclass
class Tally:
    """Beats of many songs: what was told for each, and what came."""

    told: list[int] = field(default_factory=list)
    sure: list[float] = field(default_factory=list)
    heard: list[int] = field(default_factory=list)
    at_last: list[int] = field(default_factory=list)
    came: list[int] = field(default_factory=list)
    grounded: list[bool] = field(default_factory=list)
    before: list[int] = field(default_factory=list)
    repeated: list[bool] = field(default_factory=list)
    ways_in: Counter[str] = field(default_factory=Counter)
    approaches: int = 0
    resolved: int = 0

    def add_song(
        self, beats: list[Felt], played: Take, unjudged: Container[int] = frozenset()
    ) -> None:
        """Count the beats of one song but those that are not to be judged."""
        trace = _Trace(played)
        repeated = list(repeats(beats))
        foreseen: list[float] = []
        for i in range(1, len(beats)):
            came, before = root_of(beats[i].chord), root_of(beats[i - 1].chord)
            if NO_ROOT in (came, before) or i in unjudged:
                continue
            beat = float(beats[i].beat)
            told = trace.expected(beat, beat - BEFORE)
            self.heard.append(trace.heard(beat - BEFORE))
            self.told.append(root_of(told.chord) if told else -1)
            self.sure.append(told.confidence if told else 0.0)
            told = trace.expected(beat, beat - ON_THE_BEAT)
            self.at_last.append(root_of(told.chord) if told else trace.heard(beat - ON_THE_BEAT))
            self.came.append(came)
            self.grounded.append(_is_ground(self.told[-1], self.heard[-1], beats[i - 1 : i + 1]))
            self.before.append(before)
            self.repeated.append(repeated[i - 1])
            if before != came == self.told[-1]:
                foreseen.append(beat)
        self.lead_in(beats, played, frozenset(foreseen))

    def lead_in(self, beats: list[Felt], played: Take, foreseen: Container[float]) -> None:
        """Count how the bass leads into the changes of a song, some of which were foreseen."""
        changes = [
            float(felt.beat)
            for last, felt in pairwise(beats)
            if root_of(felt.chord) not in (root_of(last.chord), NO_ROOT)
        ]
        begins = [note.begins for note in played.notes]
        for beat in changes:
            at = bisect_left(begins, beat - EARLY)
            if not 0 < at < len(begins) or begins[at] > beat + EARLY:
                continue
            last, first = played.notes[at - 1].play, played.notes[at].play
            if beat in foreseen:
                self.ways_in[WAYS_IN.get(abs(first.note - last.note) % 12, "other")] += 1
            aim = last.written.aims_at
            if aim is not None and (last.note - aim) % 12 in (1, 11):
                self.approaches += 1
                self.resolved += aim == first.note % 12

    def cells(self) -> dict[str, float]:
        """The figures by name, as shares."""
        told, sure, heard, at_last, came, before, repeated = (
            np.array(getattr(self, name))
            for name in ("told", "sure", "heard", "at_last", "came", "before", "repeated")
        )
        changes = came != before
        right = told == came
        said = (told >= 0) & (told != heard)
        known = np.where(told >= 0, told, heard) == came
        return {
            "foreseen": mean_of(right[changes]),
            "grounded": mean_of(np.array(self.grounded)[changes]),
            "repeated": mean_of(right[changes & repeated]),
            "new": mean_of(right[changes & ~repeated]),
            "alarms": mean_of((said & (told != came) & (sure >= 0.5))[~changes]),
            "known": known.mean(),
            "at last": (at_last == came).mean(),
            "ECE": calibration_error(sure[told >= 0], right[told >= 0]),
            "reached": self.resolved / self.approaches if self.approaches else nan,
        }

    def report(self, title: str) -> str:
        """The figures as lines."""
        if not self.came:
            return f"{title}: no beat is to be judged"
        total = max(self.ways_in.total(), 1)
        ways = ", ".join(f"{name} {n / total:.0%}" for name, n in self.ways_in.most_common())
        figures = "  ".join(f"{name} {100 * cell:.1f}%" for name, cell in self.cells().items())
        changes = sum(a != b for a, b in zip(self.came, self.before, strict=True))
        return f"{title}: {changes} changes  {figures}\n  led into by: {ways}"


@dataclass
class Measured:
    """All that is measured of some songs."""

    songs: int = 0
    tally: Tally = field(default_factory=Tally)
    landing: Landing = field(default_factory=Landing)

    def add(self, song: Song, played: Take) -> None:
        """Count one song more."""
        self.songs += 1
        self.tally.add_song(felt_beats(song), played)
        count(song, played, self.landing)

    def report(self, title: str) -> str:
        """The figures as lines."""
        return f"{self.tally.report(title)}\n  {self.landing.report()}"


def _is_ground(told: int, heard: int, beats: list[Felt]) -> bool:
    """Whether the bass of the second beat was known: told for it, or heard and common to both."""
    grounds = [{felt.chord.root, felt.chord.bass} for felt in beats if felt.chord is not None]
    if told >= 0:
        return told in grounds[-1]
    return all(heard in ground for ground in grounds)


def rendered(song: Song, manner: str, hands: Hands, folder: Path) -> Song:
    """A chart as comping of some manner, written to a file of the folder as the song itself."""
    played = struck_by(hands, replace(render(charted(song), manner, 1), bars=()))
    save(played, folder)
    return played


def save(played: Song, folder: Path) -> None:
    """Write the notes of a song to a MIDI file of the folder."""
    midi = mido.MidiFile(ticks_per_beat=TICKS)
    keys = mido.MidiTrack([mido.MetaMessage("track_name", name="KEYS")])
    midi.tracks.append(keys)
    events: list[tuple[int, int, mido.Message | mido.MetaMessage]] = []
    for change in played.metres:
        count, unit = change.metre.count, change.metre.unit
        sign = mido.MetaMessage("time_signature", numerator=count, denominator=unit)
        events.append((round(change.start * TICKS), 0, sign))
    for note in played.notes:
        for at, order, velocity in ((note.end, 1, 0), (note.start, 2, note.velocity)):
            message = mido.Message("note_on", note=note.note, velocity=velocity)
            events.append((round(at * TICKS), order, message))
    tick = 0
    for at, _, message in sorted(events, key=lambda event: event[:2]):
        keys.append(message.copy(time=at - tick))
        tick = at
    midi.save(folder / f"{played.number}.mid")


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("folders", nargs="+", type=folder_of_songs)
    parser.add_argument("--preset", default="soul")
    parser.add_argument("--every", type=from_one, default=1, help="only every Nth song")
    parser.add_argument("--rendered", choices=MANNERS, help="play charts in this manner")
    parser.add_argument(
        "--spread", type=float, default=0.0, metavar="MS", help="... each chord's keys so far apart"
    )
    parser.add_argument("--late", type=float, default=0.0, metavar="MS", help="... so far behind")
    parser.add_argument(
        "--give", type=float, default=0.0, metavar="MS", help="... give or take so much"
    )
    parser.add_argument(
        "--folds", type=a_folder, metavar="CACHE", help="tables fitted on other songs"
    )
    options = parser.parse_args()
    taught = taught_from(options.folds)
    style = load(options.preset)
    hands = Hands(options.late / 1000, options.give / 1000, options.spread / 1000)
    for folder in options.folders:
        measured, on_time = Measured(), Measured()
        read = read_charts if options.rendered else read_played
        for song in read(folder)[:: options.every]:
            with TemporaryDirectory() as made:
                manner, there = options.rendered, Path(made)
                played_song = rendered(song, manner, hands, there) if manner else song
                played = take(played_song, there if manner else folder, style, taught=taught(song))
            measured.add(played_song, played)
            if not runs_ahead(played_song):
                on_time.add(played_song, played)
        print(measured.report(f"{folder.name}, {options.preset}"), flush=True)
        if 0 < on_time.songs < measured.songs:
            less = measured.songs - on_time.songs
            print(on_time.report(f"{folder.name}, less {less} labelled ahead"), flush=True)


if __name__ == "__main__":
    run(main)
