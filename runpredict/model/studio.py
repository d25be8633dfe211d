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
from runpredict.model.mixture import MIX_SHARES
from runpredict.model.stacks import Stacks
from runpredict.physics import speeds

# Directions in which what is not known of a piece's choices is followed; the rest is as if it were
# common to all. A star of three points each holds their weights only up to three.
MOST_DIRECTIONS = 3
POINT = np.sqrt(3.0)  # standard deviations from the middle to a point: Gauss-Hermite of three
LEAST_VARIANCE = 1e-9
GROUPS_AT_ONCE = 1000  # pieces of which the same is known, so many kinds at a time


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
    noise_sd, pair_variance, coat_sd, wave_m : float
        Of the noise of an edge; its variance besides where a piece has several glazes; natural
        log of thickness, one coat against another; how far an edge strays. [m]
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
    wave_m: float = priors.WAVE_M
    mix: Floats = field(default_factory=lambda: MIX_SHARES)
    seen: dict[str, int] = field(default_factory=dict)

    @cached_property
    def family_sd(self) -> dict[str, float]:
        """Spread of each family, as expected where the log has none of it."""
        learned = {family: float(self.sd[i]) for (family, _), i in self.known.items()}
        return {name: learned.get(name, family.sd) for name, family in priors.FAMILIES.items()}

    def means_of(self, known: dict[Effect, int], expected: Floats) -> Floats:
        """Means of some effects in their places, as expected where they are not known."""
        pairs = zip(known, expected, strict=True)
        means = [self.mean[self.known[e]] if e in self.known else prior for e, prior in pairs]
        return np.array(means, dtype=float)

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
            wave_m=self.wave_m,
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

    @property
    def variance(self) -> Floats:
        """Of each effect, shape (p + r,)."""
        return np.append(np.diag(self.covariance), self.new_variance)

    def covariance_of(self, places: Indices, variance: Floats) -> Floats:
        """Between some of the effects, (g, m, m), those that are new with a variance each, (g, m).

        One effect may be named twice.
        """
        one, other = places[:, :, None], places[:, None, :]
        count = len(self.covariance)
        found = np.where((one == other) & (one >= count), variance[:, :, None], 0.0)
        if count:
            last = count - 1
            learned = self.covariance[np.minimum(one, last), np.minimum(other, last)]
            found = np.where((one < count) & (other < count), learned, found)
        return found


def names_alike(stacks: Stacks) -> Indices:
    """Number of the group of each piece of which the same is known, shape (n,).

    Of one group are pieces of the same glazes, methods, body and firing at one heat, and alike in
    all that is named besides, wherever their glaze lies.
    """
    columns: list[AnyArray] = [stacks.glaze, stacks.measured, stacks.solid, stacks.dip_told]
    columns.append(np.isnan(stacks.heat_log)[:, None])
    columns.append(stacks.viscosity_log10_pa_s)
    columns += [pd.factorize(stacks.method.ravel())[0].reshape(stacks.method.shape)]
    columns += [pd.factorize(names)[0][:, None] for names in (stacks.body, stacks.firing)]
    columns.append(stacks.ramp_c_per_h[:, None])
    for named in stacks.named_besides.values():
        codes = pd.factorize(named.ravel())[0]
        columns.append(codes.reshape(len(named), -1))
    table = np.concatenate([np.asarray(column, dtype=float) for column in columns], axis=1)
    return np.unique(table, axis=0, return_inverse=True)[1].ravel()


def _unknown(
    stacks: Stacks, terms: Terms, melt_log: Floats, bends: speeds.Bends
) -> tuple[Floats, Floats, Floats]:
    """Ways the choices of each piece may turn out (n, q, c), their chances, what is left over."""
    fluid_log = melt_log - np.log(10.0) * stacks.viscosity_log10_pa_s
    group = names_alike(stacks)
    first = np.unique(group, return_index=True)[1]
    found = []
    for start in range(0, len(first), GROUPS_AT_ONCE):
        some = first[start : start + GROUPS_AT_ONCE]
        spread = _spread(stacks.take(some), terms, fluid_log[some], bends)
        found.append(_star(spread, min(stacks.present.shape[1] - 1, MOST_DIRECTIONS)))
    about, weight, variance = (np.concatenate([each[i] for each in found])[group] for i in range(3))
    return about, weight, variance


