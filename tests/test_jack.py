"""JACK: end to end against a real server, the player in a process of its own.

The tests start their own server under a name of its own on the dummy driver, so they need no
sound card and disturb no other server.
"""

from __future__ import annotations

import os
import shutil
import signal
import statistics
import subprocess
import sys
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from ctypes.util import find_library
from pathlib import Path
from typing import Any

import pytest

from engine.events import ClockTick, Control, NoteOff, NoteOn, Start, Stop
from ports.clock import SystemClock
from ports.drivers import jack_client
from ports.midi import UnknownPort, open_port, systems
from ports.wire import Wired, bytes_of, event_of
from tests.fakes import hanging

JACKD = shutil.which("jackd")
LIBJACK = find_library("jack") or ""
ROOT = Path(__file__).parent.parent
RATE = 48_000
PERIOD = 256
CHORDS = "groundling:groundling chords"
BASS = "groundling:groundling bass"
CLOCK = SystemClock()
BEAT = 0.6  # 100 beats a minute
CHANGES = ((58, 62, 65), (55, 58, 62), (51, 55, 58), (53, 57, 60))  # Bb Gm Eb F
ROOTS = (10, 7, 3, 5)

pytestmark = [
    pytest.mark.skipif(JACKD is None, reason="jackd is not installed (apt: jackd2)"),
    pytest.mark.slow,
]


def soon(true: Callable[[], bool], what: str, seconds: float = 10.0) -> None:
    """Wait until something is true."""
    deadline = CLOCK.now() + seconds
    while not true():
        assert CLOCK.now() < deadline, f"waited {seconds} s for {what}"
        CLOCK.wait_until(CLOCK.now() + 0.01)


@contextmanager
def running(name: str, *how: str) -> Iterator[subprocess.Popen[bytes]]:
    """A JACK server of this name, which is in the environment while it runs.

    With -S it is synchronous: on a busy machine a period waits for its clients, as long as -t says,
    else messages would be lost.
    """
    before = os.environ.get("JACK_DEFAULT_SERVER")
    os.environ |= {"JACK_DEFAULT_SERVER": name, "JACK_NO_AUDIO_RESERVATION": "1"}
    command = [
        str(JACKD),
        "-n",
        name,
        "-r",
        *how,
        "-d",
        "dummy",
        "-r",
        str(RATE),
        "-p",
        str(PERIOD),
    ]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
        try:
            soon(lambda: bool(systems()) and systems()[0].name == "JACK", "the JACK server")
            yield process
        finally:
            process.terminate()
            process.wait(10)
            if before is None:
                del os.environ["JACK_DEFAULT_SERVER"]
            else:
                os.environ["JACK_DEFAULT_SERVER"] = before


@pytest.fixture(scope="module")
def server() -> Iterator[str]:
    """A JACK server of our own, whose name is in the environment while the tests run."""
    name = f"groundling-test-{os.getpid()}"
    with running(name, "-S", "-t", "5000"):
        yield name


@contextmanager
def standing_still(server: subprocess.Popen[bytes]) -> Iterator[None]:
    """The server does nothing, and is not gone."""
    server.send_signal(signal.SIGSTOP)
    try:
        yield
    finally:
        server.send_signal(signal.SIGCONT)


