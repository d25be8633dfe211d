"""Every revision of the logbook as tables: whole rows, or the cells that changed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import pandas as pd

from runpredict.logbook.rows import Key, Revision, frame_of, key_of
from runpredict.tables.columns import KEYS, TableKind

HISTORY = "history"
"""What an export calls the table of changes, as a file and as a sheet."""

CHANGE_COLUMNS = (
    "entry",
    "logged_at",
    "action",
    "origin",
    "table",
    "row",
    "change",
    "column",
    "before",
    "after",
)


def revisions_frame(
    kind: TableKind, revisions: Sequence[Revision], headings: Sequence[str]
) -> pd.DataFrame:
    """Rows as they stood, each revision one; as `Logbook.history` returns.

    Parameters
    ----------
    kind : {"glazes", "recipes", "materials", "schedules", "layers"}
    revisions : sequence of Revision
        The oldest first.
    headings : sequence of str
        Unknown columns of the table.
    """
    entries = pd.DataFrame(
        [
            (made.logged_at, made.action, made.origin, made.number, made.retired)
            for made in revisions
        ],
        columns=["logged_at", "action", "origin", "revision", "retired"],
    )
    rows = frame_of(kind, [made.row for made in revisions], headings)
    return pd.concat([entries.astype({"retired": bool}), rows], axis=1)


def changes_frame(revisions: Mapping[TableKind, Sequence[Revision]]) -> pd.DataFrame:
    """Every change of every table, the oldest first.

    Parameters
    ----------
    revisions : mapping of sequences of Revision by kind
        Each the oldest first.

    Returns
    -------
    DataFrame
        `entry` (number of the import, record or removal), `logged_at` (UTC), `action` (``import``,
        ``record`` or ``remove``), `origin` (the files, the piece, or "all the rest: fine"),
        `table`, `row` (what names it), `change` (``added``, ``corrected``, ``removed``, or ``left``
        its recipe or schedule), `column`, `before` and `after`. A row that was added is one line;
        one that was corrected has a line for each cell that changed, one that left for each cell it
        had.
        With the tables as they are now, this gives every row as it stood at any time.
    """
    lines = [line for kind, mine in revisions.items() for line in _lines(kind, mine)]
    lines.sort(key=lambda line: line[0])  # stable: within an entry as the rows came in
    return pd.DataFrame(lines, columns=list(CHANGE_COLUMNS), dtype=object)


def _lines(kind: TableKind, revisions: Sequence[Revision]) -> Iterator[tuple[Any, ...]]:
    """Cells of `changes_frame`."""
    standing: dict[Key, Revision] = {}
    for made in revisions:
        key = key_of(kind, made.row)
        named = "; ".join(
            f"{name} {str(cell).strip()}"
            for name, cell in zip(KEYS[kind], key, strict=True)
            if cell != ""
        )
        head = (made.entry, made.logged_at, made.action, made.origin, kind, named)
        old = standing.get(key)
        standing[key] = made
        if old is None or old.retired:
            yield *head, "added", "", "", ""
            continue
        before = {name: cell for name, cell in _cells(old).items() if name not in KEYS[kind]}
        after = {} if made.retired else _cells(made)
        left = "removed" if kind == "layers" else "left"
        change = left if made.retired else "corrected"
        for name in {**before, **after}:
            was, is_now = before.get(name, ""), after.get(name, "")
            if was != is_now and name not in KEYS[kind]:
                yield *head, change, name, was, is_now


def _cells(revision: Revision) -> dict[str, Any]:
    """Every cell by its heading, also of unknown columns; blank when not known."""
    cells = {**revision.row.cells, **revision.row.extra}
    return {name: "" if cell is None else cell for name, cell in cells.items()}
