"""Agenda: what falls due next, and when.

Knows: the felt beats, the gathering of a chord's keys, the pocket, the note that sounds and the
one that waits, and that thinking takes time.
Refuses to know: what is done about any of them.
How: the earliest of a handful of times, read anew each time it is asked.  Looking ahead and writing
take some milliseconds, and so go a step at a time, and give way to a note or a chord that is due.
"""

from __future__ import annotations

from collections.abc import Callable
from enum import Enum, auto
from fractions import Fraction
from math import inf
from typing import Final

from engine.part import Part, Ready
from engine.pulse import Pulse
from engine.timing import GATHER_SECONDS, LISTEN_AGAIN_SECONDS, Timing

# A rolled chord is not waited for longer than this; it is read as it stands and read again.
GATHER_AT_MOST_SECONDS: Final = 0.045

# A note on a doubtful change may wait this long for the keys: bass and piano lie 23 ms apart on
# the same beat in recorded trios, and a late bass is noticed from about 31 ms.
POCKET_SECONDS: Final = 0.025

# A finger does not pluck twice within this: sixteenths at 300 a minute.  A note that turns out
# wrong as it begins is left no sooner than that, and by then a rolled chord is whole.
NEXT_NOTE_SECONDS: Final = 0.05

# A sixteenth after the beat it is read a last time: by then keys that are late have come, and a
# chord that was foretold, and waited for, has come or will not.
LISTEN_LAST: Final = 0.25

# Each step of looking ahead begins this long after the beat, the note or the step before, so that
# keys that came meanwhile are heard first, and not if a note or a chord is due within what the step
# may take.
LOOK_AFTER_SECONDS: Final = 0.002
LOOK_TAKES_SECONDS: Final = 0.006


class Due(Enum):
    """What can fall due, in the order it is done when several fall due at once."""

    CROSS = auto()
    HEAR = auto()
    RELEASE = auto()
    PLAY = auto()
    BEND = auto()
    LOOK = auto()


class Agenda:
    """The times at which something is to be done.

    Args:
        pulse: tells when a place in the song comes.
        part: what sounds and what waits to sound.
        in_doubt: whether it is open which chord a felt beat brings.
        timing: tells how far behind the beat this player's chords usually are.
        pocket: seconds that a note on a doubtful change may wait for the keys, counted from where
            they usually come; 0: not at all.
    """

    def __init__(
        self,
        pulse: Pulse,
        part: Part,
        in_doubt: Callable[[Fraction], bool],
        timing: Timing,
        pocket: float,
    ) -> None:
        self._in_doubt = in_doubt
        self._timing = timing
        self._pocket = pocket
        self._pulse = pulse
        self._part = part
        self._next_beat = Fraction(0)
        self._next_position = 0.0
        self._gathered_at = inf
        self._listen_at = inf
        self._listen_last = inf
        self._look_from = inf
        self._gather_from = -inf
        self._struck_at = -inf
        self._begins_here = True

    @property
    def next_beat(self) -> Fraction:
        """The felt beat to come."""
        return self._next_beat

    @next_beat.setter
    def next_beat(self, beat: Fraction) -> None:
        """Look on to this felt beat."""
        self._next_beat, self._next_position = beat, float(beat)

    def move(self, beat: Fraction) -> None:
        """The song goes on elsewhere: this felt beat is to come, and what was seen is stale."""
        self.next_beat = beat
        self._begins_here = True
        self._listen_last = inf
        self.has_looked()

    def key_down(self, at: float) -> None:
        """A key went down: read the chord when its last key has landed."""
        if at - self._struck_at > GATHER_SECONDS:
            self._gather_from = at
        self._struck_at = at
        latest = max(self._gather_from + GATHER_AT_MOST_SECONDS, at)
        self._gathered_at = min(at + GATHER_SECONDS, latest)
        self._listen_at = inf

    def listen(self, at: float) -> None:
        """Read the chord by this time, whether or not keys go down."""
        self._listen_at = min(self._listen_at, at)

    def crossed(self, at: float, position: float) -> None:
        """A felt beat began: it is read twice more, at once if its keys came a little early.

        The first one after a start or a jump has the keys that were held for it all the while.
        """
        held = self._begins_here or self._struck_at >= at - GATHER_AT_MOST_SECONDS
        early = held and self._gathered_at == inf
        self._begins_here = False
        self.listen(at if early else at + LISTEN_AGAIN_SECONDS + self._timing.behind)
        self._listen_last = position + LISTEN_LAST

    def look(self, at: float) -> None:
        """Look ahead as soon after this time as nothing else is due."""
        self._look_from = at

    def played(self, at: float) -> None:
        """A note begins: let it be on its way before anything that takes long."""
        if self._look_from < inf:
            self._look_from = at

    def has_looked(self) -> None:
        """Looked ahead: nothing more to look for until a beat begins or another chord is heard."""
        self._look_from = inf

    def clear(self) -> None:
        """Nothing more to read or to look for."""
        self._gathered_at = self._listen_at = self._listen_last = inf
        self.has_looked()

    def has_read(self, at: float) -> None:
        """The chord was read: no more of it until a key goes down, or late in the beat."""
        self._gathered_at = self._listen_at = inf
        if self._listens_last_at <= at:
            self._listen_last = inf

    def next_due(self) -> tuple[float, Due]:
        """The next thing to be done and when; infinity if nothing will be."""
        read_at = min(self._gathered_at, self._listen_at, self._listens_last_at)
        first = (read_at, Due.HEAR)
        if self._pulse.running:
            crossing = self._pulse.seconds_of(self._next_position)
            if crossing <= first[0]:
                first = (crossing, Due.CROSS)
            first = self._first_note(first)
            bends_at = self._part.bends_at
            first = (bends_at, Due.BEND) if bends_at < first[0] else first
        if first[0] > self._look_from + LOOK_TAKES_SECONDS:
            return self._look_from + LOOK_AFTER_SECONDS, Due.LOOK
        return first

    @property
    def _listens_last_at(self) -> float:
        # A place is kept, not a second: under a clock nobody knows beforehand when it will come.
        return self._pulse.seconds_of(self._listen_last)

    def _first_note(self, first: tuple[float, Due]) -> tuple[float, Due]:
        sounding = self._part.sounding
        if sounding is not None:
            ends = min(self._pulse.seconds_of(sounding.played.until), self._pulse.stalls_at())
            if ends < first[0]:
                first = (ends, Due.RELEASE)
        waiting = self._part.next()
        if waiting is not None:
            begins = self._begins(waiting)
            if begins < first[0]:
                # Keys that come as the pocket ends are read as far as they have come.
                gathers = self._gathered_at < inf and self._in_doubt(waiting.written.beat)
                first = (begins, Due.HEAR if gathers else Due.PLAY)
        return first

    def _begins(self, note: Ready) -> float:
        """When a written note is to sound: in its place, or later in the pocket if in doubt."""
        due = self._pulse.seconds_of(note.played.beat)
        begins = max(due + note.played.lag, self._part.began_at + NEXT_NOTE_SECONDS)
        waits_until = due + self._pocket + self._timing.behind if self._pocket else due
        if self._gathered_at < inf:
            return max(begins, min(self._gathered_at, waits_until))
        if self._in_doubt(note.written.beat):
            return max(begins, waits_until)
        return begins
