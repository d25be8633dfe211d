"""The columns of every table: what each holds and what is allowed in it.

The sheet of instructions of `runpredict template` says what each column means; the tables of
``sample_data`` show them filled in.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Literal, TypeAlias

import numpy as np

from runpredict.datafiles import OXIDES, packaged_rows

TableKind: TypeAlias = Literal["glazes", "recipes", "materials", "schedules", "layers"]

MAX_COLUMNS = 300
"""More headings than any table of a studio has; bounds what a hostile one can cost."""
MAX_ROWS = 300_000
"""Three times what is asked of a check; bounds its memory to some GB."""
MAX_NAME_CHARS = 200
MAX_NOTE_CHARS = 5000
MAX_LENGTH_MM = 2000.0
"""No pot that a studio fires is taller or wider (common practice, no source)."""
MAX_THICKNESS_MM = 20.0
"""No coat of glaze is thicker before it falls off (common practice, no source)."""


@dataclass(frozen=True)
class Column:
    """One column of a table.

    Parameters
    ----------
    name : str
        Heading, with its unit.
    form : str
        ``name``, ``note``, ``word``, ``cone`` or ``date`` are text, blank when not known; the
        others are numbers, NaN when not known.
    right : str
        What would be right, to end an error with.
    needed : bool
        A blank is a fault.
    low, high : float
        Range allowed, both ends included.
    words : tuple of str
        What a ``word`` may be.
    """

    name: str
    form: Literal[
        "name", "note", "word", "cone", "date", "length", "temperature", "rate", "number", "count"
    ]
    right: str = ""
    needed: bool = False
    low: float = -np.inf
    high: float = np.inf
    words: tuple[str, ...] = ()


def _length(name: str, right: str, low: float = 0.0, needed: bool = False) -> Column:
    return Column(name, "length", right, needed, low, MAX_LENGTH_MM)


_OXIDE_COLUMNS = tuple(
    Column(oxide, "number", "give weight percent, such as 60", low=0.0, high=112.0)
    for oxide in OXIDES
)  # over 100 where a raw material takes up oxygen: red copper oxide becomes 111 % of CuO
_NOTE = Column("note", "note")
_HOLD = Column("hold_min", "number", "give minutes, such as 20", low=0, high=6000)
_GLAZE = Column("glaze", "name", "give a glaze's name", needed=True)

COLUMNS: dict[TableKind, tuple[Column, ...]] = {
    "glazes": (
        _GLAZE,
        Column("source", "word", words=("recipe", "analysis", "jar")),
        Column("behaviour", "word", words=("stiff", "stable", "fluid", "runny")),
        Column("matures_cone", "cone"),
        *_OXIDE_COLUMNS,
        _NOTE,
    ),
    "recipes": (
        _GLAZE,
        Column("material", "name", "give a raw material's name", needed=True),
        Column("parts", "number", "give parts by weight, such as 25", True, 0.0, 1e6),
        Column("addition", "word", words=("yes", "no")),
    ),
    "materials": (
        Column("material", "name", "give the raw material's name", needed=True),
        *_OXIDE_COLUMNS,
        Column(
            "loss_on_ignition",
            "number",
            "give weight percent, such as 12.5",
            low=-20,
            high=100,
        ),
        Column("source", "note"),
    ),
    "schedules": (
        Column("firing", "name", "give the firing's name", needed=True),
        Column("segment", "count", "number the segments 1, 2, 3, ...", True, 1, 999),
        Column("rate_c_per_h", "rate", "give °C an hour, such as 60", True, 0.1, 10_000),
        Column("target_c", "temperature", "give °C, or °F such as 2165 F", True, 0, 1500),
        _HOLD,
    ),
    "layers": (
        Column("piece", "name", "give the piece's name", needed=True),
        Column("form", "word", words=("mug", "bowl", "plate", "vase", "bottle", "tile")),
        Column("firing", "name"),
        Column("fired_on", "date"),
        Column("body", "name"),
        Column("cone", "cone"),
        _HOLD,
        Column("ramp_c_per_h", "rate", "give °C an hour, such as 60", low=1, high=1000),
        Column(
            "wall_deg",
            "number",
            "0 is flat, 90 upright, over 90 overhanging",
            low=0,
            high=180,
        ),
        _length("foot_mm", "give the foot ring's diameter, such as 70", low=1.0),
        Column("layer", "count", "number the layers 1, 2, 3, ... from the clay out", True, 1, 20),
        _GLAZE,
        Column("method", "word", words=("dip", "pour", "brush", "spray")),
        Column("coats", "count", "give whole coats, such as 2", low=1, high=50),
        Column(
            "thickness_mm",
            "length",
            "give the dry coat, such as 0.5",
            low=0.001,
            high=MAX_THICKNESS_MM,
        ),
        _length("lower_edge_mm", "give its height above the foot, such as 8", needed=True),
        _length("upper_edge_mm", "give its height above the foot, such as 90", needed=True),
        _length("run_mm", "give how far the lower edge moved, 0 or more"),
        Column("past_foot", "word", words=("yes", "no")),
        _NOTE,
    ),
}
"""Columns of each table, in the order they are written."""

KEYS: dict[TableKind, tuple[str, ...]] = {
    "glazes": ("glaze",),
    "recipes": ("glaze", "addition", "material"),
    "materials": ("material",),
    "schedules": ("firing", "segment"),
    "layers": ("piece", "firing", "layer"),
}
"""What names a row of each table: no two rows of a table have the same."""

TEXT_FORMS = ("name", "note", "word", "cone", "date")
"""Forms of column that are text; the others are numbers."""

KINDS: tuple[TableKind, ...] = tuple(COLUMNS)


@cache
def cones() -> tuple[str, ...]:
    """Cones that can be fired to, coolest first."""
    return tuple(row["cone"] for row in packaged_rows("cones.csv"))
