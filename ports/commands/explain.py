"""Explain: what the bass played, bar by bar, and what there is to learn from it.

Knows: that a file may be a part already played or the keys to play one to.
Refuses to know: music, and how a page is laid out.
How: keys are replayed, and the part goes through the trace in either case, so that a song and the
trace of it are explained alike.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Final, Unpack

import click
from click.core import ParameterSource

from ports.booking import Asked, booked
from ports.files import FileError, content_of
from ports.lessons import explained, page
from ports.options import (
    FILE,
    GRADE_OPTION,
    PRESET_OPTION,
    SEED_OPTION,
    hearing_options,
)
from ports.played import Played, begins_trace, played_in, read_played
from ports.replay import replay
from ports.song import begins_song, read
from ports.trace import Trace
from presets import loader, own

EXAMPLES: Final = """\b
Examples:
  groundling explain song.mid --preset walking
  groundling explain song.mid --grade 3 --seed 1 --json
  groundling explain song.jsonl       a trace that replay or play wrote
"""

_MIDI_NAMES: Final = (".mid", ".midi", ".smf", ".rmi")


@click.command(epilog=EXAMPLES, short_help="Explain a bass part bar by bar.")
@click.argument("file", type=FILE, metavar="FILE")
@PRESET_OPTION
@GRADE_OPTION
@click.option("--json", "as_json", is_flag=True, help="Print it for a program to read.")
@click.option("--tracks", metavar="NAME,...", help="Only these tracks of the file are the player.")
@hearing_options
@SEED_OPTION
@click.pass_context
def explain(
    context: click.Context,
    /,
    *,
    file: Path,
    as_json: bool,
    tracks: str | None,
    **asked: Unpack[Asked],
) -> None:
    """Explain a bass part bar by bar: the chords, every note and its reason, and what to learn.

    FILE is a trace, which holds a part already played, or a MIDI file of keys, to which a part is
    played first as by replay.
    """
    content = content_of(file, "a MIDI file or a trace", _begins_either)
    if begins_trace(content):
        played = read_played(file, content)
        _check_played(context, file, played, asked["preset"])
    elif begins_song(content) or file.suffix.lower() in _MIDI_NAMES:
        played = _play(file, content, tracks=tracks, **asked)
    else:
        raise FileError(
            f"{file} is neither a MIDI file nor a trace; give a .mid file, or what --trace wrote"
        )
    if as_json:
        click.echo(json.dumps(explained(played), indent=1, ensure_ascii=False))
    else:
        for line in page(played):
            click.echo(line)


def _begins_either(content: bytes) -> bool:
    return begins_trace(content) or begins_song(content)


def _check_played(context: click.Context, file: Path, played: Played, preset: str) -> None:
    """What is played already cannot be played otherwise."""
    given = [
        option
        for option in context.command.params
        if option.name not in ("file", "as_json", "preset")
        and context.get_parameter_source(option.name or "") is ParameterSource.COMMANDLINE
    ]
    if given:
        raise click.UsageError(
            f"{file} is a trace, a part already played; leave out {given[0].opts[0]}"
        )
    chosen = context.get_parameter_source("preset") is ParameterSource.COMMANDLINE
    if chosen and loader.load(own.path_of(preset, own.folder())).name != played.style:
        raise click.UsageError(f"{file} was played in {played.style}; leave out --preset {preset}")


def _play(file: Path, content: bytes, *, tracks: str | None, **asked: Unpack[Asked]) -> Played:
    """Replay the keys of a MIDI file, and read what was played."""
    song = read(file, () if tracks is None else tracks.split(","), content)
    booking = booked(**asked)
    song = song.heeding(booking.heeds)
    bassist = booking.bassist(external_clock=True)
    lines: list[str] = []
    trace = Trace(lines.append, song.tempo.beat_at)
    trace.begin(booking.style, booking.grade, booking.seed)
    replay(bassist, song.with_clock(), trace.take)
    trace.close(song.end)
    return played_in(lines, str(file))
