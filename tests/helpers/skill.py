"""General learners on the rows that the tool is given, to hold it against."""

import warnings

import numpy as np
import pandas as pd
from sklearn.calibration import CalibratedClassifierCV
from sklearn.ensemble import GradientBoostingClassifier, RandomForestClassifier
from sklearn.exceptions import ConvergenceWarning
from sklearn.gaussian_process import GaussianProcessClassifier
from sklearn.gaussian_process.kernels import RBF, ConstantKernel
from sklearn.linear_model import LogisticRegression
from sklearn.model_selection import GridSearchCV
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import StandardScaler

from helpers.judge import outcomes_of
from runpredict import build_features

MOST_LAYERS = 3
FOLDS = 3
MOST_GAUSSIAN = 300  # newest pieces a Gaussian process learns from: its cost is their cube
NUMBERS = [
    "coats", "hold_min", "wall_deg", "foot_mm", "lower_edge_mm", "upper_edge_mm", "thickness_mm",
    "thickness_measured", "peak_c", "viscosity_log10_pa_s", "chemistry_known", "mobility_per_m",
    "alkali_mol", "alkaline_earth_mol", "zinc_mol", "B2O3_per_flux_mol", "Al2O3_per_flux_mol",
    "SiO2_per_flux_mol",
]  # fmt: skip
LOGGED = ["mobility_per_m", "thickness_mm", "lower_edge_mm", "upper_edge_mm"]
WORDS = ["glaze", "body", "method", "behaviour"]


def piece_rows(log, plan, glazes, others):
    """Numbers of each piece, one row a piece: `build_features`, its layers side by side.

    Returns
    -------
    DataFrame for the log, DataFrame for the plan, of the same columns, in the order of pieces
    """
    both = pd.concat([log.assign(part=0), plan.assign(part=1)], ignore_index=True)
    rows = build_features(both.drop(columns="part"), glazes, **others)
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


def peers(rarer):
    """General learners as a careful analyst would set them up, by name.

    Parameters
    ----------
    rarer : int
        Pieces of the rarer outcome; each fold has one at least.
    """
    folds = min(FOLDS, rarer)
    kernel = ConstantKernel(1.0) * RBF(10.0)
    return {
        "logistic regression": make_pipeline(
            StandardScaler(),
            GridSearchCV(
                LogisticRegression(max_iter=3000),
                {"C": [0.003, 0.01, 0.03, 0.1, 0.3, 1.0]},
                scoring="neg_log_loss",
                cv=folds,
            ),
        ),
        "gradient boosting": CalibratedClassifierCV(
            GradientBoostingClassifier(
                n_estimators=120, max_depth=2, learning_rate=0.08, subsample=0.7, random_state=0
            ),
            cv=folds,
        ),
        "random forest": RandomForestClassifier(
            400, min_samples_leaf=2, max_features=0.3, random_state=0
        ),
        "gaussian process": make_pipeline(
            StandardScaler(), GaussianProcessClassifier(kernel, random_state=0)
        ),
    }


def peer_chances(log, plan, glazes, others):
    """What the base rate and each peer tell of every planned piece.

    Parameters
    ----------
    log : DataFrame
        Layers with results.
    plan, glazes : DataFrame
    others : dict of recipes, materials and schedules

    Returns
    -------
    dict : name -> (n,) chances, in the order of the plan
    """
    known, asked = piece_rows(log, plan, glazes, others)
    outcome = outcomes_of(log)
    one_guess = np.full(len(asked), (outcome.sum() + 0.5) / (len(outcome) + 1.0))
    told = {"base rate": one_guess}
    for name, learner in peers(max(2, min(outcome.sum(), (~outcome).sum()))).items():
        rows = slice(-MOST_GAUSSIAN if name == "gaussian process" else 0, None)
        if min(outcome[rows].sum(), (~outcome[rows]).sum()) < 2:
            told[name] = one_guess  # there is nothing to learn a difference from
            continue
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", ConvergenceWarning)
            learner.fit(known.to_numpy()[rows], outcome[rows])
        told[name] = learner.predict_proba(asked.to_numpy())[:, 1]
    return told
