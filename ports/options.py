"""Options that more than one command takes, and what they are checked for.

Knows: how a tempo, a bend range, a split point and a chart are given on the command line.
Refuses to know: what the commands do with them.
How: each option is a decorator; what belongs together is one.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import reduce
from math import nan
from os import PathLike
from pathlib import Path
from random import Random
from typing import Any, Final

import click

from engine.line.grades import Grade
from engine.pulse import FASTEST, SLOWEST
from ports.attention import Attention, split_point

DEFAULT_PRESET: Final = "soul"
DEFAULT_TEMPO: Final = 100.0


def tempo_or(
    word: str = "",
) -> Callable[[click.Context, click.Parameter, str | None], float | str | None]:
    """A check for an option that takes beats a minute within reason, or a word if one is given."""

    def check(
        _context: click.Context, _option: click.Parameter, value: str | None
    ) -> float | str | None:
        if value is None or value == word:
            return value
        try:
            tempo = float(value)
        except ValueError:
            tempo = nan
        if not SLOWEST <= tempo <= FASTEST:
            wanted = f"{SLOWEST:.0f} to {FASTEST:.0f} beats a minute"
            also = f"{word}, or " if word else ""
            raise click.BadParameter(f"{value!r} is no tempo; give {also}{wanted}")
        return tempo

    return check


def whole(
    low: int, high: int
) -> Callable[[click.Context, click.Parameter, str | None], int | None]:
    """A check for an option that takes a whole number between two limits."""

    def check(_context: click.Context, _option: click.Parameter, value: str | None) -> int | None:
        if value is None:
            return None
        try:
            number = int(value)
        except ValueError:
            number = low - 1
        if not low <= number <= high:
            raise click.BadParameter(f"{value!r} will not do; give {low} to {high}")
        return number

    return check


def port_name(_context: click.Context, _option: click.Parameter, value: str | None) -> str | None:
    """A name, or a part of it, that at least one letter is known of."""
    if value is not None and not value.strip():
        raise click.BadParameter("the name is empty; groundling ports lists those that there are")
    return value


class _FileName(click.Path):
    """The name of a file, whether it is there or not; no name would be the folder one is in."""

    def __init__(self) -> None:
        super().__init__(path_type=Path)

    def convert(
        self, value: str | PathLike[str], param: click.Parameter | None, ctx: click.Context | None
    ) -> str | bytes | PathLike[str]:
        """The path.

        Raises:
            click.BadParameter: the name is empty.
        """
        if not str(value):
            self.fail("the name is empty; give that of a file", param, ctx)
        return super().convert(value, param, ctx)


FILE: Final = _FileName()

PRESET_OPTION = click.option(
    "--preset", default=DEFAULT_PRESET, show_default=True, metavar="P",
    help="The style: a preset's name, or a file of your own.",
)  # fmt: skip


def _seed(_context: click.Context, _option: click.Parameter, value: str | None) -> int | None:
    try:
        return None if value is None else int(value)
    except ValueError:
        raise click.BadParameter(f"{value!r} will not do; give a whole number") from None


SEED_OPTION = click.option(
    "--seed", callback=_seed, metavar="N",
    help="Repeat a performance: the same chords and seed give the same part.",
)  # fmt: skip
BEND_OPTION = click.option(
    "--bend", callback=whole(0, 24), default="0", metavar="SEMITONES",
    help="Send slides as pitch bend of this range, up to 24, which your synth is told; 0 for none.",
)  # fmt: skip


def seed_or_any(seed: int | None) -> int:
    """The seed that was given, else one short enough to be typed in again."""
    return Random().randrange(10_000) if seed is None else seed


def _grade(_context: click.Context, _option: click.Parameter, value: str) -> Grade:
    try:
        return Grade(int(value))
    except ValueError:
        raise click.BadParameter(
            f"{value!r} is no grade; give 1 (roots) to 7 (everything)"
        ) from None


GRADE_OPTION = click.option(
    "--grade", callback=_grade, default="7", show_default=True, metavar="1-7",
    help="How much of the style is played: 1 roots, 2 fifths too, 3 triads, 4 the style's"
    " pattern, 5 links by scale, 6 links by semitone too, 7 everything.",
)  # fmt: skip


def _split(_context: click.Context, _option: click.Parameter, value: str | None) -> int | None:
    try:
        return None if value is None else split_point(value)
    except ValueError as error:
        raise click.BadParameter(str(error)) from error


_HEARING: Final = (
    click.option(
        "--chart", type=FILE, metavar="FILE",
        help="The song as written, followed loosely; the ears decide.",
    ),
    click.option(
        "--lead", callback=whole(0, 16), default="0", metavar="BEATS",
        help="The chords come so many felt beats, up to 16, before they are due, as from a track"
        " sent early.",
    ),
    click.option(
        "--only-channel", callback=whole(1, 16), metavar="N",
        help="Hear chords on this MIDI channel only.",
    ),
    click.option(
        "--split", callback=_split, metavar="NOTE",
        help="Hear chords below this note only, such as C4 or 60; the right hand is free.",
    ),
)  # fmt: skip


def hearing_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """What the player says of the chords to come, and of the keys they are played on."""
    return reduce(lambda wrapped, option: option(wrapped), reversed(_HEARING), command)


def attention(only_channel: int | None, split: int | None) -> Attention:
    """What is listened to, channels counted from 1 as players do."""
    return Attention(None if only_channel is None else only_channel - 1, split)
