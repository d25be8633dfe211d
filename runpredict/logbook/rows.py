"""Rows on their way into the logbook: taken from tables, joined, and laid over what is logged."""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, TypeAlias

import numpy as np
import pandas as pd

from runpredict.datafiles import OXIDES
from runpredict.errors import SHOWN_FAULTS, Fault, Place, TableWarning, quoted, raise_faults
from runpredict.logbook.schema import FILE_NAME
from runpredict.tables.cells import Table, nearest, parse_columns
from runpredict.tables.columns import (
    COLUMNS,
    KEYS,
    MAX_NAME_CHARS,
    MAX_NOTE_CHARS,
    TableKind,
)
from runpredict.tables.firings import firing_key
from runpredict.tables.names import blame_unknown
from runpredict.tables.rows import check_rows, dtypes_of, without_faulty_pieces
from runpredict.tables.texts import can_be_kept

Key: TypeAlias = tuple[Any, ...]

WHOLE: dict[TableKind, str] = {"recipes": "glaze", "schedules": "firing"}
"""Tables whose rows mean something only together: what is not in a newer one has left it."""

# What is weighed or fired together is corrected together: an oxide left out of a newer analysis
# is not in the glaze.
_TOGETHER: dict[TableKind, tuple[str, ...]] = {
    "glazes": OXIDES,
    "materials": (*OXIDES, "loss_on_ignition"),
}

_LAID = ("glaze", "coats", "lower_edge_mm", "upper_edge_mm")
_RESULTS = ("run_mm", "past_foot")


@dataclass(frozen=True)
class Row:
    """Cells of one row.

    Parameters
    ----------
    cells : dict
        By canonical column; text blank and numbers None when not known.
    extra : dict of str
        Text by heading of the unknown columns, without blanks.
    """

    cells: dict[str, Any]
    extra: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Stored:
    """The newest revision of a row in the logbook."""

    row: Row
    revision: int
    retired: bool


@dataclass(frozen=True)
class Revision:
    """A row as it was written at some time.

    Parameters
    ----------
    entry : int
        Number of what wrote it; an import or a record is one entry, and later ones are higher.
    logged_at : str
        UTC, ISO 8601.
    action : str
        ``import``, ``record`` or ``remove``.
    origin : str
        Files of the import, or the piece of the record or removal.
    number : int
        1 for the first of its row.
    retired : bool
        It was removed, or left its recipe or schedule.
    row : Row
    """

    entry: int
    logged_at: str
    action: str
    origin: str
    number: int
    retired: bool
    row: Row


@dataclass
class Incoming:
    """What is to be written of one kind of table."""

    rows: dict[Key, Row] = field(default_factory=dict)
    origins: dict[Key, Place] = field(default_factory=dict)
    headings: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Change:
    """One row to be written."""

    key: Key
    row: Row
    revision: int
    retired: bool = False


@dataclass(frozen=True)
class Counts:
    """How many rows an import added, corrected and found logged already.

    A row that left a recipe or a schedule counts as corrected. Of layers, `left_out` is how many
    pieces could not be used.
    """

    added: int = 0
    corrected: int = 0
    unchanged: int = 0
    left_out: int = 0


def _plain(values: Iterable[Any], text: bool, count: bool) -> list[Any]:
    if text:
        return [str(value) for value in values]
    number: Callable[[float], float | int] = int if count else float
    return [None if math.isnan(value) else number(value) for value in values]


def _rows_of(table: Table) -> list[Row]:
    cells = {
        column.name: _plain(
            table.frame[column.name].tolist(), column.is_text, column.form == "count"
        )
        for column in COLUMNS[table.kind]
    }
    extra = {
        heading: [str(value).replace("\r\n", "\n").replace("\r", "\n") for value in values]
        for heading, values in table.frame.items()
        if heading not in cells
    }
    return [
        Row(
            {name: values[position] for name, values in cells.items()},
            {str(head): values[position] for head, values in extra.items() if values[position]},
        )
        for position in range(len(table.frame))
    ]


def key_of(kind: TableKind, row: Row) -> Key:
    """What names the row; a layer's firing by its `firings.firing_key`."""
    key = {name: row.cells[name] for name in KEYS[kind]}
    if kind == "layers":
        key["firing"] = firing_key(row.cells["firing"], row.cells["fired_on"])
    return tuple(key.values())


