"""Song: a standard MIDI file as the events a keyboard player would have sent.

Knows: MIDI files of type 0 and 1, their tempo map, metres and tracks.
Refuses to know: what the engine makes of the events.
How: the file counts in ticks; the tempo map turns ticks into seconds and back, for notes, metres
and the clock alike, so that what falls together in the file falls together in time.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Container, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from heapq import merge
from io import BytesIO
from operator import attrgetter
from pathlib import Path
from typing import Final

import mido

from engine.events import ClockTick, Control, Incoming, NewMetre, NoteOff, NoteOn, Start, Stop
from engine.theory.meter import CLOCKS_PER_QUARTER, FOUR_FOUR, Metre
from ports.files import FileError, content_of
from ports.meta import used
from ports.wire import DRUM_CHANNEL

MICROSECONDS_PER_BEAT: Final = 500_000
"""What a MIDI file means when it names no tempo: 120 to the minute."""
LONGEST_SECONDS: Final = 12 * 3600
"""No song is longer; a file that says so has a broken delta time."""

_HEAD: Final = b"MThd"
# Around it some programs put "RIFF", a length, "RMID", and the head of a chunk (IBM and Microsoft,
# "Multimedia Programming Interface and Data Specifications 1.0", 1991, RMID form).
_WRAPPER: Final = (b"RIFF", b"RMID")
# Far less than a sixteenth, and more than a clock can be off.
_METRE_AHEAD_SECONDS: Final = 0.001


@dataclass(frozen=True, slots=True)
class TempoMap:
    """How a file's ticks lie in seconds: for each tempo its first tick, its moment and its pace."""

    ticks_per_beat: int
    ticks: tuple[int, ...]
    seconds: tuple[float, ...]
    paces: tuple[int, ...]
    """Microseconds a quarter note, as MIDI files write it."""

    @classmethod
    def of(cls, ticks_per_beat: int, changes: Iterable[tuple[int, int]] = ()) -> TempoMap:
        """The map of (tick, microseconds a beat) pairs in the order of their ticks."""
        ticks, seconds, paces = [0], [0.0], [MICROSECONDS_PER_BEAT]
        for tick, pace in changes:
            if tick == ticks[-1]:
                paces[-1] = pace
                continue
            seconds.append(seconds[-1] + (tick - ticks[-1]) * paces[-1] / ticks_per_beat / 1e6)
            ticks.append(tick)
            paces.append(pace)
        return cls(ticks_per_beat, tuple(ticks), tuple(seconds), tuple(paces))

    def seconds_at(self, tick: float) -> float:
        """When a tick falls."""
        i = bisect_right(self.ticks, tick) - 1
        return self.seconds[i] + (tick - self.ticks[i]) * self.paces[i] / self.ticks_per_beat / 1e6

    def tick_at(self, seconds: float) -> float:
        """The place in ticks, fractions included, of a moment."""
        i = max(bisect_right(self.seconds, seconds) - 1, 0)
        passed = (seconds - self.seconds[i]) * 1e6 / self.paces[i]
        return self.ticks[i] + passed * self.ticks_per_beat

    def beat_at(self, seconds: float) -> float:
        """The place in quarter notes from the start of the file of a moment."""
        return self.tick_at(seconds) / self.ticks_per_beat


@dataclass(frozen=True, slots=True)
class Song:
    """A file as it would be played: keys and pedals, metres and tempo, all in seconds."""

    tempo: TempoMap
    metres: tuple[NewMetre, ...]
    played: tuple[NoteOn | NoteOff | Control, ...]
    end: float

    def heeding(self, heeds: Callable[[Incoming], bool]) -> Song:
        """The song with those of its keys and pedals that are listened to.

        Raises:
            FileError: none of its keys is.
        """
        played = tuple(event for event in self.played if heeds(event))
        if not any(isinstance(event, NoteOn) for event in played):
            raise FileError(
                "with --split or --only-channel no key of the file is left to hear; leave them out,"
                " or choose others"
            )
        return replace(self, played=played)

    def with_clock(self) -> Iterator[Incoming]:
        """The song with the clock that a sequencer would send along.

        What falls on the same instant comes in the order a sequencer was seen to send: notes
        first, then start and clock.  A metre is told just before its bar line, so that this is
        already crossed in it; one that stands after the last key has no bars to count.
        """
        metres = (
            replace(metre, at=max(0.0, metre.at - _METRE_AHEAD_SECONDS))
            for metre in self.metres
            if metre.at < self.end
        )
        yield from merge(metres, self.played, self._clock(), key=attrgetter("at"))
        yield Stop(self.end)

    def without_clock(self) -> Iterator[Incoming]:
        """The song as a player without a sequencer would play it.

        Of the metres only the first: the later ones stand at bar lines of the file, which are not
        the engine's when it counts for itself.
        """
        yield from merge(self.metres[:1], self.played, key=attrgetter("at"))
        yield Stop(self.end)

    def _clock(self) -> Iterator[Incoming]:
        yield Start(0.0)
        count, at = 0, 0.0
        while at < self.end:
            yield ClockTick(at)
            count += 1
            at = self.tempo.seconds_at(count * self.tempo.ticks_per_beat / CLOCKS_PER_QUARTER)


# Reading ------------------------------------------------------------------------------------


def begins_song(content: bytes) -> bool:
    """Whether this is the beginning of a MIDI file, as it is or in a RIFF wrapper."""
    return content.startswith(_HEAD) or (content[:4], content[8:12]) == _WRAPPER


