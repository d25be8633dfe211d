"""Slips of the pen in a table of layers: what cannot be is a fault, what is odd a warning."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from runpredict.arrays import Bools, Floats
from runpredict.errors import quoted
from runpredict.tables.cells import Table
from runpredict.tables.columns import cones
from runpredict.tables.firings import firing_words, keyed_firings
from runpredict.tables.layers import pieces_of, positions, told_of_pieces
from runpredict.tables.names import name_key
from runpredict.units import MM_PER_INCH

# Diameters of the foot of each form: least and most that can be, least and most that are not odd.
# [mm] Common practice, no source.
FOOT_MM = {
    "mug": (15.0, 200.0, 30.0, 130.0),
    "bowl": (15.0, 400.0, 25.0, 250.0),
    "plate": (25.0, 600.0, 50.0, 400.0),
    "vase": (15.0, 500.0, 25.0, 300.0),
    "bottle": (15.0, 400.0, 20.0, 250.0),
    "tile": (1.0, 2000.0, 3.0, 600.0),
    "": (5.0, 2000.0, 12.0, 500.0),
}
LEAST_GLAZED_MM = 15.0
"""A pot glazed no higher than this was likely typed in inches (common practice, no source)."""
LEAST_EDGES = 4
FAR_BELOW = 8.0
"""An edge so many times lower than a quarter of all is asked about (common practice, no source)."""
MOST_GLAZED_MM = 400.0
"""A pot glazed higher than this is rare, so its edge was hardly meant in inches (the same)."""
FLAT_FORMS = ("plate", "tile")
"""Forms whose glaze may well lie low."""

MOST_CONE_OF_BODY = {
    "earthenware": "2",
    "terracotta": "2",
    "terra cotta": "2",
    "redware": "2",
    "low fire": "2",
    "lowfire": "2",
}
"""Hottest cone such a clay stands before it bloats or slumps (common practice, no source)."""
CONES_OFF = 2
"""So many cones past its own a glaze or a body is no longer itself (common practice, no source)."""
LONGEST_DIP_S, LEAST_THIRST_PCT = 60.0, 1.0
"""A longer dip was likely typed in minutes, a body less thirsty as a share (common practice, no
source)."""
_CONE_IN_NAME = re.compile(r"(?:cone|\^|\bc)\s*(\d{1,2})\b", re.IGNORECASE)
NAMED_PIECES = 5
FEWEST_BELOW = 3
"""Pots without a firing below one that has it, before it is asked about."""


def check_slips(table: Table) -> None:
    """Blame or warn of each slip in a table of layers.

    Parameters
    ----------
    table : Table
        Layers, their cells read.

    Warns
    -----
    TableWarning : for what is odd; each names the piece.
    """
    _check_feet(table)
    _check_inches(table)
    _check_runs(table)
    _check_noughts(table)
    _check_one_firing(table)
    _check_filled_down(table)
    _check_alike(table)
    _check_bodies(table)
    _check_dips(table)


def _firsts(table: Table, mask: Any) -> list[int]:
    """One position a piece, the first where the mask holds."""
    found = np.flatnonzero(np.asarray(mask, dtype=bool))
    if not len(found):
        return []
    of_piece = pieces_of(table.frame)
    return [int(found[i]) for i in np.unique(of_piece[found], return_index=True)[1]]


def _tell(table: Table, position: int, column: str, message: str) -> None:
    """A fault in a plan, which can be mended before it is fired; a warning in a log.

    What was fired was fired: a log is not refused whole for one slip, and what is learned from it
    weighs little where it fits nothing else.
    """
    row = table.frame.iloc[position]
    logged = bool(row["past_foot"]) or bool(np.isfinite(row["run_mm"]))
    (table.warn if logged else table.blame)(position, column, message)


def _piece(table: Table, position: int) -> str:
    return f'"{table.frame["piece"].iloc[position]}"'


def _as_inches(value: float) -> str:
    """What to do about a length that may be in inches."""
    return f"if these are inches, write {value:g} in"


def _foot_mended(value: float, usual_mm: Floats) -> str:
    """What to do about a foot: inches are thought of only where so many would be usual."""
    if value < usual_mm[0] <= value * MM_PER_INCH <= usual_mm[1]:
        return _as_inches(value)
    return "give its diameter in mm"


def forms_of(layers: pd.DataFrame) -> pd.Series[Any]:
    """Form of each row's piece as told by any of its layers; blank where none says."""
    told = told_of_pieces(layers["form"], pieces_of(layers))
    return pd.Series(told, layers.index, layers["form"].dtype)


