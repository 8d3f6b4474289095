"""The command play: what each of its options does to what is sent, on a clock that jumps."""

from __future__ import annotations

import json
from bisect import insort_left
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from engine.events import Control, Incoming, NoteOff, NoteOn, Start, Stop
from engine.line.grades import Grade
from engine.theory.pitch import note_of_name
from ports import midi
from ports.booking import Booking, booked
from ports.cli import main
from ports.commands import play
from ports.echo import COMES_BACK
from ports.port import Message, PitchBend
from ports.wire import BEND_AT_REST
from tests.band import BEAT_SECONDS, clock, comping, in_time
from tests.fakes import FakeClock, FakePort

CHANGES = "Fm7 Bb7 Ebmaj7 Cm7"
BAR = 4 * BEAT_SECONDS

Playing = Callable[..., list[Message]]


class InOrderOfTime:
    """An inbox with a script in it, where what is put in while it plays stands at its time."""

    def __init__(self, script: Iterable[Incoming]) -> None:
        self._waiting = list(script)

    def put(self, event: Incoming) -> None:
        """Before what comes later, or at the same time."""
        insort_left(self._waiting, event, key=lambda each: each.at)

    def empty(self) -> bool:
        """Whether all has been played."""
        return not self._waiting

    def get_nowait(self) -> Incoming:
        """The next event."""
        return self._waiting.pop(0)


