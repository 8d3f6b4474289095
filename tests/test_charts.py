"""Charts: what a player may write, and what the reader says when it cannot be read."""

from __future__ import annotations

import re
from fractions import Fraction
from pathlib import Path
from time import process_time

import pytest

from engine.theory.harmony import C_MAJOR, Key
from engine.theory.meter import Metre
from engine.theory.symbols import symbol
from ports.charts import ChartError, parse_chart, read_chart

LEAD_SHEET = """
key: Eb
metre: 4/4
tempo: 104

# two verses, then out
Verse
| Eb | Cm7 | Fm7 Bb7 | % |
|: Ab/C | Bb7 |1. Eb | Bb7 :|2. Eb Db | Eb |

Bridge:
| Gm7b5 / / C7b9 | N.C. |
"""


def read_back(text: str) -> list[list[str]]:
    """The symbols of every bar, section by section."""
    chart = parse_chart(text)
    return [
        [" ".join(symbol(chord, chart.key or C_MAJOR) for _, chord in bar.chords) for bar in s.bars]
        for s in chart.sections
    ]


def test_a_lead_sheet_is_played_in_order() -> None:
    """Simile marks, repeats and both endings are written out as they are played."""
    assert read_back(LEAD_SHEET) == [
        [
            *["Eb", "Cm7", "Fm7 Bb7", "Fm7 Bb7", "Ab/C", "Bb7"],
            *["Eb", "Bb7", "Ab/C", "Bb7", "Eb Db", "Eb"],
        ],
        ["Gm7b5 C7b9", "N.C."],
    ]


def test_the_header_is_kept() -> None:
    """Key, metre and tempo stand above the bars, sections have their names."""
    chart = parse_chart(LEAD_SHEET)

    assert (chart.key, chart.metre, chart.tempo) == (Key(3), Metre(4, 4), 104.0)
    assert [section.name for section in chart.sections] == ["Verse", "Bridge"]


@pytest.mark.parametrize(
    ("written", "key"),
    [("Bb", Key(10)), ("F#m", Key(6, minor=True)), ("a minor", Key(9, minor=True)),
     ("bb Major", Key(10)), ("AM", Key(9)), ("C Minor", Key(0, minor=True)),
     ("B♭", Key(10)), ("F♯m", Key(6, minor=True)), ("e♭ minor", Key(3, minor=True))],
)  # fmt: skip
def test_a_key_is_read_as_it_is_usually_written(written: str, key: Key) -> None:
    """In words or as a chord, with a small letter where a word says which, in type or in print."""
    assert parse_chart(f"title: Slow train\nkey: {written}\n| Bb | n.c. |").key == key


@pytest.mark.parametrize("written", ["Gb", "F#", "D#m", "Ebm", "Abm", "G#m", "Cb", "C#"])
def test_a_key_stays_as_the_player_writes_it(written: str) -> None:
    """Who writes Gb reads Gb, Ebm7 and Abm7, and no F#."""
    key = parse_chart(f"key: {written}\n| Bb |").key
    assert key is not None
    assert key.name == f"{written.removesuffix('m')} {'minor' if 'm' in written else 'major'}"


def test_chords_share_a_bar_evenly() -> None:
    """Two chords have two beats each; strokes give the chord before them more."""
    bridge = parse_chart(LEAD_SHEET).sections[1].bars[0]
    turn = parse_chart("| Fm7 Bb7 |").bars[0]

    assert [start for start, _ in turn.chords] == [0, 2]
    assert [start for start, _ in bridge.chords] == [0, 3]


def test_six_eight_is_felt_in_two() -> None:
    """A bar of 6/8 with two chords changes on its second felt beat."""
    bar = parse_chart("metre: 6/8\n| F#m D |").bars[0]

    assert bar.chords[1][0] == Fraction(3, 2)


@pytest.mark.parametrize(
    ("metre", "bar", "eighths"),
    [
        ("5/8", "C D", [0, 2]),
        ("7/8", "C D E", [0, 2, 4]),
        ("7/8", "C / E", [0, 4]),
        ("8/8", "C D E", [0, 2, 5]),
        ("10/8", "C D E F", [0, 2, 4, 7]),
        ("9/8", "C D E", [0, 3, 6]),
        ("5/4", "C D E F G", [0, 2, 4, 6, 8]),
    ],
)
def test_in_odd_metres_each_felt_beat_may_have_its_chord(
    metre: str, bar: str, eighths: list[int]
) -> None:
    """As many chords and strokes as felt beats fall on them, though the beats are not alike."""
    read = parse_chart(f"metre: {metre}\n| {bar} |").bars[0]

    assert [start * 2 for start, _ in read.chords] == eighths