class Sequencer:
    """A client that plays timed events into the server, to the frame, and writes down answers.

    Times are those of CLOCK, laid on the stream of frames, so that distances are exact to a small
    part of a millisecond, and a server that stumbles on a busy machine does not slow the music.
    """

    def __init__(self, name: str = "sequencer") -> None:
        self.heard: list[tuple[float, Wired]] = []
        self.played: list[float] = []
        self.overruns = 0
        self._script: deque[tuple[float, bytes]] = deque()
        self._stream = jack_client.StreamTime()
        self._client: Any = jack_client.connect(name)
        assert self._client is not None
        self._out = self._client.midi_outports.register("out")
        self._in = self._client.midi_inports.register("in")
        self._client.set_process_callback(self._process)
        self._client.set_xrun_callback(self._on_overrun)
        self._client.activate()

    def wire(self, bass: str = BASS) -> None:
        """Connect both ways to the player."""
        self._client.connect(self._out, CHORDS)
        self._client.connect(bass, self._in)

    def listeners(self) -> set[str]:
        """The ports that its own playing goes to."""
        return {p.name for p in self._out.connections}

    def names(self) -> list[str]:
        """All MIDI ports on the server."""
        return [p.name for p in self._client.get_ports(is_midi=True)]

    def play(self, events: list[tuple[float, Wired]]) -> None:
        """Play events, each so many seconds after a moment from now; `played` tells when each was.

        On a busy machine the server skips a period now and then, and what was meant for it is
        played in the next one.
        """
        start = CLOCK.now() + 0.1
        self._script.extend((start + at, bytes_of(event)) for at, event in events)

    def done(self) -> bool:
        """Whether all is played."""
        return not self._script

    def close(self) -> None:
        """Leave the server."""
        self._client.deactivate()
        self._client.close()

    def _on_overrun(self, _seconds: float) -> None:
        self.overruns += 1

    def _process(self, frames: int) -> None:
        start = self._stream.start_of(*jack_client.period_of(self._client, RATE, CLOCK.now))
        for offset, data in self._in.incoming_midi_events():
            at = start + offset / RATE
            event = event_of(bytes(data), at)
            if event is not None:
                self.heard.append((at, event))
        self._out.clear_buffer()
        while self._script:
            offset = max(0, round((self._script[0][0] - start) * RATE))
            if offset >= frames:
                return
            self._out.write_midi_event(offset, self._script.popleft()[1])
            self.played.append(start + offset / RATE)


@pytest.fixture
def sequencer(server: str) -> Iterator[Sequencer]:
    """A sequencer on the server, closed after the test."""
    assert server
    client = Sequencer()
    yield client
    client.close()


