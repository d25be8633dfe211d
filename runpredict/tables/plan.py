"""All tables of a check together: read, checked against each other, chemistry worked out."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from runpredict.arrays import Bools
from runpredict.datafiles import OXIDES
from runpredict.errors import BadInput, Fault, raise_faults, refuse_other
from runpredict.physics.chemistry import fill_oxides
from runpredict.physics.lots import lot_spread_c
from runpredict.tables.cells import Table
from runpredict.tables.columns import ROLES
from runpredict.tables.csv_files import load_table
from runpredict.tables.firings import keyed_firings
from runpredict.tables.layers import outside, pieces_of, positions
from runpredict.tables.names import (
    blame_unknown,
    respell,
    respell_bodies,
    warn_alike,
    warn_unused,
)
from runpredict.tables.recipes import check_melts, check_recipes
from runpredict.tables.rows import (
    check_rows,
    empty_table,
    inside_of,
    sum_repeats,
    with_defaults,
)
from runpredict.tables.slips import warn_of_ripeness

T = TypeVar("T")


@dataclass(frozen=True)
class PlanTables:
    """Tables that fit together.

    Parameters
    ----------
    plan : DataFrame
        Layers to ask about, as typed (blanks kept) but for `firing`: one without a name has the
        key of its date, as `firings.firing_key` returns, so that no two firings are one; and
        without layers inside of a pot, which no foot judges.
    inside : DataFrame
        Those layers of the plan, as `rows.inside_of` returns.
    log : DataFrame
        Layers with results, as `plan`; without rows when there is no log.
    glazes : DataFrame
        With `source` filled and the oxides of recipes and analyses worked out, as
        `chemistry.fill_oxides` returns [wt %], and `lot_spread_c`: how far lots of its raw
        materials shift a recipe, as `lots.lot_spread_c` returns, 0 of other glazes. [°C]
    schedules : DataFrame
        Segments of typed firings; without rows when there are none.
    recipes : DataFrame
        Ingredients as typed; without rows when there are none.
    only_surprises : bool
        Of what was fired only surprises are written down in the log.
    """

    plan: pd.DataFrame
    inside: pd.DataFrame
    log: pd.DataFrame
    glazes: pd.DataFrame
    schedules: pd.DataFrame
    recipes: pd.DataFrame
    only_surprises: bool = False

    def scheduled(self, firings: ArrayLike) -> Bools:
        """Whether each firing is typed as a schedule, which counts before any cone and hold."""
        return np.isin(np.asarray(firings, dtype=str), self.schedules["firing"].to_numpy(str))


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
        By role (`columns.ROLES`): log, another ``layers.csv``; recipes, materials, schedules, the
        tables of those names. Materials are added to the shipped ones.

    Raises
    ------
    BadInput : with every fault of every file.
    TypeError : for a role that is none.

    Warns
    -----
    TableWarning : as `csv_files.load_table`.
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
            if role == "plan":
                _warn_of_results(tables[role])
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

    Raises
    ------
    BadInput : with every fault of every table; tables are called by their role.
    TypeError : for a role that is none.

    Warns
    -----
    TableWarning : as `rows.check_table`.
    """
    given = _by_role(plan=plan, glazes=glazes, **others)
    refuse_other(glazes, pd.DataFrame, "glazes", "a pandas DataFrame, such as read_table returns")
    return _join({role: check_rows(raw, ROLES[role], role) for role, raw in given.items()}, [])


def _join(tables: Mapping[str, Table], faults: list[Fault]) -> PlanTables:
    if "glazes" in tables and not faults and not any(t.is_nameless for t in tables.values()):
        _check_names(tables)
    for role in ROLES:
        if role in tables:
            faults.extend(sorted(tables[role].faults, key=lambda fault: fault.row or 0))
    raise_faults(faults)
    frames = {role: table.frame for role, table in tables.items()}
    check_melts(tables)
    raise_faults(fault for table in tables.values() for fault in table.faults)

    def frame(role: str) -> pd.DataFrame:
        return frames[role] if role in frames else empty_table(ROLES[role])

    plan, log = (frame(role).assign(firing=keyed_firings(frame(role))) for role in ("plan", "log"))
    return PlanTables(
        plan=plan.loc[outside(plan)].reset_index(drop=True),
        inside=inside_of(plan),
        log=log.loc[outside(log)].reset_index(drop=True),
        glazes=_glazes_melted(frames),
        schedules=frame("schedules"),
        recipes=frame("recipes"),
    )


