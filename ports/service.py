"""Service: the run loop that joins a bassist, a port and a clock.

It waits for the next message or deadline, whichever comes first, tells the bassist, and sends
what comes back at once.  Whatever ends it (the player, an error, a signal), no note is left
hanging.
"""

from __future__ import annotations

import gc
import signal
import sys
import threading
from array import array
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from queue import SimpleQueue
from types import FrameType
from typing import Final

from engine.events import (
    ALL_NOTES_OFF,
    Bend,
    Control,
    Incoming,
    Musician,
    NoteOff,
    NoteOn,
    Outgoing,
    Play,
    Release,
    Stop,
    Tick,
)
from ports.clock import Clock
from ports.port import PitchBend, Port, PortLost
from ports.wire import BEND_AT_REST, bend_range_messages, bend_value

# How long the loop may sleep before it looks whether it was told to stop.
LOOK_UP_SECONDS: Final = 0.05

# How long a thread that computes may keep the interpreter from one that wants it: the driver's
# thread while we plan a bar, or us while the screen is drawn.  Python's own 5 ms is as long as a
# whole JACK period of 256 frames.
SWITCH_SECONDS: Final = 0.0005


class Lateness:
    """How late notes were sent: a histogram of fixed size, so that it costs an hour nothing."""

    BIN_SECONDS: Final = 0.00002
    BINS: Final = 10_000

    def __init__(self) -> None:
        self._counts = array("L", bytes(array("L").itemsize * self.BINS))
        self.count = 0
        self.worst = 0.0

    def add(self, seconds: float) -> None:
        """Count one note; what is early counts as on time."""
        late = max(0.0, seconds)
        self._counts[min(int(late / self.BIN_SECONDS), self.BINS - 1)] += 1
        self.count += 1
        self.worst = max(self.worst, late)

    def quantile(self, share: float) -> float:
        """Seconds that this share of the notes did not exceed, to the width of a bin."""
        wanted = share * self.count
        seen = 0
        for index, count in enumerate(self._counts):
            seen += count
            if seen and seen >= wanted and index < self.BINS - 1:
                return min((index + 1) * self.BIN_SECONDS, self.worst)
        return self.worst


@dataclass(frozen=True, slots=True)
class Report:
    """What a run came to: notes played, how late they were sent (seconds), and what ended it."""

    notes: int
    median_lateness: float
    p99_lateness: float
    worst_lateness: float
    signal: int | None


