"""Pulse: where in the song this second is.

Knows: a set tempo that starts with the first chord (or after a count-in), and a MIDI clock with
its start, stop, continue and song position.
Refuses to know: notes, chords, what is played.
How: one straight line from seconds to quarter notes, anchored at a moment whose place is known.
A set tempo anchors it once; a clock moves the anchor with every tick, smoothing the jitter of
the wire with a second-order loop, and the line reaches no further than a little past the next
tick, so that a clock that falls silent carries nobody on.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor, inf
from typing import Final, NamedTuple

from engine.theory.meter import CLOCKS_PER_QUARTER, FOUR_FOUR, Metre, Moment

# How much of a tick's surprise goes into the phase and into the tempo.  A quarter settles within
# about four ticks (a sixth of a beat), which follows a player's tempo map and still divides the
# jitter of a 5 ms audio buffer by two; the tempo share keeps the loop critically damped.
_PHASE_GAIN: Final = 0.25
_TEMPO_GAIN: Final = 0.02

# A surprise larger than this share of a tick may be a change of tempo or a seek.  It may be jitter
# as well, for many sequencers send their clock where audio buffers end, and 1024 frames are longer
# than a tick.  So it is followed once this many ticks in a row are beside their places on one side
# and the last no nearer than the first; until then, and always of jitter, a bounded share counts.
_ASTRAY: Final = 0.5
_AGREEING: Final = 3

SLOWEST: Final = 30.0
FASTEST: Final = 300.0
"""Beats a minute that a person can play to; outside them a mistyped number is more likely."""

# Quarter notes a minute; what a clock seems to tell beyond them is jitter, or winding.
_SLOWEST_CLOCK: Final = 20.0
_FASTEST_CLOCK: Final = 480.0

# How far past the last tick the song is believed to go on, in ticks: one to reach the next tick,
# half a tick for one that is late.
_REACH: Final = 1.5

# A clock silent for this long has stopped without saying so; 250 ms is six ticks at 60 a minute.
STALL_SECONDS: Final = 0.25


class _MetreFrom(NamedTuple):
    """A time signature, the place it holds from, and how many bars lie before that."""

    since: Fraction
    metre: Metre
    bars_before: int


@dataclass(slots=True)
class _Line:
    """Seconds to quarter notes: position `position` at second `at`, running at a tempo."""

    at: float
    position: float
    seconds_per_beat: float

    def position_at(self, at: float) -> float:
        return self.position + (at - self.at) / self.seconds_per_beat

    def seconds_of(self, position: float) -> float:
        return self.at + (position - self.position) * self.seconds_per_beat


class Pulse:
    """The song's time, from a set tempo or from a MIDI clock.

    Args:
        tempo: quarter notes a minute; under a clock the tempo until two ticks have come.
        external: whether a MIDI clock leads.
        count_in: bars counted before bar 1, with a set tempo.
        metre: the time signature until another is announced.

    Raises:
        ValueError: a tempo at which nothing would move.
    """

    def __init__(
        self,
        tempo: float = 100.0,
        *,
        external: bool = False,
        count_in: int = 0,
        metre: Metre = FOUR_FOUR,
    ) -> None:
        if not 0 < tempo < inf:
            raise ValueError(f"the tempo is {tempo}; give quarter notes a minute, such as 100")
        self.external = external
        self.running = False
        self._count_in = count_in
        self._line = _Line(0.0, 0.0, 60.0 / tempo)
        self._metres = [_MetreFrom(Fraction(0), metre, 0)]
        self._next_tick = 0
        self._last_tick_at: float | None = None
        self._counted = False
        self._astray: list[tuple[float, float]] = []  # seconds: when a tick came, how late it was

    # What moves it ---------------------------------------------------------------------------

    def begin_count(self, at: float) -> None:
        """Begin the count-in, if one is wanted and has not begun; bar 1 follows it."""
        if self.external or self._count_in == 0 or self._counted:
            return
        self._counted = True
        self.running = True
        self._restart(at, -float(self.metre.bar * self._count_in))

    def take_tempo(self, seconds_per_beat: float) -> None:
        """Another set tempo, while nothing runs."""
        if not self.external and not self.running:
            self._line.seconds_per_beat = seconds_per_beat

    def strike(self, at: float, early: float = 0.0) -> None:
        """A key went down: with a set tempo and nothing running, this is beat 0.

        Or so many quarter notes before it, when chords come early.
        """
        if not self.external and not self.running:
            self.running = True
            self._restart(at, -early)

    def start(self, at: float) -> None:
        """The sequencer starts from the top; its next tick is beat 0."""
        self.locate(at, 0)
        self.resume(at)

    def locate(self, at: float, sixteenths: int) -> None:
        """The sequencer moves to a place in the song, counted in sixteenth notes."""
        if self.external:
            self._next_tick = sixteenths * CLOCKS_PER_QUARTER // 4
            self._go_back_to(Fraction(sixteenths, 4))
            self._restart(at, sixteenths / 4)

    def resume(self, at: float) -> None:
        """The sequencer goes on from its place; its next tick is that place."""
        if self.external:
            self.running = True
            self._restart(at, self._next_tick / CLOCKS_PER_QUARTER)

    def stop(self, at: float) -> None:
        """Time stands still; with a set tempo the next key down is beat 0 again."""
        place = self.position(at) if self.running else self._line.position
        self.running = False
        self._line = _Line(at, place if self.external else 0.0, self._line.seconds_per_beat)
        self._last_tick_at = None
        if not self.external:
            self._metres = [_MetreFrom(Fraction(0), self.metre, 0)]

    def tick(self, at: float) -> None:
        """A MIDI clock tick: while running it is the next twenty-fourth of a beat."""
        if not self.external:
            return
        last, self._last_tick_at = self._last_tick_at, at
        if self.running:
            self._follow(at, last)
            self._next_tick += 1
        elif last is not None:
            self._learn_tempo(at - last)

    def new_metre(self, at: float, metre: Metre) -> None:
        """From the nearest sixteenth on, which is a bar line, another time signature holds."""
        place = Fraction(round(self.position(at) * 4), 4)
        since, last, before = self._metres[-1]
        bars = ceil((place - since) / last.bar)  # one that is cut short is a bar
        self._metres.append(_MetreFrom(place, metre, before + bars))

    # What it tells ---------------------------------------------------------------------------

    @property
    def metre(self) -> Metre:
        """The time signature that holds, until another is announced or a jump leads back."""
        return self._metres[-1].metre

    @property
    def seconds_per_beat(self) -> float:
        """The length of a quarter note now."""
        return self._line.seconds_per_beat

    def position(self, at: float) -> float:
        """Quarter notes from the start of the song at this second; where it stands if stopped."""
        if not self.running:
            return self._line.position
        place = self._line.position_at(max(at, self._line.at))
        return min(place, max(self._reach, self._line.position)) if self.external else place

    def seconds_of(self, position: float) -> float:
        """When a place in the song will be reached; infinity while that is not known."""
        if not self.running or (self.external and position > self._reach):
            return inf
        return self._line.seconds_of(position)

    def moment(self, at: float, position: float | None = None) -> Moment:
        """This second, with its place in song and bar; or a given place at this second."""
        place = self.position(at) if position is None else position
        since, metre, before = self._metres[-1]
        bars = floor((place - float(since)) / float(metre.bar) + 1e-9)
        return Moment(
            at=at,
            position=place,
            bar_start=since + bars * metre.bar,
            bar=before + bars + 1,
            metre=metre,
            seconds_per_beat=self.seconds_per_beat,
        )

    def stalls_at(self) -> float:
        """When a clock that ticks no more counts as silent, so that nothing is left sounding."""
        if not (self.external and self.running) or self._last_tick_at is None:
            return inf
        return self._last_tick_at + STALL_SECONDS

    # How ---------------------------------------------------------------------------------------

    @property
    def _reach(self) -> float:
        # Just before the first tick after a start nothing has been reached yet: the place itself
        # waits for its tick, so that beat 0 sounds with the clock and not before it.
        if self._last_tick_at is None:
            return self._line.position - 1e-9
        return (self._next_tick - 1 + _REACH) / CLOCKS_PER_QUARTER

    def _go_back_to(self, place: Fraction) -> None:
        # Who jumps back to before a change of metre says so again when it comes by there.
        while len(self._metres) > 1 and self._metres[-1].since > place:
            self._metres.pop()

    def _restart(self, at: float, position: float) -> None:
        self._astray.clear()
        self._line = _Line(at, position, self._line.seconds_per_beat)
        self._last_tick_at = None

    def _learn_tempo(self, per_tick: float) -> None:
        # Sequencers keep their clock going while stopped: the first beat then has its tempo.
        known = self._line.seconds_per_beat
        told = per_tick * CLOCKS_PER_QUARTER
        share = 0.2 if abs(told - known) < 0.2 * known else 1.0
        self._line.seconds_per_beat = _as_a_tempo(known + share * (told - known))

    def _follow(self, at: float, last: float | None) -> None:
        place = self._next_tick / CLOCKS_PER_QUARTER
        per_tick = self._line.seconds_per_beat / CLOCKS_PER_QUARTER
        due = self._line.seconds_of(place)
        if last is None:
            self._line = _Line(at, place, self._line.seconds_per_beat)
            return
        surprise = at - due
        bound = _ASTRAY * per_tick
        self._count_astray(at, surprise, bound)
        if self._has_left():
            self._line = _Line(at, place, self._line.seconds_per_beat)
            self._learn_tempo((at - self._astray[0][0]) / (len(self._astray) - 1))
            self._astray.clear()
        else:
            surprise = max(-bound, min(bound, surprise))
            tempo = _as_a_tempo((per_tick + _TEMPO_GAIN * surprise) * CLOCKS_PER_QUARTER)
            self._line = _Line(due + _PHASE_GAIN * surprise, place, tempo)

    def _count_astray(self, at: float, surprise: float, bound: float) -> None:
        if abs(surprise) <= bound or (self._astray and surprise * self._astray[-1][1] < 0):
            self._astray.clear()
        if abs(surprise) > bound:
            self._astray.append((at, surprise))

    def _has_left(self) -> bool:
        """Whether the clock runs on another line: jitter comes back, a tempo goes further away."""
        run = self._astray
        return len(run) >= _AGREEING and abs(run[-1][1]) >= abs(run[0][1])


def _as_a_tempo(seconds_per_beat: float) -> float:
    return max(60 / _FASTEST_CLOCK, min(60 / _SLOWEST_CLOCK, seconds_per_beat))
