"""Patience: what may never come back is waited for only so long.

Knows: that a call into a MIDI system may hang, and that Ctrl-C reaches nobody in there.
Refuses to know: what is called.
"""

from __future__ import annotations

from collections.abc import Callable
from threading import Thread


def within(seconds: float, act: Callable[[], object]) -> bool:
    """Whether it was done by then; if not, it is left behind in a thread that keeps nobody."""
    thread = Thread(target=act, name="patience", daemon=True)
    thread.start()
    thread.join(seconds)
    return not thread.is_alive()
