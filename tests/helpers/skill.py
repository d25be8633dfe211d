"""Skill of the tool and of general learners on the same rows, and the scores they get."""

import warnings

import numpy as np
import pandas as pd
from sklearn.calibration import CalibratedClassifierCV
from sklearn.ensemble import GradientBoostingClassifier, RandomForestClassifier
from sklearn.exceptions import ConvergenceWarning
from sklearn.gaussian_process import GaussianProcessClassifier
from sklearn.gaussian_process.kernels import RBF, ConstantKernel
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import brier_score_loss, log_loss, roc_auc_score
from sklearn.model_selection import GridSearchCV
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import StandardScaler

from runpredict import check
from runpredict.model.features import features_of
from runpredict.tables.plan import check_plan

CLIP = 0.002
BINS = 10
MOST_LAYERS = 2
NUMBERS = [
    "coats", "hold_min", "wall_deg", "foot_mm", "lower_edge_mm", "upper_edge_mm", "thickness_mm",
    "thickness_measured", "peak_c", "viscosity_log10_pa_s", "chemistry_known", "mobility_per_m",
    "alkali_mol", "alkaline_earth_mol", "zinc_mol", "B2O3_per_flux_mol", "Al2O3_per_flux_mol",
    "SiO2_per_flux_mol",
]  # fmt: skip
LOGGED = ["mobility_per_m", "thickness_mm", "lower_edge_mm", "upper_edge_mm"]
WORDS = ["glaze", "body", "method", "behaviour"]


def scores(past, chance, oracle=None):
    """Every score of one set of chances, as a dict."""
    clipped = np.clip(chance, CLIP, 1 - CLIP)
    bins = np.minimum((clipped * BINS).astype(int), BINS - 1)
    groups = [bins == b for b in np.unique(bins)]
    off = sum(abs(clipped[g].mean() - past[g].mean()) * g.sum() for g in groups) / len(past)
    found = {
        "log_loss": log_loss(past, clipped, labels=[0, 1]),
        "brier": brier_score_loss(past, clipped, labels=[0, 1]),
        "auc": roc_auc_score(past, clipped),
        "calibration_error": off,
    }
    if oracle is not None:
        best = log_loss(past, np.clip(oracle, CLIP, 1 - CLIP), labels=[0, 1])
        found["regret"] = found["log_loss"] - best
    return found


def piece_rows(log, plan, glazes):
    """Numbers of each piece, one row a piece: `build_features`, its layers side by side.

    Returns
    -------
    DataFrame for the log, DataFrame for the plan, of the same columns, in the order of pieces
    """
    both = pd.concat([log.assign(part=0), plan.assign(part=1)], ignore_index=True)
    tables = check_plan(both.drop(columns="part"), glazes)
    rows = features_of(tables.plan, tables.glazes, tables.schedules)
    rows = rows.assign(part=both["part"].to_numpy(), behaviour=rows["behaviour"].fillna(""))
    numbers = rows[NUMBERS].astype(float)
    numbers[LOGGED] = np.log(numbers[LOGGED].clip(lower=1e-12))
    encoded = pd.concat([numbers, pd.get_dummies(rows[WORDS].astype(str), dtype=float)], axis=1)
    piece = rows.groupby(["part", "firing", "piece"], sort=False).ngroup()
    wide = pd.concat(
        [
            encoded.loc[rows["layer"] == layer]
            .set_axis(piece.loc[rows["layer"] == layer], axis=0)
            .add_prefix(f"{layer}: ")
            for layer in range(1, MOST_LAYERS + 1)
        ],
        axis=1,
    ).sort_index()
    wide["layers"] = piece.value_counts().sort_index()
    wide = wide.fillna(0.0)
    part = rows["part"].groupby(piece).first()
    return wide.loc[part == 0], wide.loc[part == 1]


def peers():
    """General learners as a careful analyst would set them up, by name."""
    kernel = ConstantKernel(1.0) * RBF(10.0)
    return {
        "logistic regression": make_pipeline(
            StandardScaler(),
            GridSearchCV(
                LogisticRegression(max_iter=3000),
                {"C": [0.003, 0.01, 0.03, 0.1, 0.3, 1.0]},
                scoring="neg_log_loss",
                cv=3,
            ),
        ),
        "gradient boosting": CalibratedClassifierCV(
            GradientBoostingClassifier(
                n_estimators=120, max_depth=2, learning_rate=0.08, subsample=0.7, random_state=0
            ),
            cv=3,
        ),
        "random forest": RandomForestClassifier(
            400, min_samples_leaf=2, max_features=0.3, random_state=0
        ),
        "gaussian process": make_pipeline(
            StandardScaler(), GaussianProcessClassifier(kernel, random_state=0)
        ),
    }


def compare(log, plan, glazes, past, oracle=None):
    """Scores of the tool, the base rate and each peer, one row each.

    Parameters
    ----------
    log : DataFrame
        Layers with results; without rows for no log.
    plan, glazes : DataFrame
    past, oracle : ndarray, one entry a planned piece in the order of the plan
    """
    told = {"runpredict": check(plan, glazes, log if len(log) else None).pieces["risk"].to_numpy()}
    if len(log):
        known, asked = piece_rows(log, plan, glazes)
        outcome = log["past_foot"].eq("yes").groupby(
            [log["firing"], log["piece"]], sort=False
        ).any().to_numpy()  # fmt: skip
        told["base rate"] = np.full(len(past), outcome.mean())
        for name, learner in peers().items():
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", ConvergenceWarning)
                learner.fit(known.to_numpy(), outcome)
            told[name] = learner.predict_proba(asked.to_numpy())[:, 1]
    else:
        told["base rate"] = np.full(len(past), past.mean())
    return pd.DataFrame({name: scores(past, chance, oracle) for name, chance in told.items()}).T
