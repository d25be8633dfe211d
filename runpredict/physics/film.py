"""How far a film of molten glaze runs down a wall: edges, overlaps, what passes a line.

Everything here is SI and pure numpy; heat and chemistry come in as one number a layer,
the mobility ``ρ g sin(wall) Φ`` [1/m], with Φ the fluidity integral ∫ dt/η over the firing.

The film is thin, viscous and driven by weight: its flux is ``mobility h³ / 3`` per unit Φ
(Nusselt 1916; Huppert 1982). The height of a parcel obeys a Hamilton-Jacobi equation whose
Lax-Oleinik solution is closed: an edge sits at

    run = max over heights d above the edge of  (1.5 W(d))^(2/3) - d

with ``W(d)`` the integral of ``h sqrt(mobility)`` between the edge and d. The maximum holds every
stage at once: the front of a film still thick (run = mobility h² / 3), the finite volume that
thins behind its front (Huppert 1982), and a thick overlap that catches up with a thin film below.

Where layers lie over each other, ``h² mobility`` is three times the speed of the front of their
stack. Two are told, and a studio's glazes lie between them: layers that stay as they were put on,
each with its own melt, and layers whose melts have become one. The edge of a layer over another is
a step on a film that moves as well; it is never farther down than the front of what it rides on.

More of a glaze can hold back nothing: of all the choices of layers that might move over the rest
as over a rigid wall, the fastest counts. All of it grows with the thickness of every layer, with
the mobility of every melt and with every edge that comes lower.

References
----------
Evans, L. C., Partial Differential Equations, ch. 3.3 (Lax-Oleinik formula).
Huppert, H. E. (1982), Nature 300:427-429.
Nusselt, W. (1916), Z. Ver. dtsch. Ing. 60:541-546.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from runpredict.arrays import Floats, Indices
from runpredict.physics.speeds import TINY, TINY_M, Bends, choices, some_of, speeds_log

TINY_WAY_M = 1e-100  # stands for none where its cube is divided by or its log is taken
AT_ONCE = 20_000  # numbers in one array, that all that is worked on stays near the processor
# Height above the foot at which the wall is taken as it is, and what is added to every height.
PLAIN_AT_M, NEAR_M = 18e-3, 3e-3
USUAL_WAY_M = 8e-3  # about which a power of it turns. Our choice.
FARTHEST_M, RUN_HALVINGS = 1.0, 40  # no run is longer; times that its interval is halved
BETWEEN = Bends()
VOLUME_STEPS = 8  # heights in each band at which what has passed a line is worked out


class Wall:
    """Where the glaze stands on each of n pieces.

    Parameters
    ----------
    lower_m, upper_m, thickness_m : ndarray, shape (n, k)
        Edges of each layer above the foot's edge and its fired thickness, layers in the order
        they were applied; a layer that is not there has lower = upper. [m]
    glaze : ndarray of int, shape (n, k), optional
        Which layers are of one glaze; every layer its own without it.

    Attributes
    ----------
    lower_m, front_m : ndarray, shape (k, n)
        Each edge, and the lowest glaze that hangs together with it. Here and in all that is made
        of a wall pieces come last, along which numpy is quickest. [m]
    height_m : ndarray, shape (b + 1, n)
        Ends of the bands of the wall, each covered by the same layers all over. [m]
    layer_m : ndarray, shape (k, b, n)
        Thickness of each layer in each band. [m]
    glaze : ndarray of int, shape (k, n)
    base : ndarray of bool, shape (k, k, n)
        Edge, then layer: which go on just below the edge.
    stepped : ndarray of int, shape (a,)
        Edges that have a base on some piece.
    """

    def __init__(
        self,
        lower_m: Floats,
        upper_m: Floats,
        thickness_m: Floats,
        glaze: Indices | None = None,
    ) -> None:
        lower, upper, thick = (
            np.array(np.transpose(table), dtype=float, order="C")
            for table in (lower_m, upper_m, thickness_m)
        )
        thick = np.where(upper > lower, thick, 0.0)
        heights = np.sort(np.concatenate([lower, upper]), axis=0)
        used = np.asarray((np.diff(heights, axis=0) > 0).any(axis=1))
        used[-1] |= not used.any()  # a band at least, even where there is no glaze or no piece
        self.height_m = heights[np.append(True, used)]
        middle = 0.5 * (self.height_m[1:] + self.height_m[:-1])
        covered = (lower[:, None] < middle) & (middle < upper[:, None])
        self.lower_m = lower
        self.layer_m = covered * thick[:, None]
        own = np.broadcast_to(np.arange(len(lower))[:, None], lower.shape)
        self.glaze = own if glaze is None else np.transpose(glaze)
        solid = thick > 0
        self.base = (lower < lower[:, None]) & (lower[:, None] <= upper) & solid
        self.stepped = np.flatnonzero(self.base.any(axis=(1, 2)))
        front, before = lower, None
        while before is None or (front < before).any():
            meets = (lower < front[:, None]) & (front[:, None] <= upper) & solid
            lowest = np.where(meets, lower, np.inf).min(axis=1, initial=np.inf)
            front, before = np.minimum(front, lowest), front
        self.front_m = front


@dataclass(frozen=True)
class Flow:
    """The fastest glaze on n pieces, in each of q ways that its choices may turn out.

    Attributes
    ----------
    wall : Wall
    front_log : ndarray, shape (q, b, n)
        Three times how fast the front on clay goes in each band [1/m · m², per unit of the
        factor], natural log; -inf where there is no glaze.
    step_log : ndarray, shape (q, a, b, n)
        The same of each edge of `Wall.stepped`, as a step over its base where it has one.
    bends : speeds.Bends
    """

    wall: Wall
    front_log: Floats
    step_log: Floats
    bends: Bends


def flow_of(wall: Wall, melt_log: Floats, choice_log: Floats, bends: Bends) -> Flow:
    """How fast the fastest glaze goes.

    Parameters
    ----------
    wall : Wall of n pieces with k layers
    melt_log : ndarray, shape (n, k)
        Natural log of the mobility of each layer's melt. [1/m]
    choice_log : ndarray, shape (n, q, c)
        Added to the log speed of each choice of layers (see `speeds.choices`), in each of q ways.
    """
    k, b, n = wall.layer_m.shape
    melt_log = np.transpose(melt_log)
    choice_log = np.ascontiguousarray(np.transpose(choice_log, (1, 2, 0)))
    base = wall.base[wall.stepped]
    front = np.empty((len(choice_log), b, n))
    step = np.empty((len(choice_log), len(base), b, n))
    portion = max(1, AT_ONCE // (len(some_of(k).taken) * b * (1 + len(base))))
    for start in range(0, n, portion):
        part = slice(start, start + portion)
        fronts, steps = speeds_log(
            wall.layer_m[..., part],
            wall.glaze[:, part],
            base[..., part],
            melt_log[:, part],
            bends,
        )
        added = choice_log[:, :, None, part]
        front[..., part] = (fronts + added).max(axis=1)
        step[..., part] = (steps + added[:, None]).max(axis=2)
    return Flow(wall, front, step, bends)


def stretched(height_m: Floats, power: float) -> Floats:
    """Heights on a wall on which glaze is no readier to run higher up.

    Runs on it are as long as on the wall itself at `PLAIN_AT_M`, and shorter higher up, by the
    power given of the height. It grows with the height, so that what is lower stays lower.
    """
    height = np.asarray(height_m, dtype=float)
    near = np.maximum(height, 0.0) + NEAR_M
    risen = PLAIN_AT_M / (1.0 - power) * (near / PLAIN_AT_M) ** (1.0 - power)
    return np.asarray(risen + np.minimum(height, 0.0) * (NEAR_M / PLAIN_AT_M) ** -power)


def strayed(height_m: Floats, stray_m: float) -> Floats:
    """Heights above the foot of edges that ended higher, or lower, than they were measured.

    Far up by ``stray_m``, near the foot by less; what is lower stays lower, the foot where it is.
    """
    above = np.maximum(height_m, 0.0)
    return np.asarray(height_m + stray_m * above / (above + abs(stray_m) + TINY_M), dtype=float)


def log_factor_to_reach(flow: Flow, reach_m: Floats, stray_m: float = 0.0) -> Floats:
    """By what factor all melts would have to be more mobile for an edge to run a given way.

    Parameters
    ----------
    flow : Flow of n pieces with k layers, in q ways
    reach_m : ndarray, shape (..., n, k)
        The way to run, > 0. [m]
    stray_m : float
        See `strayed`. [m]

    Returns
    -------
    ndarray, shape (..., q, k, n)
        Natural log of the factor; the edge gets there where it is below 0. It grows with the
        reach. inf where no glaze stands above the edge.
    """
    wall, bends = flow.wall, flow.bends
    line_m = strayed(wall.lower_m - np.swapaxes(reach_m, -1, -2), stray_m) - bends.held_m
    line_m = line_m[..., None, :, :]
    risen = stretched(strayed(wall.height_m, stray_m), bends.height)
    line = stretched(line_m, bends.height)
    # An edge without a base is the front itself.
    need = _needs(wall, flow.front_log[:, None], wall.front_m, risen, line)
    if len(wall.stepped):
        of = wall.stepped
        own = _needs(wall, flow.step_log, wall.lower_m[of], risen, line[..., of, :])
        need[..., of, :] = np.maximum(need[..., of, :], own)
    return need + _way_log(strayed(wall.lower_m, stray_m) - line_m, bends)


def _way_log(way_m: Floats, bends: Bends) -> Floats:
    """What a way takes besides the film's own, natural log."""
    return np.asarray(bends.way * np.log(np.maximum(way_m, TINY) / USUAL_WAY_M), dtype=float)


