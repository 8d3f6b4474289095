"""The JACK port without a server: when things come, from whom, and what is said of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import pytest

from engine.events import NoteOn
from ports.drivers.jack_client import JackPort
from ports.port import BASS_NAME, CHORDS_NAME
from tests.fakes import FakeClock

RATE = 48_000
PERIOD = 256


class FakeJackPorts(list["FakeJackPort"]):
    """The ports of one kind that a client has of its own."""

    def register(self, name: str) -> FakeJackPort:
        """One more."""
        self.append(FakeJackPort(name))
        return self[-1]


class FakeJackPort:
    """A port: what arrives in this period, and what is written."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.arriving: list[tuple[int, bytes]] = []
        self.written: list[tuple[int, bytes]] = []

    def incoming_midi_events(self) -> list[tuple[int, bytes]]:
        """What arrives, once."""
        arriving, self.arriving = self.arriving, []
        return arriving

    def clear_buffer(self) -> None:
        """Nothing is left of the period before."""

    def write_midi_event(self, frame: int, data: bytes) -> None:
        """Remember it."""
        self.written.append((frame, data))


class FakeServer:
    """A JACK server and our client on it, in the time of a clock that jumps."""

    name = "groundling"
    samplerate = RATE

    def __init__(self) -> None:
        self.clock = FakeClock(5.0)
        self.frames_since_cycle_start = 0
        self.last_frame_time = 0
        self.midi_inports = FakeJackPorts()
        self.midi_outports = FakeJackPorts()
        self._process: Callable[[int], None] = lambda _frames: None

    def set_process_callback(self, process: Callable[[int], None]) -> None:
        """Called in every period."""
        self._process = process

    def set_shutdown_callback(self, shutdown: Callable[[Any, str], None]) -> None:
        """Never called."""

    def activate(self) -> None:
        """Always active."""

    def period(self, arriving: Sequence[tuple[int, bytes]] = (), *, called_late: int = 0) -> None:
        """One period begins now; our thread is called so many frames later."""
        self.midi_inports[0].arriving += arriving
        self.frames_since_cycle_start = called_late
        begun = self.clock.time
        self.clock.time += called_late / RATE if called_late < RATE else 0.0
        self._process(PERIOD)
        self.last_frame_time += PERIOD
        self.clock.time = begun + PERIOD / RATE

    def stand(self, seconds: float) -> None:
        """Time goes by, and no frames."""
        self.clock.time += seconds


@pytest.fixture
def server() -> FakeServer:
    """A server."""
    return FakeServer()


@pytest.fixture
def port(server: FakeServer) -> JackPort:
    """Our port on it, after a second of silence."""
    port = JackPort(server, server.clock.now)
    for _ in range(RATE // PERIOD):
        server.period()
    return port


CHORD = [(40, bytes((0x90, note, 80))) for note in (56, 59, 63)]


def test_it_has_one_port_each_way(server: FakeServer, port: JackPort) -> None:
    """Chords in, bass out."""
    assert port.lost is None
    assert [each.name for each in server.midi_inports] == [CHORDS_NAME]
    assert [each.name for each in server.midi_outports] == [BASS_NAME]


@pytest.mark.parametrize("late", [0, 5, 200, 2**32 - 3])
@pytest.mark.parametrize("stood", [0.0, 0.02, 0.08, 0.2])
def test_a_chord_is_stamped_where_it_was_played(
    server: FakeServer, port: JackPort, stood: float, late: int
) -> None:
    """To the frame, in the first period after an overrun too, however late our thread is called.

    A period that JACK thinks begins 3 frames from now has begun.
    """
    server.stand(stood)
    played = server.clock.now() + 40 / RATE
    server.period(CHORD, called_late=late)
    came = [port.inbox.get_nowait() for _ in CHORD]

    assert [type(event) for event in came] == [NoteOn] * 3
    assert [event.at for event in came] == [pytest.approx(played, abs=1e-4)] * 3
