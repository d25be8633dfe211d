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
Whitham, G. B., Linear and Nonlinear Waves (1974), ch. 2.3 (speed of a shock).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike

from runpredict.arrays import Bools, Floats, Indices

TINY, TINY_M = 1e-300, 1e-12  # stand for none where a number is divided by or its log is taken
ALL_CHOICES = 4  # layers of which every choice is looked at
# A glaze thinner than this moves less than as one of a pair: the choice that has it fades with it.
FADES_BELOW_M = 0.05e-3
USUAL_THICKNESS_M = 0.25e-3  # fired; the thickness about which a power of it turns. Our choice.
# Height above the foot at which the wall is taken as it is, and what is added to every height.
PLAIN_AT_M, NEAR_M = 18e-3, 3e-3
FARTHEST_M, RUN_HALVINGS = 1.0, 40  # no run is longer; times that its interval is halved
VOLUME_STEPS = 8  # heights in each band at which what has passed a line is worked out


@dataclass(frozen=True)
class Bends:
    """How a studio's glaze moves where the film leaves it open.

    Attributes
    ----------
    mixing : float, 0 to 1
        Share of melts that became one, against melts that stayed apart, in the log of each speed.
    height : float, 0 to below 1
        By what power of its height glaze higher up is readier to run than the film says.
    over : float, 0 to 1
        How far a step over glaze goes with what it rides on, against a rigid base; in its log.
    thickness : float, above -1
        Power of the thickness of what moves besides the film's own.
    """

    mixing: float = 0.5
    height: float = 0.0
    over: float = 1.0
    thickness: float = 0.0


BETWEEN = Bends()


