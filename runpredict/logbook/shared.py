"""A logbook that several people write to at once: nobody overwrites what she has not seen."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Mapping, Sequence

import pandas as pd

from runpredict.errors import BadInput, Fault
from runpredict.logbook.book import Logbook
from runpredict.logbook.named import LoggedNames, respell_names
from runpredict.logbook.rows import (
    Change,
    Counts,
    Incoming,
    Key,
    Outcome,
    Row,
    Stored,
    faults_together,
    frame_of,
    group_of,
    has_result,
    join_tables,
)
from runpredict.logbook.schema import prove_or_refuse, transaction
from runpredict.logbook.store import add_rows, newest_rows
from runpredict.tables.columns import KINDS, TableKind
from runpredict.tables.firings import firing_words
from runpredict.tables.rows import check_rows, raise_faults


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


class SharedLogbook(Logbook):
    """A logbook whose rows are read with a mark, and written with the mark that was read.

    A mark is a text that changes whenever a row of its group does: the layers of a piece, the
    rows of a recipe, one glaze. A group that is not there has the mark "".
    """

    def version(self) -> tuple[int, int]:
        """Another pair whenever anything was written, by this program or by another."""
        with self._telling():
            (others,) = self._connection.execute("PRAGMA data_version").fetchone()
        return others, self._connection.total_changes

    def prove(self) -> None:
        """Prove the file whole, as when it was opened, where another program wrote to it.

        Raises
        ------
        BadInput
        """
        assert self.file is not None
        with self._telling():
            prove_or_refuse(self._connection, self.file)

    def marked(self, kind: TableKind) -> tuple[pd.DataFrame, dict[Key, str]]:
        """A table, as `table` returns it but for unknown columns, and the mark of each group.

        Parameters
        ----------
        kind : {"glazes", "recipes", "materials", "schedules", "layers"}

        Returns
        -------
        DataFrame
        dict of str
            By what names the group: (piece, firing) of layers, (glaze,) of a recipe.
        """
        with self._telling():
            stored = newest_rows(self._connection, kind)
        rows = [found.row for found in stored.values() if not found.retired]
        return frame_of(kind, rows, []), _marks_of(kind, stored)

    def put_tables(
        self, tables: Mapping[TableKind, pd.DataFrame], marks: Mapping[TableKind, str], origin: str
    ) -> dict[TableKind, Counts]:
        """`import_tables` of one group a table, each with its mark.

        Raises
        ------
        BadInput
            With every fault of every table; then nothing is written.
        Overtaken
            If a group was written to since it had that mark.
        """
        checked = [check_rows(raw, kind, kind) for kind, raw in tables.items()]
        with self._telling(), transaction(self._connection):
            standing = {kind: newest_rows(self._connection, kind) for kind in KINDS}
            respell_names(checked, LoggedNames.of(standing))
            incoming, _ = join_tables(checked)
            for kind, mark in marks.items():
                groups = {group_of(kind, key) for key in incoming[kind].rows}
                _refuse_overtaken(kind, standing[kind], groups, mark)
            return self._write_tables(checked, origin)

    def put_piece(self, layers: pd.DataFrame, replaces: Key | None, mark: str) -> tuple[Key, bool]:
        """Write a planned piece exactly as given, blanks too; its names as they are logged.

        Parameters
        ----------
        layers : DataFrame
            All its layers, cells as typed; without rows to remove it.
        replaces : (piece, firing) or None
            What it was called; it leaves there.
        mark : str
            Of the piece when it was read; "" for a new one.

        Returns
        -------
        (piece, firing)
            What it is called now.
        bool
            Whether anything of it was written since it had that mark, now or before: what is sent
            again is written once.

        Raises
        ------
        BadInput
            With every fault of the layers, or if it has been fired; then nothing is written.
        Overtaken
            If it was written to since.
        Taken
            If another piece has that name.
        """
        table = check_rows(layers, "layers", "layers")
        with self._telling(), transaction(self._connection):
            standing = {kind: newest_rows(self._connection, kind) for kind in KINDS}
            stored = standing["layers"]
            respell_names([table], LoggedNames.of(standing, but=replaces))
            incoming, found = join_tables([table])
            raise_faults([*found, *self._unknown_glazes(incoming)])
            rows = incoming["layers"]
            named = {group_of("layers", key) for key in rows.rows}
            groups = named | ({replaces} if replaces is not None else set())
            changes = _rewritten(rows, stored, groups)
            if changes:
                _refuse_taken(stored, named - {replaces})
                if replaces is not None:
                    _refuse_overtaken("layers", stored, [replaces], mark)
                _refuse_fired(stored, groups)
                raise_faults(faults_together("layers", changes, stored, rows.origins))
                origin = ", ".join(sorted({str(group[0]) for group in groups}))
                action = "record" if rows.rows else "remove"
                add_rows(self._connection, self.file, {"layers": changes}, {}, action, origin)
            now = _marks_of("layers", stored).get(name := next(iter(named or groups)), "")
            return name, bool(changes) or now != mark

    def put_outcomes(
        self, piece: str, firing: str, outcomes: Sequence[Outcome], mark: str
    ) -> pd.DataFrame:
        """`record`, of a piece with its mark.

        Raises
        ------
        BadInput
            If there is no such piece or layer, or the outcome is not possible.
        Overtaken
            If the piece was written to since it had that mark.
        """
        with self._telling(), transaction(self._connection):
            stored = newest_rows(self._connection, "layers", piece)
            _refuse_overtaken("layers", stored, [(piece, firing)], mark)
            return self._write_outcomes(piece, outcomes, firing, "record")


def _marks_of(kind: TableKind, stored: Mapping[Key, Stored]) -> dict[Key, str]:
    found: dict[Key, list[str]] = {}
    for key, row in stored.items():
        if not row.retired:
            found.setdefault(group_of(kind, key), []).append(f"{key!r} {row.revision}")
    return {group: _digest(lines) for group, lines in found.items()}


def _digest(lines: Collection[str]) -> str:
    return hashlib.sha256("\n".join(sorted(lines)).encode("utf-8", "surrogatepass")).hexdigest()[
        :20
    ]


def _refuse_overtaken(
    kind: TableKind, stored: Mapping[Key, Stored], groups: Collection[Key], mark: str
) -> None:
    """Refuse a change of groups that are not as they were when they were read.

    Of all the groups that are written to, one may have been there, and it had the mark.
    """
    marks = _marks_of(kind, stored)
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


def _refuse_taken(stored: Mapping[Key, Stored], named: Collection[Key]) -> None:
    """Refuse a new name that a standing piece has."""
    for piece, firing in named & _marks_of("layers", stored).keys():
        where = f' in "{firing_words(firing)}"' if firing else ""
        message = f"is there already{where}; give another name, or open that one."
        raise Taken([Fault(piece, None, "piece", message)])


def _refuse_fired(stored: Mapping[Key, Stored], groups: Collection[Key]) -> None:
    for key, old in stored.items():
        if key[:2] in groups and not old.retired and has_result(old.row):
            message = "has a result, so its layers stay as they are; copy it to plan another."
            raise BadInput([Fault(str(key[0]), None, None, message)])


def _rewritten(
    incoming: Incoming, stored: Mapping[Key, Stored], groups: Collection[Key]
) -> list[Change]:
    """What has to be written so that a planned piece is as it came in, and nothing else of it."""
    mine = {key: row for key, row in stored.items() if group_of("layers", key) in groups}
    standing = {key: row for key, row in mine.items() if not row.retired}
    changes = []
    for key, new in incoming.rows.items():
        old = mine.get(key)
        row = Row(new.cells, old.row.extra | new.extra if old else new.extra)
        if old is None or old.retired or old.row != row:
            changes.append(Change(key, row, 1 if old is None else old.revision + 1))
    leaving = [(key, row) for key, row in standing.items() if key not in incoming.rows]
    return [
        *changes,
        *(Change(key, row.row, row.revision + 1, retired=True) for key, row in leaving),
    ]
