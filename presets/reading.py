"""Reading: the text of a preset becomes a checked Style, or a sentence that says what to mend.

Knows: YAML, where each key stands in the text, and how a preset's words become a Style.
Refuses to know: what a style may say; the limits are those of engine/style.py.
How: the text is composed to nodes, which remember their lines; the sections of the Style are read
off its dataclasses, so a number added there can be written in a preset at once.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import fields
from difflib import get_close_matches
from enum import Enum
from typing import Any, Final, NoReturn

import yaml

from engine.figures import Figure, Grid
from engine.limits import StyleError, check_weight
from engine.style import (
    POOLS,
    Approach,
    Feel,
    Interplay,
    Neck,
    Phrase,
    Register,
    Rhythm,
    Style,
    Tempo,
    Touch,
    Turn,
    Way,
)
from engine.theory.harmony import Family
from engine.theory.meter import Metre
from engine.theory.pitch import note_of_name
from presets.scalars import is_quoted, number, said

SECTIONS: Final[Mapping[str, type]] = {
    "tempo": Tempo,
    "phrase": Phrase,
    "register": Register,
    "feel": Feel,
    "touch": Touch,
    "interplay": Interplay,
    "neck": Neck,
    "approach": Approach,
}
_TOP: Final = ("title", "description", "metres", "rhythm", *POOLS, *SECTIONS)
_RHYTHM: Final = ("grid", "density", "figures", "answers", "fills")
_FIGURE: Final = ("strokes", "tones", "weight", "metre")


class PresetError(ValueError):
    """A preset cannot be used; the sentence says where, what, and what would do."""


def read(text: str, file: str) -> Style:
    """The style that a preset's text describes; `file` names it in messages.

    Raises:
        PresetError: the text is not YAML, or says something that cannot be played.
    """
    try:
        node = yaml.compose(text, Loader=yaml.SafeLoader)
    except yaml.MarkedYAMLError as error:
        line = error.problem_mark.line + 1 if error.problem_mark else 1
        raise PresetError(
            f"{file} line {line}: {error.problem}; give YAML, each key with a colon after it"
        ) from None
    except yaml.YAMLError:
        raise PresetError(f"{file} is not text that YAML allows; save it as plain UTF-8") from None
    except RecursionError:
        raise PresetError(f"{file} is nested too deeply; a preset has three levels") from None
    return _Reader(file).style(node)


class _Reader:
    """Reads one file; knows the line of every key it has passed."""

    def __init__(self, file: str) -> None:
        self._file = file
        self._values: dict[str, yaml.Node] = {}

    # Shapes -----------------------------------------------------------------------------------

    def _fail(self, node: yaml.Node | None, sentence: str) -> NoReturn:
        line = f" line {node.start_mark.line + 1}" if node is not None else ""
        raise PresetError(f"{self._file}{line}: {sentence}")

    def _map(
        self, node: yaml.Node | None, key: str, allowed: tuple[str, ...]
    ) -> dict[str, yaml.Node]:
        if not isinstance(node, yaml.MappingNode):
            self._fail(node, f"{key} is {said(node)}; give keys: {', '.join(allowed)}")
        found: dict[str, yaml.Node] = {}
        for key_node, value in node.value:
            name = self._key(key_node, key)
            path = name if key == "the preset" else f"{key}.{name}"
            if name == "<<":
                self._fail(key_node, f"{path} would merge another block; write its keys out here")
            if name not in allowed:
                near = get_close_matches(name, allowed, 1)
                hint = f"did you mean {near[0]}?" if near else f"give {', '.join(allowed)}"
                self._fail(key_node, f"{path} is not known; {hint}")
            if name in found:
                self._fail(key_node, f"{path} is given twice; give it once")
            found[name] = value
            self._values[path] = value
        return found

    def _key(self, node: yaml.Node, within: str) -> str:
        if not isinstance(node, yaml.ScalarNode):
            self._fail(node, f"{within} has {said(node)} for a key; give a word and a colon")
        return str(node.value)

    def _list(self, node: yaml.Node, key: str) -> list[yaml.Node]:
        if not isinstance(node, yaml.SequenceNode):
            self._fail(node, f"{key} is {said(node)}; give a list, each line begun with a dash")
        return list(node.value)

    def _words(self, node: yaml.Node, key: str) -> str:
        if not isinstance(node, yaml.ScalarNode):
            self._fail(node, f"{key} is {said(node)}; give words")
        return str(node.value)

    def _number(self, node: yaml.Node, key: str, *, whole: bool = False) -> float:
        value = number(node)
        if value is None or (whole and not float(value).is_integer()):
            kind = "a whole number" if whole else "a number"
            if is_quoted(node):
                self._fail(node, f"{key} is {said(node)!r}; give {kind} without quotes")
            self._fail(node, f"{key} is {said(node)}; give {kind}")
        return int(value) if whole else value

    def _one_of(self, node: yaml.Node, key: str, kind: type[Enum], names: list[str]) -> Any:  # noqa: ANN401
        word = self._words(node, key)
        if word not in names:
            near = get_close_matches(word, names, 1)
            hint = f"did you mean {near[0]}?" if near else f"give {', '.join(names)}"
            self._fail(node, f"{key} is {word}; {hint}")
        return list(kind)[names.index(word)]

    # Sections ---------------------------------------------------------------------------------

    def style(self, node: yaml.Node | None) -> Style:
        if node is None:
            self._fail(None, "the preset is empty; give at least rhythm with one figure")
        top = self._map(node, "the preset", _TOP)
        if "rhythm" not in top:
            self._fail(node, "rhythm is missing; give it a grid and at least one figure")
        found: dict[str, Any] = {"name": self._file.removesuffix(".yaml")}
        for key in ("title", "description"):
            if key in top:
                found[key] = " ".join(self._words(top[key], key).split())
        if "metres" in top:
            found["metres"] = tuple(
                self._metre(each, "metres") for each in self._list(top["metres"], "metres")
            )
        first = found.get("metres", (Metre(),))[:1]
        found["rhythm"] = self._rhythm(top["rhythm"], first[0] if first else Metre())
        for key in POOLS:
            if key in top:
                found[key] = self._pools(top[key], key)
        for key, section in SECTIONS.items():
            if key in top:
                found[key] = self._section(top[key], key, section)
        style: Style = self._checked(node, lambda: Style(**found), self._values)
        return style

    def _section(self, node: yaml.Node, key: str, section: type) -> Any:  # noqa: ANN401
        allowed = tuple(each.name for each in fields(section))
        given = self._map(node, key, allowed)
        values = {
            name: self._field(each, f"{key}.{name}", section, name) for name, each in given.items()
        }
        return self._checked(node, lambda: section(**values), self._values)

    def _field(self, node: yaml.Node, key: str, section: type, name: str) -> Any:  # noqa: ANN401
        if name == "swing_on":
            return self._one_of(node, key, Grid, _GRIDS)
        if name == "ways":
            return self._weights(node, key, tuple(w.value for w in Way), Way)
        if name == "turns":
            words = [turn.value for turn in Turn]
            return tuple(self._one_of(n, key, Turn, words) for n in self._list(node, key))
        if name == "tuning":
            return tuple(self._note(each, key) for each in self._list(node, key))
        if section is Register and name != "roam":
            return self._note(node, key)
        return self._number(node, key, whole=_is_whole(section, name))

    def _checked(
        self, node: yaml.Node, make: Callable[[], Any], lines: Mapping[str, yaml.Node]
    ) -> Any:  # noqa: ANN401
        try:
            return make()
        except StyleError as error:
            self._fail(lines.get(error.key, node), str(error))

    def _note(self, node: yaml.Node, key: str) -> int:
        """A note as name and octave: E1 is the open low string, 28."""
        word = self._words(node, key)
        try:
            return note_of_name(word)
        except ValueError:
            self._fail(node, f"{key} is {word}; give a note with its octave, such as E1 or Bb2")

    def _metre(self, node: yaml.Node, key: str) -> Metre:
        word = self._words(node, key)
        try:
            return Metre.of(word)
        except ValueError:
            self._fail(node, f"{key} is {word}; give a metre such as 4/4 or 12/8")

    def _weights(
        self, node: yaml.Node, key: str, allowed: tuple[str, ...], kind: type[Enum]
    ) -> tuple[tuple[Any, float], ...]:
        given = self._map(node, key, allowed)
        by_name = {str(each.value): each for each in kind}
        return tuple(
            (by_name[name], self._number(each, f"{key}.{name}")) for name, each in given.items()
        )

    def _pools(
        self, node: yaml.Node, key: str
    ) -> tuple[tuple[Family, tuple[tuple[str, float], ...]], ...]:
        given = self._map(node, key, tuple(family.value for family in Family))
        return tuple(
            (Family(name), self._pool(each, f"{key}.{name}")) for name, each in given.items()
        )

    def _pool(self, node: yaml.Node, key: str) -> tuple[tuple[str, float], ...]:
        if not isinstance(node, yaml.MappingNode):
            self._fail(node, f"{key} is {said(node)}; give degrees with weights, such as 5: 3")
        found = []
        for tone_node, weight in node.value:
            tone = self._key(tone_node, key)
            if tone == "<<":
                self._fail(
                    tone_node, f"{key}.<< would merge another block; write its tones out here"
                )
            if f"{key}.{tone}" in self._values:
                self._fail(tone_node, f"{key}.{tone} is given twice; give it once")
            self._values[f"{key}.{tone}"] = weight
            found.append((tone, self._number(weight, f"{key}.{tone}")))
        return tuple(found)

    # Rhythm -----------------------------------------------------------------------------------

    def _rhythm(self, node: yaml.Node, metre: Metre) -> Rhythm:
        given = self._map(node, "rhythm", _RHYTHM)
        for key in ("grid", "figures"):
            if key not in given:
                self._fail(node, f"rhythm.{key} is missing; give it")
        grid = self._one_of(given["grid"], "rhythm.grid", Grid, _GRIDS)
        values: dict[str, Any] = {
            key: self._figures(given[key], f"rhythm.{key}", grid, metre)
            for key in ("figures", "answers", "fills")
            if key in given
        }
        if "density" in given:
            values["density"] = self._number(given["density"], "rhythm.density")
        checked: Rhythm = self._checked(node, lambda: Rhythm(grid, **values), self._values)
        return checked

    def _figures(self, node: yaml.Node, key: str, grid: Grid, metre: Metre) -> tuple[Figure, ...]:
        return tuple(self._figure(each, key, grid, metre) for each in self._list(node, key))

    def _figure(self, node: yaml.Node, key: str, grid: Grid, metre: Metre) -> Figure:
        given = self._map(node, key, _FIGURE)
        if "strokes" not in given:
            self._fail(node, f"{key} has a figure without strokes; give a line such as X--x --x-")
        signs = self._words(given["strokes"], f"{key}.strokes")
        tones = self._words(given["tones"], f"{key}.tones") if "tones" in given else ""
        weight = self._weight(given["weight"], f"{key}.weight") if "weight" in given else 1.0
        if "metre" in given:
            metre = self._metre(given["metre"], f"{key}.metre")
        figure: Figure = self._checked(
            node, lambda: Figure.of(signs, tones, grid, metre, weight), {**self._values, **given}
        )
        return figure

    def _weight(self, node: yaml.Node, key: str) -> float:
        """The weight of a figure, checked while it is known which of them has it."""
        weight = self._number(node, key)
        self._checked(node, lambda: check_weight(weight, key), {})
        return weight


_GRIDS: Final = [grid.name.lower() for grid in Grid]


def _is_whole(section: type, name: str) -> bool:
    """Whether a field is declared as a whole number."""
    return next(each.type for each in fields(section) if each.name == name) == "int"