def group_of(kind: TableKind, key: Key) -> Key:
    """What names the rows that must agree with each other: of a piece, a recipe, a schedule."""
    if kind == "layers":
        return key[:2]
    return key[:1] if kind in WHOLE else key


def _extra_faults(table: Table, rows: Sequence[Row]) -> list[Fault]:
    """Text that could not be written to a file and read back the same."""
    faults = [
        Fault(table.name, None, str(heading)[:40], "is no heading that can be kept; rename it.")
        for heading in table.frame
        if len(str(heading)) > MAX_NAME_CHARS or not can_be_kept(str(heading), note=False)
    ]
    for position, row in enumerate(rows):
        for heading, text in row.extra.items():
            if len(text) > MAX_NOTE_CHARS or not can_be_kept(text, note=True):
                message = (
                    f"cannot be kept: it has control characters or more than {MAX_NOTE_CHARS} "
                    "characters; shorten it or clear the cell."
                )
                faults.append(table.place(position).fault(heading[:40], message))
    return faults


def join_tables(tables: Sequence[Table]) -> tuple[dict[TableKind, Incoming], list[Fault]]:
    """Rows of all tables by kind and key, and every fault of the tables.

    The same row in two tables is one; two that differ are a fault.
    """
    incoming: dict[TableKind, Incoming] = {}
    faults: list[Fault] = []
    for table in tables:
        rows = _rows_of(table)
        faults += [*table.faults, *_extra_faults(table, rows)]
        mine = incoming.setdefault(table.kind, Incoming())
        known = {column.name for column in COLUMNS[table.kind]}
        mine.headings += [str(h) for h in table.frame if h not in known and h not in mine.headings]
        for position, row in enumerate(rows):
            key = key_of(table.kind, row)
            origin = table.place(position)
            first = mine.origins.setdefault(key, origin)
            if first.file != table.name and mine.rows[key] != row:
                message = f"differs from the same row in {first}; keep the one that is right."
                faults.append(origin.fault(None, message))
            mine.rows.setdefault(key, row)
    return incoming, faults


def unknown_glazes(layers: Incoming, glazes: Iterable[str], origin_of_glazes: str) -> list[Fault]:
    """One fault for each glaze that a layer names and nothing describes, at its first row."""
    known = list(glazes)
    names = set(known)
    faults: list[Fault] = []
    for key, row in layers.rows.items():
        name = row.cells["glaze"]
        if name and name not in names:
            names.add(name)
            hint = nearest(name, known) if len(faults) < SHOWN_FAULTS else ""
            message = (
                f'"{name[:40]}" is not in {origin_of_glazes}{hint}; import its row '
                "of the glazes table with it, or mend the name."
            )
            faults.append(layers.origins[key].fault("glaze", message))
    return faults


def without_faulty(
    tables: Iterable[Table], glazes: Iterable[str], tell: bool
) -> tuple[list[Table], int]:
    """Tables without the pieces that cannot be used, and how many these are.

    Parameters
    ----------
    tables : iterable of Table
    glazes : iterable of str
        Those that are logged.
    tell : bool
        Warn of each piece that is left out.
    """
    given = [*tables]
    known = [*glazes]
    for table in given:
        known += table.frame["glaze"].tolist() if table.kind == "glazes" else []
    kept, left_out = [], 0
    for table in given:
        if table.kind == "layers":
            blame_unknown(table, "glaze", known, "the logbook")
            rest, told = without_faulty_pieces(table)
            left_out += len({piece for piece, _ in told})
            for piece, fault in told if tell else ():
                message = f"{quoted(piece)} is left out: {fault.message}"
                warnings.warn(TableWarning(replace(fault, message=message)), stacklevel=2)
        kept.append(rest if table.kind == "layers" else table)
    return kept, left_out


def _known(value: Any) -> bool:
    return value is not None and value != ""


def laid_otherwise(new: Row, old: Row) -> list[str]:
    """Columns that say how a layer was laid, and say it otherwise in a newer row."""
    return [
        name
        for name in _LAID
        if _known(new.cells[name])
        and new.cells[name] != old.cells[name]
        and _known(old.cells[name])
    ]


def _laid_over(kind: TableKind, new: Row, old: Row) -> Row:
    """The newer row; what it leaves blank is as it was logged."""
    extra = {**old.extra, **new.extra}
    if kind in WHOLE:
        return Row(new.cells, extra)
    together = _TOGETHER.get(kind, ())
    if kind == "layers" and laid_otherwise(new, old):
        together = _RESULTS
    again = any(_known(new.cells[name]) for name in together)
    cells = {
        name: value if _known(value) or (again and name in together) else old.cells[name]
        for name, value in new.cells.items()
    }
    return Row(cells, extra)


