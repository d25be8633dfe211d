"""Names given to the logbook, matched to those it has."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from runpredict.tables.cells import Table
from runpredict.tables.files import refuse_file
from runpredict.tables.firings import firing_words, named_firing
from runpredict.tables.names import respell
from runpredict.tables.repeats import sum_repeats

__all__ = ["firing_meant", "respell_glazes"]


def firing_meant(piece: str, keys: Iterable[str], firing: str | None) -> str:
    """The firing of a piece that somebody named.

    Parameters
    ----------
    piece : str
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
    BadInput
        If the piece was in no such firing, or in several and none is named.
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


def respell_glazes(tables: Sequence[Table], logged: Iterable[str]) -> None:
    """Glazes of recipes and layers are spelled as in the glazes given, or as logged."""
    known = list(logged)
    for table in tables:
        if table.kind == "glazes":
            known.extend(table.frame["glaze"])
    for table in tables:
        if table.kind in ("recipes", "layers"):
            respell(table, "glaze", known, "the glazes")
        if table.kind == "recipes":
            sum_repeats(table)
