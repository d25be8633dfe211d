"""Names given to the logbook, matched to those it has."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from runpredict.errors import quoted, refuse_file
from runpredict.logbook.rows import Key, Stored
from runpredict.tables.cells import Table
from runpredict.tables.columns import KEYS, TableKind
from runpredict.tables.firings import firing_words, keyed_firings, named_firing
from runpredict.tables.names import one_spelling, respell, respell_all, respell_rows
from runpredict.tables.rows import sum_repeats


def firing_meant(piece: str, keys: Iterable[str], firing: str | None) -> str:
    """The firing of a piece that somebody named.

    Parameters
    ----------
    keys : iterable of str
        `firings.firing_key` of each firing that has the piece; at least one.
    firing : str or None
        Its name in any case, or its date where it has none; None where there is only one.

    Returns
    -------
    str
        Its key.

    Raises
    ------
    BadInput : if the piece was in no such firing, or in several and none is named.
    """
    firings = list(dict.fromkeys(keys))
    listed = ", ".join(f'"{firing_words(key)}"' for key in firings)
    if firing is None and len(firings) > 1:
        refuse_file(piece, f"is in the firings {listed}; say which with --firing.")
    if firing is None:
        return firings[0]
    meant = named_firing(firings, firing)
    mine = [key for key in firings if key.strip() == meant]
    if not mine:
        refuse_file(piece, f'is not in a firing "{firing}"; it is in {listed}.')
    return mine[0]


@dataclass(frozen=True)
class LoggedNames:
    """Names that stand in a logbook, and that a name which comes in may be.

    Attributes
    ----------
    glazes, materials, bodies, firings : list of str
        The one logged first ahead; firings by their names, blank ones left out.
    pieces : dict of list of str
        By firing, as `firings.firing_key`.
    """

    glazes: list[str]
    materials: list[str]
    bodies: list[str]
    firings: list[str]
    pieces: dict[str, list[str]]

    @classmethod
    def of(
        cls, rows: Mapping[TableKind, Mapping[Key, Stored]], but: Key | None = None
    ) -> LoggedNames:
        """The names of what stands; those of the piece `but`, which is renamed, do not count."""
        standing = {
            kind: {key: old.row.cells for key, old in stored.items() if not old.retired}
            for kind, stored in rows.items()
        }
        layers = {key: cells for key, cells in standing["layers"].items() if key[:2] != but}
        pieces: dict[str, list[str]] = {}
        for piece, firing in dict.fromkeys(key[:2] for key in layers):
            pieces.setdefault(firing, []).append(piece)
        return cls(
            [str(key[0]) for key in standing["glazes"]],
            [str(key[0]) for key in standing["materials"]],
            [cells["body"] for cells in layers.values()],
            [key[0] for key in standing["schedules"]] + [c["firing"] for c in layers.values()],
            pieces,
        )


def respell_names(tables: Sequence[Table], logged: LoggedNames) -> None:
    """Spell the names of tables that come in as they are logged, or as they are given first.

    Parameters
    ----------
    tables : sequence of Table
        Changed in place; each name that is taken for another is told once. Rows that would then
        be one, though their names differ, become faults.
    """
    keyed = [(table, _duplicated(table)) for table in tables if table.kind != "recipes"]
    firings = [table for table in tables if table.kind in ("schedules", "layers")]
    for alike, column, known in (
        ([table for table in tables if table.kind == "glazes"], "glaze", logged.glazes),
        ([table for table in tables if table.kind == "materials"], "material", logged.materials),
        (firings, "firing", logged.firings),
        ([table for table in firings if table.kind == "layers"], "body", logged.bodies),
    ):
        given = list(known)
        for table in alike:
            respell_all(table, column, given, "the logbook or another row")
            given += table.frame[column].unique().tolist()
    glazes = [*logged.glazes, *_given(tables, "glazes", "glaze")]
    for table in tables:
        if table.kind in ("recipes", "layers"):
            respell(table, "glaze", list(dict.fromkeys(glazes)), "the glazes")
        if table.kind == "recipes":
            sum_repeats(table)
        if table.kind == "layers":
            _respell_pieces(table, logged.pieces)
    for table, before in keyed:
        _blame_merged(table, _duplicated(table) & ~before)


def _given(tables: Sequence[Table], kind: TableKind, column: str) -> list[str]:
    return [name for table in tables if table.kind == kind for name in table.frame[column]]


def _respell_pieces(table: Table, logged: Mapping[str, Sequence[str]]) -> None:
    """... of a firing, as no two pieces of one have the same name."""
    keys = keyed_firings(table.frame)
    for firing, names in table.frame["piece"].groupby(keys, sort=False):
        right = one_spelling(names.unique(), logged.get(str(firing), ()))
        if right:
            respell_rows(table, "piece", names.index, right, "the logbook")


def _duplicated(table: Table) -> pd.Series[bool]:
    frame = table.frame
    keyed = frame.assign(firing=keyed_firings(frame)) if table.kind == "layers" else frame
    return keyed.duplicated(list(KEYS[table.kind]))


def _blame_merged(table: Table, merged: pd.Series[bool]) -> None:
    for position, name in table.frame.loc[merged, KEYS[table.kind][0]].items():
        table.blame(
            int(str(position)),
            KEYS[table.kind][0],
            f"differs only in case or spaces from {quoted(name)}, which has this row too; "
            "that is one name, so keep one of them, or give another name.",
        )
