"""Writing: keeps the part written ahead, and written for what is believed now.

Knows: how far the part is written, for which chords and for which manner of the player.
Refuses to know: who heard or foresaw those chords, and when anything sounds.
How: bars are asked of the line one at a time; beside the part stands the harmony it was written
for, beat by beat, so that a new belief shows at once whether the part still holds.  The player's
manner is taken once for each bar, when it is first written: it never has a bar written again.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from math import ceil, floor
from random import Random
from typing import Final

from engine.events import Forecast
from engine.line.bassline import Bassline
from engine.line.grades import Grade, graded
from engine.line.ways import LIKELY
from engine.part import Part, Ready
from engine.performance import Performer
from engine.plan import Belief, coming_after, spans_between, without_rests
from engine.player import Player
from engine.pulse import Pulse
from engine.score import Ask, BassNote, Manner
from engine.style import Style
from engine.theory.harmony import Chord
from engine.theory.meter import CLOCKS_PER_QUARTER, ON_THE_BEAT, Moment

_SIXTEENTH: Final = Fraction(1, 4)

# A note may sound a little before its place; the part is then written anew from just after it.
_JUST_AFTER: Final = Fraction(1, CLOCKS_PER_QUARTER)


class Writing:
    """The part, written as far ahead as is wanted.

    Args:
        style: how to play.
        random: where the line and the touch draw their chance from.
        pulse: which place lies in which bar.
        player: whose manner the part goes along with.
        grade: how much of a style is played, of this one and of any taken up later.
        bend_range: semitones that a slide may be bent, see Part.
    """

    def __init__(
        self,
        style: Style,
        random: Random,
        pulse: Pulse,
        player: Player,
        grade: Grade = Grade.EVERYTHING,
        *,
        bend_range: int = 0,
    ) -> None:
        self.part = Part(bend_range)
        self.written_to: Fraction | None = None
        self._pulse = pulse
        self._player = player
        self.next_style: Style | None = None
        self._random = random
        self._grade = grade
        self._written_for: dict[Fraction, tuple[Chord | None, int]] = {}
        self._unforeseen: tuple[Fraction, Fraction, Chord | None] = (Fraction(0), Fraction(0), None)
        self._manners: dict[int, Manner] = {}
        self._take_up(style)

    def takes_up(self) -> bool:
        """At a bar line: whether another style was waiting and is written in from here on."""
        style, self.next_style = self.next_style, None
        if style is not None:
            self._take_up(style)
        return style is not None

    def _take_up(self, style: Style) -> None:
        style = graded(style, self._grade)
        self._daring = style.approach.daring
        self._line = Bassline(style, Random(self._random.getrandbits(64)))
        self._performer = Performer(style, Random(self._random.getrandbits(64)))

    def clear(self) -> None:
        """Throw away what is written; what sounds stays to be released."""
        self.part.clear()
        self.written_to = None
        self._written_for.clear()
        self._manners.clear()
        self._performer.forget()

    def write_on(self, beat: Fraction, next_beat: Fraction, belief: Belief) -> bool:
        """Hold the part a felt beat ahead, and to what is believed; whether a bar was to write."""
        if self.written_to is None or self.stale(belief.ahead):
            self.rewrite(beat, belief)
        elif next_beat >= self.written_to:
            self._write_bar(max(self.written_to, beat), belief)
        else:
            return False
        return True

    def rewrite(self, start: Fraction, belief: Belief) -> None:
        """Write the rest of a bar anew, and nothing after it yet; what has sounded stands."""
        last = self.part.last
        if last is not None and last.beat >= start:
            start = last.beat + _JUST_AFTER
        self.part.strike_out(start)
        self._write_bar(start, belief)

    def close(self, beat: Fraction, belief: Belief) -> None:
        """End the phrase: the root held through this bar, and nothing after it."""
        self.part.strike_out(beat)
        place = self._pulse.moment(0.0, float(beat))
        ask = replace(self._ask(beat, place, belief), last=None)  # as if the chord were new
        for note in self._line.write(ask)[:1]:
            ready = self._ready(replace(note, length=place.metre.bar), place, ask.manner)
            if not self.part.hold(beat, ready.played.until):
                self.part.write([ready])
        self.written_to = None
        self._written_for.clear()

    def serve(self, chord: Chord | None, position: float) -> None:
        """A chord is heard: what was struck just now is its note, if it is the bass it asks for.

        The keys of a chord come one after the other.  F/A is first an Am, and the A for that one
        is not struck again on the next beat.
        """
        note = self.part.sounding
        if chord is None or note is None or note.written.note % 12 != chord.bass:
            return
        if position - float(note.written.beat) < _SIXTEENTH:
            self.part.last = replace(note.written, chord=chord)

    def place_to_change(
        self, moment: Moment, chord_at: Callable[[Fraction], Chord | None]
    ) -> Fraction:
        """From where the part is written anew: the note that waits, or now, or the next sixteenth.

        At once when what sounds does not fit the chord: a wrong note is left, never held.  But
        keys that are a little ahead of their beat get one note, on the beat, and not two.
        """
        part = self.part
        waiting = part.next()
        if waiting is not None and float(waiting.written.beat) <= moment.position:
            return waiting.written.beat
        following = moment.next_beat()
        if float(following) - moment.position < ON_THE_BEAT:
            return following
        # Rounded down: a place just passed is played at once, without waiting for the next.
        now = Fraction(floor(moment.position * CLOCKS_PER_QUARTER + 1e-6), CLOCKS_PER_QUARTER)
        if part.last is None:
            beat = _felt_beat_before(moment)
            return beat if moment.position - float(beat) <= ON_THE_BEAT else now
        chord = chord_at(now)
        sounding = part.sounding
        if sounding is not None and chord and sounding.written.note % 12 in chord.keys:
            return ceil(now / _SIXTEENTH) * _SIXTEENTH
        return now

    def stale(self, ahead: tuple[Forecast, ...]) -> bool:
        """Whether a chord is now expected, or trusted, that the part was not written for."""
        return any(self._is_news(f) for f in ahead)

    def _is_news(self, forecast: Forecast) -> bool:
        known = self._written_for.get(forecast.beat)
        if known is not None:
            return known != self._aim(forecast)
        # Nothing was foreseen there when the bar was written, as in the first of a song.
        start, end, chord = self._unforeseen
        return start < forecast.beat <= end and forecast.chord not in (None, chord)

    def _aim(self, forecast: Forecast) -> tuple[Chord | None, int]:
        """What a part is written for: the chord, and whether not aimed at, in doubt or surely."""
        return forecast.chord, sum(forecast.confidence >= o for o in (self._daring, LIKELY))

    def _write_bar(self, start: Fraction, belief: Belief) -> None:
        place = self._pulse.moment(0.0, float(start))
        ask = self._ask(start, place, belief)
        notes = without_rests(self._line.write(ask), belief.rests, place)
        self.part.write(self._ready(note, place, ask.manner) for note in notes)
        self.written_to = ask.end
        self._unforeseen = start, ask.end, ask.spans[-1].chord
        known = {b: c for b, c in self._written_for.items() if start <= b <= ask.end}
        aims = {f.beat: self._aim(f) for f in belief.ahead if start <= f.beat <= ask.end}
        self._written_for = known | aims

    def _ready(self, note: BassNote, bar: Moment, manner: Manner) -> Ready:
        return Ready(note, self._performer.perform(note, bar, manner))

    def _ask(self, start: Fraction, place: Moment, belief: Belief) -> Ask:
        end = place.bar_start + place.metre.bar
        spans = spans_between(start, end, belief.chord, belief.confidence, belief.ahead)
        return Ask(
            start=start,
            bar_start=place.bar_start,
            bar=place.bar,
            metre=place.metre,
            spans=spans,
            coming=coming_after(end, spans[-1].chord, belief.ahead),
            key=belief.key,
            last=self.part.last_before(start),
            seconds_per_beat=place.seconds_per_beat,
            manner=self._manner_in(place.bar),
        )

    def _manner_in(self, bar: int) -> Manner:
        """The manner for a bar: what it was when the bar was first written, else what it is now."""
        if bar not in self._manners:
            self._manners = {b: m for b, m in self._manners.items() if b == bar - 1}
            self._manners[bar] = self._player.manner
        return self._manners[bar]


def _felt_beat_before(moment: Moment) -> Fraction:
    passed = [p for p in moment.metre.pulses if float(p) <= moment.in_bar + 1e-6]
    return moment.bar_start + passed[-1]
