"""Ports: bytes and events, waiting, the run loop, the rehearsal, naming of ports."""

from __future__ import annotations

import gc
import signal
import sys
from collections.abc import Callable, Sequence
from queue import SimpleQueue
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.echoing import EchoBassist
from engine.events import (
    ALL_NOTES_OFF,
    Bend,
    ClockTick,
    Continue,
    Control,
    Incoming,
    NoteOff,
    NoteOn,
    Outgoing,
    Play,
    Release,
    SongPosition,
    Start,
    Stop,
    Tick,
)
from engine.theory.harmony import Family
from ports import rehearsal
from ports.attention import Attention
from ports.cable import let_go
from ports.clock import SystemClock
from ports.drivers import rtmidi_wrapper
from ports.drivers.jack_client import StreamTime
from ports.loop import LoopPort
from ports.midi import pick
from ports.port import FELL_SILENT, PitchBend, PortLost, PortTaken, UnknownPort
from ports.service import SWITCH_SECONDS, Lateness, Service
from ports.wire import Wired, bend_range_messages, bend_value, bytes_of, event_of
from tests.fakes import FakeClock, FakePort, hanging

# Bytes and events --------------------------------------------------------------------------

BOTH_WAYS: list[tuple[str, Wired]] = [
    # status, then data      what it says
    ("90 3C 64", NoteOn(1.5, 60, 100, 0)),
    ("9F 00 01", NoteOn(1.5, 0, 1, 15)),
    ("82 7F 40", NoteOff(1.5, 127, 2)),
    ("B0 40 7F", Control(1.5, 64, 127, 0)),
    ("BF 7B 00", Control(1.5, 123, 0, 15)),
    ("F2 05 00", SongPosition(1.5, 5)),
    ("F2 01 02", SongPosition(1.5, 257)),
    ("F2 7F 7F", SongPosition(1.5, 16383)),
    ("F8", ClockTick(1.5)),
    ("FA", Start(1.5)),
    ("FB", Continue(1.5)),
    ("FC", Stop(1.5)),
]

DROPPED = [
    ("", "nothing at all"),
    ("90 3C", "a note on cut short"),
    ("90", "a status alone"),
    ("90 3C 64 00", "a byte too many"),
    ("3C 64", "data without a status"),
    ("90 80 64", "a note above 127"),
    ("90 3C FF", "a velocity above 127"),
    ("F2 05", "a song position cut short"),
    ("F2 80 00", "a song position out of range"),
    ("F0 7E 7F 06 01 F7", "system exclusive"),
    ("C0 05", "a program change"),
    ("E0 00 40", "a pitch bend"),
    ("A0 3C 40", "pressure on a key"),
    ("D0 40", "pressure on all keys"),
    ("FE", "active sensing"),
    ("FF", "a reset"),
    ("F1 04", "time code"),
    ("F3 01", "song select"),
    ("F9", "an undefined status"),
]


@pytest.mark.parametrize(("dump", "event"), BOTH_WAYS)
def test_bytes_and_events_say_the_same(dump: str, event: Wired) -> None:
    """A message reads as its event, and the event is written as that message."""
    assert event == event_of(bytes.fromhex(dump), 1.5)
    assert bytes.fromhex(dump) == bytes_of(event)


@pytest.mark.parametrize(
    ("semitones", "bend_range", "dump"),
    [
        (0, 12, "E3 00 40"),
        (-2, 2, "E3 00 00"),
        (2, 2, "E3 7F 7F"),
        (-1, 2, "E3 00 20"),
        (3, 12, "E3 00 50"),
        (5, 2, "E3 7F 7F"),
    ],
)
def test_a_bend_is_sent_as_its_share_of_the_range(
    semitones: float, bend_range: int, dump: str
) -> None:
    """The wheel is at rest for no bend, at its ends for the whole range, and never beyond."""
    assert bytes_of(PitchBend(0.0, bend_value(semitones, bend_range), 3)) == bytes.fromhex(dump)


