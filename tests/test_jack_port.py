"""The JACK port without a server: when things come, from whom, and what is said of it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from threading import Event
from typing import Any

import pytest

from engine.events import Control, Incoming, NoteOff, NoteOn
from ports.cable import let_go
from ports.drivers import jack_client, lookout
from ports.drivers.jack_client import LEFT_BEHIND, JackPort
from ports.drivers.jack_sources import Sources
from ports.port import BASS_NAME, CHORDS_NAME, FELL_SILENT, Message, PitchBend
from ports.wire import bytes_of
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

    def __init__(self, name: str, *, ready: bool = True) -> None:
        self.name = name
        self.ready = ready
        self.arriving: list[tuple[int, bytes]] = []
        self.written: list[tuple[int, bytes]] = []
        self.connections: list[FakeJackPort] = []

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
        self.sources: list[FakeJackPort] = []
        self.answers = Event()
        self.answers.set()
        self._process: Callable[[int], None] = lambda _frames: None
        self.overrun: Callable[[float], None] = lambda _seconds: None

    def set_process_callback(self, process: Callable[[int], None]) -> None:
        """Called in every period."""
        self._process = process

    def set_xrun_callback(self, overrun: Callable[[float], None]) -> None:
        """Called after an overrun."""
        self.overrun = overrun

    def set_shutdown_callback(self, shutdown: Callable[[Any, str], None]) -> None:
        """Never called."""

    def activate(self) -> None:
        """Always active."""

    def get_ports(self, **_of_what: bool) -> list[FakeJackPort]:
        """The MIDI outputs of others."""
        return list(self.sources)

    def connect(self, name: str, port: FakeJackPort) -> None:
        """Connect one of them, if it lets itself be connected."""
        (source,) = [each for each in self.sources if each.name == name]
        if not source.ready:
            raise LookupError("its client is not active")
        port.connections.append(source)

    def plug_in(self, name: str, *, ready: bool = True) -> FakeJackPort:
        """There is one more."""
        self.sources.append(FakeJackPort(name, ready=ready))
        return self.sources[-1]

    def unplug(self, name: str) -> None:
        """It is gone, and its connections with it."""
        self.sources = [each for each in self.sources if each.name != name]
        for port in self.midi_inports:
            port.connections = [each for each in port.connections if each.name != name]

    def deactivate(self) -> None:
        """Wait for the answer."""
        self.answers.wait(10)

    def close(self) -> None:
        """Never mind."""

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
def port(server: FakeServer, monkeypatch: pytest.MonkeyPatch) -> Iterator[JackPort]:
    """Our port on it, after a second of silence, whose lookout sleeps."""
    monkeypatch.setattr(lookout, "LOOK_SECONDS", 1000)
    monkeypatch.setattr(jack_client, "FLUSH_SECONDS", 0)
    port = JackPort(server, server.clock.now)
    for _ in range(RATE // PERIOD):
        server.period()
    yield port
    port.close()


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


# Overruns ----------------------------------------------------------------------------------------


ON, OFF, QUIET = NoteOn(0, 34, 80), NoteOff(0, 34), Control(0, 123, 0)
UP, LEVEL = PitchBend(0, 9000), PitchBend(0, 8192)


@pytest.mark.parametrize(
    ("before", "after", "written"),
    [
        ([ON, OFF], [], [QUIET]),
        ([ON, OFF], [ON], [QUIET, ON]),
        ([ON], [OFF, NoteOn(0, 39, 80)], [OFF, QUIET, NoteOn(0, 39, 80)]),
        ([ON, OFF, NoteOn(0, 39, 80)], [], []),
        ([ON], [OFF, ON, OFF], [OFF, QUIET, ON, OFF]),
        ([NoteOn(0, 34, 80, 2), NoteOff(0, 34, 2)], [], [Control(0, 123, 0, 2)]),
        ([UP, LEVEL], [], [LEVEL]),
        ([Control(0, 101, 0), Control(0, 6, 12)], [], []),
        ([], [ON, OFF], [ON, OFF]),
    ],
)
def test_an_overrun_leaves_no_note_hanging(
    server: FakeServer,
    port: JackPort,
    before: list[Message],
    after: list[Message],
    written: list[Message],
) -> None:
    """It may swallow the end of one; all are ended, once, when none is to sound."""
    for message in before:
        port.send(message)
    server.period()
    (bass,) = server.midi_outports
    assert len(bass.written) == len(before)

    server.stand(0.005)
    server.overrun(5000.0)
    for message in after:
        port.send(message)
    server.period()
    server.period()

    assert [data for _, data in bass.written[len(before) :]] == [bytes_of(m) for m in written]


# A server that stands still ----------------------------------------------------------------------


@pytest.mark.parametrize("still", [True, False])
def test_a_server_that_stands_still_keeps_nobody_from_leaving(
    server: FakeServer, port: JackPort, monkeypatch: pytest.MonkeyPatch, *, still: bool
) -> None:
    """It is not waited for, and that is said; one that runs is left without a word."""
    monkeypatch.setattr(jack_client, "LEAVE_SECONDS", 0.01 if still else 10)
    said: list[str] = []
    port.tell = said.append
    if still:
        server.answers.clear()
    port.close()
    waited_for = server.answers.is_set()
    server.answers.set()

    assert waited_for is not still
    assert said == [LEFT_BEHIND] * still


# Keyboards that come and go ----------------------------------------------------------------------

PIANO = "stage piano:out"
ORGAN = "organ:out"


@pytest.fixture
def ours(server: FakeServer) -> FakeJackPort:
    """Our input, with a piano and an organ on it."""
    ours = server.midi_inports.register(CHORDS_NAME)
    for name in (PIANO, ORGAN):
        server.plug_in(name)
        server.connect(name, ours)
    return ours


@pytest.fixture
def sources(server: FakeServer, ours: FakeJackPort) -> Sources:
    """What is connected to it, looked at once."""
    sources = Sources(server, ours)
    assert sources.look() == (False, [])
    return sources


def test_a_keyboard_that_stays_is_not_spoken_of(sources: Sources) -> None:
    """However often one looks."""
    assert [sources.look() for _ in range(3)] == [(False, [])] * 3


def test_a_keyboard_that_is_unplugged_lets_its_keys_go_and_is_taken_again(
    server: FakeServer, ours: FakeJackPort, sources: Sources
) -> None:
    """Both are said once; it is connected as soon as it can be, and the other one stays."""
    server.unplug(PIANO)
    gone = f"{PIANO} is gone until it is plugged in again; its keys are let go"
    assert [sources.look() for _ in range(2)] == [(True, [gone]), (False, [])]

    piano = server.plug_in(PIANO, ready=False)
    assert sources.look() == (False, [])
    piano.ready = True
    assert [sources.look() for _ in range(2)] == [(False, [f"{PIANO} is back"]), (False, [])]
    assert {each.name for each in ours.connections} == {PIANO, ORGAN}


def test_a_keyboard_on_usb_is_never_gone_and_back_unseen() -> None:
    """A bad plug takes it away for 0.1 s at least, until its port has settled."""
    assert lookout.LOOK_SECONDS < 0.1


def test_a_port_that_goes_while_it_is_asked_after_ends_no_lookout(
    server: FakeServer, sources: Sources, monkeypatch: pytest.MonkeyPatch
) -> None:
    """JACK-Client raises then; the next look tells what has become of the ports."""

    def gone(**_of_what: bool) -> list[FakeJackPort]:
        raise RuntimeError(f"Port {ORGAN!r} not available")

    server.unplug(PIANO)
    with monkeypatch.context() as meanwhile:
        meanwhile.setattr(server, "get_ports", gone)
        assert sources.look() == (False, [])

    assert sources.look()[0]


def test_a_keyboard_that_somebody_else_takes_again_is_back_as_well(
    server: FakeServer, ours: FakeJackPort, sources: Sources
) -> None:
    """A patchbay may have been quicker."""
    server.unplug(PIANO)
    sources.look()
    server.plug_in(PIANO)
    server.connect(PIANO, ours)
    server.sources[-1].ready = False  # a second time is refused

    assert sources.look() == (False, [f"{PIANO} is back"])
    assert len(ours.connections) == 2


def test_a_keyboard_that_is_taken_off_by_hand_stays_off(
    ours: FakeJackPort, sources: Sources
) -> None:
    """Its keys are let go all the same."""
    del ours.connections[0]
    off = f"{PIANO} is disconnected; its keys are let go"

    assert [sources.look() for _ in range(3)] == [(True, [off]), (False, []), (False, [])]
    assert [each.name for each in ours.connections] == [ORGAN]


def test_what_the_lookout_sees_reaches_the_player_and_the_bass(
    server: FakeServer, port: JackPort
) -> None:
    """An unplugged keyboard, and one that broke the promise to be heard."""
    said: list[str] = []
    port.tell = said.append
    server.plug_in(PIANO)
    port.connect(PIANO, None)
    server.period([(0, bytes((0xFE,))), (200, bytes((0xFE,)))])
    port.look()
    assert said == []

    server.stand(1.0)
    port.look()
    assert said == [FELL_SILENT]
    assert arrived(port) == let_go(server.clock.now())

    server.unplug(PIANO)
    port.look()
    assert len(said) == 2
    assert arrived(port) == let_go(server.clock.now())


def test_a_second_groundling_says_what_its_ports_are_called(
    server: FakeServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """JACK gives it another name; that is said once, as soon as there is somebody to hear it."""
    monkeypatch.setattr(lookout, "LOOK_SECONDS", 1000)
    server.name = "groundling-01"
    port, said = JackPort(server, server.clock.now), list[str]()
    port.look()
    port.tell = said.append
    port.look()
    port.look()

    (sentence,) = said
    assert sentence.startswith("groundling is running already; the ports of this one are")
    for name in (CHORDS_NAME, BASS_NAME):
        assert f"groundling-01:{name}" in sentence


def test_the_first_groundling_says_nothing(port: JackPort) -> None:
    """Its ports are called as it is written everywhere."""
    said: list[str] = []
    port.tell = said.append
    port.look()

    assert said == []


def arrived(port: JackPort) -> tuple[Incoming, ...]:
    """All that has come."""
    return tuple(port.inbox.get_nowait() for _ in range(port.inbox.qsize()))
