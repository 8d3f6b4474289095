"""Own: the presets a player has written, and the beginning of a new one.

Knows: where this platform keeps a user's settings, and how a new preset is begun.
Refuses to know: what a preset says.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from typing import Final

from presets.loader import load, names, text_in
from presets.reading import PresetError, read

_NAME: Final = re.compile(r"[a-z0-9][a-z0-9-]*")


def folder(platform: str = sys.platform, environment: Mapping[str, str] = os.environ) -> Path:
    """Where a user's own presets lie, whether or not there are any."""
    home = Path(environment.get("HOME") or environment.get("USERPROFILE") or ".")
    if platform == "win32":
        base = Path(environment.get("APPDATA") or home / "AppData" / "Roaming")
    elif platform == "darwin":
        base = home / "Library" / "Application Support"
    else:
        base = Path(environment.get("XDG_CONFIG_HOME") or home / ".config")
    return base / "groundling" / "presets"


def own_names(where: Path) -> list[str]:
    """The presets that lie there, but for those that take the place of one that comes along.

    A file whose name will not do is among them, so that its player learns why it cannot be played.
    """
    there = [path for path in where.glob("*.yaml") if path.is_file() and path.name[0] != "."]
    return sorted(path.stem for path in there if path.stem not in names())


def path_of(name: str, where: Path) -> str:
    """What to load for a name: a preset of the user's own if there is one, else the name.

    Raises:
        PresetError: there is one, but no preset may be called so.
    """
    own = where / f"{name}.yaml"
    if _NAME.fullmatch(name):
        return str(own) if own.is_file() else name
    if name in own_names(where):
        raise PresetError(
            f"{own.name} will not do as a name; give the file one of small letters, digits and"
            f" hyphens, such as {_plain(name, where)}.yaml"
        )
    return name


def _plain(name: str, where: Path) -> str:
    """A name that will do, as near to this one as can be, and that nothing is called yet."""
    plain = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") or "my-own"
    taken = {*names(), *own_names(where)}
    while plain in taken:
        plain = f"my-{plain}"
    return plain


def text_of(name: str) -> str:
    """A preset as it is written, comments and all.

    Raises:
        PresetError: there is no such preset, or it is not sound.
    """
    load(name)
    if name in names():
        return (resources.files("presets") / f"{name}.yaml").read_text("utf-8")
    return text_in(Path(name))


def begin(name: str, other: str, where: Path) -> Path:
    """Begin a preset of one's own as a copy of another, to be changed from there.

    Raises:
        PresetError: the name will not do, is taken, or there is no other of that name.
    """
    if not _NAME.fullmatch(name):
        raise PresetError(f"{name!r} will not do as a name; give small letters, digits and hyphens")
    if name in names():
        raise PresetError(f"{name} comes with Groundling; give another name, such as my-{name}")
    path = where / f"{name}.yaml"
    if path.exists():
        raise PresetError(f"{path} is there already; give another name, or remove it first")
    text = _retitled(text_of(other), name, other)
    read(text, path.name)
    where.mkdir(parents=True, exist_ok=True)
    path.write_text(text, "utf-8")
    return path


def _retitled(text: str, name: str, other: str) -> str:
    title = name.replace("-", " ").capitalize()
    begun = (
        f"# Begun from {Path(other).stem}; `groundling presets check` says whether it is sound.\n"
    )
    return begun + re.sub(r"(?m)^title:.*$", f"title: {title}", text, count=1)