def test_a_note_on_without_velocity_is_a_note_off() -> None:
    """Many keyboards release a key by striking it with velocity 0."""
    assert event_of([0x93, 60, 0], 2.0) == NoteOff(2.0, 60, 3)


@pytest.mark.parametrize(("dump", "what"), DROPPED)
def test_what_does_not_concern_the_bass_is_dropped(dump: str, what: str) -> None:
    """Malformed messages, and those that tell a bassist nothing, pass by without a word."""
    assert event_of(bytes.fromhex(dump), 0.0) is None, what


@given(st.lists(st.integers(0, 255), max_size=8))
def test_no_message_can_raise(message: list[int]) -> None:
    """Whatever bytes a driver delivers, its thread lives, and what is read can be written."""
    event = event_of(message, 0.0)
    if event is not None:
        assert event_of(bytes_of(event), 0.0) == event


# Waiting -----------------------------------------------------------------------------------


def test_the_clock_waits_to_the_moment() -> None:
    """A wait ends after its deadline, never before it."""
    clock = SystemClock()
    deadline = clock.now() + 0.003

    clock.wait_until(deadline)

    assert deadline <= clock.now()


def test_an_arrival_ends_the_wait() -> None:
    """What is in the inbox is had at once, long before the deadline."""
    clock = SystemClock()
    inbox: SimpleQueue[str] = SimpleQueue()
    inbox.put("chord")

    assert clock.next_from(inbox, clock.now() + 60) == "chord"
    assert clock.next_from(inbox, clock.now() + 0.002) is None


def test_two_clocks_are_never_confused() -> None:
    """Each clock has a zero of its own, a second or more from any other's."""
    assert abs(SystemClock().now() - SystemClock().now()) > 1


# The run loop ------------------------------------------------------------------------------


def after(count: int) -> Callable[[Outgoing], bool]:
    """Ends a run before the note after `count` notes."""
    seen = 0

    def stop(outgoing: Outgoing) -> bool:
        nonlocal seen
        seen += isinstance(outgoing, Play)
        return seen > count

    return stop


def test_notes_go_out_when_due() -> None:
    """A key is answered half a second later, as the echo bassist wants it, and released."""
    port = FakePort([NoteOn(1.0, 60, 90), NoteOn(2.0, 62, 80)])
    clock = FakeClock()
    Service(EchoBassist(0.25, delay=0.5), port, clock, stop_when=after(1), channel=4).run()

    assert port.sent == [
        NoteOn(1.5, 36, 90, 4),
        NoteOff(1.75, 36, 4),
        Control(2.5, ALL_NOTES_OFF, 0, 4),
        "closed",
    ]


def test_arrivals_and_deadlines_come_in_order_of_time() -> None:
    """A deadline before the next arrival is kept first, although the arrival is known already."""
    bassist = EchoBassist(length=0.25)
    port = FakePort([NoteOn(1.0, 60), NoteOn(1.1, 64), NoteOn(3.0, 67)])
    Service(bassist, port, FakeClock(), stop_when=after(2)).run()

    assert [type(e) for e in bassist.heard] == [NoteOn, NoteOn, Tick, NoteOn, Stop]
    assert [e.at for e in bassist.heard] == [1.0, 1.1, 1.35, 3.0, 3.0]


def test_time_never_runs_back_for_the_bassist() -> None:
    """An arrival stamped before the last thing told is told as of now."""
    bassist = EchoBassist()
    port = FakePort([NoteOn(1.0, 60), NoteOn(0.9, 64), NoteOn(1.2, 67), NoteOn(2.0, 69)])
    Service(bassist, port, FakeClock(), stop_when=after(3)).run()

    times = [e.at for e in bassist.heard]
    assert times == sorted(times)
    assert NoteOn(1.0, 64) in bassist.heard


def test_woken_late_an_arrival_is_heard_at_the_time_it_came() -> None:
    """Overslept by 50 ms a deadline is kept as of the key that came 10 ms after it, not later."""
    bassist = EchoBassist(length=0.25)
    port = FakePort([NoteOn(1.0, 60), NoteOn(1.26, 64), NoteOn(3.0, 67)])
    Service(bassist, port, FakeClock(oversleep=0.05), stop_when=after(2)).run()

    assert bassist.heard[:3] == [NoteOn(1.0, 60), Tick(1.26), NoteOn(1.26, 64)]


