"""Screen: the picture that a player sees while the bass plays along.

Knows: bar and beat, key, chord, the change that is expected, and the notes as they sound.
Refuses to know: the terminal, and how what it shows gets there (view.py).
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from typing import Final

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
from engine.theory.pitch import spell_near
from engine.theory.symbols import symbol

FRETS_DRAWN: Final = 15
NOTES_REMEMBERED: Final = 6
GAUGE_CELLS: Final = 10

FOR_A_CHORD: Final = "play a chord to begin"

_CELLS: Final = ("□", "■")
_FRETS: Final = ("‖", "|")
_STRING, _STRUCK, _SOUNDING = "───", "─○─", "─●─"
SIGNS: Final = "".join((*_CELLS, *_FRETS, _STRING, _STRUCK, _SOUNDING))
"""What it is drawn with, besides plain letters."""


def sung(note: Play) -> str:
    """A note as it is told: "Eb2 root"."""
    return f"{named_with_octave(note.written)} {note.written.role.value}"


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
        line = Text().append(f"{sung(note):<32}", style="bold green")
        return line.append(note.written.reason, style="dim")

    def _recent_line(self) -> Text:
        return Text("  ".join(sung(n) for n in self._notes), style="dim")


def _gauge(confidence: float) -> str:
    full = round(confidence * GAUGE_CELLS)
    empty_cell, full_cell = _CELLS
    return full_cell * full + empty_cell * (GAUGE_CELLS - full) + f" {confidence:.0%}"
