"""Rows of one table that mean one thing, though they are spelled or typed apart."""

from __future__ import annotations

import numpy as np
import pandas as pd

from runpredict.errors import quoted
from runpredict.tables.cells import Table
from runpredict.tables.firings import keyed_firings
from runpredict.tables.names import name_key


def respell_pieces(table: Table) -> None:
    """Make one piece of rows whose names differ only in case and spaces, in a table of layers.

    Its firing's name too. Pieces that would then have a layer twice are two pieces, as their names
    say.
    """
    frame = table.frame
    named = pd.DataFrame({"piece": frame["piece"], "firing": keyed_firings(frame)})
    keyed = named.apply(lambda names: names.map({name: name_key(name) for name in names.unique()}))
    if len(named.drop_duplicates()) == len(keyed.drop_duplicates()):
        return
    same = [keyed["piece"], keyed["firing"]]
    twice = keyed.assign(side=frame["side"], layer=frame["layer"]).duplicated(keep=False)
    one = ~twice.groupby(same).transform("any")
    first = frame.index.to_series().groupby(same).transform("first")
    for column in ("piece", "firing"):
        right = frame[column].loc[first].set_axis(frame.index)
        wrong = frame[column].ne(right) & one
        for position in named.loc[wrong].drop_duplicates().index:
            table.warn(
                int(position),
                column,
                f"{quoted(frame[column][position])} is taken for "
                f"{quoted(right[position])} of row {table.rows[first[position]]}, another "
                "layer of it.",
            )
        frame[column] = frame[column].mask(wrong, right)


def sum_repeats(table: Table) -> None:
    """Make one row of a material that stands twice in a recipe, and say so.

    Parameters
    ----------
    table : Table
        Of recipes, changed in place; its glazes are told apart as they are spelled, so it is asked
        again once they are spelled as in their table. A blank `addition` is no; a material in the
        hundred and again as an addition stays two rows, which count together all the same.
    """
    frame = table.frame
    key = [
        frame["glaze"],
        frame["material"].map(name_key),
        frame["addition"].eq("yes"),
    ]
    named = frame["glaze"].ne("") & frame["material"].ne("") & frame["parts"].notna()
    first = frame.index.to_series().groupby(key).transform("first")
    again = named & named.loc[first].to_numpy() & first.ne(frame.index.to_series())
    if not again.any():
        return
    for position in np.flatnonzero(again):
        row = frame.iloc[position]
        table.warn(
            int(position),
            "material",
            f"{quoted(row['material'])} is already in row {table.rows[first.iloc[position]]} "
            f"of {quoted(row['glaze'])}; the parts are added together.",
        )
    parts = frame["parts"].groupby(first).transform("sum")
    keep = ~again.to_numpy()
    table.frame = frame.assign(parts=parts.where(named, frame["parts"]))[keep].reset_index(
        drop=True
    )
    table.rows = table.rows[keep]
