"""What a log teaches: the effects of its glazes, pairs, kiln and hand, and the predictor of it.

The rules are its prior; each outcome, an interval of the run, is an interval of the margin of an
edge, and moves the effects by as much as it can say. Effects are steps in log mobility that hang
on names alone, never on thickness, edge, heat or wall, so that every trained model keeps the order
physics demands: more glaze, more heat or a lower edge is never safer.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from runpredict.arrays import AnyArray, Bools, Floats, Indices
from runpredict.model import laplace, rules
from runpredict.model.chances import HELD_BACK_M, Blend, Chances, Shape, calibrated
from runpredict.model.effects import (
    Columns,
    Effect,
    design,
    effects_in,
    pair_columns,
    prior_of,
    shape_design,
)
from runpredict.model.noise import MIX_SHARES
from runpredict.model.outcomes import Outcomes
from runpredict.model.stacks import Stacks
from runpredict.physics import film

ROUNDS = 2  # times the film is drawn anew with the melts as learned
# Families that keep the spread expected of them: they have one member, or few.
KEPT = ("kiln", "hand", "over", "alone", "ramp", "caution", "wall", "thickness")
CAUTION_SPAN, POWER_LEAST, POWER_MOST = (0.0, 0.8), -0.8, 2.0


@dataclass(frozen=True)
class Studio:
    """What one log taught.

    Attributes
    ----------
    known : dict
        Place of each effect in what follows.
    mean, covariance : ndarray, shape (p,), (p, p)
    sd : ndarray, shape (p,)
        Spread of each effect's family.
    noise_sd, pair_variance, coat_sd : float
        Of the noise of an edge; its variance besides where glazes lie over each other; natural
        log of thickness, one coat against another.
    mix : ndarray, shape (3,)
    seen : dict
        How many logged layers there are of each glaze.
    """

    known: dict[Effect, int]
    mean: Floats
    covariance: Floats
    sd: Floats
    noise_sd: float
    pair_variance: float
    coat_sd: float
    mix: Floats
    seen: dict[str, int]

    def spread(self, family: str, expected: float) -> float:
        """Spread of a family, as expected where the log has none of it."""
        mine = [i for (name, _), i in self.known.items() if name == family]
        return float(self.sd[mine[0]]) if mine else expected

    @property
    def shape(self) -> Shape:
        """How the film's answer is bent, kept to where more is never safer."""
        caution, wall, thickness = (
            float(self.mean[self.known[(name, "")]]) for name in ("caution", "wall", "thickness")
        )
        return Shape(
            caution=float(np.clip(caution, *CAUTION_SPAN)),
            wall=float(np.clip(wall, POWER_LEAST, POWER_MOST)),
            thickness=float(np.clip(thickness, POWER_LEAST, POWER_MOST)),
        )

    def melt_log(self, stacks: Stacks) -> Floats:
        """Step of each melt: what is expected of it, corrected by what was learned, (n, k)."""
        guess = rules.glaze_prior(stacks)[0]
        place = self._glaze_place(stacks)
        own = np.where(place >= 0, self.mean[place], guess)
        hand = self.mean[self.known[("hand", "")]]
        names, at = np.unique(stacks.method.astype(str), return_inverse=True)
        steps = [self.known.get(("method", name), -1) for name in names]
        method = np.array([self.mean[i] if i >= 0 else 0.0 for i in steps])
        coat = np.where(stacks.measured, 0.0, 2.0 * (hand + method[at.reshape(own.shape)]))
        return own + coat + rules.ordinary_log(stacks)

    def _glaze_place(self, stacks: Stacks) -> Indices:
        names = [*((("glaze", name)) for name in stacks.glazes), ("glaze", None)]
        return np.array([self.known.get(name, -1) for name in names], dtype=np.intp)[stacks.glaze]

    def edges(self, stacks: Stacks) -> tuple[Floats, Floats]:
        """Mean of what is added to each margin, and the variance of all that is known, (n, k)."""
        shape = stacks.present.shape
        rows = design(stacks, self.known, stacks.shares)
        of_melts = np.array([family in ("glaze", "hand", "method") for family, _ in self.known])
        mean = (rows @ np.where(of_melts, 0.0, self.mean)).reshape(shape)
        variance = laplace.spread_of(rows, self.covariance).reshape(shape)
        return mean + rules.alone_log(stacks), variance + self._unknown_variance(stacks)

    def _unknown_variance(self, stacks: Stacks) -> Floats:
        """Of glazes, pairs, bodies and firings that the log does not have, shape (n, k)."""
        sd = rules.glaze_prior(stacks)[1]
        new_glaze = (self._glaze_place(stacks) < 0) & stacks.present
        glaze = (stacks.shares**2 * np.where(new_glaze, sd**2, 0.0)[:, None]).sum(axis=2)
        pair = self.spread("pair", rules.PAIR_SD) ** 2 * self._new_pair(stacks)
        body = np.array([("body", name) not in self.known for name in stacks.body], dtype=float)
        firing = np.array([("firing", name) not in self.known for name in stacks.firing])
        firing_sd = self.spread("firing", rules.FIRING_SD)
        shared = rules.BODY_SD**2 * body + firing_sd**2 * firing
        return np.asarray(glaze + pair + shared[:, None], dtype=float)

    def _new_pair(self, stacks: Stacks) -> Bools:
        known = pair_columns(Columns(stacks, self.known), "pair")
        return (stacks.partner >= 0) & (known < 0)

    def chances(self, stacks: Stacks) -> Chances:
        """What is known of these pieces, as `rules.RulesPredictor.chances`."""
        edge_log, variance = self.edges(stacks)
        mixed = rules.paired(stacks)
        noise = self.noise_sd**2 + rules.coat_variance(stacks, self.coat_sd)
        return Chances(
            melt_log=self.melt_log(stacks),
            edge_log=edge_log,
            variance=variance,
            noise=noise + self.pair_variance * mixed,
            mix=self.mix,
            shape=self.shape,
        )