def test_lateness_is_told() -> None:
    """A clock that oversleeps by 2 ms makes every note 2 ms late, and the report says so."""
    port = FakePort([NoteOn(1.0, 60), NoteOn(2.0, 62), NoteOn(4.0, 62)])
    service = Service(EchoBassist(delay=0.5), port, FakeClock(oversleep=0.002), stop_when=after(2))
    report = service.run()

    assert report.notes == 2
    assert report.median_lateness == pytest.approx(0.002, abs=Lateness.BIN_SECONDS)
    assert report.worst_lateness == pytest.approx(0.002)


def test_quantiles_of_lateness() -> None:
    """Of a hundred notes, ninety-nine on time and one 50 ms late: p99 is small, the worst not."""
    late = Lateness()
    for _ in range(99):
        late.add(0.0001)
    late.add(0.05)

    assert late.quantile(0.5) == pytest.approx(0.0001, abs=2 * Lateness.BIN_SECONDS)
    assert late.quantile(0.99) == pytest.approx(0.0001, abs=2 * Lateness.BIN_SECONDS)
    assert late.quantile(1.0) == pytest.approx(0.05, abs=2 * Lateness.BIN_SECONDS)
    assert late.worst == 0.05
    assert Lateness().quantile(0.99) == 0.0


def test_an_endless_lateness_still_counts() -> None:
    """A note ten seconds late falls off the histogram, but not out of the report."""
    late = Lateness()
    late.add(10.0)

    assert late.worst == 10.0
    assert late.quantile(0.5) == 10.0


def test_listeners_hear_everything_the_bassist_says() -> None:
    """A listener's queue gets each note and its release, the last one included."""
    heard: SimpleQueue[Outgoing] = SimpleQueue()
    port = FakePort([NoteOn(1.0, 60), NoteOn(1.1, 62)])
    Service(EchoBassist(), port, FakeClock(), on_outgoing=heard.put, stop_when=after(1)).run()

    first, second = heard.get_nowait(), heard.get_nowait()
    assert isinstance(first, Play)
    assert isinstance(second, Release)
    assert first.note == second.note == 36


class Failing(EchoBassist):
    """A bassist that breaks down on the note E."""

    def receive(self, event: Incoming) -> list[Outgoing]:
        """Echo, or break down."""
        if isinstance(event, NoteOn) and event.note % 12 == 4:
            raise RuntimeError("no E")
        return super().receive(event)


def test_an_error_leaves_no_note_hanging() -> None:
    """When the bassist breaks down in the middle of a note, the note ends and the port closes."""
    port = FakePort([NoteOn(1.0, 60), NoteOn(1.1, 64)])
    with pytest.raises(RuntimeError, match="no E"):
        Service(Failing(), port, FakeClock()).run()

    assert port.sent == [
        NoteOn(1.0, 36, 80),
        NoteOff(1.1, 36),
        Control(1.1, ALL_NOTES_OFF, 0),
        "closed",
    ]


class Sliding(EchoBassist):
    """A bassist that slides into each note, and breaks down on the note E."""

    def receive(self, event: Incoming) -> list[Outgoing]:
        """Bend down, echo; or break down while bent."""
        if isinstance(event, NoteOn) and event.note % 12 == 4:
            raise RuntimeError("no E")
        slide = [Bend(event.at, 0.0, -2.0)] if isinstance(event, NoteOn) else []
        return [*slide, *super().receive(event)]


RANGE_OF_TWELVE = [Control(0.0, number, value) for number, value in bend_range_messages(12)]


