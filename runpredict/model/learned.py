"""The model a log trains: a censored estimator, and the predictor built on it.

Physics and the rules are its prior; each outcome, an interval of the run, moves the effects of
glazes, pairs, bodies, firings, kiln and hand by as much as it can say. All effects are factors on
mobility, the same whatever the thickness, edge, heat or wall, so that every trained model keeps
the order physics demands: more glaze, more heat or a lower edge is never safer.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from runpredict.arrays import AnyArray, Floats
from runpredict.model import rules, sampler
from runpredict.model.effects import ALIKE_FAMILIES, design, pair_of_edge, prior_of, terms_of
from runpredict.model.features import Stacks, typical_thickness_mm
from runpredict.physics import film

SWEEPS, FOLD_SWEEPS, DRAWS, FOLD_DRAWS = 400, 160, 128, 64
READING_MM = 0.5  # a ruler is read to this either way, or to a part of a long run
READING_SHARE = 0.03


@dataclass(frozen=True)
class Outcomes:
    """Results of a log, piece by piece.

    Attributes
    ----------
    lower_m, upper_m : ndarray, shape (n, k)
        Interval of each edge's run, NaN where nothing is known of it. [m]
    past : ndarray, shape (n,)
        1 if any layer passed the foot, 0 if none did, NaN where that is not known.
    run_mm : ndarray, shape (n, k)
        Measured runs of layers that stopped in time. [mm]
    """

    lower_m: Floats
    upper_m: Floats
    past: Floats
    run_mm: Floats

    def take(self, pieces: AnyArray) -> Outcomes:
        """Those of some of the pieces."""
        return Outcomes(
            self.lower_m[pieces], self.upper_m[pieces], self.past[pieces], self.run_mm[pieces]
        )


def outcomes_of(log: pd.DataFrame, stacks: Stacks) -> Outcomes:
    """Read each row of a log for what it says.

    Parameters
    ----------
    log : DataFrame
        Layers with results, in the order of the rows the stacks were made of.
    stacks : Stacks of n pieces with up to k layers

    Returns
    -------
    Outcomes

    Notes
    -----
    Past the foot: the run is at least the distance, and at least what was measured. Not past and
    not measured: less than the distance. Measured: within a reading of it. Where a measured run
    contradicts the word, the word stands, and the run says nothing more.
    """
    reach = stacks.lower_m[stacks.piece_at, stacks.layer_at]
    run = log["run_mm"].to_numpy(dtype=float) * 1e-3
    word = log["past_foot"].to_numpy(dtype=object)
    past = (word == "yes") | ((word != "no") & (run > reach))
    stopped = (word == "no") | ((word != "yes") & (run <= reach))
    reading = np.maximum(READING_MM * 1e-3, READING_SHARE * run)
    measured = stopped & (run <= reach + reading)
    lower = np.where(past, np.fmax(reach, run), np.where(measured, run - reading, -np.inf))
    upper = np.where(
        past, np.inf, np.where(measured, np.minimum(run + reading, reach + reading), reach)
    )
    unknown = ~past & ~stopped
    grids = [np.full(stacks.present.shape, np.nan) for _ in range(3)]
    for grid, values in zip(
        grids,
        (
            np.where(unknown, np.nan, lower),
            np.where(unknown, np.nan, upper),
            np.where(measured, 1e3 * run, np.nan),
        ),
        strict=True,
    ):
        grid[stacks.piece_at, stacks.layer_at] = values
    any_past = np.bincount(stacks.piece_at, past, len(stacks.present)) > 0
    all_known = np.bincount(stacks.piece_at, unknown, len(stacks.present)) == 0
    piece = np.where(any_past, 1.0, np.where(all_known, 0.0, np.nan))
    return Outcomes(grids[0], grids[1], piece, grids[2])


def _reach_m(run_m: Floats) -> Floats:
    """The way to go for a run, with a stand-in where the run is open."""
    return np.where(np.isfinite(run_m), np.maximum(run_m, 0.0), 1.0) + rules.HELD_BACK_M


def chance_of_outcomes(draws: rules.Draws, stacks: Stacks, outcomes: Outcomes) -> Floats:
    """How likely each result was, runs included.

    Parameters
    ----------
    draws : Draws for n pieces with up to k layers
    stacks : Stacks
    outcomes : Outcomes

    Returns
    -------
    ndarray, shape (n, k)
        Chance of the interval each edge's run was seen in; NaN where nothing is known of it.
    """

    def below(run_m: Floats) -> Floats:
        chance = 1.0 - draws.passing(stacks, _reach_m(run_m)).mean(axis=2)
        return np.where(run_m == np.inf, 1.0, np.where(run_m > 0, chance, 0.0))

    inside = below(outcomes.upper_m) - below(outcomes.lower_m)
    return np.where(np.isnan(outcomes.upper_m), np.nan, inside)


@dataclass(frozen=True)
class Studio:
    """What one log taught.

    Attributes
    ----------
    known : dict
        Row of each effect in `effects`.
    effects, firings : ndarray, shape (p, draws), (f, draws)
    pair_sd, firing_sd, piece_sd, noise_sd : ndarray, shape (draws,)
    firing_names : dict
        Row of each firing in `firings`.
    coat_sd : float
        Natural log of thickness, one coat against another.
    seen : dict
        How many logged layers there are of each glaze.
    """

    known: dict[Any, int]
    effects: Floats
    firings: Floats
    firing_names: dict[str, int]
    pair_sd: Floats
    firing_sd: Floats
    piece_sd: Floats
    noise_sd: Floats
    coat_sd: float
    seen: dict[str, int]

    def draws(self, stacks: Stacks) -> rules.Draws:
        """Deviations for these pieces, as `rules.RulesPredictor.draws`."""
        n, k = stacks.present.shape
        count = self.effects.shape[1]
        (common, _), (coat, pair, glaze, _) = rules.deviations(k, count)
        terms = terms_of(stacks)
        taught = (design(terms, (n, k), self.known) @ self.effects).reshape(n, k, count)
        mean, sd = rules.glaze_prior(stacks)
        new_glaze = ~np.isin(
            np.array([*stacks.glazes, ""], dtype=object)[stacks.glaze].astype(str),
            [name for family, name in self.known if family == "glaze"],
        )
        guess = mean[..., None] + sd[..., None] * glaze[stacks.first_of_glaze]
        guess = np.where(new_glaze[..., None], guess, 0.0)
        over, under = pair_of_edge(stacks)
        new_pair = np.array(
            [
                [
                    o >= 0 and ("pair", (stacks.glazes[o], stacks.glazes[u])) not in self.known
                    for o, u in zip(*row, strict=True)
                ]
                for row in zip(over, under, strict=True)
            ],
            dtype=bool,
        ).reshape(n, k)
        pairs = rules.pair_of_layers(pair, self.pair_sd)
        new_body = np.array([("body", body) not in self.known for body in stacks.body])
        row = np.array([self.firing_names.get(n, -1) for n in stacks.firing], dtype=np.intp)
        fired = np.where((row >= 0)[:, None], self.firings[row], 0.0) if len(self.firings) else 0.0
        loose = np.sqrt(
            self.piece_sd**2
            + np.where((row < 0)[:, None], self.firing_sd**2, 0.0)
            + np.where(new_body, rules.BODY_SD**2, 0.0)[:, None]
        )
        shared = fired + loose * common
        uneven = np.where(stacks.measured[..., None], 0.0, 2.0 * self.coat_sd * coat)
        return rules.Draws(
            layer_log=guess + uneven,
            edge_log=taught + np.where(new_pair[..., None], pairs, 0.0) + shared[:, None],
            edge_sd=self.noise_sd,
        )


def shares_of_draws(share: float, count: int) -> tuple[int, int]:
    """How many draws of the log's model, of `count`, and of the rules make a share.

    Examples
    --------
    >>> shares_of_draws(0.5, 128), shares_of_draws(0.9, 128), shares_of_draws(0.0, 128)
    ((64, 64), (128, 14), (0, 64))
    """
    if share in (0.0, 1.0):
        return (0, rules.DRAWS) if share == 0.0 else (count, 0)
    mine = min(count, round(rules.DRAWS * share / (1.0 - share)))
    return mine, min(rules.DRAWS, round(mine * (1.0 - share) / share)) if mine else rules.DRAWS


@dataclass(frozen=True)
class Trained:
    """The predictor a log trained, with the share of the rules that is left in it.

    Attributes
    ----------
    studio : Studio
    share : float
        Of the log's model in the pool of draws; the rules have the rest.
    calibration : (float, float)
        Shift and slope of the log odds.
    """

    studio: Studio
    share: float
    calibration: tuple[float, float] = (0.0, 1.0)

    @property
    def basis(self) -> str:
        """`rules`, `blend` or `learned`."""
        return "rules" if self.share == 0 else "learned" if self.share == 1 else "blend"

    def seen(self) -> dict[str, int] | None:
        """How many logged layers there are of each glaze; None where the rules answer."""
        return self.studio.seen if self.share > 0 else None

    def draws(self, stacks: Stacks) -> rules.Draws:
        """Deviations for these pieces, as `rules.RulesPredictor.draws`."""
        told = rules.RulesPredictor().draws(stacks)
        if self.share == 0:
            return told
        learned = self.studio.draws(stacks)
        if self.share < 1:
            mine, theirs = shares_of_draws(self.share, learned.edge_log.shape[2])
            learned = rules.pooled([(learned, mine), (told, theirs)])
        return replace(learned, calibration=self.calibration)

    def calibrated(self, chance: Floats) -> Floats:
        """Chances of the pool, set right."""
        return rules.calibrated(chance, self.calibration)


@dataclass(frozen=True)
class HeldBack:
    """What was told of the log's n pieces by models that had not seen their firing.

    Attributes
    ----------
    risk : ndarray, shape (n,)
    layer_risk : ndarray, shape (n, k)
    runs_mm : ndarray, shape (n, k, 3)
        Quantiles 5, 50 and 95 %.
    """

    risk: Floats
    layer_risk: Floats
    runs_mm: Floats


@dataclass(frozen=True)
class Trial:
    """How the model did on firings it had not seen.

    Attributes
    ----------
    pieces, firings : int
        Of the log, with a result.
    scores : DataFrame
        log_loss and brier of the learned model, the rules, their blend as it answers, and the
        base rate.
    reliability : DataFrame
        Of the blend, see `reliability`.
    interval_coverage : float
        Share of measured runs within the range told for them.
    held : HeldBack
        What was told of every piece, in the order of the stacks trained on.
    """

    pieces: int
    firings: int
    scores: pd.DataFrame
    reliability: pd.DataFrame
    interval_coverage: float
    held: HeldBack


def learn(
    log: pd.DataFrame,
    stacks: Stacks,
    sweeps: int = SWEEPS,
    draws: int = DRAWS,
    random_state: int = 0,
    progress: Callable[[float], None] | None = None,
) -> Studio:
    """Train on a log.

    Parameters
    ----------
    log : DataFrame
        Layers with results, in the order of the rows the stacks were made of.
    stacks : Stacks
    sweeps, draws : int
        Of the sampler, and kept.
    random_state : int
    progress : callable (share done), optional

    Returns
    -------
    Studio
    """
    outcomes = outcomes_of(log, stacks)
    shape = stacks.present.shape
    terms = terms_of(stacks)
    # Measured coats teach the hand too, where no logged run hangs on it.
    hands = {("hand", "")} | {("method", name) for name in stacks.method[stacks.present]}
    known = {effect: i for i, effect in enumerate(sorted({*terms.effect, *hands}, key=repr))}
    piece, edge = np.nonzero(stacks.present & ~np.isnan(outcomes.upper_m))
    rows = design(terms, shape, known)[piece * shape[1] + edge]
    given = np.matmul(stacks.shares, stacks.mobility_log[..., None])[..., 0]

    def margin(run_m: Floats) -> Floats:
        return (film.log_mobility_to_reach(stacks.wall, _reach_m(run_m)) - given)[piece, edge]

    low, high = outcomes.lower_m[piece, edge], outcomes.upper_m[piece, edge]
    lower = np.where(low > 0, margin(outcomes.lower_m), -np.inf)
    upper = np.where(np.isfinite(high), margin(outcomes.upper_m), np.inf)
    coat_sd, precision, pull = _hand(stacks, known)
    uneven = (stacks.shares**2 * ~stacks.measured[:, None, :]).sum(axis=2)[piece, edge]
    mean, sd = rules.glaze_prior(stacks)
    by_glaze = {
        stacks.glazes[code]: (mean[i, k], sd[i, k])
        for i, k in zip(*np.nonzero(stacks.present), strict=True)
        for code in [stacks.glaze[i, k]]
    }
    prior_mean, prior_sd = prior_of(list(known), by_glaze)
    firing_names = {name: i for i, name in enumerate(dict.fromkeys(stacks.firing))}
    found = sampler.sample(
        sampler.Evidence(
            design=rows,
            lower=lower,
            upper=upper,
            own_variance=4.0 * coat_sd**2 * uneven,
            firing=np.array([firing_names[name] for name in stacks.firing])[piece],
            piece=piece,
        ),
        sampler.Prior(
            mean=prior_mean,
            sd=prior_sd,
            alike=[span for family in ALIKE_FAMILIES for span in _span(known, family)],
            firing_sd=rules.FIRING_SD,
            piece_sd=rules.PLACE_SD,
            noise_sd=rules.EDGE_SD,
            precision=precision,
            pull=pull,
        ),
        sweeps,
        draws,
        random_state,
        progress,
    )
    span = _span(known, "pair")
    return Studio(
        known=known,
        effects=found.effects,
        firings=found.firings,
        firing_names=firing_names,
        pair_sd=found.spread[span[0].start]
        if span
        else np.full(len(found.noise_sd), rules.PAIR_SD),
        firing_sd=found.firing_sd,
        piece_sd=found.piece_sd,
        noise_sd=found.noise_sd,
        coat_sd=coat_sd,
        seen={str(name): int(count) for name, count in stacks.rows["glaze"].value_counts().items()},
    )


def _span(known: dict[Any, int], family: str) -> list[slice]:
    """The run of columns of one family, none if it has none."""
    columns = [i for (name, _), i in known.items() if name == family]
    return [slice(min(columns), max(columns) + 1)] if columns else []


def _hand(stacks: Stacks, known: dict[Any, int]) -> tuple[float, Floats, Floats]:
    """What measured coats say of the hand: spread of coats, and readings of the effects."""
    rows = stacks.rows
    measured = rows["thickness_measured"].to_numpy(dtype=bool)
    method = rows["method"].to_numpy(dtype=object)[measured]
    typical = typical_thickness_mm(method.tolist(), rows["coats"].to_numpy(dtype=float)[measured])
    off = np.log(rows["thickness_mm"].to_numpy(dtype=float)[measured] / typical)
    trust = 10.0
    within = off - off.mean() if len(off) else off
    coat_sd = float(np.sqrt((trust * rules.COAT_SD**2 + (within**2).sum()) / (trust + len(off))))
    reading = np.zeros((len(off), len(known)))
    for i, name in enumerate(method):
        reading[i, [known[("hand", "")], known[("method", name)]]] = 1.0
    weighted = reading.T / coat_sd**2
    return coat_sd, weighted @ reading, weighted @ off
