"""Proof that a logbook's file holds what this program wrote to it: nothing more, less or other."""

from __future__ import annotations

import json
import math
import re
import sqlite3
import zlib
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any

from runpredict.tables.columns import COLUMNS, KINDS, Column, TableKind, cones
from runpredict.tables.texts import can_be_kept

DAMAGED = "is damaged or not a logbook, and was left as it is"
CHANGED = (
    "was changed by another program, which added, changed or removed rows, and was left as it is"
)


def checksum(row: Mapping[str, Any]) -> int:
    """Check figure of a row as stored, by which a damaged one is known.

    Blanks are left out, so that a column added later does not change it.
    """
    known = {name: value for name, value in row.items() if value not in (None, "")}
    return zlib.crc32(json.dumps(known, sort_keys=True).encode())


def totals(connection: sqlite3.Connection, kinds: Iterable[TableKind] = KINDS) -> tuple[int, int]:
    """How many rows some tables hold, and the sum of their check figures."""
    found = [
        connection.execute(f"SELECT count(*), coalesce(sum(checksum), 0) FROM {kind}").fetchone()
        for kind in kinds
    ]
    return sum(count for count, _ in found), sum(figure for _, figure in found)


def seal_next(connection: sqlite3.Connection, entry: int, figures: Sequence[int]) -> None:
    """Write down what the tables hold once an entry has added its rows.

    Parameters
    ----------
    connection : Connection
        Inside a transaction, before the entry: a program that seals nothing can add none.
    entry : int
        Its number.
    figures : sequence of int
        Check figures of its rows.
    """
    count, figure = totals(connection)
    connection.execute(
        "INSERT INTO seals VALUES (?, ?, ?)", (entry, count + len(figures), figure + sum(figures))
    )


def _parts(connection: sqlite3.Connection) -> set[tuple[str, str, str]]:
    """Tables, indexes, triggers and views, however a release of SQLite spaces and quotes them."""
    found = connection.execute("SELECT type, name, coalesce(sql, '') FROM sqlite_master")
    return {(kind, name, re.sub(r'[\s"]+', "", sql)) for kind, name, sql in found}


def what_is_wrong(connection: sqlite3.Connection, model: sqlite3.Connection) -> str:
    """Why a file is not to be used, or nothing.

    Parameters
    ----------
    connection : Connection
        A logbook of this version or an earlier one.
    model : Connection
        An empty logbook of the same version.

    Returns
    -------
    str
        What it is, and that it was left; blank for a whole one.

    Raises
    ------
    sqlite3.DatabaseError, UnicodeDecodeError : if the file cannot even be read.

    Notes
    -----
    What the file is made of comes first: a view in the place of a table may have no end.
    """
    if _parts(connection) != _parts(model):
        return DAMAGED
    if connection.execute("PRAGMA integrity_check(1)").fetchone() != ("ok",):
        return DAMAGED
    if connection.execute("PRAGMA foreign_key_check").fetchone():
        return DAMAGED
    for kind in KINDS:
        if not _rows_are_ours(connection, kind):
            return DAMAGED
    return "" if _is_sealed(connection) else CHANGED


def _is_sealed(connection: sqlite3.Connection) -> bool:
    newest = connection.execute("SELECT * FROM seals ORDER BY entry DESC LIMIT 1").fetchone()
    (last,) = connection.execute("SELECT coalesce(max(id), 0) FROM entries").fetchone()
    return newest == (last, *totals(connection))


def _rows_are_ours(connection: sqlite3.Connection, kind: TableKind) -> bool:
    columns = {column.name: column for column in COLUMNS[kind]}
    cursor = connection.execute(f"SELECT * FROM {kind}")
    names = [name for name, *_ in cursor.description]
    for values in cursor:
        row = dict(zip(names, values, strict=True))
        del row["id"]
        if row.pop("checksum") != checksum(row) or not _is_extra(row["extra"]):
            return False
        if not all(_could_be_ours(column, row.get(name)) for name, column in columns.items()):
            return False
    return True


def _could_be_ours(column: Column, cell: Any) -> bool:
    """Whether a cell is one that reading lets in, however it came to its check figure."""
    if cell is None or cell == "":
        return True
    if not isinstance(cell, str):
        return column.low <= cell <= column.high and math.isfinite(cell)
    if column.form == "word":
        return cell in column.words
    if column.form in ("cone", "witness"):
        cone, _, bend = cell.partition(" ")
        return cone in cones() and bend in (
            ("", "half", "flat") if column.form == "witness" else ("",)
        )
    if column.form == "date":
        return _is_date(cell)
    return can_be_kept(cell, note=column.form == "note")


def _is_extra(text: str) -> bool:
    if not text:
        return True
    try:
        extra = json.loads(text)
    except (ValueError, RecursionError):
        return False
    return isinstance(extra, dict) and all(
        isinstance(part, str) and can_be_kept(part, note=True) for part in (*extra, *extra.values())
    )


def _is_date(text: str) -> bool:
    try:
        return date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False
