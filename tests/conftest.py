"""What holds for every test."""

from __future__ import annotations

import signal


def pytest_configure() -> None:
    """Heed the signals that a shell has what it starts in the background ignore.

    What is ignored stays so in the programs that are started from here, and they are to be seen
    to end.
    """
    signal.signal(signal.SIGINT, signal.default_int_handler)
    for name in ("SIGHUP", "SIGQUIT"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_DFL)
