"""The command line: what it prints, what it says about mistakes, and how it ends."""

from __future__ import annotations

import io
import json
import multiprocessing
import os
import signal
import subprocess
import sys
import tracemalloc
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from threading import Event
from types import ModuleType, SimpleNamespace

import mido
import pytest
from rich.console import Console

from engine.events import Beat, ChangeExpected, ChordHeard, KeyHeard, Outgoing, Play, Release, Rest
from engine.line.grades import Grade
from engine.score import BassNote, Role
from engine.theory.harmony import QUALITY_BY_HARTE, Chord, Key
from engine.theory.meter import Metre
from ports import onlookers
from ports.__main__ import main as begin
from ports.cli import groundling, main
from ports.commands.words import heading_of
from ports.drivers import jack_client, rtmidi_wrapper
from ports.files import create
from ports.onlookers import Onlookers, Voice
from ports.screen import Screen
from ports.trace import LiveTrace
from ports.view import FOR_THE_SEQUENCER, Log, Picture, can_be_drawn_on, canvas_for
from presets import loader, own

GROUNDLING = [sys.executable, "-c", "from ports.cli import main; main()"]
ROOT = Path(__file__).parent.parent

HIDE_CURSOR, SHOW_CURSOR = b"\x1b[?25l", b"\x1b[?25h"

# The first terminal that the leader of a session opens becomes its own, on Linux.
TAKES_TERMINAL = "import os; os.open(os.ttyname(0), os.O_RDWR); from ports.cli import main; main()"

STRINGS = (28, 33, 38, 43)
E_FLAT = Key(3)
F_MINOR_7 = Chord.of(5, QUALITY_BY_HARTE["min7"])
B_FLAT_7 = Chord.of(10, QUALITY_BY_HARTE["7"])
ROOT_NOTE = BassNote(
    Fraction(0), Fraction(1), 41, 0.8, Role.ROOT, "F: the root of Fm7", 1, 13, F_MINOR_7
)


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    """Run a command: its exit status, what it printed, what it complained of."""
    with pytest.raises(SystemExit) as ended:
        main([str(a) for a in arguments])
    said = capsys.readouterr()
    return int(ended.value.code or 0), said.out, said.err


def two_chords(path: Path, bars: int = 8) -> Path:
    """A MIDI file with Fm7 and Bb7 in turn, a bar each at 96, in a track called Keys."""
    file = mido.MidiFile(ticks_per_beat=480)
    head = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(96))])
    keys = mido.MidiTrack([mido.MetaMessage("track_name", name="Keys")])
    for bar in range(bars):
        notes = ((53, 60, 63, 68), (46, 62, 65, 68))[bar % 2]
        keys += [mido.Message("note_on", note=n, velocity=72) for n in notes]
        keys += [
            mido.Message("note_off", note=n, time=0 if i else 1920) for i, n in enumerate(notes)
        ]
    file.tracks += [head, keys]
    file.save(path)
    return path


