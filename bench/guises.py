"""Guises: the songs and charts that the ear is taught on, in all the ways they are played.

How: songs come as played and made harder; charts as keyboard players voice them, held, broken or
under a tune, and in the rhythms that they comp in.  Each is read by the ear's own code into
evidence at three moments of every beat.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import cycle
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final

import numpy as np

from bench.alter import ALTERED, struck_by
from bench.corpus import Note, Song, read_charts, read_played
from bench.listening import beats_of
from bench.network import KINDS, STATES, Q
from bench.rhythms import HANDS, RHYTHMS, in_four, played
from bench.voicings import any_quality, charted, render, turns
from engine.hearing.ear import beats_of_bar
from engine.hearing.evidence import EARLY, Past, read_beat
from engine.hearing.held import HeldNotes
from engine.theory.harmony import QUALITIES, QUALITY_BY_HARTE, Family, Key
from engine.theory.labels import parse_harte

MOMENTS: Final = (0.1, 0.5, 0.95)
SEED: Final = 2  # benches judge renderings of another seed

# Of the charts each manner gets every so many; long ones are left out.
CHARTS_PER_MANNER: Final = MappingProxyType({
    "block": 3, "shell": 2, "rootless": 3, "broken": 1, "melody": 4, "any": 5,
})  # fmt: skip
LONGEST_CHART: Final = 700
# Of a rhythm that lays back the ear hears nothing where the chord begins: nothing to learn there.
COMPED: Final = tuple(name for name, r in RHYTHMS.items() if name != "held" and not r.lays_back)
# Charts of our own, each in three manners, and in a rhythm.
TURNS: Final = 60

Array = np.ndarray[Any, Any]


@dataclass
class Part:
    """A song in one guise, as evidence; what is remembered is filled in between the rounds."""

    name: str
    guise: str
    key: Key | None
    now: Array
    past: Array
    places: Array
    pulses: Array
    in_bar: int
    states: Array
    positions: Array
    keys: Array
    recalled: Array
    hints: Array


def kind_of(label: str) -> int:
    """The state of a label: 16 x root + kind; -1 for none."""
    chord = parse_harte(label)
    return -1 if chord is None else chord.root * Q + KINDS.index(_PLAINER[chord.quality.harte])


def _plainer(harte: str) -> str:
    """The kind that a quality is a coloured form of: the largest kind inside it."""
    if harte in KINDS:
        return harte
    quality = QUALITY_BY_HARTE[harte]
    if quality.family is Family.DOMINANT:
        return "7"
    tones = set(quality.intervals)
    inside = [k for k in KINDS if set(QUALITY_BY_HARTE[k].intervals) <= tones and k != "5"]
    same = [k for k in inside if QUALITY_BY_HARTE[k].family is quality.family]
    return max(same or inside, key=lambda k: len(QUALITY_BY_HARTE[k].intervals))


_PLAINER = {quality.harte: _plainer(quality.harte) for quality in QUALITIES}


class _Keys:
    """The keys of a song as they go down and up, up to wherever we have come."""

    def __init__(self, song: Song) -> None:
        self.held = HeldNotes()
        events: list[tuple[float, int, Note]] = [(n.end, 0, n) for n in song.notes]
        events += [(n.start, 1, n) for n in song.notes]
        self._coming = deque(sorted(events, key=lambda e: e[:2]))

    def play_until(self, position: float) -> None:
        """Let all happen that comes before a place."""
        while self._coming and self._coming[0][0] < position:
            when, on, note = self._coming.popleft()
            if on:
                self.held.strike(when, note.note, note.velocity, 0)
            else:
                self.held.release(when, note.note, 0)


def read_part(song: Song, guise: str) -> Part:
    """A song as the ear would read it, beat by beat."""
    keys, past = _Keys(song), Past()
    rows: dict[str, list[Any]] = {n: [] for n in ("now", "past", "place", "pulse", "state", "at")}
    pulses = 1
    for beat in beats_of(song):
        bar = beats_of_bar(beat.metre)
        distances = [abs(start - beat.in_bar) for start, _, _ in bar]
        pulse = distances.index(min(distances))
        _, length, place = bar[pulse]
        pulses = max(pulses, len(bar))
        at = beat.position
        keys.play_until(at)
        keys.held.forget_ended(at - EARLY * length)
        rows["past"].append(past.vector())
        readings = []
        for share in MOMENTS:
            keys.play_until(at + share * length)
            readings.append(read_beat(keys.held, at, length, at + share * length).now)
        rows["now"].append(readings)
        rows["place"].append(place)
        rows["pulse"].append(pulse)
        rows["at"].append(at)
        rows["state"].append(kind_of(song.label_at(at + 0.5 * min(length, 1.0))))
        keys.play_until(at + length)
        whole = read_beat(keys.held, at, length, at + length)
        if whole.bass is not None:
            past = past.after(whole)
    beats = len(rows["at"])
    return Part(
        song.name,
        guise,
        song.key,
        np.array(rows["now"], np.float32),
        np.array(rows["past"], np.float32),
        np.array(rows["place"]),
        np.array(rows["pulse"]),
        pulses,
        np.array(rows["state"]),
        np.array(rows["at"]),
        np.full((beats, 24), 1 / 24, np.float32),
        np.full((beats, STATES), -np.log(STATES), np.float32),
        np.tile(np.array([0, 0, 0, 0, 0.3, 0.3, 0], np.float32), (beats, 1)),
    )


def read_parts(folders: Sequence[Path], charts: Path) -> list[Part]:
    """All songs in all guises, and the charts in the manners and rhythms of keyboard players."""
    parts = []
    for folder in folders:
        for song in read_played(folder):
            parts += [read_part(change(song), guise) for guise, change in ALTERED.items()]
        print(f"read {folder.name}", flush=True)
    charted_songs = [charted(song) for song in read_charts(charts)]
    songs = [song for song in charted_songs if song.labels[-1].end < LONGEST_CHART]
    for i, manner in enumerate(CHARTS_PER_MANNER):
        for song in songs[i % 3 :: CHARTS_PER_MANNER[manner]]:
            parts.append(read_part(_in_manner(song, manner), manner))
    parts += _comped([song for song in songs if in_four(song)], leaves_out=5)
    print(f"read {charts.name}", flush=True)
    own = [turns(i) for i in range(TURNS)]
    for manner in ("rootless", "shell", "block"):
        parts += [read_part(render(song, manner, SEED), manner) for song in own]
    return parts + _comped(own)


def _in_manner(song: Song, manner: str) -> Song:
    if manner == "any":
        return render(any_quality(song), "block", SEED)
    return render(song, manner, SEED)


def _comped(songs: Sequence[Song], leaves_out: int = 0) -> list[Part]:
    """Songs, each in one rhythm after another, but for one in so many."""
    some = [song for i, song in enumerate(songs) if not leaves_out or (i + 1) % leaves_out]
    comped = [played(song, RHYTHMS[name]) for song, name in zip(some, cycle(COMPED), strict=False)]
    return [read_part(struck_by(HANDS, song), "comped") for song in comped]
