"""Recipes against each other, their glazes and the raw materials."""

from __future__ import annotations

from collections.abc import Mapping
from typing import cast

import numpy as np

from runpredict.datafiles import FLUXES, OXIDES
from runpredict.errors import quoted
from runpredict.physics.chemistry import ingredient_oxides
from runpredict.physics.material_words import MaterialNames, names_beside
from runpredict.tables.cells import Table
from runpredict.tables.ingredients import blame_materials, warn_stand_ins
from runpredict.tables.names import warn_unused


def check_recipes(tables: Mapping[str, Table]) -> None:
    """Each recipe has a glaze and each glaze made from one has it; every material is known.

    Parameters
    ----------
    tables : mapping of Table by role
        The `source` of every glaze filled in; faults and warnings are added to them.
    """
    glazes = tables["glazes"]
    known = set(tables["recipes"].frame["glaze"]) if "recipes" in tables else set()
    needs = glazes.frame["source"].eq("recipe") & glazes.frame["glaze"].ne("")
    for position in np.flatnonzero(needs & ~glazes.frame["glaze"].isin(known)):
        name = str(glazes.frame["glaze"].iloc[position])[:40]
        glazes.blame(
            int(position), "source", f'"{name}" has no recipe; give its rows in the recipes table.'
        )
    if "recipes" not in tables:
        return
    warn_unused(tables["recipes"], "glaze", list(glazes.frame["glaze"]), glazes.name)
    _warn_which_counts(glazes, known)
    own = list(tables["materials"].frame["material"]) if "materials" in tables else []
    blame_materials(tables["recipes"], own)
    warn_stand_ins(tables["recipes"], own)
    _warn_two_names(tables["recipes"], names_beside(own))


def _warn_which_counts(glazes: Table, mixed: set[str]) -> None:
    """A glaze with a recipe is said to be an analysis or a jar."""
    beside = glazes.frame["source"].isin(["analysis", "jar"]) & glazes.frame["glaze"].isin(mixed)
    for position in np.flatnonzero(beside):
        row = glazes.frame.iloc[position]
        counts = (
            "the analysis counts" if row["source"] == "analysis" else "it counts as a bought jar"
        )
        glazes.warn(
            int(position),
            "source",
            f"{quoted(row['glaze'])} has a recipe too, but {counts}; "
            "write recipe here to use the recipe.",
        )


def _warn_two_names(table: Table, names: MaterialNames) -> None:
    """Tell of a material that stands in a recipe under two names, or also as an addition."""
    frame = table.frame
    found = frame["material"].map({name: names.find(name) for name in frame["material"].unique()})
    first = frame.index.to_series().groupby([frame["glaze"], found]).transform("first")
    again = first.ne(frame.index.to_series()) & found.ne("") & frame["glaze"].ne("")
    for position in np.flatnonzero(again):
        row, other = frame.iloc[position], first.iloc[position]
        table.warn(
            int(position),
            "material",
            f"{quoted(row['material'])} is the {quoted(frame['material'][other])} of "
            f"{table.place(other).in_file} again in {quoted(row['glaze'])}; the parts are added "
            "together.",
        )


def check_melts(tables: Mapping[str, Table]) -> None:
    """Each recipe in use leaves a melt with a flux.

    Parameters
    ----------
    tables : mapping of Table by role
        Without faults so far.
    """
    if "recipes" not in tables:
        return
    table = tables["recipes"]
    glazes = tables["glazes"].frame
    used = glazes.loc[glazes["source"].eq("recipe"), "glaze"]
    mine = table.frame.loc[table.frame["glaze"].isin(used)]
    materials = tables["materials"].frame if "materials" in tables else None
    lines = ingredient_oxides(mine, materials)
    sums = lines[list(OXIDES)].groupby(lines["glaze"].to_numpy(), sort=False).sum()
    left, flux = sums.sum(axis=1) > 0, sums[list(FLUXES)].sum(axis=1) > 0
    for position, name in mine["glaze"].drop_duplicates().items():
        first = cast(int, position)
        if not left[name]:
            table.blame(first, "parts", f'nothing of "{name}" is left after firing; mend it.')
        elif not flux[name]:
            table.blame(first, "material", f'"{name}" has no flux; a glaze needs one to melt.')
