"""The guides: what README.md, DEVELOPERS.md and the pages in docs show is so."""

from __future__ import annotations

import json
import re
import shlex
import tomllib
from itertools import chain
from pathlib import Path

import mido
import pytest

from bench.worked import EXAMPLES, rows
from ports.cli import groundling, main
from presets import own
from tests.test_cli import two_chords

ROOT = Path(__file__).parent.parent
GUIDES = ("README.md", "DEVELOPERS.md")
PACKAGES = ("engine", "ports", "presets", "bench", "tests")


def text(name: str) -> str:
    """A document of ours."""
    return (ROOT / name).read_text("utf-8")


def blocks(document: str, language: str) -> list[str]:
    """The samples in a language that a document shows."""
    return re.findall(rf"^```{language}\n(.*?)^```", document, re.MULTILINE | re.DOTALL)


def typed(document: str) -> list[str]:
    """The commands that a document has its reader type."""
    lines = (line for block in blocks(document, "console") for line in block.splitlines())
    return [line[2:].split("  #")[0].strip() for line in lines if line.startswith("$ ")]


def quoted(document: str) -> list[str]:
    """The groundling commands that a document mentions in its sentences."""
    names = "|".join(groundling.commands)
    return re.findall(rf"`(groundling (?:{names})\b[^`]*)`", document)


COMMANDS = [
    command
    for guide in (*GUIDES, "docs/explain.md")
    for command in [*typed(text(guide)), *(quoted(text(guide)) if guide in GUIDES else [])]
    if command.startswith("groundling ")
]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A working folder with the files that the samples name."""
    monkeypatch.chdir(tmp_path)
    song = mido.MidiFile(two_chords(tmp_path / "song.mid", bars=2))
    song.tracks.append(mido.MidiTrack([mido.MetaMessage("track_name", name="Guitar")]))
    song.save(tmp_path / "song.mid")
    (tmp_path / "presets").mkdir()
    for place in ("mine.yaml", "presets/mine.yaml"):
        (tmp_path / place).write_text((ROOT / "presets" / "rock.yaml").read_text("utf-8"), "utf-8")
    for home in ("HOME", "APPDATA", "XDG_CONFIG_HOME"):
        monkeypatch.setenv(home, str(tmp_path))
    (tmp_path / "docs").mkdir()
    for place in ("song.jsonl", "docs/example.jsonl"):
        (tmp_path / place).write_text(text("docs/example.jsonl"), "utf-8")
    own.begin("late-shift", "soul", own.folder())
    return tmp_path


def words_of(command: str) -> list[str]:
    """What the shell would hand over."""
    return shlex.split(command.split(" > ", maxsplit=1)[0])[1:]


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_shown_can_be_typed(command: str) -> None:
    """No guide shows a command or an option that there is not."""
    words = words_of(command.replace("--seed N", "--seed 1"))
    if words[0] == "play":
        words = [w.replace("mine.yaml", "rock") for w in words]
    context = groundling.make_context("groundling", words)
    sub = groundling.get_command(context, words[0])

    assert sub is not None
    assert sub.make_context(words[0], words[1:])


@pytest.mark.parametrize(
    "command", [c for c in COMMANDS if words_of(c)[0] in ("replay", "explain", "presets", "ports")]
)
def test_commands_that_end_by_themselves_work(
    command: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What a guide has its reader type, works on a song and a preset of theirs."""
    if " new " in command:  # the one command that wants it not to be there yet
        Path(own.path_of("late-shift", own.folder())).unlink()
    with pytest.raises(SystemExit) as ended:
        main(words_of(command))

    assert ended.value.code == 0, capsys.readouterr().err
    for word in words_of(command):
        assert not word.startswith(("bass.mid", "song.jsonl")) or (folder / word).stat().st_size


@pytest.mark.parametrize("guide", GUIDES)
def test_every_make_command_is_in_the_makefile(guide: str) -> None:
    """What is to be made, can be."""
    wanted = {c.split()[1] for c in typed(text(guide)) if c.startswith("make ")}

    assert wanted
    assert wanted <= set(re.findall(r"^([a-z]+):", text("Makefile"), re.MULTILINE))


def test_the_first_screen_says_how_to_begin() -> None:
    """Under the job paragraph, before anything else, stand the two commands to begin with."""
    first_screen = "\n".join(text("README.md").splitlines()[:14])

    assert typed(first_screen) == ["make play", "make test"]


def test_benchmarks_shown_are_there() -> None:
    """Each benchmark that the guide runs is a file."""
    names = re.findall(r"-m bench\.(\w+)", text("DEVELOPERS.md"))

    assert names
    assert all((ROOT / "bench" / f"{name}.py").is_file() for name in names)


def test_the_tree_is_the_tree() -> None:
    """DEVELOPERS.md lists every module there is, and none that is not."""
    tree = blocks(text("DEVELOPERS.md").split("## The tree")[1], "text")[0]
    listed, package = set(), ""
    for line in tree.splitlines():
        name = line.split()[0]
        if line[0] != " ":
            package = name
        elif "*" not in name:
            listed.add(package + name)
    there = {
        path.relative_to(ROOT).as_posix()
        for package in PACKAGES
        for path in (ROOT / package).rglob("*.py")
        if path.name != "__init__.py"
    }

    assert sorted(listed - there) == [], "listed, but not there"
    assert sorted(there - listed) == [], "there, but not listed"


