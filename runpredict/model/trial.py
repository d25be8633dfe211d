"""How well a log's model does on firings it has not seen, and how far to trust it.

The model is fitted again without each of a few groups of firings and asked about them. What it
says there, beside the rules, decides the share each has in the answer, and how the odds are set
right. Both move smoothly with every result.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.optimize import minimize
from sklearn.metrics import brier_score_loss, log_loss

from runpredict.arrays import Bools, Floats, Indices
from runpredict.model import laplace, rules
from runpredict.model.chances import RUN_LEVELS, Blend, Chances, within_range
from runpredict.model.learned import HeldBack, Margins, Studio, Trained, Trial, learn, taught
from runpredict.model.outcomes import Outcomes
from runpredict.model.stacks import Stacks

FOLDS = 5
CLIP = 0.002  # a chance is never scored as surer than this
# Pieces that the expectation of no shift and no stretch counts for. Our choice.
SHIFT_TRUST, STRETCH_TRUST = 12.0, 20.0
# Results that the log's model and the rules are given beforehand: it starts from the same rules.
LEARNED_TRUST, RULES_TRUST = 6.0, 2.0
LEAST_FIRINGS = 3
RELIABILITY_BINS = 10
MOST_SHARE = 0.999


def folds_of(stacks: Stacks, pieces: Bools) -> Indices:
    """Number of the fold of each piece; a firing is never split, -1 for pieces left out.

    Firings are dealt out by what was in them and never by name or place in the log, so that the
    same log in another order is tried in the same way.
    """
    names, firing = np.unique(stacks.firing.astype(str), return_inverse=True)
    sums = np.stack([stacks.lower_m.sum(axis=1), stacks.upper_m.sum(axis=1)], axis=1)
    of_firing = np.zeros((len(names), 3))
    np.add.at(of_firing, firing, np.column_stack([pieces, sums * pieces[:, None]]))
    order = np.lexsort(np.round(of_firing, 6).T[::-1])
    used = order[of_firing[order, 0] > 0]
    fold = np.full(len(names), -1, dtype=np.intp)
    fold[used] = np.arange(len(used)) % FOLDS
    return np.where(pieces, fold[firing], -1)


def _held_studios(
    margins: Margins, fitted: laplace.Fitted, stacks: Stacks, fold: Indices
) -> list[Studio]:
    """What the log would have taught without each fold."""
    studios = []
    for number in range(FOLDS):
        kept = fold[margins.piece] != number
        again = laplace.refit(margins.only(kept), margins.prior, fitted)
        studio = taught(margins, again, stacks)
        studios.append(studio)
    return studios


@dataclass(frozen=True)
class _Told:
    """What one model said of n pieces: of each, of each layer (n, k), and of runs (n, k, 3)."""

    piece: Floats
    layer: Floats
    runs_mm: Floats


def _told(chances: Chances | Blend, stacks: Stacks) -> _Told:
    layer, piece = chances.risk(stacks)
    return _Told(piece, layer, 1e3 * chances.run_quantiles_m(stacks))


def _held_back(studios: list[Studio], stacks: Stacks, fold: Indices) -> _Told:
    shape = stacks.present.shape
    found = _Told(np.zeros(shape[0]), np.zeros(shape), np.zeros((*shape, len(RUN_LEVELS))))
    for number, studio in enumerate(studios):
        mine = np.flatnonzero(fold == number)
        if not len(mine):
            continue
        part = stacks.take(mine)
        # A firing held back is not known by name.
        told = _told(_unnamed(studio, part), part)
        found.piece[mine], found.layer[mine] = told.piece, told.layer
        found.runs_mm[mine] = told.runs_mm
    return found


def _unnamed(studio: Studio, stacks: Stacks) -> Chances:
    return studio.chances(replace(stacks, firing=np.full(len(stacks.firing), None, dtype=object)))


def _odds(chance: Floats) -> Floats:
    clipped = np.clip(chance, 1e-4, 1.0 - 1e-4)
    return np.log(clipped / (1.0 - clipped))


def _calibration(past: Floats, chance: Floats) -> tuple[float, float]:
    """Shift and slope of the log odds, drawn toward none by few pieces."""
    odds = _odds(chance)

    def loss(at: Floats) -> float:
        margin = at[0] + np.exp(at[1]) * odds
        log = np.logaddexp(0.0, np.where(past > 0, -margin, margin))
        return float(log.sum() + 0.5 * (SHIFT_TRUST * at[0] ** 2 + STRETCH_TRUST * at[1] ** 2))

    close = {"xatol": 1e-7, "fatol": 1e-9}
    found = minimize(loss, np.zeros(2), method="Nelder-Mead", options=close)
    return float(found.x[0]), float(np.exp(found.x[1]))


def _share(past: Floats, learned: Floats, told: Floats) -> float:
    """Weight of the log's model that makes the results held back likeliest."""
    mine = np.clip(np.where(past > 0, learned, 1.0 - learned), CLIP, 1.0)
    theirs = np.clip(np.where(past > 0, told, 1.0 - told), CLIP, 1.0)
    share = LEARNED_TRUST / (LEARNED_TRUST + RULES_TRUST)
    for _ in range(500):
        belongs = share * mine / (share * mine + (1.0 - share) * theirs)
        after = (belongs.sum() + LEARNED_TRUST) / (len(past) + LEARNED_TRUST + RULES_TRUST)
        if abs(after - share) < 1e-9:
            break
        share = after
    return float(min(share, MOST_SHARE))


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


