"""Reading a logbook: its tables as they are now, its history, its pieces."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Self

import pandas as pd

from runpredict.errors import refuse_file, refuse_other
from runpredict.logbook.history import changes_frame, revisions_frame
from runpredict.logbook.integrity import totals
from runpredict.logbook.named import firing_meant
from runpredict.logbook.overtaken import marks_of
from runpredict.logbook.rows import Key, Stored, frame_of
from runpredict.logbook.schema import (
    FILE_NAME,
    GONE,
    REPLACED,
    Connection,
    connect,
    make_file,
    prove_or_refuse,
    telling,
)
from runpredict.logbook.store import headings_of, newest_rows, revisions
from runpredict.tables.cells import nearest
from runpredict.tables.columns import KINDS, TableKind
from runpredict.tables.csv_files import refuse_kind
from runpredict.tables.files import as_path
from runpredict.tables.names import match_name

MOST_NAMED = 12  # columns in a sentence


def _identity(file: os.stat_result) -> tuple[int, int]:
    return file.st_dev, file.st_ino


class ReadLogbook:
    """What can be asked of a logbook; `book.Logbook` writes to it."""

    def __init__(self, connection: Connection, file: Path | None) -> None:
        self._connection = connection
        self.file = file
        self._opened = None if file is None else _identity(file.stat())

    @classmethod
    def open(cls, folder: str | os.PathLike[str], *, create: bool = False) -> Self:
        """Open the logbook of a folder.

        Parameters
        ----------
        folder : path
            Where ``logbook.sqlite3`` is.
        create : bool
            Make an empty one when there is none.

        Raises
        ------
        BadInput : if there is none, or it is damaged; then it is left as it is.
        """
        file = as_path(folder, "folder") / FILE_NAME
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
        refuse_kind(kind)
        with self._telling():
            rows = [
                stored.row
                for stored in newest_rows(self._connection, kind).values()
                if not stored.retired
            ]
            headings = headings_of(self._connection, kind, rows)
        return frame_of(kind, rows, headings)

    def marked(self, kind: TableKind) -> tuple[pd.DataFrame, dict[Key, str]]:
        """A table, as `table` returns it but for unknown columns, and the mark of each group.

        Parameters
        ----------
        kind : {"glazes", "recipes", "materials", "schedules", "layers"}

        Returns
        -------
        dict of str
            By what names the group: (piece, firing) of layers, (glaze,) of a recipe.
        """
        with self._telling():
            stored = newest_rows(self._connection, kind)
        rows = [found.row for found in stored.values() if not found.retired]
        return frame_of(kind, rows, []), marks_of(kind, stored)

    def version(self) -> tuple[int, int]:
        """Another pair whenever anything was written, by this program or by another."""
        with self._telling():
            (others,) = self._connection.execute("PRAGMA data_version").fetchone()
        return others, self._connection.total_changes

    def totals(self, kinds: Iterable[TableKind]) -> tuple[int, int]:
        """Another pair whenever one of some tables was written to."""
        with self._telling():
            return totals(self._connection, kinds)

    def prove(self) -> None:
        """Prove the file whole, as when it was opened, where another program wrote to it.

        Raises
        ------
        BadInput
        """
        assert self.file is not None
        with self._telling():
            prove_or_refuse(self._connection, self.file)

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
        refuse_kind(kind)
        with self._telling():
            made = revisions(self._connection, kind)
            headings = headings_of(self._connection, kind, (one.row for one in made))
            history = revisions_frame(kind, made, headings)
        for column, value in named.items():
            if column not in history:
                first = ", ".join(map(str, list(history)[:MOST_NAMED]))
                refuse_file(
                    kind,
                    f"has no column {column}; its history has {first} and the other columns of "
                    "that table.",
                )
            history = history.loc[history[column] == value]
        return history.reset_index(drop=True)

    def changes(self) -> pd.DataFrame:
        """Every change of every table, the oldest first; as `changes_frame` returns."""
        with self._telling():
            return changes_frame({kind: revisions(self._connection, kind) for kind in KINDS})

    def piece(self, piece: str, firing: str | None = None) -> pd.DataFrame:
        """Layers of one piece, the lowest first.

        Raises
        ------
        BadInput : if there is none, or `firing` is needed to tell which.
        """
        with self._telling():
            piece = self._logged_piece(piece)
            stored = self._layers_of(piece)
            place = self._one_firing(piece, stored, firing)
        rows = [stored[key].row for key in sorted(stored) if key[1] == place]
        return frame_of("layers", rows, [])

    def standing_file(self) -> os.stat_result | None:
        """The file under the logbook's name; None of a logbook in memory.

        Raises
        ------
        BadInput : if it is not the one that was opened.
        """
        if self.file is None:
            return None
        try:
            standing = self.file.stat()
        except OSError:
            refuse_file(FILE_NAME, GONE)
        if _identity(standing) != self._opened:
            refuse_file(FILE_NAME, REPLACED)
        return standing

    @contextmanager
    def _telling(self) -> Iterator[None]:
        self.standing_file()
        with telling(self.file or Path(FILE_NAME)):
            yield

    def _layers_of(self, piece: str) -> dict[Key, Stored]:
        """Layers of the pieces of a name, but for those that were removed."""
        newest = newest_rows(self._connection, "layers", piece)
        return {key: stored for key, stored in newest.items() if not stored.retired}

    def _logged_piece(self, piece: str) -> str:
        """The name as it is logged, of a piece typed with other case or spaces."""
        refuse_other(piece, str, "piece", "its name")
        if self._layers_of(piece):
            return piece
        return match_name(piece, self._logged_pieces()) or piece

    def _logged_pieces(self) -> list[str]:
        newest = newest_rows(self._connection, "layers").values()
        pieces = (stored.row.cells["piece"] for stored in newest if not stored.retired)
        return list(dict.fromkeys(pieces))

    def _one_firing(self, piece: str, stored: Mapping[Key, Stored], firing: str | None) -> str:
        refuse_other(firing, (str, type(None)), "firing", "its name, or None")
        if not stored:
            hint = nearest(piece, self._logged_pieces())
            refuse_file(piece, f"is no piece in the logbook{hint}; import its layers first.")
        return firing_meant(piece, [key[1] for key in stored], firing)
