"""JACK: one client for both ports, through the system's own JACK library.

RtMidi makes a client for each port, and the wheels of rtmidi2 carry a JACK library of their own
whose protocol the server may refuse, ending the process.  PipeWire answers here as well, where
its JACK library is the system's.

The process callback runs in the audio thread.  It stamps what came, hands it over, and writes
what is due; both ways lead through queues that never block.

Time: an event at frame 40 of a period is stamped 40 frames after the period's start, though we
are told at the start.  What we send is written one period after its due time, to the frame.  So
the part is late by one period, always the same, and free of the jitter that writing "as soon as
possible" would give it.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from queue import SimpleQueue
from types import ModuleType
from typing import Any, Final

from engine.events import Incoming, Tick
from ports.cable import Cable, let_go
from ports.drivers.jack_sources import Sources
from ports.drivers.lookout import Lookout
from ports.drivers.patience import within
from ports.drivers.releases import Releases
from ports.port import BASS_NAME, CHORDS_NAME, CLIENT_NAME, FELL_SILENT, Message, unsaid
from ports.wire import bytes_of

# On an overloaded machine one opening in some hundreds was seen to fail although the server ran.
# Without a server an attempt fails within a few milliseconds.
ATTEMPTS: Final = 3

# One that stands still would be waited for for ever, and Ctrl-C would not be heard meanwhile.
OPEN_SECONDS: Final = 5.0

# Closing waits for the audio thread to write the last note offs; if it is stuck, not for longer.
FLUSH_SECONDS: Final = 0.5

# Leaving took 0.1 s, and 0.4 s at most on a machine with four times the work it could do; a server
# that stands still would be waited for for ever.
LEAVE_SECONDS: Final = 1.0
LEFT_BEHIND: Final = (
    "the JACK server answers no more and is left as it stands; a last note may hang there"
)

# After the last message is written, others must still get to read it before our port vanishes.
FLUSH_PERIODS: Final = 3

# Frames are counted without a sign: a period that is said to begin a little later than now seems
# to have begun a day ago.
LONGEST_AGO_SECONDS: Final = 1.0


class StreamTime:
    """Where the stream of frames lies on our clock.

    What is known of a period's start is late now and then (the driver wakes late), never early, so
    the promptest of the recent calls tells best where a frame lies.  Recent is the last 10 to 20
    calls (50 to 100 ms with periods of 256 at 48 kHz): on a busy machine of two processors three
    calls in a hundred were more than 0.5 ms late, hardly ever two in a row, and none more than a
    period.

    After an overrun the frames go on where they stopped, so that from then on each lies later on
    our clock by as long as the server stood.
    """

    WINDOW: Final = 10
    JUMP_SECONDS: Final = 0.008
    """From here on a late start is taken for an overrun; a shorter one is found by the window."""

    def __init__(self) -> None:
        self._before = self._window = float("inf")
        self._calls = 0

    def start_of(
        self, stream_seconds: float, latest: float, earliest: float | None = None
    ) -> float:
        """When, on our clock, the period began that stands there in the stream.

        Args:
            stream_seconds: where it stands.
            latest: it had begun by then, most often just before.
            earliest: it had not begun before then; the same moment, if not given.
        """
        offset = latest - stream_seconds
        best = min(self._before, self._window)
        surely = (latest if earliest is None else earliest) - stream_seconds
        # The server stood still, or its frame counter (32 bits, about a day) began anew.
        if surely - best > self.JUMP_SECONDS:
            self._before = self._window = float("inf")
        self._window = min(self._window, offset)
        self._calls += 1
        if self._calls % self.WINDOW == 0:
            self._before, self._window = self._window, offset
        return stream_seconds + min(self._before, self._window)


def period_of(
    client: Any,  # noqa: ANN401
    rate: float,
    now: Callable[[], float],
) -> tuple[float, float, float]:
    """Where in the stream this period begins, and on our clock the latest and earliest it can have.

    JACK says how long ago that was, so that it matters little when our thread is called.  Each call
    into JACK lets go of the interpreter, and may get it back late: the answer holds for a moment
    between two looks at the clock.  The frame is asked first, for were the next period to begin in
    between, its start would seem too late, which does no harm.
    """
    stream = client.last_frame_time / rate
    asked = now()
    ago = client.frames_since_cycle_start / rate
    told = now()
    if ago > LONGEST_AGO_SECONDS:
        ago = 0.0
    return stream, told - ago, asked - ago


def connect(name: str) -> Any | None:  # noqa: ANN401  (JACK-Client has no types)
    """A client of the running JACK server; None without a library, or a server that answers."""
    try:
        import jack  # noqa: PLC0415  (fails where the JACK library is missing)
    except (ImportError, OSError):
        return None
    jack.set_error_function(_ignore)  # the library prints to the terminal by default
    jack.set_info_function(_ignore)
    opened: list[Any] = []
    within(OPEN_SECONDS, lambda: _open(jack, name, opened))
    return opened[0] if opened else None  # one that opens later is nobody's, and closed as such


def _open(jack: ModuleType, name: str, opened: list[Any]) -> None:
    for _ in range(ATTEMPTS):
        with suppress(jack.JackOpenError):
            opened.append(jack.Client(name, no_start_server=True))
            return


def _ignore(_message: str) -> None:
    pass


def names(client: Any) -> tuple[tuple[str, ...], tuple[str, ...]]:  # noqa: ANN401
    """The MIDI ports of other clients: those that can be listened to, those that can be sent to."""
    ours = client.name + ":"
    sources = [p.name for p in client.get_ports(is_midi=True, is_output=True)]
    targets = [p.name for p in client.get_ports(is_midi=True, is_input=True)]
    return (
        tuple(n for n in sources if not n.startswith(ours)),
        tuple(n for n in targets if not n.startswith(ours)),
    )


def look() -> tuple[tuple[str, ...], tuple[str, ...]] | None:
    """The MIDI ports on the JACK server, or None if no server runs."""
    client = connect(CLIENT_NAME + " look")
    if client is None:
        return None
    try:
        return names(client)
    finally:
        client.close()


def _another(name: str) -> str:
    ours = f"{name}:{CHORDS_NAME} and {name}:{BASS_NAME}"
    return f"{CLIENT_NAME} is running already; the ports of this one are {ours}"


class JackPort:
    """`groundling:groundling chords` and `groundling:groundling bass` on the JACK server."""

    def __init__(self, client: Any, now: Callable[[], float]) -> None:  # noqa: ANN401
        self.inbox: SimpleQueue[Incoming] = SimpleQueue()
        self.lost: str | None = None
        self.tell: Callable[[str], None] = unsaid
        self._to_say = [] if client.name == CLIENT_NAME else [_another(client.name)]
        self._cable = Cable()
        self._client = client
        self._now = now
        self._rate = float(client.samplerate)
        self._outbox: deque[tuple[float, bytes]] = deque()
        self._time = StreamTime()
        self._releases = Releases()
        self._overrun = False
        self._closing = False
        self._periods_empty = 0
        self._flushed = threading.Event()
        self._chords: Any = None
        self._bass: Any = None
        client.set_process_callback(self._process)
        client.set_shutdown_callback(self._on_shutdown)
        client.set_xrun_callback(self._on_overrun)
        # JACK refuses to connect the ports of a client that is not active yet, and others connect
        # to a port as soon as they see it: so the ports come last.
        client.activate()
        self._chords = client.midi_inports.register(CHORDS_NAME)
        self._bass = client.midi_outports.register(BASS_NAME)
        self._sources = Sources(client, self._chords)
        self._lookout = Lookout(self.look)

    def connect(self, source: str | None, target: str | None) -> None:
        """Listen to one port of another client, and send to another."""
        if source is not None:
            self._client.connect(source, self._chords)
        if target is not None:
            self._client.connect(self._bass, target)

    def send(self, message: Message) -> None:
        """Leave the message for the audio thread."""
        self._outbox.append((message.at, bytes_of(message)))

    def close(self) -> None:
        """Let the audio thread write what is left, then leave the server, if need be unheard."""
        if self.lost is None:
            self._closing = True
            self._flushed.wait(FLUSH_SECONDS)
        if not (self._lookout.end() and within(LEAVE_SECONDS, self._leave)):
            self.tell(LEFT_BEHIND)

    def _leave(self) -> None:
        if self.lost is None:
            self._client.deactivate()
        self._client.close()

    def look(self) -> None:
        """Look whether the keyboard is still there; runs in the lookout's thread."""
        if self.lost is not None:
            return
        silent = self._cable.look(self._now())
        left, said = self._sources.look()
        self._to_say += [FELL_SILENT] * bool(silent) + said
        while self._to_say and self.tell is not unsaid:
            self.tell(self._to_say.pop(0))
        for event in let_go(self._now()) if left else silent:
            self.inbox.put(event)

    def _process(self, frames: int) -> None:
        if self._bass is None:
            return
        start = self._time.start_of(*period_of(self._client, self._rate, self._now))
        # All are read before the first is handed over: that wakes the run loop, and each call into
        # JACK lets go of the interpreter, so that a start could come up to 20 ms after its chord.
        arrived = [
            event
            for offset, data in self._chords.incoming_midi_events()
            for event in self._cable.take(bytes(data), start + offset / self._rate)
        ]
        for event in arrived:
            self.inbox.put(event)
        self._write(start, frames)

    def _write(self, start: float, frames: int) -> None:
        self._bass.clear_buffer()
        if self._overrun:  # what was written just before it may have reached nobody
            self._overrun = False
            for data in self._releases.overrun():
                self._bass.write_midi_event(0, data)
        earliest = 0
        while self._outbox:
            at, data = self._outbox[0]
            frame = frames + round((at - start) * self._rate)
            if frame >= frames:  # due after this period began: it belongs to the next one
                return
            earliest = max(earliest, frame)
            self._releases.take(data)
            for each in (data, *self._releases.due()):
                self._bass.write_midi_event(earliest, each)
            self._outbox.popleft()
        if self._closing:
            self._periods_empty += 1
            if self._periods_empty == FLUSH_PERIODS:
                self._flushed.set()

    def _on_overrun(self, _seconds: float) -> None:
        self._overrun = True

    def _on_shutdown(self, _status: Any, reason: str) -> None:  # noqa: ANN401
        self.lost = f"the JACK server went away ({reason}); start it and run groundling again"
        self.inbox.put(Tick(self._now()))  # wakes the run loop
