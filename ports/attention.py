"""Attention: which of the keys that arrive are chords to be heard.

Knows: a channel to listen on, and a split point below which the chords are played.
Refuses to know: what the chords are.
How: what is not heeded is dropped before the bassist hears of it; clock and transport never are.
"""

from __future__ import annotations

from dataclasses import dataclass

from engine.events import Control, Incoming, NoteOff, NoteOn
from engine.theory.pitch import note_of_name
from ports.wire import DRUM_CHANNEL

_LOWEST_SPLIT, _HIGHEST_SPLIT = 24, 108


@dataclass(frozen=True, slots=True)
class Attention:
    """What is listened to: all but the drums unless told otherwise.

    `channel` is 0..15; `split` is the lowest note that is not heard any more.
    """

    channel: int | None = None
    split: int | None = None

    def heeds(self, event: Incoming) -> bool:
        """Whether the bassist is to hear of an event."""
        match event:
            case NoteOn() | NoteOff():
                low_enough = self.split is None or event.note < self.split
                return low_enough and self._listens_on(event.channel)
            case Control():
                return self._listens_on(event.channel)
            case _:
                return True

    def _listens_on(self, channel: int) -> bool:
        return channel == self.channel or (self.channel is None and channel != DRUM_CHANNEL)


def split_point(text: str) -> int:
    """A note by name or number: C4 and 60 are middle C.

    Raises:
        ValueError: no note, or one that splits no keyboard.
    """
    try:
        note = int(text) if text.isdecimal() else note_of_name(text)
    except ValueError:
        note = -1
    if not _LOWEST_SPLIT <= note <= _HIGHEST_SPLIT:
        raise ValueError(f"{text!r} is no split point; give a note from C1 to C8, such as C4 or 60")
    return note
