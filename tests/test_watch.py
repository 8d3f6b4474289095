"""A preset that is changed while it is played: what is taken, when, and what is said."""

from __future__ import annotations

import subprocess
from itertools import takewhile
from pathlib import Path
from threading import Event

import pytest

from bench.echoing import EchoBassist
from engine.events import NewStyle, NoteOn
from engine.style import Style
from ports import watch
from ports.service import Service
from ports.watch import Watched
from presets.loader import load
from presets.reading import PresetError
from tests.fakes import FakeClock, FakePort
from tests.test_cli import GROUNDLING, ROOT
from tests.test_ports import after
from tests.test_presets import SMALL

SWUNG = SMALL + "feel: {swing: 0.6}\n"
BROKEN = SMALL + "feel: {swing: 3}\n"


@pytest.fixture
def mine(tmp_path: Path) -> Path:
    """A preset of one's own."""
    path = tmp_path / "mine.yaml"
    path.write_text(SMALL)
    return path


def swing_of(news: Style | PresetError | None) -> float:
    """The swing of a style that is news."""
    assert isinstance(news, Style)
    return news.feel.swing


def test_a_file_left_alone_is_no_news(mine: Path) -> None:
    """However often one looks, and although it is saved again as it was."""
    watched = Watched(mine)
    assert [watched.news() for _ in range(3)] == [None] * 3

    mine.write_text(SMALL)
    assert [watched.news() for _ in range(3)] == [None] * 3


def test_a_change_is_told_once_when_it_has_been_seen_twice(mine: Path) -> None:
    """A text is judged at the second look, lest it is half written at the first."""
    watched = Watched(mine)
    mine.write_text(SWUNG)
    first, second, third = (watched.news() for _ in range(3))

    assert first is third is None
    assert swing_of(second) == 0.6


def test_what_is_broken_is_told_with_its_line_and_taken_when_mended(mine: Path) -> None:
    """The loader's sentence once, and the style as soon as the file is sound again."""
    watched = Watched(mine)
    mine.write_text(BROKEN)
    complaint = [watched.news() for _ in range(4)][1]
    assert isinstance(complaint, PresetError)
    assert str(complaint) == "mine.yaml line 6: feel.swing is 3; give 0.5 to 0.75"

    mine.write_text(SWUNG)
    assert watched.news() is None
    mine.write_text(SMALL)  # changed again before it was judged
    assert watched.news() is None
    assert swing_of(watched.news()) == 0.5


def test_saved_in_two_steps_only_the_whole_counts(mine: Path) -> None:
    """An editor that empties the file and then fills it is not told that its preset is empty."""
    watched = Watched(mine)
    mine.write_text("")
    assert watched.news() is None

    mine.write_text(SWUNG)
    assert watched.news() is None
    assert swing_of(watched.news()) == 0.6


def test_saved_by_renaming_the_new_file_counts(mine: Path) -> None:
    """An editor may take the old file away and put another in its place."""
    watched = Watched(mine)
    mine.rename(mine.with_suffix(".old"))
    assert watched.news() is None

    mine.with_suffix(".new").write_text(SWUNG)
    mine.with_suffix(".new").replace(mine)
    assert watched.news() is None
    assert swing_of(watched.news()) == 0.6


def test_a_file_that_is_gone_is_missed_once(mine: Path) -> None:
    """What cannot be read is said as the loader says it, and nothing more until it is back."""
    watched = Watched(mine)
    mine.unlink()
    said = [str(news) for _ in range(4) if (news := watched.news()) is not None]

    assert said == ["mine.yaml cannot be read: No such file or directory"]


def test_the_bassist_is_told_before_a_script_has_run_out() -> None:
    """Said while a script of minutes waits in the port's inbox, it is heard before its next key."""
    bassist = EchoBassist()
    service = Service(
        bassist, FakePort([NoteOn(100.0, 60), NoteOn(200.0, 60)]), FakeClock(), stop_when=after(1)
    )
    style = load("rock")
    service.say(NewStyle(0.0, style))
    service.run()

    assert bassist.heard[:2] == [NewStyle(0.0, style), NoteOn(100.0, 60)]


class Hung(Watched):
    """A file in a folder that gives no answer until `answers` is set."""

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        self.asked, self.answers = Event(), Event()
        self.outlasted = False

    def news(self) -> Style | PresetError | None:
        """Wait for the folder."""
        self.asked.set()
        self.outlasted = not self.answers.wait(10)
        return super().news()


def test_a_folder_that_hangs_keeps_nobody_from_leaving(
    mine: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The look that is under way is left behind, and who has left is told nothing more."""
    monkeypatch.setattr(watch, "LOOK_SECONDS", 0.001)
    monkeypatch.setattr(watch, "LEAVE_SECONDS", 0.01)
    told: list[Style | PresetError] = []
    hung = Hung(mine)
    with watch.watching(hung, told.append):
        assert hung.asked.wait(10)
        mine.write_text(BROKEN)

    hung.answers.set()
    assert not hung.outlasted
    assert told == []


@pytest.mark.slow
def test_the_rehearsal_takes_up_what_is_saved(mine: Path) -> None:
    """While it plays, a broken save is answered with its line, a sound one taken up."""
    process = subprocess.Popen(
        [*GROUNDLING, "play", "--rehearse", "--tempo", "240", "--preset", str(mine)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT,
    )  # fmt: skip
    assert process.stdout is not None
    lines = process.stdout
    next(line for line in lines if line.startswith("bar 1,"))
    mine.write_text(BROKEN)
    goes_on = [*takewhile(lambda line: "feel.swing is 3" not in line, lines)]
    mine.write_text(SWUNG)
    taken = next(line for line in lines if "has changed" in line)
    process.terminate()
    summary, complaint = process.communicate(timeout=10)

    assert all(line.startswith("bar ") for line in goes_on)
    assert taken == "preset mine has changed, and is taken up at the next bar\n"
    assert (process.returncode, complaint) == (0, "")
    assert "notes" in summary
