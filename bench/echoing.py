"""A bassist that only echoes, simple enough to be checked by eye: a run loop without the music."""

from __future__ import annotations

from fractions import Fraction

from engine.events import Incoming, NoteOn, Outgoing, Play, Release, Stop
from engine.score import BassNote, Role
from engine.theory.harmony import Chord


class EchoBassist:
    """Answers each key two octaves lower, at once or after `delay` seconds, for `length` seconds.

    It plays one note at a time and falls silent on stop, as the real one does.
    """

    def __init__(self, length: float = 0.25, delay: float = 0.0) -> None:
        self.length = length
        self.delay = delay
        self.heard: list[Incoming] = []
        self._due: list[Play | Release] = []
        self._sounding: int | None = None

    def receive(self, event: Incoming) -> list[Outgoing]:
        """Take an event, answer with what has become due."""
        self.heard.append(event)
        if isinstance(event, Stop):
            self._due = []
            return self._silence(event.at)
        if isinstance(event, NoteOn):
            self._due.append(echo_of(event, self.delay))
        return self._come_to(event.at)

    def next_deadline(self) -> float | None:
        """When the next note begins or ends."""
        return min((d.at for d in self._due), default=None)

    def _come_to(self, now: float) -> list[Outgoing]:
        answer: list[Outgoing] = []
        while self._due and min(d.at for d in self._due) <= now:
            due = min(self._due, key=lambda d: d.at)
            self._due.remove(due)
            if isinstance(due, Play):
                answer += self._silence(due.at)
                answer.append(due)
                self._sounding = due.note
                self._due.append(Release(due.at + self.length, 0.0, due.note))
            else:
                answer += self._silence(due.at)
        return answer

    def _silence(self, at: float) -> list[Outgoing]:
        self._due = [d for d in self._due if isinstance(d, Play)]
        note, self._sounding = self._sounding, None
        return [] if note is None else [Release(at, 0.0, note)]


def echo_of(event: NoteOn, delay: float = 0.0) -> Play:
    """The bass note that echoes a key."""
    note = max(0, event.note - 24)
    chord = Chord.of(note % 12)
    written = BassNote(Fraction(0), Fraction(1), note, 0.5, Role.ROOT, "echo", 1, 0, chord)
    return Play(event.at + delay, 0.0, note, event.velocity, written)
