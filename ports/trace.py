"""The trace: what the engine heard, expected and played, one JSON object a line.

Knows: the format, which docs/trace.md describes for whoever reads it.
Refuses to know: where the lines go.
How: each fact is told when it becomes known; a note is told when it ends, as only then its length
is known.  played.py reads the lines back.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from fractions import Fraction
from typing import BinaryIO, Final

from engine.events import (
    BarOfSilence,
    Beat,
    ChangeExpected,
    ChordHeard,
    KeyHeard,
    NothingExpected,
    Outgoing,
    Play,
    Release,
)
from engine.line.grades import Grade
from engine.score import BassNote
from engine.style import Style
from engine.theory.harmony import C_MAJOR
from engine.theory.labels import harte, harte_key
from engine.theory.meter import CLOCKS_PER_QUARTER
from engine.theory.spelling import spelled
from engine.theory.symbols import symbol
from ports.files import FileError

SECOND_DIGITS: Final = 6
"""A microsecond; what lies below is the noise of float arithmetic."""


def _plain(number: float) -> float:
    return round(float(number), SECOND_DIGITS)


HEARD_AT_FIRST: Final = C_MAJOR
"""The key in which names are spelled before any is heard."""


class Trace:
    """Turns what the engine gives out into lines of the trace.

    `beat_at` tells the quarter notes from the start of the file at a moment; a beat that the
    engine expects is counted from where the file and the engine stand when it says so.
    """

    def __init__(self, write: Callable[[str], object], beat_at: Callable[[float], float]) -> None:
        self._write = write
        self._beat_at = beat_at
        self._sounding: Play | None = None
        self._key = HEARD_AT_FIRST
        self._bar = Beat(0.0, 0.0, 1, 1)

    def begin(self, style: Style, grade: Grade, seed: int) -> None:
        """Write down what is about to be played, and on which instrument."""
        neck = {"tuning": style.neck.tuning, "span": style.neck.span}
        self._line("style", 0.0, name=style.name, grade=int(grade), seed=seed, **neck)

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
            case Beat():
                self._felt_beat(outgoing)
            case KeyHeard():
                self._key = outgoing.key
                self._line(
                    "key",
                    outgoing.at,
                    label=harte_key(outgoing.key),
                    confidence=_plain(outgoing.confidence),
                )
            case ChangeExpected():
                self._expect(outgoing)
            case NothingExpected():
                self._line("expect", outgoing.at, at_beat=None, label=None, confidence=None)
            case BarOfSilence():
                self._line("silence", outgoing.at, bar=outgoing.bar)

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
            bass=None if chord is None else spelled(chord.bass, chord, key),
            confidence=_plain(heard.confidence),
        )

    def _expect(self, change: ChangeExpected) -> None:
        # A change is expected on a place, not at a moment: to the tick of the MIDI clock.
        place = self._beat_at(change.at) + change.at_beat - change.beat
        self._line(
            "expect",
            change.at,
            at_beat=_plain(round(place * CLOCKS_PER_QUARTER) / CLOCKS_PER_QUARTER),
            label=harte(change.chord, change.key),
            confidence=_plain(change.confidence),
        )

    def _felt_beat(self, beat: Beat) -> None:
        """A bar begins, or is entered on a later beat after a jump."""
        if beat.count > 1 and beat.bar == self._bar.bar:
            return
        self._bar = replace(beat, beat=beat.beat - float(beat.metre.pulses[beat.count - 1]))
        if beat.bar > 0:  # before it is the count-in
            self._line("bar", beat.at, bar=beat.bar, metre=str(beat.metre))

    def _written(self, note: BassNote) -> dict[str, object]:
        """What stood on the page: a note may be due in the bar whose line is not yet crossed."""
        bars, place = divmod(note.beat - Fraction(self._bar.beat), self._bar.metre.bar)
        aims_at = note.aims_at
        return {
            "bar": self._bar.bar + int(bars),
            "place": _plain(float(place)),
            "length": _plain(float(note.length)),
            "chord": harte(note.chord, self._key),
            "aims_at": None if aims_at is None else self._key.tone_name(aims_at),
        }

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
            articulation=written.articulation.value,
            joined_from=written.joined_from,
            **self._written(written),
        )


class LiveTrace:
    """Writes the trace of a performance while it goes on; it is told off the run loop.

    Time counts from the first thing that happened, beats are the bassist's own.  What is told is
    in the file at once, for whoever reads along, and whatever becomes of the program.
    """

    def __init__(self, target: BinaryIO, style: Style, grade: Grade, seed: int) -> None:
        self._target = target
        self._trace = Trace(self._write, lambda at: self._beats[at])
        self._began: float | None = None
        self._last = 0.0
        # Places are asked for of what is told just now, and of the note that sounds until then.
        self._struck = {0.0: 0.0}
        self._beats = self._struck
        self._trace.begin(style, grade, seed)

    def take(self, outgoing: Outgoing) -> None:
        """Write down one thing the engine gave out.

        Raises:
            FileError: the file cannot be written any more.
        """
        if self._began is None:
            self._began = outgoing.at
        told = replace(outgoing, at=outgoing.at - self._began)
        self._last = told.at
        self._beats = self._struck | {told.at: told.beat}
        self._trace.take(told)
        with _kept(self._target):
            self._target.flush()
        if isinstance(told, Play):
            self._struck = {told.at: told.beat}

    def close(self) -> None:
        """Write down the note that still sounds, and end the file."""
        self._trace.close(self._last)
        with _kept(self._target):
            self._target.close()

    def _write(self, line: str) -> None:
        with _kept(self._target):
            self._target.write(line.encode())


@contextmanager
def _kept(target: BinaryIO) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        with suppress(OSError):  # what is buffered still does not go out
            target.close()
        raise FileError(
            f"{target.name} cannot be written any more ({error.strerror}); the trace ends there"
        ) from error
