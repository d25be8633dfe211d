"""From cone or typed schedule to temperature over time, and to the fluidity integral.

A firing is kept as what matters for flow: how many seconds the melt spends at which
temperature. Φ = ∫ dt/η(T(t)) is then a weighted sum over those temperatures.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import numpy as np
from numpy.typing import ArrayLike, NDArray

from runpredict.melt import MeltCurve

Floats = NDArray[np.float64]

SLOW_C_PER_H, FAST_C_PER_H = 60.0, 150.0  # the two rates of the published cone table
COOLING_C_PER_H = 150.0  # a loaded electric kiln just below the top; common practice, no source
FLOW_SPAN_C = 300.0  # colder than this below the peak adds less than 1 % to Φ (see tests)
RAMP_LIMITS_C_PER_H = (5.0, 1000.0)

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(16)
_NODES, _WEIGHTS = 0.5 * (_NODES + 1.0), 0.5 * _WEIGHTS


@lru_cache(maxsize=1)
def cone_table() -> dict[str, tuple[float, float]]:
    """Published end points of large pyrometric cones.

    Returns
    -------
    dict : cone -> (end point at 60 °C/h, at 150 °C/h) [°C]; sources in data/cones.csv
    """
    with (files("runpredict") / "data" / "cones.csv").open(encoding="utf-8", newline="") as text:
        return {
            row["cone"]: (float(row["60_c_per_h"]), float(row["150_c_per_h"]))
            for row in csv.DictReader(text)
        }


def cone_peak_c(cone: Sequence[str], ramp_c_per_h: ArrayLike) -> Floats:
    """Temperature at which a cone is down.

    Parameters
    ----------
    cone : sequence of str, length n, such as "06" or "6"
    ramp_c_per_h : array_like, shape (n,)
        Heating rate over the last 100 °C. [°C/h]

    Returns
    -------
    ndarray, shape (n,)
        Linear in the logarithm of the rate through the table's 60 and 150 °C/h. [°C]

    Raises
    ------
    ValueError : a cone that is not in the table, or a rate outside 5 to 1000 °C/h.

    Examples
    --------
    >>> cone_peak_c(["6", "6"], [60, 150]).tolist()
    [1220.0, 1241.0]
    """
    table = cone_table()
    unknown = sorted({str(c) for c in cone} - table.keys())
    if unknown:
        raise ValueError(f'cone "{unknown[0]}" is not in the table; use one of {", ".join(table)}')
    ramp = np.asarray(ramp_c_per_h, dtype=float)
    low, high = RAMP_LIMITS_C_PER_H
    if not np.all((ramp >= low) & (ramp <= high)):
        raise ValueError(f"ramp_c_per_h must be between {low:g} and {high:g} °C an hour")
    ends = np.array([table[str(c)] for c in cone], dtype=float).reshape(-1, 2)
    part = np.log(ramp / SLOW_C_PER_H) / np.log(FAST_C_PER_H / SLOW_C_PER_H)
    return np.asarray(ends[:, 0] + part * (ends[:, 1] - ends[:, 0]), dtype=float)


@dataclass(frozen=True)
class Firing:
    """How long the melt is at which temperature.

    Attributes
    ----------
    peak_c : float. [°C]
    temperature_c : ndarray, shape (m,). [°C]
    time_s : ndarray, shape (m,)
        Seconds at each of them; their sum is the time within `FLOW_SPAN_C` of the peak. [s]
    """

    peak_c: float
    temperature_c: Floats
    time_s: Floats


def _leg(start_c: float, end_c: float, rate_c_per_h: float) -> tuple[Floats, Floats]:
    span = abs(end_c - start_c)
    return start_c + (end_c - start_c) * _NODES, _WEIGHTS * span / rate_c_per_h * 3600.0


def firing_from_peak(peak_c: float, ramp_c_per_h: float, hold_min: float) -> Firing:
    """A straight climb, a hold at the top, and the kiln's own cooling.

    Parameters
    ----------
    peak_c : float. [°C]
    ramp_c_per_h : float. [°C/h]
    hold_min : float. [min]

    Returns
    -------
    Firing
    """
    up = _leg(peak_c - FLOW_SPAN_C, peak_c, ramp_c_per_h)
    down = _leg(peak_c, peak_c - FLOW_SPAN_C, COOLING_C_PER_H)
    hold = np.array([peak_c]), np.array([hold_min * 60.0])
    legs = (up, hold, down)
    return Firing(peak_c, np.concatenate([t for t, _ in legs]), np.concatenate([s for _, s in legs]))


def firing_from_schedule(
    rate_c_per_h: Sequence[float], target_c: Sequence[float], hold_min: Sequence[float]
) -> Firing:
    """A firing typed as segments, from room temperature.

    Parameters
    ----------
    rate_c_per_h, target_c, hold_min : sequences of equal length, one entry a segment
        After the last segment the kiln cools by itself. [°C/h], [°C], [min]

    Returns
    -------
    Firing

    Raises
    ------
    ValueError : no segment, or a rate not above 0.
    """
    if not len(target_c) or min(rate_c_per_h) <= 0:
        raise ValueError("a schedule needs at least one segment, each with a rate above 0")
    peak = max(target_c)
    floor = peak - FLOW_SPAN_C
    legs: list[tuple[Floats, Floats]] = []
    at = 20.0
    for rate, target, hold in zip(
        [*rate_c_per_h, COOLING_C_PER_H], [*target_c, floor], [*hold_min, 0.0], strict=True
    ):
        start, end = max(at, floor), max(target, floor)
        if start != end:
            legs.append(_leg(start, end, rate))
        if hold > 0 and target >= floor:
            legs.append((np.array([target]), np.array([hold * 60.0])))
        at = target
    return Firing(peak, np.concatenate([t for t, _ in legs]), np.concatenate([s for _, s in legs]))


def fluidity_per_pa(curve: MeltCurve, firing: Firing, shift_c: float = 0.0) -> Floats:
    """The fluidity integral Φ = ∫ dt/η(T(t)).

    Parameters
    ----------
    curve : MeltCurve of n melts
    firing : Firing
    shift_c : float
        Added to every temperature. [°C]

    Returns
    -------
    ndarray, shape (n,). [1/Pa]
    """
    log10_pa_s = curve.log10_pa_s(firing.temperature_c + shift_c)
    return np.asarray((10.0**-log10_pa_s) @ firing.time_s, dtype=float)