def _needs(wall: Wall, speed: Floats, start_m: Floats, risen: Floats, line: Floats) -> Floats:
    """Log factor that takes glaze from all bands above a start down to a line, (..., q, k, n)."""
    size = np.diff(risen, axis=0)
    above = (wall.height_m[:-1] >= start_m[:, None]) & (size > 0)
    top = speed.max(axis=2, keepdims=True)
    top = np.where(np.isfinite(top), top, 0.0)
    with np.errstate(under="ignore"):
        root = np.exp(0.5 * (speed - top)) * above
    gained = root * size
    sum_m = np.cumsum(gained, axis=2)
    below = sum_m - gained
    way = risen[:-1] - line[..., None, :]

    def need(best: Floats) -> Floats:
        drive = below + root * best
        way_m = np.maximum(way + best, TINY_WAY_M)
        return np.asarray(way_m * way_m * way_m / (drive * drive))

    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        # The first parcel to arrive, where the band is long enough; else its upper end.
        best = np.where(root > 0, 2.0 * way - 3.0 * below / root, 0.0)
        first = need(np.clip(best, 0.0, size))
        least = np.fmin(first, need(size))
        least = np.where(above & (sum_m > 0), least, np.inf).min(axis=-2)
        return np.asarray(np.log(least) - 2.0 * np.log(1.5) - top[:, :, 0], dtype=float)


