"""Limits: what is said when a style asks for something that cannot be played.

Knows: how a number carries its limits and its meaning, and how each is held against them.
Refuses to know: which numbers there are.
How: a field's metadata is its limits and what it means, so that the check, the loader and the
preset schema read the same line.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import field, fields
from typing import Any, Final

HEAVIEST: Final = 100
"""The most that a figure, a tone or a way may weigh."""


class StyleError(ValueError):
    """A style says something that cannot be played: which key, its value, what would do."""

    def __init__(self, key: str, value: object, wanted: str) -> None:
        said = f"{value:g}" if isinstance(value, float) else str(value)
        super().__init__(f"{key} is {said}; give {wanted}")
        self.key = key


def number(
    low: float, high: float, default: float, about: str, said: Callable[[int], str] | None = None
) -> Any:  # noqa: ANN401 - a field
    """A field that holds a number between two limits; `said` words it, if digits do not do."""
    limits = {"low": low, "high": high, "about": about, "said": said or "{:g}".format}
    return field(default=default, metadata=limits)


def check_limits(section: object, prefix: str) -> None:
    """Hold every number of a section against its limits.

    Raises:
        StyleError: one lies outside.
    """
    for each in fields(section):  # type: ignore[arg-type]
        if "low" not in each.metadata:
            continue
        low, high = each.metadata["low"], each.metadata["high"]
        value = getattr(section, each.name)
        if isinstance(value, bool) or not low <= value <= high:
            said = each.metadata["said"]
            wanted = f"{said(low)} to {said(high)}"
            raise StyleError(f"{prefix}.{each.name}", said(value), wanted)


def check_weight(weight: float, key: str) -> None:
    """Hold one weight against its limits.

    Raises:
        StyleError: it lies outside.
    """
    if not 0 <= weight <= HEAVIEST:
        raise StyleError(key, weight, f"0 to {HEAVIEST}")


def check_weights(weights: tuple[tuple[Any, float], ...], key: str) -> None:
    """Hold weights against their limits: none below 0, and not all of them 0.

    Raises:
        StyleError: they are not so.
    """
    for name, weight in weights:
        check_weight(weight, f"{key}.{getattr(name, 'value', name)}")
    if not any(weight > 0 for _, weight in weights):
        raise StyleError(key, "without any weight", "at least one weight above 0")
