"""How far a film of molten glaze runs down a wall: edges, overlaps, what passes a line.

Everything here is SI and pure numpy; heat and chemistry come in as one number a layer,
the mobility ``ρ g sin(wall) Φ`` [1/m], with Φ the fluidity integral ∫ dt/η over the firing.

The film is thin, viscous and driven by weight: its flux is ``mobility h³ / 3`` per unit Φ
(Nusselt 1916; Huppert 1982). In the mass coordinate ``m``, counted up from an edge, the height
of a parcel obeys a Hamilton-Jacobi equation whose Lax-Oleinik solution is closed: an edge sits at

    run = max over heights d above the edge of  (1.5 M(d))^(2/3) - d

with ``M(d) = ∫ Σ h_k sqrt(mobility_k) dd'`` over all layers between the edge and d. The maximum
holds every stage at once: the front of a film still thick (run = mobility h² / 3), the finite
volume that thins behind its front (Huppert 1982), and a thick overlap that catches up with a
thin film below it. Layers enter M as a sum, which is the mixing rule
``sqrt(Φ_mix) = Σ share_k sqrt(Φ_k)`` of the overlap; since no term of the sum is negative, more
glaze, a hotter or longer firing, a steeper wall or a lower edge can only lengthen the run.

References
----------
Huppert, H. E. (1982), Nature 300:427-429.
Jeffreys, H. (1930), Proc. Camb. Phil. Soc. 26:204-205.
Nusselt, W. (1916), Z. Ver. dtsch. Ing. 60:541-546.
Evans, L. C., Partial Differential Equations, ch. 3.3 (Lax-Oleinik formula).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

GRAVITY_M_S2 = 9.80665  # standard gravity, CGPM 1901
CONTACT_DEG = 60.0  # of molten glaze on fired clay; order of magnitude, from memory
SURFACE_TO_MEAN_SPEED = 1.5  # parabolic profile of a falling film, Nusselt 1916


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
    lower_m, upper_m : ndarray, shape (n, k)
        Edges of each layer above the foot's edge, layers in the order they were applied;
        a layer that is not there has lower = upper. [m]

    Attributes
    ----------
    bands : int
        b, the number of bands of wall that differ in which layers cover them.
    over_glaze : ndarray of bool, shape (n, k)
        The layer overlaps one applied before it, so that its edge rides at the surface.
    """

    def __init__(self, lower_m: Floats, upper_m: Floats) -> None:
        lower = np.asarray(lower_m, dtype=float)
        upper = np.asarray(upper_m, dtype=float)
        heights = np.sort(np.concatenate([lower, upper], axis=1), axis=1)
        used = np.asarray((np.diff(heights, axis=1) > 0).any(axis=0))
        used[-1] |= not used.any()  # a band at least, even where there is no glaze or no piece
        heights = heights[:, np.append(True, used)]
        middle = 0.5 * (heights[:, 1:] + heights[:, :-1])[:, None, :]
        self.covered = (lower[:, :, None] < middle) & (middle < upper[:, :, None])
        above = np.maximum(heights[:, None, :] - lower[:, :, None], 0.0)
        self.start_m, self.step_m = above[:, :, :-1], np.diff(above, axis=2)
        self.bands = self.step_m.shape[2]
        before = np.tri(lower.shape[1], k=-1, dtype=bool)
        both = self.covered[:, :, None, :] & self.covered[:, None, :, :]
        self.over_glaze: NDArray[np.bool_] = (both.any(axis=3) & before).any(axis=2)

    def stacked(self, layer: Floats, pair_gain: Floats | None = None) -> Floats:
        """Sum over the layers of each band.

        Parameters
        ----------
        layer : ndarray, shape (n, k, draws)
            h sqrt(mobility), or any other quantity that adds up over the layers.
        pair_gain : ndarray, shape (n, k, draws), optional
            Factor by which the melt of a layer and what lies below it moves more (in
            h sqrt(mobility)) than their mixture. It never makes the stack slower than the
            faster of the two alone would be, so that a further layer cannot make a piece safer.

        Returns
        -------
        ndarray, shape (n, b, draws)
        """
        covered = self.covered.astype(float)
        total = covered[:, 0, :, None] * layer[:, None, 0]
        below = covered[:, 0]
        for k in range(1, layer.shape[1]):
            top = covered[:, k, :, None] * layer[:, None, k]
            if pair_gain is None:
                total += top
            else:
                faster = np.maximum(total, top)
                total += top
                total *= (below * covered[:, k])[:, :, None] * pair_gain[:, None, k]
                np.maximum(total, faster, out=total)
            below = np.maximum(below, covered[:, k])
        return total

    def above_edges(self, band: Floats) -> tuple[Floats, Floats, Floats]:
        """M(d) above every edge as straight pieces.

        Parameters
        ----------
        band : ndarray, shape (n, b, draws), from `stacked`

        Returns
        -------
        start : (n, k, b, 1) height of each piece's lower end above the edge. [m]
        at_start : (n, k, b, draws) M there.
        slope : (n, 1, b, draws) dM/dd.
        """
        gained = self.step_m[..., None] * band[:, None]
        at_start = np.cumsum(gained, axis=2) - gained
        return self.start_m[..., None], at_start, band[:, None]


