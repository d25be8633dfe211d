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

The edge of a layer over another is a step on a film that moves as well. It moves as the shock of
a film on one half as thick, and gathers the glaze it runs over, so that all the glaze of the
wall feeds it. The melts of a wall mix as viscosities do, in the logarithm, with fixed shares: no
layer's thickness and no edge changes the mixture, so that more of a glaze, a hotter or longer
firing, a steeper wall or a lower edge can only lengthen the run.

References
----------
Arrhenius, S. (1887), Z. phys. Chem. 1:285-298 (logarithmic mixing of viscosities).
Crank, J., The Mathematics of Diffusion (1975), ch. 2 and 4.
Evans, L. C., Partial Differential Equations, ch. 3.3 (Lax-Oleinik formula).
Huppert, H. E. (1982), Nature 300:427-429.
Jeffreys, H. (1930), Proc. Camb. Phil. Soc. 26:204-205.
Nusselt, W. (1916), Z. Ver. dtsch. Ing. 60:541-546.
Whitham, G. B., Linear and Nonlinear Waves (1974), ch. 2.3 (speed of a shock).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from runpredict.arrays import Bools, Floats

GRAVITY_M_S2 = 9.80665  # standard gravity, CGPM 1901
CONTACT_DEG = 60.0  # of molten glaze on fired clay; order of magnitude, from memory
# Speed of the step between a film and one half as thick, over the thick film's mean speed:
# 1 + r + r² with r = 1/2 (`step_run_m`).
STEP_SPEED = 1.75
# The lowest layer goes on alone below the others, so its melt counts twice in its own run.
LOWEST_LAYER_SHARE = 2.0


def mobility_per_m(
    fluidity_per_pa: ArrayLike, density_kg_m3: ArrayLike, wall_deg: ArrayLike
) -> Floats:
    """Mobility ρ g sin(wall) Φ of a film on a wall.

    Parameters
    ----------
    fluidity_per_pa : array_like
        Φ = ∫ dt/η over the firing, >= 0. [1/Pa]
    density_kg_m3 : array_like
        Of the melt, > 0. [kg/m³]
    wall_deg : array_like
        Angle of wall and horizontal; over 90 (an overhang) counts as 90, since the glaze has
        to pass the vertical first and hangs no better beyond it. [°]

    Returns
    -------
    ndarray, broadcast shape. [1/m]

    Raises
    ------
    ValueError : a negative fluidity or wall angle, or a density not above 0.
    """
    fluidity = np.asarray(fluidity_per_pa, dtype=float)
    density = np.asarray(density_kg_m3, dtype=float)
    wall = np.asarray(wall_deg, dtype=float)
    if np.any(fluidity < 0):
        raise ValueError("fluidity_per_pa must be 0 or more")
    if np.any(density <= 0):
        raise ValueError("density_kg_m3 must be above 0")
    if np.any(wall < 0):
        raise ValueError("wall_deg must be 0 or more")
    return density * GRAVITY_M_S2 * np.sin(np.radians(np.minimum(wall, 90.0))) * fluidity


def draining_thickness_m(distance_m: ArrayLike, mobility: ArrayLike) -> Floats:
    """Thickness of a draining film.

    Parameters
    ----------
    distance_m : array_like
        Down the wall from the upper edge, >= 0. [m]
    mobility : array_like
        ρ g sin(wall) Φ, > 0. [1/m]

    Returns
    -------
    ndarray, broadcast shape: h = sqrt(distance / mobility). [m]

    Raises
    ------
    ValueError : mobility not above 0.

    References
    ----------
    Jeffreys (1930), Proc. Camb. Phil. Soc. 26:204.

    Examples
    --------
    >>> round(float(1000 * draining_thickness_m(0.01, 2400 * 9.80665 * 0.12)), 2)  # mm
    1.88
    """
    mobility = np.asarray(mobility, dtype=float)
    if np.any(mobility <= 0):
        raise ValueError("mobility must be above 0")
    return np.sqrt(np.asarray(distance_m, dtype=float) / mobility)