def test_the_far_end_is_told_the_range_and_never_left_bent() -> None:
    """First the range, then the wheel at rest; and at rest again when all breaks down."""
    port = FakePort([NoteOn(1.0, 60), NoteOn(1.1, 64)])
    with pytest.raises(RuntimeError, match="no E"):
        Service(Sliding(), port, FakeClock(), bend_range=12).run()

    assert port.sent == [
        *RANGE_OF_TWELVE,
        PitchBend(0.0, 8192),
        PitchBend(1.0, 8192 - 1365),
        NoteOn(1.0, 36, 80),
        PitchBend(1.1, 8192),
        NoteOff(1.1, 36),
        Control(1.1, ALL_NOTES_OFF, 0),
        "closed",
    ]


def test_without_a_range_no_bend_is_sent() -> None:
    """A synth that was told nothing would bend by whatever it likes."""
    port = FakePort([NoteOn(1.0, 60)])
    Service(Sliding(), port, FakeClock(), stop_when=lambda o: isinstance(o, Release)).run()

    assert not any(isinstance(message, PitchBend) for message in port.sent)


class Signalled(EchoBassist):
    """A bassist whose process gets a signal while the first note sounds."""

    def __init__(self, number: int) -> None:
        super().__init__(length=60)
        self.number = number

    def next_deadline(self) -> float | None:
        """When the first note sounds, raise the signal."""
        if self.heard:
            signal.raise_signal(self.number)
        return super().next_deadline()


@pytest.mark.parametrize(
    "name",
    [n for n in ("SIGINT", "SIGTERM", "SIGHUP", "SIGQUIT", "SIGTSTP") if hasattr(signal, n)],
)
def test_a_signal_leaves_no_note_hanging(name: str) -> None:
    """Ctrl-C, Ctrl-Z or a request to leave, in mid note: note off, silence, handlers back."""
    number = getattr(signal, name)
    before = signal.getsignal(number)
    port = FakePort([NoteOn(1.0, 60)])
    report = Service(Signalled(number), port, FakeClock()).run()

    assert report.signal == number
    assert isinstance(port.sent[0], NoteOn)
    assert hanging(port.sent) == set()
    assert port.sent[-1] == "closed"
    assert signal.getsignal(number) is before


def test_a_lost_system_is_told() -> None:
    """When the MIDI system goes away the run ends, saying so."""
    port = FakePort()
    port.lost = "the JACK server went away"
    with pytest.raises(PortLost, match="went away"):
        Service(EchoBassist(), port, FakeClock()).run()

    assert port.sent[-1] == "closed"


def test_the_interpreter_is_left_as_found() -> None:
    """While it plays threads take turns sooner and tables are not collected; then as before."""
    chores: list[tuple[float, bool]] = []

    class Watching(EchoBassist):
        """It looks how the interpreter is set."""

        def receive(self, event: Incoming) -> list[Outgoing]:
            """Look, and play."""
            chores.append((sys.getswitchinterval(), gc.get_freeze_count() > 0))
            return super().receive(event)

    before = sys.getswitchinterval()
    Service(Watching(), FakePort([NoteOn(1.0, 60)]), FakeClock(), stop_when=after(0)).run()

    assert chores[0] == (pytest.approx(SWITCH_SECONDS), True)
    assert (sys.getswitchinterval(), gc.get_freeze_count()) == (before, 0)


def test_the_loop_port_plays_a_script_from_any_moment() -> None:
    """Events queued from second 10 on happen ten seconds later, and answers reach the far end."""
    sent: list[object] = []
    port = LoopPort(sent.append)
    port.play([NoteOn(1.0, 60), NoteOn(2.0, 62)], start_at=10.0)
    Service(EchoBassist(), port, FakeClock(), stop_when=after(1)).run()

    assert sent[0] == NoteOn(11.0, 36, 80)
    assert port.closed


# Naming ------------------------------------------------------------------------------------

NAMES = ("Midi Through:0", "Stage Piano:In", "Stage Piano:Out", "Stage Piano")


