"""Chances of passing the foot, and how far layers run, from what is known of melts and edges.

The margin of an edge is the natural log of the mobility of what moves it over what it takes to
pass. Its mean follows the film; its spread belongs to the glazes and their pairs, the kiln and the
hand, and never to a thickness, an edge, a wall or the heat. So whatever lengthens the run of the
film raises every chance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import ArrayLike

from runpredict.arrays import AnyArray, Bools, Floats
from runpredict.model.noise import chance_above, quantile
from runpredict.model.stacks import Stacks
from runpredict.physics import film

if TYPE_CHECKING:
    from runpredict.model.learned import Studio

RUN_LEVELS = (0.05, 0.50, 0.95)  # quantiles of the run that are told
# A film that would creep less than this stays where it is, held by its own contact line.
HELD_BACK_M = 1.0e-3
# How far the edges of one piece go together: the part of the largest chance in that of any, the
# rest as if each went for itself. Our choice, checked against simulated studios.
TOGETHER = 0.7
USUAL_THICKNESS_M = 0.25e-3  # fired, about which a log's power of thickness turns. Our choice.


@dataclass(frozen=True)
class Shape:
    """How the film's answer is bent by what is seen; 0 everywhere is the film itself.

    Attributes
    ----------
    caution : float, 0 to below 1
        See `film.log_factor_to_reach`.
    wall : float, above -1
        Power of the slope besides the film's own.
    thickness : float, above -1
        Power of the thickness besides the film's own.
    """

    caution: float = 0.0
    wall: float = 0.0
    thickness: float = 0.0

    def films(self, stacks: Stacks, melt_log: Floats) -> list[film.Film]:
        """All that may move on each piece, with a step in the log mobility of each melt."""
        thick = stacks.joined_thickness_m
        bent = USUAL_THICKNESS_M * (thick / USUAL_THICKNESS_M) ** (1.0 + self.thickness)
        melt = stacks.mobility_log + melt_log + self.wall * np.log(stacks.slope)
        return film.films(stacks.lower_m, stacks.upper_m, bent, melt)


@dataclass(frozen=True)
class Chances:
    """What is known of n pieces with up to k layers besides where their glaze lies.

    Attributes
    ----------
    melt_log : ndarray, shape (n, k)
        Added to the natural log of the mobility of each melt.
    edge_log : ndarray, shape (n, k)
        Added to the margin of each edge.
    variance, noise : ndarray, shape (n, k)
        Of the margin: of what lasts and is not known; and the noise, see `noise.chance_above`.
    mix : ndarray, shape (3,)
    shape : Shape
    calibration : (float, float)
        Shift and slope, above 0, of the log odds of every chance.
    """

    melt_log: Floats
    edge_log: Floats
    variance: Floats
    noise: Floats
    mix: Floats
    shape: Shape
    calibration: tuple[float, float] = (0.0, 1.0)

    def take(self, pieces: AnyArray) -> Chances:
        """Those of some of the pieces."""
        arrays = ("melt_log", "edge_log", "variance", "noise")
        return replace(self, **{name: getattr(self, name)[pieces] for name in arrays})

    def passing(self, stacks: Stacks, reach_m: Floats) -> Floats:
        """Chance of running at least ``reach_m`` (n, k), shape (n, k)."""
        moving = self.shape.films(stacks, self.melt_log)
        need = film.log_factor_to_reach(moving, reach_m + HELD_BACK_M, self.shape.caution)
        margin = np.clip(self.edge_log - need, -1e6, 1e6)
        chance = chance_above(margin, self.variance, self.noise, self.mix)
        chance = np.where(stacks.glazed & np.isfinite(need), chance, 0.0)
        return np.take_along_axis(chance, stacks.twin, axis=1)

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
        past = calibrated(self.passing(stacks, stacks.lower_m), self.calibration)
        own = stacks.twin == np.arange(past.shape[1])
        alone = 1.0 - np.where(own, 1.0 - past, 1.0).prod(axis=1)
        return past, TOGETHER * past.max(axis=1, initial=0.0) + (1.0 - TOGETHER) * alone

    def run_quantiles_m(self, stacks: Stacks) -> Floats:
        """Quantiles `RUN_LEVELS` of the run of each lower edge, to the foot at most, (n, k, 3)."""
        moving = self.shape.films(stacks, self.melt_log)
        factor = np.stack([self._factor_log(level) for level in RUN_LEVELS], axis=2)
        most = stacks.lower_m + HELD_BACK_M
        runs = film.run_m(moving, factor, most, self.shape.caution)
        runs = np.clip(runs - HELD_BACK_M, 0.0, stacks.lower_m[..., None])
        runs = np.take_along_axis(runs, stacks.twin[..., None], axis=1)
        return np.where(stacks.glazed[..., None], runs, 0.0)

    def past_foot_m3(self, stacks: Stacks) -> Floats:
        """Glaze past the foot of each piece, not exceeded 19 times in 20, shape (n,). [m³]"""
        moving = self.shape.films(stacks, self.melt_log)
        most = self._factor_log(RUN_LEVELS[2])
        per_rim = film.volume_past_m2(moving[0], most, stacks.lower_m + HELD_BACK_M)
        glazed = np.where(stacks.glazed, per_rim, 0.0)
        return np.asarray(glazed.max(axis=1) * np.pi * stacks.foot_m, dtype=float)

    def driving(self, stacks: Stacks) -> Floats:
        """Part of each melt in what drives each edge past the foot: edge, layer; (n, k, k)."""
        moving = self.shape.films(stacks, self.melt_log)
        return film.driving(moving, stacks.lower_m + HELD_BACK_M, self.shape.caution)[0]

    def _factor_log(self, level: float) -> Floats:
        return self.edge_log + quantile(level, self.variance, self.noise, self.mix)


@dataclass(frozen=True)
class Blend:
    """Chances from several who are each right with some weight; asked as `Chances`.

    Attributes
    ----------
    parts : sequence of (weight, Chances)
        Weights sum to 1. The runs told are the mean of theirs, quantile by quantile.
    """

    parts: Sequence[tuple[float, Chances]]

    def take(self, pieces: AnyArray) -> Blend:
        """Those of some of the pieces."""
        return Blend([(weight, part.take(pieces)) for weight, part in self.parts])

    def passing(self, stacks: Stacks, reach_m: Floats) -> Floats:
        """As `Chances.passing`."""
        return self._mean([(w, part.passing(stacks, reach_m)) for w, part in self.parts])

    def risk(self, stacks: Stacks) -> tuple[Floats, Floats]:
        """As `Chances.risk`."""
        told = [(weight, part.risk(stacks)) for weight, part in self.parts]
        layer, piece = ([(w, risk[i]) for w, risk in told] for i in range(2))
        return self._mean(layer), self._mean(piece)

    def run_quantiles_m(self, stacks: Stacks) -> Floats:
        """As `Chances.run_quantiles_m`."""
        return self._mean([(w, part.run_quantiles_m(stacks)) for w, part in self.parts])

    def past_foot_m3(self, stacks: Stacks) -> Floats:
        """As `Chances.past_foot_m3`."""
        return self._mean([(w, part.past_foot_m3(stacks)) for w, part in self.parts])

    def driving(self, stacks: Stacks) -> Floats:
        """As `Chances.driving`."""
        return self._mean([(w, part.driving(stacks)) for w, part in self.parts])

    @staticmethod
    def _mean(weighted: Sequence[tuple[float, Floats]]) -> Floats:
        return np.asarray(sum(weight * values for weight, values in weighted), dtype=float)


class Predictor(Protocol):
    """Anything that tells what physics leaves out."""

    @property
    def basis(self) -> str:
        """`rules`, `blend` or `learned`."""

    @property
    def share(self) -> float:
        """Share of a log's model in the answer, 0 to 1."""

    @property
    def studio(self) -> Studio | None:
        """What a log taught; None without one."""

    def chances(self, stacks: Stacks) -> Chances | Blend:
        """What is known of some pieces."""

    def seen(self) -> dict[str, int] | None:
        """How many logged layers there are of each glaze; None without a log."""


def calibrated(chance: Floats, calibration: tuple[float, float]) -> Floats:
    """Chances with their log odds shifted and stretched, as `Chances.calibration` says."""
    shift, slope = calibration
    if (shift, slope) == (0.0, 1.0):
        return chance
    with np.errstate(divide="ignore"):
        odds = np.log(chance) - np.log1p(-np.minimum(chance, 1.0 - 1e-15))
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip(shift + slope * odds, -700, 700))))


def within_range(run_mm: ArrayLike, low_mm: ArrayLike, high_mm: ArrayLike) -> Bools:
    """Whether runs lie within the ranges told for them, both ends taken to the whole millimetre.

    Runs are read off a ruler: a finer range than its marks could never be kept. Not where there
    is no run.
    """
    run = np.asarray(run_mm, dtype=float)
    return (run >= np.floor(low_mm)) & (run <= np.ceil(high_mm))
