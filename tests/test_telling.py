"""What is told of the belief, and when: each thing when it becomes another, and only then."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from fractions import Fraction

import pytest
from rich.console import Console

from engine.events import (
    BarOfSilence,
    ChangeExpected,
    Forecast,
    Heard,
    NothingExpected,
    Outgoing,
    Rest,
)
from engine.foresight.outlook import Foresight
from engine.telling import Telling
from engine.theory.harmony import Key
from engine.theory.symbols import parse_symbol, symbol
from ports.charts import parse_chart
from ports.screen import Screen
from ports.trace import Trace
from ports.view import Log
from tests.band import Outlook, WatchedForesight, bass_player, comping, heard_from, moment

E_FLAT = Key(3)


def said(out: list[Outgoing]) -> str:
    """The change that is told, "nothing" where none is expected any more, "" where no news is."""
    match out:
        case [ChangeExpected() as told]:
            return f"{symbol(told.chord, told.key)} {told.at_beat:g}"
        case [NothingExpected()]:
            return "nothing"
        case _:
            assert not out
            return ""


@pytest.mark.parametrize(
    ("believed", "told"),
    [
        ("- -", ["", ""]),
        ("Bb7@4 Bb7@4", ["Bb7 4", ""]),
        ("Bb7@4 Bb7@8 Ab@8", ["Bb7 4", "Bb7 8", "Ab 8"]),
        ("Bb7@4 - -", ["Bb7 4", "nothing", ""]),
        ("Bb7@4 - Bb7@4", ["Bb7 4", "nothing", "Bb7 4"]),
        ("N.C.@4 Bb7@4 N.C.@4", ["", "Bb7 4", "nothing"]),
    ],
)
def test_what_is_expected_is_told_when_it_is_news(believed: str, told: list[str]) -> None:
    """A change, another one, one on another beat, and that there is none any more."""
    telling = Telling()
    answers = []
    for one in believed.split():
        name, _, beat = one.partition("@")
        chord = None if name == "N.C." else parse_symbol(name) if beat else None
        change = Forecast(Fraction(beat), chord, 0.7) if beat else None
        answers.append(said(telling.expected(change, E_FLAT, moment(1.0))))

    assert answers == told


def test_how_surely_a_change_is_expected_is_no_news() -> None:
    """The same change on the same beat, likelier than before, is told once."""
    telling = Telling()
    out = [
        telling.expected(Forecast(Fraction(4), parse_symbol("Bb7"), sure), E_FLAT, moment(1.0))
        for sure in (0.5, 0.9)
    ]

    assert [said(each) for each in out] == ["Bb7 4", ""]


@pytest.mark.parametrize(("still", "told"), [(True, 0), (False, 1)])
def test_after_a_bar_of_silence_the_same_chord_is_news(still: bool, told: int) -> None:
    """But not before a key goes down, which may come a little ahead of the bar line."""
    telling, heard = Telling(), Heard(parse_symbol("Ab"), 0.9, E_FLAT, 0.9)
    assert len(telling.heard(heard, moment(0.0))) == 2  # the key is told too
    assert not telling.heard(heard, moment(4.0))

    assert telling.silence(2, moment(8.0), still=still) == [BarOfSilence(4.0, 8.0, 2)]
    assert len(telling.heard(heard, moment(8.0))) == told
    telling.key_down()
    assert len(telling.heard(heard, moment(8.5))) == 1 - told


# Of a song ----------------------------------------------------------------------------------


def expecting_for_a_bar() -> list[Outgoing]:
    """A bass that expects Ab in bar 3 all through bar 1, and in bar 2, over Eb still, nothing."""

    def doubted(ahead: Outlook) -> Outlook:
        aims = "Ab" if ahead and ahead[0].beat < 4 else "Eb"
        chords = (parse_symbol(aims if f.beat >= 8 else "Eb") for f in ahead)
        return tuple(replace(f, chord=c) for f, c in zip(ahead, chords, strict=True))

    return heard_from(bass_player(foresight=WatchedForesight(doubted)), comping("Eb Eb"), 3.9)


def test_an_expectation_that_is_given_up_is_taken_back() -> None:
    """In bar 1 Ab is expected in bar 3; as soon as that is thought better of it is told."""
    told = [o for o in expecting_for_a_bar() if isinstance(o, ChangeExpected | NothingExpected)]

    assert [said([o]) for o in told] == ["Ab 8", "nothing"]
    assert 3 <= told[1].beat < 4.5


def test_nobody_shows_a_change_that_is_expected_no_longer() -> None:
    """Neither the picture nor the lines nor the trace hold on to it."""
    screen, log, lines = Screen("", (28, 33, 38, 43)), list[str](), list[str]()
    canvases = screen.take, Log(log.append).take, Trace(lines.append, lambda at: 2 * at).take
    for outgoing in expecting_for_a_bar():
        for take in canvases:
            take(outgoing)
    drawn = io.StringIO()
    Console(file=drawn, width=100).print(screen)
    facts = [json.loads(line) for line in lines]

    assert [f["label"] for f in facts if f["type"] == "expect"] == ["Ab:maj", None]
    assert "Ab" not in drawn.getvalue()
    assert not any("Ab" in line for line in log)


def test_who_rests_expects_nothing_and_begins_anew() -> None:
    """The bass that stops counting takes back what it expected; with the song that comes again."""
    foresight = Foresight(chart=parse_chart("| Eb | Ab | Bb7 | Eb |"))
    keys = [*comping("Eb"), *comping("Eb", start=30.0)]
    out = heard_from(bass_player(foresight=foresight), keys, until=32.0)
    told = [o for o in out if isinstance(o, ChangeExpected | NothingExpected | Rest)]
    rest = next(i for i, o in enumerate(told) if isinstance(o, Rest))

    assert isinstance(told[rest - 1], NothingExpected)
    assert said([told[rest + 1]]).startswith("Ab")