@contextmanager
def players(sequencer: Sequencer) -> Iterator[Callable[..., subprocess.Popen[str]]]:
    """Starts a player in a process of its own and connects the sequencer to it."""
    started: list[subprocess.Popen[str]] = []

    def start(*command: str, bass: str = BASS, **environment: str) -> subprocess.Popen[str]:
        process = subprocess.Popen(
            [sys.executable, "-W", "error", "-m", *command],
            cwd=ROOT,
            env=os.environ | environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        started.append(process)
        soon(lambda: {CHORDS, bass} <= set(sequencer.names()), "the player's ports")
        sequencer.wire(bass)
        return process

    try:
        yield start
    finally:
        for process in started:
            if process.poll() is None:
                process.kill()
            process.communicate()


@pytest.fixture
def start_player(sequencer: Sequencer) -> Iterator[Callable[..., subprocess.Popen[str]]]:
    """Starts a player that the sequencer on the server of these tests plays to."""
    with players(sequencer) as start:
        yield start


def ends_well(process: subprocess.Popen[str], number: int = signal.SIGTERM) -> str:
    """Ask the player to leave; what it printed."""
    process.send_signal(number)
    out, err = process.communicate(timeout=10)

    assert process.returncode == 0, err
    assert err == ""
    return out


def notes_on(sequencer: Sequencer) -> list[tuple[float, NoteOn]]:
    """The bass notes heard, each with its time in the stream."""
    return [(at, e) for at, e in sequencer.heard if isinstance(e, NoteOn)]


def block_chords(beat: float, bars: int) -> list[tuple[float, Wired]]:
    """A chord a bar in 4/4; each one's note offs stand with the next one's note ons."""
    script: list[tuple[float, Wired]] = []
    for bar in range(bars):
        chord = CHANGES[bar % len(CHANGES)]
        script += [(bar * 4 * beat, NoteOn(0, n, 80)) for n in chord]
        script += [((bar + 1) * 4 * beat, NoteOff(0, n)) for n in chord]
    return sorted(script, key=lambda timed: (timed[0], isinstance(timed[1], NoteOn)))


def sequenced(beat: float, bars: int) -> list[tuple[float, Wired]]:
    """The same chords as a sequencer sends them with its clock.

    The first chord stands before the start, at its instant; then 24 ticks to a quarter note, and
    at the end a stop with 64, 121 and 123 on all sixteen channels.
    """
    ticks: list[tuple[float, Wired]] = [(0.0, Start(0))]
    ticks += [(i * beat / 24, ClockTick(0)) for i in range(bars * 4 * 24)]
    end = bars * 4 * beat
    panic: list[tuple[float, Wired]] = [
        (end, Control(0, controller, 0, channel))
        for channel in range(16)
        for controller in (64, 121, 123)
    ]
    script = sorted(block_chords(beat, bars) + ticks, key=lambda timed: timed[0])
    return [*script, (end, Stop(0)), *panic]


ECHO = ("tests.fakes",)
GROUNDLING = ("ports", "play", "--quiet", "--seed", "3")


def test_keys_come_back_a_steady_two_periods_later(
    sequencer: Sequencer, start_player: Callable[..., subprocess.Popen[str]]
) -> None:
    """Each key is answered two periods later, no more and no less, and released.

    One period is ours; the other is JACK's, which breaks the circle of two clients that play
    into each other by a period.
    """
    process = start_player(*ECHO)
    keys = [(i * 0.0537, NoteOn(0, 60 + i % 12, 80)) for i in range(40)]
    sequencer.play(list(keys))
    soon(lambda: len(notes_on(sequencer)) == len(keys), "forty answers")
    soon(lambda: not hanging(e for _, e in sequencer.heard), "the last release")
    ends_well(process)

    answers = notes_on(sequencer)
    assert [e.note for _, e in answers] == [36 + i % 12 for i in range(40)]
    delays = sorted(at - played for (at, _), played in zip(answers, sequencer.played, strict=True))
    assert delays[0] == pytest.approx(2 * PERIOD / RATE, abs=0.0005)
    if sequencer.overruns < 5:  # else the machine was too busy for its own server's periods
        assert delays[len(delays) // 2] == pytest.approx(2 * PERIOD / RATE, abs=0.0005)
        assert delays[-1] < 0.030


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_in_mid_note_leaves_silence(
    number: int, sequencer: Sequencer, start_player: Callable[..., subprocess.Popen[str]]
) -> None:
    """Told to leave while a note sounds, the player sends its note off before its port goes."""
    process = start_player(*ECHO, "60")
    sequencer.play([(0.0, NoteOn(0, 60, 80))])
    soon(lambda: len(notes_on(sequencer)) == 1, "the note")
    ends_well(process, number)

    said = [e for _, e in sequencer.heard]
    assert [type(e) for e in said] == [NoteOn, NoteOff, Control]
    assert [e.note for e in said if isinstance(e, NoteOff)] == [36]
    assert [e.controller for e in said if isinstance(e, Control)] == [123]


def test_everything_a_sequencer_sends_arrives_in_order(sequencer: Sequencer) -> None:
    """Clock and notes on one port keep their order and distance, chord before start included.

    At bar 1 the first chord's note ons stand before the start, at the same frame; a chord's note
    offs stand at the frame of the next one's note ons; a stop brings 64, 121 and 123 on all
    channels.
    """
    port = open_port(CLOCK.now)
    sequencer.wire()
    beat = 0.6
    script: list[tuple[float, Wired]] = [(0.0, NoteOn(0, n, 80)) for n in (60, 64, 67)]
    script += [(0.0, Start(0)), (0.0, ClockTick(0))]
    script += [(i * beat / 24, ClockTick(0)) for i in range(1, 24)]
    script += [(beat, NoteOff(0, n)) for n in (60, 64, 67)]
    script += [(beat, NoteOn(0, n, 80)) for n in (62, 65, 69)]
    script += [(beat + 0.01, Stop(0))]
    script += [
        (beat + 0.01, Control(0, controller, 0, channel))
        for channel in range(16)
        for controller in (64, 121, 123)
    ]
    sequencer.play(script)
    arrived = [CLOCK.next_from(port.inbox, CLOCK.now() + 5) for _ in script]
    port.close()

    events = [e for e in arrived if isinstance(e, Wired)]
    assert [bytes_of(sent) for _, sent in script] == [bytes_of(e) for e in events]
    offsets = [e.at - played for e, played in zip(events, sequencer.played, strict=True)]
    steady = statistics.median(offsets)
    astray = [o for o in offsets if abs(o - steady) > 0.001]
    assert len(astray) <= len(offsets) // 10  # what a skipped period moves


def test_ports_are_found_and_taken_by_name(sequencer: Sequencer) -> None:
    """A part of a port's name connects to it; a wrong name leaves no client behind."""
    found = systems()[0]
    assert found.virtual
    assert "sequencer:out" in found.inputs
    assert "sequencer:in" in found.outputs

    port = open_port(CLOCK.now, "sequencer:o", "SEQUENCER:IN")
    sequencer.play([(0.0, NoteOn(0, 60, 80))])
    arrived = CLOCK.next_from(port.inbox, CLOCK.now() + 5)
    assert isinstance(arrived, NoteOn)
    port.send(NoteOn(CLOCK.now(), 36, 70))
    soon(lambda: len(notes_on(sequencer)) == 1, "the note")
    port.close()

    with pytest.raises(UnknownPort, match="no MIDI input is called 'organ'"):
        open_port(CLOCK.now, "organ")
    soon(lambda: CHORDS not in sequencer.names(), "the client to leave")


def test_clients_may_come_and_go_while_we_open(sequencer: Sequencer) -> None:
    """Ports open and close twenty times while other clients come and go; the graph runs on."""
    for _ in range(20):
        other = jack_client.connect("passer-by")
        assert other is not None
        other.activate()
        port = open_port(CLOCK.now, "sequencer:out")
        other.close()
        sequencer.play([(0.0, NoteOn(0, 60, 80))])
        arrived = CLOCK.next_from(port.inbox, CLOCK.now() + 2)
        assert isinstance(arrived, NoteOn)
        port.close()


def test_the_rtmidi_wrapper_hears_and_answers(
    sequencer: Sequencer, start_player: Callable[..., subprocess.Popen[str]]
) -> None:
    """The wrapper that serves ALSA, CoreMIDI and Windows, on a system that can be tested here.

    It makes a client for each port.  The wheels of rtmidi2 carry a JACK library that speaks to
    older servers only, so the machine's own is put before it.
    """
    process = start_player(
        *ECHO, "0.02", "rtmidi", bass="groundling-01:groundling bass", LD_PRELOAD=LIBJACK
    )
    keys = [(i * 0.1, NoteOn(0, 60 + i, 80)) for i in range(8)]
    sequencer.play(list(keys))
    soon(lambda: len(notes_on(sequencer)) == len(keys), "eight answers")
    soon(lambda: not hanging(e for _, e in sequencer.heard), "the last release")
    ends_well(process)

    answers = notes_on(sequencer)
    assert [(e.note, e.velocity) for _, e in answers] == [(36 + i, 80) for i in range(8)]


# groundling play -----------------------------------------------------------------------------


def bars_on_the_root(sequencer: Sequencer, first: float, bars: int) -> int:
    """In how many bars the bass begins on the chord's root.

    It does within the first sixteenth; where the server lost periods, so that chords came late,
    within half a bar.
    """
    reach = 0.15 if sequencer.overruns < 5 else 2 * BEAT
    right = 0
    for bar in range(bars):
        line = first + bar * 4 * BEAT
        begun = {e.note % 12 for at, e in notes_on(sequencer) if line - 0.05 <= at < line + reach}
        right += ROOTS[bar % len(ROOTS)] in begun
    return right


def test_block_chords_come_back_as_bass(
    sequencer: Sequencer, start_player: Callable[..., subprocess.Popen[str]]
) -> None:
    """Eight bars of block chords at 100 beats a minute are answered by roots, at once and in time.

    The first note comes within 30 ms of the first chord; every note has its note off, one sounds
    at a time, and a signal in the middle of a note leaves nothing hanging.
    """
    process = start_player(*GROUNDLING, "--tempo", "100")
    sequencer.play(block_chords(BEAT, 9)[:-3])  # the ninth bar's chord is held
    soon(sequencer.done, "the chords", 30)
    soon(lambda: bool(hanging(e for _, e in sequencer.heard)), "a sounding note")
    out = ends_well(process)

    answers = notes_on(sequencer)
    first = sequencer.played[0]
    assert 0 < answers[0][0] - first < 0.030
    assert len(answers) >= 16
    assert bars_on_the_root(sequencer, first, 8) >= 7
    assert one_at_a_time(sequencer)
    assert hanging(e for _, e in sequencer.heard) == set()
    assert "p99 lateness" in out


def one_at_a_time(sequencer: Sequencer) -> bool:
    """Whether no bass note began while another sounded, nor ended that had not begun."""
    sounding: int | None = None
    for _, event in sequencer.heard:
        if isinstance(event, NoteOn):
            if sounding is not None:
                return False
            sounding = event.note
        elif isinstance(event, NoteOff):
            if sounding != event.note:
                return False
            sounding = None
    return True


def test_a_sequencer_leads(
    sequencer: Sequencer, start_player: Callable[..., subprocess.Popen[str]]
) -> None:
    """With its clock and the first chord before its start, a sequencer gets roots on its bar lines.

    When it stops, the bass falls silent and stays so.
    """
    process = start_player(*GROUNDLING, "--clock", "external")
    bars = 4
    sequencer.play(sequenced(BEAT, bars))
    soon(sequencer.done, "the song", 30)
    CLOCK.wait_until(CLOCK.now() + 0.5)
    said = len(sequencer.heard)
    first, stopped = sequencer.played[0], sequencer.played[-1]
    ends_well(process)

    answers = notes_on(sequencer)
    assert 0 < answers[0][0] - first < 0.030
    assert bars_on_the_root(sequencer, first, bars) >= bars - 1
    assert max(at for at, _ in answers) < stopped + 0.03
    assert hanging(e for _, e in sequencer.heard[:said]) == set()
    assert one_at_a_time(sequencer)


def test_a_keyboard_that_is_unplugged_with_its_keys_down_is_told_and_taken_again(
    sequencer: Sequencer, start_player: Callable[..., subprocess.Popen[str]]
) -> None:
    """The bass ends its phrase and rests; plugged in again, the piano is heard as before."""
    piano = Sequencer("stage piano")
    process = start_player(*GROUNDLING, "--tempo", "300", "--in", "stage piano")
    piano.play([(0.0, NoteOn(0, note, 80)) for note in CHANGES[1]])
    soon(lambda: len(notes_on(sequencer)) > 2, "the bass")
    piano.close()
    unplugged = CLOCK.now()
    CLOCK.wait_until(unplugged + 5)
    assert max(at for at, _ in notes_on(sequencer)) < unplugged + 0.5 + 4 * 0.8  # four bars
    assert hanging(e for _, e in sequencer.heard) == set()

    piano = Sequencer("stage piano")
    soon(lambda: piano.listeners() == {CHORDS}, "the connection")
    begun = len(notes_on(sequencer))
    piano.play([(0.0, NoteOn(0, note, 80)) for note in CHANGES[0]])
    soon(lambda: len(notes_on(sequencer)) > begun, "the bass again")
    piano.close()
    process.send_signal(signal.SIGTERM)
    _, said = process.communicate(timeout=10)

    assert notes_on(sequencer)[begun][1].note % 12 == ROOTS[0]
    gone, back, *_ = said.splitlines()
    assert gone == "stage piano:out is gone until it is plugged in again; its keys are let go"
    assert back == "stage piano:out is back"


# A server of its own, as it waits for a client that died ten times as long as for one that is late.
STILL = (f"groundling-still-{os.getpid()}", "-S", "-t", "200")


def test_ctrl_c_ends_play_while_the_server_stands_still() -> None:
    """It does not wait for it, says why a note may hang, and sums up what was played."""
    with running(*STILL) as server, closing(Sequencer()) as sequencer, players(sequencer) as start:
        process = start(*GROUNDLING)
        sequencer.play([(0.0, NoteOn(0, note, 80)) for note in CHANGES[2]])
        soon(lambda: bool(hanging(e for _, e in sequencer.heard)), "a sounding note")
        with standing_still(server):
            process.send_signal(signal.SIGINT)
            summary, said = process.communicate(timeout=10)
        soon(lambda: CHORDS not in sequencer.names(), "the server to miss it")

    assert (process.returncode, said) == (0, jack_client.LEFT_BEHIND + "\n")
    assert "1 chord heard" in summary


def test_a_server_that_stands_still_is_not_waited_for() -> None:
    """Nor does Ctrl-C have to be pressed: for whoever begins then there is none."""
    asks = (
        "from ports.drivers import jack_client;"
        "jack_client.OPEN_SECONDS = 0.1; print(jack_client.look())"
    )
    with running(*STILL) as server, standing_still(server):
        done = subprocess.run(
            [sys.executable, "-c", asks],
            cwd=ROOT, capture_output=True, text=True, timeout=10, check=False,
        )  # fmt: skip

    assert (done.stdout, done.stderr) == ("None\n", "")


def test_play_names_what_it_cannot_find(server: str) -> None:
    """An unknown port ends the program with one sentence that lists the ports there are."""
    assert server
    done = subprocess.run(
        [sys.executable, "-m", "ports", "play", "--in", "organ"],
        cwd=ROOT, capture_output=True, text=True, timeout=20, check=False,
    )  # fmt: skip

    assert done.returncode == 2
    assert "no MIDI input is called 'organ'" in done.stderr
    assert "Traceback" not in done.stderr
