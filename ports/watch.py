"""Watch: a preset that is changed while it is played.

Knows: when a file has another text than before, and whether that text is a style.
Refuses to know: who plays, and what a person is shown.
How: the text itself is compared, twice a second.  A preset is a page, so that reading it costs no
more than asking for its date, and dates lie: they are too coarse for two quick saves, and stay
behind when a file is put back.  A library that is told by the system of changes would bring a
compiled part and, for each editor's way to save (write over, empty and write, rename into place),
the same question that is answered here once: a text is judged when it has been seen twice.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Event, Thread
from typing import Final

from engine.style import Style
from presets import loader
from presets.reading import PresetError, read

LOOK_SECONDS: Final = 0.5
"""From look to look: a save is taken within two, which is less than a bar at any usual tempo."""

LEAVE_SECONDS: Final = 1.0
"""How long a look that is under way may take to end, before it is left behind."""


class Watched:
    """One preset file; as it stands now counts as known."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._known = self._seen = self._look()

    def news(self) -> Style | PresetError | None:
        """The style that the file has become, or why it is none; None if there is nothing new."""
        now = self._look()
        settled, self._seen = now == self._seen, now
        if not settled or now == self._known:
            return None
        self._known = now
        text, complaint = now
        try:
            return PresetError(complaint) if complaint else read(text, self._path.name)
        except PresetError as error:
            return error

    def _look(self) -> tuple[str, str]:
        """The text of the file, and what stands in the way of reading it."""
        try:
            return loader.text_in(self._path), ""
        except PresetError as error:
            return "", str(error)


@contextmanager
def watching(
    watched: Watched | None, tell: Callable[[Style | PresetError], None]
) -> Iterator[None]:
    """Tell of every change while the block runs, from a thread of its own.

    A look may hang (a share that is gone, a pipe in the file's place); then it is left behind.
    """
    over = Event()

    def look() -> None:
        while watched is not None and not over.wait(LOOK_SECONDS):
            news = watched.news()
            if news is not None and not over.is_set():
                tell(news)

    thread = Thread(target=look, name="watch", daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join(LEAVE_SECONDS)
