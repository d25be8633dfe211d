"""The potter's log: what was glazed and what came of it, kept for good."""

from __future__ import annotations

import math
import os
from collections.abc import Iterable, Mapping, Sequence
from contextlib import closing
from pathlib import Path

import pandas as pd

from runpredict.errors import Fault, printable
from runpredict.logbook.forms import load_files
from runpredict.logbook.history import HISTORY
from runpredict.logbook.named import LoggedNames, respell_names
from runpredict.logbook.reading import ReadLogbook
from runpredict.logbook.reused import results_inherited
from runpredict.logbook.rows import (
    Change,
    Counts,
    Incoming,
    Key,
    Outcome,
    changes_of,
    faults_together,
    frame_of,
    has_result,
    join_tables,
    unknown_glazes,
    with_outcome,
)
from runpredict.logbook.schema import (
    FILE_NAME,
    new_in_memory,
    reading,
    transaction,
)
from runpredict.logbook.store import add_rows, newest_rows
from runpredict.logbook.unwritten import rest_of_pot
from runpredict.tables.cells import Table
from runpredict.tables.columns import KINDS, TableKind
from runpredict.tables.csv_files import refuse_kind, table_csv
from runpredict.tables.files import as_path, refuse_file, refuse_other, replace_files
from runpredict.tables.firings import keyed_firings
from runpredict.tables.ingredients import blame_materials
from runpredict.tables.marks import mark_answers, refuse_unasked
from runpredict.tables.rows import check_rows, raise_faults
from runpredict.tables.slips import warn_of_ripeness
from runpredict.tables.workbooks import save_workbook


class Logbook(ReadLogbook):
    """A logbook in a folder; close it, or use it in a ``with``.

    Nothing is ever taken out: what is corrected stands in `history`.

    Examples
    --------
    >>> import tempfile
    >>> with Logbook.open(tempfile.mkdtemp(), create=True) as log:
    ...     len(log.layers())
    0
    """

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
        are corrected as a whole. Names may differ in case and spaces: those of a glaze, a
        material, a body, a firing, and a piece within its firing are taken for the logged one.
        """
        refuse_other(tables, dict, "tables", "a dict of DataFrames by kind")
        for kind in tables:
            refuse_kind(kind)
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
        standing = {kind: newest_rows(self._connection, kind) for kind in KINDS}
        logged = LoggedNames.of(standing)
        respell_names(tables, logged)
        _blame_materials(tables, logged.materials)
        incoming, of_tables = join_tables(tables)
        found = [*faults, *of_tables, *self._unknown_glazes(incoming)]
        raise_faults(found)
        counts: dict[TableKind, Counts] = {}
        changes: dict[TableKind, list[Change]] = {}
        for kind in KINDS:
            if kind in incoming:
                stored = standing[kind]
                changes[kind], counts[kind] = changes_of(kind, incoming[kind], stored)
                if kind == "layers":
                    found += results_inherited(changes[kind], stored, incoming[kind])
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
            In any case and spacing that no other piece has.
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
        refuse_other(outcomes, Sequence, "outcomes", "a list of Outcome")
        for outcome in outcomes:
            refuse_other(outcome, Outcome, "outcomes", "a list of Outcome")
        piece = self._logged_piece(piece)
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

    def record_rest_fine(self, asked: pd.DataFrame) -> pd.DataFrame:
        """Write in one step of layers without a result that they did not pass the foot.

        Parameters
        ----------
        asked : DataFrame
            Rows of `layers`. What has a result by now, or left the logbook, stays as it is; so does
            a pot with a layer past the foot, as for `unwritten.rest_of_pot`.

        Returns
        -------
        DataFrame
            The layers written.
        """
        # A dict, not a set: what is written keeps the order of what was asked.
        keys = dict.fromkeys(zip(asked["piece"], keyed_firings(asked), asked["layer"], strict=True))
        with self._telling(), transaction(self._connection):
            stored = newest_rows(self._connection, "layers")
            pots: dict[Key, list[Key]] = {key[:2]: [] for key in keys}
            for key, old in stored.items():
                if key[:2] in pots and not old.retired:
                    pots[key[:2]].append(key)
            changes = []
            for layers in pots.values():
                rows = [stored[key].row for key in layers]
                past = [row.cells["past_foot"] == "yes" for row in rows]
                means = rest_of_pot([has_result(row) for row in rows], past)
                for key, row, one in zip(layers, rows, means, strict=True):
                    if one and key in keys:
                        fine = with_outcome(row, Outcome(key[2], math.nan, "no"))
                        changes.append(Change(key, fine, stored[key].revision + 1))
            raise_faults(faults_together("layers", changes, stored, {}))
            origin = "all the rest: fine"
            add_rows(self._connection, self.file, {"layers": changes}, {}, "record", origin)
        return frame_of("layers", [change.row for change in changes], [])

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
            piece = self._logged_piece(piece)
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

    def export(
        self,
        folder: str | os.PathLike[str] | None = None,
        xlsx: str | os.PathLike[str] | None = None,
    ) -> None:
        """Write all tables and their history as CSV to a folder, as a workbook, or both.

        Parameters
        ----------
        folder : path, optional
            Gets ``glazes.csv``, ``recipes.csv``, ... in place of those of an earlier export, and
            `changes` as ``history.csv``.
        xlsx : path, optional
            Workbook with a sheet for each.

        Raises
        ------
        BadInput
            If a file is there that is not as an earlier export left it, or they cannot be written;
            then what stood there is unchanged.
        """
        with self._telling(), reading(self._connection):
            tables: dict[str, pd.DataFrame] = {kind: self.table(kind) for kind in KINDS}
            tables[HISTORY] = self.changes()
        files = (
            {}
            if folder is None
            else {as_path(folder, "folder") / f"{name}.csv": name for name in tables}
        )
        paths = [*files, *([] if xlsx is None else [as_path(xlsx, "xlsx")])]
        refuse_unasked(paths)
        with replace_files(paths) as drafts:
            for draft, table in zip(drafts, tables.values() if folder else (), strict=False):
                draft.write_text(table_csv(table), encoding="utf-8", newline="")
            if xlsx is not None:
                save_workbook(tables, drafts[-1])
            mark_answers(drafts, paths)

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
        given = incoming.get("glazes", Incoming()).rows.values()
        known = [*self._logged_glazes(), *(row.cells["glaze"] for row in given)]
        return unknown_glazes(incoming["layers"], known, "the logbook")

    def _logged_glazes(self) -> list[str]:
        return [name for (name,) in self._connection.execute("SELECT glaze FROM glaze_names")]


def _blame_materials(tables: Sequence[Table], logged: Iterable[str]) -> None:
    """Blame each line of a recipe whose material is neither shipped, nor logged, nor given."""
    own = [*logged]
    for table in tables:
        if table.kind == "materials":
            own += table.frame["material"].tolist()
    for table in tables:
        if table.kind == "recipes":
            blame_materials(table, own)


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
    origin = printable(", ".join(Path(path).name for path in paths))
    if not (Path(folder) / FILE_NAME).exists():
        with closing(new_in_memory()) as trial:
            Logbook(trial, None).import_checked(tables, origin, faults)
    with Logbook.open(folder, create=True) as log:
        return log.import_checked(tables, origin, faults)