def read(path: Path, tracks: Sequence[str] = (), content: bytes | None = None) -> Song:
    """The song in a MIDI file, of all its tracks or of those named.

    `content` is what is in the file, where that has been read already.

    Raises:
        FileError: no MIDI file, nothing in it to play, or no track of that name.
    """
    if content is None:
        content = content_of(path, "a MIDI file", begins_song)
    file = _parsed(path, content)
    chosen = _chosen(path, file, tracks)
    tempo = TempoMap.of(file.ticks_per_beat, _tempo_changes(file))
    played = tuple(_played(chosen, tempo))
    if not any(isinstance(event, NoteOn) for event in played):
        where = f"the chosen tracks of {path} have" if tracks else f"{path} has"
        raise FileError(f"{where} no notes; give a file with chords in it (drums do not count)")
    end = max(event.at for event in played)
    if end > LONGEST_SECONDS:
        raise FileError(f"{path} lasts {end / 3600:.0f} hours; the file is damaged, or no song")
    return Song(tempo, _metres(file, tempo), played, end)


def _parsed(path: Path, content: bytes) -> mido.MidiFile:
    written = content[max(content.find(_HEAD), 0) :]  # of what is wrapped, what is within
    try:
        file = mido.MidiFile(file=BytesIO(used(written)), clip=True)
    except Exception as error:  # the parser raises whatever a broken byte leads it to
        if isinstance(error, EOFError) and begins_song(content):
            raise FileError(
                f"{path} is damaged: its end is missing; copy it again, or save it anew"
            ) from error
        raise FileError(f"{path} is not a MIDI file, or is damaged; give a .mid file") from error
    if file.type == 2:
        raise FileError(f"{path} is a MIDI file of type 2 (loose patterns); save it as type 0 or 1")
    if file.ticks_per_beat == 0:
        raise FileError(f"{path} is damaged: it has 0 ticks to a beat; save it anew")
    if file.ticks_per_beat < 0:
        raise FileError(f"{path} counts in film frames, not beats; save it with ticks per beat")
    return file


# Tracks -------------------------------------------------------------------------------------


def _name_of(index: int, track: mido.MidiTrack) -> str:
    name: str = track.name
    with suppress(UnicodeDecodeError):  # the library reads each byte as a letter of Latin-1
        name = name.encode("latin-1").decode()
    return name.strip() or _by_number(index)


def _by_number(index: int) -> str:
    return f"track {index + 1}"


def _chosen(path: Path, file: mido.MidiFile, tracks: Sequence[str]) -> list[mido.MidiTrack]:
    if not tracks:
        return list(file.tracks)
    names = [_name_of(index, track) for index, track in enumerate(file.tracks)]
    known: dict[str, list[int]] = {}
    for index, name in enumerate(names):
        known.setdefault(name.casefold(), []).append(index)
    for index in range(len(names)):
        known.setdefault(_by_number(index), [index])
    asked = list(_asked_for(tracks, known))
    for name in asked:
        if name.casefold() not in known:
            there = [n for n, t in zip(names, file.tracks, strict=True) if _has_notes(t)]
            raise FileError(f"{path} has no track {name!r}; there are: {_listed(there)}")
    found = (index for name in asked for index in known[name.casefold()])
    return [file.tracks[index] for index in dict.fromkeys(found)]


def _asked_for(pieces: Sequence[str], known: Container[str]) -> Iterator[str]:
    """The names, those with commas in them put together again: the longest that is known."""
    begin = 0
    while begin < len(pieces):
        for end in range(len(pieces), begin, -1):
            name = ",".join(pieces[begin:end]).strip()
            if name.casefold() in known or end == begin + 1:
                yield name
                begin = end
                break


def _listed(names: Sequence[str]) -> str:
    """The names as they can be asked for; where one has a comma, its end must be seen."""
    return ", ".join(repr(name) if "," in name else name for name in names) or "none"


def _has_notes(track: mido.MidiTrack) -> bool:
    return any(message.type == "note_on" for message in track)


def _timed(track: Iterable[mido.Message]) -> Iterator[tuple[int, mido.Message]]:
    tick = 0
    for message in track:
        tick += message.time
        yield tick, message


def _tempo_changes(file: mido.MidiFile) -> list[tuple[int, int]]:
    """Every tempo in the file; some programs write them into tracks other than the first."""
    found = [
        (tick, message.tempo)
        for track in file.tracks
        for tick, message in _timed(track)
        if message.type == "set_tempo" and message.tempo > 0
    ]
    return sorted(found, key=lambda change: change[0])


def _metres(file: mido.MidiFile, tempo: TempoMap) -> tuple[NewMetre, ...]:
    found: dict[int, Metre] = {}
    for track in file.tracks:
        for tick, message in _timed(track):
            if message.type == "time_signature":
                try:
                    found[tick] = Metre(message.numerator, message.denominator)
                except ValueError:  # a metre that nobody could count; the last one goes on
                    continue
    found.setdefault(0, FOUR_FOUR)
    return tuple(NewMetre(tempo.seconds_at(tick), found[tick]) for tick in sorted(found))


def _played(
    tracks: Iterable[mido.MidiTrack], tempo: TempoMap
) -> Iterator[NoteOn | NoteOff | Control]:
    for tick, message in merge(*(_timed(t) for t in tracks), key=lambda pair: pair[0]):
        if message.is_meta or getattr(message, "channel", DRUM_CHANNEL) == DRUM_CHANNEL:
            continue
        at = tempo.seconds_at(tick)
        match message.type:
            case "note_on" if message.velocity > 0:
                yield NoteOn(at, message.note, message.velocity, message.channel)
            case "note_on" | "note_off":
                yield NoteOff(at, message.note, message.channel)
            case "control_change":
                yield Control(at, message.control, message.value, message.channel)
