"""Audience: who looks on while the bass plays, and what is told to them besides the music.

Knows: what there is to look at, where a trace goes, and which preset may change meanwhile.
Refuses to know: what is played, and on which ports.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path

import click

from engine.events import NewStyle
from engine.style import Style
from ports.booking import Booking
from ports.files import create
from ports.onlookers import Canvas, Onlookers, Voice
from ports.service import Service
from ports.trace import LiveTrace
from ports.view import can_be_drawn_on, canvas_for
from ports.watch import Watched
from presets import loader, own
from presets.reading import PresetError


def recording(trace: Path | None, booking: Booking) -> list[LiveTrace]:
    """The trace that is wanted, begun over an old one: so not before there is a port.

    Raises:
        FileError: it cannot be written.
    """
    if trace is None:
        return []
    return [LiveTrace(create(trace), booking.style, booking.grade, booking.seed)]


def looking_on(
    recorders: list[Canvas], heading: str | None, style: Style, *, external: bool
) -> Onlookers:
    """Who looks on; without a heading nobody, but what goes wrong is said all the same."""
    if heading is None:
        return Onlookers(Voice(partial(click.echo, err=True)), *recorders)
    display = canvas_for(
        heading, style.neck.tuning, click.echo,
        terminal=can_be_drawn_on(sys.stdout), external=external,
    )  # fmt: skip
    return Onlookers(display, *recorders)


def preset_to_watch(preset: str) -> Watched | None:
    """The file to watch: a player's own; those that come along do not change."""
    path = own.path_of(preset, own.folder())
    own_file = path not in loader.names() and Path(path).is_file()
    return Watched(Path(path)) if own_file else None


def taking_up(service: Service, onlookers: Onlookers) -> Callable[[Style | PresetError], None]:
    """What is done when the preset in use has changed."""

    def take(news: Style | PresetError) -> None:
        if isinstance(news, PresetError):
            onlookers.say(f"{news}; the bass goes on as before")
        else:
            service.say(NewStyle(0.0, news))
            onlookers.say(f"preset {news.name} has changed, and is taken up at the next bar")

    return take