def _glazes_melted(frames: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """The glazes with their chemistry, and how far lots of their materials shift them."""
    recipes, materials = frames.get("recipes"), frames.get("materials")
    glazes = fill_oxides(frames["glazes"], recipes, materials)
    mixed = glazes["source"].eq("recipe")
    spread = pd.Series(0.0, index=glazes.index)
    if recipes is not None and mixed.any():
        mine = recipes.loc[recipes["glaze"].isin(glazes.loc[mixed, "glaze"])]
        by_glaze = lot_spread_c(mine, materials)
        spread = glazes["glaze"].where(mixed).map(by_glaze).fillna(0.0)
    return glazes.assign(lot_spread_c=spread.astype(float))


def _check_names(tables: Mapping[str, Table]) -> None:
    """Every name in one table that points to another is found there."""
    glazes = list(tables["glazes"].frame["glaze"])
    schedules = tables.get("schedules")
    firings = [] if schedules is None else list(schedules.frame["firing"])
    _respell(tables)
    _infer_sources(tables)
    check_recipes(tables)
    for role in ("plan", "log"):
        if role in tables:
            blame_unknown(tables[role], "glaze", glazes, tables["glazes"].name)
            _check_heat(tables[role], set(firings))
    if "plan" in tables and schedules is not None:
        layers = [tables[role] for role in ("plan", "log") if role in tables]
        fired = [str(name) for table in layers for name in table.frame["firing"].unique()]
        warn_unused(schedules, "firing", fired, " or ".join(table.name for table in layers))
    if "plan" in tables:
        matures = dict(zip(glazes, tables["glazes"].frame["matures_cone"], strict=True))
        warn_of_ripeness(tables["plan"], matures)
    _warn_beside_schedule(tables)
    if "plan" in tables:
        _check_judged(tables["plan"])


def _check_judged(plan: Table) -> None:
    """A plan has layers outside of its pots; a pot glazed inside only is told once."""
    if plan.frame.empty:
        plan.blame(None, None, "has no layer; give one row for each layer of glaze.")
        return
    judged = outside(plan.frame)
    if not judged.any():
        plan.blame(None, "side", "has no layer outside of a pot, where glaze may pass the foot.")
    pots = pd.Series(pieces_of(plan.frame))
    unseen = ~judged.groupby(pots).transform("any") & ~pots.duplicated()
    for position in positions(unseen & bool(judged.any())):
        name = plan.frame["piece"].iloc[position]
        plan.warn(position, "side", f'"{name}" is glazed inside only, so nothing is told of it.')


def _respell(tables: Mapping[str, Table]) -> None:
    """Names that point to another table are spelled as there."""
    warn_alike(tables["glazes"], "glaze")
    for role, column, pointed in (
        ("recipes", "glaze", "glazes"),
        ("plan", "glaze", "glazes"),
        ("log", "glaze", "glazes"),
        ("plan", "firing", "schedules"),
        ("log", "firing", "schedules"),
    ):
        if role in tables and pointed in tables:
            known = list(tables[pointed].frame[column].unique())
            respell(tables[role], column, known, tables[pointed].name)
    if "recipes" in tables:
        sum_repeats(tables["recipes"])
    respell_bodies(tables)


def usable_glazes(
    glazes: pd.DataFrame, **others: pd.DataFrame
) -> tuple[PlanTables, dict[str, str]]:
    """The glazes of a studio with no plan; one whose recipe cannot be used is taken for a jar.

    Parameters
    ----------
    glazes : DataFrame
    **others : DataFrame
        By role, as for `read_plan`.

    Returns
    -------
    tables : PlanTables
    unusable : dict of str
        By glaze, what is wrong with its recipe.

    Raises
    ------
    BadInput : a fault that is of no glaze.
    """
    unusable: dict[str, str] = {}
    while True:
        try:
            return check_plan(None, glazes, **others), unusable
        except BadInput as bad:
            found = {}
            for fault in bad.faults:
                table = {"glazes": glazes, **others}.get(fault.file)
                if table is None or "glaze" not in table or fault.row is None:
                    raise
                found[str(table["glaze"].iloc[fault.row - 2])] = fault.message
            if found.keys() <= unusable.keys():
                raise
        unusable |= found
        jars = glazes["glaze"].isin(list(unusable))
        glazes = glazes.assign(source=glazes["source"].mask(jars, "jar"))
        if "recipes" in others:
            recipes = others["recipes"]
            others["recipes"] = recipes.loc[~recipes["glaze"].isin(list(unusable))]


def _check_heat(table: Table, firings: set[str]) -> None:
    """A layer has a cone, of its own or of its piece, or a typed firing."""
    blamed = table.blamed_rows("cone")
    frame = with_defaults(table.frame)
    unfired = frame["cone"].eq("") & frame["witness_cone"].eq("")
    for position in np.flatnonzero(unfired & ~frame["firing"].isin(firings)):
        if int(table.rows[position]) not in blamed:
            table.blame(
                int(position),
                "cone",
                "is blank, and the firing has no schedule; give the cone, such as 6.",
            )


def _warn_beside_schedule(tables: Mapping[str, Table]) -> None:
    """Warn of cones beside a schedule.

    Parameters
    ----------
    tables : mapping of Table by role
        As `columns.ROLES` names them.

    Warns
    -----
    TableWarning : Once a firing, at its first such row.
    """
    scheduled = set(tables["schedules"].frame["firing"]) if "schedules" in tables else set()
    for role in ("plan", "log"):
        if role in tables and scheduled:
            _warn_of_cones(tables[role], scheduled, tables["schedules"].name)


def _warn_of_results(plan: Table) -> None:
    """Warn of results in a plan, once for all of them.

    Warns
    -----
    TableWarning
    """
    frame = plan.frame
    told = frame["past_foot"].ne("") | frame["lost"].ne("")
    found = np.flatnonzero(frame["run_mm"].notna() | told)
    if len(found):
        plan.warn(
            int(found[0]),
            None,
            f"has a result, as {len(found)} of these rows have; in a plan it is not read, so give "
            "what was fired as the log.",
        )


def _warn_of_cones(table: Table, scheduled: set[str], name: str) -> None:
    frame = table.frame
    both = frame["cone"].ne("") & frame["firing"].isin(scheduled)
    for position, firing in frame.loc[both, "firing"].drop_duplicates().items():
        row = frame.iloc[int(str(position))]
        table.warn(
            int(str(position)),
            "cone",
            f'cone {row["cone"]} does not count: "{firing}" is in {name}, and its schedule does.',
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
