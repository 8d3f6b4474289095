"""Files: how they are opened, and what is said when they cannot be.

Knows: that a file may be a device, a link, or the only copy of something.
Refuses to know: what is in it.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO, Final

BEGINNING_BYTES: Final = 12
"""By so many at most every kind of file that is read here can be told."""


class FileError(Exception):
    """A file that cannot be read or written, told in a sentence for the person who named it."""


def content_of(path: Path, kind: str, begins_one: Callable[[bytes], bool]) -> bytes:
    """All that is in a file, or comes through a pipe, which is opened this once.

    Args:
        path: the file.
        kind: what it is to be, with its article, for the sentence where it is not.
        begins_one: whether the first `BEGINNING_BYTES` can be those of such a file; else no more
            is read, since what another file holds may never end.

    Raises:
        FileError: it cannot be read, or is empty.
    """
    try:
        with path.open("rb") as opened:
            beginning = opened.read(BEGINNING_BYTES)
            rest = opened.read() if begins_one(beginning) else b""
    except FileNotFoundError as error:
        raise FileError(f"there is no file {path}") from error
    except IsADirectoryError as error:
        raise FileError(f"{path} is a folder, not {kind}") from error
    except OSError as error:
        raise FileError(f"{path} cannot be read: {error.strerror}") from error
    if not beginning:
        raise FileError(f"{path} is empty; give {kind}")
    return beginning + rest


def create(path: Path) -> BinaryIO:
    """A new file, open for writing.

    Raises:
        FileError: the path cannot be written.
    """
    return _opened(path, path)


def _opened(path: Path, asked: Path) -> BinaryIO:
    try:
        return path.open("wb")
    except OSError as error:
        raise FileError(f"{asked} cannot be written: {error.strerror}") from error


def _followed(path: Path) -> Path:
    """Where a path leads in the end, with all links on the way."""
    try:
        there = path.resolve()
        lost = there.is_symlink()
    except RuntimeError:  # so says Python before 3.13; later ones stay where the links go round
        lost = True
    if lost:
        raise FileError(f"{path} leads to a link that points back to itself; give another file")
    return there


@contextmanager
def _naming(path: Path) -> Iterator[None]:
    """Say which file it was that took no more; a reader who has gone is no fault of the file."""
    try:
        yield
    except BrokenPipeError:
        raise
    except OSError as error:
        raise FileError(f"{path} cannot be written: {error.strerror}") from error


@contextmanager
def replacing(path: Path) -> Iterator[BinaryIO]:
    """A file that takes the place of another when all of it is written, and not before.

    What is broken off leaves the old one as it was.  A device is written to as it is.

    Raises:
        FileError: the path cannot be written, or no more of it.
    """
    there = _followed(path)  # a link is not to be replaced by what it points to
    if path.exists() and not path.is_file():  # where a pipe's link leads to is no place on the disk
        with _naming(path), _opened(path, path) as device:
            yield device
        return
    if there.exists() and not os.access(there, os.W_OK):
        raise FileError(f"{path} cannot be written: it is kept from being changed")
    beside = there.with_name(f".{there.name}.part")
    try:
        with _naming(path):
            with _opened(beside, path) as target:
                yield target
            beside.replace(there)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise


def spare(read: Mapping[str, Path | None], *outputs: Path | None) -> None:
    """Never write over what is read, nor twice into one file.

    Raises:
        FileError: that is what was asked for, or no file can be what was asked for.
    """
    given = [path for path in outputs if path is not None]
    for what, source in read.items():
        for path in given:
            if source is not None and source.is_file() and path.is_file() and path.samefile(source):
                raise FileError(f"{path} is the {what} itself; give another file to write to")
    files = [_followed(path) for path in given if path.is_file() or not path.exists()]
    if len(set(files)) < len(files):
        raise FileError(f"{given[0]} is to take both the part and the trace; give each its own")
