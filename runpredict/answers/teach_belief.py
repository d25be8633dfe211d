"""What is known of the effects on a plan, and how much of its doubt a reading would remove.

Effects are taken for jointly normal: with the spread of the rules where no log says better, with
the mean and covariance of the log's draws where one does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import linalg
from scipy.special import ndtr, owens_t

from runpredict.arrays import AnyArray, Floats, Indices
from runpredict.model import effects, rules
from runpredict.model.chances import Predictor
from runpredict.model.effects import Effect
from runpredict.model.stacks import Stacks
from runpredict.physics import film

TEST_FIRING: Effect = ("test firing", "")  # what all readings of one firing have in common
LEAST_READABLE = 1e-3  # stands for no chance at all, so that it can be divided by


@dataclass(frozen=True)
class Margins:
    """Margins of some edges over passing the foot, linear in the effects.

    Attributes
    ----------
    design : ndarray, shape (m, p)
    mean : ndarray, shape (m,)
        Natural log of mobility above what it takes; past the foot above 0.
    chance_variance : ndarray, shape (m,)
        Of what cannot be learned beforehand: firing, place, coat and edge.
    """

    design: Floats
    mean: Floats
    chance_variance: Floats

    def variance(self, covariance: Floats) -> Floats:
        """Of what can be learned, shape (m,)."""
        return np.asarray(((self.design @ covariance) * self.design).sum(axis=1), dtype=float)


@dataclass(frozen=True)
class Belief:
    """What is known of the effects.

    Attributes
    ----------
    known : dict
        Column of each effect.
    mean, covariance : ndarray, shape (p,), (p, p)
    firing_sd, piece_sd, noise_sd, coat_sd : float
    """

    known: dict[Effect, int]
    mean: Floats
    covariance: Floats
    firing_sd: float
    piece_sd: float
    noise_sd: float
    coat_sd: float

    def design(self, stacks: Stacks) -> Floats:
        """Coefficients of the effects in each edge, shape (n, k, p)."""
        shape = stacks.present.shape
        table = effects.design(effects.terms_of(stacks), shape, self.known).toarray()
        return np.asarray(table.reshape(*shape, len(self.known)), dtype=float)

    def coat_variance(self, stacks: Stacks) -> Floats:
        """Of each edge, by coats nobody measured, shape (n, k)."""
        uneven = (stacks.shares**2 * ~stacks.measured[:, None, :]).sum(axis=2)
        return np.asarray(4.0 * self.coat_sd**2 * uneven, dtype=float)

    def margins(self, stacks: Stacks, edge: Indices) -> Margins:
        """Margin of one edge of each piece."""
        at = (np.arange(len(edge)), edge)
        given = np.matmul(stacks.shares, stacks.mobility_log[..., None])[..., 0]
        need = film.log_mobility_to_reach(stacks.wall, stacks.lower_m + rules.HELD_BACK_M)
        rows = self.design(stacks)[at]
        lasting = self.firing_sd**2 + self.piece_sd**2 + self.noise_sd**2
        return Margins(
            design=rows,
            mean=(given - need)[at] + rows @ self.mean,
            chance_variance=lasting + self.coat_variance(stacks)[at],
        )

    def readings(self, stacks: Stacks, readable: Floats) -> list[tuple[Floats, Floats]]:
        """What a measured run of each edge of each piece shows, and a needle in each coat.

        Parameters
        ----------
        stacks : Stacks of n pieces
        readable : ndarray, shape (n, k)
            Chance that each edge's run can be read.

        Returns
        -------
        list of (design, noise), one a piece: ndarray, shape (readings, p), (readings, readings)
            Coefficients of the effects, and covariance of what hides them.
        """
        runs = self.design(stacks)
        runs[..., self.known[TEST_FIRING]] = 1.0
        own = self.noise_sd**2 + self.coat_variance(stacks)
        worth = np.sqrt(np.maximum(readable, LEAST_READABLE))
        found = []
        for i in range(len(runs)):
            edges = np.flatnonzero(stacks.glazed[i])
            hidden = np.diag(own[i, edges]) + self.piece_sd**2
            needles = self._needles(stacks.method[i, stacks.measured[i]])
            found.append(
                (
                    np.concatenate([runs[i, edges], needles]),
                    linalg.block_diag(
                        hidden / np.outer(worth[i, edges], worth[i, edges]),
                        np.eye(len(needles)) * self.coat_sd**2,
                    ),
                )
            )
        return found

    def _needles(self, methods: AnyArray) -> Floats:
        """Coefficients of the effects in the thickness of coats that were measured."""
        needles = np.zeros((len(methods), len(self.known)))
        for row, method in zip(needles, methods, strict=True):
            for effect in (("hand", ""), ("method", method)):
                if effect in self.known:
                    row[self.known[effect]] = 1.0
        return needles

    def factors(self, design: Floats) -> Floats:
        """Factor either way within which each fluidity lies, 9 times in 10, the firing apart."""
        rows = design.copy()
        rows[:, self.known[TEST_FIRING]] = 0.0
        variance = ((rows @ self.covariance) * rows).sum(axis=1)
        return np.asarray(np.exp(1.645 * np.sqrt(np.maximum(variance, 0.0))), dtype=float)

    def after(self, design: Floats, noise: Floats) -> Belief:
        """What would be known after some readings."""
        toward = self.covariance @ design.T
        step = toward @ np.linalg.solve(design @ toward + noise, toward.T)
        return replace(self, covariance=self.covariance - step)


def believe(predictor: Predictor, stacks: Sequence[Stacks]) -> Belief:
    """What is known of every effect on some pieces.

    Parameters
    ----------
    predictor : Predictor
        The rules, or what a log trained; where it answers with the rules, these.
    stacks : sequence of Stacks

    Returns
    -------
    Belief
    """
    found = {effect for part in stacks for effect in effects.terms_of(part).effect}
    studio = getattr(predictor, "studio", None) if predictor.share > 0 else None
    taught = {} if studio is None else studio.known
    names = [*taught, *sorted(found - set(taught), key=repr)]
    by_glaze = {}
    for part in stacks:
        mean, sd = rules.glaze_prior(part)
        for i, k in zip(*np.nonzero(part.present), strict=True):
            by_glaze[part.glazes[part.glaze[i, k]]] = (mean[i, k], sd[i, k])
    by_glaze |= {name: by_glaze.get(name, (0.0, 1.0)) for f, name in taught if f == "glaze"}
    mean, sd = effects.prior_of(names, by_glaze)
    covariance = np.diag(sd**2)
    spreads = [rules.FIRING_SD, rules.PLACE_SD, rules.EDGE_SD, rules.COAT_SD]
    if studio is not None:
        p = len(taught)
        mean[:p] = studio.effects.mean(axis=1)
        covariance[:p, :p] = np.cov(studio.effects)
        drawn = (studio.firing_sd, studio.piece_sd, studio.noise_sd)
        spreads = [*(float(np.median(values)) for values in drawn), studio.coat_sd]
    known = {effect: i for i, effect in enumerate([*names, TEST_FIRING])}
    whole = np.zeros((len(known), len(known)))
    whole[:-1, :-1] = covariance
    whole[-1, -1] = spreads[0] ** 2
    return Belief(known, np.append(mean, 0.0), whole, *spreads)


def told_apart(margins: Margins, variance: Floats, explained: Floats) -> Floats:
    """Variance of what will be said of each piece once a part of the doubt is removed.

    Parameters
    ----------
    margins : Margins of m pieces
    variance : ndarray, shape (m,)
        Of the margin, that can be learned.
    explained : ndarray, shape (m,)
        How much of it will have been. With all of it, this is the whole doubt in the chances.

    Returns
    -------
    ndarray, shape (m,)

    Notes
    -----
    The chance told after a reading is Φ(μ' / sd'), μ' normal about today's mean with the
    variance explained. Its mean square is the chance that two normals of correlation ρ, the
    share of the variance explained, both lie below h: Φ(h) - 2 T(h, √((1 - ρ) / (1 + ρ))).

    References
    ----------
    Owen (1956), Ann. Math. Stat. 27:1075-1090, for T and the case of equal limits.
    """
    total = variance + margins.chance_variance
    h = margins.mean / np.sqrt(total)
    share = np.clip(explained, 0.0, variance) / total
    told = ndtr(h)
    square = told - 2.0 * owens_t(h, np.sqrt((1.0 - share) / (1.0 + share)))
    return np.asarray(np.maximum(square - told**2, 0.0), dtype=float)


def explained_by(
    margins: Margins, belief: Belief, readings: tuple[Floats, Floats], toward: Floats
) -> Floats:
    """Variance of each margin that some readings would explain, shape (m,).

    Parameters
    ----------
    margins : Margins
    belief : Belief
    readings : (design, noise), as one of `Belief.readings`
    toward : ndarray, shape (p, m)
        Covariance of the effects with the margins.
    """
    design, noise = readings
    shared = design @ toward
    spread = design @ belief.covariance @ design.T + noise
    return np.asarray((shared * np.linalg.solve(spread, shared)).sum(axis=0), dtype=float)
