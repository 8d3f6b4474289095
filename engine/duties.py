"""Duties: what falls due, done in the order of the stages; the only file that knows that order.

Knows: who hears first, who foresees, who writes, who plays, and when each is asked.
Refuses to know: how any of them does it, and what comes in.
How: whatever the agenda says is due is done at once, but looking ahead and writing, which take
long, go a step at a time.  Notes are written a bar at a time, one felt beat before the bar line,
and anew from the next free place when ear or foresight changes its mind; nothing that has sounded
is touched.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import assert_never

from engine.agenda import Agenda, Due
from engine.events import Beat, Outgoing, Rest
from engine.listening.listening import Listening
from engine.pulse import Pulse
from engine.silence import Silence
from engine.telling import Telling
from engine.theory.meter import Moment
from engine.writing import Writing


class Duties:
    """What is done when it falls due.

    Args:
        pulse: which place in the song a second is.
        listening: what is heard and expected.
        writing: the part.
        agenda: what falls due next.
        lead: felt beats by which the chords come before they are due.

    `silence` is whether the player plays.
    """

    def __init__(
        self, pulse: Pulse, listening: Listening, writing: Writing, agenda: Agenda, lead: int
    ) -> None:
        self._pulse = pulse
        self._listening = listening
        self._writing = writing
        self._agenda = agenda
        self._lead = lead
        self._telling = Telling()
        self._crossed: Fraction | None = None
        self._write_from = Fraction(0)
        self.silence = Silence()

    def keys_moment(self, at: float, position: float | None = None) -> Moment:
        """This second, at the place that the keys have reached: ahead of the part by the lead."""
        moment = self._pulse.moment(at, position)
        return self._pulse.moment(at, moment.later(self._lead)) if self._lead else moment

    def do(self, due: Due, at: float, out: list[Outgoing]) -> None:
        """Do what is due."""
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
                self.look(at, out)
            case _:
                assert_never(due)

    def key_down(self) -> None:
        """The player plays."""
        self.silence.key_down()
        self._telling.key_down()

    def look(self, at: float, out: list[Outgoing]) -> None:
        """See what comes, a step at a time; then tell it, and hold the part to it."""
        if self._listening.look() or self._write_on():
            self._agenda.look(at)
            return
        self._agenda.has_looked()
        moment = self._pulse.moment(at)
        change = self._listening.change_after(Fraction(moment.position))
        out.extend(self._telling.expected(change, self._listening.heard.key, moment))

    def find_place(self, at: float) -> None:
        """After a jump: which felt beat comes next, and what the ear and foresight must forget."""
        beat = self._pulse.moment(at).next_beat()
        self._crossed = None
        self._agenda.move(beat)
        self.silence.move(max(beat, Fraction(0)))  # a count-in is no silence
        self._listening.relocate(self.keys_moment(at))

    def fall_silent(self, at: float, out: list[Outgoing]) -> None:
        """What sounds is let go, and what is written is thrown away."""
        out.extend(self._writing.part.release(at, self._pulse.position(at)))
        self._writing.clear()

    def stop(self, at: float, out: list[Outgoing]) -> None:
        """The song is over."""
        self.fall_silent(at, out)
        self._pulse.stop(at)
        self._agenda.clear()

    def rewrite_after_metre(self, at: float) -> None:
        """Another metre begins: the felt beats are others, and so is the part from the next on."""
        moment = self._pulse.moment(at)
        self._agenda.next_beat = moment.next_beat(beyond=moment.next_beat() == self._crossed)
        self._rewrite(self._agenda.next_beat)

    # One by one ------------------------------------------------------------------------------

    def _cross(self, at: float, out: list[Outgoing]) -> None:
        """A felt beat begins: what was heard is settled, and the chord foreseen here holds."""
        beat = self._agenda.next_beat
        moment = self._pulse.moment(at, float(beat))
        count = moment.metre.pulses.index(beat - moment.bar_start) + 1
        self._crossed = beat
        self._agenda.next_beat = moment.next_beat(beyond=True)
        out.append(Beat(at, float(beat), moment.bar, count, moment.metre))
        self._listening.player.cross(at, len(moment.metre.pulses))
        keys = self.keys_moment(at, float(beat))
        if keys.position < 0:
            return
        amended = self._listening.cross(keys, beat)
        silent_bar = self.silence.bar_left_out(moment, left_out=self._listening.left_out)
        if silent_bar is not None:
            still = self._listening.ear.silent
            out.extend(self._telling.silence(silent_bar, moment, still=still))
        self._agenda.crossed(at, float(beat))
        if beat >= 0:
            self._begin_or_end(beat, moment, amended=amended)
        self._write_from = beat
        self._agenda.look(at)
        if self.silence.resting and self._writing.part.silent and not self._pulse.external:
            self.stop(at, out)  # nobody could hear it count: who begins again begins with bar 1
            out.extend(self._telling.expected(None, self._listening.heard.key, moment))
            out.append(Rest(at, float(beat)))

    def _begin_or_end(self, beat: Fraction, moment: Moment, *, amended: bool) -> None:
        """Write what cannot wait for the look ahead: beginning, ending, other style or chord."""
        if beat == moment.bar_start and self._writing.takes_up():
            self._rewrite(beat)
        belief = self._listening.belief(beat)
        silent = self._listening.ear.silent and not self._listening.tacet
        ends = self.silence.cross(beat, moment, silent=silent)
        if ends and belief is not None:
            last = self._listening.heard.chord or belief.chord
            self._writing.close(beat, replace(belief, chord=last))
        elif amended or self._writing.written_to is None:
            self._rewrite(beat)

    def _hear(self, at: float, out: list[Outgoing]) -> None:
        """The keys have landed: believe what they spell, and play by it."""
        self._agenda.has_read(at)
        another = self._listening.read(self.keys_moment(at))
        moment = self._pulse.moment(at)
        out.extend(self._telling.heard(self._listening.heard, moment))
        comes_in = self._writing.written_to is None
        if (another or comes_in) and self._pulse.running and moment.position >= 0:
            self._writing.serve(self._listening.heard.chord, moment.position)
            self._write_from = self._writing.place_to_change(moment, self._listening.chord_at)
            self._rewrite(self._write_from)
            self._agenda.look(at)
        elif self._pulse.running and self._listening.has_more_to_see:
            self._agenda.look(at)

    def _write_on(self) -> bool:
        belief = self._listening.belief(self._write_from)
        if belief is None or not self._pulse.running or self._writing.written_to is None:
            return False
        return self._writing.write_on(self._write_from, self._agenda.next_beat, belief)

    def _rewrite(self, start: Fraction) -> None:
        if (belief := self._listening.belief(start)) is not None and not self.silence.resting:
            self._writing.rewrite(start, belief)
