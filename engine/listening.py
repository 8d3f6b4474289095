"""Listening: ear and foresight together; the chord to play by now, and those ahead.

Knows: what is heard, of chords and of hands, what is expected, and which of them holds until the
keys tell.
Refuses to know: what the bass does about it.
How: at every felt beat the chord foreseen there is taken for granted until the ear has read the
beat.  Looking ahead takes long, so it waits to be asked for.
Chords sent early (a lead) are kept with the beat they are due on; then what is ahead is not a
guess.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Final

from engine.colours import Colours
from engine.ended import Ended, EndedBeat
from engine.events import Forecast, Heard, NoteOn
from engine.foresight.outlook import Foresight
from engine.foretold import FIRST_KEYS, SURE, Foretold, is_believed, is_rest
from engine.harmony import Chord
from engine.hearing.ear import Ear
from engine.looking import Looking
from engine.meter import ON_THE_BEAT, Moment
from engine.plan import Belief, next_change
from engine.player import Player
from engine.sent import SentEarly
from engine.timing import Timing

# How long a beat has only just begun.
_AT_FIRST_SECONDS: Final = 0.05


class Listening:
    """What is believed of the harmony, now and ahead.

    Args:
        ear: names what sounds.
        foresight: expects what comes.
        lead: whether chords come before they are due; the moments given are then those of the
            keys, and the places asked about those of the part.

    `tacet` is whether nobody is to play on the running beat, for no chord is foretold there, and
    nobody does.
    """

    def __init__(self, ear: Ear, foresight: Foresight, *, lead: bool = False) -> None:
        self.ear = ear
        self.player = Player()
        self.timing = Timing()
        self.heard = ear.ended  # nothing yet, in the key that it was told
        self._looking = Looking(ear, foresight)
        self._lead = lead
        self._sent = SentEarly()
        self._beyond: tuple[Forecast, ...] = ()
        self._chord: Chord | None = None
        self._colours = Colours()
        self._known: Chord | None = None  # what had been heard when the beat began
        self._beat: Moment | None = None
        self._place: Moment | None = None
        self._ended = Ended(foresight, ear)
        self._doubted: Fraction | None = None
        self._foretold = Foretold()
        self._fresh, self._key_at = 0, 0.0  # keys since the last reading; where the last one came
        self._awaits = False  # whether what was foretold may come yet
        self.tacet = self._defied = False  # defied: a chord is played where none was foretold

    def relocate(self, moment: Moment) -> None:
        """The song goes on from here, whether the keys were elsewhere before or only paused."""
        self._ended.commit()
        self._end_paused_beat(moment)
        self._ended.relocate()
        self.ear.relocate(moment)
        self._looking.relocate(moment)
        self.player.relocate()
        self._beyond = ()
        self._beat = None
        self._foretold = Foretold()
        self.tacet = self._defied = False
        self._sent.clear()
        self._key_at = moment.position

    def _end_paused_beat(self, moment: Moment) -> None:
        """A song that goes on from within the beat under way does not come to its end again."""
        beat = self._beat
        if beat is None or self._chord is None:
            return
        if beat.position < moment.position <= beat.next_beat(beyond=True):
            self._ended.last = EndedBeat(beat, self.heard, False, beat.weight, due=False)
            self._ended.commit()

    @property
    def ahead(self) -> tuple[Forecast, ...]:
        """The chords that came early, and after them those expected, beat by beat."""
        return self._sent.before(self._beyond)

    def chord_at(self, place: Fraction) -> Chord | None:
        """The chord to play by at a place of the part: what sounds there, or is expected to."""
        chord = self._sent.first if self._lead else self._chord
        came = [f.chord for f in self.ahead if f.beat <= place and f.chord is not None]
        return came[-1] if came and chord is not None else chord

    def ahead_of(self, place: Fraction) -> tuple[Forecast, ...]:
        """What is expected after a place of the part."""
        return tuple(f for f in self.ahead if f.beat > place)

    def belief(self, place: Fraction) -> Belief | None:
        """All that is believed for a place of the part, if any chord is known."""
        chord, heard = self.chord_at(place), self.heard
        if chord is None:
            return None
        return Belief(chord, heard.confidence, heard.key, self.ahead_of(place), self._rests())

    def _rests(self) -> frozenset[Fraction]:
        """The felt beats, now and ahead, for which it is believed that no chord comes."""
        if self._defied or self._lead:
            return frozenset()
        ahead = {f.beat for f in self._beyond if is_rest(f)}
        now = self._foretold.rest if self.tacet else None
        return frozenset(ahead if now is None else {now, *ahead})

    def change_after(self, place: Fraction) -> Forecast | None:
        """The change that is expected next after a place of the part."""
        chord = self.chord_at(place)
        return None if chord is None else next_change(chord, self.ahead_of(place))

    def in_doubt(self, beat: Fraction) -> bool:
        """Whether it is open which chord this felt beat, or the one to come, brings."""
        if beat == self._doubted:
            return True
        coming = self._beyond[:1]
        return any(f.beat == beat and self._doubts(f) for f in coming)

    def _doubts(self, forecast: Forecast | None) -> bool:
        return not self._lead and (forecast is None or forecast.confidence < SURE)

    def cross(self, moment: Moment, beat: Fraction) -> bool:
        """A felt beat begins: the chord foreseen there holds until the keys tell.

        True if a chord that was sent early, and is due now, is another than it was taken for.
        """
        self._ended.commit()
        self.ear.cross(moment)
        if self._beat is not None and self._chord is not None:
            heard, rested = self._as_it_was(moment), self.timing.rests
            weight = max(self._beat.weight, self.timing.between * moment.weight)
            apart = _root(heard) != _root(self.ear.ended)
            due = self._foretold.changes
            self._ended.last = EndedBeat(self._beat, heard, rested, weight, due, apart)
        self.timing.cross(moment)
        amended = self._lead and self._amend_sent()
        self._beat = self._place = moment
        foretold = next((f for f in self._beyond if f.beat == beat), None)
        self._beyond = tuple(f for f in self._beyond if f.beat > beat)
        self._doubted = beat if self._doubts(foretold) else None
        bar_line = moment.in_bar == 0
        self._foretold = Foretold(None if self._lead else foretold, self._chord, bar_line=bar_line)
        if foretold is not None and foretold.chord is not None and not self._lead:
            self._chord = foretold.chord
        rest = self._foretold.rest is not None
        self._defied = rest and self._defied
        self.tacet = rest and not self._defied
        self._known = self.ear.ended.chord
        self._looking.cross()
        return amended

    def _as_it_was(self, following: Moment) -> Heard:
        """The beat that ended, as it was heard; in silence, and before a push, as it was played."""
        ended = self.ear.ended
        if self._lead:
            return ended
        if self.tacet:
            return replace(ended, chord=None)
        if self.timing.rests and self._foretold.sure:
            return replace(ended, chord=self._chord)
        known = self._known
        if known is None or self._foretold.came_when_due(ended, known):
            return ended
        if self.timing.pushed(following) and self._ended.yields_to(following):
            return replace(ended, chord=known)
        return ended

    def _amend_sent(self) -> bool:
        """A chord sent early was heard for a beat by now: which one it was is known better."""
        last = self._ended.last
        if last is None or last.heard.chord is None:
            return False
        if not self._sent.amend(last.began.position, last.heard.chord):
            return False
        self._chord = last.heard.chord
        return True

    def key_down(self, moment: Moment, event: NoteOn) -> None:
        """A key goes down: which one is for the ear, when and how for the rest."""
        self._fresh, self._key_at = self._fresh + 1, moment.position
        self.ear.note_on(moment, event.note, event.velocity, event.channel)
        self.player.key_down(moment.at, event.note, event.velocity)
        self.timing.key_down(moment)

    def read(self, moment: Moment) -> bool:
        """The keys have landed: whether another chord is to be played by."""
        late = self._beat is not None and _is_late(moment, self._beat)
        if late and not self.ear.silent:
            self._looking.ask()
        ear = self.ear
        heard = self._foretold.named(ear.heard(moment, whole=self._lead and late), ear)
        self.timing.read(moment, silent=ear.silent)
        fresh, self._fresh = self._fresh, 0
        if heard.chord is None or (late and not (fresh or self._awaits or self._lead)):
            return False
        self._awaits = self._foretold.may_come_yet(heard.chord, ear, self.timing, late=late)
        if self._awaits:
            return False
        if self.tacet and len(ear.struck) <= FIRST_KEYS:
            return False  # a tune over a rest is no chord
        if not self._is_believed(heard, moment):
            return False
        bar_line = not late and (self._beat is None or self._beat.in_bar == 0)
        keys = fresh if late else len(ear.struck)
        chord = self._colours.without_the_tune(heard.chord, self._chord, keys, bar_line=bar_line)
        self.heard = replace(heard, chord=chord)
        if self._is_too_soon(chord, moment):
            return False
        if heard.confidence >= SURE:
            self._doubted = None
        awaited = self.tacet or self._is_awaited
        self._defied, self.tacet = self._defied or self.tacet, False
        if chord == self._chord and not awaited:
            return False
        self._play_by(chord, moment)
        return True

    def _play_by(self, chord: Chord, moment: Moment) -> None:
        """Another chord was heard than the one that was played by."""
        before, self._chord = self._chord, chord
        if self._lead:
            self._sent.keep(self._key_at, chord)
        # The same root in another colour leads where it led; the next beat looks again anyway.
        if before is None or before.root != chord.root or self._lead:
            self._place = moment
            self._looking.look_anew()
        self._goes_on(before, chord)

    @property
    def _is_awaited(self) -> bool:
        """Whether any chord is news: after a start or a jump none that was sent early is left."""
        return self._lead and not self._sent

    def _is_believed(self, heard: Heard, moment: Moment) -> bool:
        if self._chord is None or heard.chord is None:
            return True
        first = self._beat is not None and moment.at - self._beat.at < _AT_FIRST_SECONDS
        if not self._foretold.yields_to(heard.chord.root, self._chord.root, self.ear):
            return False
        return is_believed(heard.confidence, at_first=first)

    def _is_too_soon(self, chord: Chord, moment: Moment) -> bool:
        """Whether a beat that has just begun still sounds like the one before: keys may be late."""
        if self._beat is None or moment.position != self._beat.position:
            return False
        return self._foretold.still_sounds(chord, self._chord)

    def _goes_on(self, before: Chord | None, chord: Chord) -> None:
        """Until it is looked anew: what was to go on goes on, in the chord that came instead."""
        beyond = list(self._beyond)
        for i, forecast in enumerate(beyond):
            if forecast.chord != before:
                break
            beyond[i] = replace(forecast, chord=chord)
        self._beyond = tuple(beyond)

    @property
    def has_more_to_see(self) -> bool:
        """Whether to look again would tell something new."""
        return self._looking.has_more_to_see

    def look(self) -> bool:
        """Remember the beat that ended, or look a step ahead; whether there was anything to do."""
        if self._ended.last is not None:
            self._ended.commit()
            return True
        if not self.has_more_to_see or self._chord is None or self._place is None:
            return False
        chord = None if self.tacet else self._colours.with_the_tune(self._chord)
        self._beyond = self._looking.step(self._place, chord, self.heard, self._beyond)
        if chord is not None:
            self._goes_on(chord, self._chord)
        return True


def _root(heard: Heard) -> int | None:
    return None if heard.chord is None else heard.chord.root


def _is_late(moment: Moment, beat: Moment) -> bool:
    return moment.position - beat.position >= ON_THE_BEAT