def run_m(
    lower_m: ArrayLike,
    upper_m: ArrayLike,
    thickness_m: ArrayLike,
    mobility_per_m: ArrayLike,
    bends: Bends = BETWEEN,
) -> Floats:
    """How far every lower edge runs down a wall that has no end.

    Parameters
    ----------
    lower_m, upper_m, thickness_m : array_like, shape (n, k)
        As in `Wall`. [m]
    mobility_per_m : array_like, shape (n, k), > 0
        ρ g sin(wall) Φ of each melt. [1/m]
    bends : Bends
        By default melts half become one, and a step goes with what it rides on.

    Returns
    -------
    ndarray, shape (n, k), to a millionth of `FARTHEST_M`. [m]

    Examples
    --------
    Nusselt's film, mobility h² / 3:

    >>> run_m([[0.0]], [[0.5]], [[3e-4]], [[6e4]]).round(5)
    array([[0.0018]])
    """
    lower = np.asarray(lower_m, dtype=float)
    wall = Wall(lower, np.asarray(upper_m), np.asarray(thickness_m))
    melt_log = np.log(np.asarray(mobility_per_m, dtype=float))
    choice_log = np.zeros((len(lower), 1, len(choices(lower.shape[1])[0])))
    flow = flow_of(wall, melt_log, choice_log, bends)
    low, high = np.zeros(lower.shape), np.full(lower.shape, FARTHEST_M)
    for _ in range(RUN_HALVINGS):
        middle = 0.5 * (low + high)
        there = log_factor_to_reach(flow, middle)[0].T <= 0.0
        low, high = np.where(there, middle, low), np.where(there, high, middle)
    return low


def volume_past_m2(flow: Flow, factor_log: Floats, reach_m: Floats) -> Floats:
    """Glaze that has run past a line below each edge, per metre of rim, the first way.

    The largest, over heights d above the front that an edge rides on, of
    ``V(d) (1 - (way + d)^1.5 / (1.5 W(d)))`` with V(d) the glaze between the front and d.

    Parameters
    ----------
    factor_log : ndarray, shape (n, k)
        Natural log of a factor on all that moves each edge.
    reach_m : ndarray, shape (n, k)
        Distance from the edge down to the line. [m]

    Returns
    -------
    ndarray, shape (n, k). [m²]
    """
    wall, front = flow.wall, flow.front_log[0]
    part = np.linspace(0.0, 1.0, VOLUME_STEPS + 1)[1:, None]
    size_m = np.diff(wall.height_m, axis=0)
    points = wall.height_m[:-1, None] + size_m[:, None] * part
    above = wall.height_m[:-1] >= wall.front_m[:, None]

    def gathered(rate: Floats, ends: Floats) -> Floats:
        """Integral from each edge's front up to each point, (k, points, n)."""
        spread = np.repeat(np.where(above, rate, 0.0), VOLUME_STEPS, axis=1)
        return np.cumsum(spread * np.diff(ends, axis=0), axis=1)

    ends = np.concatenate([wall.height_m[:1], points.reshape(-1, size_m.shape[1])])
    way_m = np.transpose(reach_m) + flow.bends.held_m
    risen = stretched(ends, flow.bends.height)
    line = stretched(wall.lower_m - way_m, flow.bends.height)
    volume = gathered(wall.layer_m.sum(axis=0), ends)
    top = np.where(np.isfinite(front), front, -np.inf).max(axis=0)
    top = np.where(np.isfinite(top), top, 0.0)
    with np.errstate(under="ignore"):
        drive = gathered(np.exp(0.5 * (front - top)), risen)
    pull_log = np.transpose(factor_log) - _way_log(way_m, flow.bends) + top
    pull = np.exp(np.clip(0.5 * pull_log, -300.0, 300.0))[:, None]
    way = np.maximum(risen[1:] - line[:, None], 0.0)
    past = volume * (1.0 - way * np.sqrt(way) / np.maximum(1.5 * drive * pull, TINY))
    return np.asarray(np.maximum(past.max(axis=1, initial=0.0), 0.0).T, dtype=float)
