"""RtMidi's source: the port that we were told to listen to, as it comes and goes.

Knows: that a keyboard that is unplugged can let no key go, and which name it has when it is back.
Refuses to know: what that means for the bass.
How: RtMidi tells of no change, so the list of names is read, not at every look, for the wrappers
keep the interpreter to themselves meanwhile.  To threads other than the first CoreMIDI may show a
list that is old: then nothing is seen to go, and nothing is done.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import Final, Protocol

READ_SECONDS: Final = 1.0
"""From reading to reading: the bass plays on over held keys for no more than a beat or two."""

FAILURES: Final = (RuntimeError, OSError, SystemError, ValueError, IndexError)
"""What both wrappers raise when a port does not open or a message does not go out."""

_NUMBERS: Final = re.compile(r"^\d+- | \d+(:\d+)?$")
"""What is not of the name itself: RtMidi adds the port's place in the list on Windows, and the
numbers that ALSA gave it; Windows counts alike devices, also one that is plugged in elsewhere."""


class Inputs(Protocol):
    """What can be listened to, one port at a time."""

    def inputs(self) -> list[str]:
        """Names of the ports that can be listened to."""

    def listen(self, index: int | None, heard: Callable[[Sequence[int]], None]) -> None:
        """Open an existing input, or a virtual one when the index is None."""

    def leave(self) -> None:
        """Close the input, so that it can be opened again."""


def lasting(name: str) -> str:
    """What stays of a name when other ports come or go, or it has gone and is back itself."""
    return name if sys.platform == "darwin" else _NUMBERS.sub("", name)


class Source:
    """One port of the list, open already.

    While another of the same name is there, that it has gone itself cannot be told.

    Args:
        system: where it is.
        index: its place in the list.
        heard: what is called with each message, when it is opened again.
        now: the time, in seconds.
    """

    def __init__(
        self, system: Inputs, index: int, heard: Callable[[Sequence[int]], None], now: float
    ) -> None:
        self._system = system
        self._heard = heard
        self._read_at = now
        self._there = True
        # It may have gone since it was chosen: then nothing is known that could come back.
        self._name = "".join(map(lasting, system.inputs()[index : index + 1]))

    def look(self, now: float) -> tuple[bool, list[str]]:
        """Whether it was taken away since the last look, and what is to be said of it."""
        if not self._name or now - self._read_at < READ_SECONDS:
            return False, []
        self._read_at = now
        with suppress(*FAILURES):  # not ready yet, or not any more: the next reading tells
            places = [i for i, n in enumerate(self._system.inputs()) if lasting(n) == self._name]
            if self._there and not places:
                return True, [self._go()]
            if places and not self._there:
                return False, [self._come_back(places[0])]
        return False, []

    def _go(self) -> str:
        self._there = False
        with suppress(*FAILURES):  # Windows counts one that is back while it is open as another
            self._system.leave()
        return f"{self._name} is gone until it is plugged in again; its keys are let go"

    def _come_back(self, index: int) -> str:
        self._system.listen(index, self._heard)
        self._there = True
        return f"{self._name} is back"