def _check_feet(table: Table) -> None:
    frame = table.frame
    told = forms_of(frame)
    limits = usual = np.array([FOOT_MM[form] for form in told])
    if told.eq("").any():
        words = rf"\b({'|'.join(filter(None, FOOT_MM))})\b"
        names = frame["piece"].str.casefold().str.extract(words)[0].fillna("")
        usual = np.array([FOOT_MM[form] for form in told.mask(told.eq(""), names)])
    foot = frame["foot_mm"].to_numpy()
    impossible = (foot < limits[:, 0]) | (foot > limits[:, 1])
    odd = ~impossible & ((foot < usual[:, 2]) | (foot > usual[:, 3]))
    for position in _firsts(table, impossible | odd):
        under = told.iloc[position] or "piece"
        what = f"a foot {foot[position]:g} mm across under the {under} {_piece(table, position)}"
        mend = _foot_mended(foot[position], usual[position, 2:])
        if impossible[position]:
            _tell(table, position, "foot_mm", f"{what} cannot be; {mend}.")
        else:
            table.warn(position, "foot_mm", f"{what} is odd; {mend}, or leave it if it is so.")


def _inch_like(values: pd.Series[float]) -> Bools:
    """Whether each is an eighth below 1, which a ruler of inches shows and one of mm does not."""
    eighths = values.to_numpy() * 8
    return np.asarray((eighths % 1 == 0) & (eighths % 4 != 0) & (eighths < 8))


def _inches_among(edges_mm: pd.Series[float]) -> Bools:
    """Whether each is far below the other edges of a table, and one of them if it is in inches."""
    known = edges_mm.loc[edges_mm > 0].to_numpy()
    if len(known) < LEAST_EDGES:
        return np.zeros(len(edges_mm), dtype=bool)
    quarter, most = np.quantile(known, [0.25, 1.0])
    values = edges_mm.to_numpy()
    far = (values > 0) & (values * FAR_BELOW < quarter) & (values % 1 != 0)
    return np.asarray(far & (values * MM_PER_INCH <= most))


def _check_inches(table: Table) -> None:
    frame = table.frame
    top = frame["upper_edge_mm"].to_numpy()
    low = top < LEAST_GLAZED_MM
    if low.any():
        top = frame["upper_edge_mm"].groupby(pieces_of(frame)).transform("max").to_numpy()
        low = (top < LEAST_GLAZED_MM) & ~forms_of(frame).isin(FLAT_FORMS).to_numpy()
    for position in _firsts(table, low):
        upper = frame["upper_edge_mm"].iloc[position]
        mend = _as_inches(upper) if upper * MM_PER_INCH <= MOST_GLAZED_MM else "check the edge"
        table.warn(
            position,
            "upper_edge_mm",
            f"all the glaze of {_piece(table, position)} is within {top[position]:g} mm of its "
            f"foot; {mend}.",
        )
    odd = {
        "lower_edge_mm": _inch_like(frame["lower_edge_mm"]) | _inches_among(frame["lower_edge_mm"]),
        "upper_edge_mm": _inches_among(frame["upper_edge_mm"]),
        "run_mm": _inch_like(frame["run_mm"]),
    }
    for column, inches in odd.items():
        for position in _firsts(table, inches & ~low):
            value = frame[column].iloc[position]
            table.warn(
                position,
                column,
                f"{value:g} mm on {_piece(table, position)} is less than a ruler shows; "
                f"{_as_inches(value)}.",
            )


