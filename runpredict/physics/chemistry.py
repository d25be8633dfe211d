"""From recipe or analysis to oxides, to moles, to the unity formula.

Nomenclature: ``_wt`` is weight percent, ``_mol`` moles for each mole of fluxes, and a mole fraction
is of oxides as in `OXIDES`, all iron as Fe2O3 and all manganese as MnO.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TypeAlias, cast

import numpy as np
import numpy.typing as npt
import pandas as pd

from runpredict.arrays import Floats
from runpredict.datafiles import (
    FLUXES,
    MAX_TOTAL_WT,
    OXIDES,
    OXYGEN_PER_FLUORINE_WT,
    packaged_rows,
)
from runpredict.physics.material_words import material_names
from runpredict.physics.materials import known_materials

OxidesWt: TypeAlias = "Mapping[str, float | None] | pd.Series[float] | pd.DataFrame | npt.ArrayLike"

_OXIDE_ROWS = packaged_rows("oxides.csv")
_COLUMN = {oxide: column for column, oxide in enumerate(OXIDES)}
_SPELLING = {oxide.casefold(): oxide for oxide in OXIDES}

MOLAR_MASS_G_PER_MOL: Floats = np.array([float(row["molar_mass_g_per_mol"]) for row in _OXIDE_ROWS])
"""Molar mass of each of `OXIDES`, shape (24,), IUPAC/CIAAW 2021 abridged atomic weights."""

_GROUP_COLUMNS = {
    "alkali_mol": "alkali",
    "alkaline_earth_mol": "alkaline_earth",
    "zinc_mol": "zinc",
    "lead_mol": "lead",
}


def _as_columns(oxides_wt: OxidesWt) -> Floats:
    """Weight percent as given, shape (n, 24), blanks as NaN."""
    if isinstance(oxides_wt, pd.DataFrame):
        _refuse_misspelled([str(column) for column in oxides_wt.columns], strict=False)
        return oxides_wt.reindex(columns=list(OXIDES)).to_numpy(dtype=np.float64, na_value=np.nan)
    if isinstance(oxides_wt, pd.Series):
        _refuse_misspelled([str(name) for name in oxides_wt.index], strict=False)
        chosen = pd.to_numeric(oxides_wt.reindex(list(OXIDES)))
        return chosen.to_numpy(dtype=np.float64, na_value=np.nan).reshape(1, -1)
    if isinstance(oxides_wt, Mapping):
        _refuse_misspelled([str(name) for name in oxides_wt], strict=True)
        given = [oxides_wt.get(oxide) for oxide in OXIDES]
        return np.array([[np.nan if wt is None else float(wt) for wt in given]])
    columns = np.atleast_2d(np.asarray(oxides_wt, dtype=np.float64))
    if columns.ndim != 2 or columns.shape[1] != len(OXIDES):
        raise ValueError(
            f"oxides_wt has shape {columns.shape}; give one column for each of the "
            f"{len(OXIDES)} oxides {' '.join(OXIDES)}."
        )
    return columns


def _refuse_misspelled(names: list[str], *, strict: bool) -> None:
    for name in names:
        right = _SPELLING.get(name.strip().casefold())
        if right is not None and right != name:
            raise ValueError(f'oxide "{name}" is misspelled; write {right}.')
        if right is None and strict:
            raise ValueError(f'"{name[:40]}" is not an oxide known here; give {" ".join(OXIDES)}.')
    if not any(name in _COLUMN for name in names):
        raise ValueError(f"oxides_wt names no oxide; give some of {' '.join(OXIDES)}.")


def oxides_wt_array(oxides_wt: OxidesWt) -> Floats:
    """Analyses as an array, checked and brought to a total of 100.

    Parameters
    ----------
    oxides_wt : mapping, Series, DataFrame or array_like of shape (n, 24)
        Weight percent by oxide; a blank (None, NaN) is none of it. Other columns of a DataFrame
        or Series are not read. [wt %]

    Returns
    -------
    ndarray, shape (n, 24)
        In the order of `OXIDES`, each row summing to 100. [wt %]

    Raises
    ------
    ValueError
        If an oxide is unknown, misspelled, negative or infinite, or a row sums to nothing or to
        more than 110 (fluorine less the oxygen it stands in for).
    """
    columns = np.nan_to_num(_as_columns(oxides_wt), nan=0.0, posinf=np.inf, neginf=-np.inf)
    wrong = np.argwhere((columns < 0) | np.isinf(columns))
    if len(wrong):
        row, column = wrong[0]
        raise ValueError(
            f"{OXIDES[column]} of analysis {row + 1} is {columns[row, column]:g}; "
            "weight percent is 0 to 100."
        )
    total = columns.sum(axis=1)
    counted = total - OXYGEN_PER_FLUORINE_WT * columns[:, _COLUMN["F"]]
    bad = np.flatnonzero((total <= 0) | (counted > MAX_TOTAL_WT))
    if len(bad):
        raise ValueError(
            f"the oxides of analysis {bad[0] + 1} sum to {counted[bad[0]]:g}; "
            "weight percent sums to about 100."
        )
    return cast(Floats, 100.0 * columns / total[:, None])


def mole_fractions(oxides_wt: OxidesWt) -> Floats:
    """Mole fraction of each oxide.

    Parameters
    ----------
    oxides_wt : mapping, Series, DataFrame or array_like of shape (n, 24)
        As for `oxides_wt_array`. [wt %]

    Returns
    -------
    ndarray, shape (n, 24)
        In the order of `OXIDES`, each row summing to 1.

    Raises
    ------
    ValueError : as `oxides_wt_array`.

    Examples
    --------
    >>> wollastonite = mole_fractions({"SiO2": 51.72, "CaO": 48.28})
    >>> round(float(wollastonite[0, OXIDES.index("CaO")]), 3)
    0.5
    """
    moles = oxides_wt_array(oxides_wt) / MOLAR_MASS_G_PER_MOL
    return cast(Floats, moles / moles.sum(axis=1, keepdims=True))


def unity_formula(oxides_wt: OxidesWt) -> pd.Series[float] | pd.DataFrame:
    """Unity formula: moles of each oxide for one mole of fluxes.

    Parameters
    ----------
    oxides_wt : mapping, Series, DataFrame or array_like of shape (n, 24)
        As for `oxides_wt_array`. [wt %]

    Returns
    -------
    Series or DataFrame
        `OXIDES` in moles, the `FLUXES` of each glaze summing to 1; then `alkali_mol` (Li2O, Na2O,
        K2O), `alkaline_earth_mol` (MgO, CaO, SrO, BaO), `zinc_mol`, `lead_mol`, and
        `silica_alumina_ratio` (infinite without alumina). A Series for one analysis; for a
        DataFrame or an array of rows a DataFrame, with the index of the DataFrame given.

    Raises
    ------
    ValueError : as `oxides_wt_array`, or if an analysis has no flux.

    Notes
    -----
    R2O + RO = Li2O + Na2O + K2O + MgO + CaO + SrO + BaO + ZnO + PbO = 1, after H. A. Seger (1886),
    from memory.

    Examples
    --------
    >>> potash_feldspar = {"SiO2": 64.76, "Al2O3": 18.32, "K2O": 16.92}
    >>> unity_formula(potash_feldspar)[["K2O", "Al2O3", "SiO2"]].round(2).tolist()
    [1.0, 1.0, 6.0]
    """
    moles = mole_fractions(oxides_wt)
    flux_mol = moles[:, [_COLUMN[flux] for flux in FLUXES]].sum(axis=1)
    without = np.flatnonzero(flux_mol <= 0)
    if len(without):
        raise ValueError(
            f"analysis {without[0] + 1} has no flux; a glaze needs some of {' '.join(FLUXES)}."
        )
    index = oxides_wt.index if isinstance(oxides_wt, pd.DataFrame) else None
    unity = pd.DataFrame(moles / flux_mol[:, None], columns=list(OXIDES), index=index)
    for column, group in _GROUP_COLUMNS.items():
        members = [row["oxide"] for row in _OXIDE_ROWS if row["group"] == group]
        unity[column] = unity[members].sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        unity["silica_alumina_ratio"] = np.divide(unity["SiO2"], unity["Al2O3"])
    many = isinstance(oxides_wt, pd.DataFrame) or (
        not isinstance(oxides_wt, pd.Series | Mapping) and np.ndim(oxides_wt) == 2
    )
    return unity if many else unity.iloc[0].rename(None)


def ingredient_oxides(recipes: pd.DataFrame, materials: pd.DataFrame | None = None) -> pd.DataFrame:
    """What each line of a recipe brings to the glaze.

    Parameters
    ----------
    recipes, materials : DataFrame
        As for `recipe_oxides_wt`.

    Returns
    -------
    DataFrame, one row a line of ``recipes``
        `glaze`, `material` (as known, whatever word was typed), its `lot_spread_pct`, and `OXIDES`
        and `lost` (what burns off) in hundredths of a part.

    Raises
    ------
    ValueError : if a material is unknown, or parts are negative.
    """
    known = known_materials(materials).set_index("material")
    known = known.loc[~known.index.duplicated()]
    find = material_names(materials).find
    named = {name: find(name) for name in recipes["material"].unique()}
    unknown = [name for name, material in named.items() if not material]
    if unknown:
        raise ValueError(f'material "{unknown[0]}" is unknown; add it to materials.csv.')
    parts = recipes["parts"].to_numpy(dtype=np.float64)
    if not np.all(parts >= 0):
        raise ValueError("parts of a recipe must be 0 or more.")
    line = known.reindex(
        recipes["material"].map(named), columns=[*OXIDES, "loss_on_ignition", "lot_spread_pct"]
    )
    wt = line[list(OXIDES)].astype(float).fillna(0.0).to_numpy()
    lost = line["loss_on_ignition"].astype(float).fillna(0.0).clip(lower=0.0).to_numpy()
    out = pd.DataFrame(wt * parts[:, None], columns=list(OXIDES))
    out["lost"] = lost * parts
    out["lot_spread_pct"] = line["lot_spread_pct"].astype(float).to_numpy()
    out["material"] = line.index.to_numpy()
    out["glaze"] = recipes["glaze"].to_numpy()
    return out


def recipe_oxides_wt(recipes: pd.DataFrame, materials: pd.DataFrame | None = None) -> pd.DataFrame:
    """Oxides of fired glazes, worked out from their recipes.

    Parameters
    ----------
    recipes : DataFrame
        Columns `glaze`, `material`, `parts`; additions are parts like any other, as every
        part is weighed against the same hundred. Materials by any of their names.
    materials : DataFrame, optional
        Raw materials over the shipped ones, as for `materials.known_materials`; oxides in weight
        percent of the raw material, so what burns off (`loss_on_ignition`) is what they lack.

    Returns
    -------
    DataFrame
        Index `glaze` in the order first met, columns `OXIDES`, each row summing to 100. [wt %]

    Raises
    ------
    ValueError
        If a material is unknown, parts are negative, or nothing of a glaze is left after firing.
    """
    lines = ingredient_oxides(recipes, materials)
    sums = lines[list(OXIDES)].groupby(lines["glaze"].to_numpy(), sort=False).sum()
    total = sums.sum(axis=1)
    if len(total) and not (total > 0).all():
        name = total.index[~(total > 0)][0]
        raise ValueError(f'nothing of glaze "{name}" is left after firing; check its recipe.')
    return sums.div(total, axis=0).mul(100.0).rename_axis("glaze")


def fill_oxides(
    glazes: pd.DataFrame,
    recipes: pd.DataFrame | None = None,
    materials: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """The glazes with the chemistry of each worked out.

    Parameters
    ----------
    glazes : DataFrame
        Columns of ``glazes.csv``: `source` is recipe, analysis or jar.
    recipes, materials : DataFrame, optional
        Columns of ``recipes.csv`` and ``materials.csv``, as for `recipe_oxides_wt`.

    Returns
    -------
    DataFrame
        A copy with every oxide column present: recipes and analyses sum to 100, jars are NaN
        (their chemistry is not known). [wt %]

    Raises
    ------
    ValueError : as `recipe_oxides_wt` and `oxides_wt_array`, or if a recipe is missing.
    """
    oxides_wt = np.full((len(glazes), len(OXIDES)), np.nan)
    analysed = glazes["source"].eq("analysis").to_numpy()
    if analysed.any():
        oxides_wt[analysed] = oxides_wt_array(glazes.loc[analysed])
    mixed = glazes["source"].eq("recipe").to_numpy()
    if mixed.any():
        names = glazes.loc[mixed, "glaze"]
        used = None if recipes is None else recipes.loc[recipes["glaze"].isin(names)]
        given = set() if used is None else set(used["glaze"])
        missing = [name for name in names if name not in given]
        if used is None or missing:
            raise ValueError(f'glaze "{missing[0]}" has no recipe; add it to recipes.csv.')
        oxides_wt[mixed] = recipe_oxides_wt(used, materials).loc[names].to_numpy()
    others = glazes.drop(columns=[oxide for oxide in OXIDES if oxide in glazes.columns])
    chemistry = pd.DataFrame(oxides_wt, columns=list(OXIDES), index=glazes.index)
    return pd.concat([others, chemistry], axis=1)
