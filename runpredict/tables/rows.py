"""Checking of tables, row against row, and what a blank is taken for."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from runpredict.datafiles import FLUXES, MAX_TOTAL_WT, OXIDES, OXYGEN_PER_FLUORINE_WT
from runpredict.errors import Fault, TableWarning, quoted, raise_faults, refuse_other
from runpredict.tables.cells import Table, parse_columns
from runpredict.tables.columns import COLUMNS, DEFAULTS, KEYS, PIECE_COLUMNS, TableKind
from runpredict.tables.firings import keyed_firings
from runpredict.tables.headings import Columns
from runpredict.tables.layers import (
    blanks,
    check_dates,
    check_pieces,
    give_run_to_lowest,
    in_words,
    outside,
    pieces_of,
    positions,
    respell_pieces,
    told_of_pieces,
)
from runpredict.tables.names import name_key
from runpredict.tables.slips import check_slips

MELTS_ABOVE_C = 600.0
"""No glaze or enamel of a studio melts in a cooler kiln (common practice, no source)."""
MIN_TOTAL_WT = 50.0
"""An analysis sums to 100 less what burns off; below this something else was typed."""

LEAST_USUAL_TOTAL_WT = 75.0
"""Below it an oxide may be missing: a glaze loses seldom more than a quarter (common practice, no
source)."""


def _blame_twice(table: Table, what: str) -> None:
    """Blame each row whose key stood in an earlier one."""
    key = list(KEYS[table.kind])
    frame = table.frame[key]
    if table.kind == "layers":
        frame = frame.assign(firing=keyed_firings(table.frame))
    again = frame.duplicated()
    if not again.any():
        return
    unknown = frame.isna() | (frame == "")
    named = ~unknown[[key[0], key[-1]]].any(axis=1)
    if not (again & named).any():
        return
    first: dict[Any, str] = {}
    for position in positions(named & frame.duplicated(keep=False)):
        values = tuple(frame.iloc[position])
        if values not in first:
            first[values] = table.place(position).in_file
            continue
        shown = ", ".join(in_words(value).strip() for value in values if value != "")
        table.blame(position, key[-1], f"{what} ({shown}) is already in {first[values]}; keep one.")


def _totals_wt(table: Table) -> pd.Series[float]:
    oxides = table.frame[list(OXIDES)]
    return oxides.sum(axis=1) - OXYGEN_PER_FLUORINE_WT * oxides["F"].fillna(0.0)


def _check_glazes(table: Table) -> None:
    frame = table.frame
    _blame_twice(table, "the glaze")
    total_wt = _totals_wt(table)
    given = frame[list(OXIDES)].notna().any(axis=1)
    analysed = frame["source"].eq("analysis") | (frame["source"].eq("") & given)
    blamed = {fault.row for fault in table.faults}
    for position in positions(analysed & ~total_wt.between(MIN_TOTAL_WT, MAX_TOTAL_WT)):
        if int(table.rows[position]) not in blamed:
            table.blame(
                position,
                None,
                f"the oxides sum to {total_wt.iloc[position]:.4g}; weight percent of an analysis "
                "sum to about 100 (moles of a unity formula are not weight percent).",
            )
    short = analysed & total_wt.between(MIN_TOTAL_WT, LEAST_USUAL_TOTAL_WT, inclusive="left")
    for position in positions(short):
        table.warn(
            position,
            None,
            f"the oxides sum to {total_wt.iloc[position]:.4g}, less than what burns off a glaze "
            "leaves as a rule; if one is missing, add it.",
        )
    fluxless = frame[list(FLUXES)].sum(axis=1) <= 0
    for position in positions(analysed & fluxless & total_wt.between(MIN_TOTAL_WT, MAX_TOTAL_WT)):
        if int(table.rows[position]) not in blamed:
            table.blame(
                position, None, f"the analysis has no flux; give some of {' '.join(FLUXES)}."
            )
    for position in positions(frame["source"].isin(["jar", "recipe"]) & given):
        source = frame["source"].iloc[position]
        table.warn(
            position,
            "source",
            f'the oxides are not read, as the source is "{source}"; write analysis to use them.',
        )


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
            f"{quoted(row['material'])} is already in {table.place(first.iloc[position]).in_file} "
            f"of {quoted(row['glaze'])}; the parts are added together.",
        )
    parts = frame["parts"].groupby(first).transform("sum")
    keep = ~again.to_numpy()
    table.frame = frame.assign(parts=parts.where(named, frame["parts"]))[keep].reset_index(
        drop=True
    )
    table.rows = table.rows[keep]
    table.labels = None if table.labels is None else table.labels[keep]


def _check_materials(table: Table) -> None:
    _blame_twice(table, "the material")
    total_wt = _totals_wt(table) + table.frame["loss_on_ignition"].fillna(0.0)
    for position in positions(total_wt > MAX_TOTAL_WT):
        table.blame(
            position,
            None,
            f"oxides and loss on ignition sum to {total_wt.iloc[position]:.4g}; "
            "weight percent sum to about 100.",
        )
    for position in positions(total_wt <= 0):
        table.blame(position, None, "has no oxide; give weight percent that sum to about 100.")


def _check_counting(table: Table, group: list[str], counter: str) -> None:
    """Counters of a group run 1, 2, 3, ... without a gap (repeats are blamed elsewhere)."""
    frame = table.frame
    if table.kind == "layers":
        frame = frame.assign(firing=keyed_firings(frame))
    numbers: dict[Any, set[float]] = {}
    for number, *key in zip(frame[counter], *(frame[name] for name in group), strict=True):
        if number >= 1:
            numbers.setdefault(tuple(key), set()).add(number)
    if all(max(found) == len(found) for found in numbers.values()):
        return
    unique = frame.loc[frame[counter].notna(), [*group, counter]].drop_duplicates()
    rank = unique.groupby(group, sort=False)[counter].rank()
    gaps = unique.loc[rank.ne(unique[counter])].drop_duplicates(group)
    for position, number in zip(gaps.index, gaps[counter], strict=True):
        name = table.frame[group[0]].iloc[position]
        table.blame(
            int(position),
            counter,
            f'{int(number)} leaves a gap: each {counter} of "{name}" is numbered '
            "1, 2, 3, ... without one missing.",
        )


def _check_tops(table: Table) -> None:
    """Blame each firing of a table of schedules that melts no glaze."""
    frame = table.frame
    blamed = {fault.row for fault in table.faults}
    tops = frame.groupby("firing", sort=False)["target_c"].transform("max")
    for position in np.flatnonzero((tops < MELTS_ABOVE_C) & (tops == frame["target_c"])):
        if int(table.rows[position]) in blamed:
            continue
        top_c = float(tops.iloc[position])
        meant = f" (did you mean {1000 * top_c:.0f}?)" if 0.6 <= top_c <= 1.5 else ""
        table.blame(
            int(position),
            "target_c",
            f'{top_c:g} °C is the hottest of "{frame["firing"].iloc[position]}"{meant}, and no '
            f"glaze melts below {MELTS_ABOVE_C:.0f} °C; give °C, or °F such as 2165 F.",
        )


def _check_schedules(table: Table) -> None:
    _blame_twice(table, "the segment")
    _check_counting(table, ["firing"], "segment")
    _check_tops(table)


def _check_layers(table: Table) -> None:
    if table.shared & {"run_mm", "past_foot"}:
        give_run_to_lowest(table)
    respell_pieces(table)
    check_dates(table)
    _blame_twice(table, "the layer")
    _check_counting(table, ["piece", "firing", "side"], "layer")
    check_pieces(table)
    check_slips(table)


_CHECKS: dict[TableKind, Callable[[Table], None]] = {
    "glazes": _check_glazes,
    "recipes": sum_repeats,
    "materials": _check_materials,
    "schedules": _check_schedules,
    "layers": _check_layers,
}


def check_rows(
    raw: pd.DataFrame,
    kind: TableKind,
    name: str,
    rows: npt.NDArray[np.int64] | None = None,
    columns: Columns | None = None,
) -> Table:
    """Read a table's cells and check its rows against each other; faults are kept, not raised.

    Parameters
    ----------
    raw, kind, name, rows, columns
        As for `cells.parse_columns`.

    Returns
    -------
    Table
        Wrong cells are blank; `faults` in the order of the rows.

    Warns
    -----
    TableWarning : for what is odd but usable.
    """
    refuse_other(raw, pd.DataFrame, name, "a pandas DataFrame, such as read_table returns")
    table = parse_columns(raw, kind, name, rows, columns)
    if not table.frame.empty and not table.is_nameless:
        _CHECKS[kind](table)
    table.faults.sort(key=lambda fault: fault.row or 0)
    return table


def without_faulty_pieces(table: Table) -> tuple[Table, list[tuple[str, Fault]]]:
    """A table of layers without the pieces that have a fault in a row.

    Parameters
    ----------
    table : Table
        As `check_rows` returns; left as it is.

    Returns
    -------
    Table
        Checked anew; faults of the whole table stay.
    list of (str, Fault)
        Name of each piece that was left out, and what is wrong with it, in the order of the rows.
    """
    whole = [fault for fault in table.faults if fault.row is None]
    told: list[tuple[str, Fault]] = []
    while blamed := {fault: fault.row for fault in table.faults if fault.row is not None}:
        piece = pieces_of(table.frame)
        first = {int(row): position for position, row in reversed([*enumerate(table.rows)])}
        told += [
            (str(table.frame["piece"].iloc[first[row]]) or f"row {row}", fault)
            for fault, row in blamed.items()
            if row in first
        ]
        gone = np.isin(piece, piece[np.isin(table.rows, list(blamed.values()))])
        if not gone.any():
            break
        rest = table.frame.loc[~gone].reset_index(drop=True)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", TableWarning)  # told when it was first read
            table = check_rows(rest, table.kind, table.name, table.rows[~gone])
    if whole:
        table = replace(table, faults=[*whole, *table.faults])
    return table, told


def check_table(raw: pd.DataFrame, kind: TableKind, name: str | None = None) -> pd.DataFrame:
    """Read and check one table given as a DataFrame.

    Parameters
    ----------
    raw : DataFrame
        Columns of the table in any order; numbers or text as typed.
    kind : {"glazes", "recipes", "materials", "schedules", "layers"}
    name : str, optional
        What faults call it; by default the kind.

    Returns
    -------
    DataFrame
        Every column of the table in its order, then the unknown ones; lengths in mm, temperatures
        in °C; text blank and numbers NaN when not known.

    Raises
    ------
    BadInput : with every fault of the table.

    Warns
    -----
    TableWarning : for an unknown column, which is kept, and for what is odd but usable.
    """
    table = check_rows(raw, kind, name or kind)
    raise_faults(table.faults)
    return table.frame


def empty_table(kind: TableKind) -> pd.DataFrame:
    """A table without rows, all its columns typed.

    Examples
    --------
    >>> len(empty_table("recipes"))
    0
    """
    return pd.DataFrame({name: pd.Series(dtype=dtype) for name, dtype in dtypes_of(kind).items()})


def dtypes_of(kind: TableKind) -> dict[str, str]:
    """What the cells of each column of a table are kept as."""
    return {
        c.name: "str" if c.is_text else "int64" if c.form == "count" and c.needed else "float64"
        for c in COLUMNS[kind]
    }


def with_defaults(layers: pd.DataFrame) -> pd.DataFrame:
    """Layers with blanks filled by what they are taken for.

    Parameters
    ----------
    layers : DataFrame
        As `check_table` returns; a column that is missing is blank.

    Returns
    -------
    DataFrame
        A copy: what one layer says of its piece holds for the others (`PIECE_COLUMNS`), then
        `DEFAULTS`. A blank without a default stays blank.
    """
    missing = [column for column in COLUMNS["layers"] if column.name not in layers]
    filled = layers.assign(**{c.name: "" if c.is_text else np.nan for c in missing})
    pieces = None
    for column in dict.fromkeys((*PIECE_COLUMNS, *DEFAULTS)):
        blank = blanks(filled[column].to_numpy())
        if not blank.any():
            continue
        values = filled[column].to_numpy(copy=True)
        if column in PIECE_COLUMNS and not blank.all():
            pieces = pieces_of(filled) if pieces is None else pieces
            values[blank] = told_of_pieces(filled[column], pieces)[blank]
            blank = blanks(values)
        if column in DEFAULTS:
            values[blank] = DEFAULTS[column]
        filled[column] = pd.Series(values, filled.index, filled[column].dtype)
    return filled


def inside_of(layers: pd.DataFrame) -> pd.DataFrame:
    """The layers inside of pots, with what is told of their pots and what a blank is taken for.

    Parameters
    ----------
    layers : DataFrame
        As `check_table` returns, those outside among them.

    Returns
    -------
    DataFrame
        As `with_defaults`; a blank lower edge is 0, down to the floor, a blank upper edge that of
        the highest layer outside of its pot, NaN where there is none.
    """
    inner = ~outside(layers)
    if not inner.any():
        return layers.loc[inner]
    filled = with_defaults(layers)
    tops = filled["upper_edge_mm"].mask(inner).groupby(pieces_of(filled)).transform("max")
    edges = {"lower_edge_mm": 0.0, "upper_edge_mm": tops}
    return filled.fillna(edges).loc[inner].reset_index(drop=True)


def split_results(
    layers: pd.DataFrame, with_lost: bool = False
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """A table of layers as what is planned and what was fired.

    Parameters
    ----------
    layers : DataFrame
        As `check_table` returns.
    with_lost : bool
        Count what was lost otherwise as fired.

    Returns
    -------
    planned, fired : DataFrame, rows numbered anew
        All layers of the pieces of which no layer has a result, and of those of which any has. A
        piece that was lost otherwise, without a result, is in neither unless it is asked for.
    """
    told = layers["run_mm"].notna() | layers["past_foot"].isin(["yes", "no"])
    piece = [keyed_firings(layers), layers["piece"]]
    fired = told.groupby(piece).transform("any")
    lost = layers["lost"].ne("").groupby(piece).transform("any")
    planned = ~fired & ~lost
    fired |= lost & with_lost
    return layers.loc[planned].reset_index(drop=True), layers.loc[fired].reset_index(drop=True)
