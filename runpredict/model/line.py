"""Margins of logged edges, linear in the effects about their current means."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.sparse import csr_array, vstack

from runpredict.arrays import Floats, Indices
from runpredict.model import effects, priors
from runpredict.model.chances import Alike
from runpredict.model.effects import BENDS, Effect
from runpredict.model.stacks import Stacks
from runpredict.physics import film

STEP = 0.05  # of an effect, by which the slope of a margin is read


@dataclass(frozen=True)
class Line:
    """Margins of some edges, linear about a mean of the effects.

    Attributes
    ----------
    slope : sparse array, shape (m, p)
        Change of each margin with each effect.
    margin : (ndarray, ndarray), shape (m,)
        Margins over running the nearer and the farther way, at the mean.
    stretch : sparse array, shape (m, p)
        Change of the natural log of what lies between the two margins.
    """

    slope: Any
    margin: tuple[Floats, Floats]
    stretch: Any


class _EdgesAlike:
    """The part of `Edges` on pieces that have k layers each; ``at`` is their (piece, edge)."""

    def __init__(
        self, stacks: Stacks, known: dict[Effect, int], at: Any, reach_m: tuple[Floats, Floats]
    ) -> None:
        self.stacks, self.known, self.at = stacks, known, at
        self.reach_m = tuple(self._grid(reach) for reach in reach_m)
        self.ordinary_log = priors.ordinary_log(stacks)
        self.melts = effects.melt_design(stacks, known)
        self.choices = effects.choice_design(stacks, known)
        self.pieces = effects.piece_design(stacks, known)

    def _grid(self, reach_m: Floats) -> Floats:
        """Ways of the edges in their places, of all others to the foot, (n, k)."""
        grid = self.stacks.lower_m.copy()
        grid[self.at] = np.maximum(reach_m, 0.0)
        return grid

    def _chances(self, mean: Floats) -> Alike:
        """What is known, without any doubt."""
        n, k = self.stacks.present.shape
        bends, wall = effects.bends_of(self.known, mean)
        shared = self.pieces.times(mean)
        choice_log = self.choices.times(mean).reshape(n, -1) + shared[:, None]
        return Alike(
            melt_log=self.melts.times(mean).reshape(n, k) + self.ordinary_log,
            choice_log=choice_log[:, None],
            weight=np.ones((n, 1)),
            variance=np.zeros(n),
            noise=np.ones(n),
            mix=np.ones(1),
            bends=bends,
            wall=wall,
            wave_m=0.0,
        )

    def margins(self, mean: Floats) -> tuple[Floats, Floats]:
        """Margin of each edge over running each of its two ways, shape (m,)."""
        chances = self._chances(mean)
        flow = chances.flow_of(self.stacks)
        near, far = (self._of(chances, flow, reach)[0] for reach in self.reach_m)
        return near, far

    def margin_of(self, mean: Floats, reach_m: Floats) -> Floats:
        """Margin of each edge over running a way, shape (m,) both."""
        chances = self._chances(mean)
        margin = self._of(chances, chances.flow_of(self.stacks), self._grid(reach_m))
        return np.asarray(margin[0])

    def _of(self, chances: Alike, flow: film.Flow, reach_m: Floats) -> Floats:
        """Margin of each edge, in each way of the choices, (q, m)."""
        piece, edge = self.at
        return chances.margins(flow, reach_m)[:, edge, piece]

    def line(self, mean: Floats) -> Line:
        """The line about a mean, its slope read midway between the two ways."""
        chances = self._chances(mean)
        count = chances.choice_log.shape[2]
        each = np.concatenate([np.zeros((1, count)), STEP * np.eye(count)])
        flow = replace(chances, choice_log=chances.choice_log + each).flow_of(self.stacks)
        near, far = (self._of(chances, flow, reach)[0] for reach in self.reach_m)
        held = chances.bends.held_m
        middle = np.sqrt((self.reach_m[0] + held) * (self.reach_m[1] + held)) - held
        here, *stepped = self._of(chances, flow, middle)

        def slope(there: Floats) -> Floats:
            with np.errstate(invalid="ignore"):
                return np.nan_to_num((there - here) / STEP)

        k = self.stacks.present.shape[1]
        piece = self.at[0]
        total = _times(slope(here + STEP), self.pieces.sparse()[piece])
        melts, choices = self.melts.sparse(), self.choices.sparse()
        for j in range(k):
            melt_log = chances.melt_log + STEP * (np.arange(k) == j)
            there = replace(chances, melt_log=melt_log)
            margin = self._of(there, there.flow_of(self.stacks), middle)[0]
            total = total + _times(slope(margin), melts[piece * k + j])
        for c, margin in enumerate(stepped):
            total = total + _times(slope(margin), choices[piece * count + c])
        bent, stretch = self._bent(mean, middle, here, near - far)
        return Line(total + bent, (near, far), stretch)

    def _bent(self, mean: Floats, middle: Floats, here: Floats, gap: Floats) -> tuple[Any, Any]:
        """Slope of the margins, and of the log of the gap between the two, with the bends."""
        count = len(self.at[0])
        values, stretches, columns = [], [], []
        for name in BENDS:
            column = self.known[(name, "")]
            stepped = self._chances(mean + STEP * (np.arange(len(mean)) == column))
            flow = stepped.flow_of(self.stacks)
            there, near, far = (
                self._of(stepped, flow, reach)[0] for reach in (middle, *self.reach_m)
            )
            with np.errstate(divide="ignore", invalid="ignore"):
                values.append(np.nan_to_num((there - here) / STEP))
                stretch = np.log((near - far) / gap) / STEP
            stretches.append(np.nan_to_num(stretch, posinf=0.0, neginf=0.0))
            columns.append(np.full(count, column))
        place = (np.tile(np.arange(count), len(BENDS)), np.concatenate(columns))
        bent, stretch = (
            csr_array((np.concatenate(each), place), shape=(count, len(mean)))
            for each in (values, stretches)
        )
        return bent, stretch


class Edges:
    """Edges of some pieces, ready for any mean of the effects.

    Parameters
    ----------
    stacks : Stacks of n pieces with up to k layers
    known : dict
        Column of each effect.
    piece, edge : ndarray of int, shape (m,)
    reach_m : (ndarray, ndarray), shape (m,)
        Two ways of each edge, the nearer first. [m]
    """

    def __init__(
        self,
        stacks: Stacks,
        known: dict[Effect, int],
        piece: Indices,
        edge: Indices,
        reach_m: tuple[Floats, Floats],
    ) -> None:
        self.parts = []
        self.order = []
        for pieces, part in stacks.by_layers():
            place = np.full(len(stacks.present), -1)
            place[pieces] = np.arange(len(pieces))
            own = np.flatnonzero(place[piece] >= 0)
            at, ways = (place[piece[own]], edge[own]), (reach_m[0][own], reach_m[1][own])
            self.parts.append(_EdgesAlike(part, known, at, ways))
            self.order.append(own)
        self.back = np.argsort(np.concatenate(self.order))

    def margin_of(self, mean: Floats, reach_m: Floats) -> Floats:
        """Margin of each edge over running a way, shape (m,) both."""
        margins = [
            part.margin_of(mean, reach_m[own])
            for part, own in zip(self.parts, self.order, strict=True)
        ]
        return np.concatenate(margins)[self.back]

    def margins(self, mean: Floats) -> tuple[Floats, Floats]:
        """Margin of each edge over running each of its two ways, shape (m,)."""
        both = [part.margins(mean) for part in self.parts]
        near, far = (np.concatenate([each[i] for each in both])[self.back] for i in range(2))
        return near, far

    def line(self, mean: Floats) -> Line:
        """The line about a mean, its slope read midway between the two ways."""
        lines = [part.line(mean) for part in self.parts]
        near, far = (np.concatenate([each.margin[i] for each in lines]) for i in range(2))
        slope, stretch = (
            vstack(each, format="csr")[self.back]
            for each in ([each.slope for each in lines], [each.stretch for each in lines])
        )
        return Line(slope, (near[self.back], far[self.back]), stretch)


def _times(amount: Floats, rows: Any) -> Any:
    """Each row of a sparse array times its amount."""
    return rows.multiply(amount[:, None]).tocsr()
