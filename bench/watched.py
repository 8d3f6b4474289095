"""Foresight that lets others see what it expects and what it remembers."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from engine.events import Forecast
from engine.foresight.chart import Chart
from engine.foresight.outlook import WEIGHED, Foresight
from engine.foresight.standing import Present
from engine.theory.harmony import Chord
from engine.theory.meter import Metre

Outlook = tuple[Forecast, ...]


class WatchedForesight(Foresight):
    """Foresight that lets each outlook be seen, or be made another one, before it is told.

    `asked` is whether the ear had been asked what comes, `remembered` the chord of each beat.
    """

    def __init__(
        self, watch: Callable[[Outlook], Outlook] = lambda seen: seen, chart: Chart | None = None
    ) -> None:
        super().__init__(chart=chart)
        self._watch = watch
        self.asked = False
        self.remembered: dict[Fraction, Chord | None] = {}

    def commit(
        self,
        beat: Fraction,
        in_bar: Fraction,
        metre: Metre,
        chord: Chord | None,
        *,
        grounded: bool = False,
        confidence: float = 1.0,
    ) -> None:
        """Remember as usual, and note it."""
        self.remembered[beat] = chord
        super().commit(beat, in_bar, metre, chord, grounded=grounded, confidence=confidence)

    def look(self, now: Present, horizon: int, *, weigh: int = WEIGHED) -> Outlook:
        """Look ahead as usual, and pass it on."""
        self.asked = now.coming is not None
        seen = super().look(now, horizon, weigh=weigh)
        return self._watch(seen)
