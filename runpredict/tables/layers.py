"""Layers of glaze checked against each other: names, dates, edges, coats, what a piece shares."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import pandas as pd

from runpredict.arrays import AnyArray, Bools, Indices
from runpredict.errors import quoted
from runpredict.tables.cells import Table
from runpredict.tables.columns import PIECE_COLUMNS, column_of
from runpredict.tables.firings import keyed_firings, with_dates
from runpredict.tables.names import name_key

MAX_THICKNESS_MM = column_of("layers", "thickness_mm").high


def positions(mask: Any) -> Iterable[int]:
    """Where a mask is true."""
    return (int(position) for position in np.flatnonzero(np.asarray(mask, dtype=bool)))


def in_words(value: Any) -> str:
    """A cell as a sentence has it."""
    return f"{value:g}" if isinstance(value, float) else str(value)


def pieces_of(layers: pd.DataFrame) -> Indices:
    """Number of the piece of each layer, in the order they first appear, shape (n,)."""
    number: dict[tuple[str, str], int] = {}
    keys = zip(layers["piece"].to_numpy(), keyed_firings(layers).to_numpy(), strict=True)
    return np.array([number.setdefault(key, len(number)) for key in keys], dtype=np.intp)


def blanks(values: AnyArray) -> Bools:
    """Where nothing was written in a column as `check_table` returns it."""
    return np.isnan(values) if values.dtype == float else np.asarray(values == "", dtype=bool)


def told_of_pieces(cells: pd.Series[Any], pieces: Indices) -> AnyArray:
    """What the first layer of each piece that says anything says, blank where none does, (n,)."""
    values = cells.to_numpy(copy=True)
    known = np.flatnonzero(~blanks(values))[::-1]
    first = np.full(len(values), -1)
    first[pieces[known]] = known  # of several the last that is set, which stands first
    there = first[pieces] >= 0
    values[there] = values[first[pieces[there]]]
    return values


def outside(layers: pd.DataFrame) -> pd.Series[bool]:
    """Which layers are outside of their pots, where they may run past the foot."""
    return layers["side"].ne("inside")


def respell_pieces(table: Table) -> None:
    """Make one piece of rows whose names differ only in case and spaces, in a table of layers.

    Its firing's name too. Pieces that would then have a layer twice are two pieces, as their names
    say.
    """
    frame = table.frame
    named = pd.DataFrame({"piece": frame["piece"], "firing": keyed_firings(frame)})
    pairs = set(zip(named["piece"], named["firing"], strict=True))
    keys = {name: name_key(name) for pair in pairs for name in pair}
    if len({(keys[piece], keys[firing]) for piece, firing in pairs}) == len(pairs):
        return
    keyed = named.apply(lambda names: names.map(keys))
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
                f"{quoted(right[position])} of {table.place(first[position]).in_file}, another "
                "layer of it.",
            )
        frame[column] = frame[column].mask(wrong, right)


def give_run_to_lowest(table: Table) -> None:
    """Take the run of a pot, told once for all its layers, for that of what ends lowest."""
    frame = table.frame
    lower = frame["lower_edge_mm"].where(outside(frame))
    higher = lower.gt(lower.groupby(table.rows).transform("min"))
    told = {"run_mm": frame["run_mm"].notna(), "past_foot": frame["past_foot"].eq("yes")}
    taken = {column: mask & higher for column, mask in told.items() if column in table.shared}
    for column, mask in taken.items():
        frame[column] = frame[column].mask(mask, np.nan if column == "run_mm" else "")
    if "run_mm" in taken:
        table.at_least = [at for at in table.at_least if not taken["run_mm"][at]]
    if any(mask.any() for mask in taken.values()):
        columns = " and ".join(table.typed.get((column, 0), column) for column in taken)
        message = (
            f"{columns}: told once for all layers of a pot, so it counts for the one that ends "
            'lowest; head it "ran 1" and "past 1", "ran 2" and so on to say which.'
        )
        table.warn(None, None, message)


def check_dates(table: Table) -> None:
    """A date tells unnamed firings apart, so each layer of a piece in several has one."""
    frame = table.frame = with_dates(table.frame)
    unnamed = frame["firing"].eq("")
    if not (unnamed & frame["fired_on"].eq("")).any():
        return
    dates = frame["fired_on"].where(unnamed & frame["fired_on"].ne(""))
    several = dates.groupby(frame["piece"]).transform("nunique") > 1
    for position in positions(unnamed & frame["fired_on"].eq("") & several):
        table.blame(
            position,
            "fired_on",
            f'is blank, and "{frame["piece"].iloc[position]}" is in firings of several dates; '
            "give the date, or name the firings.",
        )


def check_pieces(table: Table) -> None:
    """Edges, coats, and that the layers of a piece agree about it."""
    _check_edges(table)
    _check_coats(table)
    _check_agreement(table)


def _check_edges(table: Table) -> None:
    frame = table.frame
    for position in positions(frame["lower_edge_mm"] >= frame["upper_edge_mm"]):
        row = frame.iloc[position]
        table.blame(
            position,
            "lower_edge_mm",
            f"the lower edge, {row['lower_edge_mm']:.4g} mm above the foot, is not below the upper "
            f"edge, {row['upper_edge_mm']:.4g} mm; a layer ends below where it begins.",
        )


def _check_coats(table: Table) -> None:
    frame = table.frame
    blamed = table.blamed_rows("coats", "thickness_mm")
    judged = outside(frame)
    unknown = judged & frame["coats"].isna() & frame["thickness_mm"].isna()
    if judged.any() and unknown.eq(judged).all() and not blamed:
        table.blame(None, "coats", "no row has any; give the coats or measure thickness_mm.")
        unknown &= False
    for position in positions(unknown):
        if int(table.rows[position]) not in blamed:
            table.blame(position, "coats", "is blank; give the coats or measure thickness_mm.")
    thickness = frame["thickness_mm"].where(judged)
    if thickness.sum() <= MAX_THICKNESS_MM:
        return
    together = thickness.groupby(pieces_of(frame)).cumsum()
    for position in positions((together > MAX_THICKNESS_MM) & thickness.notna()):
        table.blame(
            position,
            "thickness_mm",
            f"the layers of this piece are over {MAX_THICKNESS_MM:g} mm thick together; "
            "no pot holds such an overlap, check the unit.",
        )


def _check_agreement(table: Table) -> None:
    frame = table.frame
    pieces = pieces_of(frame)
    for column in PIECE_COLUMNS:
        values, first = frame[column].to_numpy(), told_of_pieces(frame[column], pieces)
        for position in positions(~blanks(values) & (values != first)):
            row = frame.iloc[position]
            other = first[position]
            table.blame(
                position,
                column,
                f"{in_words(row[column])} is not the {in_words(other)} of another layer of piece "
                f'"{row["piece"]}"; all layers of a piece share it.',
            )
