"""Schema: what a preset may say, as a JSON Schema for editors.

Knows: how JSON Schema says it.
Refuses to know: the limits of a style's numbers; they are read off engine/style.py.  What hangs on
two values at once, such as low and high, is left to the reader (reading.py).
How: `python -m presets.schema > presets/schema.json` writes the file that is shipped; an editor
that is told of it completes keys and marks mistakes while a preset is written.
"""

from __future__ import annotations

import json
import sys
from dataclasses import fields
from typing import Any, Final

from engine.figures import BEYOND, TONE, Grid
from engine.limits import HEAVIEST
from engine.style import POOLS, Rhythm, Turn, Way
from engine.theory.harmony import Family
from presets.reading import SECTIONS

_NOTE: Final = {"type": "string", "pattern": "^[A-G][#b]*[0-9]$"}
_METRE: Final = {
    "type": "string",
    "pattern": r"^0*([1-9]|[12][0-9]|3[0-2])\s*/\s*0*(1|2|4|8|16|32)$",
}
_GRIDS: Final = {"enum": [grid.name.lower() for grid in Grid]}
_WEIGHT: Final = {"type": "number", "minimum": 0, "maximum": HEAVIEST}
# Where all weights are 0 nothing can be drawn.
_NO_WEIGHT: Final = {"const": 0}
_WEIGHED: Final = {"minProperties": 1, "not": {"additionalProperties": _NO_WEIGHT}}
# A title may be 1999, or Yes, or still to be thought of.
_TEXT: Final = {"type": ["string", "number", "boolean", "null"]}
_TONES: Final = rf"^(?!([\s\S]*\s)?({BEYOND.pattern})(\s|$))\s*(({TONE.pattern})\s*)*$"


def schema() -> dict[str, Any]:
    """The schema of a preset file."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "A Groundling preset",
        **_keys(
            {
                "title": _TEXT,
                "description": _TEXT,
                "metres": {"type": "array", "items": _METRE, "minItems": 1},
                "rhythm": _rhythm(),
                **{name: _keys({family.value: _pool() for family in Family}) for name in POOLS},
                **{name: _section(section) for name, section in SECTIONS.items()},
            },
            required=["rhythm"],
        ),
    }


def _keys(properties: dict[str, Any], required: list[str] | None = None) -> dict[str, Any]:
    found: dict[str, Any] = {
        "type": "object",
        "properties": properties,
        "additionalProperties": False,
    }
    return {**found, "required": required} if required else found


def _rhythm() -> dict[str, Any]:
    never = {"properties": {"weight": _NO_WEIGHT}, "required": ["weight"]}
    list_of = {"type": "array", "items": _figure(), "not": {"items": never, "minItems": 1}}
    density = next(_field(Rhythm, each) for each in fields(Rhythm) if each.name == "density")
    return _keys(
        {"grid": _GRIDS, "density": density, "figures": {**list_of, "minItems": 1}}
        | {"answers": list_of, "fills": list_of},
        required=["grid", "figures"],
    )


def _figure() -> dict[str, Any]:
    strokes = {
        "type": "string",
        "pattern": r"^[-.\s]*[Xxg][-.Xxg\s]*$",
        "description": "one sign a step: X accented, x plain, g ghost, - rings on, . silence",
    }
    tones = {
        "type": ["string", "integer", "null"],
        "pattern": _TONES,
        "minimum": 1,
        "not": {"const": 13},
        "description": "one for each X or x: a degree, * free, > leads on, >1 the next root early",
    }
    return _keys(
        {"strokes": strokes, "tones": tones, "weight": _WEIGHT, "metre": _METRE},
        required=["strokes"],
    )


def _pool() -> dict[str, Any]:
    return {
        "type": "object",
        "patternProperties": {"^[b#]?(10|[1-9]),?$": _WEIGHT},
        "additionalProperties": False,
        **_WEIGHED,
    }


def _section(section: type) -> dict[str, Any]:
    return _keys({each.name: _field(section, each) for each in fields(section)})


def _field(section: type, each: Any) -> dict[str, Any]:  # noqa: ANN401 - a dataclass field
    lists = {
        "ways": {**_keys({way.value: _WEIGHT for way in Way}), **_WEIGHED},
        "turns": {
            "type": "array",
            "items": {"enum": [turn.value for turn in Turn]},
            "minItems": 1,
        },
        "tuning": {"type": "array", "items": _NOTE, "minItems": 3, "maxItems": 6},
        "swing_on": {"enum": ["eighths", "sixteenths"]},
    }
    if each.name in lists:
        return lists[each.name]
    about = {"description": each.metadata["about"]}
    if section.__name__ == "Register" and each.name != "roam":
        return {**_NOTE, **about}
    kind = "integer" if each.type == "int" else "number"
    limits = {"minimum": each.metadata["low"], "maximum": each.metadata["high"]}
    return {"type": kind, **limits, **about}


if __name__ == "__main__":
    sys.stdout.write(json.dumps(schema(), indent=2) + "\n")
