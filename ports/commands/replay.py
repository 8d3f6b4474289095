"""Replay: the bass to a MIDI file, as if it were played live.

Knows: what takes down the part, and whose time the song is played in.
Refuses to know: music, and the formats of files.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import Final, Unpack

import click

from engine.events import Outgoing
from ports.bass_file import BassFile
from ports.booking import Asked, Booking, booked
from ports.clock import SystemClock
from ports.files import replacing
from ports.options import (
    BEND_OPTION,
    DEFAULT_TEMPO,
    FILE,
    GRADE_OPTION,
    PRESET_OPTION,
    SEED_OPTION,
    hearing_options,
    tempo_or,
)
from ports.replay import replay as run_replay
from ports.song import Song, read
from ports.tally import Tally, told
from ports.trace import Trace

EXAMPLES: Final = """\b
Examples:
  groundling replay song.mid --out bass.mid
  groundling replay song.mid --tracks Piano,Guitar --preset walking --out bass.mid
  groundling replay take.mid --clock 96 --trace take.jsonl
"""


@click.command(epilog=EXAMPLES, short_help="Play bass to a MIDI file.")
@click.argument("file", type=FILE, metavar="FILE.mid")
@click.option("--tracks", metavar="NAME,...", help="Only these tracks of the file are the player.")
@PRESET_OPTION
@GRADE_OPTION
@BEND_OPTION
@hearing_options
@SEED_OPTION
@click.option(
    "--clock", callback=tempo_or("file"), default="file", show_default=True, metavar="file|BPM",
    help="file follows the file's tempo map and metre; a number is a tempo of the bassist's own.",
)  # fmt: skip
@click.option("--out", type=FILE, metavar="BASS.mid", help="Write the part as a file.")
@click.option(
    "--trace", type=FILE, metavar="TRACE.jsonl",
    help="Write what was heard, expected and played, a JSON object a line.",
)  # fmt: skip
def replay(
    *,
    file: Path,
    tracks: str | None,
    clock: float | str,
    out: Path | None,
    trace: Path | None,
    **asked: Unpack[Asked],
) -> None:
    """Play bass to a MIDI file, as if it were played live, as fast as the machine goes."""
    song = read(file, () if tracks is None else tracks.split(","))
    booking = booked(**asked)
    booking.spare(out, trace, song=file)
    song = song.heeding(booking.heeds)
    external = clock == "file"
    bassist = booking.bassist(
        tempo=clock if isinstance(clock, float) else DEFAULT_TEMPO, external_clock=external
    )
    tally, system = Tally(sent_early=booking.lead > 0), SystemClock()
    with ExitStack() as stack:
        takers = [tally.take, *_recorders(stack, song, out, trace, booking)]
        events = song.with_clock() if external else song.without_clock()
        began = system.now()
        run_replay(bassist, events, _all_of(takers))
        took = system.now() - began
    click.echo(
        f"{told(tally.figures())}; {song.end:.0f} s of music in {took:.1f} s"
        f" ({song.end / took:.0f} times real time); seed {booking.seed}"
    )


def _all_of(takers: list[Callable[[Outgoing], None]]) -> Callable[[Outgoing], None]:
    def tell(outgoing: Outgoing) -> None:
        for take in takers:
            take(outgoing)

    return tell


def _recorders(
    stack: ExitStack, song: Song, out: Path | None, trace: Path | None, booking: Booking
) -> list[Callable[[Outgoing], None]]:
    """Who takes down the part; files are opened first, so that a bad name costs no waiting."""
    takers: list[Callable[[Outgoing], None]] = []
    if out is not None:
        bass = BassFile(song, booking.bend)
        target = stack.enter_context(replacing(out))
        stack.callback(bass.save, target)
        takers.append(bass.take)
    if trace is not None:
        lines = stack.enter_context(replacing(trace))
        written = Trace(lambda line: lines.write(line.encode()), song.tempo.beat_at)
        written.begin(booking.style, booking.grade, booking.seed)
        stack.callback(written.close, song.end)
        takers.append(written.take)
    return takers
