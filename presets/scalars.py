"""Scalars: a single value of a preset, read as an editor reads it.

Knows: what YAML takes for a number, and how a value stands in the file.
Refuses to know: what a preset may say.
How: by YAML 1.2, which editors that know the schema (schema.py) follow: what they take for a number
is one here, and nothing else is.
"""

from __future__ import annotations

import re
from typing import Final

import yaml

_NUMBER: Final = re.compile(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?", re.ASCII)
_WHOLE: Final = re.compile(r"0x[0-9a-fA-F]{1,8}|0o[0-7]{1,8}")


def number(node: yaml.Node) -> float | None:
    """The number that a node is; what stands in quotes is none."""
    if not isinstance(node, yaml.ScalarNode) or node.style is not None:
        return None
    if _WHOLE.fullmatch(node.value):
        return int(node.value, 0)
    return float(node.value) if _NUMBER.fullmatch(node.value) else None


def is_quoted(node: yaml.Node) -> bool:
    """Whether a node is a value in quotes."""
    return isinstance(node, yaml.ScalarNode) and node.style in ("'", '"')


def said(node: yaml.Node | None) -> str:
    """A node's value as it stands in the file, in a word or two."""
    if isinstance(node, yaml.ScalarNode):
        return str(node.value) or "empty"
    return "a list" if isinstance(node, yaml.SequenceNode) else "a block of keys"