def _check_runs(table: Table) -> None:
    _check_at_least(table)
    frame = table.frame
    run, lower, upper = (frame[f"{name}_mm"] for name in ("run", "lower_edge", "upper_edge"))
    beyond = frame["past_foot"].ne("yes") & (run > lower)
    too_long = run > upper
    for position in positions(beyond | too_long):
        ran, edge = run.iloc[position], lower.iloc[position]
        piece = _piece(table, position)
        if beyond.iloc[position]:
            word = "is no, yet" if frame["past_foot"].iloc[position] else "is blank, yet"
            table.warn(
                position,
                "past_foot",
                f"{word} the layer on {piece} ran {ran:.4g} mm from {edge:.4g} mm above the foot; "
                "write yes, or mend the run.",
            )
        if too_long.iloc[position]:
            message = (
                f"a run of {ran:.4g} mm is longer than the wall of {piece}, which is glazed from "
                f"{upper.iloc[position]:.4g} mm; measure from where the lower edge was, check the "
                "unit."
            )
            table.warn(position, "run_mm", message)


def _check_at_least(table: Table) -> None:
    """A run typed as ``20+`` is one that passed the foot, or it has to be asked for."""
    frame = table.frame
    for position in table.at_least:
        run, edge, past = (
            frame[c].iloc[position] for c in ("run_mm", "lower_edge_mm", "past_foot")
        )
        if past == "" and run >= edge:
            frame.loc[frame.index[position], "past_foot"] = "yes"
            message = f"{_piece(table, position)} ran at least to its foot, so this is read as yes."
            table.warn(position, "past_foot", message)
        elif past != "yes" and np.isfinite(run):
            table.blame(
                position,
                "run_mm",
                f"{_piece(table, position)} ran at least {run:g} mm, from {edge:g} mm above the "
                "foot; write yes under past_foot if it passed, else how far it ran and no more.",
            )


def _check_noughts(table: Table) -> None:
    """Cone 06 beside cone 6 in one firing is a nought that a spreadsheet ate."""
    frame = table.frame
    firings = keyed_firings(frame)
    for firing, fired in frame["cone"].groupby(firings, sort=False):
        known = set(fired) - {""}
        eaten = sorted(cone for cone in known if cone.startswith("0") and cone[1:] in known)
        for cone in eaten:
            mine = firings.eq(firing)
            first, other = (
                next(iter(positions(mine & frame["cone"].eq(name)))) for name in (cone[1:], cone)
            )
            message = (
                f"{_piece(table, first)} is fired to cone {cone[1:]} and {_piece(table, other)} to "
                f"cone {cone}, in one firing ({firing_words(firing)}); a spreadsheet may have "
                "taken the nought away: set the cells to text and type the cone again."
            )
            tell = _tell if firing else Table.warn
            tell(table, first, "cone", message)


def _check_one_firing(table: Table) -> None:
    """One kiln load has one hold and one date; two under one name are told, once a firing."""
    frame = table.frame
    blamed = np.isin(table.rows, [fault.row for fault in table.faults if fault.row])
    for column, words in (("hold_min", "a hold of {:g} min"), ("fired_on", "the date {}")):
        if frame[column].nunique() < 2:
            continue
        named = frame.loc[frame["firing"].ne("") & ~blamed]
        known = named.loc[named[column].notna() & named[column].ne("")]
        first = known.groupby("firing", sort=False)[column].transform("first")
        for position, row in (
            known.loc[known[column].ne(first)].drop_duplicates("firing").iterrows()
        ):
            table.warn(
                at := int(str(position)),
                column,
                f"the firing {quoted(row['firing'])} has {words.format(row[column])} here and "
                f"{words.format(first[at])} above; if these are two firings, give each a "
                "name of its own.",
            )


def _check_filled_down(table: Table) -> None:
    """A firing that the first pot alone has was likely meant for all below it."""
    pieces = pieces_of(table.frame)
    in_one = keyed_firings(table.frame).ne("").to_numpy()
    if pieces.max() < FEWEST_BELOW or not in_one[0] or in_one[pieces > 0].any():
        return
    column = "firing" if table.frame["firing"].iloc[0] else "fired_on"
    table.warn(
        0, column, f"only {_piece(table, 0)} has one; if the pots below it are of that firing, "
        "say so of each.",
    )  # fmt: skip


