"""What may be changed on a pot: how far each change may go, and the pot once it is made.

A change is found on the millimetre and told on the ruler that is read, rounded outward, so that
it is the same in mm and in inches.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import combinations, product
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from runpredict.answers import decisions
from runpredict.arrays import AnyArray, Bools, Floats, Indices, Objects
from runpredict.model.features import FIRED_SHARE
from runpredict.model.stacks import Stacks
from runpredict.units import HAND_STEP_MM, LengthUnits, thinner_as_written

MOST_MOVES = 2
LITTLE_WAX_M = 6.5e-3  # a wax line raised by so little costs no pot its looks; a judgement
LITTLE_EDGE_SHARE = 1 / 3  # of a layer's height: more, and it is another pot; the same
PAIRED_EDGE_SHARE = 0.5  # where something else is changed, too, the same
HAND_M = 2e-3  # a hand that dips or waxes to a line ends within so much of it; a judgement
HAND_SHARE = 0.1  # of a thickness, the same
STEP_M = 1e-3  # changes are found to the millimetre
CLOSE_M = 0.05e-3  # two edges are tried this far apart, one and then the other the higher

# What a change costs the pot, most of all to its looks; only their order and that of their sums
# matter. Common practice, no source.
COSTS = {"wax": 1.0, "top edge": 2.0, "edge": 3.0, "coat": 4.0}
EDGES = ("top edge", "edge")
LEAST_COATS = {"brush": 2}  # one brushed coat hardly covers; common practice, no source


class Move(NamedTuple):
    """One thing that may be changed.

    Attributes
    ----------
    kind : str
        `wax` (a wider bare band), `top edge` (the layer put on last stops higher), `edge` (another
        layer does) or `coat` (fewer, or as thick as fewer would be).
    layer : int
        Of `edge` and `coat`; -1 for the others.
    little : bool
        As far only as hardly shows; of coats, one less.
    """

    kind: str
    layer: int = -1
    little: bool = False


@cache
def ways(layers: int) -> tuple[tuple[Move, ...], ...]:
    """Every change, and every two, to pieces of up to so many layers, the cheapest first.

    Examples
    --------
    >>> [" + ".join(move.kind for move in way) for way in ways(1)]
    ['wax', 'wax', 'coat', 'coat', 'wax + coat']
    """
    each = list(reversed(range(layers)))
    several = layers > 1
    moves = {
        "wax": [Move("wax")],
        "top edge": [Move("top edge")] if several else [],
        "edge": [Move("edge", k) for k in each] if several else [],
        "coat": [Move("coat", k, little=True) for k in each],
    }
    single = [move._replace(little=True) for kind in ("wax", *EDGES) for move in moves[kind]]
    single += [move for kind in COSTS for move in moves[kind]]
    single += [Move("coat", k) for k in each]
    found: list[tuple[Move, ...]] = [(move,) for move in single]
    for count in range(2, MOST_MOVES + 1):
        kinds = sorted(combinations(COSTS, count), key=lambda some: sum(COSTS[k] for k in some))
        found += [way for some in kinds for way in product(*(moves[kind] for kind in some))]
    return tuple(found)


class Reach(NamedTuple):
    """How far one move may go: from a start, so many steps of some size."""

    layer: Indices
    start: Floats
    step: Floats
    steps: Indices
    possible: Bools

    def take(self, pieces: AnyArray) -> Reach:
        """The same for some of the pieces."""
        return Reach(
            self.layer[pieces],
            self.start[pieces],
            self.step[pieces],
            self.steps[pieces],
            self.possible[pieces],
        )

    def at(self, share: Floats) -> Floats:
        """The amount after a share of the steps."""
        return np.asarray(self.start + self.step * np.ceil(share * self.steps - 1e-9), dtype=float)


def reach(stacks: Stacks, move: Move, way: tuple[Move, ...]) -> Reach:
    """How far a move of a way may go, shape (n,)."""
    n = len(stacks.hold_min)
    layer = decisions.top_layer(stacks) if move.layer < 0 else np.full(n, move.layer)
    if move.kind == "coat":
        return _fewer_coats(stacks, move, layer)
    if move.kind == "wax":
        layer = decisions.lowest_layer(stacks)
    planned = decisions.pick(stacks.lower_m, layer)
    most = _highest_m(stacks, move, layer, way)
    # As high as may be told in inches, too, so that both rulers have the same choice.
    inch_m = 1e-3 * HAND_STEP_MM["in"]
    most = inch_m * np.floor(most / inch_m + 1e-9)
    first = np.floor(planned / STEP_M + 1e-9)
    steps = np.maximum(np.floor(most / STEP_M + 1e-9) - first, 0.0).astype(np.intp)
    possible = (steps > 0) & (decisions.pick(stacks.glazed, layer) > 0)
    if move.kind != "wax":
        several = stacks.glazed.sum(axis=1) > 1
        possible &= several & (decisions.pick(stacks.put_on, layer) == 0)
        if move.kind == "edge":
            possible &= layer != decisions.top_layer(stacks)
    return Reach(layer, STEP_M * first, np.full(n, STEP_M), steps, possible)


def _fewer_coats(stacks: Stacks, move: Move, layer: Indices) -> Reach:
    """One coat less, or as few as cover; of a layer that was measured, as thick as those are."""
    coats = decisions.pick(stacks.coats, layer)
    least = np.minimum(_least_coats(stacks, layer), coats)
    fewest = np.maximum(coats - 1.0, least) if move.little else least
    there = decisions.pick(stacks.glazed & ~stacks.put_on, layer) > 0
    measured = decisions.pick(stacks.measured, layer) > 0
    steps = (coats - fewest).astype(np.intp)
    ratio = stacks.coat_ratio[np.arange(len(layer)), layer, fewest.astype(np.intp) - 1]
    dry_m = decisions.pick(stacks.thickness_m, layer) / FIRED_SHARE
    thinnest = _written_m(ratio * dry_m, "mm")
    thinner = (thinnest > 0.0) & (thinnest < dry_m)
    start, end = np.where(measured, dry_m, coats), np.where(measured, thinnest, fewest)
    possible = there & (steps > 0) & (~measured | thinner)
    return Reach(layer, start, (end - start) / np.maximum(steps, 1), steps, possible)


def _written_m(thick_m: Floats, units: LengthUnits) -> Floats:
    written = [1e-3 * thinner_as_written(mm, units) for mm in 1e3 * thick_m]
    return np.array(written, dtype=float)


def _least_coats(stacks: Stacks, layer: Indices) -> Floats:
    method = np.take_along_axis(stacks.method, layer[:, None], axis=1)[:, 0]
    return np.array([LEAST_COATS.get(word, 1) for word in method], dtype=float)


def _highest_m(stacks: Stacks, move: Move, layer: Indices, way: tuple[Move, ...]) -> Floats:
    """Where a band or an edge may be raised to at most, shape (n,). [m]"""
    planned = decisions.pick(stacks.lower_m, layer)
    band = decisions.widest_band_m(stacks)
    if move.kind == "wax":
        return np.minimum(band, planned + LITTLE_WAX_M) if move.little else band
    upper = decisions.pick(stacks.upper_m, layer)
    most = upper - decisions.LEAST_LAYER_M
    if move.little or len(way) > 1:
        share = LITTLE_EDGE_SHARE if move.little else PAIRED_EDGE_SHARE
        most = np.minimum(most, planned + share * (upper - planned))
    # Where nothing else would reach down into the band, this edge is the band: another move.
    raised = np.zeros(stacks.present.shape, dtype=bool)
    for other in way:
        if other.kind in EDGES:
            k = decisions.top_layer(stacks) if other.layer < 0 else other.layer
            raised[np.arange(len(raised)), k] = True
    left = np.where(stacks.glazed & ~raised, stacks.lower_m, np.inf).min(axis=1)
    first = np.where(raised & stacks.glazed, stacks.lower_m, np.inf).argmin(axis=1)
    return np.where((left > band) & (first == layer), planned, most)


def told_kind(stacks: Stacks, move: Move, layer: Indices) -> Objects:
    """The word under which a move is told of each piece, shape (n,)."""
    kinds = np.full(len(layer), move.kind.removeprefix("top "), dtype=object)
    if move.kind == "coat":
        kinds[decisions.pick(stacks.measured, layer) > 0] = "thickness"
    return kinds


def as_told(kind: Objects, amount: Floats, units: LengthUnits) -> Floats:
    """Amounts rounded outward to what is read off a ruler: edges up, thicknesses down.

    Parameters
    ----------
    kind : ndarray of str, any shape
        `wax`, `edge`, `thickness` or another, which stays as it is.
    amount : ndarray of that shape
        [m] for the first three.
    units : "mm" or "in"
    """
    step_m = 1e-3 * HAND_STEP_MM[units]
    on_wall, thick = np.isin(kind, ("wax", "edge")), kind == "thickness"
    told = np.where(on_wall, step_m * np.ceil(amount / step_m - 1e-6), amount)
    told[thick] = _written_m(_written_m(amount[thick] + 1e-12, "mm"), units)
    return np.asarray(told, dtype=float)


def with_change(
    stacks: Stacks, kind: Objects, layer: Indices, amount: Floats, off: ArrayLike = 0.0
) -> Stacks:
    """The pieces once a change is made to each.

    Parameters
    ----------
    stacks : Stacks of n pieces
    kind : ndarray of str, shape (n,)
        As `told_kind`; "" for none.
    layer : ndarray of int, shape (n,)
    amount : ndarray, shape (n,)
        Band, edge or dry thickness [m], or number of coats.
    off : float or ndarray, shape (n,)
        By how much a hand ends above or below a band or an edge. [m]
    """
    each, k = np.arange(len(layer)), np.arange(stacks.present.shape[1])
    # As a table in mm is read, lest edges that touch be a rounding apart.
    height = 1e-3 * np.round(1e3 * amount, 4)
    lower, thickness = stacks.lower_m.copy(), stacks.thickness_m.copy()
    off = np.asarray(off, dtype=float)
    waxed = (kind == "wax")[:, None] & (lower < np.maximum(height, height + off)[:, None])
    lower = np.where(waxed, np.maximum(height + off, 0.0)[:, None], lower)
    stopped = (kind == "edge")[:, None] & (layer[:, None] == k)
    lower = np.where(stopped, np.maximum(height + off, 0.0)[:, None], lower)
    lower = np.where(stacks.present, np.minimum(lower, stacks.upper_m), stacks.lower_m)
    coat, thick = kind == "coat", kind == "thickness"
    coats = np.where(coat, amount, 1.0).astype(np.intp)
    fewer = stacks.coat_ratio[each, layer, coats - 1] * thickness[each, layer]
    thinner = np.where(thick, FIRED_SHARE * amount, thickness[each, layer])
    thickness[each, layer] = np.where(coat, fewer, thinner)
    return replace(stacks, lower_m=lower, thickness_m=thickness)


def hand_offsets(stacks: Stacks, kind: Objects, layer: Indices, amount: Floats) -> list[Floats]:
    """Where a hand may end that aims at a band or an edge, at the worst: offsets, each (n,). [m]

    Risk falls as an edge rises, but for where it passes another edge and uncovers it: so the ends
    of what a hand may do, and just below and above each edge within them, are the worst.
    """
    n = len(layer)
    if not np.isin(kind, ("wax", "edge")).any():
        return [np.zeros(n)]
    offsets = [np.full(n, -HAND_M), np.full(n, HAND_M)]
    edge = kind == "edge"
    if not edge.any():
        return offsets
    for k in range(stacks.present.shape[1]):
        gap = stacks.lower_m[:, k] - amount
        near = edge & stacks.glazed[:, k] & (layer != k) & (np.abs(gap) <= HAND_M)
        if near.any():
            for side in (-CLOSE_M, CLOSE_M):
                offsets.append(np.where(near, np.clip(gap + side, -HAND_M, HAND_M), HAND_M))
    return offsets