def step_run_m(
    upper_thickness_m: ArrayLike, lower_thickness_m: ArrayLike, mobility: ArrayLike
) -> Floats:
    """Run of the step between a thick film and a thinner one of the same melt below it.

    Speed of the shock: [q(H) - q(h)] / (H - h) with q = mobility h³ / 3, so
    run = mobility (H² + H h + h²) / 3. It is the wave that moves, faster than the glaze in it.

    Parameters
    ----------
    upper_thickness_m, lower_thickness_m : array_like
        H and h, H >= h >= 0. [m]
    mobility : array_like
        ρ g sin(wall) Φ. [1/m]

    Returns
    -------
    ndarray, broadcast shape. [m]

    References
    ----------
    Rankine-Hugoniot condition, e.g. Whitham, Linear and Nonlinear Waves (1974), ch. 2.3.
    """
    thick = np.asarray(upper_thickness_m, dtype=float)
    thin = np.asarray(lower_thickness_m, dtype=float)
    return np.asarray(mobility, dtype=float) * (thick**2 + thick * thin + thin**2) / 3.0


class Wall:
    """Where the glaze stands on each of n pieces, ready for any mobility.

    Parameters
    ----------
    lower_m, upper_m, thickness_m : ndarray, shape (n, k)
        Edges of each layer above the foot's edge and its fired thickness, layers in the order
        they were applied; a layer that is not there has lower = upper. [m]

    Attributes
    ----------
    start_m, step_m : ndarray, shape (n, k, b)
        The wall above each edge as b bands that differ in which layers cover them: height of
        each band's lower end above the edge, and the band's height. [m]
    thickness_m : ndarray, shape (n, b)
        Of all layers together in each band. [m]
    volume_m2 : ndarray, shape (n, k, b)
        Glaze between the edge and the lower end of each band, per metre of rim. [m²]
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
        self.start_m, self.step_m = above[:, :, :-1], np.diff(above, axis=2)
        self.thickness_m = (covered * np.asarray(thickness_m, dtype=float)[:, :, None]).sum(axis=1)
        gained = self.step_m * self.thickness_m[:, None]
        self.volume_m2 = np.cumsum(gained, axis=2) - gained
        there = upper > lower
        lowest = np.where(there, lower, np.inf).min(axis=1, initial=np.inf)
        self.glazed_m = np.maximum(np.where(there, upper, 0.0).max(axis=1, initial=0.0) - lowest, 0)


def mixing_shares(present: Bools) -> Floats:
    """Share of each layer's melt in what moves each edge.

    Parameters
    ----------
    present : ndarray of bool, shape (n, k)

    Returns
    -------
    ndarray, shape (n, k, k)
        Edge, then layer; each edge's shares sum to 1. All layers count alike, but the first
        counts double at its own edge.
    """
    weight = np.repeat(present[:, None, :].astype(float), present.shape[1], axis=1)
    many = present.sum(axis=1) > 1
    weight[:, 0, 0] *= np.where(many, LOWEST_LAYER_SHARE, 1.0)
    return np.asarray(weight / np.maximum(weight.sum(axis=2, keepdims=True), 1.0), dtype=float)


def log_mobility_to_reach(wall: Wall, reach_m: Floats) -> Floats:
    """Natural log of the mobility [1/m] at which each edge just runs a given way.

    The inverse of `run_m`.

    Parameters
    ----------
    wall : Wall of n pieces with k layers
    reach_m : ndarray, shape (n, k)
        The way to run, > 0. [m]

    Returns
    -------
    ndarray, shape (n, k)
        inf where no glaze stands above the edge.
    """
    way = np.asarray(reach_m, dtype=float)[..., None] + wall.start_m
    slope = np.broadcast_to(wall.thickness_m[:, None], way.shape)
    feeds = (wall.step_m > 0) & (slope > 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        # The first parcel to arrive is at 2 way - 3 V/h above the band's lower end, or an end.
        best = np.where(slope > 0, 2.0 * way - 3.0 * wall.volume_m2 / slope, 0.0)
        best = np.clip(best, 0.0, wall.step_m)
        held = 1.5 * (wall.volume_m2 + slope * best)
        front = np.where(held > 0, (way + best) ** 3 / held**2, np.inf).min(axis=2)
        far = np.minimum(2.0 * way, wall.glazed_m[:, None, None])
        fed = (way + far) ** 3 / (1.5 * slope * far) ** 2 / STEP_SPEED
        step = np.where(feeds, fed, np.inf).min(axis=2)
        need = np.concatenate([front[:, :1], step[:, 1:]], axis=1)
        return np.asarray(np.log(need), dtype=float)


def run_m(wall: Wall, mobility_log: Floats) -> Floats:
    """Run of every lower edge.

    Parameters
    ----------
    wall : Wall of n pieces with k layers
    mobility_log : ndarray, shape (n, k, draws)
        Natural log of the mobility [1/m] of what moves each edge.

    Returns
    -------
    ndarray, shape (n, k, draws)
        How far the edge moves down the wall, >= 0. [m]
    """
    mobility = np.exp(np.asarray(mobility_log, dtype=float))[:, :, None]
    start, step, volume = (a[..., None] for a in (wall.start_m, wall.step_m, wall.volume_m2))
    slope = np.broadcast_to(wall.thickness_m[:, None, :, None], step.shape)
    with np.errstate(divide="ignore", invalid="ignore"):
        best = np.where(slope > 0, slope**2 * mobility / 1.5 - volume / slope, 0.0)
    best = np.clip(best, 0.0, step)
    front = _front_m(volume + slope * best, mobility) - start - best
    lead = STEP_SPEED * mobility
    far = np.clip(slope**2 * lead / 1.5, 0.0, wall.glazed_m[:, None, None, None])
    fed = np.where((step > 0) & (slope > 0), _front_m(slope * far, lead) - far - start, 0.0)
    run = np.concatenate([front[:, :1].max(axis=2), fed[:, 1:].max(axis=2)], axis=1)
    return np.asarray(np.maximum(run, 0.0), dtype=float)


def _front_m(volume_m2: Floats, mobility: Floats) -> Floats:
    """Where a finite volume ends below the parcel that drives it (Huppert 1982)."""
    return np.asarray(np.cbrt(2.25 * volume_m2**2 * mobility), dtype=float)


def volume_past_m2(wall: Wall, mobility_log: Floats, reach_m: Floats) -> Floats:
    """Glaze that has run past a line below each edge, per metre of rim.

    The dual of the run (Lax-Oleinik in the mass that has passed a line): the largest, over
    heights d above the edge, of V(d) - (reach + d)^1.5 / (1.5 sqrt(mobility)), with V(d) the
    glaze between the edge and d. It is what the draining profile of Jeffreys (1930) leaves
    beyond the line, and nothing where the front has not reached it. A step over glaze takes
    the glaze that drives it along, of which no more can pass than stood above the edge.

    Parameters
    ----------
    wall, mobility_log : as in `run_m`
    reach_m : ndarray, shape (n, k)
        Distance from the edge down to the line. [m]

    Returns
    -------
    ndarray, shape (n, k, draws)
        Above 0 just where the run is longer than the reach. [m²]
    """
    root = np.exp(0.5 * np.asarray(mobility_log, dtype=float))[:, :, None]
    slope, step = wall.thickness_m[:, None, :, None], wall.step_m[..., None]
    way = (np.asarray(reach_m, dtype=float)[..., None] + wall.start_m)[..., None]
    best = np.clip((slope * root) ** 2 - way, 0.0, step)
    front = wall.volume_m2[..., None] + slope * best - _drained_m2(way + best, root)
    lead = np.sqrt(STEP_SPEED) * root
    far = np.clip((slope * lead) ** 2 - way, 0.0, wall.glazed_m[:, None, None, None])
    fed = np.where(step > 0, slope * far - _drained_m2(way + far, lead), 0.0).max(axis=2)
    fed = np.minimum(fed, (slope * step).sum(axis=2))
    past = np.concatenate([front[:, :1].max(axis=2), fed[:, 1:]], axis=1)
    return np.asarray(np.maximum(past, 0.0), dtype=float)


def _drained_m2(length_m: Floats, root_mobility: Floats) -> Floats:
    """What a drained film of some length holds (Jeffreys 1930)."""
    return np.asarray(length_m**1.5 / (1.5 * root_mobility), dtype=float)


def two_layer_flux_m2(
    lower_thickness_m: ArrayLike,
    upper_thickness_m: ArrayLike,
    lower_mobility: ArrayLike,
    upper_mobility: ArrayLike,
) -> Floats:
    """What runs, per metre of rim, of two films that lie on each other and do not mix.

    Parameters
    ----------
    lower_thickness_m, upper_thickness_m : array_like
        h1 next to the wall and h2 over it, >= 0. [m]
    lower_mobility, upper_mobility : array_like
        ρ g sin(wall) Φ of each melt, of one density. [1/m]

    Returns
    -------
    ndarray, broadcast shape. [m²]

    Notes
    -----
    The shear stress at a distance y from the wall carries all glaze outside it, ρ g (H - y)
    with H = h1 + h2, in either melt; speed is nought at the wall, the same on both sides of
    the interface. Summed over the film: [m1 (H³ - h2³) + m2 h2³] / 3.

    References
    ----------
    Nusselt (1916) for one film; each layer its own viscosity, as Bird, Stewart & Lightfoot,
    Transport Phenomena, ch. 2 (adjacent flow of immiscible fluids).
    """
    lower, upper = np.asarray(lower_thickness_m), np.asarray(upper_thickness_m)
    # H³ - h2³ multiplied out, which loses no digit where h1 is small.
    under = np.asarray(lower_mobility) * lower * (lower**2 + 3.0 * upper * (lower + upper))
    return np.asarray((under + np.asarray(upper_mobility) * upper**3) / 3.0, dtype=float)


def upper_layer_flux_m2(
    lower_thickness_m: ArrayLike,
    upper_thickness_m: ArrayLike,
    lower_mobility: ArrayLike,
    upper_mobility: ArrayLike,
) -> Floats:
    """The part of `two_layer_flux_m2` that is the upper film.

    It rides at the speed of the interface, m1 (h1²/2 + h1 h2), and shears as a film of its own.
    Parameters, sources and units are those of `two_layer_flux_m2`.
    """
    lower, upper = np.asarray(lower_thickness_m), np.asarray(upper_thickness_m)
    ridden = np.asarray(lower_mobility) * lower * (0.5 * lower + upper)
    return np.asarray(upper * (ridden + np.asarray(upper_mobility) * upper**2 / 3.0), dtype=float)


def mixed_depth_m(interdiffusivity_m2_s: ArrayLike, time_s: ArrayLike) -> Floats:
    """How deep two melts have mixed on either side of where they met, sqrt(4 D t).

    Parameters
    ----------
    interdiffusivity_m2_s, time_s : array_like, >= 0. [m²/s], [s]

    Returns
    -------
    ndarray, broadcast shape
        At this depth a share erfc(1) / 2 = 8 % of the other melt is found. [m]

    References
    ----------
    Crank, The Mathematics of Diffusion (1975), ch. 2 (extended initial distributions).
    """
    return np.sqrt(4.0 * np.asarray(interdiffusivity_m2_s) * np.asarray(time_s, dtype=float))


def mixed_share(thickness_m: ArrayLike, depth_m: ArrayLike) -> Floats:
    """How far two films, one as thick as the other, have become one.

    Parameters
    ----------
    thickness_m : array_like
        Of each film, > 0. [m]
    depth_m : array_like
        See `mixed_depth_m`, >= 0. [m]

    Returns
    -------
    ndarray, broadcast shape
        Glaze that has crossed over, as a share of what will have in the end: 0 for films well
        apart, 1 for one melt.

    References
    ----------
    Crank (1975), ch. 2 and 4: series for a sheet whose faces let nothing through, and its limit
    at short times.
    """
    ratio = np.asarray(depth_m, dtype=float) / np.asarray(thickness_m, dtype=float)
    odd = np.arange(1, 18, 2)
    decay = np.exp(-((odd * np.pi * np.asarray(ratio)[..., None] / 4.0) ** 2)) / odd**2
    late = 1.0 - 8.0 / np.pi**2 * decay.sum(axis=-1)
    return np.asarray(np.where(ratio < 0.5, ratio / np.sqrt(np.pi), late), dtype=float)


def puddle_depth_m(surface_tension_n_m: ArrayLike, density_kg_m3: ArrayLike) -> Floats:
    """Depth at which a wide puddle of melt stands.

    Parameters
    ----------
    surface_tension_n_m, density_kg_m3 : array_like, > 0. [N/m], [kg/m³]

    Returns
    -------
    ndarray, broadcast shape. [m]

    Notes
    -----
    2 sqrt(γ / (ρ g)) sin(θ/2) with contact angle θ.

    References
    ----------
    de Gennes, Brochard-Wyart, Quéré, Capillarity and Wetting Phenomena (2004), ch. 2.
    """
    length = np.sqrt(np.asarray(surface_tension_n_m) / (np.asarray(density_kg_m3) * GRAVITY_M_S2))
    return np.asarray(2.0 * length * np.sin(np.radians(CONTACT_DEG / 2.0)), dtype=float)
