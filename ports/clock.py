"""Clock: the only place that reads or waits for time.

Everything else is told the time in its events, so it can be played in a test, or from a file, as
fast as the machine goes.
"""

from __future__ import annotations

from queue import Empty, SimpleQueue
from random import Random
from time import perf_counter, sleep
from typing import Final, Protocol, TypeVar

Item = TypeVar("Item")

# A sleep was measured to overshoot by 0.09 ms (median) and 0.12 ms (nine in ten) on a Linux
# machine of two shared processors, so the last stretch is spun, yielding at every turn.
SPIN_SECONDS: Final = 0.0008

# On Windows a wait on a queue cannot be interrupted by Ctrl-C; this is how long one may take.
LONGEST_WAIT_SECONDS: Final = 0.2


class Clock(Protocol):
    """Tells the time in seconds from a zero of its own, and waits for it."""

    def now(self) -> float:
        """Seconds since the clock's zero."""

    def wait_until(self, deadline: float) -> None:
        """Return once `now()` has reached the deadline."""

    def next_from(self, inbox: SimpleQueue[Item], deadline: float | None) -> Item | None:
        """The inbox's next item as soon as there is one, or None once the deadline is reached."""


class SystemClock:
    """The machine's steady clock.

    Its zero is a random distance away, so that a time taken from another clock by mistake
    shows at once.
    """

    def __init__(self, random: Random | None = None) -> None:
        self._zero = (random or Random()).uniform(10_000, 1_000_000)

    def now(self) -> float:
        """Seconds since the clock's zero."""
        return perf_counter() + self._zero

    def wait_until(self, deadline: float) -> None:
        """Return once `now()` has reached the deadline: sleep, then spin."""
        while (left := deadline - self.now()) > 0:
            sleep(max(0.0, left - SPIN_SECONDS))

    def next_from(self, inbox: SimpleQueue[Item], deadline: float | None) -> Item | None:
        """The next item as soon as there is one, or None once the deadline is reached.

        Only one thread may read from the inbox.
        """
        while inbox.empty():
            left = LONGEST_WAIT_SECONDS if deadline is None else deadline - self.now()
            if left <= 0:
                return None
            if left <= SPIN_SECONDS:
                sleep(0)
                continue
            try:
                return inbox.get(timeout=min(left - SPIN_SECONDS, LONGEST_WAIT_SECONDS))
            except Empty:
                continue
        return inbox.get_nowait()
