"""Loader: a preset by its name, or by the path of a file.

Knows: where presets lie.
Refuses to know: what stands in them (that is presets/reading.py).
How: a name is one that comes with Groundling; anything else is the path of a file.
"""

from __future__ import annotations

from difflib import get_close_matches
from importlib import resources
from pathlib import Path

from engine.style import Style
from presets.reading import PresetError, read


def names() -> list[str]:
    """The presets that come with Groundling."""
    return sorted(
        entry.name.removesuffix(".yaml")
        for entry in resources.files("presets").iterdir()
        if entry.name.endswith(".yaml")
    )


def load(name_or_path: str | Path) -> Style:
    """The style of a preset, by its name or by the path of a file.

    Raises:
        PresetError: there is no such preset, or it says something that cannot be played.
    """
    text, file = _text(str(name_or_path))
    return read(text, file)


def _text(wanted: str) -> tuple[str, str]:
    path = Path(wanted)
    if wanted in names():
        return (resources.files("presets") / f"{wanted}.yaml").read_text("utf-8"), f"{wanted}.yaml"
    if wanted and path.is_dir():
        raise PresetError(
            f"{wanted!r} is a folder, not a preset file; give a file, or a name that groundling"
            " presets lists"
        )
    if not path.is_file():
        near = get_close_matches(wanted, names(), 1)
        hint = f"did you mean {near[0]}?" if near else f"there are {', '.join(names())}."
        raise PresetError(
            f"there is no preset {wanted or repr('')}; {hint} A path to a .yaml file does too"
        )
    return text_in(path), path.name


def text_in(path: Path) -> str:
    """What a preset file says, as it is written.

    Raises:
        PresetError: it cannot be read, or is not text in UTF-8.
    """
    try:
        return path.read_text("utf-8-sig")  # some editors put a byte order mark first
    except UnicodeDecodeError:
        raise PresetError(
            f"{path.name} is not text in UTF-8; give a preset written in YAML, and save it as UTF-8"
        ) from None
    except OSError as error:
        raise PresetError(f"{path.name} cannot be read: {error.strerror}") from None
