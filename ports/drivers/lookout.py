"""Lookout: looks around every so often, for what no driver tells of by itself.

Knows: that a look may take long, and may hang.
Refuses to know: what is looked at.
"""

from __future__ import annotations

from collections.abc import Callable
from threading import Event, Thread
from typing import Final

LOOK_SECONDS: Final = 0.08
"""From look to look.  A keyboard that is gone and back between two seems to be there and taken off
by hand, which is not undone.  On USB none is back so soon: whatever is plugged in is left to settle
for 0.1 s at least before it is asked what it is (USB 2.0, section 7.1.7.3)."""
LEAVE_SECONDS: Final = 1.0
"""How long a look that is under way may take to end, before it is left behind."""


class Lookout:
    """Calls `look` from a thread of its own until it is ended."""

    def __init__(self, look: Callable[[], None]) -> None:
        self._look = look
        self._over = Event()
        self._thread = Thread(target=self._keep, name="lookout", daemon=True)
        self._thread.start()

    def end(self) -> bool:
        """Look no more; whether the look that was under way, if any, is over."""
        self._over.set()
        self._thread.join(LEAVE_SECONDS)
        return not self._thread.is_alive()

    def _keep(self) -> None:
        while not self._over.wait(LOOK_SECONDS):
            self._look()
