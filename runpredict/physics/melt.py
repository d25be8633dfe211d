"""Viscosity of the melt over temperature, and how wrong it may be.

The viscosity follows one curve (Mauro et al. 2009) whose high-temperature limit is shared
by all melts and whose two other numbers, where log10 viscosity is 3 and how steep it is
there, come from the average of a few small smooth nets on composition. `melt_fit` fits
them to open measurements: contains information from the SciGlass database, Copyright (c)
2019 EPAM Systems, made available under the Open Database License (ODbL) 1.0.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from runpredict.arrays import AnyArray, Bools, Floats
from runpredict.datafiles import OXIDES
from runpredict.physics import chemistry, melt_features, melt_nets

CELSIUS_ZERO_K = 273.15  # SI definition
# Temperatures [°C] between which 99.99 % of the open measurements of `melt_fit` lie.
DATA_MIN_C = 850.0
DATA_MAX_C = 1350.0
# Temperature near which papers agree best: our reading of what `melt_fit` misses.
BEST_KNOWN_C = 1300.0
# Share of a change beyond 850 to 1350 °C that is one standard error: our guess, for want of
# data. With the share within, held under 1/3 so that a curve moved by three standard errors
# falls.
EXTRAPOLATION_SHARE = 0.15
# Mole fraction outside the oxides' ranges from which a melt counts as outside: about what an
# analysis may be wrong by; our choice.
OUTSIDE_MOLE_FRACTION = 0.005
# Standard error for each mole fraction outside the range of an oxide, and its bound: our guess.
# A hundredth outside is as unsure as a paper's own offset, 0.05; nothing is worse than 100 times.
OUTSIDE_SD_PER_MOLE_FRACTION = 5.0
OUTSIDE_SD_MAX = 2.0

_CHUNK = 4096  # melts at a time: what a core's cache holds, by timing
_FITTED_COLUMNS = np.array([OXIDES.index(o) for o in melt_features.FITTED])
_FLUORINE = OXIDES.index("F")


def _as_fractions(mole_fractions: npt.ArrayLike) -> Floats:
    x = np.atleast_2d(np.asarray(mole_fractions, dtype=np.float64))
    if x.ndim != 2 or x.shape[1] != len(OXIDES):
        raise ValueError(f"mole_fractions has shape {x.shape}; give (n, {len(OXIDES)}).")
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
            log10 of viscosity in Pa s, from -2 to 14; never rises with temperature, and falls
            from 600 °C up wherever it is within these bounds.

        Raises
        ------
        ValueError : a temperature that is missing, or not above -273.15 °C.
        """
        t_k, scalar = _temperature_k(temperature_c)
        value = melt_nets.curve_log10(
            self.t3_k[:, None], self.steepness[:, None], self.limit_log10, t_k
        )
        return value[:, 0] if scalar else value

    def sd_at(self, temperature_c: npt.ArrayLike) -> Floats:
        """Standard error of log10 viscosity.

        Parameters
        ----------
        temperature_c : float, or array of shape (m,), (n, 1) or (n, m)
            [°C]

        Returns
        -------
        ndarray, shape (n,) for a float, else (n, m)
            In log10 of Pa s: `sd_log10` at 1300 °C; a share of the change since then is added in
            quadrature, and 15 % of the change beyond 850 to 1350 °C (`EXTRAPOLATION_SHARE`). The
            curve moved by three standard errors still never rises.

        Raises
        ------
        ValueError : as `log10_pa_s`.
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
        In the order of `datafiles.OXIDES`. Fluorine has no measurements: it is left out,
        the melt counts as outside the data and its error widens.

    Returns
    -------
    MeltCurve of n melts
        `outside` is True where more than 0.5 mol% in all lies beyond the range measured of each
        oxide (fluorine, and potash in a melt like potash feldspar, count so), or where the melt
        is further from the middle of the data, all oxides together, than 99.9 % of it.

    Raises
    ------
    ValueError : wrong shape, a negative or missing number, or an empty melt.

    Notes
    -----
    Means over the nets that `melt_fit` fitted to the open data (SciGlass, ODbL 1.0).
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
        log10 of viscosity in Pa s, from -2 to 14 whatever the melt and the temperature; never
        rises with temperature.

    Raises
    ------
    ValueError : oxides negative or of an absurd sum, shapes that do not pair.

    Notes
    -----
    Fitted from 850 to 1350 °C and log10 viscosity -1 to 6. Holds for the melt alone, with
    no crystals, grains or bubbles: see `solids.solids_of`. The bounds are those
    of `melt_nets.LOG10_RANGE`.

    References
    ----------
    Mauro, Yue, Ellison, Gupta, Allan (2009), Proc. Natl. Acad. Sci. 106:19780, eq. 7; numbers
    fitted by `melt_fit` to open measurements (SciGlass, ODbL 1.0).

    Examples
    --------
    >>> window = {"SiO2": 72.5, "Al2O3": 1.5, "Na2O": 13.5, "K2O": 0.5, "MgO": 3.5, "CaO": 8.5}
    >>> viscosity_log10_pa_s(window, [1000.0, 1200.0]).round(1)
    array([3.3, 2. ])
    """
    curve, grid = _paired(oxides_wt, temperature_c)
    return curve.log10_pa_s(grid).ravel()


def viscosity_sd_log10(oxides_wt: Any, temperature_c: npt.ArrayLike) -> Floats:
    """Standard error of `viscosity_log10_pa_s`.

    Parameters
    ----------
    oxides_wt, temperature_c
        As for `viscosity_log10_pa_s`. [wt %], [°C]

    Returns
    -------
    ndarray, shape (n,)
        In log10 of Pa s.

    Raises
    ------
    ValueError : as `viscosity_log10_pa_s`.

    Notes
    -----
    Fitted by `melt_fit` to what it misses on papers left out, and scaled so that 90 % of their
    measurements lie within 1.645 of it (disagreement between laboratories included). Wider
    where the nets disagree, outside the measured compositions, and outside 850 to 1350 °C.
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
        As for `viscosity_log10_pa_s`. [wt %], [°C]
    coverage : float
        Share of measurements inside, from 0.5 to 0.99.

    Returns
    -------
    low, high : ndarray, shape (n,)
        log10 of viscosity in Pa s. The half width is the standard error times the quantile
        seen on papers no fit has seen (`melt_fit.fit_error`); its tails are heavier than a normal
        law's.

    Raises
    ------
    ValueError : coverage outside 0.5 to 0.99, else as `viscosity_log10_pa_s`.
    """
    if not 0.5 <= coverage <= 0.99:
        raise ValueError(f"coverage is {coverage}; give 0.5 to 0.99.")
    c = melt_nets.coefficients()
    curve, grid = _paired(oxides_wt, temperature_c)
    middle = curve.log10_pa_s(grid).ravel()
    z = float(np.interp(coverage, c.quantile_coverage, c.quantile_z))
    half = z * curve.sd_at(grid).ravel()
    return middle - half, middle + half
