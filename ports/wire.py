"""Wire: MIDI bytes to events and back.

Knows: the messages of MIDI 1.0 that concern a bass player, one whole message at a time, as every
driver delivers them (running status never crosses a driver).
Refuses to know: time, drivers.
How: one table for the messages without a channel, one of builders for those with one.  Whatever
is malformed or of no concern reads as None, never as an exception: a driver's thread must live.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Final, assert_never

from engine.events import (
    ClockTick,
    Continue,
    Control,
    NoteOff,
    NoteOn,
    SongPosition,
    Start,
    Stop,
)
from ports.port import PitchBend

DRUM_CHANNEL: Final = 9
"""Channel 10 as musicians count: General MIDI keeps it for drums, which have no harmony."""

RealTime = ClockTick | Start | Continue | Stop
Wired = NoteOn | NoteOff | Control | SongPosition | RealTime

NOTE_OFF: Final = 0x80
NOTE_ON: Final = 0x90
CONTROL: Final = 0xB0
PITCH_BEND: Final = 0xE0
SONG_POSITION: Final = 0xF2

BEND_AT_REST: Final = 8192
_BEND_HIGHEST: Final = 16383

_REAL_TIME: Final[Mapping[int, type[RealTime]]] = MappingProxyType(
    {0xF8: ClockTick, 0xFA: Start, 0xFB: Continue, 0xFC: Stop}
)
_STATUS_BY_TYPE: Final = MappingProxyType({kind: status for status, kind in _REAL_TIME.items()})


def event_of(message: Sequence[int], at: float) -> Wired | None:
    """The event that one MIDI message tells, or None if it tells a bass player nothing."""
    if len(message) == 1:
        real_time = _REAL_TIME.get(message[0])
        return real_time(at) if real_time else None
    if len(message) != 3:
        return None
    status, first, second = message
    if first > 127 or second > 127:
        return None
    if status == SONG_POSITION:
        return SongPosition(at, first | second << 7)
    return _channel_event(status, first, second, at)


def _channel_event(status: int, first: int, second: int, at: float) -> Wired | None:
    kind, channel = status & 0xF0, status & 0x0F
    if kind == NOTE_ON and second:
        return NoteOn(at, first, second, channel)
    if kind in (NOTE_ON, NOTE_OFF):  # a note on with velocity 0 is a note off
        return NoteOff(at, first, channel)
    return Control(at, first, second, channel) if kind == CONTROL else None


def bend_value(semitones: float, bend_range: int) -> int:
    """Where the bend wheel stands for so many semitones, its range being `bend_range` each way."""
    value = BEND_AT_REST + round(semitones / bend_range * BEND_AT_REST)
    return max(0, min(_BEND_HIGHEST, value))


def bend_range_messages(semitones: int) -> tuple[tuple[int, int], ...]:
    """The controllers, each with its value, that tell a synth how far its wheel is to bend.

    MIDI 1.0: parameter 0 is chosen (controllers 101 and 100), its value is given in semitones and
    hundredths (6 and 38), and no parameter is left chosen (127).
    """
    return (101, 0), (100, 0), (6, semitones), (38, 0), (101, 127), (100, 127)


def bytes_of(event: Wired | PitchBend) -> bytes:
    """The MIDI message for an event; a note off is sent as one, with release velocity 64."""
    match event:
        case NoteOn():
            return bytes((NOTE_ON | event.channel, event.note, event.velocity))
        case NoteOff():
            return bytes((NOTE_OFF | event.channel, event.note, 64))
        case Control():
            return bytes((CONTROL | event.channel, event.controller, event.value))
        case PitchBend():
            return bytes((PITCH_BEND | event.channel, event.value & 127, event.value >> 7))
        case SongPosition():
            return bytes((SONG_POSITION, event.sixteenths & 127, event.sixteenths >> 7))
        case ClockTick() | Start() | Continue() | Stop():
            return bytes((_STATUS_BY_TYPE[type(event)],))
        case _:
            assert_never(event)
