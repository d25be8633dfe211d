"""Which firing a layer was in: the one its name says, or, without a name, the one of its date."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import Any

import pandas as pd

from runpredict.tables.names import match_name

SHARED = ("fired_on", "cone", "hold_min", "ramp_c_per_h", "kiln")
"""Columns of ``layers.csv`` that say something of the firing, and so the same of all its pots."""
_UNNAMED = " "
"""Starts the key of a firing that only its date names; no name that is read starts so."""


def firing_key(firing: str, fired_on: str) -> str:
    """What tells a firing from every other one.

    Parameters
    ----------
    firing : str
        Its name; blank = not named.
    fired_on : str
        ISO date; blank = not known.

    Returns
    -------
    str
        The name, or what stands for the date of a firing without one; blank without either.

    Examples
    --------
    >>> firing_key("Dabchick", "2026-03-08"), firing_key("", "2026-03-08"), firing_key("", "")
    ('Dabchick', ' 2026-03-08', '')
    """
    return firing or (_UNNAMED + fired_on if fired_on else "")


def keyed_firings(layers: pd.DataFrame) -> pd.Series[Any]:
    """`firing_key` of each row of a table of layers; a key given again stays itself."""
    unnamed = layers["firing"].eq("")
    if not unnamed.any():
        return layers["firing"].copy()
    dated = (_UNNAMED + layers["fired_on"]).where(layers["fired_on"].ne(""), "")
    return layers["firing"].mask(unnamed, dated)


def written_firings(keys: pd.Series[Any]) -> pd.Series[Any]:
    """Names of firings as they are written: blank where only the date names it."""
    return keys.mask(keys.str.startswith(_UNNAMED).fillna(False).astype(bool), "")


def shared_cells(layers: pd.DataFrame) -> dict[str, Any]:
    """What most pots of one firing say of it; of two answers as common the one logged first.

    Parameters
    ----------
    layers : DataFrame
        All of one firing, at least one.

    Returns
    -------
    dict
        ``firing`` and `SHARED`, text or a number, None where it is not known.
    """
    pots = layers.drop_duplicates("piece")
    cells = {}
    for name in ("firing", *SHARED):
        counted = Counter(None if pd.isna(cell) else cell for cell in pots[name])
        cells[name] = max(counted, key=lambda cell: counted[cell])
    return cells


def firing_words(key: str) -> str:
    """A firing as a reader is told it: its name, its date, or that it has neither."""
    return key.strip() or "not named"


def firings_in_order(layers: pd.DataFrame) -> list[str]:
    """Firings of a table of layers, the oldest first: by date, or as given where one has none.

    Parameters
    ----------
    layers : DataFrame
        With `firing` a `firing_key`.
    """
    first = layers.drop_duplicates("firing")
    if first["fired_on"].ne("").all():
        first = first.sort_values("fired_on", kind="stable")
    return [str(name) for name in first["firing"]]


def named_firing(keys: Iterable[str], named: str) -> str:
    """The words of the firing that somebody named.

    Parameters
    ----------
    keys : iterable of str
        `firing_key` of the firings there are.
    named : str
        A name, in any case and spacing that no other firing has, or a date.

    Returns
    -------
    str
        The key without its outer spaces; what was named where there is no such firing.

    Examples
    --------
    >>> named_firing(["Tern", " 2026-03-08"], "tern"), named_firing(["Tern"], "frost")
    ('Tern', 'frost')
    """
    return match_name(named, [key.strip() for key in keys]) or named.strip()


def named_so(keys: pd.Series[Any], named: str) -> pd.Series[Any]:
    """Whether each firing is the one that somebody named, as for `named_firing`."""
    return keys.str.strip() == named_firing(keys.unique(), named)


def with_dates(layers: pd.DataFrame) -> pd.DataFrame:
    """Layers whose date is told by another layer of the same piece, where only the date tells.

    Parameters
    ----------
    layers : DataFrame
        As `cells.parse_columns` returns.

    Returns
    -------
    DataFrame
        A copy. A blank date in a firing without a name becomes the one date of the piece's other
        layers without a name; where they have several it stays blank.
    """
    unnamed = layers["firing"].eq("")
    blank = unnamed & layers["fired_on"].eq("")
    if not blank.any():
        return layers.copy()
    known = layers["fired_on"].where(unnamed & layers["fired_on"].ne(""))
    of_piece = known.groupby(layers["piece"])
    only = of_piece.transform("first").where(of_piece.transform("nunique") == 1, "")
    return layers.assign(fired_on=layers["fired_on"].mask(blank, only))
