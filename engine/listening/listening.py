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

from engine.events import Forecast, Heard, NoteOn
from engine.foresight.outlook import Foresight
from engine.hearing.ear import Ear
from engine.listening.ahead import Ahead
from engine.listening.colours import Colours
from engine.listening.ended import Ended, EndedBeat
from engine.listening.foretold import FIRST_KEYS, SURE, Foretold, is_believed
from engine.listening.looking import Looking
from engine.listening.running import Running
from engine.listening.sent import SentEarly
from engine.plan import Belief, next_change
from engine.player import Player
from engine.theory.harmony import Chord
from engine.theory.meter import Moment
from engine.timing import Timing


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
        self.timing = Timing()
        self.heard = ear.ended  # nothing yet, in the key that it was told
        self._looking = Looking(ear, foresight)
        self._foresight = foresight
        self._lead = lead
        self._sent = SentEarly()
        self._ahead = Ahead()
        self._chord: Chord | None = None
        self._colours = Colours()
        self._ended = Ended(foresight, ear)
        self._now = Running()
        # Keys since the last reading; where the last one came.
        self._fresh, self._key_position = 0, 0.0

    @property
    def tacet(self) -> bool:
        """Whether nobody is to play on the running beat, as is foretold, and nobody does."""
        return self._now.tacet

    @property
    def left_out(self) -> bool:
        """Whether the player left out the felt beat that has just ended."""
        last = self._ended.last
        return last is not None and last.rested and not self._lead

    def relocate(self, moment: Moment) -> None:
        """The song goes on from here, whether the keys were elsewhere before or only paused."""
        self._ended.commit()
        self._end_paused_beat(moment)
        self._ended.relocate()
        self.ear.relocate(moment)
        self._looking.relocate(moment)
        self.player.relocate()
        self._ahead.told = ()
        self._now = Running()
        self._sent.clear()
        self._key_position = moment.position

    def _end_paused_beat(self, moment: Moment) -> None:
        """A song that goes on from within the beat under way does not come to its end again."""
        beat = self._now.began
        if beat is None or self._chord is None:
            return
        if beat.position < moment.position <= beat.next_beat(beyond=True):
            self._ended.last = EndedBeat(beat, self.heard, False, beat.weight, due=False)
            self._ended.commit()

    @property
    def ahead(self) -> tuple[Forecast, ...]:
        """The chords that came early, and after them those to play by, beat by beat."""
        return self._sent.before(self._ahead.taken(self._chord))

    def chord_at(self, place: Fraction) -> Chord | None:
        """The chord to play by at a place of the part: what sounds there, or is expected to."""
        chord = self._sent.first if self._lead else self._chord
        came = [f.chord for f in self.ahead if f.beat <= place and f.chord is not None]
        return came[-1] if came and chord is not None else chord

    def ahead_of(self, place: Fraction) -> tuple[Forecast, ...]:
        """What is to be played by after a place of the part."""
        return tuple(f for f in self.ahead if f.beat > place)

    def belief(self, place: Fraction) -> Belief | None:
        """All that is believed for a place of the part, if any chord is known."""
        chord, heard = self.chord_at(place), self.heard
        if chord is None:
            return None
        return Belief(chord, heard.confidence, heard.key, self.ahead_of(place), self._rests())

    def _rests(self) -> frozenset[Fraction]:
        """The felt beats, now and ahead, for which it is believed that no chord comes."""
        if self._now.defied or self._lead:
            return frozenset()
        now, ahead = self._now.rest, self._ahead.rests()
        return ahead if now is None else ahead | {now}

    def change_after(self, place: Fraction) -> Forecast | None:
        """The change that is expected next after a place of the part."""
        chord = self.chord_at(place)
        told = tuple(f for f in self._sent.before(self._ahead.told) if f.beat > place)
        return None if chord is None else next_change(chord, told)

    def in_doubt(self, beat: Fraction) -> bool:
        """Whether it is open which chord this felt beat, or the one to come, brings."""
        if beat == self._now.doubted:
            return True
        coming = () if self._lead else self._ahead.told[:1]
        return any(f.beat == beat and f.confidence < SURE for f in coming)

    def cross(self, moment: Moment, beat: Fraction) -> bool:
        """A felt beat begins: the chord foreseen there holds until the keys tell.

        True if it is another than it was taken for, as one that was sent early, or guessed in vain.
        """
        before = self.ahead[:1]
        self._ended.commit()
        self.ear.cross(moment)
        self._end(moment)
        self.timing.cross(moment)
        amended = self._amend_sent() if self._lead else self.ahead[:1] != before
        foretold = self._foretold(moment, beat)
        self._now = Running.begin(moment, foretold, self._now, self.ear.ended.chord)
        self._now.doubted = None if self._lead or foretold.sure else beat
        self._chord = foretold.chord or self._chord
        self._ahead.cross(beat)
        self._looking.cross()
        return amended

    def _end(self, following: Moment) -> None:
        """The running beat is over: let it be remembered as it was when there is time for it."""
        began = self._now.began
        if began is None or self._chord is None:
            return
        heard, rested = self._as_it_was(following), self.timing.rests
        foretold, root = self._now.foretold, _root(heard)
        if not rested:  # silence speaks against nothing
            self._ahead.settle(foretold, root)
        weight = max(began.weight, self.timing.between * following.weight)
        apart = root != _root(self.ear.ended)
        due, low = foretold.changes, heard == self.ear.ended and self.ear.grounded
        self._ended.last = EndedBeat(began, heard, rested, weight, due, apart, grounded=low)

    def _foretold(self, moment: Moment, beat: Fraction) -> Foretold:
        """What was foretold for the beat that begins."""
        ahead = () if self._lead else self.ahead
        begins = self._chord is None and not self._lead
        return Foretold(
            next((f for f in ahead if f.beat == beat), None),
            self._chord,
            bar_line=moment.in_bar == 0,
            charted=self._foresight.follows_chart,
            opening=self._foresight.opening(moment) if begins else None,
        )

    def _as_it_was(self, following: Moment) -> Heard:
        """The beat that ended, as it was heard; in silence, and before a push, as it was played."""
        ended, now = self.ear.ended, self._now
        if self._lead:
            return ended
        if now.tacet:
            return replace(ended, chord=None)
        if self.timing.rests and now.foretold.sure:
            return replace(ended, chord=self._chord)
        if now.named is not None and self._foresight.follows_chart and not self.ear.grounded:
            ended = replace(ended, chord=now.named)
        known = now.known
        if known is None or now.foretold.came_when_due(ended, known):
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
        self._fresh, self._key_position = self._fresh + 1, moment.position
        self.ear.note_on(moment, event.note, event.velocity, event.channel)
        self.player.key_down(moment.at, event.note, event.velocity)
        self.timing.key_down(moment)

    def read(self, moment: Moment) -> bool:
        """The keys have landed: whether another chord is to be played by."""
        ear, now = self.ear, self._now
        late = now.is_late(moment)
        if late and not ear.silent:
            self._looking.ask()
        spelled = ear.heard(moment, whole=self._lead and late)
        heard = now.foretold.named(spelled, ear)
        now.named = None if heard is spelled else heard.chord
        self.timing.read(moment, silent=ear.silent)
        fresh, self._fresh = self._fresh, 0
        pushed = self._pushed(heard) if late and fresh else None
        heard = pushed or heard
        if heard.chord is None or (late and not (fresh or now.awaits or self._lead)):
            return False
        again = self.timing.reads_again(moment)
        now.awaits = now.foretold.may_come_yet(
            heard.chord, ear, self.timing, late=late, again=again
        )
        if now.awaits:
            return False
        if now.tacet and len(ear.struck) <= FIRST_KEYS:
            return False  # a tune over a rest is no chord
        if now.foretold.in_silence is not None and self._hears_nothing(heard):
            return self._turn_to(now.foretold.in_silence, moment)
        if pushed is None and not self._is_believed(heard, moment):
            return False
        bar_line = not late and now.may_be_a_bar_line
        keys = fresh if late else len(ear.struck)
        chord = self._colours.without_the_tune(heard.chord, self._chord, keys, bar_line=bar_line)
        self.heard = replace(heard, chord=chord)
        if now.begins_too_soon(moment, chord, self._chord, ear):
            return False
        if heard.confidence >= SURE:
            now.doubted = None
        return self._turn_to(chord, moment, anyway=now.come_in() or self._is_awaited)

    def _pushed(self, heard: Heard) -> Heard | None:
        """The next beat's chord, if its keys came late in one that was left out."""
        if self._lead or not self.timing.between:
            return None
        return self._ahead.pushed(heard, self.ear.struck, self._chord)

    def _hears_nothing(self, heard: Heard) -> bool:
        """Whether no key tells of the beat, and what was heard before is known."""
        nothing = self.ear.silent and not self.ear.struck
        return nothing and _root(heard) == _root(self.heard)

    def _turn_to(self, chord: Chord, moment: Moment, *, anyway: bool = False) -> bool:
        """Play by a chord; whether it is another than was played by, or news anyway."""
        if chord == self._chord and not anyway:
            return False
        before, self._chord = self._chord, chord
        if self._lead:
            self._sent.keep(self._key_position, chord)
        # The same root in another colour leads where it led; the next beat looks again anyway.
        if before is None or before.root != chord.root or self._lead:
            self._now.seen_from = moment
            self._looking.look_anew()
        self._ahead.goes_on(before, chord)
        return True

    @property
    def _is_awaited(self) -> bool:
        """Whether any chord is news: after a start or a jump none that was sent early is left."""
        return self._lead and not self._sent

    def _is_believed(self, heard: Heard, moment: Moment) -> bool:
        if self._chord is None or heard.chord is None:
            return True
        if not self._now.foretold.yields_to(heard.chord, self._chord, self.ear):
            return False
        return is_believed(heard.confidence, at_first=self._now.has_just_begun(moment))

    @property
    def has_more_to_see(self) -> bool:
        """Whether to look again would tell something new."""
        return self._looking.has_more_to_see

    def look(self) -> bool:
        """Remember the beat that ended, or look a step ahead; whether there was anything to do."""
        if self._ended.last is not None:
            self._ended.commit()
            return True
        place = self._now.seen_from
        if not self.has_more_to_see or self._chord is None or place is None:
            return False
        chord = None if self.tacet else self._colours.with_the_tune(self._chord)
        self._ahead.told = self._looking.step(place, chord, self.heard, self._ahead.told)
        if chord is not None:
            self._ahead.goes_on(chord, self._chord)
        return True


def _root(heard: Heard) -> int | None:
    return None if heard.chord is None else heard.chord.root
