"""Presets: the styles listed, shown, checked, and one of your own begun."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import click

from ports.files import FileError
from ports.options import DEFAULT_PRESET
from presets import loader, own
from presets.reading import PresetError

EXAMPLES: Final = """\b
Examples:
  groundling presets
  groundling presets show walking
  groundling presets new late-shift --from soul
  groundling presets check late-shift
  groundling play --preset late-shift
"""


@click.group(invoke_without_command=True, epilog=EXAMPLES)
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
        path = own.path_of(name, own.folder())
        style = loader.load(path)
    except PresetError as error:  # one of the player's own; the others are listed all the same
        return f"cannot be played: {error}"
    whose = "" if path == name else " (your own)"
    return f"{style.title}{whose}: {style.description}"


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
@click.argument("preset", metavar="FILE")
def check(preset: str) -> None:
    """Say whether a preset, by file or by name, is sound; if not where and why."""
    found = own.path_of(preset, own.folder())
    if found not in loader.names() and not Path(found).is_file():
        what = "a folder, not a preset file" if Path(found or "nowhere").is_dir() else "not there"
        raise FileError(
            f"{preset!r} is {what}; give a file, or a name that groundling presets lists"
        )
    click.echo(f"{preset} is sound: {loader.load(found).title or Path(found).stem}")
