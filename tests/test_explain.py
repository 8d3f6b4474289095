"""Explaining: what is printed about a song, a trace, and about files that are neither."""

from __future__ import annotations

import json
import os
import re
import sys
from fractions import Fraction
from pathlib import Path

import mido
import pytest

from engine.score import BassNote, Role
from engine.theory.harmony import Chord
from engine.theory.meter import Metre
from ports.cli import groundling, main
from ports.files import FileError
from ports.played import played_in, read_played
from ports.tablature import DrawnBar, step_of, system
from presets.loader import names
from tests.band import voiced

CHANGES = "Ab | Fm7 | Bbm7 Eb7 | Ab/C | Dbmaj7 | Ddim7 | Ab/Eb F7b9 | Bbm7 Eb7 | Ab6"
ROOT = Path(__file__).parent.parent
FIVE_STRINGS = """rhythm:
  grid: eighths
  figures:
    - strokes: "X--- x---"
      tones: 1 5
neck:
  tuning: [B0, E1, A1, D2, G2]
register: {lowest: C1, highest: C3, home: E1}
"""


def song(path: Path, changes: str = CHANGES, metre: tuple[int, int] = (4, 4)) -> Path:
    """A MIDI file of block chords at 96, a bar between bar lines, "-" for one without a key."""
    file = mido.MidiFile(ticks_per_beat=480)
    keys = mido.MidiTrack(
        [
            mido.MetaMessage("time_signature", numerator=metre[0], denominator=metre[1]),
            mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(96)),
            mido.MetaMessage("track_name", name="Keys"),
        ]
    )
    waits = 0
    for bar in changes.split("|"):
        symbols = bar.split()
        if symbols == ["-"]:
            waits += 480 * 4 * metre[0] // metre[1]
            continue
        for symbol in symbols:
            ticks = 480 * 4 * metre[0] // metre[1] // len(symbols)
            notes = voiced(symbol)
            keys += [
                mido.Message("note_on", note=n, velocity=72, time=0 if i else waits)
                for i, n in enumerate(notes)
            ]
            waits = 0
            keys += [
                mido.Message("note_off", note=n, time=0 if i else ticks)
                for i, n in enumerate(notes)
            ]
    file.tracks.append(keys)
    file.save(path)
    return path


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    """Run a command: its exit status, what it printed, what it complained of."""
    with pytest.raises(SystemExit) as ended:
        main([str(a) for a in arguments])
    said = capsys.readouterr()
    return int(ended.value.code or 0), said.out, said.err


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A working folder with a song, its trace, and files that are neither."""
    monkeypatch.chdir(tmp_path)
    song(tmp_path / "song.mid")
    (tmp_path / "text.txt").write_text("Ab | Fm7\n")
    (tmp_path / "text.mid").write_text("Ab | Fm7\n")
    for name in ("empty.mid", "empty.jsonl"):
        (tmp_path / name).write_bytes(b"")
    (tmp_path / "other.json").write_text('{"chords": []}\n')
    (tmp_path / "bytes.jsonl").write_bytes(b'{"type": "\xff"}\n')
    style = json.dumps(looped()[0]) + "\n"
    (tmp_path / "silent.jsonl").write_text(style)
    (tmp_path / "old.jsonl").write_text('{"type": "note", "time": 0, "beat": 0}\n')
    (tmp_path / "torn.jsonl").write_text(style + '{"type": "note", "ti\n')
    (tmp_path / "odd.jsonl").write_text(
        style + '{"type": "bar", "time": 0, "beat": 0, "bar": 1, "metre": "4/4"}\n'
        '{"type": "note", "time": 0, "until": 1, "beat": 0, "bar": 1}\n'
    )
    (tmp_path / "five.yaml").write_text(FIVE_STRINGS)
    return tmp_path


@pytest.fixture(scope="module")
def traced(tmp_path_factory: pytest.TempPathFactory) -> str:
    """What replay traces of the song in the walking style."""
    where = tmp_path_factory.mktemp("traced")
    with pytest.raises(SystemExit):
        main(["replay", str(song(where / "song.mid")), "--preset", "walking", "--seed", "1",
              "--trace", str(where / "song.jsonl")])  # fmt: skip
    return (where / "song.jsonl").read_text()


@pytest.fixture
def trace(folder: Path, traced: str) -> Path:
    """The trace of the song in the walking style, beside it."""
    path = folder / "song.jsonl"
    path.write_text(traced)
    return path


MISTAKES = [
    (["missing.mid"], "there is no file missing.mid"),
    (["missing.jsonl"], "there is no file missing.jsonl"),
    (["."], "not a MIDI file"),
    (["text.mid"], "text.mid is not a MIDI file"),
    (["empty.mid"], "empty.mid is empty; give a MIDI file"),
    (["empty.jsonl"], "empty.jsonl is empty; give a MIDI file or a trace"),
    (["text.txt"], "text.txt is neither a MIDI file nor a trace"),
    (["other.json"], "other.json line 1 is no line of a trace"),
    (["bytes.jsonl"], "bytes.jsonl cannot be read as a trace"),
    (["silent.jsonl"], "silent.jsonl has no bass notes; there is nothing to explain"),
    (["old.jsonl"], "old.jsonl does not say in which style it was played"),
    (["torn.jsonl"], "torn.jsonl line 2 is no line of a trace"),
    (["odd.jsonl"], "odd.jsonl is damaged"),
    (["song.mid", "--preset", "soull"], "there is no preset soull"),
    (["song.mid", "--grade", "0"], "'0' is no grade; give 1 (roots) to 7 (everything)"),
    (["song.mid", "--split", "C1"], "no key of the file is left to hear; leave them out"),
    (["song.jsonl", "--grade", "3"], "song.jsonl is a trace, a part already played; leave out --g"),
    (["song.jsonl", "--seed", "3"], "leave out --seed"),
    (["song.jsonl", "--preset", "soul"], "was played in walking; leave out --preset soul"),
]


@pytest.mark.parametrize(
    ("arguments", "sentence"), MISTAKES, ids=lambda v: " ".join(v) if isinstance(v, list) else ""
)
@pytest.mark.usefixtures("trace")
def test_a_mistake_gets_one_sentence(
    capsys: pytest.CaptureFixture[str], arguments: list[str], sentence: str
) -> None:
    """What cannot be explained is answered with status 2 and one line that says why."""
    status, out, err = run(capsys, "explain", *arguments)

    assert (status, out, err.count("\n")) == (2, "", 1)
    assert sentence in err


@pytest.mark.skipif(sys.platform == "win32", reason="pipes have no path there")
@pytest.mark.parametrize("name", ["song.mid", "example.jsonl"])
def test_a_song_and_a_trace_may_come_through_a_pipe(
    capsys: pytest.CaptureFixture[str], folder: Path, name: str
) -> None:
    """What another program hands over is explained like a file, though it can be read but once."""
    trace = (ROOT / "docs" / "example.jsonl").read_bytes()
    (folder / "example.jsonl").write_bytes(trace)
    given = (folder / name).read_bytes()
    reading, writing = os.pipe()
    os.write(writing, given)
    os.close(writing)
    seed = ("--seed", 1) if name.endswith(".mid") else ()
    status, piped, complaint = run(capsys, "explain", f"/dev/fd/{reading}", *seed)
    os.close(reading)

    assert (status, complaint) == (0, "")
    assert piped == run(capsys, "explain", folder / name, *seed)[1]


def test_the_page_names_the_options_that_there_are() -> None:
    """docs/explain.md names all of explain's; but for the form of the answer they are replay's."""
    named = set(re.findall(r"`(--[a-z-]+)`", (ROOT / "docs" / "explain.md").read_text("utf-8")))
    explains, replays = (
        {option for parameter in groundling.commands[name].params for option in parameter.opts}
        for name in ("explain", "replay")
    )

    assert named == explains - {"file"}
    assert named - {"--json"} <= replays


@pytest.mark.slow
def test_a_song_and_its_trace_are_explained_alike(
    capsys: pytest.CaptureFixture[str], trace: Path
) -> None:
    """Keys are replayed as replay does, so the page is the same from either file."""
    how = ("--preset", "walking", "--seed", 1)
    for form in ((), ("--json",)):
        from_song = run(capsys, "explain", "song.mid", *how, *form)
        from_trace = run(capsys, "explain", trace, "--preset", "walking", *form)

        assert from_song[0] == 0
        assert from_trace == from_song


def test_every_note_of_the_trace_is_explained(
    capsys: pytest.CaptureFixture[str], trace: Path
) -> None:
    """As text each has a line, as JSON its place, string, fret and reason."""
    told = json.loads(run(capsys, "explain", trace, "--json")[1])
    explained = [(note["pitch"], note["string"], note["fret"], note["reason"])
                 for bar in told["bars"] for note in bar["notes"]]  # fmt: skip
    facts = [json.loads(line) for line in trace.read_text().splitlines()]
    played = [(f["pitch"], f["string"], f["fret"], f["reason"])
              for f in facts if f["type"] == "note" and f["until"] - f["time"] > 0.03]  # fmt: skip
    text = run(capsys, "explain", trace)[1]

    assert explained == played
    assert len(re.findall(r"^  \d\S* +[A-G]", text, re.MULTILINE)) == len(played)


def test_a_bar_without_a_key_stands_over_what_the_bass_goes_on_by(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """The second time round nobody plays the last two bars: the bass does, and is not wrong."""
    changes = "Ab | Fm7 | Db | Eb7 | Ab | Fm7 | - | - | - | Ab"
    path = song(tmp_path / "song.mid", changes)
    _, page, _ = run(capsys, "explain", path, "--preset", "soul", "--seed", 1)
    _, told, _ = run(capsys, "explain", path, "--preset", "soul", "--seed", 1, "--json")

    heads = [line for line in page.splitlines() if line.startswith("Bar ")]
    assert heads[6:] == [
        "Bar 7: Db, no keys",
        "Bar 8: Eb7, no keys",
        "Bar 9: Fm7, no keys",
        "Bar 10: Ab",
    ]
    bars = json.loads(told)["bars"]
    assert [bar["bar"] for bar in bars if bar["silent"]] == [7, 8, 9]
    assert not any("expected" in n["reason"] for bar in bars[6:9] for n in bar["notes"])
    assert bars[6]["teaching"].startswith("No key is down, and the bass goes on over Db, which")
    assert bars[8]["teaching"].startswith("The keys stay silent, so the bass ends the phrase on F")


@pytest.mark.slow
def test_the_bars_stand_on_the_chords_of_the_song(
    capsys: pytest.CaptureFixture[str], folder: Path
) -> None:
    """What was played on the keyboard is what stands above the bars."""
    changes = "Ab | Fm7 | Bbm7 Eb7 | Ab | Ab | Fm7 | Bbm7 Eb7 | Ab"
    song(folder / "song.mid", changes)
    told = json.loads(run(capsys, "explain", "song.mid", "--seed", 1, "--json")[1])
    heard = [" ".join(chord["symbol"] for chord in bar["chords"]) for bar in told["bars"]]
    places = {chord["place"] for chord in told["bars"][2]["chords"]}

    assert heard == [bar.strip() for bar in changes.split("|")]
    assert places == {0.0, 2.0}


@pytest.mark.slow
@pytest.mark.parametrize("preset", names())
def test_every_style_is_explained(
    capsys: pytest.CaptureFixture[str], folder: Path, preset: str
) -> None:
    """Each bar has one line of teaching, no two the same, and a way in is what it is called."""
    assert folder.is_dir()
    how = ("--preset", preset, "--seed", 1, "--json")
    bars = json.loads(run(capsys, "explain", "song.mid", *how)[1])["bars"]
    lines = [bar["teaching"] for bar in bars]

    assert len(lines) >= 9
    assert len(set(lines)) == len(lines)
    assert all(line[0].isupper() and line[-1] == "." and "\n" not in line for line in lines)
    for bar in bars:
        for way in bar["ways_in"]:
            if way["way"] in STEPS:
                (last,) = (note for note in bar["notes"] if note["place"] == way["place"])
                assert (_pitch_class(way["to"]) - last["pitch"]) % 12 == STEPS[way["way"]]


STEPS = {"semitone below": 1, "semitone above": 11, "fifth": 5, "scale below": 2, "scale above": 10}


def _pitch_class(name: str) -> int:
    return ("C D EF G A B".index(name[0]) + name.count("#") - name.count("b")) % 12


def test_five_strings_are_drawn(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    """The tablature has the strings that the preset has, the highest on top."""
    assert folder.is_dir()
    status, text, _ = run(capsys, "explain", "song.mid", "--preset", "five.yaml", "--seed", 1)
    drawn = re.findall(r"^([A-G]) [-\dx]+\|$", text, re.MULTILINE)

    assert status == 0
    assert drawn[:5] == ["G", "D", "A", "E", "B"]
    assert len(drawn) == 5 * text.count("\nBar ")
    assert "strings B E A D G\n" in text


def test_strings_are_called_by_their_names(
    capsys: pytest.CaptureFixture[str], folder: Path
) -> None:
    """F1 is on the E string; in drop D it is on the lower one of two D strings."""
    (folder / "drop.yaml").write_text(
        FIVE_STRINGS.replace("B0, E1", "D1").replace("C1", "D1").replace("E1}", "D1}")
    )
    standard, dropped = (
        run(capsys, "explain", "song.mid", "--preset", preset, "--grade", 1, "--seed", 1)[1]
        for preset in ("rock", "drop.yaml")
    )

    assert re.search(r" F1 +E string fret 1 ", standard)
    assert "strings D1 A D2 G\n" in dropped
    assert re.search(r" F1 +D1 string fret 3 ", dropped)


def test_the_tablature_shows_the_notes(capsys: pytest.CaptureFixture[str], trace: Path) -> None:
    """The frets on the strings are those of the notes, in their order."""
    text = run(capsys, "explain", trace)[1]
    for bar, told in zip(
        text.split("\nBar ")[1:],
        json.loads(run(capsys, "explain", trace, "--json")[1])["bars"],
        strict=True,
    ):
        strings = re.findall(r"^[GDAE] ([-\dx]+)\|$", bar, re.MULTILINE)[::-1]
        drawn = [
            (found.start(), string, int(found.group()))
            for string, line in enumerate(strings, start=1)
            for found in re.finditer(r"\d+", line)
        ]

        assert [(s, f) for _, s, f in sorted(drawn)] == [
            (note["string"], note["fret"]) for note in told["notes"]
        ]


@pytest.mark.slow
def test_a_grade_is_explained_as_played(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    """In the first grade there are roots and no ways in, and the page says the grade."""
    assert folder.is_dir()
    how = ("--grade", 1, "--seed", 1)
    told = json.loads(run(capsys, "explain", "song.mid", *how, "--json")[1])

    assert told["grade"] == 1
    assert {note["role"] for bar in told["bars"] for note in bar["notes"]} == {"root", "slash bass"}
    assert not any(bar["ways_in"] for bar in told["bars"])
    assert run(capsys, "explain", "song.mid", *how)[1].startswith("soul, grade 1, seed 1, 9 bars")


def test_a_loop_is_written_out() -> None:
    """Bar 1 played again after bar 2 is a third bar on the page, with its own notes."""
    lines = [json.dumps(fact) for fact in looped()]
    bars = played_in(lines, "loop").bars

    assert [bar.number for bar in bars] == [1, 2, 1]
    assert [[note.note for note in bar.notes] for bar in bars] == [[32], [33], [34]]
    assert [float(bar.place(bar.notes[0])) for bar in bars] == [0, 1.5, 0]


def looped() -> list[dict[str, object]]:
    """A trace of two bars, the first of them played again."""
    head = {"beat": 0, "metre": "4/4"}
    facts: list[dict[str, object]] = [
        {"type": "style", "time": 0, "beat": 0, "name": "soul", "grade": 7, "seed": 1,
         "tuning": [28, 33, 38, 43], "span": 4},
    ]  # fmt: skip
    for time, bar, pitch, place in ((0, 1, 32, 0), (2, 2, 33, 1.5), (4, 1, 34, 0)):
        facts.append({"type": "bar", "time": time, "bar": bar, **head})
        facts.append(
            {
                "type": "note", "time": time + place / 2, "beat": 0, "until": time + 1.5,
                "pitch": pitch, "velocity": 90, "role": "root", "reason": "Ab: so", "string": 1,
                "fret": 4, "bar": bar, "place": place, "length": 1, "chord": "Ab:maj",
                "aims_at": None,
            }
        )  # fmt: skip
    return facts


@pytest.mark.parametrize("late", [0, 0.0001, 0.05])
def test_a_bar_whose_metre_changes_is_one_bar(late: float) -> None:
    """The bar line is told in the old metre and at once, or a little later, in the new one."""
    facts = looped()
    heard = {"type": "chord", "time": late / 2, "beat": 0, "label": "Ab:maj"}
    again = {**facts[1], "metre": "3/4", "time": late}
    told = (*facts[:2], heard, again, *facts[2:])
    bars = played_in([json.dumps(fact) for fact in told], "song").bars

    assert [chord for _, chord in bars[0].chords] == [Chord.of(8)]
    assert [str(bar.metre) for bar in bars] == ["3/4", "4/4", "4/4"]
    assert [len(bar.notes) for bar in bars] == [1, 1, 1]


def test_a_bar_that_goes_round_is_played_each_time() -> None:
    """A loop of one bar is as many bars as it was played, each with its own note."""
    facts = [{**fact, "bar": 1} if "bar" in fact else fact for fact in looped()]
    bars = played_in([json.dumps(fact) for fact in facts], "loop").bars

    assert [bar.number for bar in bars] == [1, 1, 1]
    assert [[note.note for note in bar.notes] for bar in bars] == [[32], [33], [34]]


@pytest.mark.parametrize("kept", [20, 60, -1])
def test_a_trace_that_was_broken_off_is_explained_as_far_as_it_goes(
    tmp_path: Path, kept: int
) -> None:
    """Power fails in the middle of a line: all that was played before is there to learn from."""
    lines = (ROOT / "docs" / "example.jsonl").read_text("utf-8").splitlines(keepends=True)
    path = tmp_path / "take.jsonl"
    path.write_text("".join(lines))
    whole = read_played(path)
    broken_off = json.dumps(looped()[-1])
    path.write_text("".join(lines) + broken_off[:kept])

    assert read_played(path) == whole


def test_a_trace_whose_last_line_has_no_end_is_whole(tmp_path: Path) -> None:
    """An editor may leave out the end of the last line; the note in it was played all the same."""
    text = (ROOT / "docs" / "example.jsonl").read_text("utf-8")
    for name, written in (("a.jsonl", text), ("b.jsonl", text.rstrip("\n"))):
        (tmp_path / name).write_text(written)

    assert read_played(tmp_path / "b.jsonl") == read_played(tmp_path / "a.jsonl")


def test_the_order_of_the_lines_does_not_matter() -> None:
    """A program may have sorted them by kind, or turned them round; their times say the order."""
    lines = [json.dumps(fact) for fact in example()]
    whole = played_in(lines, "as told")

    assert played_in(sorted(lines), "by kind") == whole
    assert played_in(lines[::-1], "backwards") == whole


def test_a_trace_that_cannot_be_opened_is_named(tmp_path: Path) -> None:
    """A folder is no trace."""
    with pytest.raises(FileError, match="cannot be read as a trace; give what --trace wrote"):
        read_played(tmp_path)


def drawn(*notes: tuple[str, int, int], bar: Fraction = Fraction(4)) -> list[str]:
    """A bar on G, D, A and E; each note by place (with > where it leads on), string and fret."""
    chord = Chord.of(8)
    written = [
        BassNote(
            Fraction(place.rstrip(">x")), Fraction(1, 2), 28 + 5 * (string - 1) + fret, 0.8,
            Role.GHOST if "x" in place else Role.ROOT, "", string, fret, chord,
            8 if ">" in place else None,
        )
        for place, string, fret in notes
    ]  # fmt: skip
    one = DrawnBar("Ab", Fraction(0), Metre(int(bar), 4), written)
    return list(system([one], step_of([one]), (28, 33, 38, 43)))


def test_a_bar_is_drawn_in_equal_cells() -> None:
    """Frets on their strings in eighths, a ghost as x, degrees below, > where a note leads on."""
    assert drawn(("0", 1, 4), ("1x", 1, 4), ("3/2>", 2, 10), bar=Fraction(2)) == [
        "  Ab",
        "  1  .  2  .",
        "G ------------|",
        "D ------------|",
        "A ---------10-|",
        "E 4-----x-----|",
        "  1        7>",
    ]


def test_a_note_off_every_grid_is_drawn_next_to_its_place() -> None:
    """What was mended just after the beat stands in the next sixteenth, and nothing is lost."""
    mended = drawn(("0", 1, 4), ("1/24", 2, 1), bar=Fraction(1))

    assert mended[4:6] == ["A ---1--------|", "E 4-----------|"]


def test_triplets_are_drawn_in_thirds() -> None:
    """Three cells to the beat, where the notes ask for them."""
    assert drawn(("0", 1, 4), ("2/3", 1, 4), bar=Fraction(1))[5] == "E 4-----4--|"


def test_a_trace_that_does_not_tell_the_span_is_explained() -> None:
    """An early trace, without the frets under the hand, was played with a finger to each fret."""
    example = Path(__file__).parent.parent / "docs" / "example.jsonl"
    first, *rest = example.read_text("utf-8").splitlines()
    style = {name: value for name, value in json.loads(first).items() if name != "span"}

    assert played_in([json.dumps(style), *rest], "early").span == 4


def test_a_key_is_explained_as_the_trace_has_it() -> None:
    """What was played in Gb is told in Gb."""
    example = Path(__file__).parent.parent / "docs" / "example.jsonl"
    flat = example.read_text("utf-8").replace('"Ab:maj"', '"Gb:maj"')

    assert {bar.key.name for bar in played_in(flat.splitlines(), "flat").bars} == {"Gb major"}


@pytest.mark.parametrize(
    ("fact", "value", "sentence"),
    [
        ("string", 9, "string 9, fret"),
        ("string", 0, "string 0, fret"),
        ("fret", -1, "fret -1"),
        ("place", 1e300, "1e+300 quarter notes"),
        ("length", -1, "-1 quarter notes"),
        ("pitch", 400, "note is 400"),
        ("chord", "Q", "'Q' is not a chord label"),
    ],
)
def test_a_note_that_nobody_could_play_damages_the_trace(
    fact: str, value: object, sentence: str
) -> None:
    """What is wrong in the file is said; it is not drawn, and is no fault of ours."""
    example = Path(__file__).parent.parent / "docs" / "example.jsonl"
    lines = [json.loads(line) for line in example.read_text("utf-8").splitlines()]
    note = next(line for line in lines if line["type"] == "note")
    note[fact] = value

    with pytest.raises(FileError, match=r"bad is damaged \(.*makes no sense\)") as caught:
        played_in([json.dumps(line) for line in lines], "bad")

    assert sentence in str(caught.value)


@pytest.mark.parametrize(
    ("kind", "field", "value", "sentence"),
    [
        ("note", "until", None, 'in line 5 "until" is null, not a number'),
        ("note", "until", "1", """in line 5 "until" is '1', not a number"""),
        ("note", "place", float("nan"), 'in line 5 "place" is nan, not a number'),
        pytest.param("note", "length", 10**400, "not a number", id="a length of 401 digits"),
        ("note", "reason", None, 'in line 5 "reason" is null, not text'),
        ("note", "fret", 1.5, 'in line 5 "fret" is 1.5, not a whole number'),
        ("note", "velocity", True, 'in line 5 "velocity" is True, not a whole number'),
        ("note", "aims_at", 3, 'in line 5 "aims_at" is 3, not text or null'),
        ("key", "label", 4, 'in line 3 "label" is 4, not text'),
        ("chord", "label", {"root": "Ab"}, "not text"),
        ("bar", "bar", [1], 'in line 2 "bar" is [1], not a whole number'),
        ("bar", "metre", None, 'in line 2 "metre" is null, not text'),
        ("style", "grade", float("inf"), 'in line 1 "grade" is inf, not a whole number'),
        ("style", "tuning", "EADG", "is 'EADG', not a list of whole numbers"),
        ("style", "name", None, 'in line 1 "name" is null, not text'),
    ],
)
def test_a_field_with_something_else_in_it_is_named(
    kind: str, field: str, value: object, sentence: str
) -> None:
    """Whoever changed a trace by hand reads in which line, and what belongs there."""
    lines = example()
    next(line for line in lines if line["type"] == kind)[field] = value

    with pytest.raises(FileError, match=r"^bad is damaged: .*; write the trace anew$") as caught:
        played_in([json.dumps(line) for line in lines], "bad")

    assert sentence in str(caught.value)


def example() -> list[dict[str, object]]:
    """The facts of docs/example.jsonl."""
    text = (ROOT / "docs" / "example.jsonl").read_text("utf-8")
    return [json.loads(line) for line in text.splitlines()]


def test_a_field_that_is_not_there_is_named() -> None:
    """A note without its string cannot be drawn."""
    lines = example()
    del next(line for line in lines if line["type"] == "note")["string"]

    with pytest.raises(FileError, match=r'^bad is damaged: line 5 has no "string"; write'):
        played_in([json.dumps(line) for line in lines], "bad")


@pytest.mark.parametrize(
    "line",
    [
        "[" * 100_000,
        '{"type": "note", "time": ' + "9" * 5000 + "}",
        '{"type": "note", "time": Infinity}',
        '{"type": "note", "time": "1"}',
        '{"type": ["note"], "time": 1}',
        '"note"',
        "",
    ],
    ids=lambda line: line[:30],
)
def test_a_line_that_is_none_of_a_trace_is_named(line: str) -> None:
    """Whatever stands there, and however deep, is told by its number."""
    lines = [json.dumps(fact) for fact in example()]

    with pytest.raises(FileError, match=r"^bad line 3 is no line of a trace; give what --trace"):
        played_in([*lines[:2], line, *lines[2:]], "bad")


def test_a_trace_without_bar_lines_is_told() -> None:
    """Notes that lie in no bar cannot be explained bar by bar."""
    lines = [json.dumps(fact) for fact in example() if fact["type"] != "bar"]

    with pytest.raises(FileError, match=r"^cut does not say where its bars begin; write the trace"):
        played_in(lines, "cut")


def test_a_style_on_more_strings_that_was_taken_up_on_the_way_is_drawn() -> None:
    """A trace tells the strings of its first style; the others are known by their notes."""
    example = Path(__file__).parent.parent / "docs" / "example.jsonl"
    lines = [json.loads(line) for line in example.read_text("utf-8").splitlines()]
    lines[0]["tuning"] = lines[0]["tuning"][:2]

    assert played_in([json.dumps(line) for line in lines], "long").tuning[:3] == (28, 33, 38)
