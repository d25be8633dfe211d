"""The cheapest change that is enough for a piece: one thing, or two at once.

Every change is tried exactly as it will be told, bands and edges on the lines of the ruler that
is used, before it is told. What costs the pot least comes first; where no change of the list is
enough, the piece is said not to be one for this glaze.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from functools import cache
from itertools import combinations, product
from typing import NamedTuple

import numpy as np
import pandas as pd

from runpredict.answers import decisions
from runpredict.answers.decisions import Ask
from runpredict.arrays import AnyArray, Bools, Floats, Indices, Objects
from runpredict.model.features import FIRED_SHARE
from runpredict.model.stacks import Stacks
from runpredict.tables.columns import cones
from runpredict.tables.plan import PlanTables
from runpredict.tables.rows import with_defaults
from runpredict.units import HAND_STEP_MM, LengthUnits, thinner_as_written

MOST_MOVES = 2
LITTLE_WAX_M = 6.5e-3  # a wax line raised by so little costs no pot its looks; a judgement
LITTLE_EDGE_SHARE = 0.25  # of a layer's height, the same

# What a change costs the pot, most of all to its looks; only their order and that of their sums
# matter. Common practice, no source.
COSTS = {"wax": 1.0, "top edge": 2.0, "edge": 3.0, "coat": 4.0, "hold": 6.5, "cone": 8.0}
EDGES = ("top edge", "edge")
LEAST_COATS = {"brush": 2}  # one brushed coat hardly covers; common practice, no source
# A glaze made to grow crystals: zinc for them, hardly any alumina to hinder them, moles a unity
# of fluxes. Common practice, no source.
CRYSTAL_ZINC_MOL, CRYSTAL_ALUMINA_MOL = 0.4, 0.15


class Move(NamedTuple):
    """One thing that may be changed.

    Attributes
    ----------
    kind : str
        `wax` (a wider bare band), `top edge` (the layer put on last stops higher), `edge` (another
        layer does), `coat` (one less), `hold` (shorter) or `cone` (one lower).
    layer : int
        Of `edge` and `coat`; -1 for the others.
    little : bool
        As far only as hardly shows.
    """

    kind: str
    layer: int = -1
    little: bool = False


@dataclass(frozen=True)
class Case:
    """Pieces that ask for advice, and whom to ask.

    Attributes
    ----------
    ask : Ask for n pieces
    pieces : ndarray of int, shape (n,)
        Their places in `cooler`.
    cooler : callable
        Asks about all pieces of the plan, each fired one cone lower, or as planned where there is
        no lower cone.
    scheduled : ndarray of bool, shape (n,)
        Firings typed as a schedule, whose hold no column of the pot can change.
    units : "mm" or "in"
        Of the ruler that changes are told on.
    """

    ask: Ask
    pieces: Indices
    cooler: Callable[[], Ask]
    scheduled: Bools
    units: LengthUnits = "mm"

    @property
    def step_m(self) -> float:
        """From one line of the ruler to the next. [m]"""
        return 1e-3 * HAND_STEP_MM[self.units]

    def heated(self, way: tuple[Move, ...]) -> Ask:
        """The pieces at the heat of a way."""
        if any(move.kind == "cone" for move in way):
            return self.cooler().take(self.pieces)
        return self.ask

    def take(self, pieces: Indices) -> Case:
        """The same for some of the pieces."""
        return replace(
            self,
            ask=self.ask.take(pieces),
            pieces=self.pieces[pieces],
            scheduled=self.scheduled[pieces],
        )


@dataclass(frozen=True)
class Advice:
    """What is enough for each of n pieces.

    Attributes
    ----------
    word : ndarray of str, shape (n,)
        `none` (safe as planned), `change`, `dish` (no change is enough), or `pedestal` (a glaze
        that is meant to run, which is caught in a dish as a matter of course).
    kind : ndarray of str, shape (n, 3)
        `wax`, `edge`, `coat`, `thickness` (what a coat less makes of a layer that was measured),
        `hold` or `cone`, the order in which they are told; "" for none.
    layer : ndarray of int, shape (n, 3)
        The layer it is made to, 0 where it is made to none.
    planned, changed : ndarray, shape (n, 3)
        Band or lower edge [m], number of coats, thickness of the dry layer [m], or hold [min];
        NaN for a cone.
    risk : ndarray, shape (n,)
        Of each piece changed so; as planned where nothing is changed.
    """

    word: Objects
    kind: Objects
    layer: Indices
    planned: Floats
    changed: Floats
    risk: Floats

    def set(self, pieces: slice, part: Advice) -> None:
        """Write down what is enough for some of the pieces."""
        for name in (field.name for field in fields(self)):
            getattr(self, name)[pieces] = getattr(part, name)

    @classmethod
    def nothing(cls, risk: Floats) -> Advice:
        """No change for pieces of these risks."""
        count = len(risk)
        shape = (count, MOST_MOVES)
        return cls(
            word=np.full(count, "none", dtype=object),
            kind=np.full(shape, "", dtype=object),
            layer=np.zeros(shape, dtype=np.intp),
            planned=np.full(shape, np.nan),
            changed=np.full(shape, np.nan),
            risk=np.array(risk, dtype=float),
        )


@cache
def ways(layers: int) -> tuple[tuple[Move, ...], ...]:
    """Every combination of changes to pieces of up to so many layers, the cheapest first.

    Examples
    --------
    >>> [" + ".join(move.kind for move in way) for way in ways(1)][:5]
    ['wax', 'coat', 'wax', 'hold', 'cone']
    """
    each = range(layers)
    moves: dict[str, list[Move]] = {kind: [Move(kind)] for kind in COSTS}
    moves["coat"] = [Move("coat", k) for k in reversed(each)]
    moves["edge"] = [Move("edge", k) for k in reversed(each)] if layers > 1 else []
    moves["top edge"] = moves["top edge"] if layers > 1 else []
    little = [Move("wax", little=True), *(move._replace(little=True)
              for kind in EDGES for move in moves[kind])]  # fmt: skip
    alone = [*little, *moves["coat"], *(m for kind in COSTS if kind != "coat" for m in moves[kind])]
    found: list[tuple[Move, ...]] = [(move,) for move in alone]
    for count in range(2, MOST_MOVES + 1):
        kinds = sorted(combinations(COSTS, count), key=lambda some: sum(COSTS[k] for k in some))
        found += [way for some in kinds for way in product(*(moves[kind] for kind in some))]
    return tuple(found)


class Reach(NamedTuple):
    """How far one move may go: from a start, so many steps of some size, up or down."""

    layer: Indices
    start: Floats
    step: float
    steps: Indices
    possible: Bools

    def take(self, pieces: AnyArray) -> Reach:
        """The same for some of the pieces."""
        return Reach(
            self.layer[pieces],
            self.start[pieces],
            self.step,
            self.steps[pieces],
            self.possible[pieces],
        )

    def at(self, share: Floats) -> Floats:
        """The amount, on a line of the ruler, after a share of the steps."""
        return np.asarray(self.start + self.step * np.ceil(share * self.steps - 1e-9), dtype=float)


def reach(case: Case, move: Move, way: tuple[Move, ...]) -> Reach:
    """How far a move of a way may go, shape (n,)."""
    stacks = case.ask.stacks
    n = len(stacks.hold_min)
    layer = decisions.top_layer(stacks) if move.layer < 0 else np.full(n, move.layer)
    if move.kind == "coat":
        least = _least_coats(stacks, layer)
        coats = decisions.pick(stacks.coats, layer)
        there = (decisions.pick(stacks.glazed, layer) > 0) & (coats > least)
        measured = decisions.pick(stacks.measured, layer) > 0
        thinner, thinner_yet = _thinner_m(case, layer)
        left = np.where(measured, thinner, coats - 1.0)
        return Reach(layer, left, 0.0, np.ones(n, np.intp), there & (~measured | thinner_yet))
    if move.kind == "hold":
        minutes = np.ceil(stacks.hold_min).astype(np.intp)
        possible = (minutes > 0) & ~case.scheduled
        return Reach(layer, minutes.astype(float), -1.0, minutes, possible)
    if move.kind == "cone":
        cooler = case.cooler().stacks.mobility_per_m[case.pieces]
        lower = np.asarray((cooler < stacks.mobility_per_m).any(axis=1))
        return Reach(layer, np.full(n, np.nan), 0.0, np.ones(n, np.intp), lower)
    if move.kind == "wax":
        layer = decisions.lowest_layer(stacks)
    planned = decisions.pick(stacks.lower_m, layer)
    most = _highest_m(stacks, move, layer, way)
    first = np.floor(planned / case.step_m + 1e-9)
    steps = np.maximum(np.floor(most / case.step_m + 1e-9) - first, 0.0).astype(np.intp)
    possible = (steps > 0) & (decisions.pick(stacks.glazed, layer) > 0)
    if move.kind != "wax":
        several = stacks.glazed.sum(axis=1) > 1
        possible &= several
        if move.kind == "edge":
            possible &= layer != decisions.top_layer(stacks)
    return Reach(layer, case.step_m * first, case.step_m, steps, possible)


def _thinner_m(case: Case, layer: Indices) -> tuple[Floats, Bools]:
    """A layer as thick, dry, as with a coat less, as it is written; and whether that is thinner."""
    stacks = case.ask.stacks
    fewer = np.maximum(decisions.pick(stacks.coats, layer).astype(np.intp) - 1, 1)
    ratio = stacks.coat_ratio[np.arange(len(layer)), layer, fewer - 1]
    dry_m = decisions.pick(stacks.thickness_m, layer) / FIRED_SHARE
    written = [1e-3 * thinner_as_written(mm, case.units) for mm in 1e3 * ratio * dry_m]
    thinner = np.array(written, dtype=float)
    return thinner, (thinner > 0.0) & (thinner < dry_m)


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
    if move.little:
        most = np.minimum(most, planned + LITTLE_EDGE_SHARE * (upper - planned))
    # Where nothing else would reach down into the band, this edge is the band: another move.
    raised = np.zeros(stacks.present.shape, dtype=bool)
    for other in way:
        if other.kind in EDGES:
            k = decisions.top_layer(stacks) if other.layer < 0 else other.layer
            raised[np.arange(len(raised)), k] = True
    left = np.where(stacks.glazed & ~raised, stacks.lower_m, np.inf).min(axis=1)
    first = np.where(raised & stacks.glazed, stacks.lower_m, np.inf).argmin(axis=1)
    return np.where((left > band) & (first == layer), planned, most)


def changed(case: Case, way: tuple[Move, ...], reaches: list[Reach], share: Floats) -> Stacks:
    """The pieces with a share of each move of a way made, no layer lower than it was."""
    stacks = case.heated(way).stacks
    everyone = np.arange(len(share))
    lower, thickness = stacks.lower_m.copy(), stacks.thickness_m.copy()
    for move, far in zip(way, reaches, strict=True):
        amount = far.at(share)
        # As a table in mm is read, lest edges that touch be a rounding apart.
        height_m = 1e-3 * np.round(1e3 * amount, 4)
        if move.kind == "wax":
            lower = np.maximum(lower, height_m[:, None])
        elif move.kind in EDGES:
            lower[everyone, far.layer] = np.maximum(lower[everyone, far.layer], height_m)
        elif move.kind == "coat":
            measured = stacks.measured[everyone, far.layer]
            coats = np.where(measured, 1, np.maximum(amount, 1.0)).astype(np.intp)
            fewer = (
                stacks.coat_ratio[everyone, far.layer, coats - 1] * thickness[everyone, far.layer]
            )
            thickness[everyone, far.layer] = np.where(measured, FIRED_SHARE * amount, fewer)
        elif move.kind == "hold":
            stacks = decisions.with_hold(stacks, np.minimum(amount, stacks.hold_min))
    lower = np.where(stacks.present, np.minimum(lower, stacks.upper_m), stacks.lower_m)
    return replace(stacks, lower_m=lower, thickness_m=thickness)


def risk_after(case: Case, way: tuple[Move, ...], reaches: list[Reach], share: Floats) -> Floats:
    """Risk of each piece once a share of each move is made, shape (n,)."""
    return case.heated(way).risk(changed(case, way, reaches, share))


def advise(case: Case, risk: Floats, meant_to_run: Bools) -> Advice:
    """The cheapest change that is enough for each piece.

    Parameters
    ----------
    case : Case of n pieces
    risk : ndarray, shape (n,)
        As planned.
    meant_to_run : ndarray of bool, shape (n,)
        From `is_meant_to_run`.

    Returns
    -------
    Advice
    """
    advice = Advice.nothing(risk)
    over = risk > case.ask.tolerance
    advice.word[over] = np.where(meant_to_run[over], "pedestal", "dish")
    left = np.flatnonzero(over & ~meant_to_run)
    hopeless = np.zeros((len(risk), len(EDGES)), dtype=bool)
    bounded = False
    for way in ways(case.ask.stacks.present.shape[1]):
        if not len(left):
            break
        if len(way) > 1 and not bounded:
            bounded = True
            hopeless[left] = _beyond_hope(case.take(left))
        kinds = {move.kind for move in way}
        covered = [kind not in kinds for kind in EDGES]
        worth = left[~hopeless[left][:, covered].any(axis=1)]
        if len(worth):
            left = np.setdiff1d(left, _try(case, way, worth, risk, advice))
    return advice


def _beyond_hope(case: Case) -> Bools:
    """Whether all changes at once but those of one kind of edge are too little, (n, 2).

    What is settled here spares most of the combinations, since fewer changes are never safer.
    """
    layers = range(case.ask.stacks.present.shape[1])
    moves = [Move(kind) for kind in ("wax", "top edge", "hold", "cone")]
    moves += [Move(kind, k) for kind in ("edge", "coat") for k in layers]
    whole = np.ones(len(case.ask.stacks.hold_min))
    beyond = []
    for left_out in EDGES:
        some = tuple(move for move in moves if move.kind != left_out)
        reaches = [reach(case, move, ()) for move in some]
        beyond.append(risk_after(case, some, reaches, whole) > case.ask.tolerance)
    return np.stack(beyond, axis=1)


def _try(case: Case, way: tuple[Move, ...], left: Indices, risk: Floats, advice: Advice) -> Indices:
    """Write down for which of some pieces a way is enough, and how much of it; those pieces."""
    part = case.take(left)
    reaches = [reach(part, move, way) for move in way]
    possible = np.logical_and.reduce([far.possible for far in reaches])
    left, part = left[possible], part.take(np.flatnonzero(possible))
    if not len(left):
        return left
    reaches = [far.take(possible) for far in reaches]
    finest = np.max([far.steps for far in reaches], axis=0)

    def after(count: Indices, who: Indices) -> Floats:
        some = [far.take(who) for far in reaches]
        return risk_after(part.take(who), way, some, count / finest[who])

    count = decisions.least_safe(after, part.ask.tolerance, risk[left], finest)
    enough = np.flatnonzero(count >= 0)
    if len(enough):
        _write_down(advice, way, left, part.ask.stacks, reaches, count / finest, enough)
        advice.risk[left[enough]] = after(count[enough], enough)
    return left[enough]


def _write_down(
    advice: Advice,
    way: tuple[Move, ...],
    pieces: Indices,
    stacks: Stacks,
    reaches: list[Reach],
    share: Floats,
    enough: Indices,
) -> None:
    at = pieces[enough]
    advice.word[at] = "change"
    for place, (move, far) in enumerate(zip(way, reaches, strict=True)):
        kind = move.kind.removeprefix("top ")
        planned = {"hold": stacks.hold_min, "cone": np.full(len(share), np.nan)}.get(kind)
        if planned is None:
            planned = decisions.pick(stacks.coats if kind == "coat" else stacks.lower_m, far.layer)
        kinds = np.full(len(share), kind, dtype=object)
        if kind == "coat":
            measured = decisions.pick(stacks.measured, far.layer) > 0
            kinds[measured] = "thickness"
            dry_m = decisions.pick(stacks.thickness_m, far.layer) / FIRED_SHARE
            planned = np.where(measured, dry_m, planned)
        advice.kind[at, place] = kinds[enough]
        advice.layer[at, place] = far.layer[enough] + 1 if kind in ("wax", "edge", "coat") else 0
        advice.planned[at, place] = planned[enough]
        advice.changed[at, place] = far.at(share)[enough]


def is_meant_to_run(stacks: Stacks) -> Bools:
    """Whether a piece bears a glaze that grows crystals, which runs as a matter of course."""
    rows = stacks.rows
    crystals = (rows["zinc_mol"].to_numpy(dtype=float) >= CRYSTAL_ZINC_MOL) & (
        rows["Al2O3_per_flux_mol"].to_numpy(dtype=float) <= CRYSTAL_ALUMINA_MOL
    )
    return np.bincount(stacks.piece_at, crystals, len(stacks.hold_min)) > 0


def a_cone_lower(tables: PlanTables) -> pd.DataFrame:
    """The planned layers, each fired one cone lower.

    A firing that is typed as a schedule has no cone, and the coolest cone none below it: these
    stay as they are.
    """
    below = dict(zip(cones()[1:], cones()[:-1], strict=True))
    cone = with_defaults(tables.plan)["cone"]
    return tables.plan.assign(cone=cone.map(lambda cone: below.get(cone, cone)))