@dataclass(frozen=True)
class Margins:
    """A log's outcomes as rows of a linear model.

    Attributes
    ----------
    piece, edge : ndarray of int, shape (rows,)
    known : dict
        Column of each effect.
    rows : laplace.Evidence
    prior : laplace.Prior
    """

    piece: Indices
    edge: Indices
    known: dict[Effect, int]
    rows: laplace.Evidence
    prior: laplace.Prior

    def only(self, kept: Bools) -> laplace.Evidence:
        """Some of the rows."""
        return laplace.Evidence(
            design=self.rows.design[kept],
            lower=self.rows.lower[kept],
            upper=self.rows.upper[kept],
            parts=self.rows.parts[kept],
        )


def margins_of(
    stacks: Stacks, outcomes: Outcomes, known: dict[Effect, int], studio: Studio | None = None
) -> Margins:
    """Outcomes as margins, the film taken with the melts as expected or as learned before.

    Parameters
    ----------
    stacks : Stacks
    outcomes : Outcomes
    known : dict
        Column of each effect.
    studio : Studio, optional
        What was learned in a first round.
    """
    mean, sd = prior_of(list(known), prior_by_glaze(stacks))
    about = mean if studio is None else studio.mean
    before = _studio_of(known, about, sd, stacks) if studio is None else studio
    melt_log = before.melt_log(stacks)
    moving = Shape().films(stacks, melt_log)
    share, _ = film.driving(moving, stacks.lower_m + HELD_BACK_M)
    whole = design(stacks, known, share) + shape_design(stacks, known, moving, share)
    of_melts = np.array([family in ("glaze", "hand", "method") for family, _ in known])
    # The film holds the melts' steps already; the line through them has to be taken off again.
    given = (whole @ np.where(of_melts, about, 0.0)).reshape(stacks.present.shape)
    fixed = rules.alone_log(stacks) - given

    def margin(run_m: Floats) -> Floats:
        way = np.where(np.isfinite(run_m), np.maximum(run_m, 0.0), 1.0) + HELD_BACK_M
        return film.log_factor_to_reach(moving, way) - fixed

    lower = np.where(outcomes.lower_m > 0, margin(outcomes.lower_m), -np.inf)
    upper = np.where(np.isfinite(outcomes.upper_m), margin(outcomes.upper_m), np.inf)
    used = (
        stacks.glazed
        & ~np.isnan(outcomes.upper_m)
        & np.isfinite(film.log_factor_to_reach(moving, stacks.lower_m + HELD_BACK_M))
    )
    used &= stacks.twin == np.arange(used.shape[1])
    piece, edge = np.nonzero(used)
    at = piece * used.shape[1] + edge
    coats = 4.0 * rules.COAT_SD**2 * (share**2 * ~stacks.measured[:, None, :]).sum(axis=2)
    parts = np.stack([coats, rules.PAIRED_VARIANCE * rules.paired(stacks)], axis=2)
    families = [family for family, _ in known]
    numbers = {name: i for i, name in enumerate(dict.fromkeys(families)) if name not in KEPT}
    return Margins(
        piece=piece,
        edge=edge,
        known=known,
        rows=laplace.Evidence(
            design=whole.tocsr()[at],
            lower=lower[piece, edge],
            upper=upper[piece, edge],
            parts=parts[piece, edge],
        ),
        prior=laplace.Prior(
            mean=mean,
            sd=sd,
            family=np.array([numbers.get(family, -1) for family in families], dtype=np.intp),
            noise_sd=rules.NOISE_SD,
        ),
    )


