"""A folder of labelled songs, read into small values that all benchmarks share.

A song is N.mid (the keyboard, in a track called KEYS), N.chords (start beat, end beat, Harte
label), N.key (one key), N.bars (bar, first beat, beats, section letter), N.tonic (beat, pitch
name); a song has some of these files.  Beats are quarter notes from the first bar.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple, TypeVar

import mido

from engine.theory.harmony import Key
from engine.theory.labels import parse_harte
from engine.theory.meter import FOUR_FOUR, Metre
from engine.theory.pitch import pitch_class_of_name
from ports.files import FileError

Row = TypeVar("Row")
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
        FileError: no such folder, no labelled song in it, or one that cannot be read.
    """
    paths = sorted(folder.glob("*.chords"))
    if not paths:
        raise FileError(f"{folder} has no labelled songs; give a folder of N.chords")
    return [read_song(folder, path.name.removesuffix(".chords")) for path in paths]


def read_played(folder: Path) -> list[Song]:
    """The songs of a folder that were played; how many were not is said.

    Raises:
        FileError: there are none, or one cannot be read.
    """
    return _those(folder, lambda song: bool(song.notes), "keys played (N.mid, its track KEYS)")


def read_charts(folder: Path) -> list[Song]:
    """The songs of a folder that are charts; how many are not is said.

    Raises:
        FileError: there are none, or one cannot be read.
    """
    return _those(folder, lambda song: bool(song.bars), "bars written (N.bars)")


def _those(folder: Path, holds: Callable[[Song], bool], what: str) -> list[Song]:
    songs = read_folder(folder)
    chosen = [song for song in songs if holds(song)]
    if not chosen:
        raise FileError(f"{folder} has no song with {what}")
    if len(chosen) < len(songs):
        left = len(songs) - len(chosen)
        print(f"{folder}: left out {left} of {len(songs)} songs, without {what}", file=sys.stderr)
    return chosen


def read_song(folder: Path, number: str) -> Song:
    """One song of a folder.

    Raises:
        FileError: one of its files cannot be read.
    """
    labels = _rows(folder / f"{number}.chords", _label, "start, end and chord (0, 4, Bb:min7)")
    keys = _rows(folder / f"{number}.key", _key, "a key (Eb:maj, C:min)")
    bars = _rows(folder / f"{number}.bars", _bar, "bar, first beat and beats (0, 0, 4)")
    tonics = _rows(folder / f"{number}.tonic", _tonic, "beat and tonic (0, Eb)")
    if not labels:
        raise FileError(f"{folder / number}.chords has no chords in it")
    notes, tempi, metres = _read_midi(folder / f"{number}.mid")
    return Song(
        folder=folder.name,
        number=number,
        labels=tuple(labels),
        notes=notes,
        tempi=tempi,
        metres=metres,
        key=keys[0] if keys else None,
        bars=tuple(bars),
        tonics=tuple(tonics),
    )


def _rows(path: Path, parse: Callable[[list[str]], Row], what: str) -> list[Row]:
    """The rows of a file, each made a value; of a file that is not there none."""
    rows: list[Row] = []
    text = path.read_text(encoding="utf-8", errors="replace") if path.exists() else ""
    for number, line in enumerate(text.splitlines(), 1):
        if line.strip():
            try:
                rows.append(parse(line.split("\t")))
            except (ValueError, IndexError) as error:
                where = f"{path}, line {number}"
                raise FileError(f"{where}: {line!r} is not {what}, parted by tabs") from error
    return rows


def _label(cells: list[str]) -> Label:
    start, end, harte = cells
    parse_harte(harte)
    return Label(float(start), float(end), harte)


def _key(cells: list[str]) -> Key:
    tonic, mode = cells[0].split(":")
    return Key(pitch_class_of_name(tonic), minor=mode == "min")


def _bar(cells: list[str]) -> Bar:
    return Bar(float(cells[1]), float(cells[2]), cells[3] if len(cells) > 3 else "")


def _tonic(cells: list[str]) -> tuple[float, int]:
    beat, name = cells
    return float(beat), pitch_class_of_name(name)


Played = tuple[tuple[Note, ...], tuple[Tempo, ...], tuple[MetreChange, ...]]


def _read_midi(path: Path) -> Played:
    """Notes of the track KEYS, tempo map and metres; an absent file is an empty song."""
    if not path.exists():
        return _played([], 1)
    try:
        midi = mido.MidiFile(path)
        return _played(midi.tracks, midi.ticks_per_beat)
    except Exception as error:  # the parser raises whatever a broken byte leads it to
        raise FileError(f"{path} is not a MIDI file, or is damaged; give a .mid file") from error


def _played(tracks: Sequence[mido.MidiTrack], ticks_per_beat: int) -> Played:
    notes: list[Note] = []
    tempi: dict[float, Tempo] = {0.0: Tempo(0.0, 0.5)}
    metres: dict[Fraction, MetreChange] = {Fraction(0): MetreChange(Fraction(0), FOUR_FOUR)}
    for track in tracks:
        tick = 0
        down: dict[int, tuple[float, int]] = {}
        for message in track:
            tick += message.time
            at = Fraction(tick, ticks_per_beat)
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
