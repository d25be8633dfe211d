"""What is known of the effects on a plan, and how much of its doubt a reading would remove.

Effects are jointly normal: as expected where no log says better, with the mean and covariance that
a log taught where one does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr, owens_t

from runpredict.arrays import AnyArray, Floats, Indices
from runpredict.model.effects import Effect
from runpredict.model.line import Edges
from runpredict.model.mixture import MIX_SCALES
from runpredict.model.predictors import Predictor
from runpredict.model.stacks import Stacks
from runpredict.model.studio import Studio

TEST_FIRING: Effect = ("test firing", "")  # what all readings of one firing have in common
LEAST_READABLE = 1e-3  # stands for no chance at all, so that it can be divided by
FARTHEST = 1e3  # a margin beyond this is none


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
    studio : Studio
        What is left to chance.
    """

    known: dict[Effect, int]
    mean: Floats
    covariance: Floats
    studio: Studio

    def _line(self, stacks: Stacks, piece: Indices, edge: Indices) -> tuple[Floats, Floats]:
        """Coefficients of the effects in edges of a firing to come (m, p), and margins (m,)."""
        reach = stacks.lower_m[piece, edge]
        edges = Edges(stacks, self.known, piece, edge, (reach, reach))
        line = edges.line(self.mean)
        named = np.array([family == "firing" for family, _ in self.known])
        return np.where(named, 0.0, line.slope.toarray()), line.margin[0]

    def margins(self, stacks: Stacks, edge: Indices) -> Margins:
        """Margin of one edge of each piece."""
        design, mean = self._line(stacks, np.arange(len(edge)), edge)
        return Margins(
            design=design,
            mean=np.clip(mean, -FARTHEST, FARTHEST),
            chance_variance=self.studio.family_sd["firing"] ** 2 + self._noise_variance(stacks),
        )

    def _noise_variance(self, stacks: Stacks) -> Floats:
        """Variance of the whole mixture of each piece's noise, shape (n,)."""
        return self.studio.noise(stacks) * float(self.studio.mix @ MIX_SCALES**2)

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
        piece, edge = np.nonzero(stacks.glazed)
        runs = self._line(stacks, piece, edge)[0]
        runs[:, self.known[TEST_FIRING]] = 1.0
        hidden = self._noise_variance(stacks)[:, None] / np.maximum(readable, LEAST_READABLE)
        readings = []
        for i in range(len(stacks.present)):
            of_piece = piece == i
            needles = self._needles(stacks.method[i, stacks.measured[i]])
            own = np.full(len(needles), self.studio.coat_sd**2)
            own = np.concatenate([hidden[i, edge[of_piece]], own])
            readings.append((np.concatenate([runs[of_piece], needles]), np.diag(own)))
        return readings

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
    """What is known of every effect on some pieces."""
    studio = predictor.studio
    terms = studio.terms(stacks)
    count = len(terms.mean)
    covariance = np.zeros((count + 1, count + 1))
    everything = np.arange(count)[None]
    covariance[:count, :count] = terms.covariance_of(everything, terms.variance[None])[0]
    covariance[count, count] = studio.family_sd["firing"] ** 2
    return Belief(
        known={**terms.known, TEST_FIRING: count},
        mean=np.append(terms.mean, 0.0),
        covariance=covariance,
        studio=studio,
    )


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
    chance = ndtr(h)
    square = chance - 2.0 * owens_t(h, np.sqrt((1.0 - share) / (1.0 + share)))
    return np.asarray(np.maximum(square - chance**2, 0.0), dtype=float)


def explained_by(
    margins: Margins, belief: Belief, readings: tuple[Floats, Floats], toward: Floats
) -> Floats:
    """Variance of each margin that some readings would explain, shape (m,).

    Parameters
    ----------
    readings : (design, noise), as one of `Belief.readings`
    toward : ndarray, shape (p, m)
        Covariance of the effects with the margins.
    """
    design, noise = readings
    shared = design @ toward
    spread = design @ belief.covariance @ design.T + noise
    return np.asarray((shared * np.linalg.solve(spread, shared)).sum(axis=0), dtype=float)
