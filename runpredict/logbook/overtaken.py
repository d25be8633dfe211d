"""Several people write to one logbook, and nobody overwrites what she has not seen.

A mark is a text that changes whenever a row of its group does: the layers of a piece, the rows of a
recipe, one glaze. A group that is not there has the mark "".
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Mapping

import pandas as pd

from runpredict.errors import BadInput, Fault
from runpredict.logbook.results import has_result
from runpredict.logbook.rows import Change, Incoming, Key, Row, Stored, frame_of, group_of
from runpredict.tables.columns import TOLD_OF_PIECE, TableKind
from runpredict.tables.firings import firing_words


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


class Taken(BadInput):
    """Another piece has the name that this one was to get; nothing was written."""


def marks_of(kind: TableKind, stored: Mapping[Key, Stored]) -> dict[Key, str]:
    """The mark of each group that stands."""
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

    At most one of the groups may exist already, and only with the given mark.
    """
    marks = marks_of(kind, stored)
    if [marks[group] for group in groups if group in marks] == ([mark] if mark else []):
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


def refuse_taken(stored: Mapping[Key, Stored], named: Collection[Key]) -> None:
    """Refuse a new name that a standing piece has."""
    for piece, firing in named & marks_of("layers", stored).keys():
        where = f' in "{firing_words(firing)}"' if firing else ""
        message = f"is there already{where}; give another name, or open that one."
        raise Taken([Fault(piece, None, "piece", message)])


def refuse_fired(stored: Mapping[Key, Stored], groups: Collection[Key]) -> None:
    """Refuse to plan anew what has been fired."""
    for key, old in stored.items():
        if key[:2] in groups and not old.retired and has_result(old.row):
            message = "has a result, so its layers stay as they are; copy it to plan another."
            raise BadInput([Fault(str(key[0]), None, None, message)])


def rewritten(
    incoming: Incoming, stored: Mapping[Key, Stored], groups: Collection[Key]
) -> list[Change]:
    """What has to be written so that planned pieces are as they came in, and nothing else."""
    mine = {key: row for key, row in stored.items() if group_of("layers", key) in groups}
    standing = {key: row for key, row in mine.items() if not row.retired}
    # What the open kiln told of a piece is on no form that plans it; a new name takes it along.
    told = {
        group_of("layers", key): {c.name: row.row.cells[c.name] for c in TOLD_OF_PIECE}
        for key, row in standing.items()
    }
    coming = {group_of("layers", key) for key in incoming.rows}
    left = next((cells for group, cells in told.items() if group not in coming), {})
    changes = []
    for key, new in incoming.rows.items():
        old = mine.get(key)
        row = Row(
            new.cells | told.get(group_of("layers", key), left),
            old.row.extra | new.extra if old else new.extra,
        )
        if old is None or old.retired or old.row != row:
            changes.append(Change(key, row, 1 if old is None else old.revision + 1))
    leaving = [(key, row) for key, row in standing.items() if key not in incoming.rows]
    return [
        *changes,
        *(Change(key, row.row, row.revision + 1, retired=True) for key, row in leaving),
    ]
