"""Echo: what the bass plays, come back as keys.

Knows: that the bass may be connected to the chords, by hand or by a patch bay that connects all.
Refuses to know: ports, and what is made of the keys.
How: a left hand may strike what the bass plays, but not at once, exactly as hard, note for note.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from engine.events import Incoming, NoteOn, Outgoing, Play

# The way out and in again takes a period or two of an audio server, the longest in use 43 ms each.
_BACK_WITHIN_SECONDS: Final = 0.1
_RUNNING: Final = 4
"""So many notes in a row: half a bar at the least, and no chance."""

COMES_BACK: Final = (
    "what the bass plays comes back as chords; take away the connection from the bass to the chords"
)


class Echo:
    """Watches for the bass among the keys, and says so.

    Args:
        channel: that of the bass, 0 to 15.
        say: takes the sentence for the player.
    """

    def __init__(self, channel: int, say: Callable[[str], object]) -> None:
        self._channel = channel
        self._say = say
        self._sent: Play | None = None
        self._back = self._running = 0

    def showing(self, show: Callable[[Outgoing], None]) -> Callable[[Outgoing], None]:
        """`show`, with an ear on what went out."""

        def shown(outgoing: Outgoing) -> None:
            self._sends(outgoing)
            show(outgoing)

        return shown

    def heeding(self, heeds: Callable[[Incoming], bool]) -> Callable[[Incoming], bool]:
        """`heeds`, with an ear on what is heeded."""

        def heeded(event: Incoming) -> bool:
            heard = heeds(event)
            if heard:
                self._hears(event)
            return heard

        return heeded

    def _sends(self, outgoing: Outgoing) -> None:
        if isinstance(outgoing, Play):
            self._running = self._back
            self._sent, self._back = outgoing, 0

    def _hears(self, event: Incoming) -> None:
        if self._sent is None or not isinstance(event, NoteOn):
            return
        ours = (self._sent.note, self._sent.velocity, self._channel)
        at_once = abs(event.at - self._sent.at) <= _BACK_WITHIN_SECONDS
        if at_once and (event.note, event.velocity, event.channel) == ours:
            self._sent, self._back = None, self._running + 1
            if self._back == _RUNNING:
                self._say(COMES_BACK)
