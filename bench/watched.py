"""Foresight that lets others see what it expects."""

from __future__ import annotations

from collections.abc import Callable

from engine.events import Forecast
from engine.foresight.outlook import WEIGHED, Foresight
from engine.foresight.standing import Present

Outlook = tuple[Forecast, ...]


class WatchedForesight(Foresight):
    """Foresight that lets each outlook be seen, or be made another one, before it is told.

    `asked` is whether the ear had been asked what comes.
    """

    def __init__(self, watch: Callable[[Outlook], Outlook]) -> None:
        super().__init__()
        self._watch = watch
        self.asked = False

    def look(self, now: Present, horizon: int, *, weigh: int = WEIGHED) -> Outlook:
        """Look ahead as usual, and pass it on."""
        self.asked = now.coming is not None
        seen = super().look(now, horizon, weigh=weigh)
        return self._watch(seen)
