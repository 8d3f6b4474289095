"""What benches say about what they cannot measure: a sentence, and exit status 2."""

from __future__ import annotations

import re
import sys
from importlib import import_module
from pathlib import Path

import pytest

from bench.arguments import run
from bench.corpus import Label, Note, Song, read_folder
from bench.expecting import save
from bench.folds import third_of
from ports.files import FileError

ROOT = Path(__file__).parent.parent

# Folders, and what is in their files.  "played" has a MIDI file beside its labels as well.
ROUND = "0\t4\tEb:maj\n4\t8\tC:min\n8\t12\tF:min7\n12\t16\tBb:7\n"
WALTZ = "".join(f"{bar}\t{3 * bar}\t3\n" for bar in range(5))
TABLES = 'QUALITIES = ("maj",)\nTABLES = {}\n'
FOLDERS = {
    "empty": {},
    "labels": {"003.chords": ROUND},
    "played": {"003.chords": ROUND},
    "waltz": {"003.chords": ROUND, "003.bars": WALTZ},
    "uneven": {"003.chords": ROUND, "003.bars": WALTZ + "5\t15\t4\n"},
    "no chords": {"003.chords": "\n"},
    "no label": {"003.chords": ROUND + "16\t20\tEbminor\n"},
    "no tabs": {"003.chords": "0 4 Eb:maj\n"},
    "no key": {"003.chords": ROUND, "003.key": "E flat\n"},
    "no beats": {"003.chords": ROUND, "003.bars": "0\t0\n"},
    "no tonic": {"003.chords": ROUND, "003.tonic": "0\tH\n"},
    "no midi": {"003.chords": ROUND, "003.mid": "MThd"},
    "tables": {f"fold{third}.py": TABLES for third in range(3)},
    "other tables": {"fold0.py": "COUNTS = 1\n"},
    "files": {"text": "soul", "other.json": "{}"},
}
NO_SONGS = "has no labelled songs; give a folder of N.chords"
NO_KEYS = "has no song with keys played (N.mid, its track KEYS)"
NO_BARS = "has no song with bars written (N.bars)"
NOT_IN_FOUR = "has no song in 4/4 with 9 changes or more"
NO_PRESET = "there is no preset sole; did you mean soul?"
NOUGHT = "0 is no whole number from 1 up"


@pytest.fixture
def folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A working folder with all of these."""
    for folder, files in FOLDERS.items():
        (tmp_path / folder).mkdir()
        for name, content in files.items():
            (tmp_path / folder / name).write_text(content, "utf-8")
    notes = tuple(Note(4.0 * i, 4.0 * i + 4, note, 80) for i, note in enumerate((51, 48, 53, 46)))
    save(Song("played", "003", (Label(0, 16, "N"),), notes), tmp_path / "played")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def said_by(
    bench: str,
    words: list[str],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> str:
    """What a bench says that ends with status 2."""
    monkeypatch.setattr(sys, "argv", [f"bench.{bench}", *words])
    with pytest.raises(SystemExit) as ended:
        run(import_module(f"bench.{bench}").main)
    said = capsys.readouterr().err

    assert ended.value.code == 2, said
    return said


@pytest.mark.parametrize(
    ("benches", "words", "sentence"),
    [
        ("hearing baselines landing expecting interplay jam", ["labels"], NO_KEYS),
        ("voicings following rhythms", ["labels"], NO_BARS),
        ("expecting", ["labels", "--rendered", "block"], NO_BARS),
        ("planning styles ways", ["waltz"], NOT_IN_FOUR),
        ("rhythms", ["waltz"], "has no chart in 4/4 throughout"),
        ("following", ["uneven"], "has no chart whose bars are all of one length"),
        ("replay", ["empty"], "has no .mid files"),
        ("replay", ["no midi"], "003.mid is damaged"),
        ("replay", ["empty", "--preset", "sole"], NO_PRESET),
        ("landing expecting interplay jam", ["played", "--preset", "sole"], NO_PRESET),
        ("following rhythms", ["waltz", "--preset", "sole"], NO_PRESET),
        ("chorus", ["--preset", "sole"], NO_PRESET),
        ("following", ["waltz", "--lead"], "say in which manner: --heard MANNER"),
        ("hearing voicings expecting rhythms", ["played", "--every", "0"], NOUGHT),
        ("landing planning interplay styles", ["played", "--songs", "0"], NOUGHT),
        ("ways following replay", ["played", "--songs", "0"], NOUGHT),
        ("hearing voicings", ["played", "--worst", "-1"], "no whole number from 0 up"),
        ("jam", ["played", "--hours", "0"], "0 is no number above 0"),
        ("jam", ["played", "--tempo", "fast"], "fast is no number above 0"),
        ("foresight", ["played", "--cost", "-1"], "-1 is no number above 0"),
        ("foresight", ["played", "--misheard", "5"], "5 is no number from 0 to 1"),
        ("foresight", ["played", "--ahead", "9"], "invalid choice: 9"),
        ("latency", ["--times", "0"], NOUGHT),
        ("latency", ["--bars", "0"], NOUGHT),
        ("sheet whole worked", ["soul"], "unrecognized arguments: soul"),
        ("styles", ["waltz", "--reference", "none"], "there is no file none"),
        ("styles", ["waltz", "--reference", "files/text"], "files/text is not JSON"),
        ("styles", ["waltz", "--reference", "files/other.json"], "has no 'midi_by_genre' in it"),
        ("styles", ["waltz", "--json", "--kin"], "leave --kin and --reference out"),
    ],
)  # fmt: skip
@pytest.mark.usefixtures("folders")
def test_what_cannot_be_measured_is_told(
    benches: str,
    words: list[str],
    sentence: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Before anything is measured, and by every bench in the same words."""
    for bench in benches.split():
        assert sentence in said_by(bench, words, monkeypatch, capsys), bench


