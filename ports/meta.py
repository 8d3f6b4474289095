"""Meta: what a MIDI file says beside its notes, cut down to what is used.

Knows: how the events of a track follow each other as bytes.
Refuses to know: what any of them means.
How: the library that parses MIDI files gives a whole file up for one key signature or film time
that it cannot read, and loses the time before an event that it does not know.  So whatever is not
used is told to it as text, which may say anything: a single byte is another, and nothing moves.
"""

from __future__ import annotations

from contextlib import suppress
from typing import Final

from mido.messages import SPEC_BY_STATUS

# A name and a length, four bytes each, stand before the file's head and before each track.
_TRACK: Final = b"MTrk"
_CHUNK_HEAD: Final = 8

_META: Final = 0xFF
_SYSTEM_EXCLUSIVE: Final = (0xF0, 0xF7)
_TEXT: Final = 0x01
# Track name, end of track, tempo, time signature ("Standard MIDI Files 1.0", meta-events).
_USED: Final = (0x03, 0x2F, 0x51, 0x58)


def used(file: bytes) -> bytes:
    """The file with every meta event that nobody uses made a text.

    From the first byte that makes no sense it is as it was.
    """
    data = bytearray(file)
    with suppress(LookupError):
        at = _end_of_chunk(data, 0)
        while data[at : at + len(_TRACK)] == _TRACK:
            _make_plain(data, at + _CHUNK_HEAD, _end_of_chunk(data, at))
            at = _end_of_chunk(data, at)
    return bytes(data)


def _end_of_chunk(data: bytearray, at: int) -> int:
    begins = at + _CHUNK_HEAD
    return begins + int.from_bytes(data[begins - 4 : begins], "big")


def _make_plain(data: bytearray, at: int, end: int) -> None:
    running = 0
    while at < end:
        _, at = _number(data, at)  # how long after the event before
        kind = running
        if data[at] >= 0x80:
            kind, at = data[at], at + 1
        if kind == _META:
            data[at] = data[at] if data[at] in _USED else _TEXT
            length, at = _number(data, at + 1)
        elif kind in _SYSTEM_EXCLUSIVE:
            length, at = _number(data, at)
        else:
            length = SPEC_BY_STATUS[kind]["length"] - 1
        at += length
        running = running if kind == _META else kind


def _number(data: bytearray, at: int) -> tuple[int, int]:
    """A number, seven bits to the byte, all but its last byte marked; and the place after it."""
    value = 0
    while True:
        value = value << 7 | data[at] & 0x7F
        at += 1
        if data[at - 1] < 0x80:
            return value, at
