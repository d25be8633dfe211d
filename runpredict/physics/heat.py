"""From cone or typed schedule to temperature over time, and to the fluidity integral.

A firing is kept as what matters for flow: how many seconds the melt spends at which
temperature. Φ = ∫ dt/η(T(t)) is then a weighted sum over those temperatures.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from runpredict.arrays import Floats, Indices
from runpredict.datafiles import packaged_rows
from runpredict.physics.melt import MeltCurve
from runpredict.physics.melt_nets import LOG10_RANGE
from runpredict.physics.solids import Solids

SLOW_C_PER_H, FAST_C_PER_H = 60.0, 150.0  # the two rates of data/cones.csv; its sources there
COOLING_C_PER_H = 200.0  # a loaded electric kiln just below the top; common practice, no source
FLOW_SPAN_C = 400.0  # colder than this below the peak adds less than 1 % to Φ (see tests)
RAMP_LIMITS_C_PER_H = (1.0, 1000.0)  # slower or faster than any kiln; common practice, no source
ROOM_C = 20.0  # common practice, no source
# What one second at the stiffest viscosity told adds: no firing is told as less, so that a
# logarithm of Φ is always finite.
LEAST_FLUIDITY_PER_PA = 10.0 ** -LOG10_RANGE[1]

# Gauss-Legendre nodes of a leg: sixteen are within 0.1 % of steps of a second (see tests).
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(16)
_NODES, _WEIGHTS = 0.5 * (_NODES + 1.0), 0.5 * _WEIGHTS


@lru_cache(maxsize=1)
def cone_table() -> dict[str, tuple[float, float]]:
    """Published end points of large pyrometric cones.

    Returns
    -------
    dict : cone -> (end point at 60 °C/h, at 150 °C/h) [°C]; sources in data/cones.csv
    """
    return {
        row["cone"]: (float(row["end_c_at_60_c_per_h"]), float(row["end_c_at_150_c_per_h"]))
        for row in packaged_rows("cones.csv")
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
        Linear in the logarithm of the rate through the table's 60 and 150 °C/h; slower and
        faster, all cones move alike, so that they keep their order. [°C]

    Raises
    ------
    ValueError : a cone that is not in the table, or a rate outside 1 to 1000 °C/h.

    Notes
    -----
    Between and beyond the two published rates the logarithm is our choice, no source.

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
    within = np.clip(part, 0.0, 1.0)
    alike = float(np.mean([fast - slow for slow, fast in table.values()]))
    peak = ends[:, 0] + within * (ends[:, 1] - ends[:, 0]) + (part - within) * alike
    return np.asarray(peak, dtype=float)


def witness_peak_c(cone: Sequence[str], ramp_c_per_h: ArrayLike) -> Floats:
    """Temperature that a climb without a hold needs to bend a cone as far as it was seen to bend.

    Parameters
    ----------
    cone : sequence of str, length n, as for `cone_peak_c`, or such as "5 half" or "6 flat"
    ramp_c_per_h : array_like, shape (n,)
        As for `cone_peak_c`. [°C/h]

    Returns
    -------
    ndarray, shape (n,)
        Half bent is halfway from the cone below, flat halfway to the one above; of the coolest and
        the hottest the end point itself. Common practice, no source. [°C]

    Raises
    ------
    ValueError : as `cone_peak_c`.

    Examples
    --------
    >>> witness_peak_c(["5", "6 half", "6", "6 flat"], 60).tolist()
    [1184.0, 1202.0, 1220.0, 1228.5]
    """
    names = list(cone_table())
    own = [text.partition(" ")[0] for text in cone]
    places = [names.index(name) if name in names else 0 for name in own]
    steps = [{"half": -1, "flat": 1}.get(text.partition(" ")[2], 0) for text in cone]
    near = [names[min(max(k + d, 0), len(names) - 1)] for k, d in zip(places, steps, strict=True)]
    other = cone_peak_c(
        [n if d else o for n, o, d in zip(near, own, steps, strict=True)], ramp_c_per_h
    )
    return (cone_peak_c(own, ramp_c_per_h) + other) / 2.0


@dataclass(frozen=True)
class Firings:
    """How long the melt is at which temperature, in each of n firings.

    Attributes
    ----------
    peak_c : ndarray, shape (n,). [°C]
    temperature_c : ndarray, shape (n, m). [°C]
    time_s : ndarray, shape (n, m)
        Seconds at each of them, in all the time within `FLOW_SPAN_C` of the peak. [s]
    """

    peak_c: Floats
    temperature_c: Floats
    time_s: Floats

    @property
    def hold_min(self) -> Floats:
        """Minutes at the very peak, shape (n,). [min]"""
        at_peak = self.temperature_c == self.peak_c[:, None]
        return np.asarray(np.where(at_peak, self.time_s, 0.0).sum(axis=1) / 60.0, dtype=float)

    def take(self, index: Indices) -> Firings:
        """The firings at some indices.

        Parameters
        ----------
        index : ndarray of int, shape (k,)
        """
        return Firings(self.peak_c[index], self.temperature_c[index], self.time_s[index])


def _leg(start_c: ArrayLike, end_c: ArrayLike, rate_c_per_h: ArrayLike) -> tuple[Floats, Floats]:
    """Temperatures (n, 16) of a straight climb or fall and the seconds spent at each."""
    start, end, rate = (
        np.atleast_1d(np.asarray(a, dtype=float))[:, None] for a in (start_c, end_c, rate_c_per_h)
    )
    return start + (end - start) * _NODES, _WEIGHTS * np.abs(end - start) / rate * 3600.0


def firings_from_peak(peak_c: ArrayLike, ramp_c_per_h: ArrayLike, hold_min: ArrayLike) -> Firings:
    """A straight climb, a hold at the top, and the kiln's own cooling.

    Parameters
    ----------
    peak_c, ramp_c_per_h, hold_min : array_like, shape (n,). [°C], [°C/h], [min]

    Returns
    -------
    Firings of n firings

    Notes
    -----
    Only what lies within `FLOW_SPAN_C` of the peak; the cooling at `COOLING_C_PER_H`.
    """
    peak = np.atleast_1d(np.asarray(peak_c, dtype=float))
    hold = np.broadcast_to(np.asarray(hold_min, dtype=float), peak.shape)
    floor = np.maximum(peak - FLOW_SPAN_C, ROOM_C)
    legs = (
        _leg(floor, peak, ramp_c_per_h),
        (peak[:, None], 60.0 * hold[:, None]),
        _leg(peak, floor, COOLING_C_PER_H),
    )
    return Firings(peak, *(np.concatenate(side, axis=1) for side in zip(*legs, strict=True)))


def firing_from_schedule(
    rate_c_per_h: Sequence[float], target_c: Sequence[float], hold_min: Sequence[float]
) -> Firings:
    """A firing typed as segments, from room temperature.

    Parameters
    ----------
    rate_c_per_h, target_c, hold_min : sequences of equal length, one entry a segment
        After the last segment the kiln cools by itself. [°C/h], [°C], [min]

    Raises
    ------
    ValueError : no segment, or a rate not above 0.
    """
    if not len(target_c) or min(rate_c_per_h) <= 0:
        raise ValueError("a schedule needs at least one segment, each with a rate above 0")
    peak = float(max(target_c))
    floor = max(peak - FLOW_SPAN_C, ROOM_C)
    legs: list[tuple[Floats, Floats]] = []
    at = ROOM_C
    for rate, target, hold in zip(
        [*rate_c_per_h, COOLING_C_PER_H], [*target_c, floor], [*hold_min, 0.0], strict=True
    ):
        legs.append(_leg(max(at, floor), max(target, floor), rate))
        if target >= floor:
            legs.append((np.array([[target]]), np.array([[hold * 60.0]])))
        at = target
    sides = (np.concatenate(side, axis=1) for side in zip(*legs, strict=True))
    return Firings(np.array([peak]), *sides)


def join(firings: Sequence[Firings]) -> Firings:
    """Many firings as one table.

    Returns
    -------
    Firings
        All of them in that order, the shorter ones filled up with no time at their peak.
    """
    width = max(f.time_s.shape[1] for f in firings)

    def wide(table: Floats, fill: Floats) -> Floats:
        spare = np.repeat(fill[:, None], width - table.shape[1], axis=1)
        return np.concatenate([table, spare], axis=1)

    return Firings(
        np.concatenate([f.peak_c for f in firings]),
        np.concatenate([wide(f.temperature_c, f.peak_c) for f in firings]),
        np.concatenate([wide(f.time_s, np.zeros(len(f.peak_c))) for f in firings]),
    )


def fluidity_per_pa(
    curve: MeltCurve,
    firings: Firings,
    shift_c: ArrayLike = 0.0,
    solids: Solids | None = None,
) -> Floats:
    """The fluidity integral Φ = ∫ dt/η(T(t)) of each melt in its firing.

    Parameters
    ----------
    curve : MeltCurve of n melts
    firings : Firings of n firings
    shift_c : array_like, shape (n,)
        Added to every temperature. [°C]
    solids : Solids of n glazes, optional
        Crystals and grains that stiffen the melt.

    Returns
    -------
    ndarray, shape (n,)
        `LEAST_FLUIDITY_PER_PA` or more, also where nothing melts. [1/Pa]

    Notes
    -----
    A film of constant thickness runs ρ g h² Φ / 3: Φ is all that heat and viscosity do
    (Nusselt 1916; see `film`). Summed by the rule of Gauss and Legendre over each leg.
    """
    shift = np.asarray(shift_c, dtype=float).reshape(-1, 1)
    temperature_c = firings.temperature_c + shift
    log10_pa_s = curve.log10_pa_s(temperature_c)
    if solids is not None:
        log10_pa_s += solids.shift_at(temperature_c)
    fluidity = (10.0**-log10_pa_s * firings.time_s).sum(axis=1)
    return np.asarray(np.maximum(fluidity, LEAST_FLUIDITY_PER_PA), dtype=float)
