"""How far a film of molten glaze runs down a wall: edges, overlaps, what passes a line.

Everything here is SI and pure numpy; heat and chemistry come in as one number a layer,
the mobility ``ρ g sin(wall) Φ`` [1/m], with Φ the fluidity integral ∫ dt/η over the firing.

The film is thin, viscous and driven by weight: its flux is ``mobility h³ / 3`` per unit Φ
(Nusselt 1916; Huppert 1982). In the mass coordinate ``m``, counted up from an edge, the height
of a parcel obeys a Hamilton-Jacobi equation whose Lax-Oleinik solution is closed: an edge sits at

    run = max over heights d above the edge of  (1.5 V(d) sqrt(mobility))^(2/3) - d

with ``V(d)`` the glaze between the edge and d. The maximum holds every stage at once: the front
of a film still thick (run = mobility h² / 3), the finite volume that thins behind its front
(Huppert 1982), and a thick overlap that catches up with a thin film below it.

Layers lie as they are: one over the other, each with its own melt and thickness, unmixed (melts
mix less than a tenth of a millimetre deep in a firing, see `mixing`). A band of the wall
moves with the flux of its own stack. The edge of a layer over another is a step on a film that
moves as well, and gathers the glaze it runs over. All speeds rise with the thickness of every
layer and with the mobility of every melt, so that more of a glaze, a hotter or longer firing, a
steeper wall or a lower edge of the lowest layer only lengthens the run.

References
----------
Evans, L. C., Partial Differential Equations, ch. 3.3 (Lax-Oleinik formula).
Huppert, H. E. (1982), Nature 300:427-429.
Jeffreys, H. (1930), Proc. Camb. Phil. Soc. 26:204-205.
Nusselt, W. (1916), Z. Ver. dtsch. Ing. 60:541-546.
Whitham, G. B., Linear and Nonlinear Waves (1974), ch. 2.3 (speed of a shock).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from runpredict.arrays import Floats, Indices

TINY, TINY_M = 1e-300, 1e-12  # stand for none where a number is divided by or its log is taken
LEAST_RUN_M = 0.2e-3  # nobody reads less off a pot
RUN_STEPS = 12  # runs between none and the most, between which a run is read
# Height above the foot at which caution asks for nothing, and what is added to every height;
# see `rules.CAUTION`.
CAUTION_AT_M, CAUTION_NEAR_M = 18e-3, 3e-3


class Wall:
    """Where the glaze stands on each of n pieces, ready for any melts and any way to run.

    Parameters
    ----------
    lower_m, upper_m, thickness_m : ndarray, shape (n, k)
        Edges of each layer above the foot's edge and its fired thickness, layers in the order
        they were applied; a layer that is not there has lower = upper. [m]

    Attributes
    ----------
    lower_m : ndarray, shape (n, k)
        As given. [m]
    start_m, step_m : ndarray, shape (n, k, b)
        The wall above each edge as b bands that differ in which layers cover them: height of
        each band's lower end above the edge, and the band's height. [m]
    thickness_m : ndarray, shape (n, b)
        Of all layers together in each band. [m]
    layer_m : ndarray, shape (n, k, b)
        Of each layer in each band. [m]
    volume_m2 : ndarray, shape (n, k, b)
        Glaze between the edge and the lower end of each band, per metre of rim. [m²]
    base_m : ndarray, shape (n, k)
        Of the glaze that goes on below each edge; 0 where the edge lies on clay. [m]
    glazed_m : ndarray, shape (n,)
        From the lowest edge of any layer to the top of the glaze. [m]
    """

    def __init__(self, lower_m: Floats, upper_m: Floats, thickness_m: Floats) -> None:
        lower, upper = np.asarray(lower_m, dtype=float), np.asarray(upper_m, dtype=float)
        heights = np.sort(np.concatenate([lower, upper], axis=1), axis=1)
        used = np.asarray((np.diff(heights, axis=1) > 0).any(axis=0))
        used[-1] |= not used.any()  # a band at least, even where there is no glaze or no piece
        heights = heights[:, np.append(True, used)]
        middle = 0.5 * (heights[:, 1:] + heights[:, :-1])[:, None, :]
        covered = (lower[:, :, None] < middle) & (middle < upper[:, :, None])
        above = np.maximum(heights[:, None, :] - lower[:, :, None], 0.0)
        self.lower_m = lower
        self.start_m, self.step_m = above[:, :, :-1], np.diff(above, axis=2)
        self.layer_m = covered * np.asarray(thickness_m, dtype=float)[:, :, None]
        self.thickness_m = self.layer_m.sum(axis=1)
        gained = self.step_m * self.thickness_m[:, None]
        self.volume_m2 = np.cumsum(gained, axis=2) - gained
        # A band of no height may lie between two that meet at an edge.
        solid = np.where(np.diff(heights, axis=1) > 0, self.thickness_m, 0.0)
        meets = (heights[:, None, 1:] == lower[:, :, None]) & (np.diff(heights) > 0)[:, None]
        self.base_m = np.where(meets, solid[:, None], 0.0).max(axis=2)
        there = upper > lower
        lowest = np.where(there, lower, np.inf).min(axis=1, initial=np.inf)
        self.glazed_m = np.maximum(np.where(there, upper, 0.0).max(axis=1, initial=0.0) - lowest, 0)


@dataclass(frozen=True)
class Motion:
    """How the glaze of each band moves, for some melts.

    Attributes
    ----------
    mobility_log : ndarray, shape (n, b)
        Natural log of the mobility [1/m] of a film of one melt that carries as much glaze.
    share : ndarray, shape (n, k, b)
        Of each layer in that; sums to 1 over the layers of a band.
    own_log : ndarray, shape (n, k, b)
        Natural log of a layer's own mean speed over that of the film's front, at most 0.
    step_log : ndarray, shape (n, k, b)
        Natural log of the speed of each edge as a step over its base, over that of the front.
    """

    mobility_log: Floats
    share: Floats
    own_log: Floats
    step_log: Floats


def motion(wall: Wall, melt_log: Floats) -> Motion:
    """Speeds of films that lie one over the other, each of its own melt.

    Parameters
    ----------
    wall : Wall of n pieces with k layers
    melt_log : ndarray, shape (n, k)
        Natural log of the mobility of each layer's melt. [1/m]

    Returns
    -------
    Motion

    Notes
    -----
    As `sheets.two_layer_flux_m2`, for any number of layers: with A the glaze from a layer's inner
    face out and B that from its outer face out, a layer adds m (A³ - B³) / 3 to the flux. A
    layer's own mean speed is that of its inner face, plus m (t²/3 + t B/2). The step of a stack
    of height
    H - h over a base h that goes on below it moves as [q(H) - q(h)] / (H - h), which is
    m_base h H + m_top (H - h)² / 3 (Rankine-Hugoniot, e.g. Whitham, ch. 2.3); the layer's own
    glaze goes no faster than its outer face.
    """
    part = wall.layer_m
    outer = np.cumsum(part[:, ::-1], axis=1)[:, ::-1] - part
    top_log = np.where(part > 0, melt_log[:, :, None], -np.inf).max(axis=1)
    top_log = np.where(np.isfinite(top_log), top_log, 0.0)
    with np.errstate(under="ignore"):
        melt = np.where(part > 0, np.exp(melt_log[:, :, None] - top_log[:, None]), 0.0)
    thick = np.maximum(wall.thickness_m, TINY_M)
    flux = melt * ((outer + part) ** 3 - outer**3) / thick[:, None] ** 3
    whole = np.maximum(flux.sum(axis=1), TINY)
    sheared = melt * part * (0.5 * part + outer)
    own = np.cumsum(sheared, axis=1) - sheared + melt * part * (part / 3.0 + 0.5 * outer)
    front = np.maximum(whole * thick**2, TINY)[:, None]
    surface = 3.0 * np.where(part > 0, np.cumsum(sheared, axis=1), 0.0)
    return Motion(
        mobility_log=top_log + np.log(whole),
        share=flux / whole[:, None],
        own_log=np.minimum(np.log(np.maximum(3.0 * own / front, TINY)), 0.0),
        step_log=np.log(np.maximum(np.minimum(_step(wall, melt, thick), surface) / front, TINY)),
    )


def _step(wall: Wall, melt: Floats, thick: Floats) -> Floats:
    """Three times the speed of each edge as a step over its base, (n, k, b)."""
    base = np.minimum(wall.base_m[:, :, None], wall.thickness_m[:, None])
    step = np.empty_like(base)
    for edge in range(base.shape[1]):
        under = np.cumsum(wall.layer_m, axis=1) - wall.layer_m
        low = np.clip(base[:, edge, None] - under, 0.0, wall.layer_m)
        over = wall.layer_m - low
        flux = [_flux(melt, stack) for stack in (low, over)]
        depth = base[:, edge]
        rest = np.maximum(thick - depth, TINY_M)
        step[:, edge] = 3.0 * thick * flux[0] / np.maximum(depth, TINY_M) ** 2 + flux[1] / rest
    return step


def _flux(melt: Floats, stack: Floats) -> Floats:
    """Three times the flux of a stack of films, (n, b)."""
    outer = np.cumsum(stack[:, ::-1], axis=1)[:, ::-1] - stack
    return np.asarray((melt * ((outer + stack) ** 3 - outer**3)).sum(axis=1), dtype=float)


@dataclass(frozen=True)
class Film:
    """The layers of n pieces from one of them outward, on what lies below as on a rigid wall.

    Attributes
    ----------
    first : int
        The innermost layer that moves.
    wall : Wall
    flow : Motion
    """

    first: int
    wall: Wall
    flow: Motion


def films(lower_m: Floats, upper_m: Floats, thickness_m: Floats, melt_log: Floats) -> list[Film]:
    """All that may move: the whole stack, and its outer layers alone over a base that stands.

    Parameters
    ----------
    lower_m, upper_m, thickness_m, melt_log : ndarray, shape (n, k)
        As in `Wall` and `motion`.

    Returns
    -------
    list of Film
        A base that moves as well only adds to the speed, so the farthest run of all is the best
        bound from below; with it a thicker base never holds back what lies over it.
    """
    found = []
    for first in range(lower_m.shape[1]):
        moves = np.arange(lower_m.shape[1]) >= first
        wall = Wall(lower_m, upper_m, np.where(moves, thickness_m, 0.0))
        found.append(Film(first, wall, motion(wall, melt_log)))
    return found


def log_factor_to_reach(moving: list[Film], reach_m: Floats, caution: float = 0.0) -> Floats:
    """By what factor all melts would have to be more mobile for an edge to run a given way.

    Parameters
    ----------
    moving : list of Film
    reach_m : ndarray, shape (n, k)
        The way to run, > 0. [m]
    caution : float, 0 to below 1
        How much farther up glaze counts as more ready to run than the film says: the power of
        its height above the foot over `CAUTION_AT_M` by which it is taken to be more mobile.

    Returns
    -------
    ndarray, shape (n, k)
        Natural log of the factor; the edge passes where it is below 0. inf where no glaze
        stands above the edge.

    Notes
    -----
    On clay the front of the glaze goes at the largest of (1.5 V(d) sqrt(m))^(2/3) - d, with the
    mean mobility of the glaze up to d, weighed by its volume. A layer that others cover right
    down to its edge goes with its own mean speed instead, and as the front does once the run is
    long against the way to where they begin. Over glaze the edge is a step.
    """
    need, _ = _needs(moving[0], reach_m, caution)
    for film in moving[1:]:
        alone, _ = _needs(film, reach_m, caution)
        need = np.minimum(need, alone)
    return need


def driving(moving: list[Film], reach_m: Floats, caution: float = 0.0) -> tuple[Floats, Floats]:
    """What drives each edge.

    Parameters
    ----------
    moving, reach_m, caution : as in `log_factor_to_reach`

    Returns
    -------
    share : ndarray, shape (n, k, k)
        Edge, then layer: the part of each melt in the mobility of what gets there first.
    thickness_m : ndarray, shape (n, k)
        Of that glaze. [m]
    """
    need, band = _needs(moving[0], reach_m, caution)
    share, thick = _of_band(moving[0], band)
    for film in moving[1:]:
        alone, band = _needs(film, reach_m, caution)
        first = alone < need
        its_share, its_thick = _of_band(film, band)
        share = np.where(first[..., None], its_share, share)
        thick = np.where(first, its_thick, thick)
        need = np.where(first, alone, need)
    return share, thick


def _of_band(film: Film, band: Indices) -> tuple[Floats, Floats]:
    at = band[:, None, :]
    share = np.take_along_axis(film.flow.share, np.repeat(at, band.shape[1], axis=1), axis=2)
    thick = np.take_along_axis(film.wall.thickness_m, band, axis=1)
    return share.swapaxes(1, 2), thick


def _needs(film: Film, reach_m: Floats, caution: float) -> tuple[Floats, Indices]:
    """Factor that one film's bands need, the least of them, and which band that is."""
    wall, flow = film.wall, film.flow
    reach = np.asarray(reach_m, dtype=float)[..., None]
    way = reach + wall.start_m
    slope = np.broadcast_to(wall.thickness_m[:, None], way.shape)
    feeds = (wall.step_m > 0) & (slope > 0)
    ready = np.broadcast_to(flow.mobility_log[:, None], way.shape)
    if caution:
        high = wall.lower_m[..., None] + wall.start_m + CAUTION_NEAR_M
        ready = ready + caution * np.log(high / CAUTION_AT_M)
    top = ready.max(axis=2, keepdims=True)
    ease = np.exp(ready - top)
    eased = ease * slope * wall.step_m
    below = np.cumsum(eased, axis=2) - eased

    def front(best: Floats) -> Floats:
        held = wall.volume_m2 + slope * best
        moved = below + ease * slope * best
        return 3.0 * np.log(way + best) - np.log(2.25 * held * moved) - top

    base = wall.base_m[..., None]
    with np.errstate(divide="ignore", invalid="ignore"):
        # The first parcel to arrive is at 2 way - 3 V/h above the band's lower end, or an end.
        best = np.where(slope > 0, 2.0 * way - 3.0 * wall.volume_m2 / slope, 0.0)
        best = np.clip(best, 0.0, wall.step_m)
        on_clay = np.fmin(front(best), front(wall.step_m)) - flow.own_log * reach / way
        rest = np.maximum(wall.glazed_m[:, None, None] - wall.step_m, 0.0)
        fed = wall.step_m + np.minimum(base / slope, 1.0) * rest
        far = np.minimum(2.0 * way, fed)
        step = 3.0 * np.log(way + far) - 2.0 * np.log(1.5 * slope * far) - flow.step_log - ready
        need = np.where(base > 0, step, on_clay)
    need = np.where(feeds & ~np.isnan(need), need, np.inf)
    band = need.argmin(axis=2)
    return np.take_along_axis(need, band[..., None], axis=2)[..., 0], band


