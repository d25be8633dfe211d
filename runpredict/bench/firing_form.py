"""What is said of a firing, as it stands in fields, and the pots that say something else of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from runpredict.answers.willing import Willing
from runpredict.bench.field_words import LABELS
from runpredict.bench.kiln_form import key_of
from runpredict.bench.studio import Pot, Snapshot
from runpredict.errors import BadInput, Fault
from runpredict.tables.firings import SHARED, shared_cells
from runpredict.units import whole_number

FIELDS = ("firing", *SHARED)
TOLERANCE = "tolerance_pct"
"""The field of what the studio tolerates in a firing, which no pot says."""
MOST_TOLERATED_PCT = 50


def firing_texts(snapshot: Snapshot, key: str) -> dict[str, str]:
    """What most pots of a firing say of it; {} where it has none."""
    mine = snapshot.layers.loc[snapshot.layers["firing"] == key]
    if mine.empty:
        return {}
    return _texts(shared_cells(mine)) | {"firing": "" if key.startswith(" ") else key}


def tolerance_text(willing: Willing, key: str) -> str:
    """What is tolerated in a firing as its field has it; "" where that is the studio's own."""
    tolerance = willing.tolerance_in(key)
    return "" if tolerance is None else f"{100 * tolerance:.0f}"


def read_tolerance(text: str) -> float | None:
    """What stands in that field, as a chance; None for the studio's own.

    Raises
    ------
    BadInput : no whole number of percent that a page can tell.
    """
    number = text.removesuffix("%").strip()
    if not text:
        return None
    if percent := whole_number(number, MOST_TOLERATED_PCT):
        return percent / 100
    message = f"give a whole number of percent, 1 to {MOST_TOLERATED_PCT}, or leave it blank."
    raise BadInput([Fault("firing", None, TOLERANCE, message)])


def pot_texts(snapshot: Snapshot, pot: Pot) -> dict[str, str]:
    """What one pot says of its firing."""
    return _texts(snapshot.pots[pot].iloc[0])


def _texts(cells: Mapping[str, Any] | pd.Series[Any]) -> dict[str, str]:
    return {
        name: cell if isinstance(cell, str) else "" if pd.isna(cell) else f"{cell:.6g}"
        for name, cell in ((name, cells[name]) for name in FIELDS)
    }


def _otherwise(mine: Mapping[str, str], stands: Mapping[str, str]) -> str:
    """What a pot says of its firing, where most of it say something else."""
    return "; ".join(
        f"{LABELS[name].lower()} {mine[name] or 'not told'}, most others "
        f"{stands[name] or 'not told'}"
        for name in SHARED
        if mine[name] != stands[name]
    )


def unlike_words(layers: pd.DataFrame, snapshot: Snapshot) -> str:
    """As a sentence, of a pot that is being planned; "" where its firing has no other."""
    mine = _texts(layers.iloc[0])
    key = snapshot.firing_meant(mine["firing"])
    piece = layers["piece"].iloc[0]
    others = key and any(pot[1] == key and pot[0] != piece for pot in snapshot.pots)
    odd = _otherwise(mine, firing_texts(snapshot, key)) if others else ""
    return f"Most pots of {key} say otherwise of that firing: {odd}." if odd else ""


def differing(snapshot: Snapshot, key: str) -> list[tuple[str, str, str]]:
    """Planned pots that say of their firing what most do not: key, name, and what that is."""
    stands = firing_texts(snapshot, key)
    mine = [pot for pot in snapshot.planned_pots if pot[1] == key and key]
    odd = {pot[0]: _otherwise(pot_texts(snapshot, pot), stands) for pot in mine}
    return [(key_of(piece), piece, words) for piece, words in odd.items() if words]