class Service:
    """Plays a bassist on a port until told to stop.

    Args:
        bassist: who plays.
        port: where chords come from and the bass goes; closed when the run ends.
        clock: the clock that also stamps the port's arrivals.
        on_outgoing: hears of everything the bassist says, after it was sent.  It is called on
            the way from key to bass note, so give it the `put` of a queue.
        stop_when: ends the run when true of an outgoing event, before that is sent.
        channel: the MIDI channel of the bass, 0 to 15.
        heeds: whether the bassist is to hear of an arrival; all of them if not given.
        bend_range: semitones of pitch bend each way, told to the far end; 0 sends none.
    """

    def __init__(
        self,
        bassist: Musician,
        port: Port,
        clock: Clock,
        *,
        on_outgoing: Callable[[Outgoing], None] | None = None,
        stop_when: Callable[[Outgoing], bool] | None = None,
        channel: int = 0,
        heeds: Callable[[Incoming], bool] | None = None,
        bend_range: int = 0,
    ) -> None:
        self._bend_range = bend_range
        self._heeds = heeds
        self._bassist = bassist
        self._port = port
        self._clock = clock
        self._on_outgoing = on_outgoing
        self._stop_when = stop_when
        self._channel = channel
        self._lateness = Lateness()
        self._aside: SimpleQueue[Incoming] = SimpleQueue()
        self._sounding: set[int] = set()
        self._pending: Incoming | None = None
        self._last_at = float("-inf")
        self._stopping = False
        self._signal: int | None = None

    def run(self) -> Report:
        """Play until stopped, then release every note and close the port.

        Raises:
            PortLost: the MIDI system went away.
        """
        with ExitStack() as stack:
            # Left in reverse order: signals are heeded until all is silent and closed.
            stack.enter_context(self._heeding_signals())
            stack.enter_context(_ready_to_play())
            stack.callback(self._port.close)
            stack.callback(self._release_all)
            self._tell_bend_range()
            while not self._stopping:
                self._step()
            self._farewell()
        return self.report()

    def stop(self) -> None:
        """End the run soon; may be called from any thread, and from a signal handler."""
        self._stopping = True
        self._port.inbox.put(Tick(self._clock.now()))  # wakes the loop

    def say(self, event: Incoming) -> None:
        """Tell the bassist what did not come through the port; may be called from any thread.

        It is told when the loop looks up next, at most a beat later while music plays, as if it
        happened then: a script in the port's inbox may reach far ahead, and is not waited for.
        """
        self._aside.put(event)

    def report(self) -> Report:
        """What the run has come to so far."""
        late = self._lateness
        return Report(late.count, late.quantile(0.5), late.quantile(0.99), late.worst, self._signal)

    def _step(self) -> None:
        """Bring the bassist to the next arrival or deadline, whichever comes first."""
        if self._port.lost is not None:
            raise PortLost(self._port.lost)
        while not self._aside.empty():
            self._tell(replace(self._aside.get_nowait(), at=max(0.0, self._last_at)))
        deadline = self._bassist.next_deadline()
        if self._pending is None:
            self._pending = self._clock.next_from(self._port.inbox, deadline)
        arrival = self._pending
        if arrival is None or (deadline is not None and deadline < arrival.at):
            assert deadline is not None  # next_from returns None only at a deadline
            self._come_to(deadline, arrival)
        elif self._waited(arrival.at):
            self._pending = None
            if self._heeds is None or self._heeds(arrival):
                self._tell(arrival)

    def _come_to(self, deadline: float, arrival: Incoming | None) -> None:
        if self._waited(deadline):
            now = self._clock.now()
            # Woken late, we may be past the arrival; the bassist is to hear of it in order.
            self._tell(Tick(now if arrival is None else min(now, arrival.at)))

    def _waited(self, at: float) -> bool:
        """Wait for a moment, with an eye on being told to stop; whether it has come."""
        while not self._stopping:
            now = self._clock.now()
            if now >= at:
                return True
            self._clock.wait_until(min(at, now + LOOK_UP_SECONDS))
        return False

    def _tell(self, event: Incoming) -> None:
        """Pass an event on, and send the answer.

        The driver's thread may have stamped an arrival just before we told a later time; for
        the bassist time never runs back.
        """
        if event.at < self._last_at:
            event = replace(event, at=self._last_at)
        self._last_at = event.at
        for outgoing in self._bassist.receive(event):
            if self._stop_when is not None and self._stop_when(outgoing):
                self._stopping = True
                return
            self._send(outgoing)

    def _send(self, outgoing: Outgoing) -> None:
        if isinstance(outgoing, Play):
            note = NoteOn(outgoing.at, outgoing.note, outgoing.velocity, self._channel)
            self._sounding.add(outgoing.note)
            self._port.send(note)
            self._lateness.add(self._clock.now() - outgoing.at)
        elif isinstance(outgoing, Release):
            if outgoing.note not in self._sounding:  # its beginning was where the run ended
                return
            self._port.send(NoteOff(outgoing.at, outgoing.note, self._channel))
            self._sounding.discard(outgoing.note)
        elif isinstance(outgoing, Bend) and self._bend_range:
            value = bend_value(outgoing.semitones, self._bend_range)
            self._port.send(PitchBend(outgoing.at, value, self._channel))
        if self._on_outgoing is not None:
            self._on_outgoing(outgoing)

    def _farewell(self) -> None:
        """Tell the bassist that it is over, so that whoever listens hears the last release."""
        self._stop_when = None
        self._tell(Stop(self._clock.now()))

    def _tell_bend_range(self) -> None:
        if self._bend_range:
            now = self._clock.now()
            for controller, value in bend_range_messages(self._bend_range):
                self._port.send(Control(now, controller, value, self._channel))
            self._port.send(PitchBend(now, BEND_AT_REST, self._channel))

    def _release_all(self) -> None:
        """Silence the far end: a note off for what sounds, then all notes off for good measure.

        Whatever broke off the run may have broken off a slide: the bend wheel is let go as well.
        """
        now = self._clock.now()
        if self._bend_range:
            self._port.send(PitchBend(now, BEND_AT_REST, self._channel))
        for note in sorted(self._sounding):
            self._port.send(NoteOff(now, note, self._channel))
        self._sounding.clear()
        self._port.send(Control(now, ALL_NOTES_OFF, 0, self._channel))

    @contextmanager
    def _heeding_signals(self) -> Iterator[None]:
        """Let the signals that ask a program to leave end the run instead.

        So does the one that asks it to pause (Ctrl-Z): the music cannot, and a note that sounds
        meanwhile would hang.  Python takes signals in the main thread only.  One that is ignored
        (as nohup does with the hang-up) stays ignored.
        """
        names = ("SIGINT", "SIGTERM", "SIGHUP", "SIGQUIT", "SIGTSTP", "SIGBREAK")
        numbers = [getattr(signal, name) for name in names if hasattr(signal, name)]
        before = {}
        if threading.current_thread() is threading.main_thread():
            for number in numbers:
                if signal.getsignal(number) is not signal.SIG_IGN:
                    before[number] = signal.signal(number, self._on_signal)
        try:
            yield
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)

    def _on_signal(self, number: int, _frame: FrameType | None) -> None:
        self._signal = number
        self.stop()


@contextmanager
def _ready_to_play() -> Iterator[None]:
    """Keep the interpreter's own chores out of the music.

    What exists when the music starts (tables, modules) lives to the end, so the collector need
    not look at it again; it stays on for the rest, as an evening is long.
    """
    before = sys.getswitchinterval()
    sys.setswitchinterval(SWITCH_SECONDS)
    gc.collect()
    gc.freeze()
    try:
        yield
    finally:
        gc.unfreeze()
        sys.setswitchinterval(before)