def test_a_repeat_without_endings_is_played_twice() -> None:
    """The bars between the repeat signs come twice."""
    assert read_back("|: Ab | Fm :| Db |") == [["Ab", "Fm", "Ab", "Fm", "Db"]]


def test_a_third_ending_is_a_third_time() -> None:
    """Each ending but the last goes back to the opening sign."""
    assert read_back("|: Ab |1. Fm :|2. Eb :|3. Db |") == [["Ab", "Fm", "Ab", "Eb", "Ab", "Db"]]


@pytest.mark.parametrize(
    ("text", "bars"),
    [
        ("|: Ab |1. Fm :|2. Eb :|", "Ab Fm Ab Eb"),
        ("|: Ab |1. Fm :| Eb |", "Ab Fm Ab Eb"),
        ("|: Ab |1. Fm :|", "Ab Fm Ab"),
        ("|: Ab |1. Fm :|2. Eb | Db |: G :|", "Ab Fm Ab Eb Db G G"),
        ("|: Ab |1. Fm | Cm :|2. Eb | Db |", "Ab Fm Cm Ab Eb Db"),
    ],
)
def test_an_ending_is_left_out_when_its_time_is_over(text: str, bars: str) -> None:
    """The last one may be closed or not; a first one alone is jumped over the second time."""
    assert read_back(text) == [bars.split()]


@pytest.mark.parametrize(
    ("text", "bars"),
    [
        ("|: Ab |1.-2. Fm :|3. Db |", "Ab Fm Ab Fm Ab Db"),
        ("|: Ab |1.\u20132. Fm :|3. Db |", "Ab Fm Ab Fm Ab Db"),
        ("|: Ab |1-2. Fm :|3. Db |", "Ab Fm Ab Fm Ab Db"),
        ("|: Ab |1,2. Fm :|3. Db |", "Ab Fm Ab Fm Ab Db"),
        ("|: Ab |1., 2. Fm :|3. Db |", "Ab Fm Ab Fm Ab Db"),
        ("|: Ab |1.2. Fm :|3. Db |", "Ab Fm Ab Fm Ab Db"),
        ("|: Ab | 1. 2. Fm :|\n| 3. Db |", "Ab Fm Ab Fm Ab Db"),
        ("|: Ab |[1.+2. Fm :|[3. Db |]", "Ab Fm Ab Fm Ab Db"),
        ("|: Ab |1.-3. Fm :|4. Db |", "Ab Fm Ab Fm Ab Fm Ab Db"),
        ("|: Ab |1.-3. Fm :| Db |", "Ab Fm Ab Fm Ab Fm Ab Db"),
        ("|: Ab |1.,3. Fm :|2.,4. Db :| Eb |", "Ab Fm Ab Db Ab Fm Ab Db Eb"),
        ("|: Ab |1.,3. % | Fm :|2. Db :| Eb |", "Ab Ab Fm Ab Db Ab Ab Fm Eb"),
        ("|: Ab |1. Fm :|2.-3. % :| Eb |", "Ab Fm Ab Ab Ab Ab Eb"),
    ],
)
def test_an_ending_may_be_played_more_than_once(text: str, bars: str) -> None:
    """Its numbers say which times, in whichever way they are joined."""
    assert read_back(text) == [bars.split()]


@pytest.mark.parametrize(
    "times", [" x3", "x3", " 3x", " (3x)", " (x3)", " 3 times", " \u00d73", " x 3", "| x3"]
)
def test_a_repeat_is_played_as_often_as_it_says(times: str) -> None:
    """What is written behind the closing sign counts how often it is played in all."""
    bars = ["Ab", "Fm", "Ab", "Fm", "Ab", "Fm"]

    assert read_back(f"|: Ab | Fm :|{times} | Db |") == [[*bars, "Db"]]
    assert read_back(f"|: Ab | Fm :|{times} |: Db :|") == [[*bars, "Db", "Db"]]
    assert read_back(f"|: Ab | Fm :|{times}\nB\n| % |") == [bars, ["Fm"]]


@pytest.mark.parametrize(
    ("bars", "places"),
    [
        ("| Ab | / / Db / |", [("Ab", 0), ("Db", 2)]),
        ("| Eb Ab | / / / / |", [("Ab", 0)]),
        ("| Eb | Ab // Db |", [("Ab", 0), ("Db", 3)]),
        ("| Eb | Ab /// |", [("Ab", 0)]),
    ],
)
def test_a_stroke_is_one_share_more_of_the_chord_before_it(
    bars: str, places: list[tuple[str, int]]
) -> None:
    """Also where that was written in the bar before, and where strokes stand close together."""
    read = parse_chart(bars).bars[-1]

    assert [(symbol(chord, Key(8)), start) for start, chord in read.chords] == places


