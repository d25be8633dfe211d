"""The potter's log: what was glazed and what came of it, kept for good."""

from __future__ import annotations

import math
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import pandas as pd

from runpredict.errors import Fault, raise_faults, refuse_file, refuse_other
from runpredict.logbook.history import HISTORY
from runpredict.logbook.named import LoggedNames, respell_names
from runpredict.logbook.overtaken import (
    marks_of,
    refuse_fired,
    refuse_overtaken,
    refuse_taken,
    rewritten,
)
from runpredict.logbook.photos import photos_of
from runpredict.logbook.results import (
    Outcome,
    has_result,
    rest_of_pot,
    results_inherited,
    with_outcome,
)
from runpredict.logbook.rows import (
    Change,
    Counts,
    Incoming,
    Key,
    Row,
    cells_typed,
    changes_of,
    faults_together,
    frame_of,
    group_of,
    join_tables,
    unknown_glazes,
    without_faulty,
)
from runpredict.logbook.schema import (
    reading,
    transaction,
)
from runpredict.logbook.store import add_rows, newest_rows
from runpredict.logbook.together import TogetherLogbook
from runpredict.tables.cells import Table
from runpredict.tables.columns import KINDS, TableKind
from runpredict.tables.csv_files import refuse_kind, table_csv
from runpredict.tables.files import as_path, read_bytes, refuse_unasked, replace_files
from runpredict.tables.firings import keyed_firings
from runpredict.tables.ingredients import blame_materials
from runpredict.tables.rows import check_rows
from runpredict.tables.slips import warn_of_ripeness
from runpredict.tables.workbooks import workbook_of


