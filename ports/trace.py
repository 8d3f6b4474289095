"""The trace: what the engine heard, expected and played, one JSON object a line.

Knows: the format, which docs/trace.md describes for whoever reads it.
Refuses to know: where the lines go.
How: each fact is told when it becomes known; a note is told when it ends, as only then its length
is known.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Final

from engine.events import ChangeExpected, ChordHeard, KeyHeard, Outgoing, Play, Release
from engine.labels import harte, harte_key, symbol
from engine.pitch import name_of_fifths

SECOND_DIGITS: Final = 6
"""A microsecond; what lies below is the noise of float arithmetic."""


def _plain(number: float) -> float:
    return round(float(number), SECOND_DIGITS)


# A change is expected on a place, not at a moment: to the tick of the MIDI clock.
_TICKS: Final = 24


class Trace:
    """Turns what the engine gives out into lines of the trace.

    `beat_at` tells the quarter notes from the start of the file at a moment; a beat that the
    engine expects is counted from where the file and the engine stand when it says so.
    """

    def __init__(self, write: Callable[[str], object], beat_at: Callable[[float], float]) -> None:
        self._write = write
        self._beat_at = beat_at
        self._sounding: Play | None = None

    def take(self, outgoing: Outgoing) -> None:
        """Write down one thing the engine gave out."""
        match outgoing:
            case Play():
                self._end_note(outgoing.at)
                self._sounding = outgoing
            case Release():
                self._end_note(outgoing.at)
            case ChordHeard():
                self._chord(outgoing)
            case KeyHeard():
                self._line(
                    "key",
                    outgoing.at,
                    label=harte_key(outgoing.key),
                    confidence=_plain(outgoing.confidence),
                )
            case ChangeExpected():
                self._expect(outgoing)

    def close(self, at: float) -> None:
        """End a note that still sounds when the playing is over."""
        self._end_note(at)

    def _line(self, kind: str, at: float, **facts: object) -> None:
        head = {"type": kind, "time": _plain(at), "beat": _plain(self._beat_at(at))}
        self._write(json.dumps(head | facts) + "\n")

    def _chord(self, heard: ChordHeard) -> None:
        chord, key = heard.chord, heard.key
        self._line(
            "chord",
            heard.at,
            label=harte(chord, key),
            symbol=symbol(chord, key),
            bass=None if chord is None else name_of_fifths(key.root_fifths(chord.bass)),
            confidence=_plain(heard.confidence),
        )

    def _expect(self, change: ChangeExpected) -> None:
        ahead = change.at_beat - change.beat
        self._line(
            "expect",
            change.at,
            at_beat=_plain(round((self._beat_at(change.at) + ahead) * _TICKS) / _TICKS),
            label=harte(change.chord, change.key),
            confidence=_plain(change.confidence),
        )

    def _end_note(self, until: float) -> None:
        note, self._sounding = self._sounding, None
        if note is None:
            return
        written = note.written
        self._line(
            "note",
            note.at,
            until=_plain(until),
            until_beat=_plain(self._beat_at(until)),
            pitch=note.note,
            velocity=note.velocity,
            role=written.role.value,
            reason=written.reason,
            string=written.string,
            fret=written.fret,
        )
