"""The columns of every table: what each holds, what is allowed in it, and what it is called.

Their one list is ``data/columns.csv``. Tables, logbook, form, walk, page and export read it, so a
row added there is a column everywhere.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Literal, TypeAlias, cast

from runpredict.datafiles import OXIDES, packaged_rows

TableKind: TypeAlias = Literal["glazes", "recipes", "materials", "schedules", "layers"]
Form: TypeAlias = Literal[
    "name", "note", "word", "cone", "witness", "date",
    "length", "temperature", "rate", "number", "count",
]  # fmt: skip

MAX_COLUMNS = 300
"""More headings than any table of a studio has; bounds what a hostile one can cost."""
MAX_ROWS = 300_000
"""Three times what is asked of a check; bounds its memory to some GB."""
MAX_NAME_CHARS = 200
MAX_NOTE_CHARS = 5000

TEXT_FORMS = ("name", "note", "word", "cone", "witness", "date")
"""Forms of column that are text; the others are numbers."""
KINDS: tuple[TableKind, ...] = ("glazes", "recipes", "materials", "schedules", "layers")


@dataclass(frozen=True)
class Column:
    """One column of a table, as a row of ``data/columns.csv`` has it.

    Parameters
    ----------
    name : str
        Heading, with its unit.
    form : str
        One of `TEXT_FORMS`, blank when not known; the others are numbers, NaN when not known.
    needed : str
        ``yes`` where a blank is a fault, ``outside`` where it is one outside of a pot.
    low, high : float
        Range allowed, both ends included (common practice, no source: no pot that a studio fires
        is taller or wider than 2 m, no coat thicker than 20 mm before it falls off; an oxide may be
        over 100 % where a raw material takes up oxygen, as red copper oxide does).
    words : tuple of str
        What a ``word`` may be.
    default : float, str or None
        What a blank is taken for (the ramp by the contract of the tables, the rest common
        practice, no source: the wall is the steepest that does not overhang, one dip is the usual
        coat, the foot is a mug's); None where it stays not known.
    of : str
        ``piece`` where all layers of a piece share it, else ``layer``.
    after : bool
        It is told once the kiln is open.
    folded : bool
        Forms show it once it has been used.
    since : int
        Version of the logbook that first has it.
    right : str
        What would be right, to end an error with.
    label, guide, example : str
        What pages call it, what to write in it, and an invented example.
    """

    name: str
    form: Form
    needed: str
    low: float
    high: float
    words: tuple[str, ...]
    default: float | str | None
    of: str
    after: bool
    folded: bool
    since: int
    right: str
    label: str
    guide: str
    example: str

    @property
    def is_text(self) -> bool:
        """Whether its cells are text."""
        return self.form in TEXT_FORMS


def _columns(kind: TableKind) -> Iterator[Column]:
    for row in packaged_rows("columns.csv"):
        if row["table"] != kind:
            continue
        text = row["form"] in TEXT_FORMS
        for name in OXIDES if row["column"] == "{oxides}" else (row["column"],):
            yield Column(
                name=name,
                form=cast(Form, row["form"]),
                needed=row["needed"],
                low=float(row["low"] or "-inf"),
                high=float(row["high"] or "inf"),
                words=tuple(row["words"].split()),
                default=(row["blank"] if text else float(row["blank"])) if row["blank"] else None,
                of=row["of"],
                after=row["when"] == "after",
                folded=row["folded"] == "yes",
                since=int(row["since"]),
                **{part: row[part] for part in ("right", "label", "guide", "example")},
            )


COLUMNS: dict[TableKind, tuple[Column, ...]] = {kind: tuple(_columns(kind)) for kind in KINDS}
"""Columns of each table, in the order they are written."""

KEYS: dict[TableKind, tuple[str, ...]] = {
    "glazes": ("glaze",),
    "recipes": ("glaze", "addition", "material"),
    "materials": ("material",),
    "schedules": ("firing", "segment"),
    "layers": ("piece", "firing", "side", "layer"),
}
"""What names a row of each table: no two rows of a table have the same."""

ROLES: dict[str, TableKind] = {
    "plan": "layers",
    "log": "layers",
    "glazes": "glazes",
    "recipes": "recipes",
    "materials": "materials",
    "schedules": "schedules",
}
"""Kind of each table of a question, in the order its faults are told."""

PIECE_COLUMNS: tuple[str, ...] = tuple(
    column.name
    for column in COLUMNS["layers"]
    if column.of == "piece" and column.name not in KEYS["layers"]
)
"""Columns of ``layers.csv`` that say something of the piece, and so of all its layers."""

FOLDED: tuple[Column, ...] = tuple(column for column in COLUMNS["layers"] if column.folded)
"""Columns of ``layers.csv`` that a form shows once they have been used."""

TOLD_OF_PIECE: tuple[Column, ...] = tuple(
    column for column in COLUMNS["layers"] if column.after and column.of == "piece"
)
"""Columns of ``layers.csv`` that the open kiln tells of a piece, besides how its layers ran."""

DEFAULTS: dict[str, float | str] = {
    column.name: column.default for column in COLUMNS["layers"] if column.default is not None
}
"""What a blank in ``layers.csv`` is taken for."""


def column_of(kind: TableKind, name: str) -> Column:
    """The column of a table by its heading."""
    return next(column for column in COLUMNS[kind] if column.name == name)


@cache
def cones() -> tuple[str, ...]:
    """Cones that can be fired to, coolest first."""
    return tuple(row["cone"] for row in packaged_rows("cones.csv"))
