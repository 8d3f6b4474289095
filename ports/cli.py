"""The command line: arguments, exit codes, and what is said to a person.

Knows: which command needs which parts of the house, and whose fault an error is.
Refuses to know: music.
How: every error a person can mend is one sentence and exit status 2; a fault of ours is status 1,
its traceback shown only with --debug.
"""

from __future__ import annotations

import sys
import traceback
from collections.abc import Callable, Mapping
from contextlib import ExitStack
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from random import Random
from typing import Final, NoReturn

import click

from engine.bassist import Bassist
from engine.events import Beat, NewStyle, NoteOn, Outgoing, Stop, Tick
from engine.foresight.outlook import Foresight
from engine.line.grades import Grade
from engine.meter import FOUR_FOUR
from engine.pulse import FASTEST
from engine.style import Style
from ports import midi, rehearsal
from ports.charts import ChartError, read_chart
from ports.clock import SystemClock
from ports.explain import explain
from ports.files import BassFile, FileError, Song, create, read, replacing
from ports.loop import LoopPort
from ports.onlookers import Canvas, Onlookers, Voice
from ports.options import (
    BEND_OPTION,
    DEFAULT_PRESET,
    DEFAULT_TEMPO,
    GRADE_OPTION,
    PRESET_OPTION,
    SEED_OPTION,
    attention,
    hearing_options,
    seed_or_any,
    tempo_or,
)
from ports.port import BASS_NAME, CHORDS_NAME, NoMidiSystem, Port, PortError
from ports.replay import replay as run_replay
from ports.service import Report, Service
from ports.tally import Tally, told
from ports.trace import LiveTrace, Trace
from ports.view import canvas_for
from ports.watch import Watched, watching
from presets import loader, own
from presets.loader import PresetError

BREATH_SECONDS: Final = 0.5
"""From the rehearsal's announcement to its first chord."""

OK, OURS, MENDABLE = 0, 1, 2
STOPPED: Final = 130
"""What a shell expects of a program that Ctrl-C broke off; play, which it only ends, says 0."""


@dataclass(slots=True)
class Settings:
    """What holds for every command."""

    debug: bool = False


# Examples, shown under each help text -----------------------------------------------------

HELP_EXAMPLES: Final = """\b
Examples:
  groundling play                     open a port for chords and one for the bass
  groundling play --rehearse          see it play without any MIDI gear
  groundling replay song.mid --out bass.mid
  groundling explain song.mid         what it plays, bar by bar, and why
  groundling presets                  the styles there are
"""
PLAY_EXAMPLES: Final = """\b
Examples:
  groundling play --tempo 92 --count-in 1
  groundling play --clock external --preset walking
  groundling play --in "Stage Piano" --out "Synth" --channel 2
  groundling play --rehearse --bars 16 --quiet
  groundling play --preset walking --grade 3
"""
REPLAY_EXAMPLES: Final = """\b
Examples:
  groundling replay song.mid --out bass.mid
  groundling replay song.mid --tracks Piano,Guitar --preset walking --out bass.mid
  groundling replay take.mid --clock 96 --trace take.jsonl
"""
PORTS_EXAMPLES: Final = """\b
Example:
  groundling ports
"""
PRESETS_EXAMPLES: Final = """\b
Examples:
  groundling presets
  groundling presets show walking
  groundling presets new late-shift --from soul
  groundling presets check late-shift
  groundling play --preset late-shift
"""


# Arguments ----------------------------------------------------------------------------------


@click.group(
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 96},
    epilog=HELP_EXAMPLES,
    invoke_without_command=True,
)
@click.version_option(package_name="groundling")
@click.option("--debug", is_flag=True, envvar="GROUNDLING_DEBUG", help="Show where an error arose.")
@click.pass_context
def groundling(context: click.Context, *, debug: bool) -> None:
    """Plays bass to the chords you play."""
    context.obj.debug = debug
    if context.invoked_subcommand is None:
        click.echo(context.get_help())


# play ---------------------------------------------------------------------------------------