@pytest.fixture
def playing(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Playing:
    """Play grade 1, the roots, to keys at 120 on our own ports, and return what was sent."""

    def run(
        *options: object, keys: Iterable[Incoming] | None = None, port: FakePort | None = None
    ) -> list[Message]:
        port = port or FakePort()
        port.inbox = InOrderOfTime(comping(CHANGES) if keys is None else keys)  # type: ignore[assignment]
        monkeypatch.setattr(play, "SystemClock", FakeClock)
        monkeypatch.setattr(midi, "open_port", lambda *_: port)
        usual = ("--seed", 1, "--grade", 1, "--bars", 4, "--quiet")
        how = (*usual, "--trace", tmp_path / "take.jsonl", *options)
        with pytest.raises(SystemExit) as ended:
            main(["play", *(str(each) for each in how)])
        assert ended.value.code == 0
        return [each for each in port.sent if not isinstance(each, str)]

    return run


def bass(sent: Iterable[Message]) -> list[NoteOn]:
    """The notes that begin."""
    return [each for each in sent if isinstance(each, NoteOn)]


def roots(sent: Iterable[Message], root: int) -> list[float]:
    """When, in felt beats at 120, the notes of one pitch class begin."""
    return [each.at / BEAT_SECONDS for each in bass(sent) if each.note % 12 == root]


def traced(folder: Path, kind: str) -> list[dict[str, object]]:
    """The lines of one kind in the trace of what was played last."""
    lines = (folder / "take.jsonl").read_text().splitlines()
    return [line for line in map(json.loads, lines) if line["type"] == kind]


def test_the_bass_is_sent_on_its_channel(playing: Playing) -> None:
    """--channel counts from 1; note ons, note offs and the last silence are all on it."""
    sent = playing("--tempo", 120, "--channel", 3)

    assert len(bass(sent)) > 3
    assert {each.channel for each in sent if isinstance(each, NoteOn | NoteOff | Control)} == {2}


def test_the_tempo_is_the_one_given(playing: Playing) -> None:
    """The root of the second bar sounds where bar 2 begins: 2 s at 120, 4 s at 60."""
    slow = [replace(each, at=each.at * 2) for each in comping(CHANGES)]

    assert roots(playing("--tempo", 120), 10)[0] == pytest.approx(4, abs=0.1)
    assert roots(playing("--tempo", 60, keys=slow), 10)[0] == pytest.approx(8, abs=0.2)


@pytest.mark.parametrize(
    ("options", "bar"),
    [((), 3.2), (("--tempo", "100"), 2.4), (("--count-in", "1"), 2.4), (("--chart", "song"), 2.4)],
    ids=["tapped", "told", "counted in", "in the chart"],
)
def test_the_tempo_may_be_tapped(
    playing: Playing, tmp_path: Path, options: Sequence[str], bar: float
) -> None:
    """One key at 75 for a bar, and chords: so fast go the bars, if nothing else is said."""
    chart = tmp_path / "song"
    chart.write_text("tempo: 100\n| Fm7 | Bb7 | Ebmaj7 | Cm7 |", encoding="utf-8")
    taps = [e for i in range(4) for e in (NoteOn(i * 0.8, 72), NoteOff(i * 0.8 + 0.1, 72))]
    how = [chart if each == "song" else each for each in options]
    playing("--bars", 3, *how, keys=in_time(taps, comping(CHANGES, start=3.2)))

    first, second, *_ = (float(str(line["time"])) for line in traced(tmp_path, "bar"))
    assert second - first == pytest.approx(bar, abs=0.01)


@pytest.mark.parametrize(
    ("split", "channel", "heard"),
    [
        (None, None, True),
        (note_of_name("C4"), None, False),
        (None, 3, True),
        (note_of_name("D4"), None, True),
        (note_of_name("C5"), None, True),
    ],
)
def test_taps_are_waited_for_only_where_they_are_heard(
    split: int | None, channel: int | None, *, heard: bool
) -> None:
    """They are struck above middle C, of which a split at C4 leaves nothing."""
    booking = booked(
        preset="soul", grade=Grade.EVERYTHING, chart=None, lead=0, seed=1,
        split=split, only_channel=channel,
    )  # fmt: skip

    assert booking.hears_taps is heard


@pytest.mark.parametrize(
    ("metre", "tapped"),
    [
        ("4/4", True), ("3/4", True), ("5/4", True), ("6/8", True), ("12/8", True), ("2/2", True),
        ("5/8", False), ("7/8", False), ("8/8", False), ("10/8", False), ("11/8", False),
    ],
)  # fmt: skip
def test_taps_are_waited_for_only_where_they_say_how_fast_it_goes(
    tmp_path: Path, metre: str, *, tapped: bool
) -> None:
    """Beats of two and of three eighths in one bar are not tapped evenly: nothing is promised."""
    chart = tmp_path / "chart.txt"
    chart.write_text(f"metre: {metre}\n| Fm7 | Bb7 |\n")
    booking = booked(
        preset="soul", grade=Grade.EVERYTHING, chart=chart, lead=0, seed=1,
        split=None, only_channel=None,
    )  # fmt: skip

    assert booking.hears_taps is tapped


def test_the_count_in_comes_first(playing: Playing, tmp_path: Path) -> None:
    """A bar is counted, and a chord struck a beat later is on beat 2; without, on beat 1."""
    keys = comping(CHANGES, start=BAR + BEAT_SECONDS)
    playing("--tempo", 120, "--count-in", 1, keys=keys)
    counted = traced(tmp_path, "note")[0]["beat"]
    playing("--tempo", 120, keys=keys)
    at_once = traced(tmp_path, "note")[0]["beat"]

    assert (counted, at_once) == (pytest.approx(1, abs=0.1), pytest.approx(0, abs=0.1))


@pytest.mark.slow
def test_chords_sent_early_are_played_when_they_are_due(playing: Playing) -> None:
    """With --lead 2 the chord of the second bar is struck on beat 4 and sounds on beat 6."""
    assert round(roots(playing("--tempo", 120), 10)[0]) == 4
    assert round(roots(playing("--tempo", 120, "--lead", 2), 10)[0]) == 6


@pytest.mark.slow
def test_a_note_in_doubt_waits_for_the_keys_as_long_as_the_pocket_is(playing: Playing) -> None:
    """Changes nobody could know, 20 ms late, are waited for, with --pocket 0 they are not."""
    changes = "Bb Gm7 Eb Ab Db Gb Cb E A D"
    late = [replace(each, at=each.at + 0.02 * (each.at > 0)) for each in comping(changes)]

    def firsts(*pocket: object) -> list[NoteOn]:
        sent = playing("--tempo", 120, "--bars", 10, *pocket, keys=late)
        return [next(e for e in bass(sent) if e.at > BAR * i - 0.05) for i in range(1, 10)]

    assert [each.note % 12 for each in firsts()] == [7, 3, 8, 1, 6, 11, 4, 9, 2]
    assert all(e.at < BAR * i + 0.02 for i, e in enumerate(firsts("--pocket", 0), start=1))


@pytest.mark.slow
def test_the_synth_is_told_how_far_it_is_bent(playing: Playing) -> None:
    """--bend 12 begins with registered parameter 0, the bend range, of twelve semitones."""
    how = ("--tempo", 120, "--grade", 7, "--bars", 16, "--preset", "neo-soul")
    keys = comping(f"{CHANGES} " * 4)
    bent, plain = playing(*how, "--bend", 12, keys=keys), playing(*how, keys=keys)
    told = [(each.controller, each.value) for each in bent if isinstance(each, Control)]

    assert told[:4] == [(101, 0), (100, 0), (6, 12), (38, 0)]
    assert any(isinstance(each, PitchBend) and each.value != BEND_AT_REST for each in bent)
    assert not any(isinstance(each, PitchBend) for each in plain)


def test_the_grade_is_the_one_asked_for(playing: Playing) -> None:
    """Grade 1 is roots and nothing else; grade 4 is the style's pattern."""
    tones = {each.note % 12 for each in bass(playing("--tempo", 120))}
    more = {each.note % 12 for each in bass(playing("--tempo", 120, "--grade", 4))}

    assert tones == {5, 10, 3, 0}
    assert more > tones


@pytest.mark.slow
def test_the_seed_repeats_a_performance(playing: Playing) -> None:
    """The same keys and seed give the same part, another seed another."""
    how = ("--tempo", 120, "--grade", 7)
    once, again, another = (playing(*how, "--seed", seed) for seed in (5, 5, 6))

    assert bass(once) == bass(again)
    assert bass(once) != bass(another)


def keys_moved(by: int, channel: int = 0) -> list[Incoming]:
    """The changes so many semitones up, on a channel."""
    keys = (each for each in comping(CHANGES) if isinstance(each, NoteOn | NoteOff))
    return [replace(each, note=each.note + by, channel=channel) for each in keys]


def test_other_channels_and_the_right_hand_are_left_out(playing: Playing, tmp_path: Path) -> None:
    """--only-channel and --split keep out what is not the chords, as in replay."""
    other = keys_moved(by=1, channel=4)
    both = in_time(comping(CHANGES), other)
    playing("--tempo", 120, "--only-channel", 1, keys=both)
    by_channel = [line["symbol"] for line in traced(tmp_path, "chord")]
    high = keys_moved(by=37)
    playing("--tempo", 120, "--split", "C5", keys=in_time(comping(CHANGES), high))
    by_split = [line["symbol"] for line in traced(tmp_path, "chord")]

    assert by_channel == by_split == ["Fm7", "Bb7", "Ebmaj7", "Cm7"]


def test_what_is_not_said_is_taken_from_the_chart(playing: Playing, tmp_path: Path) -> None:
    """Key, metre and tempo are the chart's, and what it has next is what is expected next."""
    chart = tmp_path / "chart.txt"
    chart.write_text("tempo: 150\nmetre: 3/4\nkey: Ab\n| Fm7 | Gb7 |\n")
    playing("--chart", chart, keys=comping("Fm7 Gb7 Fm7 Gb7", beats_each=2.4))
    bars = traced(tmp_path, "bar")
    expected = traced(tmp_path, "expect")[0]

    assert traced(tmp_path, "key")[0]["label"] == "Ab:maj"
    assert (bars[1]["metre"], bars[1]["beat"]) == ("3/4", 3)
    assert bars[2]["time"] == pytest.approx(2 * 3 * 60 / 150, abs=0.02)
    assert (expected["label"], expected["at_beat"]) == ("Gb:7", 3)


def test_a_tempo_that_is_said_goes_before_the_charts(playing: Playing, tmp_path: Path) -> None:
    """The chart is followed at 120, though it says 60."""
    chart = tmp_path / "chart.txt"
    chart.write_text("tempo: 60\n| Fm7 | Bb7 | Ebmaj7 | Cm7 |\n")

    assert round(roots(playing("--chart", chart, "--tempo", 120), 10)[0]) == 4


def test_so_many_bars_are_played_also_if_the_player_rests(playing: Playing, tmp_path: Path) -> None:
    """Bar 1 comes again with the chord after the rest, and is the seventh of nine."""
    keys = comping("Fm7 Bb7") + comping("Ebmaj7 Cm7 Fm7 Bb7", start=20.3)
    playing("--tempo", 120, "--bars", 9, keys=keys)

    assert [bar["bar"] for bar in traced(tmp_path, "bar")] == [1, 2, 3, 4, 5, 6, 1, 2, 3]


def test_a_sequencer_leads(playing: Playing) -> None:
    """With --clock external nothing is played before it starts, and then in its time."""
    keys = in_time(clock(16, start=3.0), comping(CHANGES, start=3.0))
    sent = playing("--clock", "external", keys=[*keys, Stop(12.0)])

    assert isinstance(keys[0], Start)
    assert bass(sent)[0].at == pytest.approx(3.0, abs=0.03)
    assert roots(sent, 10)[0] * BEAT_SECONDS == pytest.approx(3.0 + BAR, abs=0.03)


class Patched(FakePort):
    """A port whose bass is connected to its chords, by way of an audio server."""

    def send(self, message: Message) -> None:
        """Send it, and have it back a period later."""
        super().send(message)
        if isinstance(message, NoteOn | NoteOff):
            self.inbox.put(replace(message, at=message.at + 0.005))


def complaints(capsys: pytest.CaptureFixture[str]) -> list[str]:
    """What was said while the bass played."""
    return capsys.readouterr().err.splitlines()


@pytest.mark.parametrize("channel", [1, 5])
def test_a_bass_that_hears_itself_says_so(
    playing: Playing, capsys: pytest.CaptureFixture[str], channel: int
) -> None:
    """A patch bay that connects everything connects the bass to the chords: it would wander."""
    playing("--tempo", 120, "--channel", channel, "--bars", 8, port=Patched())

    assert complaints(capsys) == [COMES_BACK]


def test_a_bass_that_comes_back_unheard_is_no_matter(
    playing: Playing, capsys: pytest.CaptureFixture[str]
) -> None:
    """With the chords on a channel of their own it may be connected to anything."""
    playing("--tempo", 120, "--channel", 5, "--only-channel", 1, port=Patched())

    assert complaints(capsys) == []


@pytest.mark.slow
def test_a_left_hand_that_plays_what_the_bass_plays_is_no_echo(
    playing: Playing, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same roots at the same moments, bar for bar, but struck as fingers strike."""
    sent = bass(playing("--tempo", 120, "--bars", 8, keys=comping(f"{CHANGES} " * 2)))
    doubled = [e for n in sent for e in (replace(n, velocity=80), NoteOff(n.at + 0.4, n.note))]
    keys = in_time(comping(f"{CHANGES} " * 2), sorted(doubled, key=lambda each: each.at))
    playing("--tempo", 120, "--bars", 8, keys=keys)

    assert complaints(capsys) == []


class Breaking(FakePort):
    """A port whose system goes away with the fourth note."""

    def send(self, message: Message) -> None:
        """Send it, the last one for good."""
        super().send(message)
        if sum(isinstance(each, NoteOn) for each in self.sent) == 4:
            self.lost = "the JACK server went away (killed); start it and run groundling again"


def test_what_was_played_is_told_although_the_system_went_away(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """How it went, and the seed to have it again; the fault is said, and the status is 2."""
    monkeypatch.setattr(play, "SystemClock", FakeClock)
    monkeypatch.setattr(midi, "open_port", lambda *_: Breaking(comping(CHANGES)))
    with pytest.raises(SystemExit) as ended:
        main(["play", "--seed", "77", "--grade", "1", "--tempo", "120", "--quiet"])
    out, err = capsys.readouterr()

    assert ended.value.code == 2
    assert (
        err == "groundling: the JACK server went away (killed); start it and run groundling again\n"
    )
    assert "4 notes" in out
    assert out.endswith("seed 77\n")


@pytest.mark.parametrize(
    ("trace", "ill", "status"), [("take.jsonl", True, 1), ("nowhere/take.jsonl", False, 2)]
)
def test_a_performance_that_does_not_begin_leaves_no_port_open(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, trace: str, status: int, *, ill: bool
) -> None:
    """Whether the bassist does not come or the trace cannot be written."""

    def no_bassist(*_: object, **__: object) -> None:
        raise LookupError("is ill")

    port = FakePort()
    monkeypatch.setattr(midi, "open_port", lambda *_: port)
    if ill:
        monkeypatch.setattr(Booking, "bassist", no_bassist)
    with pytest.raises(SystemExit) as ended:
        main(["play", "--quiet", "--trace", str(tmp_path / trace)])

    assert ended.value.code == status
    assert port.sent == ["closed"]
