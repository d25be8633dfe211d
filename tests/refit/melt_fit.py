"""Refit the melt's coefficients: ``python -m refit.melt_fit`` from the folder ``tests``.

Fits the nets of `melt` to melt_viscosity_open.csv.xz, checks them on sources left out, fits
the error to what they miss there, and writes runpredict/data/melt_coefficients.npz. Needs a few
minutes on one core. Not part of the package that is installed.
"""

from __future__ import annotations

import os
import sys
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from scipy.optimize import minimize

from refit.melt_measurements import (
    FOLDS,
    SOURCE_POWER,
    Measurements,
    assign_folds,
    reach_of,
    read_measurements,
)
from refit.melt_training import EPOCHS, MEMBERS, FeatureScale, forward, train
from runpredict.arrays import Bools, Floats
from runpredict.physics import melt, melt_nets

COEFFICIENTS = Path(melt.__file__).parents[1] / "data" / "melt_coefficients.npz"

SUBSETS = ("all", "boron", "zinc", "lithium", "1000-1250", "unity_range")
# Student-t tails of what held-out nets miss; bounds of the part that is the same for all
# (laboratories agree no better) and of the part that grows with change.
ERROR_DOF = 3.0
ERROR_SD_MIN = 0.05
ERROR_SHARE_MAX = 0.1
COVERAGES = (0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.98, 0.99)


@dataclass(frozen=True)
class HeldOut:
    """Predictions for rows whose source (or family) the nets had not seen.

    Attributes
    ----------
    by : {"source", "family"}
    rows : DataFrame
        As in `Measurements`.
    predicted : ndarray, shape (rows,)
        log10 viscosity (Pa s).
    error_inputs : ndarray, shape (rows, q + 1)
        Those of `melt_nets.error_inputs`, then the change since the best known temperature.
    """

    by: str
    rows: pd.DataFrame
    predicted: Floats
    error_inputs: Floats

    def sd(self, parts: Floats) -> Floats:
        """Standard error of log10 viscosity, shape (rows,), by the parts of `fit_error`."""
        return np.sqrt((self.error_inputs**2) @ parts)

    @property
    def miss(self) -> Floats:
        """Predicted less measured log10 viscosity, shape (rows,)."""
        return self.predicted - self.rows["log10_viscosity"].to_numpy()


def cross_validate(
    data: Measurements,
    by: str,
    members: int = MEMBERS,
    epochs: int = EPOCHS,
    seed: int = 0,
) -> HeldOut:
    """Predict every row by nets that saw nothing of its source or family.

    Parameters
    ----------
    data : Measurements
    by : str
        "source" or "family".
    members, epochs, seed : int
        Nets averaged, passes over the data, seed of folds and nets.

    Returns
    -------
    HeldOut
    """
    fold = assign_folds(getattr(data, by), data.present.sum(axis=1), seed)
    f = FeatureScale.of(data.fitted).apply(data.fitted)
    w = train(data, f, fold != np.arange(FOLDS)[:, None], members, seed, epochs)
    n = len(fold)
    outputs = forward(w, f).reshape(FOLDS, members, n, 2)[fold, :, np.arange(n)]
    limit = w["limit"][::members][fold].astype(np.float64)
    t3_k, steepness = melt_nets.parameters(outputs.mean(axis=1).T)
    _, distance = melt_nets.reach(reach_of(data.fitted), data.fitted)
    spread = outputs.std(axis=1, ddof=1).T
    inputs = melt_nets.error_inputs(data.fitted, spread, steepness, limit, distance)

    def rows_at(t_k: Any) -> Floats:
        value = melt_nets.curve_log10(t3_k[:, None], steepness[:, None], limit[:, None], t_k)
        return np.broadcast_to(value, data.t_k.shape)[data.melt_of_row, data.place_of_row]

    predicted = rows_at(data.t_k)
    changed = predicted - rows_at(melt.BEST_KNOWN_C + melt.CELSIUS_ZERO_K)
    return HeldOut(by, data.rows, predicted, np.column_stack([inputs.T[data.melt_of_row], changed]))


def subset(rows: pd.DataFrame, name: str) -> Bools:
    """Which rows belong to a part of the data, one of `SUBSETS`; shape (rows,)."""
    mask = {
        "all": rows["SiO2"] > 0,
        "boron": rows["B2O3"] > 0.01,
        "zinc": rows["ZnO"] > 0.005,
        "lithium": rows["Li2O"] > 0.005,
        "1000-1250": rows["temperature_c"].between(1000, 1250),
        "unity_range": rows["unity_range"] == 1,
    }[name]
    return np.asarray(mask, dtype=bool)


