"""Looking: what is ahead, thought through a step at a time.

Knows: how many steps are left, and when the ear is asked what comes.
Refuses to know: what is made of the answers.
How: as a beat begins it is looked ahead, before the ear has heard any of it; so when it has been
read as late as it is to be, a sixteenth on, it is looked once more, with what the ear expects then.
"""

from __future__ import annotations

from engine.arrays import Doubles
from engine.events import Forecast, Heard
from engine.foresight.outlook import FARTHEST, WEIGHED, Foresight
from engine.foresight.standing import Present
from engine.hearing.ear import Ear
from engine.theory.harmony import Chord
from engine.theory.meter import Moment

Outlook = tuple[Forecast, ...]


class Looking:
    """How much there is to see yet.

    Args:
        ear: asked what comes, when it has heard enough of a beat.
        foresight: looks.
    """

    def __init__(self, ear: Ear, foresight: Foresight) -> None:
        self._ear = ear
        self._foresight = foresight
        self._steps = 0
        self._asks = False  # whether the ear has heard enough of the running beat
        self._coming: Doubles | None = None

    @property
    def has_more_to_see(self) -> bool:
        """Whether another step would tell something new."""
        return self._steps > 0

    def relocate(self, moment: Moment) -> None:
        """The song goes on from here."""
        self._foresight.relocate(moment.next_beat())
        self._steps, self._asks, self._coming = 0, False, None

    def cross(self) -> None:
        """A beat begins."""
        self._asks = False
        self.look_anew()

    def look_anew(self) -> None:
        """Another chord is played by than was thought of."""
        self._steps, self._coming = WEIGHED, None

    def ask(self) -> None:
        """The ear has heard enough of the beat to say what it expects next."""
        if not self._asks:
            self._asks = True
            self._steps = max(self._steps, 1)

    def step(self, place: Moment, chord: Chord | None, heard: Heard, before: Outlook) -> Outlook:
        """Look a step on from a place where a chord is played by, given what was seen before."""
        if self._asks and self._coming is None:
            self._coming = self._ear.coming()
        self._steps -= 1
        grounded = self._ear.grounded and _ground(chord) == _ground(heard.chord)
        now = Present(place, chord, heard.key, heard.confidence, self._coming, grounded)
        seen = self._foresight.look(now, FARTHEST, weigh=1)
        if not self._steps and _roots(before[:1]) != _roots(seen[:1]):
            self._steps = 1  # on second thoughts it goes another way, not seen to lead anywhere
        return seen


def _ground(chord: Chord | None) -> tuple[int, int] | None:
    """Root and bass; a ninth of the tune makes no other chord."""
    return None if chord is None else (chord.root, chord.bass)


def _roots(forecasts: Outlook) -> list[int | None]:
    return [None if f.chord is None else f.chord.root for f in forecasts]
