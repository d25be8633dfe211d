"""Changes made at the bench, where several people write: none overwrites what it has not seen."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Mapping
from typing import Any

import pandas as pd

from runpredict.errors import BadInput, Fault
from runpredict.logbook.rows import (
    Change,
    Incoming,
    Key,
    Row,
    Stored,
    frame_of,
    group_of,
    has_result,
)
from runpredict.tables.columns import TableKind

__all__ = ["Overtaken", "marks_of", "refuse_overtaken", "rewritten"]


class Overtaken(BadInput):
    """Somebody wrote these rows since they were read; nothing was written over them.

    Attributes
    ----------
    standing : DataFrame
        The rows as they stand now; none where they were removed.
    """

    def __init__(self, fault: Fault, standing: pd.DataFrame) -> None:
        self.standing = standing
        super().__init__([fault])


def marks_of(kind: TableKind, stored: Mapping[Key, Stored]) -> dict[Key, str]:
    """A text for each group of rows that belong together, which changes when any of them does.

    Parameters
    ----------
    kind : {"glazes", "recipes", "materials", "schedules", "layers"}
    stored : mapping of Stored by key

    Returns
    -------
    dict of str
        By what names the group: (piece, firing) of layers, (glaze,) of a recipe. A group without
        rows has none, and its mark is "".
    """
    found: dict[Key, list[str]] = {}
    for key, row in stored.items():
        if not row.retired:
            found.setdefault(group_of(kind, key), []).append(f"{key!r} {row.revision}")
    return {group: _digest(lines) for group, lines in found.items()}


def _digest(lines: Collection[str]) -> str:
    return hashlib.sha256("\n".join(sorted(lines)).encode("utf-8", "surrogatepass")).hexdigest()[
        :20
    ]


def refuse_overtaken(
    kind: TableKind, stored: Mapping[Key, Stored], groups: Collection[Key], mark: str
) -> None:
    """Refuse a change of groups that are not as they were when they were read.

    Parameters
    ----------
    groups : collection of Key
        All that the change writes to; those that were not there when they were read count as "".
    mark : str
        What `marks_of` told of the one that was there; "" where none was.

    Raises
    ------
    Overtaken
    """
    marks = marks_of(kind, stored)
    now = [marks[group] for group in groups if group in marks]
    if now == ([mark] if mark else []):
        return
    rows = [
        row.row for key, row in stored.items() if not row.retired and group_of(kind, key) in groups
    ]
    name = str(next(iter(groups))[0])
    message = (
        "was changed by somebody else since you opened it; look at both before you keep one."
        if mark
        else "is there already; give another name, or open that one."
    )
    raise Overtaken(Fault(name, None, None, message), frame_of(kind, rows, []))


def rewritten(
    incoming: Incoming, stored: Mapping[Key, Stored], replaces: Key | None
) -> list[Change]:
    """What has to be written so that a planned piece is as it came in, blanks too.

    Parameters
    ----------
    incoming : Incoming
        All layers of the piece; none removes it.
    replaces : (piece, firing) or None
        What it was called; its layers that did not come in leave.

    Raises
    ------
    BadInput
        If it has been fired: what came of it belongs to the layers it had.
    """
    groups = {group_of("layers", key) for key in incoming.rows} | (
        {replaces} if replaces else set()
    )
    mine = {key: row for key, row in stored.items() if group_of("layers", key) in groups}
    standing = {key: row for key, row in mine.items() if not row.retired}
    if any(has_result(row.row) for row in standing.values()):
        message = "has a result, so its layers stay as they are; copy it to plan another."
        raise BadInput([Fault(str(next(iter(groups))[0]), None, None, message)])
    changes = []
    for key, new in incoming.rows.items():
        old = mine.get(key)
        row = Row(new.cells, old.row.extra | new.extra if old else new.extra)
        if old is None or old.retired or old.row != row:
            changes.append(Change(key, row, 1 if old is None else old.revision + 1))
    leaving: dict[Any, Stored] = {k: row for k, row in standing.items() if k not in incoming.rows}
    return [*changes, *(Change(k, r.row, r.revision + 1, retired=True) for k, r in leaving.items())]
