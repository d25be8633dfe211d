"""A linear model of margins that were seen as intervals, fitted without chance.

Coefficients are normal about their priors; what is left of each margin is a mixture of normals of
one scale, most of them narrow, a few wide, so that a slip of the pen or a drip weighs little. The
posterior is the normal one at its peak (Laplace), and the spreads of families of coefficients and
of the noise are raised or lowered to what the rows show (expectation maximisation). The same rows
give the same answer in any order.

References
----------
Rasmussen & Williams, Gaussian Processes for Machine Learning (2006), ch. 3.4 (Laplace).
Dempster, Laird & Rubin (1977), J. R. Stat. Soc. B 39:1-38 (expectation maximisation).
West (1984), J. R. Stat. Soc. B 46:431-439 (scale mixtures against outliers).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
from scipy import linalg
from scipy.linalg import lapack
from scipy.special import log_ndtr

from runpredict.arrays import Floats, Indices
from runpredict.model.design import Rows
from runpredict.model.mixture import MIX_SCALES, MIX_SHARES

SHARES_TRUST = 40.0  # rows that the expected shares of the mixture count for
SPREAD_TRUST = 10.0  # and that the expected spreads of the noise count for
FAMILY_TRUST = 4.0  # coefficients that the expected spread of a family counts for
# Times that the spreads are set anew; steps of Newton to a peak, between two settings, and after
# the last where the line is drawn anew from there.
ROUNDS, MOST_STEPS, STEPS_BETWEEN, STEPS_AFTER = 12, 12, 1, 3
LATER_ROUNDS = 3  # times the spreads are set anew about each line but the first
CLOSE = 1e-4  # a step of Newton shorter than this is the last: what is left is its square
# Natural logs of mobility: no effect is that large; and the part of a step below which none helps.
LONGEST_STEP, SHORTEST = 5.0, 1e-3
LEAST_CURVATURE = 1e-9
MOST_STRETCH = 1.0  # natural log; a line is no farther to be trusted


@dataclass(frozen=True)
class Evidence:
    """Rows of margins.

    Attributes
    ----------
    design : sparse array, shape (rows, p)
    lower, upper : ndarray, shape (rows,)
        Interval in which each margin was seen; one the other way round counts as turned.
    parts : ndarray, shape (rows, q)
        Variances that some rows have besides the noise; each column is scaled as a whole.
    stretch : sparse array, shape (rows, p), optional
        By how much each coefficient widens the interval, in the natural log, from ``about`` on.
    about : ndarray, shape (p,), optional
    count : ndarray, shape (rows,), optional
        How many rows each counts as.
    """

    design: Any
    lower: Floats
    upper: Floats
    parts: Floats
    stretch: Any = None
    about: Floats | None = None
    count: Floats | None = None

    def ends(self, mean: Floats) -> tuple[Floats, Floats, Floats]:
        """Ends of the intervals, widened by coefficients; and 1 where they may widen on, else 0."""
        if self.stretched is None or self.about is None:
            return self.lower, self.upper, np.zeros(len(self.lower))
        longer = self.stretched.times(mean - self.about)
        free = (np.abs(longer) < MOST_STRETCH).astype(float)
        longer = np.clip(longer, -MOST_STRETCH, MOST_STRETCH)
        closed = np.isfinite(self.lower) & np.isfinite(self.upper)
        low, high = (np.where(closed, end, 0.0) for end in (self.lower, self.upper))
        middle, half = 0.5 * (low + high), 0.5 * np.exp(longer) * (high - low)
        return (
            np.where(closed, middle - half, self.lower),
            np.where(closed, middle + half, self.upper),
            free,
        )

    @cached_property
    def rows(self) -> Rows:
        """The design, ready to be summed."""
        return Rows(self.design)

    @cached_property
    def stretched(self) -> Rows | None:
        """The same of what widens the intervals."""
        return None if self.stretch is None else Rows(self.stretch)


@dataclass(frozen=True)
class Prior:
    """What is expected of the coefficients.

    Attributes
    ----------
    mean, sd : ndarray, shape (p,)
    family : ndarray of int, shape (p,)
        Coefficients of one family share one factor on their spread; -1 keeps its own.
    noise_sd : float
    """

    mean: Floats
    sd: Floats
    family: Indices
    noise_sd: float


@dataclass(frozen=True)
class Fitted:
    """What the rows say.

    Attributes
    ----------
    mean, covariance : ndarray, shape (p,), (p, p)
    sd : ndarray, shape (p,)
        Spread of each coefficient's family, learned.
    noise_sd : float
    part_scale : ndarray, shape (q,)
        Factor on each column of `Evidence.parts`.
    mix : ndarray, shape (len(MIX_SCALES),)
        Shares of the mixture.
    weight : ndarray, shape (rows,)
        How much each row counted: 1 for one that fits, near 0 for one that nothing explains.
    """

    mean: Floats
    covariance: Floats
    sd: Floats
    noise_sd: float
    part_scale: Floats
    mix: Floats
    weight: Floats = field(default_factory=lambda: np.ones(0))


@dataclass(frozen=True)
class _Seen:
    """Likelihood of each row, its slope and curvature in the mean, by part of the mixture."""

    log: Floats
    slope: Floats
    curvature: Floats
    of_part: Floats  # (parts, rows): chance that the row belongs to it
    part_slope: Floats
    part_curvature: Floats
    stretch: Floats


def _interval(mean: Floats, lower: Floats, upper: Floats, sd: Floats) -> tuple[Floats, ...]:
    """Log chance of an interval, its slope and minus its curvature in the mean, slope in width."""
    low, high = (np.minimum(lower, upper) - mean) / sd, (np.maximum(lower, upper) - mean) / sd
    turn = low > 0  # work in the tail that keeps its digits
    near, far = np.where(turn, -low, high), np.where(turn, -high, low)
    log_near, log_far = log_ndtr(near), log_ndtr(far)
    with np.errstate(invalid="ignore"):
        gap = np.where(np.isneginf(log_far), -np.inf, log_far - log_near)
    log = log_near + np.log1p(-np.exp(np.minimum(gap, -1e-12)))

    def density(z: Floats) -> tuple[Floats, Floats]:
        finite = np.where(np.isfinite(z), z, 0.0)
        over = np.exp(-0.5 * finite**2 - 0.5 * np.log(2.0 * np.pi) - log)
        over = np.where(np.isfinite(z), over, 0.0)
        return over, finite * over

    (at_low, low_moment), (at_high, high_moment) = density(low), density(high)
    slope = at_low - at_high
    curvature = slope**2 - (low_moment - high_moment)
    with np.errstate(invalid="ignore"):
        half = 0.5 * (high - low)
    stretch = np.where(np.isfinite(half), half, 0.0) * (at_low + at_high)
    return log, slope / sd, np.clip(curvature, 0.0, 1.0) / sd**2, stretch


def _seen(mean: Floats, lower: Floats, upper: Floats, sd: Floats, mix: Floats) -> _Seen:
    parts = [_interval(mean, lower, upper, sd * scale) for scale in MIX_SCALES]
    log, slope, curvature, stretch = (np.array([part[i] for part in parts]) for i in range(4))
    log = log + np.log(mix)[:, None]
    whole = np.logaddexp.reduce(log, axis=0)
    of_part = np.exp(log - whole)
    return _Seen(
        log=whole,
        slope=(of_part * slope).sum(axis=0),
        curvature=np.maximum((of_part * curvature).sum(axis=0), LEAST_CURVATURE),
        of_part=of_part,
        part_slope=slope,
        part_curvature=curvature,
        stretch=(of_part * stretch).sum(axis=0),
    )


def _climb(
    start: Floats, rows: Evidence, prior: Prior, fitted: Fitted, steps: int
) -> tuple[Floats, Floats]:
    """Toward the peak of the posterior from a start, and its covariance at the last step."""
    sd = np.sqrt(fitted.noise_sd**2 + rows.parts @ fitted.part_scale)
    precision = 1.0 / fitted.sd**2

    def look(at: Floats) -> tuple[_Seen, float]:
        lower, upper, free = rows.ends(at)
        seen = _seen(rows.rows.times(at), lower, upper, sd, fitted.mix)
        times = 1.0 if rows.count is None else rows.count
        seen = replace(
            seen,
            log=seen.log * times,
            slope=seen.slope * times,
            curvature=seen.curvature * times,
            stretch=seen.stretch * free * times,
        )
        return seen, float(seen.log.sum() - 0.5 * (precision * (at - prior.mean) ** 2).sum())

    mean, (seen, top) = start, look(start)
    for _ in range(steps):
        slope = rows.rows.gathered(seen.slope) - precision * (mean - prior.mean)
        if rows.stretched is not None:
            slope = slope + rows.stretched.gathered(seen.stretch)
        factor = linalg.cholesky(_precision(rows, seen, precision), lower=True, overwrite_a=True)
        step = linalg.cho_solve((factor, True), slope)
        step *= min(1.0, LONGEST_STEP / max(np.abs(step).max(initial=0.0), CLOSE))
        length = 1.0
        tried, height = look(mean + step)
        while not height >= top - 1e-9 and length > SHORTEST:
            length *= 0.5
            tried, height = look(mean + length * step)
        if not height >= top - 1e-9:
            break
        mean, seen, top = mean + length * step, tried, height
        if np.abs(length * step).max(initial=0.0) < CLOSE:
            break
    return mean, _inverse(factor)


def _inverse(factor: Floats) -> Floats:
    """Of a matrix, from its lower triangular factor."""
    half = lapack.dpotri(factor, lower=True)[0]  # nothing above the diagonal
    full = half + half.T
    full[np.diag_indices(len(full))] *= 0.5
    return np.asarray(full, dtype=float)


def peak_height(
    mean: Floats, lower: Floats, upper: Floats, parts: Floats, prior: Prior, fitted: Fitted
) -> float:
    """Log of prior and likelihood of coefficients, the spreads as fitted.

    Parameters
    ----------
    mean : ndarray, shape (p,)
    lower, upper : ndarray, shape (rows,)
        Interval in which what is left of each margin lies, with these coefficients.
    parts : ndarray, shape (rows, q)
        As in `Evidence`.
    """
    sd = np.sqrt(fitted.noise_sd**2 + parts @ fitted.part_scale)
    log = _seen(np.zeros(len(lower)), lower, upper, sd, fitted.mix).log
    return float(log.sum() - 0.5 * (((mean - prior.mean) / fitted.sd) ** 2).sum())


def _precision(rows: Evidence, seen: _Seen, precision: Floats) -> Floats:
    total = rows.rows.square(seen.curvature)
    if rows.stretched is not None:
        total += rows.stretched.square(seen.stretch)
    total[np.diag_indices(len(total))] += precision
    return total


def _spreads(rows: Evidence, prior: Prior, fitted: Fitted) -> Fitted:
    """One step of expectation maximisation: the spreads, with the coefficients held fixed."""
    sd = fitted.sd.copy()
    for family in np.unique(prior.family[prior.family >= 0]):
        which = prior.family == family
        square = (fitted.mean - prior.mean)[which] ** 2 + np.diag(fitted.covariance)[which]
        ratio = (square / prior.sd[which] ** 2).sum() + FAMILY_TRUST
        sd[which] = prior.sd[which] * np.sqrt(ratio / (which.sum() + FAMILY_TRUST))
    noise = fitted.noise_sd**2
    parts = rows.parts * fitted.part_scale
    total = noise + parts.sum(axis=1)
    ends = rows.ends(fitted.mean)[:2]
    seen = _seen(rows.rows.times(fitted.mean), *ends, np.sqrt(total), fitted.mix)
    reach = rows.rows.spread(fitted.covariance)
    times = np.ones(len(total)) if rows.count is None else rows.count
    square = np.zeros(len(total))
    for i, scale in enumerate(MIX_SCALES):
        wide = total * scale**2
        expected_square = wide - wide**2 * seen.part_curvature[i] + (wide * seen.part_slope[i]) ** 2
        expected_square = expected_square + reach * (wide * seen.part_curvature[i]) ** 2
        square = square + seen.of_part[i] * expected_square / scale**2

    def expected(variance: Floats) -> Floats:
        part = variance / total
        return part**2 * square + variance * (1.0 - part)

    part_scale = fitted.part_scale.copy()
    for q in range(parts.shape[1]):
        which = parts[:, q] > 0
        ratio = (times * expected(parts[:, q]))[which] / rows.parts[which, q]
        part_scale[q] = (ratio.sum() + SPREAD_TRUST) / (times[which].sum() + SPREAD_TRUST)
    own = (times * expected(np.full(len(total), noise))).sum() + SPREAD_TRUST * prior.noise_sd**2
    counts = (times * seen.of_part).sum(axis=1) + SHARES_TRUST * MIX_SHARES
    return replace(
        fitted,
        sd=sd,
        noise_sd=float(np.sqrt(own / (times.sum() + SPREAD_TRUST))),
        part_scale=part_scale,
        mix=counts / counts.sum(),
        weight=(seen.of_part / MIX_SCALES[:, None] ** 2).sum(axis=0) * MIX_SCALES[0] ** 2,
    )


def start_of(rows: Evidence, prior: Prior) -> Fitted:
    """The prior, in the form of a fit."""
    return Fitted(
        mean=prior.mean,
        covariance=np.diag(prior.sd**2),
        sd=prior.sd,
        noise_sd=prior.noise_sd,
        part_scale=np.ones(rows.parts.shape[1]),
        mix=MIX_SHARES,
        weight=np.ones(len(rows.lower)),
    )


def fit(
    rows: Evidence,
    prior: Prior,
    start: Fitted | None = None,
    rounds: int = ROUNDS,
) -> Fitted:
    """Coefficients and spreads from what was seen.

    Parameters
    ----------
    start : Fitted, optional
        From where to begin: what the same rows said about another line.
    rounds : int
        Times that the spreads are set anew.
    """
    fitted = start_of(rows, prior) if start is None else start
    for i in range(rounds):
        steps = STEPS_BETWEEN if i or start is not None else MOST_STEPS
        mean, covariance = _climb(fitted.mean, rows, prior, fitted, steps)
        fitted = _spreads(rows, prior, replace(fitted, mean=mean, covariance=covariance))
    steps = MOST_STEPS if rows.about is None else STEPS_AFTER
    mean, covariance = _climb(fitted.mean, rows, prior, fitted, steps)
    return replace(fitted, mean=mean, covariance=covariance)
