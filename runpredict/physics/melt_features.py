"""What the melt's nets see of a composition: numbers of the glass trade made of its oxides.

Compositions are mole fractions of `FITTED` summing to 1.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from runpredict.arrays import AnyArray
from runpredict.datafiles import OXIDES

FITTED = tuple(o for o in OXIDES if o != "F")
AT = {oxide: i for i, oxide in enumerate(FITTED)}

ALKALIS = ("Li2O", "Na2O", "K2O")
EARTHS = ("MgO", "CaO", "SrO", "BaO", "ZnO", "PbO", "MnO", "CoO", "CuO", "NiO")
COLOURANTS = ("Fe2O3", "MnO", "CoO", "NiO", "CuO", "Cr2O3")
_ALKALI_AND_LOOSENING = np.array(
    [[o in ALKALIS for o in FITTED], [o in (*EARTHS, "B2O3") for o in FITTED]]
).T
# Charge, cations a formula, and radius in Å (Shannon 1976, Acta Cryst. A32:751, six oxygens about;
# from memory) of the oxides that loosen the network.
_LOOSENING = {
    "Li2O": (1, 2, 0.76),
    "Na2O": (1, 2, 1.02),
    "K2O": (1, 2, 1.38),
    "MgO": (2, 1, 0.72),
    "CaO": (2, 1, 1.00),
    "SrO": (2, 1, 1.18),
    "BaO": (2, 1, 1.35),
    "ZnO": (2, 1, 0.67),
    "PbO": (2, 1, 1.19),
    "MnO": (2, 1, 0.83),
    "CoO": (2, 1, 0.745),
    "CuO": (2, 1, 0.73),
    "NiO": (2, 1, 0.69),
    "Fe2O3": (3, 2, 0.645),
    "Bi2O3": (3, 2, 1.03),
}
_CHARGE, _CATIONS, _RADIUS = np.array([_LOOSENING.get(o, (0, 0, 1.0)) for o in FITTED]).T
_FIELD = _CHARGE / _RADIUS**2
_IS_EARTH = np.array([o in EARTHS for o in FITTED])
# Columns: cations, each times field strength, its square, radius; earths, times radius, its square.
_CATION_SUMS = np.stack(
    [
        *(_CATIONS, _CATIONS * _FIELD, _CATIONS * _FIELD**2, _CATIONS * _RADIUS),
        *(_IS_EARTH, _IS_EARTH * _RADIUS, _IS_EARTH * _RADIUS**2),
    ],
    axis=1,
)
# Optical basicity of each oxide: Duffy & Ingram (1976), J. Non-Cryst. Solids 21:373, and later
# tables after it; from memory. The oxygens of its formula.
_BASICITY = {
    "SiO2": (0.48, 2),
    "Al2O3": (0.60, 3),
    "B2O3": (0.42, 3),
    "Li2O": (1.0, 1),
    "Na2O": (1.15, 1),
    "K2O": (1.4, 1),
    "MgO": (0.78, 1),
    "CaO": (1.0, 1),
    "SrO": (1.1, 1),
    "BaO": (1.15, 1),
    "ZnO": (0.82, 1),
    "PbO": (0.98, 1),
    "TiO2": (0.75, 2),
    "ZrO2": (0.8, 2),
    "Fe2O3": (0.77, 3),
    "MnO": (0.95, 1),
    "P2O5": (0.33, 5),
    "SnO2": (0.85, 2),
    "CuO": (0.89, 1),
    "CoO": (0.98, 1),
    "Cr2O3": (0.7, 3),
    "NiO": (0.92, 1),
    "Bi2O3": (1.0, 3),
}
_OXYGEN_SUMS = np.array([(b * n, n) for b, n in (_BASICITY[o] for o in FITTED)])


def _smooth_min(a: Any, b: Any, width: float) -> Any:
    return 0.5 * (a + b - np.sqrt((a - b) ** 2 + width * width))


def feldspar_likeness(fitted: AnyArray) -> Any:
    """How much a melt is like a feldspar's, whose fluxes are alkalis all bound to Al.

    Parameters
    ----------
    fitted : ndarray, shape (n, 23)
        Mole fractions of `FITTED`.

    Returns
    -------
    ndarray, shape (n,)
        1 for a feldspar, falling smoothly to 0. Our own measure, no source.
    """
    alkali, loosening = (fitted @ _ALKALI_AND_LOOSENING.astype(fitted.dtype)).T
    bound = np.maximum(_smooth_min(fitted[:, AT["Al2O3"]], alkali, 0.01), 0.0)
    return bound / (alkali + loosening + 0.01)


def _cation_features(fitted: AnyArray, loose: Any) -> list[Any]:
    """Means and spreads of field strength and radius, basicity; `loose` is oxygen a former.

    They tell the nets how an oxide hardly measured stands among its neighbours.
    """
    sums = (fitted @ _CATION_SUMS.astype(fitted.dtype)).T
    cations, earths = sums[0] + 0.02, sums[4] + 0.02
    field, field_square, radius = sums[1] / cations, sums[2] / cations, sums[3] / cations
    earth_radius, earth_square = sums[5] / earths, sums[6] / earths
    basic, oxygen = (fitted @ _OXYGEN_SUMS.astype(fitted.dtype)).T
    return [
        *(field, radius, field_square - field * field),
        *(earth_radius, earth_square - earth_radius * earth_radius),
        *(basic / oxygen, loose * field, loose * radius),
    ]


def features(fitted: AnyArray) -> AnyArray:
    """Numbers the nets see for each melt.

    Parameters
    ----------
    fitted : ndarray, shape (n, 23)
        Mole fractions of all oxides but F, each row summing to 1.

    Returns
    -------
    ndarray, shape (n, p)
        The mole fractions themselves; fluxes left after Al and B have taken theirs (smooth
        minima, after the charge balance of AlO4 and BO4); ratios of the unity formula;
        mixed-alkali products; non-bridging oxygen per network former; products; field strength
        and radius of what loosens the network, optical basicity; which side of the charge
        balance of alumina the melt is on. The small
        numbers added keep ratios finite and corners smooth: our choice.
    """

    # One oxide after another in memory: twice as fast on millions of melts.
    columns = np.ascontiguousarray(fitted.T)

    def at(oxide: str) -> Any:
        return columns[AT[oxide]]

    si, al, b = at("SiO2"), at("Al2O3"), at("B2O3")
    li, na, k = at("Li2O"), at("Na2O"), at("K2O")
    alkali = li + na + k
    mg, sr, ba, zn = at("MgO"), at("SrO"), at("BaO"), at("ZnO")
    earths = sum(at(oxide) for oxide in EARTHS)
    flux = alkali + earths
    al_balanced = _smooth_min(al, flux, 0.01)
    flux_left = flux - al_balanced
    alkali_left = alkali - _smooth_min(al, alkali, 0.01)
    b_balanced = _smooth_min(b, flux_left, 0.02)
    b_by_alkali = _smooth_min(b, alkali_left, 0.02)
    a, e = alkali + 0.02, earths + 0.02
    loose = 2.0 * (flux_left - b_balanced) / (si + 2.0 * al + 2.0 * b + 0.02)
    derived = [
        *(alkali, earths, flux_left, alkali_left, al_balanced, al - al_balanced),
        *(b_balanced, b_by_alkali, b - b_balanced),
        *(alkali / (flux + 0.02), li / a, k / a, na * k / a, li * na / a, li * k / a),
        *(mg / e, ba / e, zn / e, sr / e),
        *(si / (flux + 0.1), al / (flux + 0.05), b / (flux + 0.05)),
        loose,
        *(si * al, si * b, al * b, b * b, alkali * alkali),
        # The first fluxes left over by Al break a tight network: viscosity falls steeply.
        *(flux_left / (flux_left + 0.02), flux_left / (flux_left + 0.06)),
        alkali_left / (alkali_left + 0.02),
        feldspar_likeness(fitted) ** 4,
        *_cation_features(fitted, loose),
        *(np.tanh((al - alkali) / 0.03), np.tanh((al - flux) / 0.04)),
    ]
    return np.concatenate([columns, np.stack(derived)]).T
