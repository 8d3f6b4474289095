"""Arguments: what a bench is told to measure, and how it says that this cannot be measured.

How: the types below are for argparse, which says in a sentence what is wrong with a value before
anything is measured.  What is found out later is raised as a FileError or a PresetError.
"""

from __future__ import annotations

import sys
from argparse import ArgumentTypeError
from collections.abc import Callable
from pathlib import Path
from typing import NoReturn

from ports.files import FileError
from presets.reading import PresetError

CANNOT_BE_DONE = 2


def run(main: Callable[[], int | None]) -> NoReturn:
    """Run a bench as a program: files and presets of no use are told in a sentence, status 2."""
    try:
        sys.exit(main())
    except (FileError, PresetError) as error:
        print(error, file=sys.stderr)
        sys.exit(CANNOT_BE_DONE)


def a_folder(text: str) -> Path:
    """A folder that is there."""
    path = Path(text)
    if not path.is_dir():
        what = "is a file, not a folder" if path.exists() else "is not there"
        raise ArgumentTypeError(f"{text} {what}; give a folder")
    return path


def folder_of_songs(text: str) -> Path:
    """A folder with labelled songs in it."""
    path = a_folder(text)
    if not any(path.glob("*.chords")):
        raise ArgumentTypeError(f"{text} has no labelled songs; give a folder of N.chords")
    return path


def from_one(text: str) -> int:
    """A whole number that is not nought."""
    return _whole(text, 1)


def from_nought(text: str) -> int:
    """A whole number, nought as well."""
    return _whole(text, 0)


def _whole(text: str, least: int) -> int:
    if not text.isdecimal() or int(text) < least:
        raise ArgumentTypeError(f"{text} is no whole number from {least} up")
    return int(text)


def above_nought(text: str) -> float:
    """A number above nought."""
    return _number(text, lambda number: 0 < number < float("inf"), "above 0")


def share(text: str) -> float:
    """A number from nought to one."""
    return _number(text, lambda number: 0 <= number <= 1, "from 0 to 1")


def _number(text: str, fits: Callable[[float], bool], which: str) -> float:
    try:
        number = float(text)
    except ValueError:
        number = float("nan")
    if not fits(number):
        raise ArgumentTypeError(f"{text} is no number {which}")
    return number
