"""The command line: arguments, exit codes, and what is said to a person.

Knows: which command needs which parts of the house, and whose fault an error is.
Refuses to know: music.
How: every error a person can mend is one sentence and exit status 2; a fault of ours is status 1,
its traceback shown only with --debug.
"""

from __future__ import annotations

import signal
import sys
import traceback
from dataclasses import dataclass
from io import TextIOWrapper
from types import FrameType, MappingProxyType
from typing import Final, NoReturn

import click

from ports.charts import ChartError
from ports.commands.explain import explain
from ports.commands.play import play
from ports.commands.ports import ports
from ports.commands.presets import presets
from ports.commands.replay import replay
from ports.files import FileError
from ports.port import PortError
from presets.reading import PresetError

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


for each in (play, replay, explain, ports, presets):
    groundling.add_command(each)


_HEARD_KEY: Final = "the key is heard, and a chart can name it, with a line such as key: Eb"
_BARS_PLAYED: Final = "all bars that are played are told; give it a shorter file"

# What does instead of an option that a command lacks, where another has it or people look for it.
_INSTEAD: Final = MappingProxyType(
    {
        ("play", "--key"): _HEARD_KEY,
        ("replay", "--key"): _HEARD_KEY,
        ("explain", "--key"): _HEARD_KEY,
        ("play", "--bpm"): "--tempo BPM says how fast it counts",
        ("replay", "--tempo"): "the file has its own tempo, and --clock BPM counts by another",
        ("explain", "--tempo"): "the page has no tempo, and a file of keys brings its own",
        ("explain", "--bars"): _BARS_PLAYED,
        ("play", "--tracks"): "live there are none, and --only-channel N hears a channel alone",
    }
)

# Whose fault --------------------------------------------------------------------------------


def _fail(status: int, sentence: str, error: BaseException, *, debug: bool) -> NoReturn:
    if debug:
        traceback.print_exception(error)
    click.echo(f"groundling: {sentence}", err=True)
    sys.exit(status)


def _misused(error: click.ClickException) -> str:
    if isinstance(error, click.NoSuchOption) and error.ctx is not None:
        instead = _INSTEAD.get((error.ctx.info_name or "", error.option_name))
        if instead is not None:
            return f"there is no {error.option_name} here: {instead}"
    sentence = error.format_message().rstrip(".")
    if isinstance(error, click.UsageError) and error.ctx is not None:
        return f"{sentence}; see {error.ctx.command_path} --help"
    return sentence


def _leave(number: int, _frame: FrameType | None) -> NoReturn:
    sys.exit(128 + number)


def main(arguments: list[str] | None = None) -> NoReturn:
    """Run the command line and end the program with its exit status."""
    settings = Settings()
    if isinstance(sys.stdout, TextIOWrapper):  # a letter that a terminal lacks breaks nothing off
        sys.stdout.reconfigure(errors="replace")
    for name in ("SIGTERM", "SIGHUP"):  # the latter when a terminal is closed, on POSIX only
        number = getattr(signal, name, None)
        if number and signal.getsignal(number) is signal.SIG_DFL:  # else ignored, and stays so
            signal.signal(number, _leave)  # by default nothing half written would be removed
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
            " report it to whoever you had it from, with what groundling --debug says",
            error,
            debug=settings.debug,
        )
