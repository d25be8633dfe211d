"""Viscosity, density and surface tension of the melt, and how wrong they may be.

The viscosity follows one curve (Mauro et al. 2009) whose high-temperature limit is shared
by all melts and whose two other numbers, where log10 viscosity is 3 and how steep it is
there, come from the average of a few small smooth nets on composition. `melt_fit` fits
them to open measurements: contains information from the SciGlass database, Copyright (c)
2019 EPAM Systems, made available under the Open Database License (ODbL) 1.0.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from runpredict.arrays import AnyArray, Bools, Floats
from runpredict.physics import chemistry, melt_nets

CELSIUS_ZERO_K = 273.15
DATA_MIN_C = 850.0
DATA_MAX_C = 1350.0
# Temperature near which papers agree best.
BEST_KNOWN_C = 1300.0
# Share of a change beyond 850 to 1350 °C that is one standard error. With
# the share within, held under 1/3 so that a curve moved by three standard errors falls.
EXTRAPOLATION_SHARE = 0.15
# Mole fraction outside the oxides' ranges from which a melt counts as outside.
OUTSIDE_MOLE_FRACTION = 0.005
# Standard error for each mole fraction outside the range of an oxide, and its bound.
OUTSIDE_SD_PER_MOLE_FRACTION = 5.0
OUTSIDE_SD_MAX = 2.0

_CHUNK = 4096
_FITTED_COLUMNS = np.array([chemistry.OXIDES.index(o) for o in melt_nets.FITTED])
_FLUORINE = chemistry.OXIDES.index("F")


def _as_fractions(mole_fractions: npt.ArrayLike) -> Floats:
    x = np.atleast_2d(np.asarray(mole_fractions, dtype=np.float64))
    if x.ndim != 2 or x.shape[1] != len(chemistry.OXIDES):
        raise ValueError(f"mole_fractions has shape {x.shape}; give (n, {len(chemistry.OXIDES)}).")
    return x


def _fitted_fractions(x: Floats) -> tuple[npt.NDArray[np.float32], Floats]:
    """Oxides of the fit summing to 1, and the fluorine left out."""
    fitted = x[:, _FITTED_COLUMNS]
    total = fitted.sum(axis=1, keepdims=True)
    if not (np.isfinite(total).all() and (total > 0).all() and (x >= 0).all()):
        raise ValueError(
            "mole_fractions must be finite numbers, 0 or more, and some oxide above 0 in each melt."
        )
    return (fitted / total).astype(np.float32), x[:, _FLUORINE]


@dataclass(frozen=True)
class MeltCurve:
    """Viscosity over temperature of n melts.

    Attributes
    ----------
    t3_k : ndarray, shape (n,)
        Temperature at which log10 viscosity (Pa s) is 3. [K]
    steepness : ndarray, shape (n,)
        Kinetic fragility at t3_k over (3 - limit_log10); 1 is an Arrhenius melt.
    sd_log10 : ndarray, shape (n,)
        Standard error of log10 viscosity at 1300 °C, where it is least.
    outside : ndarray of bool, shape (n,)
        True where the melt lies outside the measured compositions.
    limit_log10 : float
        log10 viscosity (Pa s) at infinite temperature, the same for all melts.
    sd_share : float
        Share of the change of log10 viscosity since 1300 °C that is one standard error.

    References
    ----------
    Mauro, Yue, Ellison, Gupta, Allan (2009), Proc. Natl. Acad. Sci. 106:19780, eq. 7.
    """

    t3_k: Floats
    steepness: Floats
    sd_log10: Floats
    outside: Bools
    limit_log10: float
    sd_share: float

    def log10_pa_s(self, temperature_c: npt.ArrayLike) -> Floats:
        """log10 viscosity.

        Parameters
        ----------
        temperature_c : float, or array of shape (m,), (n, 1) or (n, m)
            [°C]

        Returns
        -------
        ndarray, shape (n,) for a float, else (n, m)
            log10 of viscosity in Pa s; falls with temperature from 600 °C up.
        """
        t_k, scalar = _temperature_k(temperature_c)
        value = melt_nets.curve_log10(
            self.t3_k[:, None], self.steepness[:, None], self.limit_log10, t_k
        )
        return value[:, 0] if scalar else value

    def sd_at(self, temperature_c: npt.ArrayLike) -> Floats:
        """Standard error of log10 viscosity; shapes as in `log10_pa_s`.

        `sd_log10` at 1300 °C; a share of the change since then is added in quadrature, and
        15 % of the change beyond 850 to 1350 °C. The curve moved by three standard errors
        still falls.
        """
        t_k, scalar = _temperature_k(temperature_c)
        t_c = t_k - CELSIUS_ZERO_K
        here = self.log10_pa_s(t_c)
        changed = self.sd_share * (here - self.log10_pa_s(BEST_KNOWN_C)[:, None])
        edge = self.log10_pa_s(np.clip(t_c, DATA_MIN_C, DATA_MAX_C))
        beyond = EXTRAPOLATION_SHARE * (here - edge)
        value = np.sqrt(self.sd_log10[:, None] ** 2 + changed**2 + beyond**2)
        return value[:, 0] if scalar else value


def _temperature_k(temperature_c: npt.ArrayLike) -> tuple[Floats, bool]:
    t = np.asarray(temperature_c, dtype=np.float64)
    if not np.isfinite(t).all() or (t <= -CELSIUS_ZERO_K).any():
        raise ValueError("temperature_c must be finite and above -273.15 °C.")
    return np.atleast_2d(t) + CELSIUS_ZERO_K, t.ndim == 0


def melt_curve(mole_fractions: npt.ArrayLike) -> MeltCurve:
    """Viscosity curve of each melt.

    Parameters
    ----------
    mole_fractions : array_like, shape (n, 24)
        In the order of `chemistry.OXIDES`. Fluorine has no measurements: it is left out,
        the melt counts as outside the data and its error widens.

    Returns
    -------
    MeltCurve

    Raises
    ------
    ValueError : wrong shape, a negative or missing number, or an empty melt.
    """
    x = _as_fractions(mole_fractions)
    c = melt_nets.coefficients()
    n = len(x)
    t3_k, steepness, sd_log10 = np.empty(n), np.empty(n), np.empty(n)
    outside = np.empty(n, dtype=bool)
    for start in range(0, n, _CHUNK):
        part = slice(start, start + _CHUNK)
        fitted, fluorine = _fitted_fractions(x[part])
        mean, spread = melt_nets.outputs(c, fitted)
        t3_k[part], steepness[part] = melt_nets.parameters(mean)
        stray, distance = melt_nets.reach(c, fitted)
        stray += fluorine
        outside[part] = _is_outside(stray, distance)
        inputs = melt_nets.error_inputs(fitted, spread, steepness[part], c.limit_log10, distance)
        sd_log10[part] = _sd(c.error @ (inputs * inputs), stray, distance)
    return MeltCurve(t3_k, steepness, sd_log10, outside, c.limit_log10, c.error_share)


def _is_outside(stray: AnyArray, distance: AnyArray) -> Bools:
    far: Bools = (stray > OUTSIDE_MOLE_FRACTION) | (distance > 1.0)
    return far


def _sd(variance: Floats, stray: AnyArray, distance: AnyArray) -> Floats:
    inside = np.minimum(np.sqrt(variance) * np.maximum(distance, 1.0), OUTSIDE_SD_MAX)
    return np.hypot(inside, np.minimum(OUTSIDE_SD_PER_MOLE_FRACTION * stray, OUTSIDE_SD_MAX))


def outside_data(mole_fractions: npt.ArrayLike) -> Bools:
    """Whether each melt lies outside the measured compositions.

    Parameters
    ----------
    mole_fractions : array_like, shape (n, 24)

    Returns
    -------
    ndarray of bool, shape (n,)
        True where more than 0.5 mol% in all lies beyond the range measured of each oxide
        (fluorine, and potash in a melt like potash feldspar, count so), or where the melt
        is further from the middle of the data, all oxides together, than 99.9 % of it.
    """
    fitted, fluorine = _fitted_fractions(_as_fractions(mole_fractions))
    stray, distance = melt_nets.reach(melt_nets.coefficients(), fitted)
    return _is_outside(stray + fluorine, distance)


def _mole_fractions(oxides_wt: Any) -> Floats:
    """`chemistry.mole_fractions`, a cache-sized part at a time when there are many melts."""
    if not isinstance(oxides_wt, np.ndarray) or len(oxides_wt) <= _CHUNK or oxides_wt.ndim != 2:
        return chemistry.mole_fractions(oxides_wt)
    fractions = np.empty(oxides_wt.shape)
    try:
        for start in range(0, len(oxides_wt), _CHUNK):
            part = slice(start, start + _CHUNK)
            fractions[part] = chemistry.mole_fractions(oxides_wt[part])
    except ValueError:
        return chemistry.mole_fractions(oxides_wt)  # names the row of the whole
    return fractions


def _paired(oxides_wt: Any, temperature_c: npt.ArrayLike) -> tuple[MeltCurve, Floats]:
    curve = melt_curve(_mole_fractions(oxides_wt))
    t = np.asarray(temperature_c, dtype=np.float64)
    n = len(curve.t3_k)
    if t.ndim > 1 or (t.ndim == 1 and n not in (1, len(t)) and len(t) != 1):
        raise ValueError(
            f"temperature_c has shape {t.shape} for {n} melts; give one temperature, or one a melt."
        )
    grid = t.reshape(-1, 1) if n > 1 else np.atleast_1d(t).reshape(1, -1)
    return curve, grid


def viscosity_log10_pa_s(oxides_wt: Any, temperature_c: npt.ArrayLike) -> Floats:
    """log10 of the melt's viscosity.

    Parameters
    ----------
    oxides_wt : mapping, Series, DataFrame or array_like of shape (n, 24)
        Weight percent of oxides, as `chemistry.mole_fractions` takes them.
    temperature_c : float or array_like, shape (n,)
        One temperature, or one a melt; one melt may have many. [°C]

    Returns
    -------
    ndarray, shape (n,)
        log10 of viscosity in Pa s. Falls with temperature from 600 °C up.

    Raises
    ------
    ValueError : oxides negative or of an absurd sum, shapes that do not pair.

    Notes
    -----
    Fitted from 850 to 1350 °C and log10 viscosity -1 to 6. Holds for the melt alone, with
    no crystals, grains or bubbles: see `stiffening_log10`.

    Examples
    --------
    >>> window = {"SiO2": 72.5, "Al2O3": 1.5, "Na2O": 13.5, "K2O": 0.5, "MgO": 3.5, "CaO": 8.5}
    >>> viscosity_log10_pa_s(window, [1000.0, 1200.0]).round(1)
    array([3.3, 2. ])
    """
    curve, grid = _paired(oxides_wt, temperature_c)
    return curve.log10_pa_s(grid).ravel()


def viscosity_sd_log10(oxides_wt: Any, temperature_c: npt.ArrayLike) -> Floats:
    """Standard error of `viscosity_log10_pa_s`, same arguments and shape.

    Scaled so that 90 % of measurements from papers no fit has seen lie within 1.645 of it
    (disagreement between laboratories included). Wider where the nets disagree, outside
    the measured compositions, and outside 850 to 1350 °C.
    """
    curve, grid = _paired(oxides_wt, temperature_c)
    return curve.sd_at(grid).ravel()


def viscosity_interval_log10(
    oxides_wt: Any, temperature_c: npt.ArrayLike, coverage: float = 0.9
) -> tuple[Floats, Floats]:
    """Interval that holds the measured log10 viscosity with the probability `coverage`.

    Parameters
    ----------
    oxides_wt, temperature_c
        As for `viscosity_log10_pa_s`.
    coverage : float
        From 0.5 to 0.99.

    Returns
    -------
    low, high : ndarray, shape (n,)
        log10 of viscosity in Pa s. The half width is the standard error times the quantile
        seen on papers no fit has seen; its tails are heavier than a normal law's.

    Raises
    ------
    ValueError : coverage outside 0.5 to 0.99.
    """
    if not 0.5 <= coverage <= 0.99:
        raise ValueError(f"coverage is {coverage}; give 0.5 to 0.99.")
    c = melt_nets.coefficients()
    curve, grid = _paired(oxides_wt, temperature_c)
    middle = curve.log10_pa_s(grid).ravel()
    z = float(np.interp(coverage, c.quantile_coverage, c.quantile_z))
    half = z * curve.sd_at(grid).ravel()
    return middle - half, middle + half


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
_VOLUME_TABLE = np.array([_VOLUME[o] for o in chemistry.OXIDES])

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
_TENSION_TABLE = np.array([_TENSION_MN_M_PER_MOL_PCT.get(o, 0.0) for o in chemistry.OXIDES])
# Fall of surface tension with temperature, mN/(m K): order of magnitude, from memory.
_TENSION_SLOPE_MN_M_K = -0.02
_TENSION_RANGE_MN_M = (100.0, 500.0)


def density_kg_m3(mole_fractions: npt.ArrayLike, temperature_c: npt.ArrayLike) -> Floats:
    """Density of the melt.

    Parameters
    ----------
    mole_fractions : array_like, shape (n, 24)
    temperature_c : float or array_like, shape (n,)
        [°C]

    Returns
    -------
    ndarray, shape (n,)
        [kg/m3] Good to about 2 % for melts of Si, Al, Ti, Fe, Mg, Ca, Na and K, about 5 %
        with much of the rest.

    Notes
    -----
    ρ = Σ x M / Σ x V(T), V the partial molar volumes listed above with their sources.
    """
    x = np.atleast_2d(np.asarray(mole_fractions, dtype=np.float64))
    t_k = np.asarray(temperature_c, dtype=np.float64).reshape(-1, 1) + CELSIUS_ZERO_K
    volume_cm3 = _VOLUME_TABLE[:, 0] + _VOLUME_TABLE[:, 2] * (t_k - _VOLUME_TABLE[:, 1])
    density: Floats = 1000.0 * (x @ chemistry.MOLAR_MASS_G_PER_MOL) / (x * volume_cm3).sum(axis=1)
    return density


def surface_tension_n_m(mole_fractions: npt.ArrayLike, temperature_c: npt.ArrayLike) -> Floats:
    """Surface tension of the melt in air.

    Parameters
    ----------
    mole_fractions : array_like, shape (n, 24)
    temperature_c : float or array_like, shape (n,)
        [°C]

    Returns
    -------
    ndarray, shape (n,)
        [N/m] Good to about 5 % near the silicate glasses of its source; held within 0.1 to
        0.5 N/m elsewhere.
    """
    x = np.atleast_2d(np.asarray(mole_fractions, dtype=np.float64))
    t_c = np.asarray(temperature_c, dtype=np.float64).reshape(-1)
    tension_mn_m = (
        _TENSION_BASE_MN_M + 100.0 * (x @ _TENSION_TABLE) + _TENSION_SLOPE_MN_M_K * (t_c - 1400.0)
    )
    return 1e-3 * np.clip(tension_mn_m, *_TENSION_RANGE_MN_M)


class Stiffening(NamedTuple):
    """What grains and crystals add to log10 viscosity; arrays of shape (n,)."""

    solid_fraction: Floats
    shift_log10: Floats
    sd_log10: Floats


# Mole fraction of an opacifier that a glaze dissolves, and molar volume of its grains
# (cm3/mol, handbook densities): common practice, no source, for the first.
_OPACIFIERS = {"SnO2": (0.010, 21.5), "ZrO2": (0.015, 39.3)}
_SOLID_MAX = 0.35


def stiffening_log10(mole_fractions: npt.ArrayLike, slow_cooling: bool = False) -> Stiffening:
    """Stiffening of a glaze by what does not melt, or crystallises.

    Parameters
    ----------
    mole_fractions : array_like, shape (n, 24)
    slow_cooling : bool
        Cooled slowly enough through 1000 to 1150 °C for zinc silicate to grow.

    Returns
    -------
    Stiffening
        Solid volume fraction from 0 to 0.35, what it adds to log10 viscosity (0 to 0.70)
        and the standard error that this adds (in quadrature), as large as the shift
        itself since the fractions are guesses.

    Notes
    -----
    log10(η/η0) = -2.5 log10(1 - 1.35 φ), φ the volume of solids, added up from: SnO2 and
    ZrO2 (as zircon) beyond what dissolves; up to 0.10 for alumina matts, SiO2/Al2O3
    falling from 5.5 to 3.5; up to 0.10 for magnesia matts, MgO from 0.15 to 0.30 of the
    melt; up to 0.15 for zinc crystals on slow cooling, ZnO from 0.10 to 0.25 and Al2O3
    below 0.06. These limits are common practice, no source. Gas, undissolved silica and
    other grains are left to learning.

    References
    ----------
    Roscoe (1952), Br. J. Appl. Phys. 3:267.
    """
    x = np.atleast_2d(np.asarray(mole_fractions, dtype=np.float64))

    def at(oxide: str) -> Floats:
        column: Floats = x[:, chemistry.OXIDES.index(oxide)]
        return column

    melt_volume = (x * _VOLUME_TABLE[:, 0]).sum(axis=1)
    solid = np.zeros(len(x))
    for oxide, (soluble, grain_cm3) in _OPACIFIERS.items():
        solid += np.maximum(at(oxide) - soluble, 0.0) * grain_cm3 / melt_volume
    al = np.maximum(at("Al2O3"), 1e-9)
    solid += 0.10 * _ramp(-at("SiO2") / al, -5.5, -3.5)
    solid += 0.10 * _ramp(at("MgO"), 0.15, 0.30)
    if slow_cooling:
        solid += 0.15 * _ramp(at("ZnO"), 0.10, 0.25) * _ramp(-at("Al2O3"), -0.06, -0.03)
    solid = np.minimum(solid, _SOLID_MAX)
    shift = -2.5 * np.log10(1.0 - 1.35 * solid)
    return Stiffening(solid, shift, shift.copy())


def _ramp(value: Floats, start: float, end: float) -> Floats:
    t = np.clip((value - start) / (end - start), 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)


BOLTZMANN_J_K = 1.380649e-23  # SI definition
_JUMP_M = 2.8e-10  # diameter of the oxide ion, from memory


def interdiffusivity_m2_s(
    viscosity_log10_pa_s: npt.ArrayLike, temperature_k: npt.ArrayLike
) -> Floats:
    """Diffusivity by which two melts mix, to an order of magnitude.

    Parameters
    ----------
    viscosity_log10_pa_s : array_like
        log10 of viscosity in Pa s.
    temperature_k : array_like
        [K]

    Returns
    -------
    ndarray
        [m2/s] D = k T / (λ η), λ the oxide ion's diameter: the network formers' diffusion.
        Alkalis run ahead of it by orders of magnitude.

    References
    ----------
    Eyring (1936), J. Chem. Phys. 4:283; for silicate melts Shimizu & Kushiro (1984),
    Geochim. Cosmochim. Acta 48:1295, from memory.

    Examples
    --------
    >>> float(f"{interdiffusivity_m2_s(3.0, 1473.0):.1e}")
    7.3e-14
    """
    eta = np.power(10.0, np.asarray(viscosity_log10_pa_s, dtype=np.float64))
    diffusivity: Floats = (
        BOLTZMANN_J_K * np.asarray(temperature_k, dtype=np.float64) / (_JUMP_M * eta)
    )
    return diffusivity
