"""How low each glaze and each pair may end, in words: the page over the buckets."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from runpredict.answers.combinations import LEAST_PIECES
from runpredict.arrays import rows_of
from runpredict.errors import printable
from runpredict.units import LengthUnits
from runpredict.words.advice import rounded_up, run_length
from runpredict.words.plain import columns, paragraph

TITLE = "How low each glaze may end"
HEADINGS = ("glaze", "over", "coats", "how low", "so that it runs", "its run", "fired")
LEAD = (
    "On an upright wall, fired as you fire. How low: stopped there or higher, 95 of 100 of the "
    "pots fired or planned so would stay within the risk you take, 2 mm (1/16 in) allowed for the "
    'hand; "all else" is how high every other glaze on the pot has to end for it. So '
    "that it runs: where to stop it to end about 10 mm (3/8 in) above the foot, or as low as it "
    "may. A prediction is never a promise."
)
NONE_YET = "No glaze has been fired, or is planned, on a pot that could be told of."


class CombinationWords(NamedTuple):
    """One combination with so many coats of its upper glaze, in words, under `HEADINGS`."""

    over: str
    under: str
    coats: str
    low: str
    stop: str
    run: str
    fired: str


class CombinationsWords(NamedTuple):
    """All combinations in words: those that are known, and those that are not known yet."""

    known: list[CombinationWords]
    not_known: list[str]


def combinations_in_words(
    table: pd.DataFrame, units: LengthUnits = "mm", glaze: str = ""
) -> CombinationsWords:
    """The combinations of a table, as a potter reads them.

    Parameters
    ----------
    table : DataFrame
        From `combinations_of`.
    glaze : str, optional
        Only those that this glaze is part of.
    """
    mine = table
    if glaze:
        mine = table.loc[(table["over"] == glaze) | (table["under"] == glaze)]
    rows = list(rows_of(mine))
    known = [_words(row, units) for row in rows if row.word != "not known"]
    return CombinationsWords(
        known,
        [_not_known(row, units) for row in rows if row.word == "not known" and row.coats == 1],
    )


def combinations_text(table: pd.DataFrame, units: LengthUnits = "mm", glaze: str = "") -> str:
    """The combinations as text for a terminal."""
    found = combinations_in_words(table, units, glaze)
    if not found.known and not found.not_known:
        return paragraph(NONE_YET)
    parts = [paragraph(LEAD)]
    if found.known:
        parts.append(columns(HEADINGS, [tuple(map(printable, row)) for row in found.known]))
    if found.not_known:
        named = printable("; ".join(found.not_known))
        parts.append(paragraph(f"{not_known_lead()} {named}."))
    return "\n\n".join(parts)


def not_known_lead() -> str:
    """What is said before the combinations that were hardly fired."""
    return (
        f"Not known yet, as fewer than {LEAST_PIECES} were fired; a test tile of each would tell:"
    )


def _words(row: Any, units: LengthUnits) -> CombinationWords:
    low = {
        "anywhere": "anywhere",
        "keep": f"keep {_up(row.lowest_edge_mm, units)}",
        "high": f"high up only, {_up(row.lowest_edge_mm, units)}",
        "cookie": "on a cookie",
        "not again": "not again",
    }[row.word]
    if not np.isnan(row.rest_mm):
        low += f", all else {_up(row.rest_mm, units)}"
    ends = "-"
    if not np.isnan(row.stop_mm):
        ends = f"stop at {_up(row.stop_mm, units)}: ends {run_length(row.ends_mm, units)} up"
    return CombinationWords(
        str(row.over), str(row.under) or "clay", str(row.coats), low,
        ends, _run(row, units), _fired(row),
    )  # fmt: skip


def _up(length_mm: float, units: LengthUnits) -> str:
    return "" if np.isnan(length_mm) else rounded_up(length_mm, units)


def _run(row: Any, units: LengthUnits) -> str:
    if np.isnan(row.run_p50_mm):  # no edge it could start from
        return "-"
    low, likely, high = (
        run_length(run, units) for run in (row.run_p05_mm, row.run_p50_mm, row.run_p95_mm)
    )
    return likely if low == high else f"{likely} ({low} to {high})"


def _fired(row: Any) -> str:
    if not row.fired:
        return f"{row.planned} planned"
    return f"{row.fired}, {row.past} past" if row.past else f"{row.fired}, none past"


def _not_known(row: Any, units: LengthUnits) -> str:
    name = f"{row.over} over {row.under}" if row.under else str(row.over)
    return f"{name} ({_fired(row)}; likely runs {run_length(row.run_p50_mm, units)})"
