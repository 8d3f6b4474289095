"""Replay: the engine in virtual time, as fast as the machine goes.

Knows: that an event must not be shown before its time, and that a deadline must be kept.
Refuses to know: where the events come from and who listens.
How: before each event all deadlines that lie before it; at the same instant the event first, as
the live loop too empties its port before it looks at the clock.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Final

from engine.events import Incoming, Musician, Outgoing, Tick

STUCK_AFTER: Final = 1000
"""So many deadlines at one instant are no music but a fault; a bass plays one note at a time."""


def replay(
    musician: Musician, events: Iterable[Incoming], hear: Callable[[Outgoing], None]
) -> None:
    """Feed the events in their order and pass on everything the musician gives out."""
    for event in events:
        _keep_deadlines(musician, event.at, hear)
        for outgoing in musician.receive(event):
            hear(outgoing)
    _keep_deadlines(musician, float("inf"), hear)


def _keep_deadlines(musician: Musician, until: float, hear: Callable[[Outgoing], None]) -> None:
    last, repeats = float("-inf"), 0
    while (due := musician.next_deadline()) is not None and due < until:
        repeats = repeats + 1 if due <= last else 0
        if repeats > STUCK_AFTER:
            raise RuntimeError(f"the engine asks again and again to be woken at {due:.3f} s")
        last = due
        for outgoing in musician.receive(Tick(due)):
            hear(outgoing)
