"""Where the program begins: `groundling`, or `python -m ports` in a checkout that is not installed.

Loading a command takes the better part of a second.  Until that is done Ctrl-C ends the program and
nothing more; from then on the command line knows what is to be said, and what to be left tidy.
"""

from __future__ import annotations

import signal


def main() -> None:
    """Load the command line and run it; it ends the program."""
    usual = signal.getsignal(signal.SIGINT)
    if usual is signal.default_int_handler:  # else it is ignored, and stays so
        signal.signal(signal.SIGINT, signal.SIG_DFL)
    from ports.cli import main as run  # noqa: PLC0415 - what is loaded is what takes so long

    signal.signal(signal.SIGINT, usual)
    run()


if __name__ == "__main__":
    main()
