"""All tables of a check together: read, checked against each other, chemistry worked out."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar, cast

import numpy as np
import pandas as pd

from runpredict.errors import BadInput, Fault
from runpredict.physics.chemistry import (
    FLUXES,
    OXIDES,
    fill_oxides,
    recipe_oxides_wt,
    shipped_materials,
)
from runpredict.tables.cells import Table, nearest
from runpredict.tables.csv_files import load_table
from runpredict.tables.firings import keyed_firings
from runpredict.tables.roles import ROLES
from runpredict.tables.rows import check_rows, empty_table, raise_faults, with_defaults
from runpredict.tables.slips import warn_of_ripeness

__all__ = ["PlanTables", "check_plan", "read_plan"]

HINTED_NAMES = 20

T = TypeVar("T")


@dataclass(frozen=True)
class PlanTables:
    """Tables that fit together.

    Parameters
    ----------
    plan : DataFrame
        Layers to ask about, as typed (blanks kept) but for `firing`: one without a name has the
        key of its date, as `firings.firing_key` returns, so that no two firings are one.
    log : DataFrame
        Layers with results, as `plan`; without rows when there is no log.
    glazes : DataFrame
        With `source` filled and the oxides of recipes and analyses worked out, as
        `chemistry.fill_oxides` returns. [wt %]
    schedules : DataFrame
        Segments of typed firings; without rows when there are none.
    """

    plan: pd.DataFrame
    log: pd.DataFrame
    glazes: pd.DataFrame
    schedules: pd.DataFrame


def read_plan(
    plan: str | os.PathLike[str] | None,
    glazes: str | os.PathLike[str],
    **others: str | os.PathLike[str] | None,
) -> PlanTables:
    """Read every file of a check and all their faults at once.

    Parameters
    ----------
    plan : path or None
        A ``layers.csv`` table.
    glazes : path
    **others : path or None
        By role (`roles.ROLES`): log, another ``layers.csv``; recipes, materials, schedules, the
        tables of those names. Materials are added to the shipped ones.

    Returns
    -------
    PlanTables

    Raises
    ------
    BadInput
        With every fault of every file.
    TypeError
        For a role that is none.

    Warns
    -----
    TableWarning
        As `csv_files.load_table`.
    """
    given: dict[str, str | os.PathLike[str]] = _by_role(plan=plan, glazes=glazes, **others)
    return _join(*_load({role: Path(path) for role, path in given.items()}))


def _by_role(**tables: T | None) -> dict[str, T]:
    """What is given, in the order of the roles."""
    strangers = tables.keys() - ROLES.keys()
    if strangers:
        raise TypeError(f"{min(strangers)} is no table of a plan; one of {', '.join(ROLES)} is")
    given = {role: tables.get(role) for role in ROLES}
    return {role: table for role, table in given.items() if table is not None}


def _load(paths: Mapping[str, Path]) -> tuple[dict[str, Table], list[Fault]]:
    """The tables that can be read, and why the others cannot."""
    names = [path.name for path in paths.values()]
    tables: dict[str, Table] = {}
    faults: list[Fault] = []
    for role, path in paths.items():
        name = path.name if names.count(path.name) == 1 else str(path)
        try:
            tables[role] = load_table(path, ROLES[role], name)
        except BadInput as bad:
            faults.extend(bad.faults)
    return tables, faults


def check_plan(
    plan: pd.DataFrame | None, glazes: pd.DataFrame, **others: pd.DataFrame | None
) -> PlanTables:
    """Check every table of a check, given as DataFrames, and all their faults at once.

    Parameters
    ----------
    plan : DataFrame or None
        Layers, as typed or as read.
    glazes : DataFrame
    **others : DataFrame or None
        By role, as for `read_plan`.

    Returns
    -------
    PlanTables

    Raises
    ------
    BadInput
        With every fault of every table; tables are called by their role.
    TypeError
        For a role that is none.

    Warns
    -----
    TableWarning
        As `rows.check_table`.
    """
    given = _by_role(plan=plan, glazes=glazes, **others)
    return _join({role: check_rows(raw, ROLES[role], role) for role, raw in given.items()}, [])


def _join(tables: Mapping[str, Table], faults: list[Fault]) -> PlanTables:
    if "glazes" in tables and not faults:
        _check_names(tables)
    for role in ROLES:
        if role in tables:
            faults.extend(sorted(tables[role].faults, key=lambda fault: fault.row or 0))
    raise_faults(faults)
    frames = {role: table.frame for role, table in tables.items()}
    _check_melts(tables)

    def frame(role: str) -> pd.DataFrame:
        return frames[role] if role in frames else empty_table(ROLES[role])

    plan, log = frame("plan"), frame("log")
    return PlanTables(
        plan=plan.assign(firing=keyed_firings(plan)),
        log=log.assign(firing=keyed_firings(log)),
        glazes=fill_oxides(frames["glazes"], frames.get("recipes"), frames.get("materials")),
        schedules=frame("schedules"),
    )


def _check_names(tables: Mapping[str, Table]) -> None:
    """Every name in one table that points to another is found there."""
    _infer_sources(tables)
    _check_recipes(tables)
    schedules = tables.get("schedules")
    firings = set() if schedules is None else set(schedules.frame["firing"])
    for role in ("plan", "log"):
        if role in tables:
            _blame_unknown(
                tables[role], "glaze", list(tables["glazes"].frame["glaze"]), tables["glazes"].name
            )
            _check_heat(tables[role], firings)
    if "plan" in tables:
        glazes = tables["glazes"].frame
        warn_of_ripeness(
            tables["plan"], dict(zip(glazes["glaze"], glazes["matures_cone"], strict=True))
        )
    if "plan" in tables and tables["plan"].frame.empty:
        tables["plan"].blame(None, None, "has no layer; give one row for each layer of glaze.")


def _blame_unknown(table: Table, column: str, known: list[str], where: str) -> None:
    names = table.frame[column]
    unknown = names.ne("") & ~names.isin(known)
    hints = {
        name: nearest(name, known) for name in names.loc[unknown].drop_duplicates()[:HINTED_NAMES]
    }
    for position in np.flatnonzero(unknown):
        name = str(names.iloc[position])
        short = name if len(name) <= 40 else f"{name[:37]}..."
        table.blame(
            int(position),
            column,
            f'"{short}" is not in {where}{hints.get(name, "")}; add it there or mend the name.',
        )


def _check_heat(table: Table, firings: set[str]) -> None:
    """A layer has a cone, of its own or of its piece, or a typed firing."""
    blamed = {fault.row for fault in table.faults if fault.column == "cone"}
    frame = with_defaults(table.frame)
    for position in np.flatnonzero(frame["cone"].eq("") & ~frame["firing"].isin(firings)):
        if int(table.rows[position]) not in blamed:
            table.blame(
                int(position),
                "cone",
                "is blank, and the firing has no schedule; give the cone, such as 6.",
            )


def _infer_sources(tables: Mapping[str, Table]) -> None:
    """A blank source is what the tables show: an analysis, a recipe, or else a jar."""
    frame = tables["glazes"].frame
    blank = frame["source"].eq("")
    analysed = frame[list(OXIDES)].notna().any(axis=1)
    mixed = (
        frame["glaze"].isin(tables["recipes"].frame["glaze"])
        if "recipes" in tables
        else pd.Series(False, index=frame.index)
    )
    inferred = np.select([analysed, mixed], ["analysis", "recipe"], "jar")
    frame["source"] = frame["source"].mask(blank, pd.Series(inferred, index=frame.index))


def _check_recipes(tables: Mapping[str, Table]) -> None:
    glazes = tables["glazes"]
    known = set(tables["recipes"].frame["glaze"]) if "recipes" in tables else set()
    needs = glazes.frame["source"].eq("recipe") & glazes.frame["glaze"].ne("")
    for position in np.flatnonzero(needs & ~glazes.frame["glaze"].isin(known)):
        name = str(glazes.frame["glaze"].iloc[position])[:40]
        glazes.blame(
            int(position), "source", f'"{name}" has no recipe; give its rows in the recipes table.'
        )
    if "recipes" in tables:
        materials = list(shipped_materials()["material"])
        if "materials" in tables:
            materials += list(tables["materials"].frame["material"])
        _blame_unknown(tables["recipes"], "material", materials, "the materials")


def _check_melts(tables: Mapping[str, Table]) -> None:
    """Each recipe in use leaves a melt with a flux."""
    if "recipes" not in tables:
        return
    table = tables["recipes"]
    glazes = tables["glazes"].frame
    used = glazes.loc[glazes["source"].eq("recipe"), "glaze"]
    mine = table.frame.loc[table.frame["glaze"].isin(used)]
    materials = tables["materials"].frame if "materials" in tables else None
    for name, recipe in mine.groupby("glaze", sort=False):
        first = cast(int, recipe.index[0])
        try:
            oxides_wt = recipe_oxides_wt(recipe, materials)
        except ValueError:
            table.blame(first, "parts", f'nothing of "{name}" is left after firing; mend it.')
            continue
        if oxides_wt[list(FLUXES)].to_numpy().sum() <= 0:
            table.blame(first, "material", f'"{name}" has no flux; a glaze needs one to melt.')
    raise_faults(table.faults)
