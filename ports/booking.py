"""Booking: a bassist as the command line asks for one.

Knows: which style, chart, seed and ears a bassist is put together from.
Refuses to know: who plays to it, on what, and in whose time.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import NotRequired, TypedDict

from engine.agenda import POCKET_SECONDS
from engine.bassist import Bassist
from engine.events import Incoming, NoteOn
from engine.foresight.chart import Chart
from engine.foresight.outlook import Foresight
from engine.hearing.ear import Ear
from engine.line.grades import Grade
from engine.opening import C4, can_be_tapped
from engine.style import Style
from engine.theory.meter import FOUR_FOUR, Metre
from ports.charts import read_chart
from ports.files import spare
from ports.options import DEFAULT_TEMPO, attention, seed_or_any
from presets import loader, own


class Asked(TypedDict):
    """The options that every command takes to which a bass is played."""

    preset: str
    grade: Grade
    bend: NotRequired[int]
    chart: Path | None
    lead: int
    only_channel: int | None
    split: int | None
    seed: int | None


@dataclass(frozen=True, slots=True)
class Booking:
    """What was asked for, read and ready to play.

    `preset` is the name or file that the style was read from, `chart_file` that of the chart.
    """

    preset: str
    style: Style
    seed: int
    grade: Grade
    bend: int
    chart: Chart | None
    chart_file: Path | None
    lead: int
    heeds: Callable[[Incoming], bool]

    @property
    def tempo(self) -> float:
        """The chart's, else the usual one; quarter notes a minute."""
        return self.charted_tempo or DEFAULT_TEMPO

    @property
    def charted_tempo(self) -> float | None:
        """The chart's, if it names one."""
        return self.chart.tempo if self.chart else None

    @property
    def metre(self) -> Metre:
        """The chart's, else the one that the style is written for."""
        return self.chart.metre if self.chart else self.style.metres[0]

    @property
    def hears_taps(self) -> bool:
        """Whether the tempo can be tapped: in its metre, and on keys that are heard at all.

        These lie above middle C, of which a split may leave nothing.
        """
        heard = any(self.heeds(NoteOn(0.0, C4 + 1, channel=channel)) for channel in range(16))
        return heard and can_be_tapped(self.metre)

    def bassist(
        self,
        *,
        tempo: float = DEFAULT_TEMPO,
        external_clock: bool = False,
        count_in: int = 0,
        metre: Metre = FOUR_FOUR,
        pocket: float = POCKET_SECONDS,
        taps: bool = False,
    ) -> Bassist:
        """A bassist, new each time, who knows the chart and its key."""
        return Bassist(
            self.style, Random(self.seed),
            tempo=tempo, external_clock=external_clock, count_in=count_in, metre=metre,
            ear=Ear(told=self.chart.key if self.chart else None, sent=self.lead > 0),
            foresight=Foresight(chart=self.chart),
            lead=self.lead, grade=self.grade, bend_range=self.bend, pocket=pocket,
            taps=taps,
        )  # fmt: skip

    def spare(self, *outputs: Path | None, song: Path | None = None) -> None:
        """Never write over what is read, nor twice into one file.

        Raises:
            FileError: that is what was asked for.
        """
        spare({"song": song, "chart": self.chart_file, "preset": Path(self.preset)}, *outputs)


def booked(
    *,
    preset: str,
    grade: Grade,
    chart: Path | None,
    lead: int,
    only_channel: int | None,
    split: int | None,
    seed: int | None,
    bend: int = 0,
) -> Booking:
    """Read the style and the chart that are asked for, and draw a seed where none is given.

    Raises:
        PresetError: there is no such preset, or it will not do.
        ChartError, FileError: the chart cannot be read.
    """
    preset = own.path_of(preset, own.folder())
    return Booking(
        preset=preset, style=loader.load(preset), seed=seed_or_any(seed), grade=grade, bend=bend,
        chart=None if chart is None else read_chart(chart), chart_file=chart,
        lead=lead, heeds=attention(only_channel, split).heeds,
    )  # fmt: skip
