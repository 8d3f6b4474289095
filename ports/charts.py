"""Charts from text files, in lead-sheet writing.

    key: Bb
    metre: 4/4
    tempo: 96

    Verse
    | Bb | Gm7 | Cm7 F7 | % |
    |: Bb/D | Eb |1. F7 | F7 :|2. Cm7 F7 | Bb |

Bars stand between bar lines; the chords of a bar share it evenly, or have a felt beat each; a
stroke (/) gives the chord before it one more share; % is the bar before again, N.C. no chord; in an
empty bar the chord before it stays.  |: and :| enclose what is played twice, or :| x3 three times;
1. and 2. open its endings, 1.-2. one for two times; || and |] are bar lines like any other.  A line
without bar lines names a section.
"""

from __future__ import annotations

import re
from codecs import BOM_UTF16_BE, BOM_UTF16_LE
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Final

from engine.foresight.chart import Bar, Chart, Section
from engine.theory.harmony import Chord
from engine.theory.symbols import parse_symbol
from ports.bar_counts import miscounted, places
from ports.bar_lines import signs_and_bars
from ports.chart_header import Header, late, valueless
from ports.chart_signs import unread_in_bar, unread_line
from ports.repeats import Repeat

LONGEST_BYTES: Final = 1_000_000
"""A chart is a page or two; a device that never ends is not read to its end."""

_HEADER: Final = re.compile(r"\s*([A-Za-z]+)\s*:\s*(\S.*?)\s*")
_NO_CHORD: Final = ("N.C.", "NC", "N.C", "n.c.", "nc", "n.c")


class ChartError(ValueError):
    """A chart that cannot be read: where, what, and what would do."""


@dataclass
class _Reading:
    """What was read so far."""

    header: Header = field(default_factory=Header)
    sections: list[tuple[str, list[Bar]]] = field(default_factory=list)
    bars: int = 0
    repeat: Repeat | None = None

    def chart(self) -> Chart:
        """All that was read, as one value."""
        sections = tuple(Section(name, tuple(bars)) for name, bars in self.sections if bars)
        return Chart(sections, self.header.metre, self.header.key, self.header.tempo)


def read_chart(path: Path) -> Chart:
    """The chart in a file.

    Raises:
        ChartError: what is wrong, at which line and bar, and what would do.
    """
    try:
        with path.open("rb") as opened:
            written = opened.read(LONGEST_BYTES + 1)
        if len(written) > LONGEST_BYTES:
            raise ChartError(f"{path} is over a megabyte, as no chart is; give a text file")
        text = written.decode("utf-8-sig")  # some editors put a byte order mark first
    except OSError as error:
        raise ChartError(f"{path} cannot be read ({error.strerror}); give a text file") from None
    except UnicodeDecodeError as error:
        raise ChartError(_undecoded(path, error.object, error.start)) from None
    return parse_chart(text, str(path))


def _undecoded(path: Path, written: bytes, at: int) -> str:
    """What is said of bytes that are not UTF-8 from a place on: other text, or none at all."""
    utf16 = written.startswith((BOM_UTF16_LE, BOM_UTF16_BE))
    if not utf16 and any(byte < ord(" ") and not chr(byte).isspace() for byte in written):
        return f"{path} is not text; give a chart as a text file"
    line = written.count(b"\n", 0, at) + 1
    return f"{path}, line {line} has a letter that is not in UTF-8; save the file as UTF-8"


def parse_chart(text: str, name: str = "chart") -> Chart:
    """The chart in a text; `name` stands for it in errors.

    Raises:
        ChartError: what is wrong, at which line and bar, and what would do.
    """
    reading = _Reading()
    for number, line in enumerate(text.splitlines(), 1):
        _read_line(reading, line.strip(), f"{name}, line {number}")
    _leave_repeat(reading, name)
    if reading.repeat is not None:
        raise ChartError(f"{name}: the repeat that |: opens is never closed; close it with :|")
    if not reading.bars:
        raise ChartError(f"{name} has no bars; write some between bar lines, such as | Bb | F7 |")
    return reading.chart()


def _read_line(reading: _Reading, line: str, where: str) -> None:
    header = _HEADER.fullmatch(line)
    if not line or line.startswith("#"):
        return
    if "|" in line:
        _read_bars(reading, line, where)
    elif header is not None:
        _read_header(reading, header[1].lower(), header[2], where)
    else:
        _begin_section(reading, line, where)


def _begin_section(reading: _Reading, line: str, where: str) -> None:
    _leave_repeat(reading, where)
    if reading.repeat is not None:
        raise ChartError(f"{where}: {line!r} begins a section inside a repeat; close it with :|")
    if unread := unread_line(line) or valueless(line):
        raise ChartError(f"{where}: {unread}")
    words = line.split()
    if len(words) > 1 and all(_is_chord(word) for word in words):
        raise ChartError(f"{where}: {line!r} has chords and no bar lines; put | around each bar")
    reading.sections.append((line.rstrip(":"), []))


