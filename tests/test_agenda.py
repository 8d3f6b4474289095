"""The agenda alone: what falls due next, after each thing that happens."""

from __future__ import annotations

from fractions import Fraction

import pytest

from engine.agenda import Agenda, Due
from engine.part import Part
from engine.pulse import Pulse
from engine.timing import GATHER_SECONDS, LISTEN_AGAIN_SECONDS, Timing

BEAT = 0.5
"""Seconds."""

Step = tuple[str, float]


def due_after(*steps: Step) -> tuple[float, Due]:
    """What falls due next in a song at 120 that has begun, each step at its second.

    "beat": a felt beat begins; "key": a key goes down; "read": the chord is read; "jump": the song
    goes on at the second beat, without any change of the clock.
    """
    pulse = Pulse(60 / BEAT)
    pulse.strike(0.0)
    agenda = Agenda(pulse, Part(), lambda _: False, Timing(), 0.025)
    agenda.next_beat = Fraction(1)
    for what, at in steps:
        match what:
            case "beat":
                agenda.crossed(at, at / BEAT)
                agenda.next_beat = Fraction(round(at / BEAT) + 1)
            case "key":
                agenda.key_down(at)
            case "read":
                agenda.has_read(at)
            case "jump":
                agenda.move(Fraction(1))
    return agenda.next_due()


@pytest.mark.parametrize(
    ("steps", "at", "due"),
    [
        # A beat is read anew for what was let go or pushed; its keys, when the last has landed.
        ([("beat", 0.5)], 0.5, Due.HEAR),
        ([("read", 0.1), ("beat", 0.5), ("read", 0.5), ("beat", 1.0)],
         1.0 + LISTEN_AGAIN_SECONDS, Due.HEAR),
        ([("key", 0.02)], 0.02 + GATHER_SECONDS, Due.HEAR),
        # A key that lands just before the beat is read again puts that off: half a chord is none.
        ([("beat", 0.0), ("read", 0.0), ("beat", 0.5), ("key", 0.52)],
         0.52 + GATHER_SECONDS, Due.HEAR),
        # Keys just ahead of the beat are read with it if they have landed, else when they have.
        ([("beat", 0.0), ("read", 0.0), ("key", 0.48), ("read", 0.486), ("beat", 0.5)],
         0.5, Due.HEAR),
        ([("beat", 0.0), ("read", 0.0), ("key", 0.497), ("beat", 0.5)],
         0.497 + GATHER_SECONDS, Due.HEAR),
        # A sixteenth after the beat it is read a last time, but not after a jump.
        ([("beat", 0.0), ("read", 0.022)], 0.125, Due.HEAR),
        ([("beat", 0.0), ("read", 0.022), ("read", 0.125)], 0.5, Due.CROSS),
        ([("beat", 0.0), ("read", 0.022), ("jump", 0.05)], 0.5, Due.CROSS),
    ],
)  # fmt: skip
def test_the_keys_are_read_when_they_have_landed(steps: list[Step], at: float, due: Due) -> None:
    """Neither in the middle of a chord, nor for a beat that the song has left."""
    assert due_after(*steps) == (pytest.approx(at), due)
