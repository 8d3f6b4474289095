"""What holds for every test."""

from __future__ import annotations

import signal

from hypothesis import HealthCheck, settings

# What is made up for a test says nothing of how busy the machine is that makes it up.
settings.register_profile("ours", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("ours")


def pytest_configure() -> None:
    """Heed the signals that a shell has what it starts in the background ignore.

    What is ignored stays so in the programs that are started from here, and they are to be seen
    to end.
    """
    signal.signal(signal.SIGINT, signal.default_int_handler)
    for name in ("SIGHUP", "SIGQUIT"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_DFL)
