"""What is known of a studio's effects, with a log or without, and the chances that follow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import pandas as pd

from runpredict.arrays import AnyArray, Floats, Indices
from runpredict.model import effects, priors
from runpredict.model.chances import Alike, Chances
from runpredict.model.effects import Effect
from runpredict.model.noise import MIX_SHARES
from runpredict.model.stacks import Stacks
from runpredict.physics import film

# Directions in which what is not known of a piece's choices is followed; the rest is as if it were
# common to all. A star of three points each holds their weights only up to three.
MOST_DIRECTIONS = 3
POINT = np.sqrt(3.0)  # standard deviations from the middle to a point: Gauss-Hermite of three
LEAST_VARIANCE = 1e-9


@dataclass(frozen=True)
class Studio:
    """What is known of effects.

    Attributes
    ----------
    known : dict
        Place of each effect in what follows; of all others the priors hold.
    mean, covariance : ndarray, shape (p,), (p, p)
    sd : ndarray, shape (p,)
        Spread of each effect's family.
    noise_sd, pair_variance, coat_sd : float
        Of the noise of an edge; its variance besides where a piece has several glazes; natural
        log of thickness, one coat against another.
    mix : ndarray, shape (3,)
    seen : dict
        How many logged layers there are of each glaze.
    """

    known: dict[Effect, int] = field(default_factory=dict)
    mean: Floats = field(default_factory=lambda: np.zeros(0))
    covariance: Floats = field(default_factory=lambda: np.zeros((0, 0)))
    sd: Floats = field(default_factory=lambda: np.zeros(0))
    noise_sd: float = priors.NOISE_SD
    pair_variance: float = priors.PAIRED_VARIANCE
    coat_sd: float = priors.COAT_SD
    mix: Floats = field(default_factory=lambda: MIX_SHARES)
    seen: dict[str, int] = field(default_factory=dict)

    @cached_property
    def family_sd(self) -> dict[str, float]:
        """Spread of each family, as expected where the log has none of it."""
        learned = {family: float(self.sd[i]) for (family, _), i in self.known.items()}
        return {name: learned.get(name, family.sd) for name, family in priors.FAMILIES.items()}

    def terms(self, parts: Sequence[Stacks]) -> Terms:
        """All effects that act on some pieces, those that are not known with their priors."""
        new = [effect for effect in effects.effects_in(parts) if effect not in self.known]
        by_glaze = {name: prior for part in parts for name, prior in prior_by_glaze(part).items()}
        mean, sd = effects.prior_of(new, by_glaze)
        sd = np.array(
            [self.family_sd.get(family, own) for (family, _), own in zip(new, sd, strict=True)]
        )
        names = {**self.known, **{e: len(self.known) + i for i, e in enumerate(new)}}
        return Terms(names, np.append(self.mean, mean), self.covariance, sd**2)

    def chances(self, stacks: Stacks) -> Chances:
        """What is known of some pieces.

        Parameters
        ----------
        stacks : Stacks of n pieces with up to k layers

        Returns
        -------
        Chances
        """
        terms = self.terms([stacks])
        return Chances(
            tuple((pieces, self._alike(part, terms)) for pieces, part in stacks.by_layers())
        )

    def _alike(self, stacks: Stacks, terms: Terms) -> Alike:
        n, k = stacks.present.shape
        steps = effects.melt_design(stacks, terms.known).times(terms.mean).reshape(n, k)
        melt_log = steps + priors.ordinary_log(stacks)
        bends, wall = effects.bends_of(terms.known, terms.mean)
        choices = effects.choice_design(stacks, terms.known).times(terms.mean).reshape(n, -1)
        shared = effects.piece_design(stacks, terms.known).times(terms.mean)
        about, weight, variance = _unknown(stacks, terms, melt_log, bends)
        return Alike(
            melt_log=melt_log,
            choice_log=(choices + shared[:, None])[:, None] + about,
            weight=weight,
            variance=variance + self._nameless(stacks),
            noise=self.noise(stacks),
            mix=self.mix,
            bends=bends,
            wall=wall,
        )

    def noise(self, stacks: Stacks) -> Floats:
        """Variance of the margins of each piece that no log could tell, shape (n,)."""
        coats = (self.coat_sd / priors.COAT_SD) ** 2 * priors.coat_variance(stacks)
        pairs = self.pair_variance / priors.PAIRED_VARIANCE * priors.paired_variance(stacks)
        return np.asarray(self.noise_sd**2 + coats + pairs, dtype=float)

    def _nameless(self, stacks: Stacks) -> Floats:
        """Variance of a firing that has no name yet, shape (n,)."""
        nameless = np.array([name is None for name in stacks.firing])
        return np.asarray(self.family_sd["firing"] ** 2 * nameless, dtype=float)


@dataclass(frozen=True)
class Terms:
    """Effects of a studio and of some pieces together.

    Attributes
    ----------
    known : dict
        Place of each.
    mean : ndarray, shape (p + r,)
    covariance : ndarray, shape (p, p)
        Of those a log has.
    new_variance : ndarray, shape (r,)
        Of the others, which come last.
    """

    known: dict[Effect, int]
    mean: Floats
    covariance: Floats
    new_variance: Floats

    def covariance_of(self, places: Indices, glaze_variance: dict[int, float]) -> Floats:
        """Of some of the effects, new glazes with the variance at the heat of one piece."""
        count = len(self.covariance)
        old = places < count
        new = np.zeros(len(places))
        new[~old] = [glaze_variance.get(p, self.new_variance[p - count]) for p in places[~old]]
        if not old.any():
            return np.diag(new)
        at = np.minimum(places, count - 1)
        return np.where(old[:, None] & old, self.covariance[np.ix_(at, at)], np.diag(new))


def choice_effects(
    stacks: Stacks, known: dict[Effect, int], shares: Floats, first: Indices
) -> Floats:
    """Coefficients of effects in each choice of some of the pieces, all at the usual height.

    Parameters
    ----------
    stacks : Stacks of n pieces
    known : dict
        Column of each effect.
    shares : ndarray, shape (n, c, k)
    first : ndarray of int, shape (m,)
        The pieces.

    Returns
    -------
    ndarray, shape (m, c, len(known))
    """
    k, count = stacks.present.shape[1], shares.shape[1]
    part = stacks.take(first)
    blocks = np.arange(len(first))
    melts = effects.melt_design(part, known).dense(blocks * k, k)
    choices = effects.choice_design(part, known).dense(blocks * count, count)
    pieces = effects.piece_design(part, known).dense(blocks, 1)
    return np.asarray(shares[first] @ melts + choices + pieces, dtype=float)


def names_alike(stacks: Stacks) -> Indices:
    """Number of the group of each piece of which the same is known, shape (n,).

    Of one group are pieces of the same glazes, methods, body and firing at one heat, wherever
    their glaze lies.
    """
    columns: list[AnyArray] = [stacks.glaze, stacks.measured, stacks.solid]
    columns.append(stacks.viscosity_log10_pa_s)
    columns += [pd.factorize(stacks.method.ravel())[0].reshape(stacks.method.shape)]
    columns += [pd.factorize(names)[0][:, None] for names in (stacks.body, stacks.firing)]
    columns.append(stacks.ramp_c_per_h[:, None])
    table = np.concatenate([np.asarray(column, dtype=float) for column in columns], axis=1)
    return np.unique(table, axis=0, return_inverse=True)[1].ravel()


GROUPS_AT_ONCE = 200


def _unknown(
    stacks: Stacks, terms: Terms, melt_log: Floats, bends: film.Bends
) -> tuple[Floats, Floats, Floats]:
    """Ways the choices of each piece may turn out (n, q, c), their chances, what is left over."""
    moving = effects.Moving.of(stacks)
    _, count, k = moving.part.shape
    fluid_log = melt_log - np.log(10.0) * stacks.viscosity_log10_pa_s
    shares = moving.shares(fluid_log, bends.mixing)
    group = names_alike(stacks)
    first = np.unique(group, return_index=True)[1]
    directions = min(k - 1, MOST_DIRECTIONS)
    glaze_sd = priors.glaze_prior(stacks)[1]
    glaze_at = {name: terms.known.get(("glaze", name), -1) for name in stacks.glazes}
    about = np.zeros((len(first), 2 * directions + 1, count))
    weight = np.zeros((len(first), 2 * directions + 1))
    variance = np.zeros(len(first))
    for start in range(0, len(first), GROUPS_AT_ONCE):
        some = first[start : start + GROUPS_AT_ONCE]
        rows = choice_effects(stacks, terms.known, shares, some)
        for i, piece in enumerate(some):
            valid = moving.valid[piece]
            used = np.flatnonzero(np.abs(rows[i]).sum(axis=0) > 0)
            acts = rows[i][valid][:, used]
            own = {
                glaze_at[stacks.glazes[glaze]]: sd**2
                for glaze, sd in zip(stacks.glaze[piece], glaze_sd[piece], strict=True)
                if glaze >= 0
            }
            spread = acts @ terms.covariance_of(used, own) @ acts.T
            at = start + i
            about[at][:, valid], weight[at], variance[at] = _star(spread, directions)
    return about[group], weight[group], variance[group]


def _star(spread: Floats, directions: int) -> tuple[Floats, Floats, float]:
    """A few points for a normal of several numbers, and what all of them share.

    Parameters
    ----------
    spread : ndarray, shape (c, c)
        Covariance.
    directions : int
        Most directions besides the common one.

    Returns
    -------
    points : ndarray, shape (2 directions + 1, c)
    weight : ndarray, shape (2 directions + 1,)
    variance : float
        Of what is common to all c, the mean of what is in no direction with it.
    """
    count = len(spread)
    one = np.ones(count)
    sound = spread + (LEAST_VARIANCE + 1e-9 * np.trace(spread)) * np.eye(count)
    shared = 1.0 / float(one @ np.linalg.solve(sound, one))
    values, vectors = np.linalg.eigh(sound - shared)
    order = np.argsort(-values, kind="stable")[: min(directions, count - 1)]
    points = np.zeros((2 * directions + 1, count))
    weight = np.zeros(2 * directions + 1)
    weight[0] = 1.0 - len(order) / 3.0
    left = np.maximum(values, 0.0).sum()
    for i, at in enumerate(order):
        reach = POINT * np.sqrt(max(values[at], 0.0)) * vectors[:, at]
        points[1 + 2 * i], points[2 + 2 * i] = reach, -reach
        weight[1 + 2 * i : 3 + 2 * i] = 1.0 / 6.0
        left -= max(values[at], 0.0)
    return points, weight, shared + max(left, 0.0) / count


def prior_by_glaze(stacks: Stacks) -> dict[str, tuple[float, float]]:
    """Prior of each glaze: the mean over its layers, which differ in nothing but the heat."""
    mean, sd = priors.glaze_prior(stacks)
    names = stacks.glaze_name
    found = {}
    for name in set(names[stacks.present]):
        mine = (names == name) & stacks.present
        found[name] = (float(mean[mine].mean()), float(sd[mine].mean()))
    return found
