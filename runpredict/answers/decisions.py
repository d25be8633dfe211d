"""What to do about a run: wax height, how low, how many coats, cookie, the cheapest change.

Asks any set of draws for the risk of a changed stack and picks the first change, in the order a
potter would try them, that keeps the piece at or under the tolerance. Since risk never falls
with more glaze, more heat or a lower edge, each limit is found by halving.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from runpredict.arrays import Bools, Floats, Indices

if TYPE_CHECKING:
    from runpredict.model.features import Stacks
    from runpredict.model.rules import Draws


STEP_M = 0.5e-3  # edges and bands are told to half a millimetre
MOST_WAX_SHARE = 0.5  # a band that takes more of the glaze than this leaves no pot to sell
LEAST_LAYER_M = 10e-3  # a layer cut shorter than this is no longer the layer that was planned
COOKIE_NEEDED_RISK = 0.25  # common practice, no source
COOKIE_RIM_M = 10e-3  # bare rim outside the puddle; common practice, no source
COOKIE_LEAST_M = 6e-3  # thinner ones warp and crack; common practice, no source
COOKIE_MOST_M = 15e-3
COOKIE_PER_M3 = 1e-3 / 1e-6  # 1 mm thicker a cubic centimetre of glaze; common practice, no source


def top_layer(stacks: Stacks) -> Indices:
    """The layer applied last, shape (n,)."""
    return stacks.present.shape[1] - 1 - stacks.present[:, ::-1].argmax(axis=1)


def lowest_layer(stacks: Stacks) -> Indices:
    """The layer that comes nearest the foot, shape (n,)."""
    return np.where(stacks.glazed, stacks.lower_m, np.inf).argmin(axis=1)


def _pick(table: NDArray[np.generic], layer: Indices) -> Floats:
    return np.take_along_axis(table, layer[:, None], axis=1)[:, 0].astype(float)


def with_band(stacks: Stacks, band_m: Floats) -> Stacks:
    """The lowest layer ends at the band, and no other layer below it."""
    k = np.arange(stacks.present.shape[1])
    lowest = lowest_layer(stacks)[:, None] == k
    band = np.asarray(band_m)[:, None]
    lower = np.where(lowest, band, np.maximum(stacks.lower_m, band))
    lower = np.where(stacks.present, np.minimum(lower, stacks.upper_m), stacks.lower_m)
    return replace(stacks, lower_m=lower)


def with_edge(stacks: Stacks, layer: Indices, edge_m: Floats) -> Stacks:
    """One layer of each piece ends at another height."""
    mine = layer[:, None] == np.arange(stacks.present.shape[1])
    edge = np.minimum(np.asarray(edge_m)[:, None], stacks.upper_m)
    return replace(stacks, lower_m=np.where(mine, edge, stacks.lower_m))


def with_thickness(stacks: Stacks, layer: Indices, factor: Floats) -> Stacks:
    """One layer of each piece is so many times as thick."""
    mine = layer[:, None] == np.arange(stacks.present.shape[1])
    factor = np.where(mine, np.asarray(factor)[:, None], 1.0)
    return replace(stacks, thickness_m=stacks.thickness_m * factor)


def with_hold(stacks: Stacks, hold_min: Floats) -> Stacks:
    """The hold at the top is of another length."""
    change = (np.asarray(hold_min) - stacks.hold_min)[:, None]
    mobility = stacks.mobility_per_m + change * stacks.mobility_per_hold_min_per_m
    return replace(stacks, mobility_per_m=np.maximum(mobility, 0.0), hold_min=np.asarray(hold_min))


@dataclass(frozen=True)
class Ask:
    """Pieces, the deviations drawn for them, and the risk that is tolerated."""

    stacks: Stacks
    draws: Draws
    tolerance: float

    def take(self, pieces: Indices) -> Ask:
        """The same for some of the pieces."""
        return Ask(self.stacks.take(pieces), self.draws.take(pieces), self.tolerance)

    def safe(self, changed: Stacks) -> Bools:
        """Whether each piece, changed so, stays at or under the tolerance."""
        return self.draws.risk(changed)[1] <= self.tolerance


def smallest_safe(
    ask: Ask,
    change: Callable[[Stacks, Floats, Indices], Stacks],
    low: Floats,
    high: Floats,
    step: float,
) -> Floats:
    """Smallest amount of a change that keeps each piece at or under the tolerance.

    Parameters
    ----------
    ask : Ask for n pieces
    change : callable (stacks of some pieces, amount, their indices) -> stacks
        Risk must not rise with the amount.
    low, high : ndarray, shape (n,)
    step : float
        The answer is a multiple of it above `low`, or `low` itself.

    Returns
    -------
    ndarray, shape (n,)
        NaN where not even `high` is safe.
    """
    steps = np.maximum(np.floor((high - low) / step + 1e-9), 0.0)

    def safe(at: Floats, who: Indices) -> Bools:
        part = ask.take(who)
        return part.safe(change(part.stacks, low[who] + at * step, who))

    everyone = np.arange(len(low))
    found = np.where(safe(np.zeros(len(low)), everyone), 0.0, np.nan)
    left = np.flatnonzero(np.isnan(found) & (steps > 0))
    left = left[safe(steps[left], left)] if len(left) else left
    unsafe_at, safe_at = np.zeros(len(low)), steps.copy()
    while len(left):
        middle = np.floor(0.5 * (unsafe_at[left] + safe_at[left]))
        good = safe(middle, left)
        safe_at[left[good]], unsafe_at[left[~good]] = middle[good], middle[~good]
        done = safe_at[left] - unsafe_at[left] <= 1
        found[left[done]] = safe_at[left[done]]
        left = left[~done]
    return low + found * step


def wax_height_m(ask: Ask) -> Floats:
    """Bare band that keeps each piece at or under the tolerance if its lowest layer ends there.

    Returns
    -------
    ndarray, shape (n,)
        May be lower than the band that is planned. NaN where more than half of the planned height
        of glaze would have to go: wax alone cannot make the piece safe. [m]
    """
    top = np.where(ask.stacks.present, ask.stacks.upper_m, 0.0).max(axis=1)
    planned = _pick(ask.stacks.lower_m, lowest_layer(ask.stacks))
    return smallest_safe(
        ask,
        lambda stacks, band, who: with_band(stacks, band),
        np.zeros(len(top)),
        planned + MOST_WAX_SHARE * (top - planned),
        STEP_M,
    )


def lowest_edge_m(ask: Ask, layer: Indices) -> Floats:
    """How far down one layer of each piece may come, the others as they are.

    Returns
    -------
    ndarray, shape (n,)
        NaN where the piece stays over the tolerance however high the layer ends. [m]
    """
    upper = _pick(ask.stacks.upper_m, layer)
    return smallest_safe(
        ask,
        lambda stacks, edge, who: with_edge(stacks, layer[who], edge),
        np.zeros(len(upper)),
        np.maximum(upper - LEAST_LAYER_M, 0.0),
        STEP_M,
    )


def most_coats(ask: Ask, layer: Indices) -> Floats:
    """How many coats one layer of each piece may have, the rest as it is.

    Returns
    -------
    ndarray, shape (n,)
        0 where even one coat is too many; never more than `coat_ratio` reaches.
    """
    ratio = np.take_along_axis(ask.stacks.coat_ratio, layer[:, None, None], axis=1)[:, 0]
    coats = ratio.shape[1]

    def fewer(stacks: Stacks, dropped: Floats, who: Indices) -> Stacks:
        return with_thickness(stacks, layer[who], ratio[who, coats - 1 - dropped.astype(int)])

    none = np.zeros(len(layer))
    dropped = smallest_safe(ask, fewer, none, none + coats - 1.0, 1.0)
    return np.where(np.isnan(dropped), 0.0, coats - dropped)


def most_hold_min(ask: Ask) -> Floats:
    """Longest hold, no longer than planned, that keeps each piece at or under the tolerance.

    Returns
    -------
    ndarray, shape (n,)
        NaN where it stays over it with no hold at all. [min]
    """
    planned = ask.stacks.hold_min
    cut = smallest_safe(
        ask,
        lambda stacks, cut, who: with_hold(stacks, np.maximum(planned[who] - cut, 0.0)),
        np.zeros(len(planned)),
        planned,
        1.0,
    )
    return planned - cut


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
    ring_m2 = np.asarray(past_foot_m3) / np.asarray(puddle_m)
    diameter = np.sqrt(np.asarray(foot_m) ** 2 + 4.0 * ring_m2 / np.pi) + 2.0 * COOKIE_RIM_M
    height = np.clip(COOKIE_LEAST_M + COOKIE_PER_M3 * past_foot_m3, COOKIE_LEAST_M, COOKIE_MOST_M)
    return np.asarray(diameter, dtype=float), np.asarray(height, dtype=float)


def cookie_word(risk: Floats, wax_m: Floats, tolerance: float) -> NDArray[np.str_]:
    """`none` at or under the tolerance, `needed` at even a quarter or if wax cannot help."""
    needed = (risk >= max(COOKIE_NEEDED_RISK, tolerance)) | np.isnan(wax_m)
    return np.where(risk <= tolerance, "none", np.where(needed, "needed", "advised"))


@dataclass(frozen=True)
class Change:
    """The cheapest single change for one piece.

    Attributes
    ----------
    kind : str
        `none` (safe as planned), `edge`, `coat`, `wax`, `hold` or `cookie`.
    layer : int
        Index of the layer it is made to, where it is made to one.
    amount : float
        The new lower edge or band [m], number of coats, or hold [min].
    """

    kind: str
    layer: int = 0
    amount: float = float("nan")


def _higher_top(ask: Ask, planned_wax_m: Floats) -> list[Change | None]:
    top = top_layer(ask.stacks)
    edge = lowest_edge_m(ask, top)
    many = (ask.stacks.present.sum(axis=1) > 1) & ~np.isnan(edge)
    return [
        Change("edge", int(k), float(e)) if ok else None
        for ok, k, e in zip(many, top, edge, strict=True)
    ]


def _coat_less(ask: Ask, planned_wax_m: Floats) -> list[Change | None]:
    found: list[Change | None] = [None] * len(ask.stacks.hold_min)
    for k in reversed(range(ask.stacks.present.shape[1])):
        layer = np.full(len(found), k)
        coats = ask.stacks.coats[:, k]
        less = np.maximum(coats - 2, 0)[:, None]
        factor = np.take_along_axis(ask.stacks.coat_ratio[:, k], less, axis=1)[:, 0]
        safe = (coats >= 2) & ask.safe(with_thickness(ask.stacks, layer, factor))
        for i in np.flatnonzero(safe):
            found[i] = found[i] or Change("coat", k, float(coats[i] - 1))
    return found


def _wider_band(ask: Ask, planned_wax_m: Floats) -> list[Change | None]:
    lowest = lowest_layer(ask.stacks)
    return [
        None if np.isnan(w) else Change("wax", int(k), float(w))
        for k, w in zip(lowest, planned_wax_m, strict=True)
    ]


def _less_hold(ask: Ask, planned_wax_m: Floats) -> list[Change | None]:
    hold = most_hold_min(ask)
    return [None if np.isnan(h) else Change("hold", 0, float(h)) for h in hold]


TRIED_IN_ORDER = (_higher_top, _coat_less, _wider_band, _less_hold)


def cheapest_change(ask: Ask, risk: Floats, wax_m: Floats) -> list[Change]:
    """The first change, in the order a potter would try them, that makes each piece safe.

    Parameters
    ----------
    ask : Ask for n pieces
    risk, wax_m : ndarray, shape (n,)
        Risk as planned, and `wax_height_m`.

    Returns
    -------
    list of Change, length n
        `none` where the piece is safe as planned, `cookie` where no single change is enough.
    """
    changes = [Change("none" if r <= ask.tolerance else "cookie") for r in risk]
    left = np.flatnonzero(risk > ask.tolerance)
    for attempt in TRIED_IN_ORDER:
        if not len(left):
            break
        found = attempt(ask.take(left), wax_m[left])
        for i, change in zip(left, found, strict=True):
            changes[i] = change or changes[i]
        left = left[[change is None for change in found]]
    return changes