def prior_by_glaze(stacks: Stacks) -> dict[str, tuple[float, float]]:
    """Prior of each glaze: the mean over its layers, which differ in nothing but the heat."""
    mean, sd = rules.glaze_prior(stacks)
    names = stacks.glaze_name
    found = {}
    for name in set(names[stacks.present]):
        mine = (names == name) & stacks.present
        found[name] = (float(mean[mine].mean()), float(sd[mine].mean()))
    return found


def _studio_of(known: dict[Effect, int], mean: Floats, sd: Floats, stacks: Stacks) -> Studio:
    names, counts = np.unique(stacks.glaze_name[stacks.present].astype(str), return_counts=True)
    return Studio(
        known=known,
        mean=mean,
        covariance=np.diag(sd**2),
        sd=sd,
        noise_sd=rules.NOISE_SD,
        pair_variance=rules.PAIRED_VARIANCE,
        coat_sd=rules.COAT_SD,
        mix=MIX_SHARES,
        seen={str(n): int(c) for n, c in zip(names, counts, strict=True)},
    )


def taught(margins: Margins, fitted: laplace.Fitted, stacks: Stacks) -> Studio:
    """A fit as what a log taught."""
    blank = _studio_of(margins.known, margins.prior.mean, margins.prior.sd, stacks)
    coats, pairs = fitted.part_scale
    return replace(
        blank,
        mean=fitted.mean,
        covariance=fitted.covariance,
        sd=fitted.sd,
        noise_sd=fitted.noise_sd,
        pair_variance=float(rules.PAIRED_VARIANCE * pairs),
        coat_sd=float(rules.COAT_SD * np.sqrt(coats)),
        mix=fitted.mix,
    )


def learn(
    stacks: Stacks, outcomes: Outcomes, progress: Callable[[float], None] | None = None
) -> tuple[Studio, Margins, laplace.Fitted]:
    """Train on a log.

    Parameters
    ----------
    stacks : Stacks
    outcomes : Outcomes
    progress : callable (share done), optional

    Returns
    -------
    Studio
    Margins, Fitted
        The rows it was fitted to in the last round, and the fit.
    """
    known = {effect: i for i, effect in enumerate(effects_in([stacks]))}
    studio: Studio | None = None
    for done in range(ROUNDS):
        margins = margins_of(stacks, outcomes, known, studio)

        def said(share: float, done: int = done) -> None:
            if progress is not None:
                progress((done + share) / ROUNDS)

        fitted = laplace.fit(margins.rows, margins.prior, said)
        studio = taught(margins, fitted, stacks)
    assert studio is not None
    return studio, margins, fitted


@dataclass(frozen=True)
class Trained:
    """The predictor a log trained, with the share of the rules that is left in it.

    Attributes
    ----------
    studio : Studio
    share : float
        Of the log's model in the answer; the rules have the rest.
    calibration : (float, float)
        Shift and slope of the log odds of the log's model.
    """

    studio: Studio
    share: float
    calibration: tuple[float, float] = (0.0, 1.0)

    @property
    def basis(self) -> str:
        """`rules`, `blend` or `learned`."""
        return "rules" if self.share == 0 else "learned" if self.share > 0.95 else "blend"

    def seen(self) -> dict[str, int] | None:
        """How many logged layers there are of each glaze; None where the rules answer."""
        return self.studio.seen if self.share > 0 else None

    def calibrated(self, chance: Floats) -> Floats:
        """Chances of the log's model, set right."""
        return calibrated(chance, self.calibration)

    def chances(self, stacks: Stacks) -> Chances | Blend:
        """What is known of these pieces, as `rules.RulesPredictor.chances`."""
        learned = replace(self.studio.chances(stacks), calibration=self.calibration)
        if self.share >= 1.0:
            return learned
        told = rules.RulesPredictor().chances(stacks)
        return Blend([(self.share, learned), (1.0 - self.share, told)])


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

    def take(self, pieces: AnyArray) -> HeldBack:
        """Those of some of the pieces."""
        return HeldBack(self.risk[pieces], self.layer_risk[pieces], self.runs_mm[pieces])


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
        Of the blend, see `trial.reliability`.
    interval_coverage : float
        Share of measured runs within the range told for them.
    held : HeldBack
        What was told of every piece, in the order of the stacks trained on.
    doubted : ndarray, shape (n, k)
        How much each result counted: near 0 for one that nothing explains; NaN for none.
    """

    pieces: int
    firings: int
    scores: pd.DataFrame
    reliability: pd.DataFrame
    interval_coverage: float
    held: HeldBack
    doubted: Floats