@groundling.command(epilog=PLAY_EXAMPLES, short_help="Play bass to chords as they come in.")
@PRESET_OPTION
@GRADE_OPTION
@click.option(
    "--tempo", callback=tempo_or(), metavar="BPM",
    help="Beats a minute; bar 1 begins with your first chord.  [default: the chart's, or 100]",
)  # fmt: skip
@click.option(
    "--clock", type=click.Choice(["internal", "external"]), default="internal", show_default=True,
    help="external follows the MIDI clock of a sequencer or DAW.",
)  # fmt: skip
@click.option(
    "--count-in", type=click.IntRange(0, 8), default=0, metavar="BARS",
    help="Count so many bars before bar 1 (internal clock).",
)  # fmt: skip
@click.option("--in", "source", metavar="NAME", help="Listen to this port instead of our own.")
@click.option("--out", "target", metavar="NAME", help="Send to this port instead of our own.")
@click.option(
    "--channel", type=click.IntRange(1, 16), default=1, show_default=True, metavar="N",
    help="The MIDI channel of the bass.",
)  # fmt: skip
@BEND_OPTION
@click.option(
    "--pocket", type=click.IntRange(0, 60), default=25, show_default=True, metavar="MS",
    help="How long a note on a change in doubt may wait for your keys: sooner, or surer.",
)  # fmt: skip
@hearing_options
@SEED_OPTION
@click.option("--rehearse", is_flag=True, help="Play to a built-in keyboard player, without ports.")
@click.option("--bars", type=click.IntRange(1, 9999), metavar="N", help="Stop after so many bars.")
@click.option(
    "--trace", type=click.Path(path_type=Path), metavar="TRACE.jsonl",
    help="Write what was heard, expected and played, for explain to read.",
)  # fmt: skip
@click.option("--quiet", is_flag=True, help="Only the summary at the end.")
def play(
    *,
    preset: str,
    grade: Grade,
    tempo: float | None,
    clock: str,
    count_in: int,
    source: str | None,
    target: str | None,
    channel: int,
    bend: int,
    pocket: int,
    chart: Path | None,
    lead: int,
    only_channel: int | None,
    split: int | None,
    seed: int | None,
    rehearse: bool,
    bars: int | None,
    trace: Path | None,
    quiet: bool,
) -> None:
    """Play bass to chords as they come in, until Ctrl-C.

    Opens the ports "groundling chords" and "groundling bass"; connect a keyboard to the first and
    an instrument to the second.  On Windows name existing ports with --in and --out.  Where there
    is no MIDI system it plays the built-in rehearsal.  A preset file of your own is watched: save
    it while playing, and the change is heard at the next bar.
    """
    external = clock == "external"
    _check_together(external=external, rehearse=rehearse, ports=source or target, count_in=count_in)
    preset = own.path_of(preset, own.folder())
    _spare({"chart": chart, "preset": Path(preset)}, trace)
    watched = _watched(preset)
    style = loader.load(preset)
    written = None if chart is None else read_chart(chart)
    tempo = tempo or (written and written.tempo) or DEFAULT_TEMPO
    seed = seed_or_any(seed)
    recording = [] if trace is None else [LiveTrace(create(trace), style, grade, seed)]
    _warm_up(style)
    system = SystemClock()
    port = _port(system, source, target, rehearse=rehearse)
    metre = style.metres[0] if written is None else written.metre
    if isinstance(port, LoopPort):
        external, metre, bars = False, FOUR_FOUR, bars or rehearsal.BARS
    bassist = Bassist(
        style, Random(seed),
        tempo=tempo, external_clock=external, count_in=count_in, metre=metre,
        foresight=Foresight(chart=written), lead=lead, grade=grade, bend_range=bend,
        pocket=pocket / 1000,
    )  # fmt: skip
    tally = Tally()
    heading = f"preset {style.name}, {metre}, {'external clock' if external else f'{tempo:g} bpm'}"
    onlookers = _onlookers([tally, *recording], None if quiet else heading, style)
    service = Service(
        bassist, port, system,
        on_outgoing=onlookers.show, stop_when=_stop_after(bars), channel=channel - 1,
        heeds=attention(only_channel, split).heeds, bend_range=bend,
    )  # fmt: skip
    try:
        if not external:
            port.inbox.put(Tick(system.now()))  # begins the count-in, where there is one
        if isinstance(port, LoopPort) and bars:
            port.play(
                rehearsal.events(tempo, seed, bars + 1), _first_chord_at(system, tempo, count_in)
            )
        with watching(watched, _taking_up(service, onlookers)):
            report = service.run()
    finally:
        onlookers.close()
    click.echo(_summary(tally, report, seed))


def _check_together(*, external: bool, rehearse: bool, ports: str | None, count_in: int) -> None:
    if rehearse and (external or ports):
        raise click.UsageError(
            "--rehearse brings its own player and beat; leave out --clock external, --in and --out"
        )
    if external and count_in:
        raise click.UsageError("--count-in goes with the internal clock; the sequencer counts")


