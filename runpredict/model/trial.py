"""How well a log's model does on firings it has not seen, and how far to trust it.

The model is trained again without each of a few groups of firings and asked about them. What it
says there, beside the rules, decides the share each has in the answer, and how the odds are set
right.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import brier_score_loss, log_loss
from sklearn.model_selection import GroupKFold

from runpredict.arrays import AnyArray, Floats
from runpredict.model import rules
from runpredict.model.features import Stacks, stacks_of
from runpredict.model.learned import (
    FOLD_DRAWS,
    FOLD_SWEEPS,
    HeldBack,
    Outcomes,
    Trained,
    Trial,
    chance_of_outcomes,
    learn,
    outcomes_of,
    shares_of_draws,
)

FOLDS = 5
CLIP = 0.002  # a chance is never scored as surer than this
CALIBRATION_TRUST = 300.0  # pieces at which the log's own calibration counts half
UNTESTED_SHARE = 0.75  # of the log's model, where there are too few firings to test it
LEAST_FIRINGS = 3
RELIABILITY_BINS = 10


def _log_loss(past: Floats, chance: Floats) -> float:
    return float(log_loss(past, np.clip(chance, CLIP, 1.0 - CLIP), labels=[0, 1]))


@dataclass(frozen=True)
class _Told:
    """What one model said of n pieces it had not seen.

    Attributes
    ----------
    piece, layer : ndarray, shape (n,), (n, k)
        Chance of passing the foot.
    seen : ndarray, shape (n, k)
        Chance of each result, see `chance_of_outcomes`.
    runs_mm : ndarray, shape (n, k, draws)
    """

    piece: Floats
    layer: Floats
    seen: Floats
    runs_mm: NDArray[np.float32]


def _told(draws: rules.Draws, stacks: Stacks, outcomes: Outcomes) -> _Told:
    layer, piece = draws.risk(stacks)
    runs_mm = (1e3 * draws.runs_m(stacks)).astype(np.float32)
    return _Told(piece, layer, chance_of_outcomes(draws, stacks, outcomes), runs_mm)


def _out_of_fold(
    log: pd.DataFrame, stacks: Stacks, outcomes: Outcomes, progress: Callable[[float], None]
) -> _Told:
    """Ask models that have not seen a piece's firing about it."""
    n = len(stacks.present)
    folds = GroupKFold(n_splits=min(FOLDS, len(set(stacks.firing))))
    parts, order = [], []
    for i, (seen, held) in enumerate(folds.split(np.zeros(n), groups=stacks.firing)):
        rows = np.isin(stacks.piece_at, seen)
        studio = learn(log.loc[rows], stacks_of(stacks.rows.loc[rows]), FOLD_SWEEPS, FOLD_DRAWS)
        part = stacks.take(held)
        parts.append(_told(studio.draws(part), part, outcomes.take(held)))
        order.append(held)
        progress((i + 1) / folds.get_n_splits())
    place = np.argsort(np.concatenate(order))

    def joined(name: str) -> AnyArray:
        return np.concatenate([getattr(part, name) for part in parts])[place]

    return _Told(*(joined(field.name) for field in fields(_Told)))


def _held_back(learned: _Told, told: _Told, trained: Trained) -> HeldBack:
    """What the predictor would have answered about each piece."""
    share = trained.share
    counts = shares_of_draws(share, FOLD_DRAWS)
    runs_mm = np.concatenate(
        [
            said.runs_mm[..., rules.evenly(said.runs_mm.shape[2], count)]
            for said, count in zip((learned, told), counts, strict=True)
        ],
        axis=2,
    )
    return HeldBack(
        risk=trained.calibrated(share * learned.piece + (1.0 - share) * told.piece),
        layer_risk=trained.calibrated(share * learned.layer + (1.0 - share) * told.layer),
        runs_mm=rules.run_quantiles(runs_mm),
    )


def _coverage(held: HeldBack, run_mm: Floats) -> float:
    """Share of measured runs within the range told for them."""
    measured = ~np.isnan(run_mm)
    inside = rules.within_range(run_mm, held.runs_mm[..., 0], held.runs_mm[..., 2])
    return float(inside[measured].mean()) if measured.any() else float("nan")


def _share(learned: Floats, told: Floats) -> float:
    """Share of the log's model in the answer, from how likely each made the results seen.

    None where the rules made them likelier by one and a half standard errors or more, all where
    the log's model did by half of one, evenly in between: it starts from the same rules, and was
    tried with a part of the log alone.
    """
    gain = np.log(np.maximum(learned, CLIP)) - np.log(np.maximum(told, CLIP))
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
    if firings < LEAST_FIRINGS:
        said(1.0)
        return Trained(studio, UNTESTED_SHARE), None
    learned = _out_of_fold(log, stacks, outcomes, lambda done: said(0.4 + 0.6 * done))
    told = _told(rules.RulesPredictor().draws(stacks), stacks, outcomes)
    seen = ~np.isnan(learned.seen)
    share = _share(learned.seen[seen], told.seen[seen])
    past = outcomes.past[usable]
    pool = (share * learned.piece + (1.0 - share) * told.piece)[usable]
    calibration = _calibration(past, pool) if share > 0 else (0.0, 1.0)
    trained = Trained(studio, share, calibration)
    held = _held_back(learned, told, trained)
    answered = held.risk[usable]
    chances = {
        "learned": learned.piece[usable],
        "rules": told.piece[usable],
        "blend": answered,
        "base rate": np.full(len(past), past.mean()),
    }
    scores = pd.DataFrame(
        {
            "log_loss": {name: _log_loss(past, chance) for name, chance in chances.items()},
            "brier": {
                name: float(brier_score_loss(past, np.clip(chance, 0, 1), labels=[0, 1]))
                for name, chance in chances.items()
            },
        }
    )
    trial = Trial(
        pieces=len(past),
        firings=firings,
        scores=scores,
        reliability=reliability(past, answered),
        interval_coverage=_coverage(held, outcomes.run_mm),
        held=held,
    )
    return trained, trial
