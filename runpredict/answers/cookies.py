"""What catches a run: cookies and catch dishes, and when a pot should have one."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from runpredict.arrays import Bools, Floats, Objects
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
# Rings of a puddle outside the foot, as deep as it stands by itself, that a cookie holds, and a
# wide one; more wants the wall of a dish. A dish as wide as the last is not to be had.
COOKIE_RING_M, WIDE_RING_M = 10e-3, 25e-3
DISH_MOST_M = 250e-3


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


class Outline(NamedTuple):
    """How the wall of each of n pieces leads away from its foot.

    Attributes
    ----------
    girth : ndarray, shape (n,)
        Of the wall where its glaze stands, over that of the foot; at least 1.
    rise : ndarray, shape (n,)
        How far its flattest wall that leads outward rises for each length out; inf for none.
    out_m : ndarray, shape (n,)
        How far such a wall goes out over the foot. [m]
    """

    girth: Floats
    rise: Floats
    out_m: Floats

    def take(self, pieces: slice) -> Outline:
        """The same for some of the pieces."""
        return Outline(*(part[pieces] for part in self))


def outline_of(stacks: Stacks) -> Outline:
    """The outline of all pieces of some stacks."""
    leads = outward(stacks.form[:, None], stacks.wall_deg)
    mean = np.where(stacks.present, leads, 0.0).sum(axis=1) / stacks.present.sum(axis=1)
    lowest = np.where(stacks.glazed, stacks.lower_m, np.inf).min(axis=1)
    top = np.where(stacks.glazed, stacks.upper_m, 0.0).max(axis=1)
    middle = 0.5 * (np.minimum(lowest, top) + top)
    girth = 1.0 + np.maximum(2.0 * middle * mean / stacks.foot_m, 0.0)
    opens = stacks.present & (leads > 1e-6)
    steep = np.sin(np.radians(stacks.wall_deg)) / np.where(opens, leads, 1.0)
    rise = np.where(opens, steep, np.inf).min(axis=1)
    out_m = np.where(opens, stacks.upper_m * leads, 0.0).max(axis=1)
    return Outline(np.asarray(girth, dtype=float), rise, out_m)


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


def catcher(past_foot_m3: Floats, stacks: Stacks, outline: Outline) -> Objects:
    """What holds what may run past the foot of each piece.

    Parameters
    ----------
    past_foot_m3 : ndarray, shape (n,)
        [m³]
    stacks, outline
        Of n pieces.

    Returns
    -------
    ndarray of str, shape (n,)
        `cookie`, `wide cookie`, `dish`, or `stand`: more than a cookie holds, from a pot that
        cannot be set in a dish, since its foot is too wide for one or its wall goes out over the
        dish's wall lower than that is high.
    """
    foot_m = stacks.foot_m
    ring = 0.5 * (_ring_m(past_foot_m3, foot_m, stacks.puddle_m) - foot_m)
    words = np.where(ring <= COOKIE_RING_M, "cookie", "wide cookie").astype(object)
    dish_m, deep_m = dish_size_m(past_foot_m3, foot_m)
    gap_m = 0.5 * (dish_m - foot_m)
    over_wall = (outline.out_m > gap_m) & (outline.rise * gap_m < deep_m)
    words[ring > WIDE_RING_M] = "dish"
    words[(ring > WIDE_RING_M) & ((dish_m > DISH_MOST_M) | over_wall)] = "stand"
    return words


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


def catch_word(risk: Floats, catch: Objects, meant_to_run: Bools, tolerance: float) -> Objects:
    """What should catch a piece that is fired as planned.

    Parameters
    ----------
    risk : ndarray, shape (n,)
    catch : ndarray of str, shape (n,)
        From `catcher`.
    meant_to_run : ndarray of bool, shape (n,)

    Returns
    -------
    ndarray of str, shape (n,)
        `none` at or under the tolerance, whatever change is advised of the others; else `dish`
        where more may run than a cookie holds, or a glaze is meant to run; `needed` from
        `needed_from`; `advised` between.
    """
    words = np.where(risk >= needed_from(tolerance), "needed", "advised").astype(object)
    words[np.isin(catch, ("dish", "stand")) | meant_to_run] = "dish"
    words[risk <= tolerance] = "none"
    return words
