"""Bassist: chords in, bass out; the only file that knows the order of the stages.

Knows: who hears first, who foresees, who writes, who plays, and when each is asked.
Refuses to know: how any of them does it, and what second it is: every event brings its time.
How: each event first lets everything happen that was due before it, then is taken; at the same
second the event comes first.  `next_deadline` tells when something falls due if nothing comes
in, and a Tick at that second makes it happen.  Notes are written a bar at a time, one felt beat
before the bar line, and anew from the next free place when ear or foresight changes its mind;
nothing that has sounded is touched.  Looking ahead and writing come in steps after what is due.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import inf
from random import Random
from typing import assert_never

from engine.agenda import GATHER_AT_MOST_SECONDS, POCKET_SECONDS, Agenda, Due
from engine.events import (
    ALL_NOTES_OFF,
    ALL_SOUND_OFF,
    Beat,
    ClockTick,
    Continue,
    Control,
    Heard,
    Incoming,
    NewMetre,
    NewStyle,
    NoteOff,
    NoteOn,
    Outgoing,
    Rest,
    SongPosition,
    Start,
    Stop,
    Tick,
)
from engine.foresight.outlook import Foresight
from engine.hearing.ear import Ear
from engine.line.grades import Grade
from engine.listening import Listening
from engine.meter import FOUR_FOUR, Metre, Moment
from engine.opening import Opening
from engine.pulse import Pulse
from engine.silence import Silence
from engine.style import Style
from engine.telling import Telling
from engine.timing import GATHER_SECONDS
from engine.writing import Writing


class Bassist:
    """The bass player.

    Args:
        style: how to play.
        random: where all chance is drawn from; the same events and seed give the same part.
        tempo: quarter notes a minute, without a clock.
        external_clock: whether MIDI clock ticks lead.
        count_in: bars counted before bar 1, without a clock.
        metre: the time signature until a NewMetre says otherwise.
        ear, foresight: others than the usual ones, for charts and benches.
        lead: felt beats by which the chords come before they are due.
        grade, bend_range: how much of the style is played; semitones a slide is bent (0: none).
        pocket: seconds that a note on a doubtful change may wait for the keys.
        taps: whether one high key, struck evenly for a bar, gives the tempo and counts in.
    """

    def __init__(
        self,
        style: Style,
        random: Random,
        *,
        tempo: float = 100.0,
        external_clock: bool = False,
        count_in: int = 0,
        metre: Metre = FOUR_FOUR,
        ear: Ear | None = None,
        foresight: Foresight | None = None,
        lead: int = 0,
        grade: Grade = Grade.EVERYTHING,
        bend_range: int = 0,
        pocket: float = POCKET_SECONDS,
        taps: bool = False,
    ) -> None:
        self._pulse = Pulse(tempo, external=external_clock, count_in=count_in, metre=metre)
        self._lead = lead
        self._listening = Listening(
            ear or Ear(sent=lead > 0), foresight or Foresight(), lead=lead > 0
        )
        self._writing = Writing(
            style, random, self._pulse, self._listening.player, grade, bend_range=bend_range
        )
        self._agenda = Agenda(
            self._pulse,
            self._writing.part,
            self._listening.in_doubt,
            self._listening.timing,
            pocket,
        )
        self._now = -inf
        self._silence = Silence()
        self._opening = Opening(taps=taps)
        self._crossed: Fraction | None = None
        self._write_from = Fraction(0)
        self._telling = Telling()

    # The two doors ---------------------------------------------------------------------------

    def receive(self, event: Incoming) -> list[Outgoing]:
        """Take one event; return what happened up to its time, in order of time."""
        at = max(event.at, self._now)
        out: list[Outgoing] = []
        self._let_happen(at, out, with_now=isinstance(event, Tick))
        self._now = at
        self._take(event, at, out)
        return out

    def next_deadline(self) -> float | None:
        """When something falls due next if nothing comes in; None if nothing will."""
        at, _ = self._agenda.next_due()
        return None if at == inf else max(at, self._now)

    @property
    def heard(self) -> Heard:
        """What the ear believed when it last read the keys."""
        return self._listening.heard

    # What comes in -----------------------------------------------------------------------------

    def _take(self, event: Incoming, at: float, out: list[Outgoing]) -> None:
        match event:
            case NoteOn() if event.velocity > 0:
                self._take_key_down(event, at)
            case NoteOn() | NoteOff():
                self._listening.ear.note_off(self._keys_moment(at), event.note, event.channel)
            case Control():
                self._take_control(event, at)
            case ClockTick():
                self._pulse.tick(at)
            case SongPosition() | Start() | Continue():
                self._take_place(event, at, out)
            case Stop():
                self._stop(at, out)
            case NewMetre():
                self._take_metre(event.metre, at)
            case NewStyle():
                self._writing.next_style = event.style
            case Tick():
                self._begin_count(at)
            case _:
                assert_never(event)

    def _take_key_down(self, event: NoteOn, at: float) -> None:
        self._begin_count(at)
        begun = self._pulse.running or self._begin(at, event.note)
        self._listening.key_down(self._keys_moment(at), event)
        self._silence.key_down()
        if begun:
            self._agenda.key_down(at)

    def _begin(self, at: float, note: int) -> bool:
        """Nothing runs yet, and a key goes down: whether it is to be heard as a chord's."""
        pulse = self._pulse
        if pulse.external:
            self._find_place(at)
            return True
        began = self._opening.key_down(at, note, pulse.metre, pulse.seconds_per_beat)
        if began is None:
            return False
        if began.seconds_per_beat is not None:
            pulse.take_tempo(began.seconds_per_beat)
        pulse.strike(began.at, -began.place - float(pulse.metre.start_of(-self._lead)))
        self._find_place(max(began.at, at - GATHER_AT_MOST_SECONDS))
        return began.place >= 0

    def _take_control(self, event: Control, at: float) -> None:
        moment = self._keys_moment(at)
        self._listening.ear.control(moment, event.controller, event.value, event.channel)
        if event.controller in (ALL_SOUND_OFF, ALL_NOTES_OFF):
            self._agenda.listen(at + GATHER_SECONDS)

    def _take_place(
        self, event: SongPosition | Start | Continue, at: float, out: list[Outgoing]
    ) -> None:
        if not self._pulse.external:
            return  # who counts for himself is not led, and plays on
        self._fall_silent(at, out)
        match event:
            case SongPosition():
                self._pulse.locate(at, event.sixteenths)
            case Start():
                self._pulse.start(at)
            case Continue():
                self._pulse.resume(at)
        self._find_place(at)

    def _take_metre(self, metre: Metre, at: float) -> None:
        if metre == self._pulse.metre:
            return
        self._pulse.new_metre(at, metre)
        moment = self._pulse.moment(at)
        self._agenda.next_beat = moment.next_beat(beyond=moment.next_beat() == self._crossed)
        self._rewrite(self._agenda.next_beat)

    def _begin_count(self, at: float) -> None:
        if not self._pulse.running:
            self._pulse.begin_count(at)
            if self._pulse.running:
                self._find_place(at)

    def _stop(self, at: float, out: list[Outgoing]) -> None:
        self._fall_silent(at, out)
        self._pulse.stop(at)
        self._agenda.clear()

    def _fall_silent(self, at: float, out: list[Outgoing]) -> None:
        out.extend(self._writing.part.release(at, self._pulse.position(at)))
        self._writing.clear()

    def _find_place(self, at: float) -> None:
        """After a jump: which felt beat comes next, and what the ear and foresight must forget."""
        beat = self._pulse.moment(at).next_beat()
        self._crossed = None
        self._agenda.move(beat)
        self._silence.move(max(beat, Fraction(0)))  # a count-in is no silence
        self._listening.relocate(self._keys_moment(at))

    # What falls due ------------------------------------------------------------------------------

    def _let_happen(self, at: float, out: list[Outgoing], *, with_now: bool) -> None:
        looks = False
        while True:
            due_at, due = self._agenda.next_due()
            if due_at > at or (due_at == at and not with_now):
                break
            self._now = max(self._now, due_at)
            if due is Due.LOOK and with_now:
                looks = True  # what takes long comes after all that is due, a step at a waking
                self._agenda.look(at)
            else:
                self._do(due, self._now, out)
        if looks and not out:
            self._look(at, out)

    def _do(self, due: Due, at: float, out: list[Outgoing]) -> None:
        part = self._writing.part
        match due:
            case Due.CROSS:
                self._cross(at, out)
            case Due.HEAR:
                self._hear(at, out)
            case Due.RELEASE:
                out.extend(part.release(at, self._pulse.position(at)))
            case Due.PLAY:
                out.extend(part.play(at, self._pulse.position(at)))
                self._agenda.played(at)
            case Due.BEND:
                out.extend(part.bend(at, self._pulse.position(at)))
            case Due.LOOK:
                self._look(at, out)
            case _:
                assert_never(due)

    def _cross(self, at: float, out: list[Outgoing]) -> None:
        """A felt beat begins: what was heard is settled, and the chord foreseen here holds."""
        beat = self._agenda.next_beat
        moment = self._pulse.moment(at, float(beat))
        count = moment.metre.pulses.index(beat - moment.bar_start) + 1
        self._crossed = beat
        self._agenda.next_beat = moment.next_beat(beyond=True)
        out.append(Beat(at, float(beat), moment.bar, count, moment.metre))
        self._listening.player.cross(at, len(moment.metre.pulses))
        keys = self._keys_moment(at, float(beat))
        if keys.position < 0:
            return
        amended = self._listening.cross(keys, beat)
        self._agenda.crossed(at, float(beat))
        if beat >= 0:
            self._begin_or_end(beat, moment, amended=amended)
        self._write_from = beat
        self._agenda.look(at)
        if self._silence.resting and self._writing.part.silent and not self._pulse.external:
            self._stop(at, out)  # nobody could hear it count: who begins again begins with bar 1
            out.append(Rest(at, float(beat)))

    def _begin_or_end(self, beat: Fraction, moment: Moment, *, amended: bool) -> None:
        """Write what cannot wait for the look ahead: beginning, ending, other style or chord."""
        if beat == moment.bar_start and self._writing.takes_up():
            self._rewrite(beat)
        belief = self._listening.belief(beat)
        silent = self._listening.ear.silent and not self._listening.tacet
        ends = self._silence.cross(beat, moment, silent=silent)
        if ends and belief is not None:
            self._writing.close(beat, replace(belief, chord=self.heard.chord or belief.chord))
        elif amended or self._writing.written_to is None:
            self._rewrite(beat)

    # Hearing and looking ahead -------------------------------------------------------------------

    def _hear(self, at: float, out: list[Outgoing]) -> None:
        """The keys have landed: believe what they spell, and play by it."""
        self._agenda.has_read(at)
        another = self._listening.read(self._keys_moment(at))
        moment = self._pulse.moment(at)
        out.extend(self._telling.heard(self.heard, moment))
        comes_in = self._writing.written_to is None
        if (another or comes_in) and self._pulse.running and moment.position >= 0:
            self._write_from = self._writing.place_to_change(moment, self._listening.chord_at)
            self._rewrite(self._write_from)
            self._agenda.look(at)
        elif self._pulse.running and self._listening.has_more_to_see:
            self._agenda.look(at)

    def _look(self, at: float, out: list[Outgoing]) -> None:
        """See what comes, a step at a time; then tell it, and hold the part to it."""
        if self._listening.look() or self._write_on():
            self._agenda.look(at)
            return
        self._agenda.has_looked()
        moment = self._pulse.moment(at)
        change = self._listening.change_after(Fraction(moment.position))
        out.extend(self._telling.expected(change, self.heard.key, moment))

    def _write_on(self) -> bool:
        belief = self._listening.belief(self._write_from)
        if belief is None or not self._pulse.running or self._writing.written_to is None:
            return False
        return self._writing.write_on(self._write_from, self._agenda.next_beat, belief)

    def _keys_moment(self, at: float, position: float | None = None) -> Moment:
        """This second, at the place that the keys have reached: ahead of the part by the lead."""
        moment = self._pulse.moment(at, position)
        return self._pulse.moment(at, moment.later(self._lead)) if self._lead else moment

    def _rewrite(self, start: Fraction) -> None:
        if (belief := self._listening.belief(start)) is not None and not self._silence.resting:
            self._writing.rewrite(start, belief)