def test_a_port_is_named_by_an_unambiguous_part() -> None:
    """Part of a name does, in any case; a whole name wins over longer ones that hold it."""
    assert pick("through", NAMES, "input") == 0
    assert pick("piano:out", NAMES, "input") == 2
    assert pick("Stage Piano", NAMES, "input") == 3


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("organ", "no MIDI input is called 'organ'; there are: 'Midi Through:0', 'Stage"),
        ("piano", "'piano' fits more than one MIDI input; say which: 'Stage Piano:In', 'Stage"),
    ],
)
def test_a_name_that_fails_is_told_with_what_would_do(name: str, sentence: str) -> None:
    """A name that fits none or several ports gets a sentence that lists them."""
    with pytest.raises(UnknownPort, match=sentence):
        pick(name, NAMES, "input")


@pytest.mark.parametrize(
    ("attention", "heard"),
    [
        (Attention(), {0, 3}),
        (Attention(channel=3), {3}),
        (Attention(channel=9), {9}),
        (Attention(split=60), set()),
    ],
)
def test_drums_are_no_chords_unless_they_are_asked_for(
    attention: Attention, heard: set[int]
) -> None:
    """Channel 10 is the drummer's; a clock is heard whatever else is."""
    struck = [NoteOn(0.0, 60, 80, channel) for channel in (0, 3, 9)]

    assert {event.channel for event in struck if attention.heeds(event)} == heard
    assert attention.heeds(ClockTick(0.0))


# The wrappers ------------------------------------------------------------------------------


class FakeWrapper:
    """RtMidi without a driver: `heard` plays the driver's thread."""

    def __init__(self) -> None:
        self.names: list[str] = []
        self.sent: list[bytes] = []
        self.opened: list[int | None] = []
        self.heard: Callable[[Sequence[int]], None] = lambda _message: None

    def inputs(self) -> list[str]:
        """None, if nobody says otherwise."""
        return list(self.names)

    def outputs(self) -> list[str]:
        """None."""
        return []

    def listen(self, index: int | None, heard: Callable[[Sequence[int]], None]) -> None:
        """Remember who listens."""
        self.opened.append(index)
        self.heard = heard

    def leave(self) -> None:
        """Forget the listener."""
        self.heard = lambda _message: None

    def aim(self, index: int | None) -> None:
        """Remember the port."""
        self.opened.append(index)

    def send(self, data: bytes) -> None:
        """Remember the bytes."""
        self.sent.append(data)

    def close(self) -> None:
        """Forget the listener."""
        self.leave()


def test_arrivals_are_stamped_in_the_callback() -> None:
    """An arrival carries the time of the driver's call, not of its reading."""
    clock = FakeClock(5.0)
    wrapper = FakeWrapper()
    port = rtmidi_wrapper.RtmidiPort(wrapper, clock.now, None, 3)
    wrapper.heard([0x90, 60, 100])
    clock.time = 9.0
    wrapper.heard([0xF8])
    wrapper.heard([0xFE])
    port.send(NoteOff(9.0, 36, 1))

    assert wrapper.opened == [None, 3]
    assert port.inbox.get_nowait() == NoteOn(5.0, 60, 100)
    assert port.inbox.get_nowait() == ClockTick(9.0)
    assert port.inbox.empty()
    assert wrapper.sent == [b"\x81\x24\x40"]


class Stubborn(FakeWrapper):
    """A driver that fails at opening or sending, and counts how often it is closed."""

    def __init__(self, fails_at: str) -> None:
        super().__init__()
        self._fails_at = fails_at
        self.closed = 0

    def _may_fail(self, at: str) -> None:
        if at == self._fails_at:
            raise OSError("device is busy")

    def listen(self, index: int | None, heard: Callable[[Sequence[int]], None]) -> None:
        """Fail or listen."""
        self._may_fail("in")
        super().listen(index, heard)

    def aim(self, index: int | None) -> None:
        """Fail or open."""
        self._may_fail("out")
        super().aim(index)

    def send(self, data: bytes) -> None:
        """Fail or send."""
        self._may_fail("send")
        super().send(data)

    def close(self) -> None:
        """Count it."""
        self.closed += 1


