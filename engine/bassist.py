"""Bassist: chords in, bass out.

Knows: what each event that comes in means to the stages.
Refuses to know: how any of them does its work, and what second it is: every event brings its time.
How: each event first lets everything happen that was due before it, then is taken; at the same
second the event comes first.  `next_deadline` tells when something falls due if nothing comes
in, and a Tick at that second makes it happen.  What is done then is in duties.py; looking ahead and
writing, which take long, come in steps after all else.
"""

from __future__ import annotations

from math import inf, isfinite
from random import Random
from typing import assert_never

from engine.agenda import GATHER_AT_MOST_SECONDS, POCKET_SECONDS, Agenda, Due
from engine.duties import Duties
from engine.events import (
    ALL_NOTES_OFF,
    ALL_SOUND_OFF,
    ClockTick,
    Continue,
    Control,
    Incoming,
    NewMetre,
    NewStyle,
    NoteOff,
    NoteOn,
    Outgoing,
    SongPosition,
    Start,
    Stop,
    Tick,
)
from engine.foresight.outlook import Foresight
from engine.hearing.ear import Ear
from engine.line.grades import Grade
from engine.listening.listening import Listening
from engine.opening import Opening
from engine.pulse import Pulse
from engine.style import Style
from engine.theory.meter import FOUR_FOUR, Metre
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

    Raises:
        ValueError: a tempo at which nothing would move.
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
        self._duties = Duties(self._pulse, self._listening, self._writing, self._agenda, lead)
        self._opening = Opening(taps=taps)
        self._now = -inf

    # The two doors ---------------------------------------------------------------------------

    def receive(self, event: Incoming) -> list[Outgoing]:
        """Take one event; return what happened up to its time, in order of time.

        However long nobody called, every felt beat on the way is crossed; of the notes that were
        due meanwhile only those that were written come.

        Raises:
            ValueError: its time is no number of seconds.
        """
        if not isfinite(event.at):
            raise ValueError(f"an event comes at {event.at}; give seconds on a clock, such as 1.5")
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

    # What comes in -----------------------------------------------------------------------------

    def _take(self, event: Incoming, at: float, out: list[Outgoing]) -> None:
        match event:
            case NoteOn() if event.velocity > 0:
                self._take_key_down(event, at)
            case NoteOn() | NoteOff():
                moment = self._duties.keys_moment(at)
                self._listening.ear.note_off(moment, event.note, event.channel)
            case Control():
                self._take_control(event, at)
            case ClockTick():
                self._pulse.tick(at)
            case SongPosition() | Start() | Continue():
                self._take_place(event, at, out)
            case Stop():
                self._duties.stop(at, out)
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
        self._listening.key_down(self._duties.keys_moment(at), event)
        self._duties.key_down()
        if begun:
            self._agenda.key_down(at)

    def _begin(self, at: float, note: int) -> bool:
        """Nothing runs yet, and a key goes down: whether it is to be heard as a chord's."""
        pulse = self._pulse
        if pulse.external:
            self._duties.find_place(at)
            return True
        began = self._opening.key_down(at, note, pulse.metre, pulse.seconds_per_beat)
        if began is None:
            return False
        if began.seconds_per_beat is not None:
            pulse.take_tempo(began.seconds_per_beat)
        pulse.strike(began.at, -began.place - float(pulse.metre.start_of(-self._lead)))
        self._duties.find_place(max(began.at, at - GATHER_AT_MOST_SECONDS))
        return began.place >= 0

    def _take_control(self, event: Control, at: float) -> None:
        moment = self._duties.keys_moment(at)
        self._listening.ear.control(moment, event.controller, event.value, event.channel)
        if event.controller in (ALL_SOUND_OFF, ALL_NOTES_OFF):
            self._agenda.listen(at + GATHER_SECONDS)

    def _take_place(
        self, event: SongPosition | Start | Continue, at: float, out: list[Outgoing]
    ) -> None:
        if not self._pulse.external:
            return  # who counts for himself is not led, and plays on
        self._duties.fall_silent(at, out)
        match event:
            case SongPosition():
                self._pulse.locate(at, event.sixteenths)
            case Start():
                self._pulse.start(at)
            case Continue():
                self._pulse.resume(at)
        self._duties.find_place(at)

    def _take_metre(self, metre: Metre, at: float) -> None:
        if metre == self._pulse.metre:
            return
        self._pulse.new_metre(at, metre)
        self._duties.rewrite_after_metre(at)

    def _begin_count(self, at: float) -> None:
        if not self._pulse.running:
            self._pulse.begin_count(at)
            if self._pulse.running:
                self._duties.find_place(at)

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
                self._duties.do(due, self._now, out)
        if looks and not out:
            self._duties.look(at, out)
