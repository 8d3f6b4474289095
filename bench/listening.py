"""A labelled song played to the ear, in virtual time: what benches of hearing start from."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from math import isnan, nan
from time import thread_time_ns

import mir_eval.chord
import numpy as np

from bench.corpus import NO_CHORD, Note, Song
from engine.hearing.ear import Ear
from engine.hearing.key import KeyFilter
from engine.hearing.tables import Tables
from engine.theory.harmony import Chord, Key
from engine.theory.labels import harte
from engine.theory.meter import Moment

MOMENTS = {"end": 0.95, "half": 0.5, "tenth": 0.1, "before": 0.0}
MEASURES = {
    "root": mir_eval.chord.root,
    "majmin": mir_eval.chord.majmin,
    "sevenths": mir_eval.chord.sevenths,
}
# While a change is being heard the ear is asked this often, in seconds.
STEP = 0.005
# A change's keys are those struck this near its place, in beats.
NEAR = 0.15


@dataclass
class Answers:
    """What the ear said about one song: labels by moment, keys by beat, and its speed."""

    song: Song
    beats: list[float] = field(default_factory=list)
    truth: list[str] = field(default_factory=list)
    said: dict[str, list[str]] = field(default_factory=lambda: {m: [] for m in MOMENTS})
    keys: list[Key] = field(default_factory=list)
    event_ns: list[int] = field(default_factory=list)
    beat_ns: list[int] = field(default_factory=list)


def beats_of(song: Song) -> Iterator[Moment]:
    """Every felt beat of a song, bar lines as its metres have them."""
    end = song.labels[-1].end
    bar = 1
    for change, following in zip(song.metres, [*song.metres[1:], None], strict=True):
        at = change.start
        until = float(following.start) if following else end
        while float(at) < until:
            for pulse in change.metre.pulses:
                place = float(at + pulse)
                if place < until:
                    length = song.seconds_at(place + 1) - song.seconds_at(place)
                    yield Moment(song.seconds_at(place), place, at, bar, change.metre, length)
            at += change.metre.bar
            bar += 1


class Listener:
    """An ear, and a song's notes that are fed to it in order of time."""

    def __init__(self, song: Song, tables: Tables, keys: KeyFilter | None = None) -> None:
        self.ear = Ear(tables, keys)
        self.answers = Answers(song)
        events = [(n.end, 0, n) for n in song.notes] + [(n.start, 1, n) for n in song.notes]
        self.events: list[tuple[float, int, Note]] = sorted(events, key=lambda e: e[:2])
        self._at = 0

    def rewind(self) -> None:
        """Feed the events from the first again."""
        self._at = 0

    def play_until(self, beat: Moment, position: float, *, asking: bool = True) -> Moment:
        """Feed all that comes before a position; the ear is asked after every event, as live."""
        while self._at < len(self.events) and self.events[self._at][0] < position:
            when, on, note = self.events[self._at]
            now = moment_at(beat, when)
            began = thread_time_ns()
            if on:
                self.ear.note_on(now, note.note, note.velocity, 0)
            else:
                self.ear.note_off(now, note.note, 0)
            if asking:
                self.ear.heard(now)
            self.answers.event_ns.append(thread_time_ns() - began)
            self._at += 1
        return moment_at(beat, position)

    def cross(self, beat: Moment) -> None:
        """A beat begins."""
        began = thread_time_ns()
        self.ear.cross(beat)
        self.answers.beat_ns.append(thread_time_ns() - began)

    def label(self, now: Moment) -> str:
        """What is heard now, as a label."""
        return _label(self.ear.heard(now).chord)

    def settle(self, beat: Moment, root: int) -> float:
        """Seconds from the last key of this beat's new chord to its root; plays half the beat.

        Infinite if the root is not heard by then, nan if no key is struck near the beat.
        """
        struck = [
            note.start
            for when, on, note in self.events[max(0, self._at - 40) : self._at + 40]
            if on and abs(when - beat.position) <= NEAR
        ]
        if not struck:
            return float("nan")
        waited = 0.0
        while True:
            position = max(struck) + 1e-6 + waited / beat.seconds_per_beat
            if position >= beat.position + 0.5:
                return float("inf")
            chord = self.ear.heard(self.play_until(beat, position)).chord
            if chord is not None and chord.root == root:
                return waited
            waited += STEP


def moment_at(beat: Moment, position: float) -> Moment:
    """A moment in a beat."""
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