@pytest.mark.parametrize("kind", ["in", "out"])
def test_a_port_that_another_program_has_is_said_to_be_taken(kind: str) -> None:
    """One sentence, with what would do; nothing is left half open."""
    wrapper = Stubborn(kind)
    sentence = rf"the MIDI {kind}put did not open \(device is busy\); close .* with --{kind}"
    with pytest.raises(PortTaken, match=sentence):
        rtmidi_wrapper.RtmidiPort(wrapper, FakeClock(5.0).now, 0, 0)

    assert wrapper.closed == 1


def test_an_output_that_is_pulled_out_ends_the_playing_with_a_sentence() -> None:
    """Sending says nothing itself, so that the notes that sound can still be let go."""
    port = rtmidi_wrapper.RtmidiPort(Stubborn("send"), FakeClock(5.0).now, 0, 0)
    port.send(NoteOff(9.0, 36, 1))

    assert port.lost is not None
    assert port.lost.startswith("the MIDI output went away (device is busy)")


@pytest.mark.parametrize("wrapper", [rtmidi_wrapper.PythonRtmidi, rtmidi_wrapper.Rtmidi2])
def test_clock_and_active_sensing_are_asked_for(wrapper: type) -> None:
    """Both wrappers drop them otherwise, and a keyboard that is unplugged would never be missed."""
    asked: list[dict[str, bool]] = []

    class Side:
        """An input or output that opens whatever it is told to."""

        def ignore_types(self, **kinds: bool) -> None:
            """Remember it."""
            asked.append(kinds)

        def __getattr__(self, name: str) -> Callable[..., None]:
            """Do nothing."""
            return lambda *_: None

    sides = SimpleNamespace(MidiIn=lambda *_, **__: Side(), MidiOut=lambda *_, **__: Side())
    wrapper(sides, 0).listen(None, lambda _message: None)

    (kinds,) = asked
    assert [ignored for name, ignored in kinds.items() if "sysex" not in name] == [False, False]