def _scaled(wall: Wall, band: Floats, edge_log: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """`Wall.above_edges` with the mobility above each edge scaled."""
    start, at_start, slope = wall.above_edges(band)
    gain = np.exp(0.5 * np.asarray(edge_log, dtype=float))
    gain = gain[:, :, None] if gain.ndim else gain
    return start, at_start * gain, slope * gain


def run_m(
    wall: Wall, layer_m: Floats, pair_gain: Floats | None = None, edge_log: ArrayLike = 0.0
) -> Floats:
    """Run of every lower edge.

    Parameters
    ----------
    wall : Wall of n pieces with k layers
    layer_m : ndarray, shape (n, k, draws)
        h sqrt(mobility) of each layer, 0 for a layer that is not there. [m^0.5]
    pair_gain : ndarray, shape (n, k, draws), optional
        As in `Wall.stacked`.
    edge_log : array_like, 0 or shape (n, k, draws)
        Natural log of a factor on all mobility above each edge.

    Returns
    -------
    ndarray, shape (n, k, draws)
        How far the edge moves down the wall, >= 0. [m]
    """
    start, at_start, slope = _scaled(wall, wall.stacked(layer_m, pair_gain), edge_log)
    with np.errstate(divide="ignore", invalid="ignore"):
        best = np.where(slope > 0, slope**2 / 1.5 - at_start / slope, 0.0)
    best = np.clip(best, 0.0, wall.step_m[..., None])
    run = np.cbrt(1.5 * (at_start + slope * best)) ** 2 - start - best
    return np.asarray(np.maximum(run.max(axis=2), 0.0), dtype=float)


def log_scale_to_reach(
    wall: Wall, layer_m: Floats, reach_m: Floats, pair_gain: Floats | None = None
) -> Floats:
    """Natural log of the factor on all mobility at which an edge just runs a given way.

    The inverse of `run_m`: with this as ``edge_log`` it gives ``reach_m``.

    Parameters
    ----------
    wall, layer_m, pair_gain : as in `run_m`
    reach_m : ndarray, shape (n, k)
        The way to run, > 0. [m]

    Returns
    -------
    ndarray, shape (n, k, draws)
        inf where no glaze stands above the edge.
    """
    band = wall.stacked(layer_m, pair_gain)
    start, held, slope = wall.above_edges(band)
    way = np.asarray(reach_m, dtype=float)[:, :, None, None] + start
    # In place, since this is where a check spends its time. In each band the parcel that
    # arrives first is at 2 way - 3 M / slope above the band's lower end, or at one of its ends.
    with np.errstate(divide="ignore"):
        best = held * np.where(band > 0, -3.0 / band, 0.0)[:, None]
        best += 2.0 * way
        np.clip(best, 0.0, wall.step_m[..., None], out=best)
        held += slope * best
        held *= 1.5
        best += way
        best *= best**2
        best /= held**2
        return np.asarray(np.log(np.where(held > 0, best, np.inf).min(axis=2)), dtype=float)


def volume_past_m2(
    wall: Wall,
    layer_m: Floats,
    thickness_m: Floats,
    reach_m: Floats,
    pair_gain: Floats | None = None,
    edge_log: ArrayLike = 0.0,
) -> Floats:
    """Glaze that has run past a line below each edge, per metre of rim.

    The dual of the run (Lax-Oleinik in the mass that has passed a line): the largest, over
    heights d above the edge, of A(d) [1 - (reach + d)^1.5 / (1.5 M(d))], with A(d) the glaze
    between the edge and d. It is what the draining profile of Jeffreys (1930) leaves beyond the
    line, and nothing where the front has not reached it.

    Parameters
    ----------
    wall, layer_m, pair_gain, edge_log : as in `run_m`
    thickness_m : ndarray, shape (n, k, 1 or draws)
        Fired thickness of each layer. [m]
    reach_m : ndarray, shape (n, k)
        Distance from the edge down to the line. [m]

    Returns
    -------
    ndarray, shape (n, k, draws). [m²]
    """
    start, at_start, slope = _scaled(wall, wall.stacked(layer_m, pair_gain), edge_log)
    _, held, thickness = wall.above_edges(wall.stacked(thickness_m))
    way = np.asarray(reach_m, dtype=float)[:, :, None, None] + start
    best = np.clip(slope**2 - way, 0.0, wall.step_m[..., None])
    moved = 1.5 * (at_start + slope * best)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(moved > 0, 1.0 - (way + best) ** 1.5 / moved, 0.0)
    past = (held + thickness * best) * np.maximum(share, 0.0)
    return np.asarray(past.max(axis=2), dtype=float)


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
