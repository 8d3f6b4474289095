"""Cable: whether whoever plays is still there, as far as the messages tell.

Knows: active sensing and System Reset of MIDI 1.0, and what it means for the bassist that nobody
is left to let a key go.
Refuses to know: clocks and drivers; it is told the time.
How: every message passes through before it becomes an event.  Who sends active sensing promises
never to be silent for long; one who breaks it has been unplugged or switched off.  The standard
takes the first one for the promise, we take the second in time: what reaches us may be thinned out
on its way, and a chord that is held must not be let go for that.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from engine.events import ALL_NOTES_OFF, RESET_CONTROLLERS, Control
from ports.wire import Wired, event_of

ACTIVE_SENSING: Final = 0xFE
SYSTEM_RESET: Final = 0xFF

# The standard promises a message every 0.3 s; a busy machine may hand it on later.
SILENCE_SECONDS: Final = 0.5


def let_go(at: float) -> tuple[Control, ...]:
    """Every pedal comes up, and every key, on all channels."""
    return tuple(
        Control(at, controller, 0, channel)
        for channel in range(16)
        for controller in (RESET_CONTROLLERS, ALL_NOTES_OFF)
    )


class Cable:
    """The cable that chords come through."""

    def __init__(self) -> None:
        self._last_at: float | None = None  # None as long as nobody has promised anything
        self._sensed_at = float("-inf")

    def take(self, message: Sequence[int], at: float) -> tuple[Wired, ...]:
        """What one message tells; may raise no more than `event_of`."""
        alone = message[0] if len(message) == 1 else None
        again = alone == ACTIVE_SENSING and at - self._sensed_at <= SILENCE_SECONDS
        if alone == ACTIVE_SENSING:
            self._sensed_at = at
        if again or self._last_at is not None:
            self._last_at = at
        if alone == SYSTEM_RESET:
            self._last_at = None
            return let_go(at)
        event = event_of(message, at)
        return () if event is None else (event,)

    def look(self, now: float) -> tuple[Wired, ...]:
        """What it means that nothing more has come by now; told once."""
        last_at = self._last_at  # another thread may take a reset just now
        if last_at is None or now - last_at <= SILENCE_SECONDS:
            return ()
        self._last_at = None
        return let_go(now)
