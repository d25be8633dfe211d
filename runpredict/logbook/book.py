"""The potter's log: what was glazed and what came of it, kept for good."""

from __future__ import annotations

import math
import os
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any, Self

import pandas as pd

from runpredict.errors import Fault
from runpredict.logbook.forms import load_files
from runpredict.logbook.history import HISTORY, changes_frame, revisions_frame
from runpredict.logbook.rows import (
    Change,
    Counts,
    Incoming,
    Key,
    Outcome,
    Stored,
    changes_of,
    faults_together,
    frame_of,
    glazes_changed,
    has_result,
    join_tables,
    unknown_glazes,
    with_outcome,
)
from runpredict.logbook.schema import (
    FILE_NAME,
    connect,
    make_file,
    new_in_memory,
    telling,
    transaction,
)
from runpredict.logbook.store import add_rows, headings_of, newest_rows, reading, revisions
from runpredict.tables.cells import Table, nearest
from runpredict.tables.columns import KINDS, TableKind
from runpredict.tables.csv_files import write_tables
from runpredict.tables.files import refuse_file
from runpredict.tables.firings import firing_words
from runpredict.tables.rows import check_rows, raise_faults
from runpredict.tables.slips import warn_of_ripeness
from runpredict.tables.workbooks import write_workbook

__all__ = ["FILE_NAME", "Logbook", "Outcome", "import_files"]