def changes_of(
    kind: TableKind, incoming: Incoming, stored: Mapping[Key, Stored]
) -> tuple[list[Change], Counts]:
    """What has to be written so that the logbook says what came in."""
    changes: list[Change] = []
    added = unchanged = 0
    for key, new in incoming.rows.items():
        old = stored.get(key)
        row = new if old is None or old.retired else _laid_over(kind, new, old.row)
        if old is None or (old.retired and kind not in WHOLE):
            added += 1
        elif not old.retired and row == old.row:
            unchanged += 1
            continue
        changes.append(Change(key, row, 1 if old is None else old.revision + 1))
    if kind in WHOLE:
        groups = {group_of(kind, key) for key in incoming.rows}
        changes += [
            Change(key, old.row, old.revision + 1, retired=True)
            for key, old in stored.items()
            if not old.retired and group_of(kind, key) in groups and key not in incoming.rows
        ]
    return changes, Counts(added, len(changes) - added, unchanged)


def faults_together(
    kind: TableKind,
    changes: Sequence[Change],
    stored: Mapping[Key, Stored],
    origins: Mapping[Key, Place],
    warn: bool = False,
) -> list[Fault]:
    """Faults of the rows that change beside the logged ones they must agree with."""
    after = {key: old.row for key, old in stored.items() if not old.retired}
    after.update({change.key: change.row for change in changes if not change.retired})
    for change in changes:
        if change.retired:
            after.pop(change.key, None)
    groups = {group_of(kind, change.key) for change in changes}
    keys = [key for key in after if group_of(kind, key) in groups]
    raw = pd.DataFrame([after[key].cells for key in keys], columns=_names(kind))
    with warnings.catch_warnings(record=True) as told:
        warnings.simplefilter("always", TableWarning)
        found = check_rows(raw, kind, FILE_NAME, np.arange(len(keys), dtype=np.int64)).faults

    def placed(fault: Fault) -> Fault:
        """The fault with its place in a file, or else in the logbook, for its position."""
        if fault.row is None:
            return fault
        key = keys[fault.row]
        place = origins.get(key, Place(f"{FILE_NAME}, {row_name(kind, key)}"))
        return place.fault(fault.column, fault.message)

    for warning in told if warn else ():  # else they were told when the table was read
        if isinstance(warning.message, TableWarning):
            warnings.warn(TableWarning(placed(warning.message.fault)), stacklevel=2)
    return [placed(fault) for fault in found]


def row_name(kind: TableKind, key: Key) -> str:
    """What names a row, in words."""
    return ", ".join(
        f"{name} {str(cell).strip()}"
        for name, cell in zip(KEYS[kind], key, strict=True)
        if str(cell).strip()
    )


def _names(kind: TableKind) -> list[str]:
    return [column.name for column in COLUMNS[kind]]


def cells_typed(kind: TableKind, texts: Mapping[str, str]) -> dict[str, Any]:
    """Some cells of a row as they are kept.

    Parameters
    ----------
    kind : TableKind
    texts : mapping of str by column
        As typed; blank where nothing is known.

    Raises
    ------
    BadInput : if one cannot be read, or the table has no such column.
    """
    unknown = [name for name in texts if name not in _names(kind)]
    raise_faults(Fault(kind, None, name, "is no column of the table.") for name in unknown)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", TableWarning)
        table = parse_columns(pd.DataFrame([texts], dtype=object), kind, kind)
    raise_faults(
        Fault(FILE_NAME, None, fault.column, fault.message)
        for fault in table.faults
        if fault.row is not None
    )
    return {name: row.cells[name] for row in _rows_of(table) for name in texts}


def frame_of(kind: TableKind, rows: Sequence[Row], headings: Sequence[str]) -> pd.DataFrame:
    """Rows as `tables.rows.check_table` returns them, the unknown columns behind."""
    cells = [row.cells for row in rows]
    frame = pd.DataFrame({
        name: pd.Series([row[name] for row in cells], dtype=dtype)
        for name, dtype in dtypes_of(kind).items()
    })  # fmt: skip
    for heading in headings:
        frame[heading] = pd.Series([row.extra.get(heading, "") for row in rows], dtype=str)
    return frame
