"""How well a log's model does on firings it has not seen, and how far to trust it.

The model is trained again without each of a few groups of firings and asked about them. What it
says there, beside the rules, decides the share each has in the answer, and how the odds are set
right.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import brier_score_loss, log_loss
from sklearn.model_selection import GroupKFold

from runpredict.features import Stacks, stacks_of
from runpredict.learned import (
    FOLD_DRAWS,
    FOLD_SWEEPS,
    Trained,
    Trial,
    chance_of_outcomes,
    learn,
    outcomes_of,
)
from runpredict.rules import RulesPredictor

Floats = NDArray[np.float64]

FOLDS = 5
CLIP = 0.002  # a chance is never scored as surer than this
CALIBRATION_TRUST = 300.0  # pieces at which the log's own calibration counts half
UNTESTED_SHARE = 0.5  # of the log's model, where there are too few firings to test it
RELIABILITY_BINS = 10


def _log_loss(past: Floats, chance: Floats) -> float:
    return float(log_loss(past, np.clip(chance, CLIP, 1.0 - CLIP), labels=[0, 1]))


@dataclass(frozen=True)
class _Held:
    """What was said of pieces held back: chance of each piece, and of each result seen."""

    learned: Floats
    rules: Floats
    learned_seen: Floats
    rules_seen: Floats
    coverage: float


def _out_of_fold(log: pd.DataFrame, stacks: Stacks, progress: Callable[[float], None]) -> _Held:
    """Ask models that have not seen a piece's firing about it."""
    n, k = stacks.present.shape
    folds = GroupKFold(n_splits=min(FOLDS, len(set(stacks.firing))))
    told = RulesPredictor().draws(stacks)
    outcomes = outcomes_of(log, stacks)
    chance, seen_chance, inside = np.full(n, np.nan), np.full((n, k), np.nan), []
    for i, (seen, held) in enumerate(folds.split(np.zeros(n), groups=stacks.firing)):
        rows = np.isin(stacks.piece_at, seen)
        studio = learn(log.loc[rows], stacks_of(stacks.rows.loc[rows]), FOLD_SWEEPS, FOLD_DRAWS)
        part = stacks.take(held)
        draws = studio.draws(part)
        chance[held] = draws.risk(part)[1]
        seen_chance[held] = chance_of_outcomes(draws, part, outcomes.take(held))
        low, high = np.quantile(1e3 * draws.runs_m(part), (0.05, 0.95), axis=2)
        run = outcomes.run_mm[held]
        hit = (run >= np.floor(low)) & (run <= np.ceil(high))
        inside.append(hit[~np.isnan(run)])
        progress((i + 1) / folds.get_n_splits())
    hits = np.concatenate(inside)
    return _Held(
        learned=chance,
        rules=told.risk(stacks)[1],
        learned_seen=seen_chance,
        rules_seen=chance_of_outcomes(told, stacks, outcomes),
        coverage=float(hits.mean()) if len(hits) else float("nan"),
    )


def _share(learned: Floats, rules: Floats) -> float:
    """Share of the log's model in the answer, from how likely each made the results seen.

    None where the rules made them likelier by one and a half standard errors or more, all where
    the log's model did by half of one, evenly in between: it starts from the same rules, and was
    tried with a part of the log alone.
    """
    gain = np.log(np.maximum(learned, CLIP)) - np.log(np.maximum(rules, CLIP))
    error = float(gain.std() / np.sqrt(len(gain))) if len(gain) else 0.0
    if error == 0.0:
        return UNTESTED_SHARE
    return float(np.clip(0.75 + 0.5 * gain.mean() / error, 0.0, 1.0))


def _calibration(past: Floats, chance: Floats) -> tuple[float, float]:
    """Shift and slope of the log odds, drawn toward none by few pieces."""
    if len(set(past)) < 2:
        return 0.0, 1.0
    clipped = np.clip(chance, CLIP, 1.0 - CLIP)
    odds = np.log(clipped / (1.0 - clipped))
    fitted = LogisticRegression(C=1.0).fit(odds[:, None], past)
    trust = len(past) / (len(past) + CALIBRATION_TRUST)
    slope = 1.0 + trust * (max(float(fitted.coef_[0, 0]), 0.2) - 1.0)
    return trust * float(fitted.intercept_[0]), slope


def reliability(past: Floats, chance: Floats) -> pd.DataFrame:
    """Predicted against seen, in ten bins of the predicted chance.

    Parameters
    ----------
    past, chance : ndarray, shape (n,)

    Returns
    -------
    DataFrame
        predicted (mean chance), seen (share that passed), pieces; one row a bin that is not empty.
    """
    bins = np.minimum((chance * RELIABILITY_BINS).astype(int), RELIABILITY_BINS - 1)
    table = pd.DataFrame({"bin": bins, "predicted": chance, "seen": past})
    return table.groupby("bin").agg(
        predicted=("predicted", "mean"), seen=("seen", "mean"), pieces=("seen", "size")
    )


def _silent(_: float) -> None:
    """Tell nobody how far training is."""


def train(
    log: pd.DataFrame,
    stacks: Stacks,
    progress: Callable[[float], None] | None = None,
) -> tuple[Trained, Trial | None]:
    """The predictor of a log, tried out.

    Parameters
    ----------
    log : DataFrame
        Layers with results, in the order of the rows the stacks were made of.
    stacks : Stacks
    progress : callable (share done), optional

    Returns
    -------
    Trained
        The predictor.
    Trial or None
        None where there are too few firings with a result to hold any back.
    """
    said = progress if progress is not None else _silent
    studio = learn(log, stacks, progress=lambda done: said(0.4 * done))
    outcomes = outcomes_of(log, stacks)
    usable = ~np.isnan(outcomes.past)
    firings = len(set(stacks.firing[usable]))
    if firings < 2:
        return Trained(studio, UNTESTED_SHARE), None
    held = _out_of_fold(log, stacks, lambda done: said(0.4 + 0.6 * done))
    seen = ~np.isnan(held.learned_seen)
    share = _share(held.learned_seen[seen], held.rules_seen[seen])
    past, learned, rules = outcomes.past[usable], held.learned[usable], held.rules[usable]
    pool = share * learned + (1.0 - share) * rules
    calibration = _calibration(past, pool) if share > 0 else (0.0, 1.0)
    trained = Trained(studio, share, calibration)
    answered = trained.calibrated(pool)
    base = np.full(len(past), past.mean())
    chances = {"learned": learned, "rules": rules, "blend": answered, "base rate": base}
    scores = pd.DataFrame(
        {
            "log_loss": {name: _log_loss(past, chance) for name, chance in chances.items()},
            "brier": {
                name: float(brier_score_loss(past, np.clip(chance, 0, 1), labels=[0, 1]))
                for name, chance in chances.items()
            },
        }
    )
    trial = Trial(len(past), firings, scores, reliability(past, answered), held.coverage)
    return trained, trial
