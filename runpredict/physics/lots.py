"""How far a glaze shifts because lots of its raw materials differ."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from runpredict.arrays import Floats
from runpredict.datafiles import OXIDES
from runpredict.physics.chemistry import MOLAR_MASS_G_PER_MOL, ingredient_oxides
from runpredict.physics.melt import MeltCurve, melt_curve
from runpredict.physics.solids import Solids

_STEP = 0.02  # share by which an oxide is changed to see what it does; our choice


def _t3_per_log_oxide(oxides: Floats) -> Floats:
    """By how much the temperature of log10 viscosity 3 moves with the log of each oxide.

    Parameters
    ----------
    oxides : ndarray, shape (n, 24). Any weight.

    Returns
    -------
    ndarray, shape (n, 24). [°C]
    """
    moles = oxides / MOLAR_MASS_G_PER_MOL
    base = melt_curve(moles / moles.sum(axis=1, keepdims=True)).t3_k
    slopes = np.zeros_like(moles)
    for column in range(moles.shape[1]):
        has = moles[:, column] > 0
        if not has.any():
            continue
        more = moles[has].copy()
        more[:, column] *= np.exp(_STEP)
        t3_k = melt_curve(more / more.sum(axis=1, keepdims=True)).t3_k
        slopes[has, column] = (t3_k - base[has]) / _STEP
    return slopes


def lot_spread_c(recipes: pd.DataFrame, materials: pd.DataFrame | None = None) -> pd.Series[float]:
    """Standard error of where a glaze melts, from lots of its materials that differ.

    Parameters
    ----------
    recipes, materials : DataFrame
        As for `chemistry.recipe_oxides_wt`; each recipe leaves a melt.

    Returns
    -------
    Series, index `glaze`
        Standard deviation of the temperature at which log10 viscosity (Pa s) is 3. [°C]

    Raises
    ------
    ValueError : as `chemistry.recipe_oxides_wt`.

    Notes
    -----
    To first order. Of each material the logs of its oxides, and of what it loses on firing,
    differ from lot to lot by `lot_spread_pct`, each by itself, and are then brought to the total
    they had (a log-normal closed to its sum). Lots of different materials have nothing to do with
    each other; two lines of one material are one lot.

    References
    ----------
    Aitchison (1986), The Statistical Analysis of Compositional Data, ch. 6; from memory.
    """
    lines = ingredient_oxides(recipes, materials)
    lines = lines.groupby(["glaze", "material"], sort=False).agg(
        {**dict.fromkeys([*OXIDES, "lost"], "sum"), "lot_spread_pct": "first"}
    )
    glaze, names = pd.factorize(lines.index.get_level_values("glaze"))
    oxides = lines[list(OXIDES)].to_numpy(dtype=np.float64)
    fired = np.zeros((len(names), len(OXIDES)))
    np.add.at(fired, glaze, oxides)
    share = np.divide(oxides, fired[glaze], out=np.zeros_like(oxides), where=fired[glaze] > 0)
    pull = _t3_per_log_oxide(fired)[glaze] * share
    parts = np.column_stack([oxides, lines["lost"].to_numpy(dtype=np.float64)])
    total = np.maximum(parts.sum(axis=1, keepdims=True), np.finfo(float).tiny)
    closed = np.column_stack([pull, np.zeros(len(pull))]) - pull.sum(axis=1)[:, None] * (
        parts / total
    )
    spread = 0.01 * lines["lot_spread_pct"].to_numpy(dtype=np.float64)
    variance = np.bincount(glaze, spread**2 * (closed**2).sum(axis=1), minlength=len(names))
    return pd.Series(np.sqrt(variance), index=pd.Index(names, name="glaze"))


def lot_sd_log10(curve: MeltCurve, spread_c: ArrayLike) -> Floats:
    """Standard error of log10 viscosity from the lots of a glaze's materials.

    Parameters
    ----------
    curve : MeltCurve of n melts
    spread_c : array_like, shape (n,)
        As `lot_spread_c` returns. [°C]

    Returns
    -------
    ndarray, shape (n,)
        In log10 of Pa s, where log10 viscosity is 3; the same at every temperature, so that a
        hotter firing never becomes safer by it.
    """
    per_c = curve.steepness * (3.0 - curve.limit_log10) / curve.t3_k
    return per_c * np.asarray(spread_c, dtype=np.float64)


def viscosity_at(
    curve: MeltCurve, in_melt: Solids, spread_c: ArrayLike, temperature_c: ArrayLike
) -> tuple[Floats, Floats]:
    """Viscosity of glazes with what is not molten in them, and how sure it is from lot to lot.

    Parameters
    ----------
    curve : MeltCurve of n glazes
    in_melt : Solids of n glazes
    spread_c : array_like, shape (n,)
        As `lot_spread_c` returns. [°C]
    temperature_c : array_like, shape (m,), (n, 1) or (n, m)
        [°C]

    Returns
    -------
    log10, sd : ndarray, shape (n, m)
        Log10 of Pa s, and its standard error.
    """
    log10 = curve.log10_pa_s(temperature_c) + in_melt.shift_at(temperature_c)
    sd = np.hypot(curve.sd_at(temperature_c), in_melt.sd_at(temperature_c))
    return log10, np.hypot(sd, lot_sd_log10(curve, spread_c)[:, None])
