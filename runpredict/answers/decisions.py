"""How far one thing may be changed: wax height, how low, how many coats.

Asks for the risk of a changed stack. Since risk never falls with more glaze, more heat or a lower
edge, each limit is found by closing in on it from both sides.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from runpredict.arrays import Bools, Floats, Indices

if TYPE_CHECKING:
    from runpredict.model.chances import Chances
    from runpredict.model.stacks import Stacks


STEP_M = 0.5e-3  # limits of edges and bands are found to half a millimetre
MOST_WAX_SHARE = 1 / 3  # of the wall; a wider band leaves too little of the glaze that was planned
AT_ONCE = 64  # asking about so many pieces takes hardly longer than about one
LEAST_LAYER_M = 10e-3  # a layer cut shorter than this is no longer the layer that was planned


def top_layer(stacks: Stacks) -> Indices:
    """The layer applied last, shape (n,)."""
    return stacks.present.shape[1] - 1 - stacks.present[:, ::-1].argmax(axis=1)


def lowest_layer(stacks: Stacks) -> Indices:
    """The layer that comes nearest the foot, shape (n,)."""
    return np.where(stacks.glazed, stacks.lower_m, np.inf).argmin(axis=1)


def pick(table: NDArray[np.generic], layer: Indices) -> Floats:
    """What a table of layers (n, k) holds of one layer of each piece, shape (n,)."""
    return np.take_along_axis(table, layer[:, None], axis=1)[:, 0].astype(float)


def planned_band_m(stacks: Stacks) -> Floats:
    """How far above the foot the lowest layer ends, shape (n,). [m]"""
    return pick(stacks.lower_m, lowest_layer(stacks))


def widest_band_m(stacks: Stacks) -> Floats:
    """The widest bare band that is advised, or the one that is planned, shape (n,). [m]"""
    top = np.where(stacks.present, stacks.upper_m, 0.0).max(axis=1)
    return np.maximum(MOST_WAX_SHARE * top, planned_band_m(stacks))


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
    which = layer[:, None] == np.arange(stacks.present.shape[1])
    edge = np.minimum(np.asarray(edge_m)[:, None], stacks.upper_m)
    return replace(stacks, lower_m=np.where(which, edge, stacks.lower_m))


def with_thickness(stacks: Stacks, layer: Indices, factor: Floats) -> Stacks:
    """One layer of each piece is so many times as thick."""
    which = layer[:, None] == np.arange(stacks.present.shape[1])
    factor = np.where(which, np.asarray(factor)[:, None], 1.0)
    return replace(stacks, thickness_m=stacks.thickness_m * factor)


def with_hold(stacks: Stacks, hold_min: Floats) -> Stacks:
    """The hold at the top is of another length."""
    change = (np.asarray(hold_min) - stacks.hold_min)[:, None]
    mobility = stacks.mobility_per_m + change * stacks.mobility_per_hold_min_per_m
    return replace(stacks, mobility_per_m=np.maximum(mobility, 0.0), hold_min=np.asarray(hold_min))


@dataclass(frozen=True)
class Ask:
    """Pieces, what is known of them besides their edges, and the risk that is tolerated."""

    stacks: Stacks
    chances: Chances
    tolerance: float

    def take(self, pieces: Indices) -> Ask:
        """The same for some of the pieces."""
        return replace(self, stacks=self.stacks.take(pieces), chances=self.chances.take(pieces))

    def risk(self, changed: Stacks) -> Floats:
        """Chance that any layer of each piece, changed so, passes the foot."""
        return self.chances.piece_risk(changed)

    def safe(self, changed: Stacks) -> Bools:
        """Whether each piece, changed so, stays at or under the tolerance."""
        return self.risk(changed) <= self.tolerance


def least_safe(
    risk: Callable[[Indices, Indices], Floats],
    tolerance: float | Floats,
    start: Floats,
    steps: Indices,
) -> Indices:
    """Least number of steps of a change after which each piece is at or under the tolerance.

    Parameters
    ----------
    risk : callable (numbers of steps, their pieces) -> chances
        Must not rise with the number of steps.
    tolerance : float or ndarray, shape (n,)
    start : ndarray, shape (n,)
        Chance before any step.
    steps : ndarray of int, shape (n,)
        As many as there are.

    Returns
    -------
    ndarray of int, shape (n,)
        -1 where not even all of them are enough.

    Notes
    -----
    Regula falsi on the log odds, an end that stays put counted half (the Illinois rule; Dowell &
    Jarratt (1971), BIT 11:168-174), rounded to whole steps until two neighbours are left. Of few
    pieces several numbers of steps are tried at once, evenly between the ends.
    """
    most = np.broadcast_to(np.asarray(tolerance, dtype=float), start.shape)
    goal = _log_odds(most)
    least = np.where(start <= most, 0, -1)
    left = np.flatnonzero((least < 0) & (steps > 0))
    end = risk(steps[left], left) if len(left) else np.empty(0)
    left, end = left[end <= most[left]], end[end <= most[left]]
    # Steps too few and enough, how far over and under they are, and which of them stayed put.
    ends = np.array([np.zeros(len(left)), steps[left], _log_odds(start[left]) - goal[left],
                     _log_odds(end) - goal[left], np.zeros(len(left))])  # fmt: skip
    while True:
        near = ends[1] - ends[0] <= 1
        least[left[near]] = ends[1, near]
        left, ends = left[~near], ends[:, ~near]
        if not len(left):
            return least
        low, high, over, under, stayed = ends
        share = over / np.maximum(over - under, 1e-9)
        if (several := AT_ONCE // len(left)) > 1:
            share = np.arange(1, several + 1)[:, None] / (several + 1.0)
        between = np.clip(np.atleast_2d(low + np.ceil((high - low) * share)), low + 1, high - 1)
        at = risk(between.astype(np.intp).ravel(), np.tile(left, len(between)))
        at = at.reshape(between.shape)
        good = at <= most[left]
        first = np.where(good.any(axis=0), good.argmax(axis=0), len(between))
        place, each = np.stack([first, first + 1]), np.arange(len(left))
        stays = np.where(first == 0, 1.0, np.where(first == len(between), -1.0, 0.0))
        half = np.where(stays * stayed > 0, 0.5, 1.0)
        gap = np.concatenate([over[None], _log_odds(at) - goal[left], under[None]])
        gap[0] *= np.where(stays > 0, half, 1.0)
        gap[-1] *= np.where(stays < 0, half, 1.0)
        ends = np.stack([*np.concatenate([low[None], between, high[None]])[place, each],
                         *gap[place, each], stays])  # fmt: skip


def _log_odds(chance: Floats) -> Floats:
    sure = np.clip(chance, 1e-12, 1.0 - 1e-12)
    return np.asarray(np.log(sure) - np.log1p(-sure), dtype=float)


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
    steps = np.maximum(np.floor((high - low) / step + 1e-9), 0.0).astype(np.intp)

    def risk(count: Indices, who: Indices) -> Floats:
        part = ask.take(who)
        return part.risk(change(part.stacks, low[who] + count * step, who))

    none = np.zeros(len(low), dtype=np.intp)
    count_least = least_safe(risk, ask.tolerance, risk(none, np.arange(len(low))), steps)
    return low + np.where(count_least < 0, np.nan, count_least) * step


def wax_height_m(ask: Ask) -> Floats:
    """Bare band that keeps each piece at or under the tolerance if its lowest layer ends there.

    Returns
    -------
    ndarray, shape (n,)
        May be lower than the band that is planned. NaN where it would take more than
        `widest_band_m`. [m]
    """
    most = widest_band_m(ask.stacks)
    return smallest_safe(
        ask,
        lambda stacks, band, who: with_band(stacks, band),
        np.zeros(len(most)),
        most,
        STEP_M,
    )


def lowest_edge_m(ask: Ask, layer: Indices) -> Floats:
    """How far down one layer of each piece may come, the others as they are.

    Returns
    -------
    ndarray, shape (n,)
        NaN where the piece stays over the tolerance however high the layer ends. Never above the
        planned edge of a piece that is safe as planned. [m]
    """
    upper, planned = pick(ask.stacks.upper_m, layer), pick(ask.stacks.lower_m, layer)
    lowest = smallest_safe(
        ask,
        lambda stacks, edge, who: with_edge(stacks, layer[who], edge),
        np.zeros(len(upper)),
        np.maximum(upper - LEAST_LAYER_M, 0.0),
        STEP_M,
    )
    # Below a layer that shields others risk may fall and rise again, and the search overshoot.
    return np.where(ask.safe(ask.stacks), np.fmin(lowest, planned), lowest)


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
