"""Style: everything a preset may say, as one checked value."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Style:
    """A way of playing."""

    name: str
