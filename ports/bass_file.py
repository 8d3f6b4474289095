"""Bass file: what the bass plays, taken down as a standard MIDI file.

Knows: ticks fine enough for swing and lag, and the song whose tempo map and metres it takes over.
Refuses to know: why the notes are what they are.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import BinaryIO, Final

import mido

from engine.events import Bend, Outgoing, Play, Release
from ports.song import Song
from ports.wire import BEND_AT_REST, bend_range_messages, bend_value

FINGERED_BASS: Final = 33
"""General MIDI program 34, electric bass (finger), counted from 0."""
FINEST_NEEDED: Final = 480
"""Ticks a beat in a written part at least: each about a millisecond, to keep swing and lag."""


class BassFile:
    """Takes down what the bass plays, and writes it as a MIDI file with the song's tempo map.

    With a bend range, in semitones each way, the file tells it and has the slides as pitch bend.
    """

    def __init__(self, song: Song, bend_range: int = 0) -> None:
        self._song = song
        self._bend_range = bend_range
        # Whole multiples of the song's ticks keep its tempo changes exactly where they were.
        self._finer = -(-FINEST_NEEDED // song.tempo.ticks_per_beat)
        self._timed: list[tuple[int, mido.Message]] = []
        self._begun = 0

    def take(self, outgoing: Outgoing) -> None:
        """Note a bass note's beginning or end; everything else is no matter of this file."""
        match outgoing:
            case Play():
                note, velocity = outgoing.note, outgoing.velocity
                self._add(outgoing.at, mido.Message("note_on", note=note, velocity=velocity))
            case Release():
                self._add(outgoing.at, mido.Message("note_off", note=outgoing.note))
            case Bend() if self._bend_range:
                value = bend_value(outgoing.semitones, self._bend_range) - BEND_AT_REST
                self._add(outgoing.at, mido.Message("pitchwheel", pitch=value))

    def _add(self, at: float, message: mido.Message) -> None:
        """Put a message at its tick, never before the last one, and let a note last a tick."""
        earliest = self._timed[-1][0] if self._timed else 0
        if message.type == "note_off" and self._timed:
            earliest = max(earliest, self._begun + 1)
        tick = max(round(self._song.tempo.tick_at(at) * self._finer), earliest)
        if message.type == "note_on":
            self._begun = tick
        self._timed.append((tick, message))

    def _opening(self) -> list[tuple[int, mido.Message]]:
        """What the track tells before its first note: the instrument, and how far it bends."""
        messages = [mido.Message("program_change", program=FINGERED_BASS)]
        if self._bend_range:
            messages += [
                mido.Message("control_change", control=controller, value=value)
                for controller, value in bend_range_messages(self._bend_range)
            ]
        return [(0, message) for message in messages]

    def save(self, target: BinaryIO) -> None:
        """Write the file."""
        tempo = self._song.tempo
        file = mido.MidiFile(type=1, ticks_per_beat=tempo.ticks_per_beat * self._finer)
        file.tracks.append(_track("", self._conductor()))
        file.tracks.append(_track("Bass", [*self._opening(), *self._timed]))
        file.save(file=target)

    def _conductor(self) -> list[tuple[int, mido.MetaMessage]]:
        tempo = self._song.tempo
        changes = [
            (tick * self._finer, mido.MetaMessage("set_tempo", tempo=pace))
            for tick, pace in zip(tempo.ticks, tempo.paces, strict=True)
        ]
        for change in self._song.metres:
            signature = mido.MetaMessage(
                "time_signature", numerator=change.metre.count, denominator=change.metre.unit
            )
            changes.append((round(tempo.tick_at(change.at) * self._finer), signature))
        return sorted(changes, key=lambda pair: pair[0])


def _track(
    name: str, timed: Iterable[tuple[int, mido.Message | mido.MetaMessage]]
) -> mido.MidiTrack:
    track = mido.MidiTrack()
    if name:
        track.append(mido.MetaMessage("track_name", name=name))
    last = 0
    for tick, message in timed:
        track.append(message.copy(time=tick - last))
        last = tick
    return track