@pytest.mark.parametrize(
    ("text", "bars"),
    [
        pytest.param("| C |  | F | G |", "C C F G", id="the second bar"),
        pytest.param("| C | | F |", "C C F", id="one blank is a bar"),
        pytest.param("| C | \t | F |", "C C F", id="or a tab"),
        pytest.param("| C |  |  |", "C C C", id="two in a row, the last one too"),
        pytest.param("| C |  || F |", "C C F", id="before a double bar line"),
        pytest.param("| C |\n|  | F |", "C C F", id="first on its line"),
        pytest.param("A\n| C |\nB\n|  | F |", "C C F", id="first of its section"),
        pytest.param("| N.C. |  | F |", "N.C. N.C. F", id="silence stays too"),
        pytest.param("|: C |  :| F |", "C C C C F", id="last of a repeat"),
        pytest.param("| C |: F | | G :|", "C F F G F F G", id="within a repeat"),
        pytest.param("|: C | F |1.  :|2. G |", "C F F C F G", id="all of an ending"),
    ],
)
def test_in_an_empty_bar_the_chord_before_stays(text: str, bars: str) -> None:
    """Nothing is written where nothing changes; what comes after it comes no bar early."""
    assert [bar for section in read_back(text) for bar in section] == bars.split()


def test_of_two_chords_the_last_one_stays_in_an_empty_bar() -> None:
    """It is no simile mark: after C and F the F goes on."""
    assert read_back("| C F |  | % |") == [["C F", "F", "F"]]


