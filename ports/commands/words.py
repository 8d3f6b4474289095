"""Words: what play says of itself before it begins and when it is over.

Knows: how a tempo is told in each metre, and which figures a player wants in the end.
Refuses to know: who reads it, and how anything is played.
"""

from __future__ import annotations

from itertools import pairwise

from engine.style import Style
from engine.theory.meter import Metre
from ports.service import Report
from ports.tally import Tally, told


def heading_of(style: Style, metre: Metre, tempo: float | None, *, taps: bool) -> str:
    """What is about to be played; a tempo is none where a sequencer counts."""
    tapped = ", or as you tap it" if taps else ""
    pace = "external clock" if tempo is None else f"{_pace(tempo, metre)}{tapped}"
    return f"preset {style.name}, {metre}, {pace}"


def _pace(tempo: float, metre: Metre) -> str:
    """The tempo as it is counted: where a felt beat is no quarter note, that is said."""
    felt = {b - a for a, b in pairwise((*metre.pulses, metre.bar))}
    return f"{tempo:g} bpm" if felt == {1} else f"{tempo:g} quarter notes a minute"


def cut_to_fit(style: Style, metre: Metre) -> str:
    """That a style is played in a metre that it is not written for."""
    home = " and ".join(str(each) for each in style.metres)
    return f"preset {style.name} is written for {home}; its figures are cut to fit {metre}"


def summary(tally: Tally, report: Report, seed: int) -> str:
    """How it went, and the number with which it can be had again."""
    late = f"p99 lateness {report.p99_lateness * 1000:.1f} ms" if report.notes else "nothing late"
    return f"{told(tally.figures())}; {late}; seed {seed}"
