"""Listening: ear and foresight together; the chord to play by now, and those ahead.

Knows: what is heard, of chords and of hands, what is expected, and which of them holds until the
keys tell.
Refuses to know: what the bass does about it.
How: at every felt beat the chord foreseen there is taken for granted until the ear has read the
beat.  Chords sent early (a lead) are kept with the beat they are due on; then what is ahead is
not a guess.
"""

from __future__ import annotations

from bisect import bisect_right
from fractions import Fraction
from math import floor
from typing import Final

from engine.events import Forecast, Heard
from engine.foresight.outlook import Foresight
from engine.harmony import C_MAJOR, Chord
from engine.hearing.ear import Ear
from engine.meter import Moment
from engine.player import Player

# Below this probability of the chord expected on a beat the keys are waited for.
SURE: Final = 0.9

# A chord believed in less than this does not make the bass change what it plays.
BELIEVED: Final = 0.5

FELT_BEATS_AHEAD: Final = 8

# A chord sent early is due on a place of this grid; the ear may read it this much after it.
_EIGHTH: Final = Fraction(1, 2)
_READ_LATE: Final = 0.2


class Listening:
    """What is believed of the harmony, now and ahead.

    Args:
        ear: names what sounds.
        foresight: expects what comes.
        lead: whether chords come before they are due; the moments given are then those of the
            keys, and the places asked about those of the part.
    """

    def __init__(self, ear: Ear, foresight: Foresight, *, lead: bool = False) -> None:
        self.ear = ear
        self.player = Player()
        self.heard = Heard(None, 0.0, C_MAJOR, 1 / 24)
        self.ahead: tuple[Forecast, ...] = ()
        self._foresight = foresight
        self._lead = lead
        self._due: list[tuple[Fraction, Chord]] = []
        self._chord: Chord | None = None
        self._beat: Moment | None = None
        self._doubted: Fraction | None = None

    def relocate(self, moment: Moment, next_beat: Fraction) -> None:
        """The song goes on from another place."""
        self.ear.relocate(moment)
        self._foresight.relocate(next_beat)
        self.player.relocate()
        self.ahead = ()
        self._beat = None
        self._due.clear()

    def chord_at(self, place: Fraction) -> Chord | None:
        """The chord to play by at a place of the part."""
        if not self._lead:
            return self._chord
        after = bisect_right(self._due, place, key=lambda due: due[0])
        return self._due[max(after - 1, 0)][1] if self._due else None

    def ahead_of(self, place: Fraction) -> tuple[Forecast, ...]:
        """What is expected after a place of the part."""
        return tuple(f for f in self.ahead if f.beat > place)

    def in_doubt(self, beat: Fraction) -> bool:
        """Whether it is open which chord this felt beat, or the one to come, brings."""
        if beat == self._doubted:
            return True
        return bool(self.ahead) and self.ahead[0].beat == beat and self._doubts(self.ahead[0])

    def _doubts(self, forecast: Forecast | None) -> bool:
        return not self._lead and (forecast is None or forecast.confidence < SURE)

    def cross(self, moment: Moment, beat: Fraction) -> None:
        """A felt beat begins: the chord foreseen there holds until the keys tell."""
        self.ear.cross(moment)
        self._commit()
        self._beat = moment
        foretold = self.ahead[0] if self.ahead and self.ahead[0].beat == beat else None
        self._doubted = beat if self._doubts(foretold) else None
        if foretold is not None and foretold.chord is not None and not self._lead:
            self._chord = foretold.chord
        self.look(moment)

    def read(self, moment: Moment) -> bool:
        """The keys have landed: whether another chord is to be played by."""
        heard = self.ear.heard(moment)
        if heard.chord is None or (self._chord is not None and heard.confidence < BELIEVED):
            return False
        self.heard = heard
        before = self._chord
        if heard.chord == before:
            return False
        self._chord = heard.chord
        if self._lead:
            self._keep_due(moment.position, heard.chord)
        # The same root in another colour leads where it led; the next beat looks again anyway.
        if before is None or before.root != heard.chord.root or self._lead:
            self.look(moment)
        return True

    def look(self, moment: Moment) -> None:
        """Look ahead from the chord that the keys have reached."""
        if self._chord is None:
            return
        heard = self.heard
        beyond = self._foresight.look(
            moment, self._chord, heard.key, heard.confidence, FELT_BEATS_AHEAD
        )
        known = tuple(Forecast(beat, chord, 1.0, 1.0) for beat, chord in self._due)
        self.ahead = known + beyond

    def _commit(self) -> None:
        began = self._beat
        if began is None or self._chord is None:
            return
        ended = self.ear.ended
        roots = self.ear.committed().sum(axis=1)
        beat = Fraction(began.position).limit_denominator(96)
        in_bar = beat - began.bar_start
        self._foresight.commit(beat, in_bar, began.metre, ended.chord, ended.key, roots)

    def _keep_due(self, position: float, chord: Chord) -> None:
        due = floor((position + float(_EIGHTH) - _READ_LATE) / float(_EIGHTH)) * _EIGHTH
        self._due = [kept for kept in self._due if kept[0] < due][-64:]
        self._due.append((due, chord))
