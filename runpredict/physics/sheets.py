"""Textbook films of melt: mobility, draining, steps, two films one over the other, puddles.

SI and pure numpy. What a potter's layers do with them stands in `film`.

References
----------
Huppert, H. E. (1982), Nature 300:427-429.
Jeffreys, H. (1930), Proc. Camb. Phil. Soc. 26:204-205.
Nusselt, W. (1916), Z. Ver. dtsch. Ing. 60:541-546.
Whitham, G. B., Linear and Nonlinear Waves (1974), ch. 2.3 (speed of a shock).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from runpredict.arrays import Floats

GRAVITY_M_S2 = 9.80665  # standard gravity, CGPM 1901
CONTACT_DEG = 60.0  # of molten glaze on fired clay; order of magnitude, from memory


def slope(wall_deg: ArrayLike) -> Floats:
    """Part of its weight that drives a film down a wall.

    Parameters
    ----------
    wall_deg : array_like
        Angle of wall and horizontal; over 90 (an overhang) counts as 90, since the glaze has
        to pass the vertical first and hangs no better beyond it. [°]

    Returns
    -------
    ndarray, broadcast shape: sin(wall)
    """
    return np.sin(np.radians(np.minimum(np.asarray(wall_deg, dtype=float), 90.0)))


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
    return density * GRAVITY_M_S2 * slope(wall) * fluidity


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