def _scores(past: Floats, chances: dict[str, Floats]) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "log_loss": {
                name: float(log_loss(past, np.clip(chance, CLIP, 1.0 - CLIP), labels=[0, 1]))
                for name, chance in chances.items()
            },
            "brier": {
                name: float(brier_score_loss(past, np.clip(chance, 0, 1), labels=[0, 1]))
                for name, chance in chances.items()
            },
        }
    )


def _silent(_: float) -> None:
    """Tell nobody how far training is."""


def train(
    stacks: Stacks, outcomes: Outcomes, progress: Callable[[float], None] | None = None
) -> tuple[Trained, Trial | None]:
    """The predictor of a log, tried out.

    Parameters
    ----------
    stacks : Stacks
    outcomes : Outcomes
    progress : callable (share done), optional

    Returns
    -------
    Trained
        The predictor.
    Trial or None
        None where there are too few firings with a result to hold any back.
    """
    said = progress if progress is not None else _silent
    studio, margins, fitted = learn(stacks, outcomes, lambda done: said(0.8 * done))
    usable = ~np.isnan(outcomes.past)
    firings = len(set(stacks.firing[usable]))
    untried = LEARNED_TRUST / (LEARNED_TRUST + RULES_TRUST)
    if firings < LEAST_FIRINGS:
        said(1.0)
        return Trained(studio, untried), None
    fold = folds_of(stacks, usable)
    learned = _held_back(_held_studios(margins, fitted, stacks, fold), stacks, fold)
    told = _told(rules.RulesPredictor().chances(stacks), stacks)
    past = outcomes.past[usable]
    trained = _trusted(studio, past, learned.piece[usable], told.piece[usable])
    said(1.0)
    return trained, _trial(trained, stacks, outcomes, learned, told, (margins, fitted))


def _trusted(studio: Studio, past: Floats, learned: Floats, told: Floats) -> Trained:
    calibration = _calibration(past, learned)
    trained = Trained(studio, 1.0, calibration)
    return Trained(studio, _share(past, trained.calibrated(learned), told), calibration)


def _trial(
    trained: Trained,
    stacks: Stacks,
    outcomes: Outcomes,
    learned: _Told,
    told: _Told,
    fit: tuple[Margins, laplace.Fitted],
) -> Trial:
    share = trained.share

    def blend(mine: Floats, theirs: Floats) -> Floats:
        return share * trained.calibrated(mine) + (1.0 - share) * theirs

    held = HeldBack(
        risk=blend(learned.piece, told.piece),
        layer_risk=blend(learned.layer, told.layer),
        runs_mm=share * learned.runs_mm + (1.0 - share) * told.runs_mm,
    )
    usable = ~np.isnan(outcomes.past)
    past = outcomes.past[usable]
    doubted = np.full(stacks.present.shape, np.nan)
    margins, fitted = fit
    doubted[margins.piece, margins.edge] = fitted.weight
    measured = ~np.isnan(outcomes.run_mm)
    inside = within_range(outcomes.run_mm, held.runs_mm[..., 0], held.runs_mm[..., 2])
    return Trial(
        pieces=len(past),
        firings=len(set(stacks.firing[usable])),
        scores=_scores(
            past,
            {
                "learned": trained.calibrated(learned.piece[usable]),
                "rules": told.piece[usable],
                "blend": held.risk[usable],
                "base rate": np.full(len(past), past.mean()),
            },
        ),
        reliability=reliability(past, held.risk[usable]),
        interval_coverage=float(inside[measured].mean()) if measured.any() else float("nan"),
        held=held,
        doubted=doubted,
    )