def listen(song: Song, tables: Tables, *, bars_off: float = 0.0) -> Answers:
    """Play a song to a new ear and ask it at every moment of every beat.

    With `bars_off`, the ear is told bar lines that many beats late.
    """
    listener = Listener(song, tables)
    answers, ear = listener.answers, listener.ear
    for true_beat in beats_of(song):
        beat = _told(true_beat, bars_off)
        listener.play_until(beat, beat.position)
        listener.cross(beat)
        answers.beats.append(beat.position)
        answers.truth.append(song.label_at(beat.position + 0.5))
        answers.keys.append(ear.heard(beat).key)
        answers.said["before"].append(_foretold(ear, tables))
        for name in ("tenth", "half", "end"):
            now = listener.play_until(beat, beat.position + MOMENTS[name])
            answers.said[name].append(listener.label(now))
    return answers


def for_hours(song: Song, tables: Tables, hours: float) -> list[int]:
    """Play a song over and over, once at least, and say what every event cost, in nanoseconds."""
    listener = Listener(song, tables)
    bars = [b.position for b in beats_of(song) if b.in_bar == 0]
    whole = bars[-1]
    passes = max(1, round(hours * 3600 / song.seconds_at(whole)))
    events, beats = listener.events, [b for b in beats_of(song) if b.position < whole]
    for again in range(passes):
        by = again * whole
        listener.events = [(t + by, on, n) for t, on, n in events if t < whole]
        listener.rewind()
        for beat in beats:
            later = moment_at(beat, beat.position + by)
            start = beat.bar_start + Fraction(by)
            now = Moment(later.at, later.position, start, beat.bar, beat.metre, 0.5)
            listener.play_until(now, now.position)
            listener.cross(now)
            listener.play_until(now, now.position + 1)
    return listener.answers.event_ns


def settle_times(song: Song, tables: Tables) -> list[float]:
    """For every change of root on a beat, how long after its last key the new root is heard.

    See Listener.settle for changes whose root is not heard, or which have no key.
    """
    listener = Listener(song, tables)
    roots = _roots(song)
    times = []
    before = -1
    for beat in beats_of(song):
        listener.play_until(beat, beat.position)
        listener.cross(beat)
        root = roots.get(beat.position, before)
        if root >= 0 and before >= 0 and root != before:
            times.append(listener.settle(beat, root))
        before = root
    return times


def _roots(song: Song) -> dict[float, int]:
    """The labelled root at each beat that begins a label; -1 for no chord."""
    out = {}
    for label in song.labels:
        root = -1 if label.harte in NO_CHORD else int(mir_eval.chord.encode(label.harte)[0])
        out[label.start] = root
    return out


def _told(beat: Moment, off: float) -> Moment:
    if not off:
        return beat
    pulses = len(beat.metre.pulses)
    step = beat.metre.bar / pulses
    late = step * round(off)
    start = beat.bar_start + late
    while start > beat.position:
        start -= beat.metre.bar
    return Moment(beat.at, beat.position, start, beat.bar, beat.metre, beat.seconds_per_beat)


def _foretold(ear: Ear, tables: Tables) -> str:
    belief = ear.foretold()
    root = int(belief.sum(axis=1).argmax())
    return _label(Chord.of(root, tables.quality_values[int(belief[root].argmax())]))


def percent(truth: list[str], said: list[str]) -> dict[str, float]:
    """Percent right by measure, of beats labelled with a chord that it can judge; nan of none."""
    pairs = [(t, s) for t, s in zip(truth, said, strict=True) if t not in NO_CHORD]
    references = [t for t, _ in pairs]
    estimates = [s for _, s in pairs]
    out = {}
    for name, measure in MEASURES.items():
        right = measure(references, estimates) if pairs else np.zeros(0)
        judged = right[right >= 0]
        out[name] = 100 * float(judged.mean()) if len(judged) else nan
    return out


def worst(songs: Sequence[tuple[float, str]], count: int) -> list[tuple[float, str]]:
    """The songs, by percent right and name, that come off worst; none without a labelled beat."""
    return sorted(song for song in songs if not isnan(song[0]))[:count]


def scores(answers: list[Answers], moment: str) -> dict[str, float]:
    """Percent right by measure, all songs together."""
    truth = [t for a in answers for t in a.truth]
    return percent(truth, [s for a in answers for s in a.said[moment]])