def run_m(moving: list[Film], factor_log: Floats, most_m: Floats, caution: float = 0.0) -> Floats:
    """Run of every lower edge, the inverse of `log_factor_to_reach`.

    Parameters
    ----------
    moving : list of Film
    factor_log : ndarray, shape (n, k, q)
        Natural log of a factor on all that moves each edge.
    most_m : ndarray, shape (n, k)
        Where a run ends, > 0. [m]
    caution : float
        As in `log_factor_to_reach`.

    Returns
    -------
    ndarray, shape (n, k, q)
        How far the edge moves down the wall, 0 to `most_m`, read between `RUN_STEPS` runs as a
        power of the factor. [m]
    """
    most = np.maximum(np.asarray(most_m, dtype=float), LEAST_RUN_M)
    share = np.linspace(0.0, 1.0, RUN_STEPS)
    runs_log = np.log(LEAST_RUN_M) + share * np.log(most / LEAST_RUN_M)[..., None]
    need = np.stack(
        [log_factor_to_reach(moving, np.exp(runs_log[..., i]), caution) for i in range(RUN_STEPS)],
        axis=2,
    )
    factor = np.asarray(factor_log, dtype=float)
    found = np.full(factor.shape, np.log(LEAST_RUN_M))
    for i in range(RUN_STEPS - 1):
        low, high = need[..., i, None], need[..., i + 1, None]
        with np.errstate(invalid="ignore"):
            part = np.clip((factor - low) / np.maximum(high - low, TINY), 0.0, 1.0)
        step = (runs_log[..., i + 1] - runs_log[..., i])[..., None]
        found = found + np.where(np.isnan(part), 0.0, part) * step
    return np.where(factor < need[..., :1], 0.0, np.exp(found))