def _is_chord(word: str) -> bool:
    try:
        parse_symbol(word)
    except ValueError:
        return False
    return True


# The header ---------------------------------------------------------------------------------


def _read_header(reading: _Reading, word: str, value: str, where: str) -> None:
    if reading.bars and (told := late(word)):
        raise ChartError(f"{where}: {told}")
    try:
        reading.header = reading.header.with_line(word, value)
    except ValueError as error:
        raise ChartError(f"{where}: {error}") from None


# The bars -----------------------------------------------------------------------------------


def _read_bars(reading: _Reading, line: str, where: str) -> None:
    if not reading.sections:
        reading.sections.append(("Song", []))
    try:
        taken = list(signs_and_bars(line))
    except ValueError as error:
        raise ChartError(f"{where}: {error}") from None
    for sign, content in taken:
        if sign:
            _take_sign(reading, sign, where)
        if content is not None:
            _add_bar(reading, content, where)


def _add_bar(reading: _Reading, content: str, where: str) -> None:
    if reading.repeat is not None and reading.repeat.closed:
        _leave_repeat(reading, where)
    reading.bars += 1
    bar = _read_bar(reading, content, f"{where}, bar {reading.bars}")
    if reading.repeat is None:
        reading.sections[-1][1].append(bar)
    else:
        reading.repeat.add(bar)


def _take_sign(reading: _Reading, sign: str, where: str) -> None:
    if sign == "|:":
        _leave_repeat(reading, where)
        if reading.repeat is not None:
            raise ChartError(f"{where}: |: opens a repeat inside a repeat; close the first with :|")
        reading.repeat = Repeat()
    elif reading.repeat is None and sign.startswith(":|"):
        raise ChartError(f"{where}: {sign} closes a repeat that nothing opens; put |: before it")
    elif reading.repeat is None:
        raise ChartError(f"{where}: the ending {sign} belongs to no repeat; open one with |:")
    else:
        _take_sign_in(reading, reading.repeat, sign, where)


def _take_sign_in(reading: _Reading, repeat: Repeat, sign: str, where: str) -> None:
    try:
        if not sign.startswith(":|"):
            repeat.begin_ending(sign)
        else:
            reading.sections[-1][1].extend(repeat.close(sign))
            reading.repeat = repeat if repeat.closed else None
    except ValueError as error:
        raise ChartError(f"{where}: {error}") from None


def _leave_repeat(reading: _Reading, where: str) -> None:
    """What begins now stands outside the repeat, if that has come to its last ending."""
    if reading.repeat is None or not reading.repeat.over:
        return
    try:
        reading.sections[-1][1].extend(reading.repeat.played())
    except ValueError as error:
        raise ChartError(f"{where}: {error}") from None
    reading.repeat = None


def _read_bar(reading: _Reading, content: str, where: str) -> Bar:
    words = _words(content)
    if words == ["%"]:
        none = f"{where}: % repeats the bar before, but there is none; write a chord"
        return _bar_before(reading, none)
    if not words:
        none = f"{where} is empty, and no chord comes before it; write one, or N.C. for no chord"
        return Bar(((Fraction(0), _bar_before(reading, none).chords[-1][1]),))
    if unread := unread_in_bar(content):
        raise ChartError(f"{where}: {unread}")
    chords: list[tuple[Fraction, Chord | None]] = []
    if words[0] == "/":
        none = f"{where} begins with a stroke, and no chord comes before it; write one"
        chords.append((Fraction(0), _bar_before(reading, none).chords[-1][1]))
    metre = reading.header.metre
    for place, word in zip(places(len(words), metre), words, strict=True):
        if word != "/":
            chords.append((place, _read_chord(word, where)))
    if miscount := miscounted(words, [place for place, _ in chords], metre):
        raise ChartError(f"{where} {miscount}")
    return Bar(tuple(chords))


def _words(content: str) -> list[str]:
    """The words of a bar; strokes may stand as close as //, which is two of them."""
    return [
        part for word in content.split() for part in (word if word.strip("/") == "" else [word])
    ]


def _bar_before(reading: _Reading, none: str) -> Bar:
    within = reading.repeat.latest if reading.repeat else []
    played = within or next((bars for _, bars in reversed(reading.sections) if bars), [])
    if not played:
        raise ChartError(none)
    return played[-1]


def _read_chord(word: str, where: str) -> Chord | None:
    if word in _NO_CHORD:
        return None
    try:
        return parse_symbol(word)
    except ValueError as error:
        raise ChartError(f"{where}: {error}, % for the bar before, or N.C. for no chord") from None
