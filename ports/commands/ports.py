"""Ports: which MIDI ports there are, and what play would open."""

from __future__ import annotations

from typing import Final

import click

from ports import midi
from ports.port import BASS_NAME, CHORDS_NAME

EXAMPLES: Final = """\b
Example:
  groundling ports
"""


@click.command(epilog=EXAMPLES, short_help="Show the MIDI ports there are.")
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
        return f"No MIDI system found: play shows its rehearsal.  On Linux {midi.WHAT_WOULD_DO}."
    if systems[0].virtual:
        return f'play opens "{CHORDS_NAME}" and "{BASS_NAME}" on {systems[0].name}.'
    return "play cannot open ports of its own here; name two of these with --in and --out."