class Logbook(TogetherLogbook):
    """A logbook in a folder; close it, or use it in a ``with``.

    Nothing is ever taken out: what is corrected stands in `history`. Rows may be read with a mark
    (`marked`) and written with it, so that nobody overwrites what she has not seen.

    Examples
    --------
    >>> import tempfile
    >>> with Logbook.open(tempfile.mkdtemp(), create=True) as log:
    ...     len(log.layers())
    0
    """

    def import_tables(
        self,
        tables: Mapping[TableKind, pd.DataFrame],
        origin: str = "tables",
        marks: Mapping[TableKind, str] | None = None,
    ) -> dict[TableKind, Counts]:
        """Add tables to the logbook, all of them or nothing.

        Parameters
        ----------
        tables : mapping of DataFrame by kind
            Cells as typed, as for `tables.rows.check_table`.
        origin : str
            What `history` calls it.
        marks : mapping of str, optional
            Of tables of which one group comes in (a glaze, its recipe): its mark.

        Returns
        -------
        dict of Counts by kind

        Raises
        ------
        BadInput : with every fault of every table; then nothing is imported.
        Overtaken : if a group was written to since it had that mark.

        Warns
        -----
        TableWarning : as `tables.rows.check_table`.

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
        return self.import_checked(checked, origin, marks=marks)

    def import_checked(
        self,
        tables: Sequence[Table],
        origin: str,
        faults: Iterable[Fault] = (),
        marks: Mapping[TableKind, str] | None = None,
        *,
        leave_out: bool = False,
    ) -> dict[TableKind, Counts]:
        """Add tables that were read already; as `import_tables`.

        Parameters
        ----------
        tables : sequence of Table
            With their faults.
        origin : str
        faults : iterable of Fault
            Of what could not be read, to be told with the others.
        marks : mapping of str, optional
        leave_out : bool
            Pieces with a row that cannot be used stay out, each named.

        Raises
        ------
        BadInput
        """
        with self._telling(), transaction(self._connection):
            return self._write_tables(tables, origin, faults, marks or {}, leave_out)

    def _write_tables(
        self,
        tables: Sequence[Table],
        origin: str,
        faults: Iterable[Fault],
        marks: Mapping[TableKind, str],
        leave_out: bool,
    ) -> dict[TableKind, Counts]:
        standing = {kind: newest_rows(self._connection, kind) for kind in KINDS}
        logged = LoggedNames.of(standing)
        respell_names(tables, logged)
        _blame_materials(tables, logged.materials)
        left_out = 0
        if leave_out:
            tables, left_out = without_faulty(tables, logged.glazes, tell=self.file is not None)
        incoming, of_tables = join_tables(tables)
        for kind, mark in marks.items():
            groups = {group_of(kind, key) for key in incoming[kind].rows}
            refuse_overtaken(kind, standing[kind], groups, mark)
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
        if left_out:
            counts["layers"] = replace(counts["layers"], left_out=left_out)
        return counts

    def record(
        self,
        piece: str,
        outcomes: Sequence[Outcome],
        *,
        firing: str | None = None,
        told: Mapping[str, str] | None = None,
        mark: str | None = None,
    ) -> pd.DataFrame:
        """Write what came of a piece, all that is given or nothing.

        Parameters
        ----------
        piece : str
            In any case and spacing that no other piece has.
        outcomes : sequence of Outcome
            One a layer.
        firing : str, optional
            Its name, or its date where it has none; needed when several firings have a piece of
            this name.
        told : mapping of str, optional
            What else is told of the piece, by column (`results.TOLD_OF_PIECE`), as typed; blank
            takes it back.
        mark : str, optional
            Of the piece when it was read.

        Returns
        -------
        DataFrame
            The layers given, as they are logged now; all of the piece where none is given.

        Raises
        ------
        BadInput : if there is no such piece or layer, or the outcome is not possible.
        Overtaken : if the piece was written to since it had that mark.

        Warns
        -----
        TableWarning : for an outcome that contradicts itself.
        """
        with self._telling(), transaction(self._connection):
            if mark is not None:
                standing = newest_rows(self._connection, "layers", piece)
                refuse_overtaken("layers", standing, [(piece, firing)], mark)
            return self._write_outcomes(piece, outcomes, firing, "record", told or {})

    def _write_outcomes(
        self,
        piece: str,
        outcomes: Sequence[Outcome],
        firing: str | None,
        action: str,
        told: Mapping[str, str],
    ) -> pd.DataFrame:
        refuse_other(outcomes, Sequence, "outcomes", "a list of Outcome")
        for outcome in outcomes:
            refuse_other(outcome, Outcome, "outcomes", "a list of Outcome")
        piece = self._logged_piece(piece)
        stored = self._layers_of(piece)
        place = self._one_firing(piece, stored, firing)
        of_piece = cells_typed("layers", told)
        rows = {
            key: Row(old.row.cells | of_piece, old.row.extra)
            for key, old in stored.items()
            if key[1] == place
        }
        for outcome in outcomes:
            key = (piece, place, "", outcome.layer)
            if key not in rows:
                layers = ", ".join(str(known[3]) for known in rows if not known[2])
                refuse_file(piece, f"has no layer {outcome.layer}; it has {layers}.")
            rows[key] = with_outcome(rows[key], outcome)
        changes = [
            Change(key, row, stored[key].revision + 1)
            for key, row in rows.items()
            if row != stored[key].row
        ]
        raise_faults(faults_together("layers", changes, stored, {}, warn=True))
        add_rows(self._connection, self.file, {"layers": changes}, {}, action, piece)
        given = [(piece, place, "", outcome.layer) for outcome in outcomes]
        return frame_of("layers", [rows[key] for key in given or sorted(rows)], [])

    def record_rest_fine(self, asked: pd.DataFrame) -> pd.DataFrame:
        """Write in one step of layers without a result that they did not pass the foot.

        Parameters
        ----------
        asked : DataFrame
            Rows of `layers`. What has a result by now, or left the logbook, stays as it is; so does
            a pot with a layer past the foot, as for `results.rest_of_pot`.

        Returns
        -------
        DataFrame
            The layers written.
        """
        # A dict, not a set: what is written keeps the order of what was asked.
        named = (asked["piece"], keyed_firings(asked), asked["side"], asked["layer"])
        keys = dict.fromkeys(zip(*named, strict=True))
        with self._telling(), transaction(self._connection):
            stored = newest_rows(self._connection, "layers")
            pots: dict[Key, list[Key]] = {key[:2]: [] for key in keys}
            for key, old in stored.items():
                if key[:2] in pots and not (old.retired or key[2]):
                    pots[key[:2]].append(key)
            changes = []
            for layers in pots.values():
                rows = [stored[key].row for key in layers]
                past = [row.cells["past_foot"] == "yes" for row in rows]
                means = rest_of_pot([has_result(row) for row in rows], past)
                for key, row, one in zip(layers, rows, means, strict=True):
                    if one and key in keys:
                        fine = with_outcome(row, Outcome(key[3], math.nan, "no"))
                        changes.append(Change(key, fine, stored[key].revision + 1))
            raise_faults(faults_together("layers", changes, stored, {}))
            origin = "all the rest: fine"
            add_rows(self._connection, self.file, {"layers": changes}, {}, "record", origin)
        return frame_of("layers", [change.row for change in changes], [])

    def put_piece(self, layers: pd.DataFrame, replaces: Key | None, mark: str) -> tuple[Key, bool]:
        """Write a planned piece exactly as given, blanks too; its names as they are logged.

        Parameters
        ----------
        layers : DataFrame
            All its layers, cells as typed; without rows to remove it. Behind them may stand
            those of other pieces, new ones or as they are logged.
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
        BadInput : with every fault of the layers, or if it has been fired; then nothing is written.
        Overtaken : if it was written to since.
        Taken : if another piece has that name.
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
            changes = rewritten(rows, stored, groups)
            name = next((key[:2] for key in rows.rows), replaces or ("", ""))
            if changes:
                changed = {group_of("layers", change.key) for change in changes}
                refuse_taken(stored, {name, *(named & changed)} - {replaces})
                if replaces is not None:
                    refuse_overtaken("layers", stored, [replaces], mark)
                refuse_fired(stored, groups)
                raise_faults(faults_together("layers", changes, stored, rows.origins))
                origin = ", ".join(sorted({str(group[0]) for group in groups}))
                action = "record" if rows.rows else "remove"
                add_rows(self._connection, self.file, {"layers": changes}, {}, action, origin)
            now = marks_of("layers", stored).get(name, "")
            return name, bool(changes) or now != mark

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
                taken = [Outcome(key[3], math.nan, "") for key in fired if not key[2]]
                self._write_outcomes(piece, taken, firing, "remove", {"lost": ""})
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
        *,
        replace: bool = False,
    ) -> None:
        """Write all tables and their history as CSV to a folder, as a workbook, or both.

        Parameters
        ----------
        folder : path, optional
            New or empty; gets ``glazes.csv``, ``recipes.csv``, ..., `changes` as
            ``history.csv``, and the photos in a folder of their own.
        xlsx : path, optional
            Workbook with a sheet for each.
        replace : bool
            Write over what has these names.

        Raises
        ------
        BadInput : if something is there and not to be replaced, or they cannot be written.
        """
        with self._telling(), reading(self._connection):
            tables: dict[str, pd.DataFrame] = {kind: self.table(kind) for kind in KINDS}
            tables[HISTORY] = self.changes()
        contents: dict[Path, bytes] = {}
        if folder is not None:
            out = as_path(folder, "folder")
            contents = {out / f"{k}.csv": table_csv(t).encode() for k, t in tables.items()}
            assert self.file is not None
            for photo in photos_of(self.file.parent, tables["layers"]["photo"]):
                contents[out / photo.parent.name / photo.name] = read_bytes(photo)
        paths = [*contents, *([] if xlsx is None else [as_path(xlsx, "xlsx")])]
        refuse_unasked(paths, folder, replace=replace)
        with replace_files(paths) as drafts:
            for draft, content in zip(drafts, contents.values(), strict=False):
                draft.write_bytes(content)
            if xlsx is not None:
                workbook_of(tables).save(drafts[-1])

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
        stored = newest_rows(self._connection, "glazes")
        return [key[0] for key, old in stored.items() if not old.retired]


def _blame_materials(tables: Sequence[Table], logged: Iterable[str]) -> None:
    """Blame each line of a recipe whose material is neither shipped, nor logged, nor given."""
    own = [*logged]
    for table in tables:
        if table.kind == "materials":
            own += table.frame["material"].tolist()
    for table in tables:
        if table.kind == "recipes":
            blame_materials(table, own)