def _warm_up(style: Style) -> None:
    """Play two beats to nobody: what is done for the first time is slow, and the first note is not.

    Tables are unpacked, caches filled and code loaded before a port is there to be played on.
    """
    bassist = Bassist(style, Random(0), tempo=FASTEST)
    keys = [NoteOn(0.0, note) for note in (39, 55, 58, 63)]
    run_replay(bassist, [*keys, Stop(0.5)], lambda _: None)


def _port(system: SystemClock, source: str | None, target: str | None, *, rehearse: bool) -> Port:
    if rehearse:
        return LoopPort()
    try:
        return midi.open_port(system.now, source, target)
    except NoMidiSystem as error:
        if source or target:
            raise
        click.echo(
            f"{error}; here is the built-in rehearsal instead (Ctrl-C ends it sooner)", err=True
        )
        return LoopPort()


def _onlookers(recorders: list[Canvas], heading: str | None, style: Style) -> Onlookers:
    """Who looks on; without a heading nobody, but what goes wrong is said all the same."""
    if heading is None:
        return Onlookers(Voice(partial(click.echo, err=True)), *recorders)
    terminal = sys.stdout is not None and sys.stdout.isatty()
    display = canvas_for(heading, style.neck.tuning, click.echo, terminal=terminal)
    return Onlookers(display, *recorders)


def _watched(preset: str) -> Watched | None:
    """The file to watch: a player's own; those that come along do not change."""
    own_file = preset not in loader.names() and Path(preset).is_file()
    return Watched(Path(preset)) if own_file else None


def _taking_up(service: Service, onlookers: Onlookers) -> Callable[[Style | PresetError], None]:
    """What is done when the preset in use has changed."""

    def take(news: Style | PresetError) -> None:
        if isinstance(news, PresetError):
            onlookers.say(f"{news}; the bass goes on as before")
        else:
            service.say(NewStyle(0.0, news))
            onlookers.say(f"preset {news.name} has changed, and is taken up at the next bar")

    return take


def _stop_after(bars: int | None) -> Callable[[Outgoing], bool] | None:
    if bars is None:
        return None
    return lambda outgoing: isinstance(outgoing, Beat) and outgoing.bar > bars


def _first_chord_at(system: SystemClock, tempo: float, count_in: int) -> float:
    """When the rehearsal begins: on bar 1 after the count-in, or after a breath."""
    counted = count_in * rehearsal.BEATS_PER_BAR * 60 / tempo
    return system.now() + (counted or BREATH_SECONDS)


def _summary(tally: Tally, report: Report, seed: int) -> str:
    late = f"p99 lateness {report.p99_lateness * 1000:.1f} ms" if report.notes else "nothing late"
    return f"{told(tally.figures())}; {late}; seed {seed}"


# replay -------------------------------------------------------------------------------------


@groundling.command(epilog=REPLAY_EXAMPLES, short_help="Play bass to a MIDI file.")
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
    song = read(file, tracks.split(",") if tracks else ())
    preset = own.path_of(preset, own.folder())
    _spare({"song": file, "chart": chart, "preset": Path(preset)}, out, trace)
    style = loader.load(preset)
    tempo = clock if isinstance(clock, float) else DEFAULT_TEMPO
    external = clock == "file"
    seed = seed_or_any(seed)
    foresight = Foresight(chart=None if chart is None else read_chart(chart))
    bassist = Bassist(
        style, Random(seed),
        tempo=tempo, external_clock=external, foresight=foresight, lead=lead, grade=grade,
        bend_range=bend,
    )  # fmt: skip
    tally, system = Tally(), SystemClock()
    with ExitStack() as stack:
        takers = [
            tally.take,
            *_recorders(stack, song, out, trace, style=style, grade=grade, seed=seed, bend=bend),
        ]
        events = song.with_clock() if external else song.without_clock()
        began = system.now()
        heeds = attention(only_channel, split).heeds
        run_replay(bassist, filter(heeds, events), _all_of(takers))
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


def _spare(read: Mapping[str, Path | None], *outputs: Path | None) -> None:
    """Never write over what is read, nor twice into one file."""
    given = [path for path in outputs if path is not None]
    for what, source in read.items():
        for path in given:
            if source is not None and source.is_file() and path.is_file() and path.samefile(source):
                raise FileError(f"{path} is the {what} itself; give another file to write to")
    files = [path.resolve() for path in given if path.is_file() or not path.exists()]
    if len(set(files)) < len(files):
        raise FileError(f"{given[0]} is to take both the part and the trace; give each its own")


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


groundling.add_command(explain)

