"""Metals in a glaze that call for caution, by its oxides and by the names of its materials."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass

import pandas as pd

from runpredict.datafiles import packaged_rows


@dataclass(frozen=True)
class Caution:
    """A metal to be careful of.

    Parameters
    ----------
    oxide : str
        As in `OXIDES`; blank for a metal that is only known by the name of a material.
    share_wt : float
        Of the fired glaze; NaN where it is not known. [wt %]
    harm : str
        In a few words.
    """

    metal: str
    oxide: str
    share_wt: float
    harm: str


def cautions_of(oxides_wt: pd.Series[float], materials: Iterable[str] = ()) -> list[Caution]:
    """Metals that a glaze holds above a trace.

    Parameters
    ----------
    oxides_wt : Series
        Analysis of the fired glaze by oxide; a blank is none of it. [wt %]
    materials : iterable of str
        Names of the raw materials of its recipe: vanadium, cadmium and others are not among
        `OXIDES`, so only a name tells of them.

    Returns
    -------
    list of Caution
        In the order of ``cautions.csv``, the gravest first.

    Notes
    -----
    What is a trace stands with its source in ``cautions.csv``. That a metal is not named does not
    make a glaze safe.

    Examples
    --------
    >>> [c.metal for c in cautions_of(pd.Series({"SiO2": 60.0, "CaO": 30.0, "MnO": 3.0}))]
    ['manganese']
    """
    words = {word for name in materials for word in re.findall(r"[a-z]+", name.casefold())}
    found = []
    for row in packaged_rows("cautions.csv"):
        given = float(oxides_wt.get(row["oxide"], math.nan)) if row["oxide"] else math.nan
        named = row["metal"] in words and not given > 0.0
        if given > float(row["trace_wt"] or math.inf) or named:
            share_wt = math.nan if named else given
            found.append(Caution(row["metal"], row["oxide"], share_wt, row["harm"]))
    return found


def watched_metals() -> list[str]:
    """Metals that `cautions_of` looks for."""
    return [row["metal"] for row in packaged_rows("cautions.csv")]
