"""Reading and adding of logbook rows, given an open connection."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

from runpredict.errors import BadInput
from runpredict.logbook.integrity import checksum, seal_next
from runpredict.logbook.rows import Change, Key, Revision, Row, Stored, cells_typed, key_of
from runpredict.logbook.schema import BACKUP_NAME, Connection, back_up, refuse_newer
from runpredict.tables.columns import COLUMNS, KINDS, TableKind
from runpredict.tables.headings import plain_heading


def _columns_sql(kind: TableKind) -> str:
    return ", ".join(f"{kind}.{column.name}" for column in COLUMNS[kind])


def _row(kind: TableKind, record: Sequence[Any]) -> Row:
    *values, extra = record
    cells = dict(zip((column.name for column in COLUMNS[kind]), values, strict=True))
    kept: dict[str, str] = json.loads(extra) if extra else {}
    # A column that was not known yet when the row came in is read now.
    known = {plain_heading(name): name for name in cells} if kept else {}
    for heading, name in [(heading, known.get(plain_heading(heading))) for heading in kept]:
        if name is None:
            continue
        text = kept.pop(heading)
        try:
            cells[name] = _typed(kind, name, text) if cells[name] in (None, "") else cells[name]
        except BadInput:
            kept[f"{heading} as typed"] = text
    return Row(cells, kept)


@lru_cache(maxsize=10_000)
def _typed(kind: TableKind, name: str, text: str) -> Any:
    return cells_typed(kind, {name: text})[name]


def newest_rows(
    connection: Connection, kind: TableKind, piece: str | None = None
) -> dict[Key, Stored]:
    """Newest revision of each row, in the order the rows were first logged.

    Rows are only ever added, so only those after the last one read are read, unless another program
    wrote meanwhile.
    """
    (others,) = connection.execute("PRAGMA data_version").fetchone()
    was, last, kept = connection.read.get(kind, (others, 0, {}))
    if was != others or piece is not None:
        last, kept = 0, {}
    stored: dict[Key, Stored] = dict(kept)
    where, values = ("", (last,)) if piece is None else ("AND piece = ?", (last, piece))
    found = connection.execute(
        f"SELECT id, revision, retired, {_columns_sql(kind)}, extra FROM {kind} "
        f"WHERE id > ? {where} ORDER BY id",
        values,
    )
    for number, revision, retired, *record in found:
        row = _row(kind, record)
        stored[key_of(kind, row)] = Stored(row, revision, bool(retired))
        last = number
    if piece is None and not connection.in_transaction:  # else it may be taken back
        connection.read[kind] = others, last, dict(stored)
    return stored


def revisions(connection: sqlite3.Connection, kind: TableKind) -> list[Revision]:
    """Every revision of every row, oldest first."""
    found = connection.execute(
        "SELECT entry, made_at, action, entries.source, revision, retired, "
        f"{_columns_sql(kind)}, extra "
        f"FROM {kind} JOIN entries ON entries.id = {kind}.entry ORDER BY {kind}.id"
    )
    return [
        Revision(entry, made_at, action, source, number, bool(retired), _row(kind, record))
        for entry, made_at, action, source, number, retired, *record in found
    ]


def headings_of(
    connection: sqlite3.Connection, kind: TableKind, rows: Iterable[Row] = ()
) -> list[str]:
    """Unknown columns of a table, in the order they came in, and what else some rows have."""
    found = connection.execute(
        "SELECT heading FROM extra_columns WHERE kind = ? ORDER BY id", (kind,)
    )
    known = {plain_heading(column.name) for column in COLUMNS[kind]}
    headings = [heading for (heading,) in found if plain_heading(heading) not in known]
    return list(dict.fromkeys([*headings, *(heading for row in rows for heading in row.extra)]))


def add_rows(
    connection: sqlite3.Connection,
    file: Path | None,
    changes: Mapping[TableKind, Sequence[Change]],
    headings: Mapping[TableKind, Sequence[str]],
    action: str,
    origin: str,
) -> None:
    """Add rows and unknown columns, inside a transaction; an import backs the file up first.

    Raises
    ------
    BadInput : if the backup cannot be written, or a newer program changed the logbook meanwhile.
    """
    known = {kind: set(headings_of(connection, kind)) for kind in headings}
    new = [
        (kind, heading)
        for kind, mine in headings.items()
        for heading in mine
        if heading not in known[kind]
    ]
    if not new and not any(changes.values()):
        return
    if file is not None:
        refuse_newer(connection, file)
    (entry,) = connection.execute("SELECT coalesce(max(id), 0) + 1 FROM entries").fetchone()
    written = {kind: [_values(change, entry) for change in mine] for kind, mine in changes.items()}
    seal_next(connection, entry, [row["checksum"] for rows in written.values() for row in rows])
    connection.execute(
        "INSERT INTO entries (id, made_at, action, source) VALUES (?, ?, ?, ?)",
        (entry, datetime.now(UTC).isoformat(timespec="seconds"), action, origin),
    )
    # After the first change, by which a read-only logbook is known; the copy is without it.
    if action == "import" and file is not None:
        back_up(file, file.with_name(BACKUP_NAME))
    for column in new:
        connection.execute("INSERT INTO extra_columns (kind, heading) VALUES (?, ?)", column)
    for change in changes.get("glazes", ()):
        connection.execute("INSERT OR IGNORE INTO glaze_names VALUES (?)", change.key)
    for kind in KINDS:
        for row in written.get(kind, ()):
            connection.execute(
                f"INSERT INTO {kind} ({', '.join(row)}) VALUES ({', '.join('?' * len(row))})",
                tuple(row.values()),
            )


def _values(change: Change, entry: int) -> dict[str, Any]:
    """A row as stored."""
    values = {
        "entry": entry,
        "revision": change.revision,
        "retired": int(change.retired),
        **change.row.cells,
        "extra": json.dumps(change.row.extra, ensure_ascii=False) if change.row.extra else "",
    }
    return {**values, "checksum": checksum(values)}