def choices(layers: int) -> tuple[Bools, Bools]:
    """The choices of layers that may move over the rest.

    Of up to `ALL_CHOICES` layers every one; of more each layer alone, and all from one of them
    outward or inward.

    Returns
    -------
    taken : ndarray of bool, shape (c, layers)
    loose : ndarray of bool, shape (c,)
        Whether what there is of them in a band counts, or only all of them.
    """
    if layers <= ALL_CHOICES:
        number = np.arange(1, 2**layers)
        taken = ((number[:, None] >> np.arange(layers)) & 1).astype(bool)
        return taken, np.zeros(len(taken), dtype=bool)
    each = np.arange(layers)
    onward = each >= each[:, None]
    taken = np.concatenate([np.eye(layers, dtype=bool), onward, onward.T])
    return taken, np.arange(len(taken)) >= layers


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
    lower_m, glaze : as given
    height_m : ndarray, shape (n, b + 1)
        Ends of the bands of the wall, each covered by the same layers all over. [m]
    layer_m : ndarray, shape (n, k, b)
        Thickness of each layer in each band. [m]
    base : ndarray of bool, shape (n, k, k)
        Edge, then layer: which go on just below the edge.
    front_m : ndarray, shape (n, k)
        Lowest glaze that hangs together with each edge. [m]
    """

    def __init__(
        self,
        lower_m: Floats,
        upper_m: Floats,
        thickness_m: Floats,
        glaze: Indices | None = None,
    ) -> None:
        lower, upper = np.asarray(lower_m, dtype=float), np.asarray(upper_m, dtype=float)
        thick = np.where(upper > lower, np.asarray(thickness_m, dtype=float), 0.0)
        heights = np.sort(np.concatenate([lower, upper], axis=1), axis=1)
        used = np.asarray((np.diff(heights, axis=1) > 0).any(axis=0))
        used[-1] |= not used.any()  # a band at least, even where there is no glaze or no piece
        self.height_m = heights[:, np.append(True, used)]
        middle = 0.5 * (self.height_m[:, 1:] + self.height_m[:, :-1])[:, None, :]
        covered = (lower[:, :, None] < middle) & (middle < upper[:, :, None])
        self.lower_m = lower
        self.layer_m = covered * thick[:, :, None]
        self.glaze = np.tile(np.arange(lower.shape[1]), (len(lower), 1)) if glaze is None else glaze
        solid = (thick > 0)[:, None, :]
        edge, low, high = lower[:, :, None], lower[:, None, :], upper[:, None, :]
        self.base = (low < edge) & (edge <= high) & solid
        front = lower
        for _ in range(lower.shape[1]):
            meets = (low < front[:, :, None]) & (front[:, :, None] <= high) & solid
            front = np.minimum(front, np.where(meets, low, np.inf).min(axis=2, initial=np.inf))
        self.front_m = front


@dataclass(frozen=True)
class Speeds:
    """Three times how fast edges go [1/m · m², per unit of the factor], natural log.

    Attributes
    ----------
    front : ndarray, shape (n, c, b)
        Of the front on clay of each choice of layers in each band; -inf where it is none.
    step : ndarray, shape (n, k, c, b)
        Of each edge, as a step over its base where it has one.
    """

    front: Floats
    step: Floats

    def fastest(self, choice_log: Floats) -> tuple[Floats, Floats]:
        """Of all choices, with something added to the log of each (n, c): (n, b), (n, k, b)."""
        front = (self.front + choice_log[:, :, None]).max(axis=1)
        return front, (self.step + choice_log[:, None, :, None]).max(axis=2)


def speeds_log(wall: Wall, melt_log: Floats, bends: Bends) -> Speeds:
    """Speeds of every choice of layers.

    Parameters
    ----------
    wall : Wall of n pieces with k layers
    melt_log : ndarray, shape (n, k)
        Natural log of the mobility of each layer's melt. [1/m]
    bends : Bends

    Returns
    -------
    Speeds

    Notes
    -----
    Layers apart, as `sheets.two_layer_flux_m2` for any number: with A the glaze from a layer's
    inner face out and B that from its outer face out, it adds m (A³ - B³) / 3 to the flux q, and
    the front goes at q(H) / H. A step of height H - h over a base h that goes on below it moves as
    [q(H) - q(h)] / (H - h) (Rankine-Hugoniot, e.g. Whitham, ch. 2.3), no faster than the surface.
    Melts that became one have the mean log mobility, by thickness.
    """
    n, k, b = wall.layer_m.shape
    taken, loose = choices(k)
    front = np.full((n, len(taken), b), -np.inf)
    step = np.full((n, k, len(taken), b), -np.inf)
    there = wall.layer_m > 0
    for c, mine in enumerate(taken):
        part_m = wall.layer_m * mine[:, None]
        if loose[c]:
            valid = (there & mine[:, None]).any(axis=1)
        else:
            valid = (there | ~mine[:, None]).all(axis=1)
        if not valid.any():
            continue
        for some_m in [part_m] if loose[c] else _no_thicker(part_m, mine):
            stack = _Stack(some_m, melt_log, bends.mixing)
            fades = _fades_log(some_m, wall.glaze)
            if bends.thickness:
                fades = fades + 2.0 * bends.thickness * np.log(stack.height_m / USUAL_THICKNESS_M)
            speed = np.where(valid, stack.front_log() + fades, -np.inf)
            front[:, c] = np.maximum(front[:, c], speed)
            for edge in range(k):
                low = wall.base[:, edge, :, None] & (some_m > 0)
                if low.any():
                    above = (~low & (some_m > 0)).any(axis=1)
                    over = stack.step_log(low, bends.over) + fades
                    edge_speed = np.where(valid & above, over, -np.inf)
                else:
                    edge_speed = speed
                step[:, edge, c] = np.maximum(step[:, edge, c], edge_speed)
    return Speeds(front, step)


def _no_thicker(part_m: Floats, mine: Bools) -> Iterator[Floats]:
    """A choice as it lies, and with some of its layers as thin as may be and still count.

    A choice may be quicker than its layers alone, and a stiff layer in it slow it again as it
    grows; so that more never holds back, what moved with less of it still does.
    """
    yield part_m
    layers = np.flatnonzero(mine)
    thin_m = np.minimum(part_m, FADES_BELOW_M)
    for size in range(1, len(layers)):
        for thin in combinations(layers.tolist(), size):
            thinned = np.isin(np.arange(len(mine)), thin)[:, None]
            yield np.where(thinned, thin_m, part_m)


class _Stack:
    """Some layers in every band, each of its own melt, or all of one."""

    def __init__(self, part_m: Floats, melt_log: Floats, mixing: float) -> None:
        self.part_m = part_m
        self.melt_log = melt_log[:, :, None]
        top = np.where(part_m > 0, self.melt_log, -np.inf).max(axis=1)
        self.top_log = np.where(np.isfinite(top), top, 0.0)
        with np.errstate(under="ignore"):
            scaled = np.exp(self.melt_log - self.top_log[:, None])
        self.melt = np.where(part_m > 0, scaled, 0.0)
        self.mixing = mixing
        self.height_m = np.maximum(part_m.sum(axis=1), TINY_M)

    def _flux(self, part: Floats) -> Floats:
        """Three times the flux of films one over the other, (n, b)."""
        outer = np.cumsum(part[:, ::-1], axis=1)[:, ::-1] - part
        return np.asarray((self.melt * ((outer + part) ** 3 - outer**3)).sum(axis=1), dtype=float)

    def _between(self, apart: Floats, part: Floats, square: Floats) -> Floats:
        """Log speed between melts apart and one melt of all of a part, (n, b)."""
        apart_log = self.top_log + np.log(np.maximum(apart, TINY))
        if self.mixing == 0.0:
            return apart_log
        weight = part / np.maximum(part.sum(axis=1), TINY_M)[:, None]
        one_log = (weight * self.melt_log).sum(axis=1) + np.log(np.maximum(square, TINY))
        return np.asarray((1.0 - self.mixing) * apart_log + self.mixing * one_log, dtype=float)

    def front_log(self) -> Floats:
        """On clay, (n, b)."""
        return self._between(self._flux(self.part_m) / self.height_m, self.part_m, self.height_m**2)

    def step_log(self, low: Bools, over: float) -> Floats:
        """Over those of the layers that go on below, (n, b)."""
        base = np.where(low, self.part_m, 0.0)
        rest = self.part_m - base
        height = self.height_m
        depth, gone = base.sum(axis=1), np.maximum(rest.sum(axis=1), TINY_M)
        outer = np.cumsum(self.part_m[:, ::-1], axis=1)[:, ::-1] - self.part_m
        sheared = self.melt * self.part_m * (0.5 * self.part_m + outer)
        shock = (self._flux(self.part_m) - self._flux(base)) / gone
        shock = np.minimum(shock, 3.0 * sheared.sum(axis=1))
        square = np.minimum(height**2 + height * depth + depth**2, 1.5 * height**2)
        wet = self._between(shock, self.part_m, square)
        dry = self._between(self._flux(rest) / gone, rest, gone**2)
        return np.asarray(dry + over * np.maximum(wet - dry, 0.0), dtype=float)


def _fades_log(part_m: Floats, glaze: Indices) -> Floats:
    """What a choice of several glazes loses where one of them is hardly there, (n, b)."""
    least = np.full((part_m.shape[0], part_m.shape[2]), np.inf)
    several = np.zeros(least.shape, dtype=bool)
    for j in range(part_m.shape[1]):
        same = (glaze == glaze[:, [j]])[:, :, None]
        mine = np.where(same, part_m, 0.0).sum(axis=1)
        least = np.where(part_m[:, j] > 0, np.minimum(least, mine), least)
        several |= (part_m[:, j] > 0) & (np.where(same, 0.0, part_m).sum(axis=1) > 0)
    share = np.where(several, np.minimum(least / FADES_BELOW_M, 1.0), 1.0)
    return np.log(np.maximum(share, TINY))


def stretched(height_m: Floats, power: float) -> Floats:
    """Heights on a wall on which glaze is no readier to run higher up.

    Runs on it are as long as on the wall itself at `PLAIN_AT_M`, and shorter higher up, by the
    power given of the height. It grows with the height, so that what is lower stays lower.
    """
    height = np.asarray(height_m, dtype=float)
    near = np.maximum(height, 0.0) + NEAR_M
    risen = PLAIN_AT_M / (1.0 - power) * (near / PLAIN_AT_M) ** (1.0 - power)
    return np.asarray(risen + np.minimum(height, 0.0) * (NEAR_M / PLAIN_AT_M) ** -power)


def log_factor_to_reach(
    wall: Wall, fastest: tuple[Floats, Floats], reach_m: Floats, height: float
) -> Floats:
    """By what factor all melts would have to be more mobile for an edge to run a given way.

    Parameters
    ----------
    wall : Wall of n pieces with k layers
    fastest : (ndarray, ndarray), shape (n, b), (n, k, b)
        As `Speeds.fastest` returns.
    reach_m : ndarray, shape (n, k)
        The way to run, > 0. [m]
    height : float
        See `Bends`.

    Returns
    -------
    ndarray, shape (n, k)
        Natural log of the factor; the edge gets there where it is below 0. It grows with the
        reach. inf where no glaze stands above the edge.
    """
    front, step = fastest
    risen = stretched(wall.height_m, height)
    line = stretched(wall.lower_m - reach_m, height)
    own = _needs(wall, step, wall.lower_m, risen, line)
    rides = wall.front_m < wall.lower_m
    if not rides.any():
        return own
    of_front = np.broadcast_to(front[:, None], step.shape)
    return np.asarray(np.maximum(own, _needs(wall, of_front, wall.front_m, risen, line)))


def _needs(wall: Wall, speed: Floats, start_m: Floats, risen: Floats, line: Floats) -> Floats:
    """Log factor that takes glaze from all bands above a start down to a line, (n, k)."""
    size = np.diff(risen, axis=1)[:, None]
    above = (wall.height_m[:, None, :-1] >= start_m[..., None]) & (size > 0)
    speed = np.where(above, speed, -np.inf)
    top = speed.max(axis=2)
    top = np.where(np.isfinite(top), top, 0.0)[..., None]
    with np.errstate(under="ignore"):
        root = np.exp(0.5 * (speed - top))
    gained = root * size
    below = np.cumsum(gained, axis=2) - gained
    way = risen[:, None, :-1] - line[..., None]

    def need(best: Floats) -> Floats:
        drive = 1.5 * (below + root * best)
        return 3.0 * np.log(np.maximum(way + best, TINY)) - 2.0 * np.log(drive) - top

    with np.errstate(divide="ignore", invalid="ignore"):
        # The first parcel to arrive, where the band is long enough; else its upper end.
        best = np.where(root > 0, 2.0 * way - 3.0 * below / root, 0.0)
        first = need(np.clip(best, 0.0, size))
        least = np.fmin(first, need(np.broadcast_to(size, way.shape)))
    least = np.where(above & (below + gained > 0), least, np.inf)
    return np.asarray(least.min(axis=2), dtype=float)


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
    count = len(choices(lower.shape[1])[0])
    fastest = speeds_log(wall, melt_log, bends).fastest(np.zeros((len(lower), count)))
    low, high = np.zeros(lower.shape), np.full(lower.shape, FARTHEST_M)
    for _ in range(RUN_HALVINGS):
        middle = 0.5 * (low + high)
        there = log_factor_to_reach(wall, fastest, middle, bends.height) <= 0.0
        low, high = np.where(there, middle, low), np.where(there, high, middle)
    return low


def volume_past_m2(
    wall: Wall, front: Floats, factor_log: Floats, reach_m: Floats, height: float
) -> Floats:
    """Glaze that has run past a line below each edge, per metre of rim.

    The dual of the run (Lax-Oleinik in the mass that has passed a line): the largest, over
    heights d above the front that an edge rides on, of ``V(d) (1 - (way + d)^1.5 / (1.5 W(d)))``
    with V(d) the glaze between the front and d.

    Parameters
    ----------
    wall : Wall
    front : ndarray, shape (n, b)
        As `Speeds.fastest` returns.
    factor_log : ndarray, shape (n, k)
        Natural log of a factor on all that moves each edge.
    reach_m : ndarray, shape (n, k)
        Distance from the edge down to the line. [m]
    height : float
        See `Bends`.

    Returns
    -------
    ndarray, shape (n, k). [m²]
    """
    part = np.linspace(0.0, 1.0, VOLUME_STEPS + 1)[1:]
    size_m = np.diff(wall.height_m, axis=1)
    points = (wall.height_m[:, :-1, None] + size_m[..., None] * part).reshape(len(size_m), -1)
    above = wall.height_m[:, None, :-1] >= wall.front_m[..., None]

    def gathered(rate: Floats, ends: Floats) -> Floats:
        """Integral from each edge's front up to each point, (n, k, points)."""
        steps = np.diff(ends, axis=1)
        spread = np.repeat(np.where(above, rate[:, None], 0.0), VOLUME_STEPS, axis=2)
        return np.cumsum(spread * steps[:, None], axis=2)

    ends = np.concatenate([wall.height_m[:, :1], points], axis=1)
    risen = stretched(ends, height)
    line = stretched(wall.lower_m - reach_m, height)
    volume = gathered(wall.layer_m.sum(axis=1), ends)
    top = np.where(np.isfinite(front), front, -np.inf).max(axis=1, keepdims=True)
    top = np.where(np.isfinite(top), top, 0.0)
    with np.errstate(under="ignore"):
        drive = gathered(np.exp(0.5 * (front - top)), risen)
    pull = np.exp(np.clip(0.5 * (factor_log + top), -300.0, 300.0))[..., None]
    way = np.maximum(risen[:, None, 1:] - line[..., None], 0.0)
    past = volume * (1.0 - way**1.5 / np.maximum(1.5 * drive * pull, TINY))
    return np.asarray(np.maximum(past.max(axis=2, initial=0.0), 0.0), dtype=float)
