"""View: what a player sees while the bass plays along.

Knows: bar and beat, key, chord, the change that is expected, and the notes as they sound.
Refuses to know: ports, clocks, the engine's workings; it is told what the engine gave out.
How: a terminal is drawn by a process of its own, since drawing a frame takes as long as a bass
note may be late.  Where none can be drawn on there is a plain line a bar.  onlookers.py tells them.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from io import TextIOWrapper
from multiprocessing.connection import Connection
from typing import Final, TextIO

from rich.console import Console
from rich.live import Live
from rich.text import Text

from engine.events import (
    Beat,
    ChangeExpected,
    ChordHeard,
    KeyHeard,
    NothingExpected,
    Outgoing,
    Play,
    Release,
    Rest,
)
from engine.score import BassNote
from engine.teaching.bars import named_with_octave
from engine.theory.harmony import C_MAJOR
from engine.theory.pitch import spell_near
from engine.theory.symbols import symbol
from ports.onlookers import LEAVE_SECONDS, Display

FRAMES_PER_SECOND: Final = 15
FRETS_DRAWN: Final = 15
NOTES_REMEMBERED: Final = 6
GAUGE_CELLS: Final = 10

FOR_A_CHORD: Final = "play a chord to begin"
FOR_THE_SEQUENCER: Final = "start the sequencer to begin; if it runs already, stop it first"

_CELLS: Final = ("□", "■")
_FRETS: Final = ("‖", "|")
_STRING, _STRUCK, _SOUNDING = "───", "─○─", "─●─"
_SIGNS: Final = "".join((*_CELLS, *_FRETS, _STRING, _STRUCK, _SOUNDING))

_TOLD_BY_KEYS = ("SIGINT", "SIGQUIT", "SIGTSTP")
KEYS: Final = tuple(getattr(signal, n) for n in _TOLD_BY_KEYS if hasattr(signal, n))
"""What Ctrl-C, Ctrl-\\ and Ctrl-Z tell everyone on the terminal; it is for the player to act on."""


def _sung(note: Play) -> str:
    return f"{named_with_octave(note.written)} {note.written.role.value}"


# What is shown ------------------------------------------------------------------------------


class Screen:
    """The picture, kept up to date by `take` and drawn by rich whenever it likes.

    `waiting` is what stands there while no bar is counted.
    """

    def __init__(self, heading: str, tuning: Sequence[int], waiting: str = FOR_A_CHORD) -> None:
        self._heading = heading
        self._waiting = waiting
        self._open = list(tuning)
        self._beat: Beat | None = None
        self._key: KeyHeard | None = None
        self._chord: ChordHeard | None = None
        self._change: ChangeExpected | None = None
        self._sounding: Play | None = None
        self._notes: deque[Play] = deque(maxlen=NOTES_REMEMBERED)
        self._notice = ""

    def take(self, outgoing: Outgoing | str) -> None:
        """Let the picture show one thing the engine gave out, or a sentence for the player."""
        match outgoing:
            case str():
                self._notice = outgoing
            case Beat():
                self._beat = outgoing
            case KeyHeard():
                self._key = outgoing
            case ChordHeard():
                self._chord = outgoing
            case ChangeExpected():
                self._change = outgoing
            case NothingExpected():
                self._change = None
            case Play():
                self._sounding = outgoing
                self._notes.append(outgoing)
                self._string_up(outgoing.written)
            case Release():
                self._sounding = None
            case Rest():
                self._beat = self._change = None

    def _string_up(self, note: BassNote) -> None:
        """Another style may be played on another instrument."""
        self._open += [note.note - note.fret] * (note.string - len(self._open))
        self._open[note.string - 1] = note.note - note.fret

    def __rich__(self) -> Text:
        """The picture now."""
        lines = [
            Text(self._heading, style="dim"),
            Text(),
            self._place_line(),
            self._chord_line(),
            self._next_line(),
            Text(),
            *(self._string_line(string) for string in range(len(self._open), 0, -1)),
            Text(),
            self._note_line(),
            self._recent_line(),
            Text(self._notice, style="yellow"),
        ]
        return Text("\n").join(lines)

    def _place_line(self) -> Text:
        beat, key = self._beat, self._key
        place = self._waiting if beat is None else f"bar {beat.bar}  beat {beat.count}"
        line = Text().append(f"{place:<22}  ", style="bold")
        if key is not None:
            line.append(f"{key.key.name} {key.confidence:.0%}", style="cyan")
        return line

    def _chord_line(self) -> Text:
        line = Text(f"{'heard':<8}")
        if self._chord is not None:
            name = symbol(self._chord.chord, self._chord.key)
            line.append(f"{name:<16}", style="bold green")
            line.append(_gauge(self._chord.confidence))
        return line

    def _next_line(self) -> Text:
        line = Text().append(f"{'next':<8}", style="dim")
        change, beat = self._change, self._beat
        if change is None or (beat is not None and change.at_beat <= beat.beat):
            return line
        line.append(f"{symbol(change.chord, change.key):<16}", style="yellow")
        line.append(_gauge(change.confidence))
        if beat is not None:
            ahead = change.at_beat - beat.beat
            line.append(f"  in {ahead:g} beat{'' if ahead == 1 else 's'}")
        return line

    def _string_line(self, string: int) -> Text:
        name = spell_near(self._open[string - 1] % 12, 0)
        line = Text().append(f"{name:<2}", style="dim")
        for fret in range(FRETS_DRAWN + 1):
            line.append_text(self._fret(string, fret))
            line.append(_FRETS[fret > 0], style="dim")
        return line

    def _fret(self, string: int, fret: int) -> Text:
        for age, note in enumerate(reversed(self._notes)):
            if note.written.string == string and min(note.written.fret, FRETS_DRAWN) == fret:
                now = age == 0 and self._sounding is not None
                if now:
                    return Text(_SOUNDING, style="bold green")
                return Text(_STRUCK, style="dim")
        return Text(_STRING, style="dim")

    def _note_line(self) -> Text:
        note = self._sounding
        if note is None:
            return Text()
        line = Text().append(f"{_sung(note):<32}", style="bold green")
        return line.append(note.written.reason, style="dim")

    def _recent_line(self) -> Text:
        return Text("  ".join(_sung(n) for n in self._notes), style="dim")


def _gauge(confidence: float) -> str:
    full = round(confidence * GAUGE_CELLS)
    empty_cell, full_cell = _CELLS
    return full_cell * full + empty_cell * (GAUGE_CELLS - full) + f" {confidence:.0%}"


class Log:
    """The same in plain lines, one when a bar is over."""

    def __init__(self, write: Callable[[str], object]) -> None:
        self._write = write
        self._bar: int | None = None
        self._key = C_MAJOR
        self._chords: list[str] = []
        self._notes: list[str] = []
        self._change = ""

    def take(self, outgoing: Outgoing) -> None:
        """Note one thing the engine gave out."""
        match outgoing:
            case Beat(count=1):
                self.close()
                self._bar = outgoing.bar
            case KeyHeard():
                self._key = outgoing.key
            case ChordHeard():
                self._chords.append(symbol(outgoing.chord, outgoing.key))
            case ChangeExpected():
                name = symbol(outgoing.chord, outgoing.key)
                self._change = f"; expects {name} ({outgoing.confidence:.0%})"
            case NothingExpected():
                self._change = ""
            case Play():
                self._notes.append(_sung(outgoing))
            case Rest():
                self.close()
                self._bar = None

    def say(self, sentence: str) -> None:
        """Write a sentence for the player."""
        self._write(sentence)

    def close(self) -> None:
        """Write the bar that is over."""
        if self._chords or self._notes:
            where = "" if self._bar is None else f"bar {self._bar}, "
            chords, notes = " ".join(self._chords) or "same chord", ", ".join(self._notes)
            self._write(f"{where}{self._key.name}: {chords}: {notes}{self._change}")
        self._chords, self._notes, self._change = [], [], ""


# How it gets there --------------------------------------------------------------------------


class Picture:
    """The canvas that draws on the terminal, from a process of its own."""

    def __init__(self, heading: str, tuning: Sequence[int], waiting: str = FOR_A_CHORD) -> None:
        # Spawned, not forked: the MIDI driver's threads must not be copied.
        context = multiprocessing.get_context("spawn")
        there, self._here = context.Pipe(duplex=False)
        shown = (heading, tuning, waiting)
        self._process = context.Process(target=_draw, args=(there, *shown), daemon=True)
        with _deaf_to_keys():
            self._process.start()
        there.close()

    def take(self, outgoing: Outgoing) -> None:
        """Send it over."""
        self._here.send(outgoing)

    def say(self, sentence: str) -> None:
        """Send it over, to be drawn below the picture."""
        self._here.send(sentence)

    def close(self) -> None:
        """Let the process draw the last picture and leave."""
        self._here.close()
        self._process.join(LEAVE_SECONDS)
        if self._process.is_alive():
            self._process.terminate()


@contextmanager
def _deaf_to_keys() -> Iterator[None]:
    """Whoever is begun here does not hear Ctrl-C and its like, not even while still loading."""
    usual = {number: signal.signal(number, signal.SIG_IGN) for number in KEYS}
    try:
        yield
    finally:
        for number, handler in usual.items():
            signal.signal(number, handler)


def _draw(told: Connection, heading: str, tuning: Sequence[int], waiting: str) -> None:
    """Draw what is told until the other end closes; Ctrl-C is for the player to act on."""
    for key in KEYS:
        signal.signal(key, signal.SIG_IGN)  # nothing is handed on where there is no fork
    if isinstance(sys.stdout, TextIOWrapper):  # a name may have any letter in it
        sys.stdout.reconfigure(errors="replace")
    if hasattr(os, "nice"):
        os.nice(10)  # the picture may wait, the music not
    screen = Screen(heading, tuning, waiting)
    with (
        suppress(EOFError, OSError),
        Live(screen, console=Console(), refresh_per_second=FRAMES_PER_SECOND),
    ):
        while True:
            screen.take(told.recv())


def can_be_drawn_on(there: TextIO | None) -> bool:
    """Whether it is a terminal that can go back over what it shows, and has the signs we draw."""
    if there is None or not there.isatty():
        return False
    console = Console(file=there)
    try:
        _SIGNS.encode(there.encoding)
    except UnicodeEncodeError:
        return False
    return console.is_terminal and not console.is_dumb_terminal


def canvas_for(
    heading: str,
    tuning: Sequence[int],
    write: Callable[[str], object],
    *,
    terminal: bool,
    external: bool = False,
) -> Display:
    """The canvas that suits where the output goes: a picture on a terminal, else plain lines.

    `tuning` are the open strings of the instrument, lowest first; `external` says whether a
    sequencer counts, which is waited for then.
    """
    if terminal:
        return Picture(heading, tuning, FOR_THE_SEQUENCER if external else FOR_A_CHORD)
    write(heading)
    if external:
        write(FOR_THE_SEQUENCER)
    return Log(write)
