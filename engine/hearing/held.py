"""Held: which tones sound, since when, by keys and pedal.

Knows: keys down and sustain pedals for each channel, when each tone was struck and when it ended.
Refuses to know: chords, the bar.
How: a tone sounds while its key is down or, on its channel, the pedal is.  Tones that end are
kept until they are forgotten, because a short chord is heard after its keys are up.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from typing import Final

from engine.events import ALL_NOTES_OFF, ALL_SOUND_OFF, RESET_CONTROLLERS, SUSTAIN

PEDAL_DOWN: Final = 64

# A key that is struck again and released within this many quarter notes was sent by a sequencer
# that puts the new note-on before the old note-off of the same instant.
SAME_INSTANT: Final = 0.004

# Nobody plays more short notes within a beat; a bound, so that hours before the start cost nothing.
ENDED_KEPT: Final = 64

# A tone is loud when it is struck harder than the tones before it, on average, by this much; the
# average runs over some thirty tones.
LOUD: Final = 8
LOUDNESS_RATE: Final = 0.03


# So many keys are a chord, and no turn of a tune.
CHORD: Final = 3


class Tone:
    """One stroke of a key: where in the song it began and, once it has, where it ended."""

    __slots__ = ("channel", "end", "key_down", "loud", "note", "onset", "restruck")

    def __init__(self, note: int, channel: int, onset: float, *, loud: bool) -> None:
        self.note = note
        self.loud = loud
        self.channel = channel
        self.onset = onset
        self.restruck = False
        self.key_down = True
        self.end: float | None = None


class HeldNotes:
    """The tones that sound, and those that ended lately."""

    def __init__(self) -> None:
        self._sounding: dict[tuple[int, int], Tone] = {}
        self._ended: deque[Tone] = deque(maxlen=ENDED_KEPT)
        self._pedals: set[int] = set()
        self._loudness = 80.0

    def __iter__(self) -> Iterator[Tone]:
        """Every tone that sounds or has ended since the last call of `forget_ended`."""
        yield from self._ended
        yield from self._sounding.values()

    @property
    def silent(self) -> bool:
        """Whether no tone sounds now."""
        return not self._sounding

    def kept_down(self, since: float) -> frozenset[int]:
        """The pitch classes of keys, not of the pedal, that have been down since before a place."""
        tones = self._sounding.values()
        return frozenset(t.note % 12 for t in tones if t.key_down and t.onset < since)

    def strike(self, position: float, note: int, velocity: int, channel: int) -> None:
        """A key goes down; velocity 0 is, by the MIDI standard, a release."""
        if velocity == 0:
            self.release(position, note, channel)
            return
        before = self._sounding.get((channel, note))
        restruck = before is not None and before.key_down
        self._finish((channel, note), position)
        loud = velocity > self._loudness + LOUD
        self._loudness += LOUDNESS_RATE * (velocity - self._loudness)
        tone = Tone(note, channel, position, loud=loud)
        tone.restruck = restruck
        self._sounding[channel, note] = tone

    def release(self, position: float, note: int, channel: int) -> None:
        """A key comes up; its tone goes on where the pedal is down."""
        tone = self._sounding.get((channel, note))
        if tone is None or not tone.key_down:
            return
        if tone.restruck and position - tone.onset <= SAME_INSTANT:
            tone.restruck = False
            return
        tone.key_down = False
        if channel not in self._pedals:
            self._finish((channel, note), position)

    def control(self, position: float, controller: int, value: int, channel: int) -> None:
        """A controller moves: the pedal, or one of those that end notes."""
        if controller == SUSTAIN and value >= PEDAL_DOWN:
            self._pedals.add(channel)
        elif controller in (SUSTAIN, RESET_CONTROLLERS):
            self._lift_pedal(position, channel)
        elif controller == ALL_NOTES_OFF:
            for tone in self._of(channel):
                tone.restruck = False
                self.release(position, tone.note, channel)
        elif controller == ALL_SOUND_OFF:
            for tone in self._of(channel):
                self._finish((channel, tone.note), position)

    def forget_ended(self, before: float) -> None:
        """Forget tones that were struck before a position and have ended."""
        kept = [t for t in self._ended if t.onset >= before]
        self._ended.clear()
        self._ended.extend(kept)

    def credit(self, since: float, position: float) -> None:
        """A chord that was struck after the one place and sounds at the other was meant for it."""
        early = [t for t in self._sounding.values() if since < t.onset < position]
        if len(early) >= CHORD:
            for tone in early:
                tone.onset = position

    def move(self, position: float) -> None:
        """The song jumps: what sounds is as if struck at its new place, what ended is forgotten."""
        self._ended.clear()
        for tone in self._sounding.values():
            tone.onset = position

    def _of(self, channel: int) -> list[Tone]:
        return [t for (c, _), t in self._sounding.items() if c == channel]

    def _lift_pedal(self, position: float, channel: int) -> None:
        self._pedals.discard(channel)
        for tone in self._of(channel):
            if not tone.key_down:
                self._finish((channel, tone.note), position)

    def _finish(self, key: tuple[int, int], position: float) -> None:
        tone = self._sounding.pop(key, None)
        if tone is not None:
            tone.end = position
            self._ended.append(tone)
