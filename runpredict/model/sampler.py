"""Draws from what a log says of many small effects, each outcome an interval.

A margin is linear in the effects, plus what a firing and a piece have in common, plus noise. No
outcome is more than an interval of the margin: narrow when measured, open on one side when it is
only known that the edge passed the line or did not. Gibbs sampling fills in the margins inside
their intervals and draws the effects given them (Albert & Chib 1993, J. Am. Stat. Assoc.
88:669-679; tobit: Chib 1992, J. Econometrics 51:79-99).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import linalg, sparse
from scipy.special import ndtr, ndtri
from threadpoolctl import threadpool_limits

from runpredict.arrays import Floats, Indices

# How many observations' worth of trust a prior spread has against what the log shows.
SPREAD_TRUST = 6.0


@dataclass(frozen=True)
class Evidence:
    """What a log says.

    Attributes
    ----------
    design : sparse array, shape (m, p)
        Coefficient of each effect in each outcome's margin.
    lower, upper : ndarray, shape (m,)
        Interval of each margin, infinite where it is open.
    own_variance : ndarray, shape (m,)
        Known variance of each margin, besides the noise that is learned.
    firing, piece : ndarray of int, shape (m,)
        Group of each outcome.
    """

    design: sparse.csr_array
    lower: Floats
    upper: Floats
    own_variance: Floats
    firing: Indices
    piece: Indices


@dataclass(frozen=True)
class Prior:
    """What is expected of the effects before the log.

    Attributes
    ----------
    mean, sd : ndarray, shape (p,)
    alike : sequence of slice
        Runs of effects whose common spread the log may correct.
    firing_sd, piece_sd, noise_sd : float
    precision : ndarray, shape (p, p), or None
        Of direct readings of the effects, added to that of the prior.
    pull : ndarray, shape (p,), or None
        Precision times the readings.
    """

    mean: Floats
    sd: Floats
    alike: Sequence[slice]
    firing_sd: float
    piece_sd: float
    noise_sd: float
    precision: Floats | None = None
    pull: Floats | None = None


@dataclass(frozen=True)
class Posterior:
    """Equally likely draws.

    Attributes
    ----------
    effects : ndarray, shape (p, draws)
    spread : ndarray, shape (p, draws)
        Spread of the family each effect is of, for one that is not in the log.
    firings : ndarray, shape (number of firings, draws)
    firing_sd, piece_sd, noise_sd : ndarray, shape (draws,)
    """

    effects: Floats
    spread: Floats
    firings: Floats
    firing_sd: Floats
    piece_sd: Floats
    noise_sd: Floats


def truncated_normal(
    rng: np.random.Generator, mean: Floats, sd: Floats, lower: Floats, upper: Floats
) -> Floats:
    """One normal draw inside each interval, all shape (m,)."""
    low, high = (lower - mean) / sd, (upper - mean) / sd
    # Mirrored so that the interval lies in the lower tail, where the distribution is exact.
    mirrored = low > 0
    low, high = np.where(mirrored, -high, low), np.where(mirrored, -low, high)
    below, above = ndtr(low), ndtr(high)
    level = below + rng.random(len(mean)) * (above - below)
    drawn = np.clip(ndtri(np.clip(level, 1e-300, 1.0 - 1e-16)), low, high)
    return np.asarray(mean + sd * np.where(mirrored, -drawn, drawn), dtype=float)


def _group_effect(
    rng: np.random.Generator, residual: Floats, variance: Floats, group: Indices, sd: float
) -> Floats:
    """Draw of what each group's outcomes have in common."""
    count = int(group.max()) + 1
    precision = np.bincount(group, 1.0 / variance, count) + 1.0 / sd**2
    mean = np.bincount(group, residual / variance, count) / precision
    return np.asarray(mean + rng.standard_normal(count) / np.sqrt(precision), dtype=float)


def _spread(rng: np.random.Generator, values: Floats, expected: float, trust: float) -> float:
    """Draw of a family's spread, inverse chi-squared about the one expected."""
    total = float((values**2).sum()) + trust * expected**2
    return float(np.sqrt(total / rng.chisquare(len(values) + trust)))