@pytest.mark.parametrize(
    ("text", "bars"),
    [
        pytest.param("| C || F ||", "C F", id="a double bar line"),
        pytest.param("|| C ||\n|| F ||", "C F", id="at both ends of two lines"),
        pytest.param("| C | F |]", "C F", id="a final one"),
        pytest.param("|: C | F :|]", "C F C F", id="a final one that closes a repeat"),
        pytest.param("| C |]\n| F |]", "C F", id="a final one to each line"),
        pytest.param("| C |\n| F |", "C F", id="where a line ends and where the next begins"),
        pytest.param("| C \n| F |", "C F", id="where the next line begins alone"),
        pytest.param("|: C :| |: F :|", "C C F F", id="a repeat closed and one opened"),
        pytest.param("|: C :||: F :|", "C C F F", id="both on one bar line"),
        pytest.param("|: C :|:  F :|", "C C F F", id="and in one sign"),
        pytest.param("|: C :|\n|: F :|", "C C F F", id="a repeat to each line"),
        pytest.param("|: C :| | F |", "C C F", id="a bar line after a repeat"),
        pytest.param("| C | |: F :|", "C F F", id="a bar line before a repeat"),
        pytest.param("| C || |: F :|", "C F F", id="a double one before a repeat"),
        pytest.param("| C || | F |", "C F", id="a bar line after a double one"),
        pytest.param("|: | C | F :|", "C F C F", id="a bar line after the opening sign"),
        pytest.param("|: C |1. F :| |2. G |", "C F C G", id="an ending that has its own"),
        pytest.param("|: C |1. | F :|2. | G |", "C F C G", id="an ending that stands apart"),
        pytest.param("|: C | 1. F :|\n| 2. G |", "C F C G", id="an ending on a line of its own"),
    ],
)
def test_a_bar_line_written_twice_is_no_empty_bar(text: str, bars: str) -> None:
    """Signs of one bar line may stand a blank apart; a line of bars begins and ends with one."""
    assert read_back(text) == [bars.split()]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "chart has no bars; write some between bar lines, such as | Bb | F7 |"),
        ("| Bb | H7 |", "chart, line 1, bar 2: 'H7' is not a chord symbol"),
        ("Verse\n| % |", "line 2, bar 1: % repeats the bar before, but there is none"),
        ("| | Bb |", "line 1, bar 1 is empty, and no chord comes before it; write one, or N.C."),
        ("Verse\n|  :|", "line 2, bar 1 is empty, and no chord comes before it"),
        (
            "|: Bb :|   | Eb |",
            "line 1: between :| and | is room for a bar, and nothing in it; write",
        ),
        ("| Bb |   |: Eb :|", "line 1: between | and |: is room for a bar, and nothing in it"),
        ("|: Bb |1.   | Eb :|", "line 1: between |1. and | is room for a bar, and nothing in it"),
        ("key: H\n| Bb |", "line 1: 'H' is not a key; write one such as Bb, F#m or C minor"),
        ("key: a\n| Bb |", "line 1: 'a' is not a key"),
        ("metre: 4/5\n| Bb |", "line 1: '4/5' is not a metre; write one such as 4/4 or 12/8"),
        ("tempo: quick\n| Bb |", "line 1: 'quick' is not a tempo; write quarter notes a minute"),
        ("tempo:\n| Bb |", "line 1: 'tempo:' says nothing; write behind the colon what it is, or"),
        ("Key :\n| Bb |", "line 1: 'Key :' says nothing; write behind the colon what it is, or"),
        ("colour: blue\n| Bb |", "line 1: a chart has no 'colour'; its header may say title, key"),
        ("| Bb |\nkey: Bb", "line 2: key stands after the first bar; put it above all bars"),
        ("Bb | Eb |", "line 1: 'Bb | Eb |' does not begin with a bar line; put a | before it"),
        ("| Bb |\nEb F7\n| Bb |", "line 2: 'Eb F7' has chords and no bar lines; put | around each"),
        ("| Bb |\nD.S. al Coda", "line 2: 'D.S. al Coda' jumps to another place, which a chart"),
        ("| Bb |\ndc", "line 2: 'dc' jumps to another place, which a chart here does not; write"),
        ("| Bb :|", "line 1: :| closes a repeat that nothing opens; put |: before it"),
        ("|: Bb | Eb |", "the repeat that |: opens is never closed; close it with :|"),
        ("|: Bb |1. Eb |", "the repeat that |: opens is never closed; close it with :|"),
        ("|: Bb |: Eb :|", "line 1: |: opens a repeat inside a repeat; close the first with :|"),
        ("| Bb |1. Eb |", "line 1: the ending 1. belongs to no repeat; open one with |:"),
        ("|: Bb |1. Eb |2. Ab |", "line 1: the ending 2. begins where 1. is not closed; put :|"),
        ("|: Bb |1. Eb :|3. Ab |", "line 1: the ending 3. comes where 2. is due; number them"),
        ("| Bb Eb Ab Db Gb B E A |", "line 1, bar 1 has a chord between two felt beats, which are"),
        ("metre: 6/8\n| Bb Eb F7 |", "line 2, bar 1 has a chord between two felt beats"),
        ("| Gm7 / C7 |", "bar 1 counts to 3 with its strokes, and a bar of 4/4 has 4 felt beats;"),
        ("| Gm7 / C7 |", "write 4 chords and strokes, such as | Gm7 / C7 / |"),
        ("| Bb | / F7 Bb |", "write 4 chords and strokes, such as | / / F7 Bb |"),
        ("metre: 3/4\n| Bb / Eb / |", "such as | Bb / Eb |"),
        ("metre: 2/2\n| Bb Eb / / |", "counts to 4 with its strokes, and a bar of 2/2 has 2 felt"),
        ("tempo: 310\n| Bb |", "'310' is not a tempo; write quarter notes a minute, 30 to 300"),
        ("|: Bb |\nBridge\n| Eb :|", "line 2: 'Bridge' begins a section inside a repeat"),
        ("| Bb | D.S. |", "line 1, bar 2: 'D.S.' jumps to another place, which a chart here does"),
        ("| Bb | Eb D.C. al Fine", "bar 2: 'D.C. al Fine' jumps to another place, which a chart"),
        (
            "| Bb | to Coda |",
            "bar 2: 'to Coda' jumps to another place, which a chart here does not",
        ),
        ("| Bb | Eb Fine |", "bar 2: 'Fine' marks a place for jumps, and a chart here has none;"),
        (
            "| Bb | Coda |",
            "bar 2: 'Coda' marks a place for jumps, and a chart here has none; write",
        ),
        ("| \U0001d10b Bb |", "marks a place for jumps, and a chart here has none; write the bars"),
        ("| Bb | Eb | %% |", "bar 3: '%%' stands for two bars, which one bar here cannot; write"),
        ("| Bb | Eb | // |", "bar 3: '//' stands for two bars, which one bar here cannot; write"),
        ("| Bb | Eb % |", "bar 2: '%' stands for a whole bar; leave it alone in the bar, or write"),
        ("| / / Bb / |", "bar 1 begins with a stroke, and no chord comes before it; write one"),
        ("|: Bb |1 Eb :|", "bar 2: '1' is no chord, since chords go by letters, and opens no"),
        (
            "|: Bb | Eb x3 :|",
            "bar 2: 'x3' counts how often bars are played; put it behind the sign",
        ),
        ("|: Bb :|\nx3", "line 2: 'x3' counts how often bars are played; put it behind the sign"),
        ("|: Bb :| x1", "line 1: :| x1 cannot be played; give 2 to 99 times"),
        ("|: Bb :| x100", "line 1: :| x100 cannot be played; give 2 to 99 times"),
        ("|: Bb |1. Eb :| x3", ":| x3 counts the times of a repeat that has endings; number these"),
        ("| Bb :| x3", "line 1: :| x3 closes a repeat that nothing opens; put |: before it"),
        ("|: Bb |2.-3. Eb :|", "the ending 2.-3. comes where 1. is due; number them from 1. on"),
        ("|: Bb |1.-2. Eb :|2. Ab |", "the ending 2. comes where 3. is due; number them from 1."),
        (
            "|: Bb |1.-200. Eb :|",
            "1.-200. comes where 1. is due; number them from 1. on, each time",
        ),
        ("|: Bb |1.,3. Eb :| Ab |", "the repeat has an ending 3. and none for 2.; number the"),
        (
            "|: Bb |1. Eb :|2.-3. Ab |",
            "the ending 2.-3. leads back to |: and is not closed; put :|",
        ),
        ("|: Bb |1.,3. Eb :|2. Ab |", "the ending 2. leads back to |: and is not closed; put :|"),
        ("| Bb | 3/4 Eb |", "bar 2: '3/4' is a metre, of which a chart has one for all its bars;"),
        ("| Bb |\n3/4\n| Eb |", "line 2: '3/4' is a metre, of which a chart has one for all its"),
        (
            "| Bb |\nmetre: 3/4",
            "line 2: metre stands after the first bar; put it above all bars if"
            " they all have it; a chart cannot change its metre",
        ),
        (
            "key: Bb\n| Bb |\nkey: Eb",
            "line 3: key stands after the first bar; put it above all"
            " bars, or leave it out if the key changes here: that is heard",
        ),
        (
            "key: Bb\nkey: Eb\n| Bb |",
            "line 2: key is given twice, now as 'Eb'; give the one that the song begins in",
        ),
        (
            "metre: 3/4\ntime: 4/4\n| Bb |",
            "line 2: time is given twice, now as '4/4'; give the one that all bars have",
        ),
    ],
)
def test_a_mistake_is_named_with_its_place(text: str, message: str) -> None:
    """What cannot be read is said with line and bar, and what would do."""
    with pytest.raises(ChartError) as caught:
        parse_chart(text)

    assert message in str(caught.value)


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    """A file that is not there is an error that names it."""
    with pytest.raises(ChartError, match="cannot be read"):
        read_chart(tmp_path / "none.txt")


