"""What to fire next: the few test tiles that would teach most about a plan.

What is in doubt about a planned pot is partly chance (this coat, this place in the kiln) and
partly what nobody knows yet (how this jar moves here). Only the second can be learned. Every
margin is linear in the effects of `effects`, so what a tile's measured run would leave of that
doubt is known before it is fired, up to the run itself, over which the mean is taken.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, TypeAlias

import numpy as np
import pandas as pd

from runpredict.answers.check import predictor_of
from runpredict.answers.teach_belief import (
    Belief,
    Margins,
    believe,
    explained_by,
    told_apart,
)
from runpredict.arrays import Floats
from runpredict.errors import BadInput, Fault
from runpredict.model.features import features_of, typical_thickness_mm
from runpredict.model.predictors import Predictor
from runpredict.model.stacks import Stacks, stacks_of
from runpredict.tables.firings import firing_words
from runpredict.tables.plan import PlanTables
from runpredict.tables.rows import with_defaults

DEFAULT_COUNT = 5
PIECES_WEIGHED = 2000  # of a longer plan, evenly chosen
KINDS_TRIED = 200  # glazes or stacks at one heat, the most frequent ones
WAYS_TRIED = 3  # methods and coats with which glazes are put on, the most frequent ones
# A tile as many studios make them: upright, glazed from well above its foot to its top, each
# further layer ending higher. Common practice, no source.
TILE_UPPER_MM, TILE_LOWER_MM, TILE_STEP_MM, TILE_FOOT_MM = 100.0, 40.0, 20.0, 40.0
READABLE_RUN_MM = 1.0  # a shorter run cannot be told from none
LEAST_TAKEN = 0.001  # of the doubt, that a tile has to take: what is told shows no less
NO_DOUBT = 0.005  # standard deviation of a chance that is not worth a tile
HEAT = ["cone", "witness_cone", "hold_min", "ramp_c_per_h"]
LESSON_COLUMNS = ["name", "glazes", "firing", "pieces", "doubt_before", "doubt_after",
                  "share_removed", "run_p05_mm", "run_p50_mm", "run_p95_mm", "within_before",
                  "within_after"]  # fmt: skip


@dataclass(frozen=True)
class Lessons:
    """What `what_to_fire` found.

    Attributes
    ----------
    lessons : DataFrame, one row a tile, the one that teaches most first
        name, glazes (from the clay out, " + " between), firing (the planned one whose heat it
        takes), pieces (planned ones with all of its glazes),
        doubt_before and doubt_after (root mean square, over the planned pieces, of what is not
        known of their chance of passing the foot; each row counts with those before it),
        share_removed (of the variance, by this row alone), run_p05_mm, run_p50_mm, run_p95_mm
        (told, of the layer that moves furthest), within_before and within_after (factor either
        way within which the fluidity of what it shows is known, 9 times in 10).
    layers : DataFrame, one row a layer
        The same tiles as a table of layers, ready to be planned for firings of their own, before
        those that they inform; thickness_mm is what a needle should find.
    schedules : DataFrame
        Of those firings, where the planned ones have typed schedules.
    pieces : int
        Planned.
    doubt : float
        As doubt_before, with nothing fired.
    basis : str
        Who says so: `rules` or `learned`.
    """

    lessons: pd.DataFrame
    layers: pd.DataFrame
    schedules: pd.DataFrame
    pieces: int
    doubt: float
    basis: str


def what_to_fire(
    tables: PlanTables,
    count: int = DEFAULT_COUNT,
    progress: Callable[[float], None] | None = None,
) -> Lessons:
    """The test tiles that would teach most about a plan.

    Parameters
    ----------
    count : int
        How many at most; fewer where nothing is left to learn.
    progress : callable (share done), optional
        Called while a log is learned.

    Raises
    ------
    BadInput : count not above 0.

    Notes
    -----
    Each is the one that, with those before it, lowers most the expected variance of the planned
    pieces' chances. All are taken to share what is odd about one test firing, which comes before
    those planned. A run that may be too short to read, or past the foot, counts as a less precise
    reading in proportion. No tile is named twice.
    """
    if count < 1:
        raise BadInput([Fault("--count", None, None, f"{count} is too few; give 1 or more.")])
    predictor, _ = predictor_of(tables, progress)
    stacks = stacks_of(features_of(tables.plan, tables.glazes, tables.schedules))
    n = len(stacks.present)
    if n > PIECES_WEIGHED:
        stacks = stacks.take(np.linspace(0, n - 1, PIECES_WEIGHED).round().astype(np.intp))
    offer = _offer(tables, predictor)
    belief = believe(predictor, [stacks, offer.stacks])
    search = _search(belief, stacks, predictor, offer)
    chosen: list[_Step] = []
    while len(chosen) < count and search.doubt >= NO_DOUBT:
        step = search.best()
        if step is None or search.doubt - step[1].doubt < LEAST_TAKEN:
            break
        chosen.append((search, *step))
        search = step[1]
    return Lessons(
        lessons=_lessons_table(chosen, stacks),
        layers=_layers_table([number for _, number, _ in chosen], offer),
        schedules=_schedules_table(tables, chosen, offer),
        pieces=n,
        doubt=chosen[0][0].doubt if chosen else search.doubt,
        basis=predictor.basis,
    )


_Step: TypeAlias = "tuple[_Search, int, _Search]"  # before, number of the tile, after


@dataclass(frozen=True)
class _Offer:
    """Tiles on offer.

    Attributes
    ----------
    layers : DataFrame
        As a table of layers, tile by tile, in the firings whose heat they take.
    stacks : Stacks
    runs_mm : ndarray, shape (number, k, 3)
    readable : ndarray, shape (number, k)
        Chance that each run can be read.
    """

    layers: pd.DataFrame
    stacks: Stacks
    runs_mm: Floats
    readable: Floats


def _offer(tables: PlanTables, predictor: Predictor) -> _Offer:
    plan = with_defaults(tables.plan)
    layers = pd.DataFrame(list(_tiles(plan)))
    blank = {name: np.nan if plan[name].dtype == float else "" for name in plan.columns}
    left_out = {name: value for name, value in blank.items() if name not in layers}
    layers = layers.assign(**left_out)[[*plan.columns, "number"]]
    named = layers.assign(piece=layers["number"].astype(str))
    offered = stacks_of(features_of(named, tables.glazes, tables.schedules))
    # A firing of their own: what is known of the planned one by name is not known of it.
    offered = replace(offered, firing=np.full(len(offered.firing), None, dtype=object))
    chances = predictor.chances(offered)
    least_m = np.full(offered.lower_m.shape, 1e-3 * READABLE_RUN_MM)
    past = chances.passing(offered, offered.lower_m)
    return _Offer(
        layers=layers,
        stacks=offered,
        runs_mm=1e3 * chances.run_quantiles_m(offered),
        readable=np.clip(chances.passing(offered, least_m) - past, 0.0, 1.0),
    )


def _tiles(plan: pd.DataFrame) -> Iterator[dict[str, Any]]:
    """Layers of a tile of each glaze, and of each stack, as they are put on, at each heat."""
    kinds: Counter[Any] = Counter()
    used: dict[Any, Counter[Any]] = {}
    heats: dict[Any, dict[str, Any]] = {}
    for (firing, _), piece in plan.groupby(["firing", "piece"], sort=False):
        layers = piece.sort_values("layer", kind="stable")
        glazes = tuple(layers["glaze"])
        ways = tuple(zip(layers["method"], layers["coats"].astype(int), strict=True))
        heat = dict(zip(HEAT, piece[HEAT].iloc[0], strict=True))
        key = tuple(heat.values()) if heat["cone"] or heat["witness_cone"] else (firing,)
        heats.setdefault(key, {"firing": firing, **heat})
        alone = {(name,): (way,) for name, way in zip(glazes, ways, strict=True)}
        for kind, way in (alone | {glazes: ways}).items():
            kinds[kind, key] += 1
            used.setdefault(kind, Counter())[way] += 1
    body = plan["body"].mode().iloc[0]
    number = 0
    for (glazes, key), _ in kinds.most_common(KINDS_TRIED):
        for ways, _ in used[glazes].most_common(WAYS_TRIED):
            for k, (name, (method, coats)) in enumerate(zip(glazes, ways, strict=True)):
                yield {
                    "piece": f"tile of {' + '.join(glazes)}",
                    "form": "tile",
                    "body": body,
                    **heats[key],
                    "wall_deg": 90.0,
                    "foot_mm": TILE_FOOT_MM,
                    "layer": k + 1,
                    "glaze": name,
                    "method": method,
                    "coats": coats,
                    "thickness_mm": round(float(typical_thickness_mm([method], [coats])[0]), 2),
                    "lower_edge_mm": min(TILE_LOWER_MM + k * TILE_STEP_MM, TILE_UPPER_MM - 10.0),
                    "upper_edge_mm": TILE_UPPER_MM,
                    "number": number,
                }
            number += 1


@dataclass(frozen=True)
class _Search:
    """The doubt that is left, and what would lower it most.

    Attributes
    ----------
    offer : _Offer
    belief : Belief
    readings : list of (design, noise)
        What each tile shows.
    margins : Margins of the planned pieces
    variance : ndarray
        Of the margins, that can be learned, with nothing fired.
    whole : ndarray
        Variance of the pieces' chances, with nothing fired.
    taken : frozenset of int
        Tiles that are fired.
    """

    offer: _Offer
    belief: Belief
    readings: list[tuple[Floats, Floats]]
    margins: Margins
    variance: Floats
    whole: Floats
    taken: frozenset[int] = field(default_factory=frozenset)

    @cached_property
    def told(self) -> Floats:
        """How much of the variance of each chance is gone."""
        left = self.margins.variance(self.belief.covariance)
        return told_apart(self.margins, self.variance, self.variance - left)

    @property
    def left(self) -> float:
        """Mean variance that is left of the chances."""
        return float(np.maximum(self.whole - self.told, 0.0).mean())

    @property
    def doubt(self) -> float:
        """Root of the mean variance that is left of the chances."""
        return float(np.sqrt(self.left))

    def best(self) -> tuple[int, _Search] | None:
        """Number of the tile that teaches most, and what is left after it."""
        toward = self.belief.covariance @ self.margins.design.T
        left = self.margins.variance(self.belief.covariance)
        gains = np.zeros(len(self.readings))
        for number in set(range(len(gains))) - self.taken:
            more = explained_by(self.margins, self.belief, self.readings[number], toward)
            removed = told_apart(self.margins, self.variance, self.variance - left + more)
            gains[number] = (removed - self.told).sum()
        number = int(gains.argmax())
        if gains[number] <= 0.0:
            return None
        belief = self.belief.after(*self.readings[number])
        return number, replace(self, belief=belief, taken=self.taken | {number})


def _search(belief: Belief, stacks: Stacks, predictor: Predictor, offer: _Offer) -> _Search:
    layer_risk = predictor.chances(stacks).risk(stacks)[0]
    margins = belief.margins(stacks, layer_risk.argmax(axis=1))
    variance = margins.variance(belief.covariance)
    whole = told_apart(margins, variance, variance)
    readings = belief.readings(offer.stacks, offer.readable)
    return _Search(offer, belief, readings, margins, variance, whole)


def _layers_table(numbers: list[int], offer: _Offer) -> pd.DataFrame:
    parts = [
        offer.layers.loc[offer.layers["number"] == number].assign(rank=rank)
        for rank, number in enumerate(numbers, 1)
    ]
    if not parts:
        return offer.layers.head(0).drop(columns="number")
    table = pd.concat(parts, ignore_index=True).drop(columns="number")
    table["piece"] = _numbered(table["piece"], table["rank"])
    table["firing"] = [before(firing) for firing in table["firing"]]
    return table.drop(columns="rank")


def before(firing: str) -> str:
    """Name of the firing of the tiles that take the heat of a planned one."""
    return f"before {firing_words(firing)}"


def _schedules_table(tables: PlanTables, chosen: list[_Step], offer: _Offer) -> pd.DataFrame:
    """Typed schedules of the firings of the tiles."""
    numbers = [number for _, number, _ in chosen]
    firings = offer.layers.loc[offer.layers["number"].isin(numbers), "firing"]
    segments = tables.schedules.loc[tables.schedules["firing"].isin(firings)]
    return segments.assign(firing=[before(firing) for firing in segments["firing"]])


def _numbered(names: pd.Series, ranks: pd.Series) -> list[str]:
    """Names told apart: the second tile of a glaze is "tile of that glaze, no 2"."""
    seen: dict[str, list[int]] = {}
    for name, rank in zip(names, ranks, strict=True):
        if rank not in seen.setdefault(name, []):
            seen[name].append(rank)
    return [
        name if seen[name][0] == rank else f"{name}, no {seen[name].index(rank) + 1}"
        for name, rank in zip(names, ranks, strict=True)
    ]


def _lessons_table(chosen: list[_Step], stacks: Stacks) -> pd.DataFrame:
    rows = []
    glazes_of = [set(row) for row in stacks.glaze_name]
    for earlier, number, after in chosen:
        offer = earlier.offer
        layers = offer.layers.loc[offer.layers["number"] == number]
        furthest = offer.runs_mm[number, :, 1].argmax()
        known = earlier.readings[number][0][: int(offer.stacks.glazed[number].sum())]
        was, now = (side.belief.factors(known) for side in (earlier, after))
        best = (was / now).argmax()
        rows.append(
            (
                layers["piece"].iloc[0],
                " + ".join(layers["glaze"]),
                layers["firing"].iloc[0],
                sum(set(layers["glaze"]) <= glazes for glazes in glazes_of),
                earlier.doubt,
                after.doubt,
                (earlier.left - after.left) / chosen[0][0].left,
                *offer.runs_mm[number, furthest].round(1),
                round(float(was[best]), 2),
                round(float(now[best]), 2),
            )
        )
    table = pd.DataFrame(rows, columns=LESSON_COLUMNS)
    table["name"] = _numbered(table["name"], pd.Series(range(len(table))))
    return table
