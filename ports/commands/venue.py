"""Venue: the port that is played on, or the rehearsal where there is none.

Knows: who plays in a rehearsal, and when.
Refuses to know: who looks on, and what the bass makes of it.
"""

from __future__ import annotations

from typing import Final

import click

from engine.events import Incoming, NoteOn
from ports import midi, rehearsal
from ports.booking import Booking
from ports.clock import SystemClock
from ports.loop import LoopPort
from ports.port import NoMidiSystem, Port

BREATH_SECONDS: Final = 0.5
"""From the rehearsal's announcement to its first chord."""


def port_for(
    system: SystemClock, source: str | None, target: str | None, *, rehearse: bool
) -> Port:
    """The port that was asked for; without a MIDI system the rehearsal's, if none was named.

    Raises:
        PortError: there is no such port, or it does not open.
    """
    if rehearse:
        return LoopPort()
    try:
        return midi.open_port(system.now, source, target)
    except NoMidiSystem as error:
        if source or target:
            raise
        click.echo(
            f"{error}; for now here is the built-in rehearsal (Ctrl-C ends it sooner)", err=True
        )
        return LoopPort()


def script_for(tempo: float, booking: Booking, bars: int) -> tuple[Incoming, ...]:
    """What the rehearsal's player will play, worked out before the time is taken that it begins at.

    Raises:
        click.UsageError: nothing of it would be heard, with a split or on a channel.
    """
    script = rehearsal.events(tempo, booking.seed, bars + 1)
    if not any(isinstance(event, NoteOn) and booking.heeds(event) for event in script):
        raise click.UsageError(
            "with --split or --only-channel no key of the rehearsal is left to hear;"
            " leave them out, or choose others"
        )
    return script


def first_chord_at(system: SystemClock, tempo: float, count_in: int) -> float:
    """When the rehearsal begins: on bar 1 after the count-in, or after a breath."""
    counted = count_in * rehearsal.BEATS_PER_BAR * 60 / tempo
    return system.now() + (counted or BREATH_SECONDS)