def test_the_import_table_is_the_one_that_is_checked() -> None:
    """The table in DEVELOPERS.md is the one that import-linter holds everybody to."""
    shown = blocks(text("DEVELOPERS.md").split("## Who may import whom")[1], "text")[0].splitlines()
    contracts = tomllib.loads(text("pyproject.toml"))["tool"]["importlinter"]["contracts"]

    assert shown == contracts[0]["layers"]


# What a package is called where it is imported, if not as it is installed.
IMPORTED_AS = {"pyyaml": "yaml", "JACK-Client": "jack", "python-rtmidi": "rtmidi"}


def test_nothing_is_installed_that_is_not_used() -> None:
    """Each package that a player installs, or who fits the tables, is imported somewhere."""
    project = tomllib.loads(text("pyproject.toml"))["project"]
    extras = project["optional-dependencies"]
    del extras["dev"]  # tools, most of them run and not imported
    wanted = [*project["dependencies"], *chain.from_iterable(extras.values())]
    names = [re.split(r"[^\w-]", line)[0] for line in wanted]
    sources = "\n".join(
        path.read_text("utf-8") for package in PACKAGES for path in (ROOT / package).rglob("*.py")
    )
    imported = set(re.findall(r"^ *(?:import|from) (\w+)", sources, re.MULTILINE))

    assert [name for name in names if IMPORTED_AS.get(name, name) not in imported] == []


@pytest.mark.parametrize("guide", [*GUIDES, "docs/trace.md", "docs/explain.md"])
def test_links_lead_somewhere(guide: str) -> None:
    """Every link to a file of ours finds it."""
    targets = re.findall(r"\]\(([^)#:]+)\)", text(guide))

    assert all((ROOT / guide).parent.joinpath(target).exists() for target in targets)


@pytest.mark.usefixtures("folder")
def test_the_trace_is_as_described(capsys: pytest.CaptureFixture[str]) -> None:
    """Each kind of line has the fields that docs/trace.md names, in text and example."""
    document = text("docs/trace.md")
    common = set(re.findall(r"^\| `(\w+)`", document.split("## ")[0], re.MULTILINE))
    described = {
        part.split("`")[1]: common | set(re.findall(r"^\| `(\w+)`", part, re.MULTILINE))
        for part in document.split("\n## ")[1:]
        if part.startswith("`")
    }
    with pytest.raises(SystemExit):
        main(["replay", "song.mid", "--seed", "1", "--trace", "t.jsonl"])
    capsys.readouterr()
    lines = [*Path("t.jsonl").read_text("utf-8").splitlines(),
             *blocks(document, "json")[0].splitlines()]  # fmt: skip
    facts = [json.loads(line) for line in lines]

    assert {fact["type"] for fact in facts} == set(described)
    for fact in facts:
        assert set(fact) == described[fact["type"]]


@pytest.mark.usefixtures("folder")
def test_the_explanation_is_as_shown(capsys: pytest.CaptureFixture[str]) -> None:
    """docs/explain.md shows what explain prints of the example, as text and as JSON."""
    page = text("docs/explain.md")
    shown = {}
    for form in ((), ("--json",)):
        with pytest.raises(SystemExit):
            main(["explain", "docs/example.jsonl", *form])
        shown[form] = capsys.readouterr().out
    told = json.loads(shown["--json",])

    assert blocks(page, "text") == [shown[()]]
    assert [json.loads(block) for block in blocks(page, "json")] == [told["bars"][2]]


def test_every_field_of_an_explanation_is_described(
    capsys: pytest.CaptureFixture[str], folder: Path
) -> None:
    """The tables of docs/explain.md name the fields of a bar and of a note, all and no others."""
    with pytest.raises(SystemExit):
        main(["explain", str(folder / "docs" / "example.jsonl"), "--json"])
    bars = json.loads(capsys.readouterr().out)["bars"]
    _, of_bar, of_note = text("docs/explain.md").split("| field of a ")
    described = [re.findall(r"^\| `(\w+)`", table, re.MULTILINE) for table in (of_bar, of_note)]

    assert [list(bar) for bar in bars] == [described[0]] * len(bars)
    assert {tuple(note) for bar in bars for note in bar["notes"]} == {tuple(described[1])}


def test_the_worked_examples_of_hearing_are_what_the_ear_says() -> None:
    """Chords and keys are named as the page has them; their last digits are the processor's."""

    def named(line: str) -> str:
        return re.sub(r"[01]\.\d\d", "", line)

    told = [named(line) for example in EXAMPLES for line in rows(example)]
    shown = [named(line) for line in re.findall(r"(?m)^\| \d+\.\d .*", text("docs/hearing.md"))]

    assert shown == told
    assert len(told) == 17