def _check_alike(table: Table) -> None:
    """Names of firings, or of pieces in one of them, that differ in nothing but case and spaces."""
    frame = table.frame
    for column, key in (("firing", ["firing"]), ("piece", ["firing", "piece"])):
        first: dict[tuple[str, ...], str] = {}
        seen: set[tuple[str, ...]] = set()
        for position, names in enumerate(zip(*(frame[name] for name in key), strict=True)):
            if names in seen:
                continue
            seen.add(names)
            name = names[-1]
            other = first.setdefault(tuple(map(name_key, names)), name)
            if other != name:
                table.warn(
                    position,
                    column,
                    f"{quoted(name)} and {quoted(other)} further up differ only "
                    "in case or spaces; write both alike if they are one.",
                )


def _steps(cone: str, most: str) -> int:
    """By how many cones one is hotter than another."""
    return cones().index(cone) - cones().index(most)


def _hotter_than(most: str) -> Callable[[str], bool]:
    return lambda cone: bool(cone) and _steps(cone, most) >= CONES_OFF


def _check_bodies(table: Table) -> None:
    frame = table.frame
    bodies = frame["body"].str.casefold()
    for body in bodies.loc[bodies.ne("")].unique():
        most = next((cone for word, cone in MOST_CONE_OF_BODY.items() if word in body), None)
        in_name = _CONE_IN_NAME.search(body)
        if in_name and in_name.group(1) in cones():
            most = in_name.group(1)
        if most is None:
            continue
        hot = bodies.eq(body) & frame["cone"].map(_hotter_than(most))
        for position in _firsts(table, hot)[:1]:
            row = frame.iloc[position]
            table.warn(
                position,
                "cone",
                f"{_named(table, hot)} of {row['body'][:40]} to cone {row['cone']}: such a clay "
                f"seldom stands more than cone {most} and may slump or bloat; mend the cone or the "
                "body, or test it on a tile with a dish under it.",
            )


def _check_dips(table: Table) -> None:
    frame = table.frame
    seconds, thirst = frame["dip_s"], frame["absorption_pct"]
    odd = (
        ("dip_s", seconds.notna() & frame["method"].isin(["brush", "spray"]),
         "only a dip or a pour has seconds; those of {} are not used."),
        ("dip_s", seconds > LONGEST_DIP_S,
         "a dip takes seconds, not minutes; mend {}, or leave it if it is so."),
        ("absorption_pct", (thirst > 0) & (thirst < LEAST_THIRST_PCT),
         "a bisque drinks 5 to 20 percent; if a share was typed for {}, 0.12 is 12."),
    )  # fmt: skip
    for column, mask, words in odd:
        for position in _firsts(table, mask)[:1]:
            table.warn(position, column, words.format(_named(table, mask)))


def _named(table: Table, mask: Any) -> str:
    """The pieces of some rows, the first few by name."""
    names = list(dict.fromkeys(table.frame["piece"].loc[np.asarray(mask, dtype=bool)]))
    listed = ", ".join(f'"{name}"' for name in names[:NAMED_PIECES])
    more = len(names) - NAMED_PIECES
    return f"{listed} and {more} more" if more > 0 else listed


def warn_of_ripeness(table: Table, matures: Mapping[str, str]) -> None:
    """Warn of glazes fired far from the cone they are meant for.

    Parameters
    ----------
    table : Table
        Layers, checked.
    matures : mapping of str
        Cone by glaze; blank where it is not told.

    Warns
    -----
    TableWarning : One for each glaze and cone, with the pieces.
    """
    frame = table.frame
    fired = told_of_pieces(frame["cone"], pieces_of(frame))
    meant = frame["glaze"].map(lambda glaze: matures.get(glaze, ""))
    names: Any
    for names, rows in frame.groupby([frame["glaze"], fired], sort=False):
        glaze, cone = names
        own = meant.loc[rows.index[0]]
        if not own or not cone or abs(_steps(cone, own)) < CONES_OFF:
            continue
        here = frame.index.isin(rows.index)
        does = "run much further" if _steps(cone, own) > 0 else "stay dry and hardly run"
        table.warn(
            next(iter(positions(here))),
            "cone",
            f"{glaze} is meant for cone {own} and {_named(table, here)} "
            f"{_is_are(frame['piece'].loc[here])} fired to cone {cone}, where it may {does}; mend "
            "the cone, or matures_cone in glazes, if one is wrong.",
        )


def _is_are(names: Sequence[str] | pd.Series[Any]) -> str:
    return "is" if len(set(names)) == 1 else "are"
