"""Chances of passing the foot, and how far layers run, from what is known of melts and edges.

The margin of an edge is the natural log of the mobility of what moves it over what it takes to
pass. It follows the film; what is not known of it belongs to the glazes and their pairs, the kiln
and the hand, and never to a thickness, an edge, a wall or the heat. So whatever lengthens the run
of the film raises every chance, and every figure told, of one layer or of a whole piece, of
passing or of the run, is of one and the same distribution.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from runpredict.arrays import AnyArray, Bools, Floats, Indices
from runpredict.model.mixture import chance_above
from runpredict.model.stacks import Stacks
from runpredict.physics import film, speeds

SIDES = (-1.0, 1.0)  # of the way of an edge that strays
RUN_LEVELS = (0.05, 0.50, 0.95)  # quantiles of the run that are told
LEAST_READ_M = 0.5e-3  # the least run told, where any is: nobody reads less off a pot
RUN_STEPS = 8  # runs at which the chance is worked out, before one more near each that is told
HALVINGS, WIDEST = 40, 200.0
STEP_LOG = 0.05  # a step of a melt by which its part in a margin is read


@dataclass(frozen=True)
class Alike:
    """What is known of n pieces with k layers each besides where their glaze lies.

    Attributes
    ----------
    melt_log : ndarray, shape (n, k)
        Added to the natural log of the mobility of each melt.
    choice_log : ndarray, shape (n, q, c)
        Added to the log speed of each choice of layers (`speeds.choices`), in each of q scenarios
        of what is not known of them.
    weight : ndarray, shape (n, q)
        Chance of each scenario; they sum to 1.
    variance, noise : ndarray, shape (n,)
        Of all margins of a piece: of what lasts and is not known, and of what never is the same
        again, see `mixture.chance_above`.
    mix : ndarray, shape (3,)
    bends : speeds.Bends
    wall : float
        Power of the slope besides the film's own.
    wave_m : float
        How far an edge strays from where it was measured, one way or the other. [m]
    calibration : (float, float)
        Shift of every margin, and factor on its spread, by which held-back firings were told best.
    """

    melt_log: Floats
    choice_log: Floats
    weight: Floats
    variance: Floats
    noise: Floats
    mix: Floats
    bends: speeds.Bends
    wall: float
    wave_m: float
    calibration: tuple[float, float] = (0.0, 1.0)

    def take(self, pieces: AnyArray) -> Alike:
        """Those of some of the pieces."""
        arrays = ("melt_log", "choice_log", "weight", "variance", "noise")
        return replace(self, **{name: getattr(self, name)[pieces] for name in arrays})

    def flow_of(self, stacks: Stacks) -> film.Flow:
        """The fastest glaze on each piece, in each way."""
        wall = film.Wall(stacks.lower_m, stacks.upper_m, stacks.thickness_m, stacks.glaze)
        melt = stacks.mobility_log + self.melt_log + self.wall * np.log(stacks.slope)
        return film.flow_of(wall, melt, self.choice_log, self.bends)

    def margins(self, flow: film.Flow, reach_m: Floats, stray_m: float = 0.0) -> Floats:
        """Margin of every edge over running so far, (..., n, k), in each way: (..., q, k, n)."""
        need = film.log_factor_to_reach(flow, reach_m, stray_m)
        return np.clip(self.calibration[0] - need, -1e6, 1e6)

    def _above(self, margin: Floats) -> Floats:
        """Chance that a margin of each piece, (..., n), is above 0 after all."""
        square = self.calibration[1] ** 2
        return chance_above(margin, square * self.variance, square * self.noise, self.mix)

    def _wavy(self, flow: film.Flow, reach_m: Floats) -> tuple[Floats, Floats]:
        """Chance of each way that things may be (2 q, n), and margins in it, (..., 2 q, k, n).

        No edge is level: half of them end as much lower than was measured as the others higher.
        """
        strays_m = [side * self.wave_m for side in SIDES]
        margin = np.concatenate([self.margins(flow, reach_m, stray) for stray in strays_m], axis=-3)
        return np.tile(self.weight.T / len(SIDES), (len(SIDES), 1)), margin

    def ways(self, stacks: Stacks) -> tuple[Floats, Floats]:
        """Chance of each way that things may be, and the highest margin over the foot, (w, n)."""
        weight, margin = self._wavy(self.flow_of(stacks), stacks.lower_m)
        return weight, np.where(stacks.glazed.T, margin, -1e6).max(axis=1)

    def piece_risk(self, stacks: Stacks) -> Floats:
        """Chance that any layer of each piece passes the foot, (n,)."""
        weight, highest = self.ways(stacks)
        return np.asarray((weight * self._above(highest)).sum(axis=0), dtype=float)

    def passing(self, stacks: Stacks, flow: film.Flow, reach_m: Floats) -> tuple[Floats, Floats]:
        """Chance that each layer (..., n, k), and any (..., n), runs so far, (..., n, k)."""
        weight, margin = self._wavy(flow, reach_m)
        chance = np.where(stacks.glazed.T, self._above(margin), 0.0)
        layer = (weight[:, None] * chance).sum(axis=-3)
        return layer.swapaxes(-1, -2), (weight * chance.max(axis=-2, initial=0.0)).sum(axis=-2)

    def run_quantiles_m(self, stacks: Stacks) -> Floats:
        """As `Chances.run_quantiles_m`."""
        flow = self.flow_of(stacks)

        def odds(run: Floats) -> Floats:
            chance = self.passing(stacks, flow, run)[0]
            return np.log(np.maximum(chance, 1e-12)) - np.log(np.maximum(1.0 - chance, 1e-12))

        most = np.maximum(stacks.lower_m, LEAST_READ_M)
        share = np.linspace(0.0, 1.0, RUN_STEPS)[:, None, None]
        runs = LEAST_READ_M * (most / LEAST_READ_M) ** share
        log_odds = odds(runs)
        level = np.array(RUN_LEVELS)[:, None, None]
        goal = np.log(1.0 - level) - np.log(level)
        low, high = (runs[0], log_odds[0]), (runs[-1], log_odds[-1])
        for run, at in zip(runs, log_odds, strict=True):
            low = _where(at >= goal, (run, at), low)
        for run, at in zip(runs[::-1], log_odds[::-1], strict=True):
            high = _where(at <= goal, (run, at), high)
        between = _between(low, high, goal)
        at = odds(between)
        low = _where(at >= goal, (between, at), low)
        high = _where(at <= goal, (between, at), high)
        quantiles = np.where(log_odds[-1] >= goal, most, _between(low, high, goal))
        quantiles = np.where(log_odds[0] >= goal, quantiles, 0.0)
        # The far end is no finer than a ruler: glaze that stays creeps some of a millimetre.
        quantiles[-1] = np.maximum(quantiles[-1], LEAST_READ_M)
        quantiles = np.minimum(quantiles, stacks.lower_m)
        return np.where(stacks.glazed[..., None], np.moveaxis(quantiles, 0, 2), 0.0)

    def past_foot_m3(self, stacks: Stacks, level: float) -> Floats:
        """As `Chances.past_foot_m3`."""
        flow = self.flow_of(stacks)
        reach = stacks.lower_m
        weight, margin = self._wavy(flow, reach)
        low = np.full(margin.shape[1:], -WIDEST)
        high = -low
        for _ in range(HALVINGS):
            middle = 0.5 * (low + high)
            over = (weight[:, None] * self._above(margin - middle)).sum(axis=0)
            rare = over < 1.0 - level
            low, high = np.where(rare, low, middle), np.where(rare, middle, high)
        need = film.log_factor_to_reach(flow, reach)[0]
        factor = np.where(np.isfinite(need), need, 0.0) + high
        per_rim = film.volume_past_m2(flow, factor.T, reach)
        glazed = np.where(stacks.glazed & (high.T > 0), per_rim, 0.0)
        return np.asarray(glazed.max(axis=1) * np.pi * stacks.foot_m, dtype=float)

    def driving(self, stacks: Stacks) -> Floats:
        """As `Chances.driving`."""
        reach = stacks.lower_m

        def need(step_log: Floats) -> Floats:
            stepped = replace(
                self, melt_log=self.melt_log + step_log, choice_log=self.choice_log[:, :1]
            )
            return film.log_factor_to_reach(stepped.flow_of(stacks), reach)[0].T

        k = stacks.present.shape[1]
        with np.errstate(invalid="ignore"):
            parts = [need(-STEP_LOG * np.eye(k)[j]) - need(STEP_LOG * np.eye(k)[j])
                     for j in range(k)]  # fmt: skip
        share = np.nan_to_num(np.stack(parts, axis=2) / (2.0 * STEP_LOG))
        return np.maximum(share, 0.0)


def _where(which: Bools, one: tuple[Floats, Floats], other: tuple[Floats, Floats]) -> Any:
    return tuple(np.where(which, a, b) for a, b in zip(one, other, strict=True))


def _between(low: tuple[Floats, Floats], high: tuple[Floats, Floats], goal: Floats) -> Floats:
    """Run at which log odds, falling from one run to a farther one, come to a goal."""
    fall = np.maximum(low[1] - high[1], 1e-12)
    part = np.clip((low[1] - goal) / fall, 0.0, 1.0)
    return np.asarray(low[0] * (high[0] / low[0]) ** part, dtype=float)


@dataclass(frozen=True)
class Chances:
    """What is known of n pieces with up to k layers besides where their glaze lies.

    Attributes
    ----------
    parts : tuple of (ndarray of int, Alike)
        Which pieces have each number of layers, and what is known of them.
    """

    parts: tuple[tuple[Indices, Alike], ...]

    def calibrated(self, calibration: tuple[float, float]) -> Chances:
        """The same, see `Alike.calibration`."""
        return Chances(
            tuple((pieces, replace(part, calibration=calibration)) for pieces, part in self.parts)
        )

    def widened(self, factor: float) -> Chances:
        """The same with all margins so many times as uncertain."""
        parts = []
        for pieces, part in self.parts:
            shift, spread = part.calibration
            parts.append((pieces, replace(part, calibration=(shift, factor * spread))))
        return Chances(tuple(parts))

    def take(self, pieces: Indices) -> Chances:
        """Those of some of the pieces."""
        parts = []
        for own, part in self.parts:
            place = np.full(max(own.max(initial=-1), pieces.max(initial=-1)) + 1, -1)
            place[own] = np.arange(len(own))
            at = place[pieces]
            if (at >= 0).any():
                parts.append((np.flatnonzero(at >= 0), part.take(at[at >= 0])))
        return Chances(tuple(parts))

    def parts_of(self, stacks: Stacks) -> Iterator[tuple[Indices, Stacks, Alike]]:
        """Which pieces have each number of layers, they alone, and what is known of them."""
        for pieces, part in self.parts:
            yield pieces, stacks.cut(pieces, part.melt_log.shape[1]), part

    def passing(self, stacks: Stacks, reach_m: Floats) -> Floats:
        """Chance of running at least ``reach_m`` (n, k), shape (n, k)."""
        return self._passing(stacks, reach_m)[0]

    def _passing(self, stacks: Stacks, reach_m: Floats) -> tuple[Floats, Floats]:
        layer, piece = np.zeros(stacks.present.shape), np.zeros(len(stacks.present))
        for pieces, stack, part in self.parts_of(stacks):
            k = stack.present.shape[1]
            chances = part.passing(stack, part.flow_of(stack), reach_m[pieces, :k])
            layer[pieces, :k], piece[pieces] = chances
        return layer, piece

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
        return self._passing(stacks, stacks.lower_m)

    def piece_risk(self, stacks: Stacks) -> Floats:
        """The same of whole pieces alone, shape (n,)."""
        risk = np.zeros(len(stacks.present))
        for pieces, stack, part in self.parts_of(stacks):
            risk[pieces] = part.piece_risk(stack)
        return risk

    def run_quantiles_m(self, stacks: Stacks) -> Floats:
        """Quantiles `RUN_LEVELS` of the run of each lower edge, to the foot at most, (n, k, 3).

        Each is the run that is passed with the chance its level leaves, the farthest at least
        `LEAST_READ_M`.
        """
        runs = np.zeros((*stacks.present.shape, len(RUN_LEVELS)))
        for pieces, stack, part in self.parts_of(stacks):
            runs[pieces, : stack.present.shape[1]] = part.run_quantiles_m(stack)
        return runs

    def past_foot_m3(self, stacks: Stacks, level: float = RUN_LEVELS[-1]) -> Floats:
        """Glaze past the foot of each piece, not exceeded with a chance of ``level``, (n,). [m³]"""
        past = np.zeros(len(stacks.present))
        for pieces, stack, part in self.parts_of(stacks):
            past[pieces] = part.past_foot_m3(stack, level)
        return past

    def driving(self, stacks: Stacks) -> Floats:
        """Part of each melt in what drives each edge past the foot: edge, layer; (n, k, k)."""
        n, k = stacks.present.shape
        share = np.zeros((n, k, k))
        for pieces, stack, part in self.parts_of(stacks):
            count = stack.present.shape[1]
            share[pieces, :count, :count] = part.driving(stack)
        return share


def within_range(run_mm: ArrayLike, low_mm: ArrayLike, high_mm: ArrayLike) -> Bools:
    """Whether runs lie within the ranges told for them, both ends taken to the whole millimetre.

    Runs are read off a ruler: a finer range than its marks could never be kept. Not where there
    is no run.
    """
    run = np.asarray(run_mm, dtype=float)
    return (run >= np.floor(low_mm)) & (run <= np.ceil(high_mm))
