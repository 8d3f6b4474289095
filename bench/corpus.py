"""A folder of labelled songs, read into small values that all benchmarks share.

A song is N.mid (the keyboard, in a track called KEYS), N.chords (start beat, end beat, Harte
label), N.key (one key), N.bars (bar, first beat, beats, section letter), N.tonic (beat, pitch
name); a song has some of these files.  Beats are quarter notes from the first bar.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple

import mido

from engine.theory.harmony import Key
from engine.theory.labels import parse_harte
from engine.theory.meter import FOUR_FOUR, Metre
from engine.theory.pitch import pitch_class_of_name

NO_CHORD = ("N", "X")


class Note(NamedTuple):
    """A key held on the keyboard, in quarter notes from the first bar."""

    start: float
    end: float
    note: int
    velocity: int


class Label(NamedTuple):
    """The chord from one beat to another, as written in the song's file."""

    start: float
    end: float
    harte: str


class Bar(NamedTuple):
    """A bar of a chart: where it begins, how many beats it has, the section that it opens."""

    start: float
    beats: float
    section: str


class Tempo(NamedTuple):
    """From this beat on, a quarter note lasts so many seconds."""

    start: float
    seconds_per_beat: float


class MetreChange(NamedTuple):
    """From this beat on, which is a bar line, the metre holds."""

    start: Fraction
    metre: Metre


@dataclass(frozen=True)
class Song:
    """What a folder knows of one song; what it does not know is empty or None."""

    folder: str
    number: str
    labels: tuple[Label, ...]
    notes: tuple[Note, ...] = ()
    tempi: tuple[Tempo, ...] = (Tempo(0.0, 0.5),)
    metres: tuple[MetreChange, ...] = (MetreChange(Fraction(0), FOUR_FOUR),)
    key: Key | None = None
    bars: tuple[Bar, ...] = ()
    tonics: tuple[tuple[float, int], ...] = ()

    @property
    def name(self) -> str:
        """Folder and number: pop909/006."""
        return f"{self.folder}/{self.number}"

    def label_at(self, beat: float) -> str:
        """The label that holds at a beat; "N" outside all labels."""
        for label in self.labels:
            if label.start <= beat < label.end:
                return label.harte
        return "N"

    def seconds_at(self, beat: float) -> float:
        """Seconds from the first bar to a beat, by the song's tempo map."""
        seconds = 0.0
        for i, tempo in enumerate(self.tempi):
            last = i + 1 == len(self.tempi)
            end = beat if last else min(beat, self.tempi[i + 1].start)
            if end > tempo.start or i == 0:
                seconds += (end - tempo.start) * tempo.seconds_per_beat
        return seconds


def read_folder(folder: Path) -> list[Song]:
    """All songs of a folder, by number.

    Raises:
        FileNotFoundError: no such folder, or no labelled song in it.
    """
    paths = sorted(folder.glob("*.chords"))
    if not paths:
        raise FileNotFoundError(f"{folder} has no labelled songs (files that end in .chords)")
    return [read_song(folder, path.stem) for path in paths]


def read_song(folder: Path, number: str) -> Song:
    """One song of a folder."""
    stem = folder / number
    labels = tuple(Label(float(a), float(b), c) for a, b, c in _rows(stem, "chords"))
    notes, tempi, metres = _read_midi(stem.with_suffix(".mid"))
    keys = [_read_key(row[0]) for row in _rows(stem, "key")]
    return Song(
        folder=folder.name,
        number=number,
        labels=labels,
        notes=notes,
        tempi=tempi,
        metres=metres,
        key=keys[0] if keys else None,
        bars=tuple(
            Bar(float(row[1]), float(row[2]), row[3] if len(row) > 3 else "")
            for row in _rows(stem, "bars")
        ),
        tonics=tuple((float(a), pitch_class_of_name(b)) for a, b in _rows(stem, "tonic")),
    )


def _rows(stem: Path, kind: str) -> list[list[str]]:
    path = stem.with_suffix(f".{kind}")
    if not path.exists():
        return []
    lines = path.read_text(encoding="utf-8").splitlines()
    return [line.split("\t") for line in lines if line.strip()]


def _read_key(label: str) -> Key:
    tonic, mode = label.split(":")
    return Key(pitch_class_of_name(tonic), minor=mode == "min")


def _read_midi(
    path: Path,
) -> tuple[tuple[Note, ...], tuple[Tempo, ...], tuple[MetreChange, ...]]:
    """Notes of the track KEYS, tempo map and metres; an absent file is an empty song."""
    notes: list[Note] = []
    tempi: dict[float, Tempo] = {0.0: Tempo(0.0, 0.5)}
    metres: dict[Fraction, MetreChange] = {Fraction(0): MetreChange(Fraction(0), FOUR_FOUR)}
    if not path.exists():
        return (), tuple(tempi.values()), tuple(metres.values())
    midi = mido.MidiFile(path)
    for track in midi.tracks:
        tick = 0
        down: dict[int, tuple[float, int]] = {}
        for message in track:
            tick += message.time
            at = Fraction(tick, midi.ticks_per_beat)
            beat = float(at)
            if message.type == "set_tempo":
                tempi[beat] = Tempo(beat, message.tempo / 1e6)
            elif message.type == "time_signature":
                metres[at] = MetreChange(at, Metre(message.numerator, message.denominator))
            elif message.type in ("note_on", "note_off") and track.name == "KEYS":
                if message.note in down:
                    start, velocity = down.pop(message.note)
                    notes.append(Note(start, beat, message.note, velocity))
                if message.type == "note_on" and message.velocity:
                    down[message.note] = (beat, message.velocity)
    return tuple(sorted(notes)), tuple(tempi.values()), tuple(metres.values())


def key_of_chart(song: Song) -> Key | None:
    """The key of a chart of one tonic: as its chords on that tonic are, more than not."""
    if len({tonic for _, tonic in song.tonics}) != 1:
        return None
    tonic = song.tonics[0][1]
    beats = {3: 0.0, 4: 0.0}
    for label in song.labels:
        chord = parse_harte(label.harte)
        if chord is not None and chord.root == tonic:
            for third in {3, 4}.intersection(chord.quality.intervals):
                beats[third] += label.end - label.start
    return Key(tonic, minor=beats[3] > beats[4])
