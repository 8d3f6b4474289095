"""Latency: from a key at the port to the bass note at the port, and how steady due notes are.

Run `python -m bench.latency [--times N] [--bars N] [--busy]`.  The loop rows are the program
alone, the JACK rows, printed where a JACK server runs, the way there and back, the server's
periods included.  "echo" answers each key at once and so measures the run loop; "first chord" is
the bassist's, who waits for a chord's keys to gather.  "due notes" is how late the rehearsal's
planned notes were sent.  `--busy` adds a thread that computes without rest, a worse neighbour
than any terminal view.
"""

from __future__ import annotations

import argparse
import threading
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from queue import SimpleQueue
from random import Random
from typing import Any, Final

from bench.arguments import from_one, run
from bench.echoing import EchoBassist
from engine.bassist import Bassist
from engine.events import Beat, Musician, NoteOn, Outgoing
from ports import rehearsal
from ports.clock import SystemClock
from ports.drivers import jack_client
from ports.loop import LoopPort
from ports.midi import open_port
from ports.port import BASS_NAME, CHORDS_NAME, CLIENT_NAME, Message, Port
from ports.service import Service
from ports.wire import bytes_of
from presets import loader

CLOCK: Final = SystemClock()
KEY: Final = (60,)
CHORD: Final = (55, 58, 62, 65)
GAP_SECONDS: Final = 0.037
TEMPO: Final = 160.0


class LoopFarEnd:
    """The far end of a loop port."""

    def __init__(self) -> None:
        self.answers: SimpleQueue[float] = SimpleQueue()
        self.port = LoopPort(self._take)

    def strike(self, keys: tuple[int, ...]) -> None:
        """Strike keys now."""
        self.port.play(NoteOn(CLOCK.now(), key) for key in keys)

    def close(self) -> None:
        """Nothing to leave."""

    def _take(self, message: Message) -> None:
        if isinstance(message, NoteOn):
            self.answers.put(CLOCK.now())


class JackFarEnd:
    """A JACK client connected both ways, in this process, which costs the player some haste."""

    def __init__(self) -> None:
        self.answers: SimpleQueue[float] = SimpleQueue()
        self.port = open_port(CLOCK.now)
        self._keys: deque[bytes] = deque()
        self._client: Any = jack_client.connect("bench")
        assert self._client is not None
        self._out = self._client.midi_outports.register("out")
        self._in = self._client.midi_inports.register("in")
        self._client.set_process_callback(self._process)
        self._client.activate()
        self._client.connect(self._out, f"{CLIENT_NAME}:{CHORDS_NAME}")
        self._client.connect(f"{CLIENT_NAME}:{BASS_NAME}", self._in)

    def strike(self, keys: tuple[int, ...]) -> None:
        """Strike keys in the coming period."""
        self._keys.extend(bytes_of(NoteOn(0.0, key)) for key in keys)

    def close(self) -> None:
        """Leave the server."""
        self._client.deactivate()
        self._client.close()

    def _process(self, _frames: int) -> None:
        self._out.clear_buffer()
        while self._keys:
            self._out.write_midi_event(0, self._keys.popleft())
        for _, data in self._in.incoming_midi_events():
            if bytes(data)[0] & 0xF0 == 0x90:
                self.answers.put(CLOCK.now())


FarEnd = LoopFarEnd | JackFarEnd


@contextmanager
def playing(musician: Musician, port: Port) -> Iterator[None]:
    """A service that plays in a thread of its own meanwhile."""
    service = Service(musician, port, CLOCK)
    thread = threading.Thread(target=service.run)
    thread.start()
    try:
        yield
    finally:
        service.stop()
        thread.join()


def replies(far: FarEnd, keys: tuple[int, ...], times: int) -> list[float]:
    """Seconds from each strike to the first answer; one that does not come counts a second."""
    found = []
    for _ in range(times):
        CLOCK.wait_until(CLOCK.now() + GAP_SECONDS)
        struck = CLOCK.now()
        far.strike(keys)
        answer = CLOCK.next_from(far.answers, struck + 1.0)
        found.append((answer or struck + 1.0) - struck)
    return found


def echoes(far_end: Callable[[], FarEnd], times: int) -> list[float]:
    """Replies of the echo bassist."""
    far = far_end()
    with playing(EchoBassist(length=0.01), far.port):
        found = replies(far, KEY, times)
    far.close()
    return found


def first_chords(far_end: Callable[[], FarEnd], times: int) -> list[float]:
    """Replies of a new bassist each time to the first chord it ever hears."""
    found = []
    for seed in range(times):
        far = far_end()
        with playing(bassist(seed), far.port):
            found += replies(far, CHORD, 1)
        far.close()
    return found


def bassist(seed: int) -> Bassist:
    """A bassist at the bench's tempo."""
    return Bassist(loader.load("soul"), Random(seed), tempo=TEMPO)


def due_notes(bars: int) -> tuple[int, float, float, float]:
    """How many notes a rehearsal had and how late they were sent: median, p99, worst."""

    def over(outgoing: Outgoing) -> bool:
        return isinstance(outgoing, Beat) and outgoing.bar > bars

    port = LoopPort()
    port.play(rehearsal.events(TEMPO, 1, bars + 1), CLOCK.now() + 0.3)
    report = Service(bassist(1), port, CLOCK, stop_when=over).run()
    return report.notes, report.median_lateness, report.p99_lateness, report.worst_lateness


@contextmanager
def busy(wanted: bool) -> Iterator[None]:
    """A thread that computes without rest, if wanted."""
    done = threading.Event()

    def compute() -> None:
        while not done.is_set():
            sum(i * i for i in range(2000))

    if wanted:
        threading.Thread(target=compute, daemon=True).start()
    yield
    done.set()


def row(name: str, count: int, *seconds: float) -> None:
    """Print one line of the table."""
    print(f"{name:<28}{count:>7}" + "".join(f"{s * 1000:>10.2f}" for s in seconds), flush=True)


def spread(values: list[float]) -> tuple[int, float, float, float]:
    """How many, and the median, the 99th percentile and the worst."""
    ranked = sorted(values)
    last = len(ranked) - 1
    return len(ranked), ranked[last // 2], ranked[round(0.99 * last)], ranked[last]


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--times", type=from_one, default=200, help="keys struck for each echo row")
    parser.add_argument("--bars", type=from_one, default=32, help="bars of rehearsal")
    parser.add_argument("--busy", action="store_true", help="with a thread that computes")
    wanted = parser.parse_args()

    print(f"{'milliseconds':<28}{'notes':>7}{'p50':>10}{'p99':>10}{'worst':>10}")
    with busy(wanted.busy):
        ends: dict[str, Callable[[], FarEnd]] = {"loop": LoopFarEnd}
        if jack_client.look() is not None:
            ends["JACK"] = JackFarEnd
        for name, far_end in ends.items():
            row(f"{name}, echo", *spread(echoes(far_end, wanted.times)))
            chords = max(1, wanted.times // 5)
            row(f"{name}, first chord", *spread(first_chords(far_end, chords)))
        row("loop, due notes", *due_notes(wanted.bars))


if __name__ == "__main__":
    run(main)
