"""What the ear was taught, written as a module that engine/hearing/taught.py can read."""

from __future__ import annotations

import runpy
import textwrap
from base64 import b64encode
from collections.abc import Sequence
from dataclasses import astuple, fields
from pathlib import Path
from typing import Any

import numpy as np

from engine.arrays import Doubles
from engine.hearing.tables import KeyTables
from engine.hearing.taught import Coded
from ports.files import FileError

HEAD = '''"""Weights: what the ear was taught, as data; written by bench/fit_hearing.py.

Source: fitted on the labelled piano arrangements POP909 (Wang et al., ISMIR 2020, MIT licence)
and POP909-CL (2025, MIT licence), and on renderings of the chord charts of McGill Billboard
(Burgoyne et al., ISMIR 2011, CC0) and of charts of our own, development songs only, by

    python -m bench.fit_hearing pop909 pop909cl --charts billboard
    python -m bench.fit_keys pop909 pop909cl --charts billboard --anew engine/hearing/weights.py

What the texts are is said in taught.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

'''


def coded(table: Doubles) -> Coded:
    """A table as whole numbers of a step, in base 64."""
    step = float(f"{np.abs(table).max() / 32000:.3g}") or 1.0
    whole = np.rint(table / step).astype("<i2")
    return table.shape, step, b64encode(whole.tobytes()).decode()


def coded_keys(keys: KeyTables) -> dict[str, Coded]:
    """The tables of keys, by name."""
    values = zip(fields(keys), astuple(keys), strict=True)
    return {field.name: coded(np.atleast_1d(value)) for field, value in values}


def source_of(qualities: tuple[str, ...], tables: dict[str, Coded]) -> str:
    """The module that holds the tables."""
    kinds = "".join(f'    "{kind}",\n' for kind in qualities)
    texts = "".join(
        f'        "{name}": (\n            {shape},\n            {step!r},\n'
        f'            """\n{textwrap.fill(text, 96)}\n""",\n        ),\n'
        for name, (shape, step, text) in tables.items()
    )
    start = "TABLES: Final[Mapping[str, tuple[tuple[int, ...], float, str]]] = MappingProxyType"
    return f"{HEAD}QUALITIES: Final = (\n{kinds})\n\n{start}(\n    {{\n{texts}    }}\n)\n"


def tables_in(path: Path) -> tuple[tuple[str, ...], dict[str, Coded]]:
    """The qualities and the tables of such a module.

    Raises:
        FileError: it is not there, or is another kind of file.
    """
    qualities, tables = named_in(path, ("QUALITIES", "TABLES"), written_by="bench.fit_hearing")
    return qualities, dict(tables)


def named_in(path: Path, names: Sequence[str], written_by: str) -> list[Any]:
    """What a data module that is not installed has under some names.

    Raises:
        FileError: it is not there, or has not all of them.
    """
    if not path.is_file():
        raise FileError(f"{path} is not there; python -m {written_by} writes such files")
    try:
        module = runpy.run_path(str(path))
        return [module[name] for name in names]
    except Exception as error:  # it may be anything, and say anything when it is run
        raise FileError(f"{path} is not what python -m {written_by} writes") from error
