"""What else of the melt moves a film: density, surface tension, how fast melts mix."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from runpredict.arrays import Floats
from runpredict.datafiles import OXIDES
from runpredict.physics import chemistry
from runpredict.physics.melt import CELSIUS_ZERO_K

# Partial molar volume at a reference temperature and its growth, cm3/mol and cm3/(mol K).
# Majors: Lange (1997), Contrib. Mineral. Petrol. 130:1, and Lange & Carmichael (1987),
# Geochim. Cosmochim. Acta 51:2931, as compiled by Iacovino & Till (2019), Volcanica 2:1;
# Fe2O3: Liu & Lange (2006). Li2O, P2O5 and the growths: from memory. The rest: about 1.1
# times the solid's molar volume, our estimate.
_VOLUME: dict[str, tuple[float, float, float]] = {
    "SiO2": (26.86, 1773.0, 0.0),
    "Al2O3": (37.42, 1773.0, 2.62e-3),
    "B2O3": (42.0, 1773.0, 0.0),
    "Li2O": (16.85, 1673.0, 5.25e-3),
    "Na2O": (29.65, 1773.0, 7.68e-3),
    "K2O": (47.28, 1773.0, 12.08e-3),
    "MgO": (12.02, 1773.0, 3.27e-3),
    "CaO": (16.90, 1773.0, 3.74e-3),
    "SrO": (22.5, 1773.0, 4.0e-3),
    "BaO": (27.5, 1773.0, 4.5e-3),
    "ZnO": (15.5, 1773.0, 3.0e-3),
    "PbO": (26.0, 1773.0, 3.0e-3),
    "TiO2": (28.32, 1773.0, 7.24e-3),
    "ZrO2": (23.0, 1773.0, 0.0),
    "Fe2O3": (41.50, 1723.0, 0.0),
    "MnO": (14.5, 1773.0, 3.0e-3),
    "P2O5": (64.5, 1773.0, 0.0),
    "SnO2": (24.0, 1773.0, 0.0),
    "CuO": (14.0, 1773.0, 3.0e-3),
    "CoO": (13.0, 1773.0, 3.0e-3),
    "Cr2O3": (32.0, 1773.0, 0.0),
    "NiO": (12.0, 1773.0, 3.0e-3),
    "Bi2O3": (57.0, 1773.0, 3.0e-3),
    "F": (9.0, 1773.0, 0.0),
}
_VOLUME_TABLE = np.array([_VOLUME[o] for o in OXIDES])

# Surface tension at 1400 °C: 271.2 mN/m and its change for each mol%. Küçük, Clare & Jones
# (1999), Glass Technol. 40:149 (error about 5 %), as reprinted at glassproperties.com. One
# Fe2O3 counts as two of its FeO; Co, Ni and Zn as its FeO or MgO, our choice; an oxide not
# named changes nothing there.
_TENSION_BASE_MN_M = 271.2
_TENSION_MN_M_PER_MOL_PCT = {
    "Li2O": 1.48,
    "K2O": -2.22,
    "MgO": 1.96,
    "CaO": 3.34,
    "SrO": 3.32,
    "BaO": 1.28,
    "MnO": 2.92,
    "Fe2O3": 5.36,
    "CoO": 2.68,
    "NiO": 2.68,
    "ZnO": 1.96,
    "PbO": -1.38,
    "B2O3": -2.86,
    "Al2O3": 3.47,
}
_TENSION_TABLE = np.array([_TENSION_MN_M_PER_MOL_PCT.get(o, 0.0) for o in OXIDES])
# Fall of surface tension with temperature, mN/(m K): order of magnitude, from memory.
_TENSION_SLOPE_MN_M_K = -0.02
# Bounds about oxide melts, met only far from the source's glasses; orders of magnitude, from
# memory.
_TENSION_RANGE_MN_M = (100.0, 500.0)


def molar_volume_cm3(mole_fractions: ArrayLike) -> Floats:
    """Volume of a mole of melt at the reference temperatures of `_VOLUME`, shape (n,). [cm3]"""
    x = np.atleast_2d(np.asarray(mole_fractions, dtype=np.float64))
    volume: Floats = x @ _VOLUME_TABLE[:, 0]
    return volume


def density_kg_m3(mole_fractions: ArrayLike, temperature_c: ArrayLike) -> Floats:
    """Density of the melt.

    Parameters
    ----------
    mole_fractions : array_like, shape (n, 24)
        In the order of `datafiles.OXIDES`.
    temperature_c : float or array_like, shape (n,)
        [°C]

    Returns
    -------
    ndarray, shape (n,)
        [kg/m3] Good to about 2 % for melts of Si, Al, Ti, Fe, Mg, Ca, Na and K, about 5 %
        with much of the rest.

    Notes
    -----
    ρ = Σ x M / Σ x V(T), V the partial molar volumes of `_VOLUME`, with their sources there.

    References
    ----------
    Lange & Carmichael (1987), Geochim. Cosmochim. Acta 51:2931; Lange (1997), Contrib. Mineral.
    Petrol. 130:1.
    """
    x = np.atleast_2d(np.asarray(mole_fractions, dtype=np.float64))
    t_k = np.asarray(temperature_c, dtype=np.float64).reshape(-1, 1) + CELSIUS_ZERO_K
    volume_cm3 = _VOLUME_TABLE[:, 0] + _VOLUME_TABLE[:, 2] * (t_k - _VOLUME_TABLE[:, 1])
    density: Floats = 1000.0 * (x @ chemistry.MOLAR_MASS_G_PER_MOL) / (x * volume_cm3).sum(axis=1)
    return density


def surface_tension_n_m(mole_fractions: ArrayLike, temperature_c: ArrayLike) -> Floats:
    """Surface tension of the melt in air.

    Parameters
    ----------
    mole_fractions : array_like, shape (n, 24)
        In the order of `datafiles.OXIDES`.
    temperature_c : float or array_like, shape (n,)
        [°C]

    Returns
    -------
    ndarray, shape (n,)
        [N/m] Good to about 5 % near the silicate glasses of its source; held within 0.1 to
        0.5 N/m elsewhere.

    Notes
    -----
    γ = γ0 + Σ a x at 1400 °C, with a small fall with temperature.

    References
    ----------
    Küçük, Clare & Jones (1999), Glass Technol. 40:149.
    """
    x = np.atleast_2d(np.asarray(mole_fractions, dtype=np.float64))
    t_c = np.asarray(temperature_c, dtype=np.float64).reshape(-1)
    tension_mn_m = (
        _TENSION_BASE_MN_M + 100.0 * (x @ _TENSION_TABLE) + _TENSION_SLOPE_MN_M_K * (t_c - 1400.0)
    )
    return 1e-3 * np.clip(tension_mn_m, *_TENSION_RANGE_MN_M)