def score(rows: pd.DataFrame, predicted: Floats, sd: Floats | None = None) -> pd.DataFrame:
    """How well log10 viscosity is predicted, by part of the data.

    Parameters
    ----------
    rows : DataFrame
    predicted : ndarray, shape (rows,)
        log10 viscosity (Pa s); rows of NaN are left out.
    sd : ndarray, shape (rows,), optional
        Standard error.

    Returns
    -------
    DataFrame
        Rows, RMSE, median absolute error and bias; with `sd`, also the share within 1.645 of it.
    """
    table = []
    known = np.isfinite(predicted)
    for name in SUBSETS:
        keep = subset(rows, name) & known
        miss = predicted[keep] - rows["log10_viscosity"].to_numpy()[keep]
        line: dict[str, object] = {
            "part": name,
            "rows": len(miss),
            "rmse": np.sqrt(np.mean(miss**2)),
            "median": np.median(np.abs(miss)),
            "bias": np.mean(miss),
        }
        if sd is not None:
            line["within_90"] = np.mean(np.abs(miss) <= 1.645 * sd[keep])
        table.append(line)
    return pd.DataFrame(table).set_index("part").round(3)


def fit_error(held_out: list[HeldOut]) -> tuple[Floats, Floats]:
    """Standard error from what held-out nets miss.

    Parameters
    ----------
    held_out : list of HeldOut

    Returns
    -------
    parts : ndarray, shape (q + 1,)
        Weights of the squares of `HeldOut.error_inputs`.
    quantiles : ndarray, shape (c,)
        |miss| / sd at `COVERAGES`.

    Notes
    -----
    The parts are fitted by Student-t likelihood to what held-out nets miss, every source
    counting as in the fit; then scaled so that 90 % of the rows lie within 1.645 sd.
    """
    inputs = np.concatenate([h.error_inputs for h in held_out])
    miss = np.concatenate([h.miss for h in held_out])
    source = np.concatenate([h.rows["source_id"].to_numpy() for h in held_out])
    weight = pd.Series(np.ones(len(source))).groupby(source).transform("sum").to_numpy()
    weight = weight**-SOURCE_POWER

    def loss(log_parts: Floats) -> float:
        variance = (inputs**2) @ np.exp(log_parts)
        tail = np.log1p(miss**2 / (ERROR_DOF * variance))
        term = np.log(variance) + (ERROR_DOF + 1.0) * tail
        return float(np.average(term, weights=weight))

    start = np.full(inputs.shape[1], np.log(0.01))
    bounds = [(-14.0, 4.0)] * len(start)
    bounds[0] = (2.0 * np.log(ERROR_SD_MIN), 4.0)
    bounds[-1] = (-14.0, 2.0 * np.log(ERROR_SHARE_MAX))
    parts = np.exp(minimize(loss, start, method="L-BFGS-B", bounds=bounds).x)
    z = np.abs(miss) / np.sqrt((inputs**2) @ parts)
    scale = float(np.quantile(z, 0.9)) / 1.645
    return parts * scale**2, np.quantile(z / scale, COVERAGES)


def fit_all(
    data: Measurements, held_out: list[HeldOut], members: int = MEMBERS, seed: int = 1
) -> melt_nets.Coefficients:
    """Nets on all the data, with the error and the numbers that say where the data end.

    Parameters
    ----------
    data : Measurements
    held_out : list of HeldOut
        What the error is fitted to.
    members, seed : int
        Nets, and seed of their start.

    Returns
    -------
    melt_nets.Coefficients
    """
    scale = FeatureScale.of(data.fitted)
    everything = np.ones((1, len(data.fitted)), dtype=bool)
    w = train(data, scale.apply(data.fitted), everything, members, seed)
    parts, quantiles = fit_error(held_out)
    return melt_nets.Coefficients(
        **asdict(reach_of(data.fitted)),
        limit_log10=float(w.pop("limit")[0]),
        centre=scale.centre,
        scale=scale.scale,
        error=parts[:-1],
        error_share=float(np.sqrt(parts[-1])),
        quantile_coverage=np.array(COVERAGES),
        quantile_z=quantiles,
        **w,  # type: ignore[arg-type]  # one name a weight
    )


def main() -> None:
    """Check on sources left out, fit, and write the coefficients."""
    data = read_measurements()
    held_out = [cross_validate(data, by) for by in ("source", "family")]
    parts, quantiles = fit_error(held_out)
    for h in held_out:
        print(f"Left out by {h.by}:\n{score(h.rows, h.predicted, h.sd(parts))}\n")
    print(f"Error parts {parts.round(5)}, |miss|/sd at {COVERAGES}: {quantiles.round(2)}")
    stored = asdict(fit_all(data, held_out))
    temporary = COEFFICIENTS.with_suffix(".part.npz")
    np.savez(temporary, **stored)
    os.replace(temporary, COEFFICIENTS)
    print(f"Wrote {COEFFICIENTS.name}.", file=sys.stderr)


if __name__ == "__main__":
    main()