def sample(
    evidence: Evidence,
    prior: Prior,
    sweeps: int,
    draws: int,
    random_state: int = 0,
    progress: Callable[[float], None] | None = None,
) -> Posterior:
    """Draw effects and spreads given a log, on one core.

    Parameters
    ----------
    evidence : Evidence of m outcomes and p effects
    prior : Prior of p effects
    sweeps : int
        Of the sampler; the first three tenths are not kept.
    draws : int
        Kept, evenly spaced over the rest.
    random_state : int
    progress : callable (share done), optional

    Returns
    -------
    Posterior
    """
    # Thousands of small solves: more threads would only wait for each other.
    with threadpool_limits(1, user_api="blas"):
        return _sample(evidence, prior, sweeps, draws, random_state, progress)


def _sample(
    evidence: Evidence,
    prior: Prior,
    sweeps: int,
    draws: int,
    random_state: int,
    progress: Callable[[float], None] | None,
) -> Posterior:
    rng = np.random.default_rng(random_state)
    design, m = evidence.design, len(evidence.lower)
    transposed = sparse.csr_array(design.T)
    firing, piece = evidence.firing, evidence.piece
    effects, sd = prior.mean.copy(), prior.sd.copy()
    of_firing, of_piece = np.zeros(int(firing.max()) + 1), np.zeros(int(piece.max()) + 1)
    firing_sd, piece_sd, noise_sd = prior.firing_sd, prior.piece_sd, prior.noise_sd
    skipped = max(int(0.3 * sweeps), 1)
    kept_at = np.unique(np.linspace(skipped, sweeps - 1, draws).round().astype(int))
    kept: list[tuple[Floats, Floats, Floats, float, float, float]] = []
    for sweep in range(sweeps):
        variance = noise_sd**2 + evidence.own_variance
        shared = of_firing[firing] + of_piece[piece]
        margin = truncated_normal(
            rng, design @ effects + shared, np.sqrt(variance), evidence.lower, evidence.upper
        )
        weighted = transposed.multiply(1.0 / variance)
        precision = (weighted @ design).toarray() + np.diag(1.0 / sd**2)
        pull = weighted @ (margin - shared) + prior.mean / sd**2
        if prior.precision is not None and prior.pull is not None:
            precision, pull = precision + prior.precision, pull + prior.pull
        factor = linalg.cholesky(precision, lower=True, check_finite=False)
        half = linalg.solve_triangular(factor, pull, lower=True, check_finite=False)
        effects = linalg.solve_triangular(
            factor, half + rng.standard_normal(len(half)), lower=True, trans="T", check_finite=False
        )
        residual = margin - design @ effects
        of_firing = _group_effect(rng, residual - of_piece[piece], variance, firing, firing_sd)
        residual -= of_firing[firing]
        of_piece = _group_effect(rng, residual, variance, piece, piece_sd)
        residual -= of_piece[piece]
        firing_sd = _spread(rng, of_firing, prior.firing_sd, SPREAD_TRUST)
        piece_sd = _spread(rng, of_piece, prior.piece_sd, 2.0 * SPREAD_TRUST)
        of_noise = residual * noise_sd / np.sqrt(variance)
        noise_sd = _spread(rng, of_noise, prior.noise_sd, 2.0 * SPREAD_TRUST)
        for family in prior.alike:
            ratio = (effects[family] - prior.mean[family]) / prior.sd[family]
            sd[family] = prior.sd[family] * _spread(rng, ratio, 1.0, SPREAD_TRUST)
        if sweep in kept_at:
            kept.append((effects, sd.copy(), of_firing, firing_sd, piece_sd, noise_sd))
        if progress is not None and m > 0:
            progress((sweep + 1) / sweeps)
    columns = [np.array(values) for values in zip(*kept, strict=True)]
    return Posterior(columns[0].T, columns[1].T, columns[2].T, *columns[3:])