def _spread(stacks: Stacks, terms: Terms, fluid_log: Floats, bends: speeds.Bends) -> Floats:
    """Covariance of the log speeds of all choices of each piece, shape (g, c, c).

    At the usual height, with as much of every glaze.
    """
    shares = effects.Moving.of(stacks).shares(fluid_log, bends.mixing)
    g, count, k = shares.shape
    melt, melts = effects.melt_design(stacks, terms.known).padded()
    choice, choices = effects.choice_design(stacks, terms.known).padded()
    piece, pieces = effects.piece_design(stacks, terms.known).padded()
    places = np.concatenate([each.reshape(g, -1) for each in (melt, choice, piece)], axis=1)
    own = np.zeros((g, count, count, choices.shape[1]))
    each = np.arange(count)
    own[:, each, each] = choices.reshape(g, count, -1)
    acts = np.concatenate(
        [
            (shares[..., None] * melts.reshape(g, 1, k, -1)).reshape(g, count, -1),
            own.reshape(g, count, -1),
            np.broadcast_to(pieces[:, None], (g, count, pieces.shape[1])),
        ],
        axis=2,
    )
    variance = terms.variance[places]
    # A glaze that no log has is as sure as its viscosity at the heat of its own piece.
    glazes = np.array([family == "glaze" for family, _ in terms.known])
    by_layer = np.repeat(priors.glaze_prior(stacks)[1] ** 2, melts.shape[1], axis=1)
    mine = slice(0, by_layer.shape[1])
    variance[:, mine] = np.where(glazes[places[:, mine]], by_layer, variance[:, mine])
    spread = acts @ terms.covariance_of(places, variance) @ acts.swapaxes(1, 2)
    return np.asarray(spread, dtype=float)


def _star(spread: Floats, directions: int) -> tuple[Floats, Floats, Floats]:
    """A few points for normals of several numbers, and what all of them share.

    Parameters
    ----------
    spread : ndarray, shape (g, c, c)
        Covariances.
    directions : int
        Directions besides the common one, fewer than c.

    Returns
    -------
    points : ndarray, shape (g, 2 directions + 1, c)
    weight : ndarray, shape (g, 2 directions + 1)
    variance : ndarray, shape (g,)
        Of what is common to all c, the mean of what is in no direction with it.
    """
    g, count, _ = spread.shape
    trace = np.trace(spread, axis1=1, axis2=2)
    sound = spread + (LEAST_VARIANCE + 1e-9 * trace)[:, None, None] * np.eye(count)
    shared = 1.0 / np.linalg.solve(sound, np.ones((g, count, 1))).sum(axis=(1, 2))
    values, vectors = np.linalg.eigh(sound - shared[:, None, None])
    values = np.maximum(values[:, ::-1], 0.0)
    reach = POINT * np.sqrt(values[:, None]) * vectors[:, :, ::-1]
    points = np.zeros((g, 2 * directions + 1, count))
    points[:, 1::2] = reach[:, :, :directions].swapaxes(1, 2)
    points[:, 2::2] = -points[:, 1::2]
    weight = np.full((g, 2 * directions + 1), 1.0 / 6.0)
    weight[:, 0] = 1.0 - directions / 3.0
    return points, weight, shared + values[:, directions:].sum(axis=1) / count


def prior_by_glaze(stacks: Stacks) -> dict[str, tuple[float, float]]:
    """Prior of each glaze: the mean over its layers, which differ in nothing but the heat."""
    mean, sd = priors.glaze_prior(stacks)
    names = stacks.glaze_name
    found = {}
    for name in set(names[stacks.present]):
        mine = (names == name) & stacks.present
        found[name] = (float(mean[mine].mean()), float(sd[mine].mean()))
    return found