def volume_past_m2(film: Film, factor_log: Floats, reach_m: Floats) -> Floats:
    """Glaze that has run past a line below each edge, per metre of rim.

    The dual of the run (Lax-Oleinik in the mass that has passed a line): the largest, over
    heights d above the edge, of V(d) - (reach + d)^1.5 / (1.5 sqrt(mobility)), with V(d) the
    glaze between the edge and d. It is what the draining profile of Jeffreys (1930) leaves
    beyond the line, and nothing where the front has not reached it. A step over glaze takes
    the glaze that drives it along, of which no more can pass than stood above the edge.

    Parameters
    ----------
    film : Film
    factor_log : ndarray, shape (n, k)
        Natural log of a factor on all that moves each edge.
    reach_m : ndarray, shape (n, k)
        Distance from the edge down to the line. [m]

    Returns
    -------
    ndarray, shape (n, k). [m²]
    """
    wall, flow = film.wall, film.flow
    ready = flow.mobility_log[:, None] + np.asarray(factor_log, dtype=float)[..., None]
    slope = wall.thickness_m[:, None]
    way = np.asarray(reach_m, dtype=float)[..., None] + wall.start_m
    over = (wall.base_m > 0)[..., None]
    root = np.exp(0.5 * (ready + np.where(over, flow.step_log, 0.0)))
    most = np.where(over, wall.glazed_m[:, None, None], wall.step_m)
    best = np.clip((slope * root) ** 2 - way, 0.0, most)
    held = np.where(over, 0.0, wall.volume_m2) + slope * best
    past = np.where(wall.step_m > 0, held - (way + best) ** 1.5 / (1.5 * root), 0.0)
    stood = (slope * wall.step_m).sum(axis=2)
    return np.asarray(np.clip(past.max(axis=2), 0.0, stood), dtype=float)
