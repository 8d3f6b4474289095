"""`python -m ports` is `groundling`, for a checkout that is not installed."""

from ports.cli import main

main()
