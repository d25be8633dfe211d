"""Bench of viscosity models on the same sources left out: pytest -m slow on this file.

Peers are refitted on each fold as the melt is; Lakatos et al. (1976) is used from its
published factors, on the rows within its own range.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import pytest
from refit import melt_fit, melt_measurements
from sklearn.ensemble import HistGradientBoostingRegressor
from sklearn.linear_model import Ridge
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import StandardScaler

from runpredict.physics import chemistry, melt, melt_features

FloatArray = npt.NDArray[np.float64]
LAKATOS = pd.read_csv(Path(__file__).parents[1] / "published" / "lakatos_1976.csv").set_index(
    "term"
)


def fractions_of(rows: pd.DataFrame) -> FloatArray:
    x = rows[list(melt_features.FITTED)].to_numpy(dtype=float)
    return np.asarray(x / x.sum(axis=1, keepdims=True))


def inverse_t(rows: pd.DataFrame, t0_k: float = 0.0) -> FloatArray:
    t_k = rows["temperature_c"].to_numpy(dtype=float) + melt.CELSIUS_ZERO_K
    return np.asarray(1000.0 / (t_k - t0_k))[:, None]


def linear_inputs(rows: pd.DataFrame) -> FloatArray:
    """Additive oxides, each with its own activation energy."""
    x, u = fractions_of(rows), inverse_t(rows)
    return np.hstack([x, x * u])


def quadratic_vft_inputs(rows: pd.DataFrame) -> FloatArray:
    """All products of two oxides, over T - T0 with one T0 (500 K)."""
    x, u = fractions_of(rows), inverse_t(rows, 500.0)
    pairs = np.triu_indices(x.shape[1])
    quadratic = np.hstack([x, x[:, pairs[0]] * x[:, pairs[1]]])
    return np.hstack([quadratic, quadratic * u])


def boosting_inputs(rows: pd.DataFrame) -> FloatArray:
    return np.hstack([fractions_of(rows), inverse_t(rows)])


PEERS: dict[str, tuple[Callable[[pd.DataFrame], FloatArray], Callable[[], Any]]] = {
    "linear": (linear_inputs, lambda: make_pipeline(StandardScaler(), Ridge(1.0))),
    "quadratic VFT": (quadratic_vft_inputs, lambda: Ridge(0.001)),
    "gradient boosting": (
        boosting_inputs,
        lambda: HistGradientBoostingRegressor(
            max_iter=600, learning_rate=0.06, max_leaf_nodes=24, random_state=0
        ),
    ),
}


def predict_left_out(
    rows: pd.DataFrame,
    fold: npt.NDArray[np.intp],
    inputs: Callable[[pd.DataFrame], FloatArray],
    model: Callable[[], Any],
) -> FloatArray:
    x, y = inputs(rows), rows["log10_viscosity"].to_numpy()
    predicted = np.empty(len(rows))
    for k in range(melt_measurements.FOLDS):
        seen = fold != k
        predicted[~seen] = model().fit(x[seen], y[seen]).predict(x[~seen])
    return predicted


def lakatos_isokoms_c(wt: pd.DataFrame) -> FloatArray:
    """Temperatures (n, 3) at which log10 viscosity (Pa s) is 1, 3 and 5. [°C]"""
    factors = LAKATOS[[f"c_at_log10_dpa_s_{level}" for level in (2, 4, 6)]]
    parts = 100.0 * wt.div(wt["SiO2"], axis=0)
    parts = parts.assign(constant=1.0, B2O3_squared=parts["B2O3"] ** 2)
    return parts[list(factors.index)].to_numpy() @ factors.to_numpy()


def lakatos(rows: pd.DataFrame) -> FloatArray:
    """Vogel-Fulcher-Tammann curve through its three isokoms; NaN outside its range."""
    molar = dict(zip(chemistry.OXIDES, chemistry.MOLAR_MASS_G_PER_MOL, strict=True))
    wt = rows[list(melt_features.FITTED)].mul([molar[o] for o in melt_features.FITTED], axis=1)
    wt = 100.0 * wt.div(wt.sum(axis=1), axis=0)
    ranges = LAKATOS.dropna(subset="low_wt")
    named = wt[list(ranges.index)]
    inside = ((named >= ranges["low_wt"]) & (named <= ranges["high_wt"])).all(axis=1)
    # Its own glasses made its factors: not left out for it.
    inside &= ~rows["author"].str.startswith("Lakatos")
    inside &= (wt["SiO2"] >= 50) & (wt["SiO2"] + named.sum(axis=1) > 98.0)
    t1, t3, t5 = lakatos_isokoms_c(wt).T
    # log10 η = a + b / (t - t0) through (t1, 1), (t3, 3), (t5, 5).
    t0 = (t1 * (t3 - t5) - t5 * (t1 - t3)) / ((t3 - t5) - (t1 - t3))
    b = 2.0 / (1.0 / (t3 - t0) - 1.0 / (t1 - t0))
    value = 1.0 + b / (rows["temperature_c"].to_numpy() - t0) - b / (t1 - t0)
    return np.where(inside, value, np.nan)


def test_lakatos_factors_give_its_own_worked_glass() -> None:
    """Its glass S1, table 1A: 1503.7, 1054.3 and 843.3 °C (second-hand transcription)."""
    wt = pd.DataFrame([{"SiO2": 77.02, "Al2O3": 0.19, "Na2O": 12.03, "K2O": 0.13, "CaO": 10.12}])
    wt = wt.reindex(columns=list(melt_features.FITTED), fill_value=0.0)
    np.testing.assert_allclose(lakatos_isokoms_c(wt)[0], [1503.7, 1054.3, 843.3], atol=0.6)


@pytest.mark.slow
@pytest.mark.parametrize("by", ["source", "family"])
def test_melt_is_better_than_its_peers(by: str, capsys: Any) -> None:
    data = melt_measurements.read_measurements()
    ours = melt_fit.cross_validate(data, by)
    fold = melt_measurements.assign_folds(getattr(data, by), data.present.sum(axis=1), 0)
    predicted = {"melt": ours.predicted}
    for name, (inputs, model) in PEERS.items():
        predicted[name] = predict_left_out(data.rows, fold[data.melt_of_row], inputs, model)
    tables = {name: melt_fit.score(data.rows, value) for name, value in predicted.items()}
    within = lakatos(data.rows)
    tables["Lakatos 1976, its range"] = melt_fit.score(data.rows, within)
    at_lakatos = np.where(np.isfinite(within), ours.predicted, np.nan)
    tables["melt, that range"] = melt_fit.score(data.rows, at_lakatos)
    bench = pd.concat(tables, names=["model"])
    with capsys.disabled():
        print(f"\nLeft out by {by}, log10 Pa s\n{bench.to_string()}")
    for name in PEERS:
        assert (tables["melt"]["rmse"] < tables[name]["rmse"]).all(), name
        assert (tables["melt"]["median"] < tables[name]["median"]).all(), name
    ours_there, theirs = tables["melt, that range"], tables["Lakatos 1976, its range"]
    assert ours_there.loc["all", "rmse"] < theirs.loc["all", "rmse"]
    # On the soda-lime glasses of its range it is as sharp as we are at the median.
    assert ours_there.loc["all", "median"] < 1.2 * theirs.loc["all", "median"]
