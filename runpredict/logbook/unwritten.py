"""What nobody has written a result of: pots forgotten, and the rest that "all fine" means."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from runpredict.tables.firings import firings_in_order, keyed_firings
from runpredict.tables.rows import split_results


def rest_of_pot(written: Sequence[bool], past: Sequence[bool]) -> list[bool]:
    """Whether "all the rest: fine" means each layer of a pot.

    It means those without a result, but none of a pot with a layer past the foot: what that one
    carried along has to be looked at.

    Parameters
    ----------
    written : sequence of bool
        Whether anything is written of each layer.
    past : sequence of bool
        Whether it went past the foot.

    Examples
    --------
    >>> rest_of_pot([True, False], [False, False]), rest_of_pot([True, False], [True, False])
    ([False, True], [False, False])
    """
    return [not known and not any(past) for known in written]


def forgotten_pots(layers: pd.DataFrame) -> dict[str, int]:
    """How many pots have no result, of each firing of which other pots have one.

    Parameters
    ----------
    layers : DataFrame
        As `Logbook.layers` returns.

    Returns
    -------
    dict of int
        By `firings.firing_key`, the newest firing first; layers with neither a firing's name nor
        a date are in none.
    """
    planned, fired = (
        part.assign(firing=keyed_firings(part)).query("firing != ''")
        for part in split_results(layers)
    )
    counts = planned.drop_duplicates(["firing", "piece"])["firing"].value_counts()
    newest = reversed(firings_in_order(fired))
    return {name: int(counts[name]) for name in newest if name in counts}