def test_a_keyboard_that_broke_its_promise_is_told_of_on_every_system(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Its keys come up, and the player hears why the bass is about to rest."""
    looks: list[Callable[[], None]] = []
    monkeypatch.setattr(rtmidi_wrapper, "Lookout", looks.append)
    clock, wrapper, said = FakeClock(5.0), FakeWrapper(), list[str]()
    port = rtmidi_wrapper.RtmidiPort(wrapper, clock.now, None, 3)
    port.tell = said.append
    wrapper.heard([0xFE])
    wrapper.heard([0xFE])
    looks[0]()
    assert (said, port.inbox.empty()) == ([], True)

    clock.time = 6.0
    looks[0]()
    assert said == [FELL_SILENT]
    assert tuple(port.inbox.get_nowait() for _ in range(port.inbox.qsize())) == let_go(6.0)


# The rehearsal -----------------------------------------------------------------------------


def test_the_rehearsal_has_changes_worth_hearing() -> None:
    """Sixteen bars not in C, with minor, dominant, slash and diminished chords."""
    script = rehearsal.changes()
    families = {c.chord.family for c in script}

    assert rehearsal.BARS >= 16
    assert rehearsal.KEY.tonic != 0
    assert {Family.MINOR, Family.DOMINANT, Family.DIMINISHED, Family.HALF_DIMINISHED} <= families
    assert any(c.chord.bass != c.chord.root for c in script)
    assert script[0].beat == 0


@pytest.mark.parametrize("bars", [4, 16, 40])
def test_the_rehearsal_lasts_as_long_as_asked(bars: int) -> None:
    """The form repeats or is cut to the bars wanted; every key that goes down comes up."""
    played = rehearsal.events(120, 1, bars)
    times = [e.at for e in played]

    assert times == sorted(times)
    assert isinstance(played[0], NoteOn)
    assert played[0].at == 0
    assert played[-1] == Stop(bars * 2.0)
    assert hanging(e for e in played if isinstance(e, NoteOn | NoteOff)) == set()


def test_the_rehearsal_plays_what_it_says() -> None:
    """The notes struck on a change are tones of its chord, all of them, its bass lowest."""
    beat = 60 / 90
    struck = [e for e in rehearsal.events(90, 5) if isinstance(e, NoteOn)]
    for change in rehearsal.changes():
        start = float(change.beat) * beat
        notes = [e.note for e in struck if start - 0.001 <= e.at < start + 0.1]
        wanted = change.chord.pitch_classes | {change.chord.bass}
        assert {n % 12 for n in notes} == wanted
        assert min(notes) % 12 == change.chord.bass


def test_the_rehearsal_is_the_same_for_the_same_seed() -> None:
    """One seed, one performance; another seed, another."""
    assert rehearsal.events(100, 1) == rehearsal.events(100, 1)
    assert rehearsal.events(100, 1) != rehearsal.events(100, 2)


def test_the_right_hand_leads_its_voices() -> None:
    """From chord to chord no right-hand voice leaps more than a fifth."""
    beat = 60 / 100
    struck = [e for e in rehearsal.events(100, 3) if isinstance(e, NoteOn)]
    before: set[int] = set()
    for change in rehearsal.changes():
        start = float(change.beat) * beat
        hand = {e.note for e in struck if start - 0.001 <= e.at < start + 0.1 and e.note >= 58}
        if before:
            assert all(min(abs(n - b) for b in before) <= 7 for n in hand)
        before = hand


# JACK's stream of frames -------------------------------------------------------------------


def test_a_late_audio_thread_does_not_move_the_stream() -> None:
    """Calls that come up to 4 ms late do not make the notes of their period late."""
    stream = StreamTime()
    period = 0.005
    for i in range(1000):
        late = 0.004 * (i * 7 % 10) / 10
        start = stream.start_of(i * period, 50.0 + i * period + late)
        if i > 10:
            assert start == pytest.approx(50.0 + i * period, abs=1e-6)


def test_a_drift_between_the_clocks_is_followed() -> None:
    """A sound card that runs 100 parts in a million slow is followed to 0.15 ms."""
    stream = StreamTime()
    period = 0.005
    for i in range(5000):
        true = 50.0 + i * period * 1.0001
        start = stream.start_of(i * period, true + 0.002 * (i % 3))
        assert start == pytest.approx(true, abs=0.000_15) or i < 3


def test_a_stream_that_begins_anew_is_found_again() -> None:
    """When the frame counter starts from 0 again, after about a day, the stream is refound."""
    stream = StreamTime()
    stream.start_of(89_478.0, 100_000.0)

    assert stream.start_of(0.0, 100_000.005) == pytest.approx(100_000.005)


@pytest.mark.parametrize("stood", [0.01, 0.02, 0.08, 0.2, 2.0])
@pytest.mark.parametrize("late", [0.0, 0.003])
def test_after_an_overrun_the_first_period_is_in_its_place(stood: float, late: float) -> None:
    """A server that stood for a while goes on later, by as much, and the next chord is in time."""
    stream = StreamTime()
    period = 256 / 48_000
    for i in range(450):
        stream.start_of(i * period, 50.0 + i * period + late * (i % 3 == 0))
    for i in range(450, 1000):
        true = 50.0 + stood + i * period
        assert stream.start_of(i * period, true) == pytest.approx(true, abs=1e-6)


def test_an_overrun_too_short_to_be_told_is_found_within_an_eighth_of_a_second() -> None:
    """One of 4 ms may be a driver that woke late; when it stays so, the stream has moved."""
    stream = StreamTime()
    period = 256 / 48_000
    for i in range(450):
        stream.start_of(i * period, 50.0 + i * period)
    stands = [stream.start_of(i * period, 50.004 + i * period) for i in range(450, 473)]

    assert stands[0] == pytest.approx(50.0 + 450 * period, abs=1e-6)
    assert stands[-1] == pytest.approx(50.004 + 472 * period, abs=1e-6)


def test_who_is_held_up_while_asking_takes_it_for_no_overrun() -> None:
    """Between two looks at the clock 30 ms went by: the period began where the others say."""
    stream = StreamTime()
    for i in range(100):
        stream.start_of(i * 0.005, 50.0 + i * 0.005)

    assert stream.start_of(0.5, 50.53, 50.5) == pytest.approx(50.5)
    assert stream.start_of(0.505, 50.505) == pytest.approx(50.505)
