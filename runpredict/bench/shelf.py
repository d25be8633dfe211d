"""Every pot on one shelf, with what she may look for: its glazes, form, month, result, hand."""

from __future__ import annotations

import numpy as np
import pandas as pd

from runpredict.model.stacks import beneath, meeting
from runpredict.tables.layers import outside
from runpredict.tables.names import name_key

RESULTS = {
    "past": "Past the foot",
    "ran": "Ran",
    "fine": "Fine",
    "lost": "Lost otherwise",
    "planned": "Not fired yet",
}
FILTERS = ("glaze", "pair", "form", "month", "result", "hand")
"""What the list can be narrowed by, besides letters of a name; each a column of `shelf_of`."""


def shelf_of(logged: pd.DataFrame) -> pd.DataFrame:
    """Every pot, the one logged last ahead.

    Parameters
    ----------
    logged : DataFrame
        Layers as `Snapshot.layers` has them.

    Returns
    -------
    DataFrame
        piece, firing, form, month, hand, result (a key of `RESULTS`) and run_mm as text and
        numbers; glaze and pair as lists of names.
    """
    layers = logged.loc[outside(logged)]
    place = layers.groupby(["piece", "firing"], sort=False).ngroup()
    layers = layers.assign(place=place).sort_values("layer", kind="stable")
    of_pot = layers.assign(pair=_pairs(layers)).groupby(["piece", "firing"], sort=False)
    found = of_pot.agg(
        form=("form", "first"), day=("fired_on", "first"), hand=("glazed_by", "first"),
        glaze=("glaze", list), pair=("pair", list), run_mm=("run_mm", "max"),
        past=("past_foot", lambda words: (words == "yes").any()),
        fine=("past_foot", lambda words: (words == "no").any()), lost=("lost", "first"),
        place=("place", "first"),
    ).reset_index()  # fmt: skip
    found["month"] = found["day"].str[:7]
    found["result"] = "planned"
    for word, so in (
        ("fine", found["fine"]),
        ("ran", found["run_mm"].gt(0)),
        ("lost", found["lost"].ne("")),
        ("past", found["past"]),
    ):
        found.loc[so, "result"] = word
    return found.sort_values("place", ascending=False)


def _pairs(layers: pd.DataFrame) -> list[str]:
    """Of each layer, the lowest of a pot first, "A over B" where it meets another glaze beneath."""
    pot, names = layers["place"].to_numpy(), layers["glaze"].to_numpy(dtype=object)
    number = layers.groupby("place").cumcount().to_numpy()
    shape = (int(pot.max(initial=-1)) + 1, int(number.max(initial=0)) + 1)
    lower, upper = (np.zeros(shape) for _ in range(2))
    lower[pot, number], upper[pot, number] = layers["lower_edge_mm"], layers["upper_edge_mm"]
    glaze, row = (np.full(shape, -1, dtype=np.intp) for _ in range(2))
    glaze[pot, number], row[pot, number] = pd.factorize(names)[0], np.arange(len(names))
    below = beneath(meeting(lower, upper), glaze)[pot, number]
    return [
        f"{name} over {names[row[at, under]]}" if under >= 0 else ""
        for name, at, under in zip(names, pot, below, strict=True)
    ]


def narrowed(shelf: pd.DataFrame, chosen: dict[str, str]) -> pd.DataFrame:
    """The pots that fit everything chosen: some letters of pot or firing (``q``) and `FILTERS`."""
    keep = pd.Series(True, index=shelf.index)
    for name in FILTERS:
        if chosen[name]:
            many = name in ("glaze", "pair")
            keep &= shelf[name].map(
                lambda cell, text=chosen[name], many=many: text in cell if many else text == cell
            )
    if letters := name_key(chosen["q"]):
        named = (shelf["piece"] + " " + shelf["firing"]).map(name_key)
        keep &= named.str.contains(letters, regex=False)
    return shelf.loc[keep]
