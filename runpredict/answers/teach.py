"""What to fire next: the few tiles or pots that would teach most about a plan.

What is in doubt about a planned pot is partly chance (this coat, this place in the kiln) and
partly what nobody knows yet (how this jar moves here). Only the second can be learned. Every
margin is linear in the effects of `effects`, so what a tile's measured run would leave of that
doubt is known before it is fired, up to the run itself, over which the mean is taken.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
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
from runpredict.arrays import Floats, Indices
from runpredict.errors import BadInput, Fault
from runpredict.model.chances import Predictor
from runpredict.model.features import features_of, typical_thickness_mm
from runpredict.model.stacks import Stacks, stacks_of
from runpredict.tables.plan import PlanTables
from runpredict.tables.rows import with_defaults

DEFAULT_COUNT = 5
PIECES_WEIGHED = 2000  # of a longer plan, evenly chosen
KINDS_TRIED = 200  # glazes or stacks at one heat, the most frequent ones
POTS_TRIED = 20  # planned pieces, the most doubtful ones
MORE_COATS = 2  # a tile may have more coats than the pots, so that a stiff glaze moves at all
# A tile as many studios make them: upright, glazed from well above its foot to its top, each
# further layer ending higher. Common practice, no source.
TILE_UPPER_MM, TILE_LOWER_MM, TILE_STEP_MM, TILE_FOOT_MM = 100.0, 40.0, 20.0, 40.0
READABLE_RUN_MM = 1.0  # a shorter run cannot be told from none
NO_DOUBT = 0.005  # standard deviation of a chance that is not worth a tile
HEAT = ["cone", "hold_min", "ramp_c_per_h"]
LESSON_COLUMNS = ["name", "kind", "glazes", "firing", "pieces", "doubt_before", "doubt_after",
                  "share_removed", "run_p05_mm", "run_p50_mm", "run_p95_mm", "why"]  # fmt: skip


@dataclass(frozen=True)
class Lessons:
    """What `what_to_fire` found.

    Attributes
    ----------
    lessons : DataFrame, one row a tile or pot, the one that teaches most first
        name, kind (`tile` or `pot`), glazes (from the clay out, " + " between), firing (the
        planned one whose heat it takes), pieces (planned ones with any of its glazes),
        doubt_before and doubt_after (root mean square, over the planned pieces, of what is not
        known of their chance of passing the foot; each row counts with those before it, and
        without the pots fired so far),
        share_removed (of the variance, by this row alone), run_p05_mm, run_p50_mm, run_p95_mm
        (told, of the layer that moves furthest), why.
    layers : DataFrame, one row a layer
        The same tiles and pots as a table of layers, ready to be planned; thickness_mm is what
        a needle should find.
    pieces : int
        Planned.
    doubt : float
        As doubt_before, with nothing fired.
    basis : str
        Who says so: `rules`, `blend` or `learned`.
    """

    lessons: pd.DataFrame
    layers: pd.DataFrame
    pieces: int
    doubt: float
    basis: str


def what_to_fire(
    tables: PlanTables,
    count: int = DEFAULT_COUNT,
    progress: Callable[[float], None] | None = None,
) -> Lessons:
    """The test tiles or pots that would teach most about a plan.

    Parameters
    ----------
    tables : PlanTables
    count : int
        How many at most; fewer where nothing is left to learn.
    progress : callable (share done), optional
        Called while a log is learned.

    Returns
    -------
    Lessons

    Raises
    ------
    BadInput : count not above 0.

    Notes
    -----
    Each is the one that, with those before it, lowers most the expected variance of the planned
    pieces' chances. All are taken to share what is odd about one test firing. A run that may be
    too short to read, or past the foot, counts as a less precise reading in proportion.
    """
    if count < 1:
        raise BadInput([Fault("--count", None, None, f"{count} is too few; give 1 or more.")])
    predictor, _ = predictor_of(tables, progress)
    stacks = stacks_of(features_of(tables.plan, tables.glazes, tables.schedules))
    n = len(stacks.present)
    if n > PIECES_WEIGHED:
        stacks = stacks.take(np.linspace(0, n - 1, PIECES_WEIGHED).round().astype(np.intp))
    offer = _offer(tables, stacks, predictor)
    belief = believe(predictor, [stacks, offer.stacks])
    search = _search(belief, stacks, predictor, offer)
    chosen: list[_Step] = []
    while len(chosen) < count and search.doubt >= NO_DOUBT:
        step = search.best()
        if step is None:
            break
        chosen.append((search, *step))
        search = step[1]
    return Lessons(
        lessons=_lessons_table(chosen, stacks),
        layers=_layers_table([number for _, number, _ in chosen], offer),
        pieces=n,
        doubt=chosen[0][0].doubt if chosen else search.doubt,
        basis=predictor.basis,
    )


_Step: TypeAlias = "tuple[_Search, int, _Search]"  # before, number of the tile or pot, after


@dataclass(frozen=True)
class _Offer:
    """Tiles and pots on offer.

    Attributes
    ----------
    layers : DataFrame
        As a table of layers, piece by piece.
    stacks : Stacks
    planned : ndarray of int
        Number of the planned piece that each is, -1 for a tile.
    runs_mm : ndarray, shape (number, k, 3)
    readable : ndarray, shape (number, k)
        Chance that each run can be read.
    """

    layers: pd.DataFrame
    stacks: Stacks
    planned: Indices
    runs_mm: Floats
    readable: Floats


def _offer(tables: PlanTables, stacks: Stacks, predictor: Predictor) -> _Offer:
    plan = with_defaults(tables.plan)
    tiles = pd.DataFrame(list(_tiles(plan)))
    tiles_count = int(tiles["number"].max()) + 1
    risk = predictor.draws(stacks).risk(stacks)[1]
    doubtful = np.argsort(np.abs(risk - 0.5), kind="stable")[:POTS_TRIED]
    keys = pd.MultiIndex.from_frame(tables.plan[["firing", "piece"]])
    pots = [
        tables.plan.loc[keys == (stacks.firing[i], stacks.piece[i])].assign(number=tiles_count + j)
        for j, i in enumerate(doubtful)
    ]
    layers = pd.concat([tiles, *pots], ignore_index=True)
    named = layers.assign(piece=layers["number"].astype(str))
    offered = stacks_of(features_of(named, tables.glazes, tables.schedules))
    draws = predictor.draws(offered)
    runs_mm = 1e3 * draws.runs_m(offered)
    reach_mm = 1e3 * offered.lower_m[..., None]
    return _Offer(
        layers=layers,
        stacks=offered,
        planned=np.concatenate([np.full(tiles_count, -1), doubtful]),
        runs_mm=run_quantiles(runs_mm),
        readable=((runs_mm >= READABLE_RUN_MM) & (runs_mm <= reach_mm)).mean(axis=2),
    )


def _tiles(plan: pd.DataFrame) -> Iterator[dict[str, Any]]:
    """Layers of a tile of each glaze, and of each stack of glazes, at each heat of the plan."""
    kinds: Counter[Any] = Counter()
    heats: dict[Any, dict[str, Any]] = {}
    for (firing, _), piece in plan.groupby(["firing", "piece"], sort=False):
        glazes = tuple(piece.sort_values("layer", kind="stable")["glaze"])
        heat = dict(zip(HEAT, piece[HEAT].iloc[0], strict=True))
        key = tuple(heat.values()) if heat["cone"] else (firing,)
        heats.setdefault(key, {"firing": firing, **heat})
        kinds.update({(kind, key) for kind in {glazes, *((name,) for name in glazes)}})
    usual = {name: _usual(rows) for name, rows in plan.groupby("glaze")}
    body = plan["body"].mode().iloc[0]
    number = 0
    for (glazes, key), _ in kinds.most_common(KINDS_TRIED):
        for more in range(MORE_COATS + 1):
            for k, name in enumerate(glazes):
                method, coats = usual[name][0], usual[name][1] + more
                yield {
                    "piece": f"tile of {' + '.join(glazes)}",
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


def _usual(rows: pd.DataFrame) -> tuple[str, int]:
    """Method and coats a glaze is most often planned with."""
    return str(rows["method"].mode().iloc[0]), int(rows["coats"].mode().iloc[0])


@dataclass(frozen=True)
class _Search:
    """The doubt that is left, and what would lower it most.

    Attributes
    ----------
    offer : _Offer
    belief : Belief
    readings : list of (design, noise)
        What each tile or pot shows.
    margins : Margins of the planned pieces
    variance : ndarray
        Of the margins, that can be learned, with nothing fired.
    whole : ndarray
        Variance of the pieces' chances, with nothing fired.
    weights : ndarray
        0 for a planned piece that is fired first, else 1.
    """

    offer: _Offer
    belief: Belief
    readings: list[tuple[Floats, Floats]]
    margins: Margins
    variance: Floats
    whole: Floats
    weights: Floats

    @cached_property
    def told(self) -> Floats:
        """How much of the variance of each chance is gone."""
        left = self.margins.variance(self.belief.covariance)
        return told_apart(self.margins, self.variance, self.variance - left)

    def left(self, weights: Floats) -> float:
        """Mean variance that is left of the chances, of the pieces with a weight."""
        total = float((weights * np.maximum(self.whole - self.told, 0.0)).sum())
        return total / max(float(weights.sum()), 1.0)

    @property
    def doubt(self) -> float:
        """Root of the mean variance that is left of the chances."""
        return float(np.sqrt(self.left(self.weights)))

    def _without(self, number: int) -> Floats:
        """The weights once a tile or pot is fired."""
        weights = self.weights.copy()
        if self.offer.planned[number] >= 0:
            weights[self.offer.planned[number]] = 0.0
        return weights

    def best(self) -> tuple[int, _Search] | None:
        """Number of the tile or pot that teaches most, and what is left after it."""
        toward = self.belief.covariance @ self.margins.design.T
        left = self.margins.variance(self.belief.covariance)
        gains = np.zeros(len(self.offer.planned))
        for number in range(len(gains)):
            more = explained_by(self.margins, self.belief, self.readings[number], toward)
            told = told_apart(self.margins, self.variance, self.variance - left + more)
            gains[number] = (self._without(number) * (told - self.told)).sum()
        number = int(gains.argmax())
        if gains[number] <= 0.0:
            return None
        belief = self.belief.after(*self.readings[number])
        return number, replace(self, belief=belief, weights=self._without(number))


def _search(belief: Belief, stacks: Stacks, predictor: Predictor, offer: _Offer) -> _Search:
    layer_risk = predictor.draws(stacks).risk(stacks)[0]
    margins = belief.margins(stacks, layer_risk.argmax(axis=1))
    variance = margins.variance(belief.covariance)
    whole = told_apart(margins, variance, variance)
    readings = belief.readings(offer.stacks, offer.readable)
    return _Search(offer, belief, readings, margins, variance, whole, np.ones(len(variance)))


def _layers_table(numbers: list[int], offer: _Offer) -> pd.DataFrame:
    parts = [
        offer.layers.loc[offer.layers["number"] == number].assign(rank=rank)
        for rank, number in enumerate(numbers, 1)
    ]
    if not parts:
        return offer.layers.head(0).drop(columns="number")
    table = pd.concat(parts, ignore_index=True).drop(columns="number")
    table["piece"] = _numbered(table["piece"], table["rank"])
    table["coats"] = table["coats"].astype(int)
    for column in ("run_mm", "thickness_mm"):
        table[column] = table[column].astype(float)
    return table.drop(columns="rank").fillna({"fired_on": "", "past_foot": "", "note": ""})


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
    glazes_of = [set(row) for row in np.array([*stacks.glazes, ""], dtype=object)[stacks.glaze]]
    for before, number, after in chosen:
        offer = before.offer
        layers = offer.layers.loc[offer.layers["number"] == number]
        mine = set(layers["glaze"])
        furthest = offer.runs_mm[number, :, 1].argmax()
        low, middle, high = offer.runs_mm[number, furthest].round(1)
        weights = after.weights
        start = chosen[0][0].left(weights)
        rows.append(
            {
                "name": layers["piece"].iloc[0],
                "kind": "tile" if offer.planned[number] < 0 else "pot",
                "glazes": " + ".join(layers["glaze"]),
                "firing": layers["firing"].iloc[0],
                "pieces": sum(bool(mine & glazes) for glazes in glazes_of),
                "doubt_before": np.sqrt(before.left(weights)),
                "doubt_after": after.doubt,
                "share_removed": (before.left(weights) - after.left(weights)) / start,
                "run_p05_mm": low,
                "run_p50_mm": middle,
                "run_p95_mm": high,
                "why": _why(before, number, after, layers["glaze"].tolist()),
            }
        )
    table = pd.DataFrame(rows, columns=LESSON_COLUMNS)
    table["name"] = _numbered(table["name"], pd.Series(range(len(table))))
    return table


def _why(before: _Search, number: int, after: _Search, glazes: list[str]) -> str:
    """How well the fluidity of what it shows is known before it and after."""
    edges = int(before.offer.stacks.glazed[number].sum())
    rows = before.readings[number][0][:edges]
    was, now = (side.belief.factors(rows) for side in (before, after))
    best = (was / now).argmax()
    return (
        f"how fluid {' over '.join(reversed(glazes))} is here is known to within "
        f"{was[best]:.2g} times either way, afterwards to within {now[best]:.2g}"
    )