class Logbook:
    """A logbook in a folder; close it, or use it in a ``with``.

    Nothing is ever taken out: what is corrected stands in `history`.

    Examples
    --------
    >>> import tempfile
    >>> with Logbook.open(tempfile.mkdtemp(), create=True) as log:
    ...     len(log.layers())
    0
    """

    def __init__(self, connection: sqlite3.Connection, file: Path | None) -> None:
        self._connection = connection
        self.file = file

    @classmethod
    def open(cls, folder: str | os.PathLike[str], *, create: bool = False) -> Self:
        """Open the logbook of a folder.

        Parameters
        ----------
        folder : path
            Where ``logbook.sqlite3`` is.
        create : bool
            Make an empty one when there is none.

        Returns
        -------
        Logbook

        Raises
        ------
        BadInput
            If there is none, or it is damaged; then it is left as it is.
        """
        file = Path(folder) / FILE_NAME
        if not file.exists():
            if not create:
                refuse_file(
                    FILE_NAME,
                    f'there is none in "{folder}"; import your tables first, or give the folder '
                    "of your logbook with --logbook.",
                )
            make_file(file)
        return cls(connect(file), file)

    def close(self) -> None:
        """Close the file."""
        self._connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: object, trace: object) -> None:
        self.close()

    def glazes(self) -> pd.DataFrame:
        """Glazes; as `table`."""
        return self.table("glazes")

    def recipes(self) -> pd.DataFrame:
        """Recipes of glazes; as `table`."""
        return self.table("recipes")

    def materials(self) -> pd.DataFrame:
        """Raw materials; as `table`."""
        return self.table("materials")

    def schedules(self) -> pd.DataFrame:
        """Typed firings; as `table`."""
        return self.table("schedules")

    def layers(self) -> pd.DataFrame:
        """Layers, planned and fired; as `table`."""
        return self.table("layers")

    def table(self, kind: TableKind) -> pd.DataFrame:
        """One table, its rows in the order they were first logged.

        Parameters
        ----------
        kind : {"glazes", "recipes", "materials", "schedules", "layers"}

        Returns
        -------
        DataFrame
            As `tables.rows.check_table` returns it: mm, °C, wt %.
        """
        with self._telling():
            rows = [
                stored.row
                for stored in newest_rows(self._connection, kind).values()
                if not stored.retired
            ]
            headings = headings_of(self._connection, kind)
        return frame_of(kind, rows, headings)

    def history(self, kind: TableKind = "layers", **named: Any) -> pd.DataFrame:
        """Every revision of the rows of a table, the oldest first.

        Parameters
        ----------
        kind : {"glazes", "recipes", "materials", "schedules", "layers"}
        **named
            Only rows with these cells, such as ``piece="mug 1"``.

        Returns
        -------
        DataFrame
            `logged_at` (UTC), `action` (``import``, ``record`` or ``remove``), `origin`,
            `revision`, `retired` (it was removed, or left its recipe or schedule), then the columns
            of `table`.
        """
        with self._telling():
            history = revisions_frame(
                kind, revisions(self._connection, kind), headings_of(self._connection, kind)
            )
        for column, value in named.items():
            history = history.loc[history[column] == value]
        return history.reset_index(drop=True)

    def changes(self) -> pd.DataFrame:
        """Every change of every table, the oldest first; as `changes_frame` returns."""
        with self._telling():
            return changes_frame({kind: revisions(self._connection, kind) for kind in KINDS})

    def import_tables(
        self, tables: Mapping[TableKind, pd.DataFrame], origin: str = "tables"
    ) -> dict[TableKind, Counts]:
        """Add tables to the logbook, all of them or nothing.

        Parameters
        ----------
        tables : mapping of DataFrame by kind
            Cells as typed, as for `tables.rows.check_table`.
        origin : str
            What `history` calls it.

        Returns
        -------
        dict of Counts by kind

        Raises
        ------
        BadInput
            With every fault of every table; then nothing is imported.

        Warns
        -----
        TableWarning
            As `tables.rows.check_table`.

        Notes
        -----
        A row with a new key is added. One with a known key corrects it, but a blank cell leaves
        what is logged; oxides of an analysis, ingredients of a recipe and segments of a schedule
        are corrected as a whole.
        """
        checked = [check_rows(raw, kind, kind) for kind, raw in tables.items()]
        return self.import_checked(checked, origin)

    def import_checked(
        self, tables: Sequence[Table], origin: str, faults: Iterable[Fault] = ()
    ) -> dict[TableKind, Counts]:
        """Add tables that were read already; as `import_tables`.

        Parameters
        ----------
        tables : sequence of Table
            With their faults.
        origin : str
        faults : iterable of Fault
            Of what could not be read, to be told with the others.

        Raises
        ------
        BadInput
        """
        with self._telling(), transaction(self._connection):
            return self._write_tables(tables, origin, faults)

    def _write_tables(
        self, tables: Sequence[Table], origin: str, faults: Iterable[Fault] = ()
    ) -> dict[TableKind, Counts]:
        incoming, of_tables = join_tables(tables)
        found = [*faults, *of_tables, *self._unknown_glazes(incoming)]
        raise_faults(found)
        counts: dict[TableKind, Counts] = {}
        changes: dict[TableKind, list[Change]] = {}
        for kind in KINDS:
            if kind in incoming:
                stored = newest_rows(self._connection, kind)
                changes[kind], counts[kind] = changes_of(kind, incoming[kind], stored)
                if kind == "layers":
                    found += glazes_changed(changes[kind], stored, incoming[kind])
                origins = incoming[kind].origins
                found += faults_together(kind, changes[kind], stored, origins)
        raise_faults(found)
        self._warn_of_ripeness(tables, incoming)
        headings = {kind: rows.headings for kind, rows in incoming.items()}
        add_rows(self._connection, self.file, changes, headings, "import", origin)
        return counts

    def record(
        self, piece: str, outcomes: Sequence[Outcome], *, firing: str | None = None
    ) -> pd.DataFrame:
        """Write what came of a piece, all of its layers given or nothing.

        Parameters
        ----------
        piece : str
        outcomes : sequence of Outcome
            One a layer.
        firing : str, optional
            Its name, or its date where it has none; needed when several firings have a piece of
            this name.

        Returns
        -------
        DataFrame
            The layers given, as they are logged now.

        Raises
        ------
        BadInput
            If there is no such piece or layer, or the outcome is not possible.

        Warns
        -----
        TableWarning
            For an outcome that contradicts itself.
        """
        with self._telling(), transaction(self._connection):
            return self._write_outcomes(piece, outcomes, firing, "record")

    def _write_outcomes(
        self, piece: str, outcomes: Sequence[Outcome], firing: str | None, action: str
    ) -> pd.DataFrame:
        stored = self._layers_of(piece)
        place = self._one_firing(piece, stored, firing)
        changes: list[Change] = []
        for outcome in outcomes:
            key = (piece, place, outcome.layer)
            if key not in stored:
                layers = ", ".join(str(known[2]) for known in stored if known[1] == place)
                refuse_file(piece, f"has no layer {outcome.layer}; it has {layers}.")
            row = with_outcome(stored[key].row, outcome)
            if row != stored[key].row:
                changes.append(Change(key, row, stored[key].revision + 1))
        raise_faults(faults_together("layers", changes, stored, {}, warn=True))
        add_rows(self._connection, self.file, {"layers": changes}, {}, action, piece)
        written = self._layers_of(piece)
        rows = [written[piece, place, outcome.layer].row for outcome in outcomes]
        return frame_of("layers", rows, [])

    def remove(
        self, piece: str, *, firing: str | None = None, result: bool = False
    ) -> pd.DataFrame:
        """Take back a planned piece, or the results of a fired one; `history` keeps both.

        Parameters
        ----------
        piece : str
        firing : str, optional
            As for `record`.
        result : bool
            Only what came of the piece; it is planned again.

        Returns
        -------
        DataFrame
            Its layers, as they were.

        Raises
        ------
        BadInput
            If there is no such piece, or, without `result`, it has results; with it, it has none.
        """
        with self._telling(), transaction(self._connection):
            stored = self._layers_of(piece)
            place = self._one_firing(piece, stored, firing)
            mine = {key: old for key, old in sorted(stored.items()) if key[1] == place}
            fired = [key for key, old in mine.items() if has_result(old.row)]
            if result:
                if not fired:
                    refuse_file(piece, "has no result to take back.")
                mine = {key: mine[key] for key in fired}
                taken = [Outcome(key[2], math.nan, "") for key in fired]
                self._write_outcomes(piece, taken, firing, "remove")
            else:
                if fired:
                    refuse_file(
                        piece,
                        "has results, and what was fired is kept; take mistaken results back first "
                        f'with runpredict remove "{piece}" --result.',
                    )
                gone = [Change(k, old.row, old.revision + 1, True) for k, old in mine.items()]
                add_rows(self._connection, self.file, {"layers": gone}, {}, "remove", piece)
        return frame_of("layers", [old.row for old in mine.values()], [])

    def piece(self, piece: str, firing: str | None = None) -> pd.DataFrame:
        """Layers of one piece, the lowest first.

        Raises
        ------
        BadInput
            If there is none, or `firing` is needed to tell which.
        """
        with self._telling():
            stored = self._layers_of(piece)
            place = self._one_firing(piece, stored, firing)
        rows = [stored[key].row for key in sorted(stored) if key[1] == place]
        return frame_of("layers", rows, [])

    def firings_of(self, piece: str) -> list[str]:
        """Firings that have a piece of this name; one without a name by its date."""
        with self._telling():
            return list(dict.fromkeys(key[1].strip() for key in self._layers_of(piece)))

    def export(
        self,
        folder: str | os.PathLike[str] | None = None,
        xlsx: str | os.PathLike[str] | None = None,
    ) -> None:
        """Write all tables and their history as CSV to a folder, as a workbook, or both.

        Parameters
        ----------
        folder : path, optional
            Gets ``glazes.csv``, ``recipes.csv``, ... in place of any it has, and `changes` as
            ``history.csv``.
        xlsx : path, optional
            Workbook with a sheet for each.

        Raises
        ------
        BadInput
            If they cannot be written; then what stood there is unchanged.
        """
        with self._telling(), reading(self._connection):
            tables: dict[str, pd.DataFrame] = {kind: self.table(kind) for kind in KINDS}
            tables[HISTORY] = self.changes()
        if folder is not None:
            write_tables({Path(folder) / f"{name}.csv": table for name, table in tables.items()})
        if xlsx is not None:
            write_workbook(tables, xlsx)

    @contextmanager
    def _telling(self) -> Iterator[None]:
        with telling(self.file or Path(FILE_NAME)):
            yield

    def _warn_of_ripeness(
        self, tables: Sequence[Table], incoming: Mapping[TableKind, Incoming]
    ) -> None:
        if self.file is None:  # a trial in memory, before the import that tells it
            return
        glazes = [stored.row for stored in newest_rows(self._connection, "glazes").values()]
        glazes += incoming.get("glazes", Incoming()).rows.values()
        matures = {row.cells["glaze"]: row.cells["matures_cone"] for row in glazes}
        for table in tables:
            if table.kind == "layers":
                warn_of_ripeness(table, matures)

    def _unknown_glazes(self, incoming: Mapping[TableKind, Incoming]) -> list[Fault]:
        if "layers" not in incoming:
            return []
        logged = [name for (name,) in self._connection.execute("SELECT glaze FROM glaze_names")]
        given = incoming.get("glazes", Incoming()).rows.values()
        known = [*logged, *(row.cells["glaze"] for row in given)]
        return unknown_glazes(incoming["layers"], known, "the logbook")

    def _layers_of(self, piece: str) -> dict[Key, Stored]:
        """Layers of the pieces of a name, but for those that were removed."""
        newest = newest_rows(self._connection, "layers", piece)
        return {key: stored for key, stored in newest.items() if not stored.retired}

    def _one_firing(self, piece: str, stored: Mapping[Key, Stored], firing: str | None) -> str:
        firings = list(dict.fromkeys(key[1] for key in stored))
        listed = ", ".join(f'"{firing_words(key)}"' for key in firings)
        if not firings:
            hint = nearest(piece, list(dict.fromkeys(self.layers()["piece"])))
            refuse_file(piece, f"is no piece in the logbook{hint}; import its layers first.")
        if firing is None and len(firings) > 1:
            refuse_file(piece, f"is in the firings {listed}; say which with --firing.")
        mine = firings if firing is None else [k for k in firings if k.strip() == firing.strip()]
        if not mine:
            refuse_file(piece, f'is not in a firing "{firing}"; it is in {listed}.')
        return mine[0]


def import_files(
    paths: Sequence[str | os.PathLike[str]], folder: str | os.PathLike[str]
) -> dict[TableKind, Counts]:
    """Add files to the logbook of a folder, making it when there is none.

    Parameters
    ----------
    paths : sequence of path
        CSV of any table, or workbooks.
    folder : path

    Returns
    -------
    dict of Counts by kind

    Raises
    ------
    BadInput
        With every fault of every file; then nothing is imported, nor a logbook made.

    Warns
    -----
    TableWarning
        As `csv_files.load_table`.
    """
    tables, faults = load_files(paths)
    origin = ", ".join(Path(path).name for path in paths)
    if not (Path(folder) / FILE_NAME).exists():
        with closing(new_in_memory()) as trial:
            Logbook(trial, None).import_checked(tables, origin, faults)
    with Logbook.open(folder, create=True) as log:
        return log.import_checked(tables, origin, faults)