def test_a_recording_is_no_chart(tmp_path: Path) -> None:
    """Bytes that are no text are refused."""
    path = tmp_path / "song.mid"
    path.write_bytes(b"MThd\xff\xfe\x00")

    with pytest.raises(ChartError, match="is not text"):
        read_chart(path)


def test_a_long_chart_takes_no_longer_for_each_of_its_bars() -> None:
    """What a bar repeats is the one before it, however many lie before that."""
    began = process_time()
    chart = parse_chart("| Ab " + "|%" * 40_000 + "|")

    assert len(chart.bars) == 40_001
    assert process_time() - began < 5


@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_a_chart_may_begin_with_a_byte_order_mark(tmp_path: Path, line_end: str) -> None:
    """Some editors put one first; the key on the first line is read all the same."""
    path = tmp_path / "song.txt"
    path.write_bytes(line_end.join(["key: Ab", "| Ab | Db |", ""]).encode("utf-8-sig"))
    chart = read_chart(path)

    assert chart.key == Key(8)
    assert [section.name for section in chart.sections] == ["Song"]


def test_a_chart_may_begin_with_its_bars_after_a_byte_order_mark(tmp_path: Path) -> None:
    """The first bar line is the first sign that is seen."""
    path = tmp_path / "song.txt"
    path.write_bytes("| Ab | Db |".encode("utf-8-sig"))

    assert len(read_chart(path).bars) == 2


@pytest.mark.parametrize(("encoding", "line"), [("latin-1", 2), ("cp1252", 2), ("utf-16", 1)])
def test_text_in_another_encoding_is_to_be_saved_as_utf_8(
    tmp_path: Path, encoding: str, line: int
) -> None:
    """It is text, and who wrote it is told how to save it; the line helps to find the letter."""
    path = tmp_path / "song.txt"
    path.write_bytes("key: C\ntitle: Água de março\n| C |\n".encode(encoding))
    told = f"song.txt, line {line} has a letter that is not in UTF-8; save the file as UTF-8"

    with pytest.raises(ChartError, match=re.escape(told)):
        read_chart(path)
