"""Replay: the bass to a MIDI file, as if it were played live.

Knows: what takes down the part, and whose time the song is played in.
Refuses to know: music, and the formats of files.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from random import Random
from typing import Final

import click

from engine.bassist import Bassist
from engine.events import Outgoing
from engine.foresight.outlook import Foresight
from engine.hearing.ear import Ear
from engine.line.grades import Grade
from engine.style import Style
from ports.bass_file import BassFile
from ports.charts import read_chart
from ports.clock import SystemClock
from ports.files import replacing
from ports.options import (
    BEND_OPTION,
    DEFAULT_TEMPO,
    GRADE_OPTION,
    PRESET_OPTION,
    SEED_OPTION,
    attention,
    hearing_options,
    seed_or_any,
    spare,
    tempo_or,
)
from ports.replay import replay as run_replay
from ports.song import Song, read
from ports.tally import Tally, told
from ports.trace import Trace
from presets import loader, own

EXAMPLES: Final = """\b
Examples:
  groundling replay song.mid --out bass.mid
  groundling replay song.mid --tracks Piano,Guitar --preset walking --out bass.mid
  groundling replay take.mid --clock 96 --trace take.jsonl
"""


@click.command(epilog=EXAMPLES, short_help="Play bass to a MIDI file.")
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE.mid")
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
@click.option(
    "--out", type=click.Path(path_type=Path), metavar="BASS.mid", help="Write the part as a file."
)
@click.option(
    "--trace", type=click.Path(path_type=Path), metavar="TRACE.jsonl",
    help="Write what was heard, expected and played, a JSON object a line.",
)  # fmt: skip
def replay(
    *,
    file: Path,
    tracks: str | None,
    preset: str,
    grade: Grade,
    bend: int,
    chart: Path | None,
    lead: int,
    only_channel: int | None,
    split: int | None,
    seed: int | None,
    clock: float | str,
    out: Path | None,
    trace: Path | None,
) -> None:
    """Play bass to a MIDI file, as if it were played live, as fast as the machine goes."""
    song = read(file, () if tracks is None else tracks.split(","))
    song = song.heeding(attention(only_channel, split).heeds)
    preset = own.path_of(preset, own.folder())
    spare({"song": file, "chart": chart, "preset": Path(preset)}, out, trace)
    style = loader.load(preset)
    tempo = clock if isinstance(clock, float) else DEFAULT_TEMPO
    external = clock == "file"
    seed = seed_or_any(seed)
    written = None if chart is None else read_chart(chart)
    bassist = Bassist(
        style, Random(seed),
        tempo=tempo, external_clock=external, ear=Ear(told=written.key if written else None),
        foresight=Foresight(chart=written), lead=lead, grade=grade, bend_range=bend,
    )  # fmt: skip
    tally, system = Tally(sent_early=lead > 0), SystemClock()
    with ExitStack() as stack:
        takers = [
            tally.take,
            *_recorders(stack, song, out, trace, style=style, grade=grade, seed=seed, bend=bend),
        ]
        events = song.with_clock() if external else song.without_clock()
        began = system.now()
        run_replay(bassist, events, _all_of(takers))
        took = system.now() - began
    click.echo(
        f"{told(tally.figures())}; {song.end:.0f} s of music in {took:.1f} s"
        f" ({song.end / took:.0f} times real time); seed {seed}"
    )


def _all_of(takers: list[Callable[[Outgoing], None]]) -> Callable[[Outgoing], None]:
    def tell(outgoing: Outgoing) -> None:
        for take in takers:
            take(outgoing)

    return tell


def _recorders(
    stack: ExitStack,
    song: Song,
    out: Path | None,
    trace: Path | None,
    *,
    style: Style,
    grade: Grade,
    seed: int,
    bend: int,
) -> list[Callable[[Outgoing], None]]:
    """Who takes down the part; files are opened first, so that a bad name costs no waiting."""
    takers: list[Callable[[Outgoing], None]] = []
    if out is not None:
        bass = BassFile(song, bend)
        target = stack.enter_context(replacing(out))
        stack.callback(bass.save, target)
        takers.append(bass.take)
    if trace is not None:
        lines = stack.enter_context(replacing(trace))
        written = Trace(lambda line: lines.write(line.encode()), song.tempo.beat_at)
        written.begin(style, grade, seed)
        stack.callback(written.close, song.end)
        takers.append(written.take)
    return takers
