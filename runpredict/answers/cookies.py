"""What catches a run: cookies and catch dishes, and when a pot should have one."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from runpredict.answers.advice import Advice
from runpredict.arrays import Floats, Objects
from runpredict.model.stacks import Stacks

# Common practice, no source, all of these.
COOKIE_RIM_M = 10e-3  # bare rim outside the puddle
COOKIE_LEAST_M = 6e-3  # thinner ones warp and crack
COOKIE_MOST_M = 15e-3
COOKIE_PER_M3 = 1e-3 / 1e-6  # 1 mm thicker a cubic centimetre of glaze
NEEDED_TIMES = 5.0  # the risk that is tolerated: a cookie is then needed, not only advised
DISH_FILLED_M, DISH_DEEP_M = 10e-3, 20e-3  # a dish is filled to half its depth
DISH_GAP_M = 15e-3  # between the puddle, or the pedestal, and the wall of the dish
CLOSING_FORMS = ("mug", "vase", "bottle")


def outward(form: ArrayLike, wall_deg: ArrayLike) -> Floats:
    """How far a wall leads outward for each length up it: below 0 where it closes in.

    Parameters
    ----------
    form : array_like of str
        `mug`, `bowl`, `plate`, `vase`, `bottle`, `tile` or "".
    wall_deg : array_like
        Angle of wall and horizontal. [°]

    Returns
    -------
    ndarray, broadcast shape
        -1 to 1. An overhang opens outward. A wall that faces up closes in on a mug, a vase or a
        bottle, and opens on a bowl or a plate, glazed inside; not known, it is taken to open,
        which makes no cookie too small.

    Examples
    --------
    >>> outward(["bowl", "bottle", "bottle"], [60.0, 60.0, 120.0]).round(2).tolist()
    [0.5, -0.5, 0.5]
    """
    slope = np.cos(np.radians(np.asarray(wall_deg, dtype=float)))
    closes = np.isin(form, CLOSING_FORMS) & (slope > 0)
    return np.asarray(np.where(closes, -slope, np.abs(slope)), dtype=float)


def rim_over_foot(stacks: Stacks) -> Floats:
    """Girth of the wall where its glaze stands over that of the foot, at least 1, shape (n,)."""
    rows, n = stacks.rows, len(stacks.hold_min)
    leads = outward(rows["form"].to_numpy(dtype=object), rows["wall_deg"].to_numpy(dtype=float))
    mean = np.bincount(stacks.piece_at, leads, n) / np.bincount(stacks.piece_at, minlength=n)
    lowest = np.where(stacks.glazed, stacks.lower_m, np.inf).min(axis=1)
    top = np.where(stacks.glazed, stacks.upper_m, 0.0).max(axis=1)
    middle = 0.5 * (np.minimum(lowest, top) + top)
    return np.asarray(1.0 + np.maximum(2.0 * middle * mean / stacks.foot_m, 0.0), dtype=float)


def cookie_size_m(past_foot_m3: Floats, foot_m: Floats, puddle_m: Floats) -> tuple[Floats, Floats]:
    """Diameter and height of a cookie that holds what may run past the foot.

    Parameters
    ----------
    past_foot_m3 : ndarray, shape (n,)
        Volume to hold. [m³]
    foot_m : ndarray, shape (n,)
        Diameter of the foot ring. [m]
    puddle_m : ndarray, shape (n,)
        Depth of the puddle. [m]

    Returns
    -------
    diameter, height : ndarray, shape (n,)
        The puddle lies as a ring outside the foot, with a bare rim around it. [m]
    """
    diameter = _ring_m(past_foot_m3, foot_m, puddle_m) + 2.0 * COOKIE_RIM_M
    height = np.clip(COOKIE_LEAST_M + COOKIE_PER_M3 * past_foot_m3, COOKIE_LEAST_M, COOKIE_MOST_M)
    return diameter, np.asarray(height, dtype=float)


def dish_size_m(past_foot_m3: Floats, foot_m: Floats) -> tuple[Floats, Floats]:
    """Diameter within and depth of a catch dish around a pedestal as wide as the foot.

    Parameters
    ----------
    past_foot_m3, foot_m : ndarray, shape (n,)
        As for `cookie_size_m`.

    Returns
    -------
    diameter, depth : ndarray, shape (n,)
        What it is to hold fills it to half its depth. [m]
    """
    diameter = _ring_m(past_foot_m3, foot_m, DISH_FILLED_M) + 2.0 * DISH_GAP_M
    return diameter, np.full(diameter.shape, DISH_DEEP_M)


def _ring_m(volume_m3: Floats, inner_m: Floats, deep_m: ArrayLike) -> Floats:
    """Outer diameter of a ring of a volume and a depth."""
    ring_m2 = np.asarray(volume_m3) / np.asarray(deep_m)
    return np.asarray(np.sqrt(np.asarray(inner_m) ** 2 + 4.0 * ring_m2 / np.pi), dtype=float)


def needed_from(tolerance: float) -> float:
    """Risk from which a cookie is needed: five times what is tolerated, if that is a chance.

    Examples
    --------
    >>> needed_from(0.05), needed_from(0.5)
    (0.25, 0.75)
    """
    return min(NEEDED_TIMES * tolerance, 0.5 * (1.0 + tolerance))


def catch_word(risk: Floats, advice: Advice, tolerance: float) -> Objects:
    """What should catch a piece that is fired as planned.

    Parameters
    ----------
    risk : ndarray, shape (n,)
    advice : Advice for n pieces
    tolerance : float

    Returns
    -------
    ndarray of str, shape (n,)
        `dish` where no change is enough or a glaze is meant to run; else `none` at or under the
        tolerance, whatever change is enough; `needed` from `needed_from`; `advised` between.
    """
    words = np.where(risk >= needed_from(tolerance), "needed", "advised").astype(object)
    words[risk <= tolerance] = "none"
    words[np.isin(advice.word, ("dish", "pedestal"))] = "dish"
    return words