# ports --------------------------------------------------------------------------------------


@groundling.command(epilog=PORTS_EXAMPLES, short_help="Show the MIDI ports there are.")
def ports() -> None:
    """Show the MIDI systems and ports there are, and what play would open."""
    systems = midi.systems()
    for system in systems:
        click.echo(system.name)
        for kind, names in (("chords from", system.inputs), ("bass to", system.outputs)):
            for name in names:
                click.echo(f"  {kind:<12} {name}")
            if not names:
                click.echo(f"  {kind:<12} (nothing there)")
    click.echo(_what_play_opens(systems))


def _what_play_opens(systems: tuple[midi.MidiSystem, ...]) -> str:
    if not systems:
        return (
            "No MIDI system found: play shows its rehearsal.  On Linux start JACK or PipeWire, or"
            " load ALSA's sequencer (modprobe snd-seq)."
        )
    if systems[0].virtual:
        return f'play opens "{CHORDS_NAME}" and "{BASS_NAME}" on {systems[0].name}.'
    return "play cannot open ports of its own here; name two of these with --in and --out."


# presets ------------------------------------------------------------------------------------


@groundling.group(invoke_without_command=True, epilog=PRESETS_EXAMPLES)
@click.pass_context
def presets(context: click.Context) -> None:
    """List, show and check the styles."""
    if context.invoked_subcommand is None:
        _list_presets()


@presets.command("list")
def list_presets() -> None:
    """List the presets."""
    _list_presets()


def _list_presets() -> None:
    for name in (*loader.names(), *own.own_names(own.folder())):
        click.echo(f"{name:<12} {_about(name)}")


def _about(name: str) -> str:
    try:
        style = loader.load(own.path_of(name, own.folder()))
    except (
        PresetError
    ) as error:  # one of the player's own; the others are to be listed all the same
        return f"cannot be played: {error}"
    return f"{style.title}: {style.description}"


@presets.command()
@click.argument("name")
def show(name: str) -> None:
    """Print a preset, comments and all."""
    click.echo(own.text_of(own.path_of(name, own.folder())), nl=False)


@presets.command()
@click.argument("name")
@click.option("--from", "other", default=DEFAULT_PRESET, show_default=True, metavar="OTHER",
              help="The preset to begin with.")  # fmt: skip
def new(name: str, other: str) -> None:
    """Begin a preset of your own as a copy of another, and say where it lies."""
    path = own.begin(name, own.path_of(other, own.folder()), own.folder())
    click.echo(f"{path} is yours to change; play it with --preset {name}")


@presets.command()
@click.argument("file")
def check(file: str) -> None:
    """Say whether a preset file, or one of your own by name, is sound; if not where and why."""
    path = Path(own.path_of(file, own.folder()))
    if not path.is_file():
        raise FileError(f"there is no file {file}")
    click.echo(f"{file} is sound: {loader.load(path).title or path.stem}")


# Whose fault --------------------------------------------------------------------------------


def _fail(status: int, sentence: str, error: BaseException, *, debug: bool) -> NoReturn:
    if debug:
        traceback.print_exception(error)
    click.echo(f"groundling: {sentence}", err=True)
    sys.exit(status)


def _misused(error: click.ClickException) -> str:
    sentence = error.format_message().rstrip(".")
    if isinstance(error, click.UsageError) and error.ctx is not None:
        return f"{sentence}; see {error.ctx.command_path} --help"
    return sentence


def main(arguments: list[str] | None = None) -> NoReturn:
    """Run the command line and end the program with its exit status."""
    settings = Settings()
    try:
        groundling.main(arguments, "groundling", standalone_mode=False, obj=settings)
        sys.exit(OK)
    except (ChartError, FileError, PortError, PresetError) as error:
        _fail(MENDABLE, str(error), error, debug=settings.debug)
    except click.ClickException as error:
        _fail(MENDABLE, _misused(error), error, debug=settings.debug)
    except OSError as error:  # the disk is full, the terminal gone: not ours, and not music
        where = f" at {error.filename}" if error.filename else ""
        _fail(MENDABLE, f"the system refuses{where}: {error.strerror}", error, debug=settings.debug)
    except (click.Abort, KeyboardInterrupt):
        click.echo("groundling: stopped", err=True)
        sys.exit(STOPPED)
    except Exception as error:  # whatever else comes up is ours
        _fail(
            OURS,
            f"this is a fault of ours, not of yours ({type(error).__name__}: {error}); please"
            " report it on the project's issue page, with what groundling --debug says",
            error,
            debug=settings.debug,
        )