# Mistakes a person can mend -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        (["--split", "H4"], "'H4' is no split point; give a note from C1 to C8, such as C4 or 60"),
        (["--lead", "99"], "'99' will not do; give 0 to 16"),
        (["--bend", "99"], "'99' will not do; give 0 to 24"),
        (["--only-channel", "17"], "'17' will not do; give 1 to 16"),
        (["--chart", "nowhere.txt"], "nowhere.txt cannot be read (No such file or directory)"),
    ],
)
def test_what_is_told_wrongly_is_said(
    options: list[str], sentence: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A split point, lead, channel or chart that is none gets its sentence and status 2."""
    status, _, complaint = run(capsys, "replay", two_chords(tmp_path / "song.mid"), *options)

    assert status == 2
    assert sentence in complaint
    assert "Traceback" not in complaint


def test_a_chart_is_read_to_a_megabyte_and_no_further(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """No song is longer; what never ends is left soon, and what is in the way said."""
    bars = b"| Fm7 | Bb7 |\n"
    chart, song = tmp_path / "chart.txt", two_chords(tmp_path / "song.mid")
    how = ("replay", song, "--chart", chart)
    with_content(chart, bars + b"\n" * (1_000_000 - len(bars)))
    longest = run(capsys, *how)[0]
    with_content(chart, b"\0" * 20_000_000)
    tracemalloc.start()
    status, _, complaint = run(capsys, *how)
    _, used = tracemalloc.get_traced_memory()
    tracemalloc.stop()

    assert (longest, status) == (0, 2)
    assert "chart.txt is over a megabyte, as no chart is; give a text file" in complaint
    assert used < 10_000_000


def with_content(path: Path, content: bytes) -> Path:
    """A file with this in it."""
    path.write_bytes(content)
    return path


MISTAKES = [
    (["play", "--preset", "soull"], "there is no preset soull"),
    (["play", "--preset", "."], "'.' is a folder, not a preset file; give a file, or a name"),
    (["play", "--seed", "x"], "'x' will not do; give a whole number"),
    (["replay", "SONG", "--seed", "1.5"], "'1.5' will not do; give a whole number"),
    (["replay", ""], "'FILE.mid': the name is empty; give that of a file"),
    (["explain", ""], "'FILE': the name is empty; give that of a file"),
    (["replay", "SONG", "--out", ""], "'--out': the name is empty"),
    (["replay", "SONG", "--trace", ""], "'--trace': the name is empty"),
    (["replay", "SONG", "--chart", ""], "'--chart': the name is empty"),
    (["play", "--trace", ""], "'--trace': the name is empty"),
    (["play", "--tempo", "900"], "'900' is no tempo; give 30 to 300 beats a minute"),
    (["play", "--tempo", "nan"], "'nan' is no tempo"),
    (["play", "--channel", "17"], "Invalid value for '--channel': '17' will not do; give 1 to 16"),
    (["play", "--bars", "a few"], "'a few' will not do; give 1 to 9999"),
    (["play", "--in", " "], "the name is empty; groundling ports lists those that there are"),
    (["play", "--clock", "atomic"], "'atomic'"),
    (["play", "--in", "No Such Piano"], ""),
    (["play", "--rehearse", "--clock", "external"], "leave out --clock external"),
    (["play", "--clock", "external", "--count-in", "1"], "the sequencer counts"),
    (["play", "--clock", "external", "--tempo", "90"], "the sequencer sets the pace"),
    (["play", "--rehearse", "--trace", "nowhere/t.jsonl"], "nowhere/t.jsonl cannot be written"),
    (["play", "--loud"], "--loud"),
    (["play", "--grade", "8"], "'8' is no grade; give 1 (roots) to 7 (everything)"),
    (["replay", "SONG", "--grade", "easy"], "'easy' is no grade"),
    (["rehearse"], "No such command 'rehearse'; see groundling --help"),
    (
        ["play", "--key", "Eb"],
        "there is no --key here: the key is heard, and a chart can name it, with a",
    ),
    (["replay", "x.mid", "--tempo", "90"], "there is no --tempo here: the file has its own tempo"),
    (["replay"], "FILE.mid"),
    (["replay", "SONG", "--clock", "slow"], "give file, or 30 to 300 beats a minute"),
    (["replay", "SONG", "--tracks", "Piano"], "no track 'Piano'; there are: Keys"),
    (["replay", "SONG", "--tracks", ""], "no track ''; there are: Keys"),
    (["replay", "SONG", "--split", "C1"], "no key of the file is left to hear; leave them out"),
    (["explain", "SONG", "--only-channel", "7"], "no key of the file is left to hear"),
    (["replay", "SONG", "--preset", "broken.yaml"], "broken.yaml line 3"),
    (["replay", "SONG", "--preset", "swing.yaml"], "give 0.5 to 0.75"),
    (["replay", "SONG", "--out", "nowhere/bass.mid"], "nowhere/bass.mid cannot be written"),
    (["replay", "SONG", "--trace", "nowhere/t.jsonl"], "nowhere/t.jsonl cannot be written"),
    (["replay", "SONG", "--out", "SONG"], "is the song itself"),
    (["replay", "SONG", "--chart", "chart.txt", "--trace", "chart.txt"], "is the chart itself"),
    (["replay", "SONG", "--preset", "mine.yaml", "--out", "mine.yaml"], "is the preset itself"),
    (["replay", "SONG", "--out", "new.mid", "--trace", "./new.mid"], "give each its own"),
    (["play", "--preset", "mine.yaml", "--trace", "mine.yaml"], "is the preset itself"),
    (["replay", "text.mid"], "text.mid is not a MIDI file"),
    (["replay", "empty.mid"], "empty.mid is empty"),
    (["replay", "silent.mid"], "silent.mid has no notes"),
    (["replay", "missing.mid"], "there is no file missing.mid"),
    (["replay", "."], "not a MIDI file"),
    (["presets", "show", "rok"], "did you mean rock"),
    (["presets", "check", "missing.yaml"], "'missing.yaml' is not there; give a file, or a name"),
    (["presets", "check", "."], "'.' is a folder, not a preset file"),
    (["presets", "check", ""], "'' is not there"),
    (["presets", "new", "soul"], "soul comes with Groundling; give another name, such as my-soul"),
    (["presets", "show", ""], "there is no preset ''"),
    (["presets", "check", "swing.yaml"], "feel.swing is 3"),
]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A working folder with a song and every sort of broken file."""
    monkeypatch.chdir(tmp_path)
    two_chords(tmp_path / "song.mid")
    with_content(tmp_path / "broken.yaml", b"rhythm:\n  grid: [eighths\nfigures: }\n")
    rock = (ROOT / "presets" / "rock.yaml").read_text("utf-8")
    with_content(tmp_path / "mine.yaml", rock.encode())
    swing = [line for line in rock.splitlines() if not line.startswith("  swing:")]
    at = swing.index("feel:") + 1
    with_content(
        tmp_path / "swing.yaml", "\n".join([*swing[:at], "  swing: 3", *swing[at:]]).encode()
    )
    with_content(tmp_path / "text.mid", b"Fm7 | Bb7 | Eb\n")
    with_content(tmp_path / "chart.txt", b"| Fm7 | Bb7 |\n")
    with_content(tmp_path / "empty.mid", b"")
    mido.MidiFile(tracks=[mido.MidiTrack()]).save(tmp_path / "silent.mid")
    return tmp_path


@pytest.mark.parametrize(
    ("arguments", "sentence"), MISTAKES, ids=lambda v: " ".join(v) if isinstance(v, list) else ""
)
@pytest.mark.usefixtures("folder")
def test_a_mistake_gets_one_sentence(
    capsys: pytest.CaptureFixture[str], arguments: list[str], sentence: str
) -> None:
    """What a person can mend ends with status 2 and one line that says what is wrong."""
    status, out, err = run(capsys, *(a.replace("SONG", "song.mid") for a in arguments))

    assert status == 2
    assert sentence in err
    assert out == ""
    assert err.count("\n") == 1


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="the shell closes the screen")
def test_it_plays_without_a_screen() -> None:
    """Started in the background with its output closed it plays all the same."""
    command = 'exec "$0" -m ports play --rehearse --bars 1 --tempo 300 >&-'
    done = subprocess.run(
        ["/bin/sh", "-c", command, sys.executable],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )

    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.slow
def test_it_plays_to_its_end_although_nobody_reads_what_it_tells() -> None:
    """As in `groundling play | true`: the music goes on, and nothing has gone wrong."""
    ours, theirs = os.pipe()
    os.close(ours)
    done = subprocess.run(
        [*GROUNDLING, "play", "--rehearse", "--bars", "1", "--tempo", "300"],
        stdout=theirs, stderr=subprocess.PIPE, timeout=60, cwd=ROOT, check=False,
    )  # fmt: skip
    os.close(theirs)

    assert (done.returncode, done.stderr) == (0, b"")


