"""View: how a player gets to see what goes on: the picture, or plain lines.

Knows: terminals, and which of them can be drawn on.
Refuses to know: ports, clocks, the engine's workings; it is told what the engine gave out.  What
the picture shows is in screen.py.
How: a terminal is drawn by a process of its own, since drawing a frame takes as long as a bass
note may be late.  Where none can be drawn on there is a plain line a bar.  onlookers.py tells them.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from io import TextIOWrapper
from multiprocessing.connection import Connection
from typing import Final, TextIO

from rich.console import Console
from rich.live import Live

from engine.events import (
    Beat,
    ChangeExpected,
    ChordHeard,
    KeyHeard,
    NothingExpected,
    Outgoing,
    Play,
    Rest,
)
from engine.theory.harmony import C_MAJOR
from engine.theory.symbols import symbol
from ports.onlookers import LEAVE_SECONDS, Display
from ports.screen import FOR_A_CHORD, SIGNS, Screen, sung

FRAMES_PER_SECOND: Final = 15

FOR_THE_SEQUENCER: Final = "start the sequencer to begin; if it runs already, stop it first"

_TYPED = ("SIGINT", "SIGQUIT", "SIGTSTP")
TERMINAL_SIGNALS: Final = tuple(getattr(signal, n) for n in _TYPED if hasattr(signal, n))
"""What Ctrl-C, Ctrl-\\ and Ctrl-Z tell everyone on the terminal; it is for the player to act on."""


class Log:
    """What is told, in plain lines, one when a bar is over."""

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
                self._notes.append(sung(outgoing))
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
    usual = {number: signal.signal(number, signal.SIG_IGN) for number in TERMINAL_SIGNALS}
    try:
        yield
    finally:
        for number, handler in usual.items():
            signal.signal(number, handler)


def _draw(told: Connection, heading: str, tuning: Sequence[int], waiting: str) -> None:
    """Draw what is told until the other end closes; Ctrl-C is for the player to act on."""
    for number in TERMINAL_SIGNALS:
        signal.signal(number, signal.SIG_IGN)  # nothing is handed on where there is no fork
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
        SIGNS.encode(there.encoding)
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
    with suppress(OSError):  # nobody looks, as in a pipe whose reader has left: the music goes on
        write(heading)
        if external:
            write(FOR_THE_SEQUENCER)
    return Log(write)
