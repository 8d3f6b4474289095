"""Onlookers: what happens is carried from the run loop to everyone who looks on.

Knows: that showing and writing may take long, may fail, and may wait for ever.
Refuses to know: what is shown.
How: the run loop only puts what happens into queues.  Each onlooker has a queue and a thread of
its own, so that a terminal that is held still keeps no trace from being written.  A queue that
nobody empties grows up to a bound, and no evening is too long for it.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from functools import partial
from queue import Empty, SimpleQueue
from threading import Thread
from typing import Final, Protocol

from engine.events import Outgoing
from ports.files import FileError

LEAVE_SECONDS: Final = 2.0
"""How long an onlooker may take to leave before it is left behind."""
MOST_WAITING: Final = 20_000
"""What may wait for an onlooker that is held still, some half an hour of music; of what comes
beyond, the oldest is left out, for what is going on now matters more to whoever looks again."""

NOT_WHOLE: Final = "the trace is not whole: what it is written to did not take all of it in time"


class Canvas(Protocol):
    """Where what happens is shown."""

    def take(self, outgoing: Outgoing) -> None:
        """Show one thing; may take its time.

        Raises:
            OSError: nobody looks any more.
            FileError: what is shown cannot be kept; the sentence is for the player.
        """

    def close(self) -> None:
        """Show the last of it; may fail as `take`."""


class Display(Canvas, Protocol):
    """A canvas that a person looks at."""

    def say(self, sentence: str) -> None:
        """Show a sentence for the player; as `take` it may fail with OSError."""


class Voice:
    """The display of who wants to see nothing, but hears what goes wrong."""

    def __init__(self, write: Callable[[str], object]) -> None:
        self._write = write

    def say(self, sentence: str) -> None:
        """Say it."""
        self._write(sentence)

    def take(self, outgoing: Outgoing) -> None:
        """Show nothing."""

    def close(self) -> None:
        """Nothing is left to show."""


class Onlookers:
    """Everyone who looks on; `show` and `say` never wait.

    Args:
        display: what the player looks at, and where sentences for the player go.
        recorders: who else is shown what the engine gives out.
    """

    def __init__(self, display: Display, *recorders: Canvas) -> None:
        self._display = _Way(display, display.say)
        self.say: Callable[[str], None] = self._display.put
        self._recorders = [_Way(each, self.say) for each in recorders]

    def show(self, outgoing: Outgoing) -> None:
        """Let everyone see one thing the engine gave out."""
        for way in self._recorders:
            way.put(outgoing)
        self._display.put(outgoing)

    def close(self) -> None:
        """Show what is still on its way, and end; the display last, for it tells of the others."""
        whole = [way.leave() for way in self._recorders]
        if not all(whole):
            self.say(NOT_WHOLE)
        self._display.leave()


class _Way:
    """The way to one canvas: a queue, and the thread that empties it; `speak` takes sentences."""

    def __init__(self, canvas: Canvas, speak: Callable[[str], object]) -> None:
        self._queue: SimpleQueue[Outgoing | str | None] = SimpleQueue()
        self._all_kept = True
        self._canvas = canvas
        self._speak = speak
        self._thread = Thread(target=self._carry, name="onlooker", daemon=True)
        self._thread.start()

    def put(self, told: Outgoing | str) -> None:
        """Send it on its way; never waits."""
        self._queue.put(told)
        if self._queue.qsize() > MOST_WAITING:
            with suppress(Empty):  # the thread may have taken them all by now
                self._queue.get_nowait()
                self._all_kept = False

    def leave(self) -> bool:
        """Let the canvas end; whether it was shown everything, as far as it could be shown."""
        self._queue.put(None)
        self._thread.join(LEAVE_SECONDS)
        return self._all_kept and not self._thread.is_alive()

    def _carry(self) -> None:
        told = self._queue.get()
        while told is not None and self._manages(partial(self._tell, told)):
            told = self._queue.get()
        if told is None:
            self._manages(self._canvas.close)
        while told is not None:  # nobody looks any more: let nothing pile up
            told = self._queue.get()

    def _tell(self, told: Outgoing | str) -> None:
        if isinstance(told, str):
            self._speak(told)
        else:
            self._canvas.take(told)

    def _manages(self, act: Callable[[], None]) -> bool:
        """Whether this could be shown; the music goes on in any case."""
        try:
            act()
        except FileError as error:
            self._speak(str(error))
        except OSError:
            pass
        else:
            return True
        return False