def test_a_fault_of_ours_is_owned(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, folder: Path
) -> None:
    """Where the program itself breaks, it says so, ends with 1, and keeps its traceback back."""

    def broken(_name: str) -> None:
        raise ZeroDivisionError("a bar of no beats")

    monkeypatch.setattr("presets.loader.load", broken)
    status, _, err = run(capsys, "replay", folder / "song.mid")

    assert status == 1
    assert "fault of ours" in err
    assert "a bar of no beats" in err
    assert "Traceback" not in err


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="only Linux has a disk that is full")
@pytest.mark.usefixtures("folder")
def test_a_full_disk_is_not_our_fault(capsys: pytest.CaptureFixture[str]) -> None:
    """What the system refuses is passed on as the system's word."""
    status, _, err = run(capsys, "replay", "song.mid", "--trace", "/dev/full")

    assert status == 2
    assert "No space left on device" in err


def test_without_a_command_the_help_is_shown(capsys: pytest.CaptureFixture[str]) -> None:
    """Whoever types the bare name learns what there is."""
    status, out, _ = run(capsys)

    assert status == 0
    assert "groundling play" in out


def test_debug_shows_where_an_error_arose(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    """With --debug the traceback comes before the sentence."""
    status, _, err = run(capsys, "--debug", "replay", folder / "text.mid")

    assert status == 2
    assert err.startswith("Traceback")


# What the commands do -------------------------------------------------------------------------


@pytest.mark.parametrize("command", [[], *([name] for name in groundling.commands)])
def test_every_help_text_has_examples(
    capsys: pytest.CaptureFixture[str], command: list[str]
) -> None:
    """A command's help shows how it is typed."""
    status, out, _ = run(capsys, *command, "--help")

    assert status == 0
    assert f"  groundling {' '.join(command)}".rstrip() in out.split("Example", 1)[1]


def test_presets_are_listed_and_shown(capsys: pytest.CaptureFixture[str]) -> None:
    """Each preset in the list can be printed, as the file it is."""
    _, listed, _ = run(capsys, "presets")
    names = [line.split()[0] for line in listed.splitlines()]

    assert {"rock", "soul", "walking"} <= set(names)
    for name in names:
        status, out, _ = run(capsys, "presets", "show", name)
        assert status == 0
        assert out == (ROOT / "presets" / f"{name}.yaml").read_text("utf-8")


def test_a_sound_preset_is_called_so(capsys: pytest.CaptureFixture[str]) -> None:
    """Checking a file that ships says it is sound."""
    status, out, _ = run(capsys, "presets", "check", ROOT / "presets" / "walking.yaml")

    assert status == 0
    assert "walking.yaml is sound" in out


def test_ports_says_what_play_would_open(capsys: pytest.CaptureFixture[str]) -> None:
    """Whatever the machine has, the last line says what play would do."""
    status, out, _ = run(capsys, "ports")

    assert status == 0
    assert "play" in out.splitlines()[-1]


def test_where_there_is_no_midi_system_it_is_said_what_would_do(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """By the list of ports as by play, which does not begin where a port was asked for."""
    monkeypatch.setattr(jack_client, "look", lambda: None)
    monkeypatch.setattr(jack_client, "connect", lambda _: None)
    monkeypatch.setattr(rtmidi_wrapper, "system_name", lambda: None)
    status, _, complaint = run(capsys, "play", "--in", "Stage Piano")
    remedy = "start JACK or PipeWire, or load ALSA's sequencer (modprobe snd-seq)"

    assert status == 2
    assert complaint.startswith("groundling: this machine has no MIDI system: ")
    assert remedy in complaint
    assert remedy in run(capsys, "ports")[1]


def test_replay_writes_part_and_trace(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    """Two chords in turn are heard as changes, and part and trace tell the same notes."""
    status, out, _ = run(
        capsys, "replay", "song.mid", "--out", "bass.mid", "--trace", "t.jsonl", "--seed", 1
    )
    facts = [json.loads(line) for line in (folder / "t.jsonl").read_text("utf-8").splitlines()]
    played = [f for f in facts if f["type"] == "note"]
    bass = [m for m in mido.MidiFile(folder / "bass.mid").tracks[1] if m.type == "note_on"]

    assert status == 0
    assert "8 changes" in out
    assert {f["label"].split(":")[0] for f in facts if f["type"] == "chord"} == {"F", "Bb"}
    assert [f["pitch"] for f in played] == [m.note for m in bass]
    assert all(a["until"] <= b["time"] + 1e-6 for a, b in pairwise(played))


@pytest.mark.slow
def test_a_file_has_slides_as_bends_on_request(
    capsys: pytest.CaptureFixture[str], folder: Path
) -> None:
    """With a range the wheel moves and ends at rest; without one it never moves."""
    wheels = []
    for more in ((), ("--bend", 12)):
        run(capsys, "replay", "song.mid", "--preset", "neo-soul", "--seed", 1, "--out", "b.mid",
            *more)  # fmt: skip
        track = mido.MidiFile(folder / "b.mid").tracks[1]
        wheels.append([m.pitch for m in track if m.type == "pitchwheel"])

    assert wheels[0] == []
    assert wheels[1]
    assert wheels[1][-1] == 0


@pytest.mark.slow
@pytest.mark.parametrize("preset", loader.names())
@pytest.mark.usefixtures("folder")
def test_every_preset_plays(capsys: pytest.CaptureFixture[str], preset: str) -> None:
    """Each style that ships plays the changes, one note at a time, on the strings it has."""
    status, _, _ = run(capsys, "replay", "song.mid", "--preset", preset, "--out", "bass.mid")
    track = mido.MidiFile("bass.mid").tracks[1]
    told = [m.type for m in track if m.type in ("note_on", "note_off")]
    notes = [m.note for m in track if m.type == "note_on"]
    style = loader.load(preset)

    assert status == 0
    assert told == ["note_on", "note_off"] * len(notes)
    assert len(notes) >= 8
    assert style.register.lowest <= min(notes)
    assert max(notes) <= style.register.highest


@pytest.mark.usefixtures("folder")
def test_replay_by_the_same_seed_is_the_same(capsys: pytest.CaptureFixture[str]) -> None:
    """The same file and seed give the same bytes, part and trace."""
    for name in ("a", "b"):
        run(capsys, "replay", "song.mid", "--seed", 7, "--out", f"{name}.mid",
            "--trace", f"{name}.jsonl")  # fmt: skip

    assert Path("a.mid").read_bytes() == Path("b.mid").read_bytes()
    assert Path("a.jsonl").read_bytes() == Path("b.jsonl").read_bytes()


@pytest.mark.usefixtures("folder")
def test_replay_without_the_files_clock(capsys: pytest.CaptureFixture[str]) -> None:
    """With a tempo of its own the bassist still begins on the first chord."""
    status, out, _ = run(capsys, "replay", "song.mid", "--clock", "96", "--trace", "t.jsonl")
    lines = Path("t.jsonl").read_text("utf-8").splitlines()
    first = next(f for f in map(json.loads, lines) if f["type"] == "note")

    assert status == 0
    assert "8 changes" in out
    assert first["time"] < 0.06
    assert first["pitch"] % 12 == 5


# The rehearsal, in real time ------------------------------------------------------------------


@pytest.mark.slow
def test_rehearsal_ends_by_itself_with_a_summary(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A bar of rehearsal is played, counted and reported, and its trace can be explained."""
    status, out, _ = run(
        capsys, "play", "--rehearse", "--bars", 1, "--tempo", 300, "--quiet", "--seed", 3,
        "--trace", tmp_path / "take.jsonl",
    )  # fmt: skip

    assert status == 0
    assert out.count("\n") == 1
    assert "chord" in out
    assert "p99 lateness" in out
    assert "seed 3" in out
    assert "Bar 1 (4/4, Eb major): " in run(capsys, "explain", tmp_path / "take.jsonl")[1]


def traced(
    capsys: pytest.CaptureFixture[str], folder: Path, *options: object, song: Path | None = None
) -> tuple[list[dict[str, object]], str]:
    """What a replay of a song, or else of Fm7 and Bb7, traces, and its summary."""
    trace = folder / "trace.jsonl"
    song = song or two_chords(folder / "song.mid")
    status, summary, _ = run(
        capsys, "replay", song, "--seed", 1, "--grade", 1, "--trace", trace, *options
    )
    assert status == 0
    return [json.loads(line) for line in trace.read_text().splitlines()], summary


def first_on(lines: list[dict[str, object]], reason: str) -> int:
    """The beat, to the nearest, on which a note of that reason begins first."""
    beats = [line["beat"] for line in lines if line.get("reason") == reason]
    return round(float(str(beats[0])))


def test_chords_sent_early_are_played_when_they_are_due(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With --lead 1 the second bar's chord sounds a beat later; who answers it is not judged."""
    due, summary = traced(capsys, tmp_path)
    early, early_summary = traced(capsys, tmp_path, "--lead", 1)

    assert first_on(due, "Bb: the root of Bb7") == 4
    assert first_on(early, "Bb: the root of Bb7") == 5
    assert "8 changes (100% of them begun on the new root), " in summary
    assert "8 changes, " in early_summary


def test_a_chart_names_the_key_of_a_replay(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Before any cadence the key is the one that the chart has in its header."""
    (tmp_path / "chart.txt").write_text("key: Ab\n| Fm7 | Bb7 |\n")
    lines, _ = traced(capsys, tmp_path, "--chart", tmp_path / "chart.txt")

    assert next(line["label"] for line in lines if line["type"] == "key") == "Ab:maj"


def test_only_the_channel_asked_for_is_heard(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Channels count from 1, as players count them, and what is on the others is left out."""
    song = mido.MidiFile(two_chords(tmp_path / "song.mid"))
    other = mido.MidiTrack(
        m.copy(channel=1, note=m.note - 3) for m in song.tracks[1] if not m.is_meta
    )
    song.tracks.append(other)
    song.save(tmp_path / "two.mid")

    def heard(channel: int) -> set[object]:
        lines, _ = traced(capsys, tmp_path, "--only-channel", channel, song=tmp_path / "two.mid")
        return {line["symbol"] for line in lines if line["type"] == "chord"}

    assert heard(1) == {"Fm7", "Bb7"}
    assert heard(2) == {"Dm7", "G7"}


def test_an_old_trace_outlives_a_mistyped_port(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Where play cannot begin, the trace of the last time is as it was."""
    trace = tmp_path / "take.jsonl"
    trace.write_text("of last time\n")
    status, _, _ = run(capsys, "play", "--in", "No Such Piano", "--trace", trace)

    assert status == 2
    assert trace.read_text() == "of last time\n"


@pytest.mark.slow
def test_a_style_that_is_written_for_another_metre_says_so(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A waltz played in four is cut to fit, and nobody wonders why it sounds so."""
    how = ("--rehearse", "--bars", 1, "--tempo", 300, "--quiet", "--seed", 3)
    status, _, complaint = run(capsys, "play", "--preset", "jazz-waltz", *how)

    assert status == 0
    assert complaint == ("preset jazz-waltz is written for 3/4; its figures are cut to fit 4/4\n")


@pytest.mark.parametrize("choice", [("--only-channel", "2"), ("--split", "C2")])
def test_a_rehearsal_that_nobody_would_hear_is_not_begun(
    capsys: pytest.CaptureFixture[str], choice: tuple[str, str]
) -> None:
    """Its player is on the first channel, and no key lies below C2: it would never end."""
    status, said, complaint = run(capsys, "play", "--rehearse", "--bars", 1, *choice)

    assert (status, said) == (2, "")
    assert "no key of the rehearsal is left to hear; leave them out" in complaint


@pytest.mark.parametrize(
    ("metre", "pace"),
    [("4/4", "90 bpm"), ("3/4", "90 bpm"), ("12/8", "90 quarter notes a minute")],
)
def test_a_tempo_is_told_as_it_is_counted(metre: str, pace: str) -> None:
    """In 12/8 nobody feels quarter notes, so it is said that these are meant."""
    heading = heading_of(loader.load("soul"), Metre.of(metre), 90.0, taps=False)

    assert heading == f"preset soul, {metre}, {pace}"


def test_ctrl_c_while_a_command_is_loaded_only_ends_the_program(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A traceback through half a library tells a player nothing; later the command line speaks."""
    found: dict[str, object] = {}

    class CommandLine(ModuleType):
        """A command line that takes long to load, so that it can be asked then."""

        def __getattr__(self, name: str) -> Callable[[], None]:
            found[f"loading {name}"] = signal.getsignal(signal.SIGINT)
            return lambda: found.update(running=signal.getsignal(signal.SIGINT))

    monkeypatch.setitem(sys.modules, "ports.cli", CommandLine("ports.cli"))
    begin()

    assert found["loading main"] is signal.SIG_DFL
    assert found["running"] is signal.default_int_handler


def test_the_picture_is_drawn_by_one_who_does_not_hear_ctrl_c(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """It is for the player to act on; a drawing that is still loading would die of it, loudly."""
    heard: list[object] = []

    class Drawing:
        """A process that hears of Ctrl-C what the one hears that begins it."""

        def __init__(self, **_facts: object) -> None: ...

        def start(self) -> None:
            """Begin."""
            heard.append(signal.getsignal(signal.SIGINT))

    context = SimpleNamespace(Pipe=multiprocessing.Pipe, Process=Drawing)
    monkeypatch.setattr(multiprocessing, "get_context", lambda _: context)
    Picture("preset soul", STRINGS)

    assert heard == [signal.SIG_IGN]
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="signals as a terminal sends them are POSIX")
def test_ctrl_c_ends_the_rehearsal_with_a_summary() -> None:
    """Interrupted in the middle, it ends with status 0 and says how it went."""
    process = subprocess.Popen(
        [*GROUNDLING, "play", "--rehearse", "--tempo", "300"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT,
    )  # fmt: skip
    assert process.stdout is not None
    heading, first_bar = process.stdout.readline(), process.stdout.readline()
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=10)

    assert process.returncode == 0
    assert heading.rstrip().endswith("300 bpm")
    assert first_bar.startswith("bar 1")
    assert " heard, " in out.splitlines()[-1]
    assert err == ""


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="there are named pipes on POSIX only")
@pytest.mark.parametrize("how", ["SIGTERM", "SIGHUP"])
def test_a_replay_that_is_told_to_leave_leaves_nothing_half_written(
    tmp_path: Path, how: str
) -> None:
    """Terminated while it plays, or its terminal closed, it takes what it had begun with it."""
    song, trace = two_chords(tmp_path / "song.mid", bars=64), tmp_path / "trace"
    os.mkfifo(trace)  # it is written to as it is, and fills up: the replay waits for a reader
    process = subprocess.Popen(
        [*GROUNDLING, "replay", song, "--out", tmp_path / "bass.mid", "--trace", trace],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT,
    )  # fmt: skip
    with trace.open() as lines:
        begun = lines.readline()
        while_playing = {path.name for path in tmp_path.iterdir()}
        process.send_signal(getattr(signal, how))
        lines.read()
    out, err = process.communicate(timeout=10)

    assert begun
    assert ".bass.mid.part" in while_playing
    assert process.returncode == 128 + getattr(signal, how)
    assert {path.name for path in tmp_path.iterdir()} == {"song.mid", "trace"}
    assert out + err == ""


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="how one takes a terminal differs elsewhere")
@pytest.mark.parametrize("key", [b"\x03", b"\x1c", b"\x1a"], ids=["C", "backslash", "Z"])
def test_on_a_terminal_ctrl_with_a_key_ends_the_picture_too(key: bytes) -> None:
    """The terminal tells it to everyone; the picture is left tidy, with the summary below it."""
    keyboard, theirs = os.openpty()
    process = subprocess.Popen(
        [sys.executable, "-c", TAKES_TERMINAL, "play", "--rehearse", "--tempo", "200"],
        stdin=theirs, stdout=theirs, stderr=theirs, cwd=ROOT,
        env={**os.environ, "TERM": "xterm"}, start_new_session=True,
    )  # fmt: skip
    os.close(theirs)
    drawn, pressed = b"", False
    with suppress(OSError):  # how Linux says that the other end of a terminal was closed
        while chunk := os.read(keyboard, 4096):
            drawn += chunk
            if not pressed and b"bar 2" in drawn:
                os.write(keyboard, key)
                pressed = True
    os.close(keyboard)

    assert process.wait(10) == 0
    assert b"bar 12" not in drawn
    assert drawn.rindex(SHOW_CURSOR) > drawn.rindex(HIDE_CURSOR)
    assert drawn.rindex(b" heard, ") > drawn.rindex(b"beat")


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="there are pseudo-terminals on POSIX only")
def test_on_a_terminal_the_picture_is_drawn() -> None:
    """On a terminal bar, key, chord and neck are drawn, and the summary stands below."""
    ours, theirs = os.openpty()
    process = subprocess.Popen(
        [*GROUNDLING, "play", "--rehearse", "--tempo", "200", "--bars", "2"],
        stdout=theirs, stderr=theirs, cwd=ROOT, env={**os.environ, "TERM": "xterm"},
    )  # fmt: skip
    os.close(theirs)
    drawn = b""
    try:
        while chunk := os.read(ours, 4096):
            drawn += chunk
    except OSError:  # how Linux says that the other end of a terminal was closed
        pass
    os.close(ours)

    assert process.wait(10) == 0
    text = drawn.decode()
    for part in ("bar 2", "heard", "next", "Eb", "●", " heard, "):
        assert part in text


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="there are pseudo-terminals on POSIX only")
@pytest.mark.parametrize("kind", ["xterm", "dumb"])
def test_who_closes_the_terminal_has_ended_the_playing(kind: str) -> None:
    """Nobody reads the summary any more, and nothing has gone wrong: its status is 0."""
    ours, theirs = os.openpty()
    process = subprocess.Popen(
        [*GROUNDLING, "play", "--rehearse", "--tempo", "300"],
        stdout=theirs, stderr=theirs, cwd=ROOT, env={**os.environ, "TERM": kind},
    )  # fmt: skip
    os.close(theirs)
    shown = b""
    while b"bar 1" not in shown:
        shown += os.read(ours, 4096)
    os.close(ours)
    process.send_signal(signal.SIGHUP)  # what the system sends with it

    assert process.wait(10) == 0


class Terminal(io.TextIOWrapper):
    """A terminal with the letters of an encoding, or what only looks like one."""

    def __init__(self, encoding: str, *, real: bool = True) -> None:
        super().__init__(io.BytesIO(), encoding)
        self._real = real

    def isatty(self) -> bool:
        """Whether somebody sits before it."""
        return self._real


@pytest.mark.parametrize(
    ("kind", "there", "drawn"),
    [
        ("xterm", Terminal("utf-8"), True),
        ("linux", Terminal("utf-8"), True),
        ("xterm", Terminal("utf-8", real=False), False),
        ("dumb", Terminal("utf-8"), False),
        ("xterm", Terminal("latin-1"), False),
        ("xterm", Terminal("ascii"), False),
        ("xterm", None, False),
    ],
    ids=["utf-8", "console", "file", "dumb", "latin-1", "ascii", "closed"],
)
def test_a_picture_is_drawn_where_it_can_be_seen(
    monkeypatch: pytest.MonkeyPatch, kind: str, there: Terminal | None, *, drawn: bool
) -> None:
    """Elsewhere a line is written for each bar: an editor's shell cannot draw, nor can Latin-1."""
    monkeypatch.setenv("TERM", kind)
    for name in ("FORCE_COLOR", "TTY_COMPATIBLE"):
        monkeypatch.delenv(name, raising=False)

    assert can_be_drawn_on(there) is drawn


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="there are pseudo-terminals on POSIX only")
@pytest.mark.parametrize(
    "setting", [{"TERM": "dumb"}, {"TERM": "xterm", "PYTHONIOENCODING": "ascii"}], ids=str
)
def test_where_nothing_can_be_drawn_there_are_lines(
    tmp_path: Path, setting: dict[str, str]
) -> None:
    """The bars are told while they are played, and a letter that is lacking is a question mark."""
    soul = (ROOT / "presets" / "soul.yaml").read_bytes()
    preset = with_content(tmp_path / "späte-schicht.yaml", soul)
    ours, theirs = os.openpty()
    done = subprocess.run(
        [*GROUNDLING, "play", "--rehearse", "--tempo", "300", "--bars", "1", "--preset", preset],
        stdout=theirs, stderr=subprocess.PIPE, timeout=60, cwd=ROOT, check=False,
        env={**os.environ, "PYTHONIOENCODING": "utf-8", **setting},
    )  # fmt: skip
    os.close(theirs)
    lines = os.read(ours, 65536).decode().splitlines()
    os.close(ours)

    assert (done.returncode, done.stderr) == (0, b"")
    assert lines[0].startswith(("preset späte-schicht, 4/4", "preset sp?te-schicht, 4/4"))
    assert any(line.startswith("bar 1, Eb major: ") for line in lines)


# What is seen -----------------------------------------------------------------------------------


def played(at: float) -> Play:
    """The note F on the lowest string, on beat 1."""
    return Play(at, 0.0, 41, 90, ROOT_NOTE)


HAPPENING: list[Outgoing] = [
    Beat(0.0, 0.0, 1, 1),
    KeyHeard(0.0, 0.0, E_FLAT, 0.81),
    ChordHeard(0.0, 0.0, F_MINOR_7, E_FLAT, 0.93),
    ChangeExpected(0.0, 0.0, 4.0, B_FLAT_7, E_FLAT, 0.62),
    played(0.01),
]


def seen(screen: Screen) -> str:
    """The picture as plain text."""
    out = io.StringIO()
    Console(file=out, width=100).print(screen)
    return out.getvalue()


def test_screen_shows_what_a_player_wants_to_know() -> None:
    """Bar, beat, key, chord, next chord with its confidence, and the note with its role."""
    screen = Screen("preset soul", STRINGS)
    for each in HAPPENING:
        screen.take(each)
    picture = seen(screen)

    for part in ("bar 1  beat 1", "Eb major 81%", "Fm7", "Bb7", "62%", "in 4 beats", "F2 root"):
        assert part in picture
    assert picture.splitlines()[9].count("●") == 1  # the lowest string is drawn last


def test_screen_forgets_a_change_that_is_due() -> None:
    """Once its beat has come, an expected change is expected no longer."""
    screen = Screen("", STRINGS)
    for each in [*HAPPENING, Release(0.5, 1.0, 41), Beat(2.4, 4.0, 2, 1)]:
        screen.take(each)

    assert "Bb7" not in seen(screen)
    assert "●" not in seen(screen)


def test_screen_waits_for_a_chord_while_the_bass_rests() -> None:
    """It shows no count that does not go on, and nothing that is expected."""
    screen = Screen("", STRINGS)
    for each in [*HAPPENING, Release(0.5, 1.0, 41), Rest(2.4, 4.0)]:
        screen.take(each)

    picture = seen(screen)
    assert "play a chord to begin" in picture
    assert "bar" not in picture
    assert "Bb7" not in picture


def test_what_is_waited_for_is_said() -> None:
    """Under a clock no chord begins the song: the sequencer does, if it is started now."""
    heard = KeyHeard(0.0, 0.0, E_FLAT, 0.81)
    told = "start the sequencer to begin; if it runs already, stop it first"
    screen, lines = Screen("", STRINGS, FOR_THE_SEQUENCER), list[str]()
    screen.take(heard)
    waiting = seen(screen)
    screen.take(HAPPENING[0])
    canvas_for("preset soul", STRINGS, lines.append, terminal=False, external=True)

    assert f"{told}  Eb major 81%" in waiting
    assert "sequencer" not in seen(screen)
    assert lines == ["preset soul", told]


def test_a_heading_that_nobody_reads_keeps_nothing_from_beginning() -> None:
    """Whoever was to read it has left; what follows is told as well as it goes."""

    def nobody_reads(_sentence: str) -> None:
        raise BrokenPipeError

    log = canvas_for("preset soul", STRINGS, nobody_reads, terminal=False, external=True)

    assert isinstance(log, Log)


def test_log_tells_the_last_bar_when_the_bass_rests() -> None:
    """Its line does not wait for the next chord, and comes once."""
    lines: list[str] = []
    log = Log(lines.append)
    for each in [*HAPPENING, Rest(2.4, 4.0), Beat(30.0, 0.0, 1, 1)]:
        log.take(each)

    assert lines == ["bar 1, Eb major: Fm7: F2 root; expects Bb7 (62%)"]


def test_log_tells_a_bar_in_a_line() -> None:
    """Without a terminal there is a line for each bar that is over."""
    lines: list[str] = []
    log = Log(lines.append)
    for each in [*HAPPENING, Beat(2.4, 4.0, 2, 1)]:
        log.take(each)

    assert lines == ["bar 1, Eb major: Fm7: F2 root; expects Bb7 (62%)"]


def test_a_note_that_leads_is_named_as_it_leads() -> None:
    """A semitone below F is E in D flat too, as explain has it."""
    below = replace(
        ROOT_NOTE, note=28, role=Role.APPROACH_BELOW, aims_at=5,
        reason="E: a semitone below F, the bass note to come",
    )  # fmt: skip
    lines: list[str] = []
    log = Log(lines.append)
    led: list[Outgoing] = [
        KeyHeard(0.0, 0.0, Key(1), 0.9), Beat(0.0, 0.0, 1, 1), Play(0.1, 0.2, 28, 90, below),
        Beat(2.4, 4.0, 2, 1),
    ]  # fmt: skip
    for each in led:
        log.take(each)

    assert lines == ["bar 1, Db major: same chord: E1 approach from below"]


def test_a_sentence_for_the_player_is_shown_and_said() -> None:
    """It stands below the picture, in the log as a line, and is said even where nobody looks on."""
    screen, lines, said = Screen("preset mine", STRINGS), list[str](), list[str]()
    screen.take("mine.yaml line 3: no")
    Log(lines.append).say("mine.yaml line 3: no")
    onlookers = Onlookers(Voice(said.append))
    onlookers.say("mine.yaml line 3: no")
    onlookers.close()

    assert seen(screen).rstrip().endswith("mine.yaml line 3: no")
    assert lines == said == ["mine.yaml line 3: no"]


def test_a_lost_terminal_does_not_stop_the_others() -> None:
    """When one canvas fails, the others still hear everything."""

    class Gone:
        """A terminal that was closed."""

        def take(self, _outgoing: object) -> None:
            """Fail as a closed terminal does."""
            raise BrokenPipeError

        def close(self) -> None:
            """Nothing to close."""

    lines: list[str] = []
    onlookers = Onlookers(Log(lines.append), Gone())
    for each in HAPPENING:
        onlookers.show(each)
    onlookers.close()

    assert len(lines) == 1


class Held(Log):
    """A canvas that shows nothing until it is let go."""

    def __init__(self) -> None:
        self.shown: list[Outgoing] = []
        super().__init__(list[str]().append)
        self.let_go = Event()

    def take(self, outgoing: Outgoing) -> None:
        """Wait."""
        self.let_go.wait()
        self.shown.append(outgoing)
        super().take(outgoing)


def test_a_terminal_that_is_held_still_holds_up_no_trace() -> None:
    """While one canvas waits, the others are shown everything."""

    class Ends(Log):
        """A canvas that tells when it was shown the last."""

        def take(self, outgoing: Outgoing) -> None:
            """Let go of the terminal at the end."""
            super().take(outgoing)
            if outgoing is HAPPENING[-1]:
                held.let_go.set()

    held = Held()
    onlookers = Onlookers(held, Ends(list[str]().append))
    for each in HAPPENING:
        onlookers.show(each)

    assert held.let_go.wait(5.0)
    onlookers.close()


def test_a_trace_that_is_left_behind_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Who reads it has stopped to: it is not waited for long, and not taken for whole."""
    monkeypatch.setattr(onlookers, "LEAVE_SECONDS", 0.05)
    said: list[str] = []
    held, whole = Held(), Log(list[str]().append)
    audience = Onlookers(Voice(said.append), whole, held)
    for each in HAPPENING:
        audience.show(each)
    audience.close()
    held.let_go.set()

    assert said == ["the trace is not whole: what it is written to did not take all of it in time"]


def test_what_is_held_still_for_an_evening_goes_on_with_the_newest(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """So much waits and no more: the oldest is left out, and of a trace that is told."""
    monkeypatch.setattr(onlookers, "MOST_WAITING", 10)
    said: list[str] = []
    held = Held()
    audience = Onlookers(Voice(said.append), held)
    beats = [Beat(0.5 * beat, float(beat), beat // 4 + 1, beat % 4 + 1) for beat in range(100)]
    for each in beats:
        audience.show(each)
    held.let_go.set()
    audience.close()

    assert held.shown[-10:] == beats[-10:]
    assert len(held.shown) <= 11  # one was in hand
    assert said == [onlookers.NOT_WHOLE]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no disk that is always full here")
def test_a_trace_on_a_full_disk_is_told_and_the_playing_goes_on() -> None:
    """Said once, with the file's name, where the player looks."""
    said: list[str] = []
    trace = LiveTrace(create(Path("/dev/full")), loader.load("soul"), Grade.EVERYTHING, 1)
    onlookers = Onlookers(Voice(said.append), trace)
    for each in HAPPENING * 200:
        onlookers.show(each)
    onlookers.close()

    (sentence,) = said
    assert sentence.startswith("/dev/full cannot be written any more (No space left on device)")


def test_the_screen_draws_the_strings_that_there_are() -> None:
    """Five from the start, or as many as another style is played on later."""
    five = Screen("", (23, *STRINGS))
    assert [line[:2] for line in seen(five).splitlines()[6:11]] == ["G ", "D ", "A ", "E ", "B "]

    screen = Screen("", STRINGS[:3])
    high = replace(ROOT_NOTE, note=45, string=4, fret=2)
    screen.take(Play(0.01, 1.0, 45, 90, high))
    assert [line[:2] for line in seen(screen).splitlines()[6:10]] == ["G ", "D ", "A ", "E "]


def expected_at(trace: Path) -> dict[float, tuple[float, float]]:
    """For each beat at which a change was expected: when that was first known, and how surely."""
    told: dict[float, tuple[float, float]] = {}
    for line in trace.read_text().splitlines():
        fact = json.loads(line)
        if fact["type"] == "expect":
            told.setdefault(fact["at_beat"], (fact["beat"], fact["confidence"]))
    return told


def test_a_chart_foretells_the_first_change(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With the song written down the very first change is expected before it is heard."""
    (tmp_path / "song.txt").write_text("key: Eb\n| Fm7 | Bb7 | Fm7 | Bb7 |\n")
    song, trace = two_chords(tmp_path / "song.mid"), tmp_path / "song.jsonl"
    status, _, _ = run(
        capsys, "replay", song, "--chart", tmp_path / "song.txt", "--trace", trace, "--seed", 1
    )

    assert status == 0
    known, surely = expected_at(trace)[4.0]
    assert known < 3.5
    assert surely > 0.5


@pytest.mark.slow
def test_a_split_leaves_the_right_hand_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A melody above the split, a tritone off, does not mislead the bass below it."""
    song = mido.MidiFile(two_chords(tmp_path / "song.mid"))
    melody = mido.MidiTrack()
    for note in (83, 76) * 16:
        melody += [mido.Message("note_on", note=note, velocity=90)]
        melody += [mido.Message("note_off", note=note, time=480)]
    song.tracks.append(melody)
    song.save(tmp_path / "both.mid")

    parts = []
    for name, how in (("song.mid", ()), ("both.mid", ("--split", "C5")), ("both.mid", ())):
        out = tmp_path / "bass.mid"
        assert run(capsys, "replay", tmp_path / name, *how, "--seed", 1, "--out", out)[0] == 0
        parts.append([str(message) for message in mido.MidiFile(out).tracks[1]])

    assert parts[1] == parts[0] != parts[2]


def test_a_grade_makes_the_part_easier(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """In the first grade a walking bass plays nothing but roots, in the last it walks."""
    song, trace = two_chords(tmp_path / "song.mid"), tmp_path / "song.jsonl"
    roles = {}
    for grade in (1, 7):
        how = ("--preset", "walking", "--grade", grade, "--seed", 1, "--trace", trace)
        assert run(capsys, "replay", song, *how)[0] == 0
        facts = map(json.loads, trace.read_text("utf-8").splitlines())
        roles[grade] = {fact["role"] for fact in facts if fact["type"] == "note"}

    assert roles[1] == {"root"}
    assert {"root", "fifth"} < roles[7]


def test_a_preset_of_ones_own_is_begun_checked_and_listed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Begun from soul under a name, it is found by that name everywhere, and begun only once."""
    for name in ("HOME", "APPDATA", "XDG_CONFIG_HOME"):
        monkeypatch.setenv(name, str(tmp_path))

    assert run(capsys, "presets", "new", "late-shift", "--from", "soul")[0] == 0
    assert "sound" in run(capsys, "presets", "check", "late-shift")[1]
    assert "late-shift" in run(capsys, "presets")[1]
    assert "Begun from soul" in run(capsys, "presets", "show", "late-shift")[1]
    status, _, complaint = run(capsys, "presets", "new", "late-shift")
    assert (status, "is there already" in complaint) == (2, True)


def test_a_preset_in_place_of_a_shipped_one_is_marked_as_the_players(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A rock of one's own stands in the list once, where rock stands, and as one's own."""
    for home in ("HOME", "APPDATA", "XDG_CONFIG_HOME"):
        monkeypatch.setenv(home, str(tmp_path))
    own.folder().mkdir(parents=True)
    (own.folder() / "rock.yaml").write_text(
        (ROOT / "presets" / "rock.yaml").read_text("utf-8"), "utf-8"
    )
    _, listed, _ = run(capsys, "presets")
    lines = [line for line in listed.splitlines() if line.startswith("rock ")]

    assert len(lines) == 1
    assert "(your own):" in lines[0]
