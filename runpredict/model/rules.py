"""How far layers run when no log says better: physics, and rules of thumb for what it omits.

Physics gives one run; the truth scatters about it, because a glaze moves more or less than its
chemistry says, two glazes together more than either, kilns, hands, bodies, firings and shelves
differ, coats are uneven, and drips run ahead. Each of these is a factor on the mobility of a
layer or of all that lies above an edge. A prediction is a set of equally likely draws of all of
them together, the same for every piece, so that more glaze, more heat or a lower edge raises
the chance in each draw and therefore in all.

All spreads below are standard deviations of the natural log of mobility, where not said
otherwise; common practice, no source, checked against simulated studios.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from statistics import NormalDist
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from runpredict.arrays import AnyArray, Bools, Floats, Indices
from runpredict.model.features import Stacks
from runpredict.physics import film

GLAZE_SD = 0.9  # a glaze of known chemistry, besides the error of its viscosity
# A word on a jar is right about three times in four; shift and spread allow for that.
BEHAVIOUR_SHIFT = {"stiff": -1.8, "stable": -0.8, "": 0.0, "fluid": 0.6, "runny": 1.4}
BEHAVIOUR_SD = {"stiff": 1.4, "stable": 1.3, "": 1.6, "fluid": 1.3, "runny": 1.3}
PAIR_MEAN, PAIR_SD = 0.25, 0.5  # two glazes over each other
KILN_SD, BODY_SD, FIRING_SD, PLACE_SD = 0.5, 0.2, 0.25, 0.33
HAND_SD = 0.25  # natural log of thickness: this potter's coats against typical ones
COAT_SD = 0.28  # natural log of thickness: one coat against another
EDGE_SD = 0.38  # unevenness of an edge, and drips ahead of it
# A film that would creep less than this stays where it is, held by its own contact line.
HELD_BACK_M = 1.0e-3
DRAWS = 64
ORDERS_TRIED = 200
LOGISTIC_PER_SD = 1.702  # logistic curve nearest the normal one, Johnson & Kotz, vol. 2 (1970)

RUN_LEVELS = (0.05, 0.50, 0.95)  # quantiles of the run that are told


@lru_cache(maxsize=16)
def spread_normals(dimensions: int, draws: int) -> Floats:
    """Evenly spread standard normal numbers, the same at every call.

    Parameters
    ----------
    dimensions, draws : int

    Returns
    -------
    ndarray, shape (dimensions, draws)
        Each row holds the same `draws` quantiles of the normal distribution, in an order as
        unlike those of the rows before it as any of some hundred. A row is the same however
        many follow it, so that what is said of a piece does not hang on other pieces.

    References
    ----------
    Latin hypercube of least correlation: Iman & Conover (1982), Commun. Stat. B 11:311-334,
    here by trial, a row at a time.
    """
    normal = NormalDist()
    levels = np.array([normal.inv_cdf((i + 0.5) / draws) for i in range(draws)])
    table = np.empty((dimensions, draws))
    for row in range(dimensions):
        trials = np.tile(levels, (ORDERS_TRIED, 1))
        np.random.default_rng([row, draws]).permuted(trials, axis=1, out=trials)
        likeness = np.abs(trials @ table[:row].T).max(axis=1, initial=0.0)
        table[row] = trials[likeness.argmin()]
    table.setflags(write=False)
    return table


# Rows of `spread_normals`: what all layers share, then what each has of its own.
SHARED_ROWS = 2  # common, hand
LAYER_ROWS = 4  # coat, pair, glaze, edge


def deviations(layers: int, draws: int) -> tuple[Floats, Floats]:
    """Standard normal deviations of one piece.

    Returns
    -------
    shared : ndarray, shape (2, draws): of all its layers, and of the hand that coated it
    own : ndarray, shape (4, layers, draws): of each coat, pair, glaze and edge
    """
    table = spread_normals(SHARED_ROWS + LAYER_ROWS * layers, draws)
    own = table[SHARED_ROWS:].reshape(layers, LAYER_ROWS, draws).swapaxes(0, 1)
    return table[:SHARED_ROWS], own


@dataclass(frozen=True)
class Draws:
    """Equally likely deviations from physics, for n pieces of up to k layers.

    Attributes
    ----------
    layer_log : ndarray, shape (n, k, draws)
        Natural log of the factor on the mobility of each layer, its thickness included.
    edge_log : ndarray, shape (n, k, draws)
        The same of all that moves an edge.
    edge_sd : float or ndarray, shape (draws,)
        Spread of what is left, of its own for each edge.
    calibration : (float, float)
        Shift and slope, above 0, of the log odds of every chance.
    """

    layer_log: Floats
    edge_log: Floats
    edge_sd: float | Floats
    calibration: tuple[float, float] = (0.0, 1.0)

    def take(self, pieces: AnyArray) -> Draws:
        """The draws of some of the pieces."""
        return replace(self, layer_log=self.layer_log[pieces], edge_log=self.edge_log[pieces])

    def _mobility_log(self, stacks: Stacks) -> Floats:
        """Log mobility of what moves each edge, (n, k, draws), all but its own unevenness."""
        layers = stacks.mobility_log[..., None] + self.layer_log
        return np.matmul(stacks.shares, layers) + self.edge_log

    def risk(self, stacks: Stacks) -> tuple[Floats, Floats]:
        """Chance of passing the foot.

        Parameters
        ----------
        stacks : Stacks of n pieces

        Returns
        -------
        layer : ndarray, shape (n, k)
            Chance that the layer's lower edge passes the foot's edge, 0 where there is none.
        piece : ndarray, shape (n,)
            Chance that any of them does.
        """
        past = self.passing(stacks, stacks.lower_m + HELD_BACK_M)
        piece = 1.0 - (1.0 - past).prod(axis=1).mean(axis=1)
        return calibrated(past.mean(axis=2), self.calibration), calibrated(piece, self.calibration)

    def passing(self, stacks: Stacks, reach_m: Floats) -> Floats:
        """Chance of running at least ``reach_m`` (n, k), in each draw, (n, k, draws)."""
        need = film.log_mobility_to_reach(stacks.wall, reach_m)
        short = np.where(stacks.glazed, need, np.inf)[..., None] - self._mobility_log(stacks)
        steps = np.clip(short * (LOGISTIC_PER_SD / self.edge_sd), -700.0, 700.0)
        return np.asarray(1.0 / (1.0 + np.exp(steps)), dtype=float)

    def runs_m(self, stacks: Stacks) -> Floats:
        """Equally likely runs of every lower edge, shape (n, k, draws). [m]"""
        runs = film.run_m(stacks.wall, self._mobility_log(stacks) + self._own())
        return np.where(stacks.glazed[..., None], np.maximum(runs - HELD_BACK_M, 0.0), 0.0)

    def past_foot_m3(self, stacks: Stacks) -> Floats:
        """Equally likely volumes of glaze past the foot of each piece, (n, draws). [m³]"""
        per_rim = film.volume_past_m2(
            stacks.wall, self._mobility_log(stacks) + self._own(), stacks.lower_m + HELD_BACK_M
        )
        glazed = np.where(stacks.glazed[..., None], per_rim, 0.0)
        return glazed.max(axis=1) * np.pi * stacks.foot_m[:, None]

    def _own(self) -> Floats:
        k, draws = self.layer_log.shape[1:]
        return deviations(k, draws)[1][3] * self.edge_sd


def glaze_prior(stacks: Stacks) -> tuple[Floats, Floats]:
    """What is expected of each layer's glaze before any of it was fired.

    Parameters
    ----------
    stacks : Stacks of n pieces with up to k layers

    Returns
    -------
    mean, sd : ndarray, shape (n, k)
        Of the natural log of the factor on its mobility.
    """
    known_sd = np.hypot(GLAZE_SD, np.log(10.0) * stacks.melt_sd_log10)
    mean, sd = np.zeros(known_sd.shape), known_sd
    for word, shift in BEHAVIOUR_SHIFT.items():
        jar = (stacks.behaviour == word) & ~stacks.chemistry_known
        mean, sd = np.where(jar, shift, mean), np.where(jar, BEHAVIOUR_SD[word], sd)
    return mean, sd


def held_back_log(stacks: Stacks, layer_log: Floats, pair_log: Floats) -> Floats:
    """What a mixture lacks to what moves an edge where no layer is trusted to hold back others.

    Parameters
    ----------
    stacks : Stacks of n pieces with up to k layers
    layer_log : ndarray, shape (n, k, draws)
        As in `Draws`.
    pair_log : ndarray, shape (k, draws)
        Added to each edge where there is more than one layer.

    Returns
    -------
    ndarray, shape (n, k, draws)
        An edge moves as fast as with any fewer of the layers over it, so that a further layer
        on top never makes a piece safer; this is the natural log of that speed over the speed
        of the mixture of all layers, `pair_log` included.
    """
    layers = stacks.mobility_log[..., None] + layer_log
    fastest = layers.copy()
    for count in range(2, layers.shape[1] + 1):
        some = stacks.present[:, :count]
        mixed = np.matmul(film.mixing_shares(some), layers[:, :count]) + pair_log[:count]
        mixed[:, :-1] = np.maximum(mixed[:, :-1], fastest[:, : count - 1])
        fastest[:, :count] = np.where(some[:, -1:, None], mixed, fastest[:, :count])
    return np.asarray(fastest - np.matmul(stacks.shares, layers), dtype=float)


def calibrated(chance: Floats, calibration: tuple[float, float]) -> Floats:
    """Chances with their log odds shifted and stretched, as `Draws.calibration` says."""
    shift, slope = calibration
    if (shift, slope) == (0.0, 1.0):
        return chance
    with np.errstate(divide="ignore"):
        odds = np.log(chance) - np.log1p(-np.minimum(chance, 1.0 - 1e-15))
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip(shift + slope * odds, -700, 700))))


def run_quantiles(runs: Floats) -> Floats:
    """Quantiles `RUN_LEVELS` of equally likely runs (n, k, draws), shape (n, k, 3)."""
    return np.moveaxis(np.quantile(runs, RUN_LEVELS, axis=2), 0, 2)


def within_range(run_mm: ArrayLike, low_mm: ArrayLike, high_mm: ArrayLike) -> Bools:
    """Whether runs lie within the ranges told for them, both ends taken to the whole millimetre.

    Runs are read off a ruler: a finer range than its marks could never be kept. Not where there
    is no run.
    """
    run = np.asarray(run_mm, dtype=float)
    return (run >= np.floor(low_mm)) & (run <= np.ceil(high_mm))


def evenly(total: int, count: int) -> Indices:
    """Places of `count` draws spread evenly over `total`."""
    return np.linspace(0, total - 1, count).round().astype(np.intp)


def pair_of_layers(pair: Floats, sd: float | Floats) -> Floats:
    """What a pair of unknown glazes adds at each edge, (k, draws), from a deviation a layer.

    The first layer shares its pair with the second.
    """
    k = len(pair)
    return PAIR_MEAN + sd * pair[np.maximum(np.arange(k), min(1, k - 1))]


def pooled(parts: Sequence[tuple[Draws, int]]) -> Draws:
    """Draws of several sets, spread evenly over each, as one.

    Parameters
    ----------
    parts : sequence of (Draws, how many of its draws to take)

    Returns
    -------
    Draws, not calibrated
    """
    first = [(part, evenly(part.edge_log.shape[2], count)) for part, count in parts if count > 0]
    spread = [
        np.broadcast_to(np.asarray(part.edge_sd, dtype=float), part.edge_log.shape[2:])[some]
        for part, some in first
    ]
    return Draws(
        layer_log=np.concatenate([part.layer_log[..., some] for part, some in first], axis=2),
        edge_log=np.concatenate([part.edge_log[..., some] for part, some in first], axis=2),
        edge_sd=np.concatenate(spread),
    )


class Predictor(Protocol):
    """Anything that draws what physics leaves out."""

    @property
    def basis(self) -> str:
        """`rules`, `blend` or `learned`."""

    @property
    def share(self) -> float:
        """Share of a log's model in the answer, 0 to 1."""

    def draws(self, stacks: Stacks) -> Draws:
        """Deviations for some pieces."""

    def seen(self) -> dict[str, int] | None:
        """How many logged layers there are of each glaze; None without a log."""


class RulesPredictor:
    """Physics and rules of thumb, with no log."""

    basis = "rules"
    share = 0.0

    def seen(self) -> None:
        """No log, no layers."""

    def draws(self, stacks: Stacks) -> Draws:
        """Deviations for these pieces.

        Parameters
        ----------
        stacks : Stacks of n pieces with up to k layers

        Returns
        -------
        Draws
        """
        k = stacks.present.shape[1]
        (common, hand), (coat, pair, glaze, _) = deviations(k, DRAWS)
        mean, sd = glaze_prior(stacks)
        uneven = np.where(stacks.measured[..., None], 0.0, 2.0 * (HAND_SD * hand + COAT_SD * coat))
        pairs = pair_of_layers(pair, PAIR_SD)
        shared = float(np.hypot.reduce([KILN_SD, BODY_SD, FIRING_SD, PLACE_SD]))
        layer_log = mean[..., None] + sd[..., None] * glaze[stacks.first_of_glaze] + uneven
        return Draws(
            layer_log=layer_log,
            edge_log=shared * common + held_back_log(stacks, layer_log, pairs),
            edge_sd=EDGE_SD,
        )
