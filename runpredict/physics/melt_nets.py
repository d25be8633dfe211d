"""The nets behind the melt's viscosity: what they see, what they give, where they end.

Shared by `melt`, which evaluates them, and `melt_fit`, which fits them, so that the two
cannot part. Compositions are mole fractions of `FITTED` summing to 1.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from runpredict.arrays import AnyArray, Float32s, Floats
from runpredict.physics.melt_features import AT, COLOURANTS, features, feldspar_likeness

# The curve's two numbers from the nets' two outputs; kept here so fit and use cannot part. Centre
# and scale bring the first output near a standard normal over the open data; our choice, the
# fit makes up for any other. Steepness of the least fragile melt, silica, is near 1; our choice.
T3_CENTRE_K = 1000.0 * float(np.exp(0.35))
T3_LOG_SCALE = 0.15
STEEPNESS_MIN = 0.75
# Limits met only far outside the data; our choice. Below 3000 K and from 0.75 up the curve falls
# with temperature everywhere above 600 °C: 1 + (k - 1) T3/T stays above 0.
T3_RANGE_K = (700.0, 3000.0)
STEEPNESS_MAX = 4.5
# Bounds of log10 viscosity (Pa s), far outside the data (-1 to 6). The low one is a very fluid
# salt or slag, 10 mPa s, an order of magnitude from memory; the high one is stiffer than
# any glass at its transformation, 10^12 Pa s (common practice), and moves nothing in a firing.
LOG10_RANGE = (-2.0, 14.0)
# Steepest that T3/T gets: beyond it every curve that still rises is past `LOG10_RANGE`.
_REDUCED_MAX = 10.0

_COEFFICIENTS = Path(__file__).parents[1] / "data" / "melt_coefficients.npz"


def activation(a: AnyArray) -> AnyArray:
    """a / sqrt(1 + a²) of an array of any shape: as smooth as tanh and four times cheaper."""
    root = a * a
    root += 1.0
    np.sqrt(root, out=root)
    return np.divide(a, root, out=root)


@dataclass(frozen=True)
class Reach:
    """Where the measured compositions end, as `melt_measurements.reach_of` finds it.

    Attributes
    ----------
    oxide_low, oxide_high, oxide_mean : ndarray, shape (23,)
        Mole fraction of each of `FITTED` over the data.
    whitener : ndarray, shape (23, 23)
        Brings mole fractions less their mean to unit variance in all directions.
    distance_limit : float
        Whitened distance from the mean of the 99.9 % nearest melts.
    """

    oxide_low: Float32s
    oxide_high: Float32s
    oxide_mean: Float32s
    whitener: Float32s
    distance_limit: float


@dataclass(frozen=True)
class Coefficients(Reach):
    """All that `melt_fit` fits to the open data (SciGlass, ODbL 1.0).

    Attributes
    ----------
    limit_log10 : float
        log10 viscosity (Pa s) at infinite temperature.
    centre, scale : ndarray, shape (p,)
        Of the features.
    w1, b1, w2, b2, w3, b3, ws : ndarray, shape (nets, inputs, outputs), (nets, 1, outputs)
        Weights of two hidden layers and the last, and of the straight way past them.
    error : ndarray, shape (q,)
        Weights of the squares of `error_inputs`.
    error_share : float
        Share of the change of log10 viscosity since 1300 °C that is one standard error.
    quantile_coverage, quantile_z : ndarray, shape (c,)
        Share of held-out rows, and the |miss| over standard error that holds it.
    """

    limit_log10: float
    centre: Float32s
    scale: Float32s
    w1: Float32s
    b1: Float32s
    w2: Float32s
    b2: Float32s
    w3: Float32s
    b3: Float32s
    ws: Float32s
    error: Floats
    error_share: float
    quantile_coverage: Floats
    quantile_z: Floats


@lru_cache(maxsize=1)
def coefficients() -> Coefficients:
    """The shipped coefficients, loaded once.

    Returns
    -------
    Coefficients
        Of data/melt_coefficients.npz, written by `melt_fit`.
    """
    with np.load(_COEFFICIENTS, allow_pickle=False) as stored:
        values: dict[str, Any] = {name: stored[name] for name in stored.files}
    for name in ("limit_log10", "error_share", "distance_limit"):
        values[name] = float(values[name])
    return Coefficients(**values)


def outputs(c: Coefficients, fitted: Float32s) -> tuple[Float32s, Float32s]:
    """What the nets say of each melt.

    Parameters
    ----------
    fitted : ndarray, shape (n, 23)
        Mole fractions of `FITTED`.

    Returns
    -------
    mean, spread : ndarray, shape (2, n)
        Mean and standard deviation over the nets of their two outputs, for `parameters`.
    """
    f = (features(fitted).T - c.centre[:, None]) / c.scale[:, None]
    members, inputs, hidden = c.w1.shape
    first = c.w1.transpose(0, 2, 1).reshape(members * hidden, inputs) @ f
    z1 = activation(first.reshape(members, hidden, -1) + c.b1.transpose(0, 2, 1))
    z2 = activation(c.w2.transpose(0, 2, 1) @ z1 + c.b2.transpose(0, 2, 1))
    straight = c.ws.transpose(0, 2, 1).reshape(members * 2, inputs) @ f
    out = c.w3.transpose(0, 2, 1) @ z2 + c.b3.transpose(0, 2, 1)
    out += straight.reshape(members, 2, -1)
    return out.mean(axis=0), out.std(axis=0, ddof=1)


def parameters(outputs: AnyArray) -> tuple[Floats, Floats]:
    """The curve's two numbers from the nets' outputs.

    Parameters
    ----------
    outputs : ndarray, shape (2, ...)

    Returns
    -------
    t3_k, steepness : ndarray, shape (...)
        Temperature of log10 viscosity 3 within `T3_RANGE_K` [K], and steepness from
        `STEEPNESS_MIN` to `STEEPNESS_MAX`.
    """
    o = np.asarray(outputs, dtype=np.float64)
    t3_k = np.clip(T3_CENTRE_K * np.exp(T3_LOG_SCALE * o[0]), *T3_RANGE_K)
    steepness = np.minimum(STEEPNESS_MIN + np.logaddexp(0.0, o[1]), STEEPNESS_MAX)
    return t3_k, steepness


def reach(c: Reach, fitted: Float32s) -> tuple[Float32s, Float32s]:
    """How far melts stray from the measured ones.

    Parameters
    ----------
    fitted : ndarray, shape (n, 23)
        Mole fractions of `FITTED`.

    Returns
    -------
    stray : ndarray, shape (n,)
        Mole fraction outside the oxides' ranges.
    distance : ndarray, shape (n,)
        From the middle of the data, all oxides together (Mahalanobis), over that of the 99.9 %
        nearest melts.

    Notes
    -----
    The data hold no melt of a potash feldspar that other papers bear out, and the nets
    make it too thin: potash in one counts as outside.
    """
    stray = np.abs(fitted - np.clip(fitted, c.oxide_low, c.oxide_high)).sum(axis=1)
    stray += fitted[:, AT["K2O"]] * feldspar_likeness(fitted) ** 4
    distance = np.linalg.norm((fitted - c.oxide_mean) @ c.whitener, axis=1)
    return stray, distance / c.distance_limit


def error_inputs(
    fitted: Float32s,
    spread: AnyArray,
    steepness: Floats,
    limit_log10: Any,
    distance: AnyArray,
) -> Floats:
    """Numbers whose weighted squares add up to the square of the standard error.

    Parameters
    ----------
    fitted : ndarray, shape (n, 23)
        Mole fractions of `FITTED`.
    spread : ndarray, shape (2, n)
        Of the nets' outputs.
    steepness, distance : ndarray, shape (n,)
        As from `parameters` and `reach`.
    limit_log10 : float or ndarray, shape (n,)
        log10 viscosity (Pa s) at infinite temperature.

    Returns
    -------
    ndarray, shape (q, n)

    Notes
    -----
    A constant; the nets' spread (2, n) of T3, as log10 viscosity there, and of steepness;
    distance from the middle of the data; roots of the oxides on which papers agree less; the
    square of magnesia, since melts of much of it miss more, colder than they crystallise.
    """
    oxides = [fitted[:, AT[o]] for o in ("Li2O", "Na2O", "K2O", "ZnO", "B2O3")]
    oxides.append(fitted[:, [AT[o] for o in COLOURANTS]].sum(axis=1))
    return np.stack(
        [
            np.ones(len(fitted)),
            (3.0 - limit_log10) * steepness * T3_LOG_SCALE * spread[0],
            spread[1],
            distance,
            *np.sqrt(oxides),
            fitted[:, AT["MgO"]] ** 2,
        ]
    )


def curve_log10(t3_k: Any, steepness: Any, limit_log10: Any, t_k: Any) -> Floats:
    """log10 viscosity of the curve, within `LOG10_RANGE` and never rising with temperature.

    Parameters
    ----------
    t3_k : array_like
        Temperature at which log10 viscosity is 3, > 0. [K]
    steepness : array_like
        Kinetic fragility at t3_k over (3 - limit_log10).
    limit_log10 : array_like
        log10 viscosity (Pa s) at infinite temperature, below 3.
    t_k : array_like
        Temperature, > 0. [K]

    Returns
    -------
    ndarray, broadcast shape
        In log10 of Pa s.

    Notes
    -----
    limit + (3 - limit) z exp((k - 1)(z - 1)) with z = T3/T. Where k is below 1 this turns down
    again beyond z = 1/(1 - k), colder than 600 °C: z is held there.

    References
    ----------
    Mauro, Yue, Ellison, Gupta, Allan (2009), Proc. Natl. Acad. Sci. 106:19780, eq. 7.
    """
    z = np.minimum(t3_k / t_k, 1.0 / np.maximum(1.0 - steepness, 1.0 / _REDUCED_MAX))
    value = limit_log10 + (3.0 - limit_log10) * z * np.exp((steepness - 1.0) * (z - 1.0))
    return np.asarray(np.clip(value, *LOG10_RANGE), dtype=np.float64)