@pytest.mark.parametrize("bench", [
    "hearing", "baselines", "voicings", "landing", "expecting", "following", "foresight",
    "interplay", "jam", "planning", "rhythms", "styles", "ways",
])  # fmt: skip
@pytest.mark.parametrize(
    ("folder", "sentence"),
    [
        ("not there", "not there is not there; give a folder"),
        ("files/text", "files/text is a file, not a folder; give a folder"),
        ("empty", f"empty {NO_SONGS}"),
        ("no chords", "003.chords has no chords in it"),
        ("no label", "003.chords, line 5: '16\\t20\\tEbminor' is not"),
    ],
)
@pytest.mark.usefixtures("folders")
def test_a_folder_without_songs_is_told(
    bench: str,
    folder: str,
    sentence: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """One that is not there, one of other things, and one of songs that cannot be read."""
    assert sentence in said_by(bench, [folder], monkeypatch, capsys)


@pytest.mark.parametrize(
    ("folder", "sentence"),
    [
        ("no tabs", "line 1: '0 4 Eb:maj' is not start, end and chord"),
        ("no key", "line 1: 'E flat' is not a key"),
        ("no beats", "line 1: '0\\t0' is not bar, first beat and beats"),
        ("no tonic", "line 1: '0\\tH' is not beat and tonic"),
        ("no midi", "003.mid is not a MIDI file, or is damaged"),
    ],
)
def test_a_file_that_cannot_be_read_is_told_with_its_line(
    folder: str, sentence: str, folders: Path
) -> None:
    """The file, the line, and what it should be."""
    with pytest.raises(FileError, match=re.escape(sentence)):
        read_folder(folders / folder)


@pytest.mark.parametrize(
    ("bench", "words", "sentence"),
    [
        ("voicings", ["waltz", "--folds", "not there"], "not there is not there; give a folder"),
        ("voicings", ["waltz", "--folds", "empty"], "python -m bench.fit_hearing writes such"),
        ("rhythms", ["waltz", "--folds", "empty"], "empty/fold0.py is not there"),
        ("hearing", ["played", "--folds", "other tables"], "is not what python -m bench."),
        ("foresight", ["waltz", "--folds", "empty"], "python -m bench.fit_foresight writes such"),
        ("foresight", ["waltz", "--folds", "tables"], "is not what python -m bench.fit_foresight"),
    ],
)  # fmt: skip
@pytest.mark.usefixtures("folders")
def test_folds_without_tables_are_told(
    bench: str,
    words: list[str],
    sentence: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """With the file that is missed, and the command that writes it."""
    assert sentence in said_by(bench, words, monkeypatch, capsys)


def test_a_song_that_is_called_by_no_number_belongs_to_no_fold() -> None:
    """It cannot be judged by tables that have not met it."""
    with pytest.raises(FileError, match=re.escape("call it by a number, as 006.chords")):
        third_of("waltz")


@pytest.mark.slow
@pytest.mark.parametrize(
    ("bench", "words", "sentence"),
    [
        ("fit_hearing", ["empty", "--charts", "waltz"], NO_SONGS),
        ("fit_hearing", ["labels", "--charts", "waltz"], NO_KEYS),
        ("fit_keys", ["empty", "--anew", "weights.py"], NO_SONGS),
        ("fit_keys", ["played", "--anew", "files/text"], "is not what python -m bench.fit_hearing"),
        ("fit_keys", ["played", "--folds", "empty"], "empty/fold0.py is not there"),
        ("fit_keys", ["played"], "say which networks"),
        ("fit_foresight", ["waltz", "--fold", "5"], "invalid choice: 5"),
        ("fit_foresight", ["empty"], NO_SONGS),
    ],
)
@pytest.mark.usefixtures("folders")
def test_what_cannot_be_fitted_is_told(
    bench: str,
    words: list[str],
    sentence: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Also that there is no such fold to be left out: nobody shall take a fit for an honest one."""
    pytest.importorskip("torch")
    pytest.importorskip("scipy")

    assert sentence in said_by(bench, words, monkeypatch, capsys)


def test_every_bench_that_is_run_tells_so() -> None:
    """None ends in another way."""
    sources = [path.read_text("utf-8") for path in (ROOT / "bench").glob("*.py")]
    run_as_programs = [source for source in sources if "__main__" in source]

    assert len(run_as_programs) > 20
    assert all(s.endswith('\nif __name__ == "__main__":\n    run(main)\n') for s in run_as_programs)
