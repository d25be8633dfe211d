"""How well a log's model does on firings it has not seen, and how its margins are set right.

The model is learned again without each held-out fold of firings and asked about that fold. Its
answers set the calibration: a shift of all margins and a factor on their spread. Scores are of
folds that neither the model nor its calibration has seen.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.optimize import minimize
from sklearn.metrics import log_loss

from runpredict.arrays import Bools, Floats, Indices
from runpredict.model.chances import RUN_LEVELS, SIDES, Chances, within_range
from runpredict.model.cores import cores_for, on_cores, single_threaded
from runpredict.model.learned import Log, learn
from runpredict.model.mixture import MIX_SCALES, normal_below
from runpredict.model.outcomes import Outcomes
from runpredict.model.predictors import HeldOut, RulesPredictor, Trained, Trial
from runpredict.model.stacks import Stacks
from runpredict.model.studio import Studio

FOLDS = 5
CLIP = 0.002  # a chance is never scored as surer than this
# How far shift, natural log of mobility, and factor, natural log, are expected to be off: by
# little as a rule, now and then by a lot (a t distribution of so many degrees). Our choice.
SHIFT_SCALE, FACTOR_SCALE, DEGREES = 0.3, 0.1, 2.0
WRONG_WORDS = 0.002  # of results: a yes that is a no, or the other way round
LEAST_FIRINGS = 3
LEAST_SPLIT = 1000  # edges, from which folds on a second core save more than it takes
RELIABILITY_BINS = 10


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


@dataclass(frozen=True)
class _Ways:
    """Margins over the foot of m pieces, of the edge that gets there first.

    Attributes
    ----------
    weight, margin : ndarray, shape (m, q)
        As `Alike.ways`, with weight 0 where a piece has fewer.
    variance, noise : ndarray, shape (m,)
    mix : ndarray, shape (m, 3)
    """

    weight: Floats
    margin: Floats
    variance: Floats
    noise: Floats
    mix: Floats

    @classmethod
    def blank(cls, pieces: int, most: int) -> _Ways:
        """Room for so many pieces and ways."""
        wide, flat = (pieces, most), (pieces,)
        return cls(np.zeros(wide), np.zeros(wide), np.ones(flat), np.ones(flat),
                   np.zeros((pieces, len(MIX_SCALES))))  # fmt: skip

    def set(self, pieces: Indices, chances: Chances, stacks: Stacks) -> None:
        """What was told of some of the pieces."""
        for own, stack, part in chances.parts_of(stacks):
            at = pieces[own]
            weight, margin = (each.T for each in part.ways(stack))
            self.weight[at, : weight.shape[1]] = weight
            self.margin[at, : weight.shape[1]] = margin
            self.variance[at], self.noise[at], self.mix[at] = part.variance, part.noise, part.mix

    def passing(self, pieces: Indices | Bools, calibration: tuple[float, float]) -> Floats:
        """Chance that each of some pieces passes."""
        shift, factor = calibration
        variance, noise = self.variance[pieces], self.noise[pieces]
        sd = factor * np.sqrt(variance[:, None] + MIX_SCALES**2 * noise[:, None])
        below = normal_below((self.margin[pieces] + shift)[..., None] / sd[:, None])
        chance = (below * self.mix[pieces][:, None]).sum(axis=2)
        return np.asarray((self.weight[pieces] * chance).sum(axis=1), dtype=float)


def _calibration(ways: _Ways, past: Floats, pieces: Bools) -> tuple[float, float]:
    """Shift and factor by which some pieces were told best, drawn toward none by few."""
    seen = past[pieces] > 0

    def loss(at: Floats) -> float:
        chance = ways.passing(pieces, (float(at[0]), float(np.exp(at[1]))))
        chance = WRONG_WORDS + (1.0 - 2.0 * WRONG_WORDS) * chance
        log = np.log(np.where(seen, chance, 1.0 - chance))
        off = np.square(at / np.array([SHIFT_SCALE, FACTOR_SCALE]))
        return float(0.5 * (DEGREES + 1.0) * np.log1p(off / DEGREES).sum() - log.sum())

    close = {"xatol": 1e-7, "fatol": 1e-9}
    best = minimize(loss, np.zeros(2), method="Nelder-Mead", options=close)
    return float(best.x[0]), float(np.exp(best.x[1]))


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
                name: float(np.mean((np.clip(chance, 0.0, 1.0) - past) ** 2))
                for name, chance in chances.items()
            },
        }
    )


def _unnamed(studio: Studio, stacks: Stacks) -> Chances:
    """What a model says of firings held out, which it cannot know by name."""
    return studio.chances(replace(stacks, firing=np.full(len(stacks.firing), None, dtype=object)))


def _held_out(
    stacks: Stacks, log: Log, fold: Indices, number: int, start: Studio
) -> tuple[Indices, Stacks, Chances]:
    """The pieces of a fold, and what is told of them by a model that has not seen it."""
    with single_threaded():
        without = learn(stacks, log.only(fold[log.piece] != number), start).studio
        pieces = np.flatnonzero(fold == number)
        part = stacks.take(pieces)
        return pieces, part, _unnamed(without, part)


def _silent(_: float) -> None:
    """Tell nobody how far training is."""


def train(
    stacks: Stacks, outcomes: Outcomes, progress: Callable[[float], None] | None = None
) -> tuple[Trained, Trial | None]:
    """The predictor of a log, tried out.

    Parameters
    ----------
    progress : callable (share done), optional

    Returns
    -------
    Trained
        The predictor.
    Trial or None
        None where there are too few firings with a result to hold any out.
    """
    report = progress if progress is not None else _silent
    log = Log.of(stacks, outcomes)
    with single_threaded():
        learned = learn(stacks, log, progress=lambda done: report(0.2 * done))
    usable = ~np.isnan(outcomes.past)
    if not learned.sound or len(set(stacks.firing[usable])) < LEAST_FIRINGS:
        report(1.0)
        return Trained(learned.studio, (0.0, 1.0), learned.sound), None
    fold = folds_of(stacks, usable)
    tasks = [(stacks, log, fold, number, learned.studio) for number in np.unique(fold[usable])]
    folds: list[tuple[Indices, Stacks, Chances]] = []
    for one in on_cores(_held_out, tasks, cores_for(len(log.piece) >= LEAST_SPLIT)):
        folds.append(one)
        report(0.2 + 0.8 * len(folds) / len(tasks))
    doubted = np.full(stacks.present.shape, np.nan)
    doubted[log.piece, log.edge] = learned.weight
    return _tried(learned.studio, stacks, outcomes, folds, doubted)


def _tried(
    studio: Studio,
    stacks: Stacks,
    outcomes: Outcomes,
    folds: list[tuple[Indices, Stacks, Chances]],
    doubted: Floats,
) -> tuple[Trained, Trial]:
    usable = ~np.isnan(outcomes.past)
    most = len(SIDES) * max(
        part.weight.shape[1] for *_, chances in folds for _, part in chances.parts
    )
    ways = _Ways.blank(len(usable), most)
    for pieces, part, chances in folds:
        ways.set(pieces, chances, part)
    trained = Trained(studio, _calibration(ways, outcomes.past, usable))
    shape = stacks.present.shape
    held = HeldOut(np.zeros(shape[0]), np.zeros(shape), np.zeros((*shape, len(RUN_LEVELS))))
    for pieces, part, chances in folds:
        others = usable.copy()
        others[pieces] = False
        fair = chances.calibrated(_calibration(ways, outcomes.past, others))
        held.layer_risk[pieces], held.risk[pieces] = fair.risk(part)
        held.runs_mm[pieces] = 1e3 * fair.run_quantiles_m(part)
    past = outcomes.past[usable]
    rules = RulesPredictor().chances(stacks).risk(stacks)[1][usable]
    measured = ~np.isnan(outcomes.run_mm) & usable[:, None]
    inside = within_range(outcomes.run_mm, held.runs_mm[..., 0], held.runs_mm[..., 2])
    scores = {
        "learned": held.risk[usable],
        "rules": rules,
        "base rate": _base_rate(outcomes.past, folds)[usable],
    }
    trial = Trial(
        pieces=len(past),
        firings=len(set(stacks.firing[usable])),
        scores=_scores(past, scores),
        reliability=reliability(past, held.risk[usable]),
        interval_coverage=float(inside[measured].mean()) if measured.any() else float("nan"),
        held=held,
        doubted=doubted,
    )
    return trained, trial


def _base_rate(past: Floats, folds: list[tuple[Indices, Stacks, Chances]]) -> Floats:
    """The share that passed of all firings but those of each piece's fold, shape (n,)."""
    rate = np.zeros(len(past))
    for pieces, *_ in folds:
        others = ~np.isnan(past)
        others[pieces] = False
        rate[pieces] = (past[others].sum() + 0.5) / (others.sum() + 1.0)
    return rate
