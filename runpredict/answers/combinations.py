"""How low each glaze, alone and over each other, may end: learned from a season, for the next.

Of each combination that was fired or is planned, its pots are taken as they were put on, but for
the coats and the edge of the layer that it is of, and for walls that are taken to be upright. An
edge is told where so many of these pots stay within the tolerance, by whoever answers now, of those
that were fired and of those that are planned. Where it is the rest of the glaze that comes too low,
it is told, too, how high that has to end.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from runpredict.answers import decisions
from runpredict.answers.decisions import Ask
from runpredict.answers.moves import HAND_M
from runpredict.answers.questions import DEFAULT_TOLERANCE, asks, checked_tolerance
from runpredict.arrays import Bools, Floats, Indices
from runpredict.model.features import features_of
from runpredict.model.outcomes import outcomes_of
from runpredict.model.predictors import Predictor
from runpredict.model.stacks import Stacks, stacks_of
from runpredict.tables.plan import PlanTables
from runpredict.tables.rows import split_results, with_defaults

COATS = (1, 2)
HELD_SHARE, LEAST_PIECES = (
    0.95,
    5,
)  # an edge is told of this share of so many fired pots; our choice
END_MM = 10.0  # how far above the foot a layer is to end that is stopped so that it may run
ANYWHERE_MM = 6.0  # no wider than the bare foot that most pots have; common practice, no source
OFTEN_PAST = 0.5  # of the fired pots: such a combination is not worth another try
UPRIGHT_DEG = 90.0


@dataclass(frozen=True)
class _Pots:
    """The pots of all combinations, one after the other, each once for each number of coats.

    Attributes
    ----------
    of : ndarray of int, shape (n,)
        Row of the table that each pot is of.
    asked : list of Ask
        Portions of the pots.
    lies : ndarray of bool, shape (n, k)
        The layers of the combination's upper glaze.
    planned : ndarray of bool, shape (n,)
        Of pots to come.
    rows : int
        Of the table.
    """

    of: Indices
    asked: list[Ask]
    lies: Bools
    planned: Bools
    rows: int

    def put_at(self, edge_m: Floats, rest_m: Floats) -> list[Ask]:
        """The pots with their layer at the edge of their row, or as near it as they have room.

        All else on them ends at an edge of its own or higher, as far as it has room.
        """
        found, start = [], 0
        for ask in self.asked:
            stacks, mine = ask.stacks, slice(start, start := start + len(ask.stacks.hold_min))
            lies, of = self.lies[mine, : stacks.present.shape[1]], self.of[mine]
            room_m = np.maximum(stacks.upper_m - decisions.LEAST_LAYER_M, 0.0)
            edge = np.minimum(edge_m[of], np.where(lies, room_m, np.inf).min(axis=1))
            rest = np.maximum(stacks.lower_m, np.minimum(rest_m[of, None], room_m))
            lower = np.where(lies, edge[:, None], rest)
            found.append(replace(ask, stacks=replace(stacks, lower_m=lower)))
        return found

    def held(self, edge_m: Floats, rest_m: Floats) -> Bools:
        """Whether enough of the pots of each row stay on, of the fired and of the planned ones."""
        safe = np.concatenate([ask.safe(ask.stacks) for ask in self.put_at(edge_m, rest_m)])
        row = 2 * self.of + self.planned
        count = np.bincount(row, minlength=2 * self.rows).reshape(-1, 2)
        stay = np.bincount(row, safe, 2 * self.rows).reshape(-1, 2)
        return np.asarray(stay.sum(axis=1) >= HELD_SHARE * count.sum(axis=1))

    def runs_m(self, edge_m: Floats, rest_m: Floats) -> Floats:
        """Likely run and the range of the layer put at an edge, medians of each row, (rows, 3)."""
        runs, start = [], 0
        for ask in self.put_at(edge_m, rest_m):
            mine = slice(start, start := start + len(ask.stacks.hold_min))
            lies = self.lies[mine, : ask.stacks.present.shape[1]]
            top = ask.stacks.present.shape[1] - 1 - lies[:, ::-1].argmax(axis=1)
            quantiles = ask.chances.run_quantiles_m(ask.stacks)
            runs.append(quantiles[np.arange(len(top)), top])
        table = pd.DataFrame(np.concatenate(runs)).groupby(self.of).median()
        return table.reindex(range(self.rows)).to_numpy(dtype=float)


def combinations_of(
    tables: PlanTables, predictor: Predictor, tolerance: float = DEFAULT_TOLERANCE
) -> pd.DataFrame:
    """How low each combination of glazes may end, and what came of it.

    Parameters
    ----------
    tables : PlanTables
    predictor : Predictor
        Who answers now.
    tolerance : float

    Returns
    -------
    DataFrame, two rows a combination: with one coat of its upper glaze, and with two
        over, under ("" for a glaze alone on its pots), coats; fired, past (its fired pots, with
        any coats, and how many of them ran past the foot), planned (pots that ask for it); word
        (`not known`: fewer than `LEAST_PIECES` fired; `anywhere`, `keep`, `high`: above a third
        of the wall; `cookie`: no edge holds; `not again`: nor did most that were fired);
        lowest_edge_mm (put there or higher, 95 % of its pots stay within the tolerance, of the
        fired as of the planned ones, also where a hand ends 2 mm lower; NaN where there is none or
        it is not known); rest_mm (how high all else on the pot has to end for it; NaN where it may
        be as it was); stop_mm and
        ends_mm (where to stop it so that it likely ends about 10 mm above the foot, or as low as
        it may, and where it then likely ends); run_p05_mm, run_p50_mm, run_p95_mm from there, or
        from usual_edge_mm, the median of its layers' edges; upper_mm, the median of where they
        begin; usual_coats, the median of their coats.
    """
    checked_tolerance(tolerance)
    _, fired = split_results(tables.log)
    known, asked = (_features(layers, tables) for layers in (fired, tables.plan))
    if known.empty and asked.empty:
        return pd.DataFrame(columns=_columns())
    if len(asked):
        asked["firing"] = "planned " + asked["firing"].astype(str)  # whatever else is called so
    stacks = stacks_of(pd.concat([rows for rows in (known, asked) if len(rows)], ignore_index=True))
    past = np.full(len(stacks.hold_min), np.nan)
    if len(fired):
        came = outcomes_of(fired, stacks_of(known)).past
        past[: len(came)] = came
    # In a firing to come, of which nothing is known yet.
    stacks = replace(stacks, firing=np.full(len(stacks.firing), None, dtype=object))
    pots, lies, of = _pots_of(stacks)
    table = _counted(stacks, pots, lies, of, past)
    if table.empty:
        return pd.DataFrame(columns=_columns())
    table = table.loc[table.index.repeat(len(COATS))].reset_index(drop=True)
    table.insert(2, "coats", np.tile(COATS, len(table) // len(COATS)))
    of["planned"] = np.isnan(past[pots])
    return _with_edges(table, _with_coats(stacks, pots, lies, of, predictor, tolerance))


def _columns() -> list[str]:
    return ["over", "under", "coats", "fired", "past", "planned", "usual_coats",
            "usual_edge_mm", "upper_mm", "word", "lowest_edge_mm", "rest_mm", "stop_mm", "ends_mm",
            "run_p05_mm", "run_p50_mm", "run_p95_mm"]  # fmt: skip


def _features(layers: pd.DataFrame, tables: PlanTables) -> pd.DataFrame:
    """What physics says of layers, on walls that are upright or overhang."""
    if layers.empty:
        return pd.DataFrame()
    upright = with_defaults(layers)
    upright["wall_deg"] = upright["wall_deg"].clip(lower=UPRIGHT_DEG)
    return features_of(upright, tables.glazes, tables.schedules)


def _pots_of(stacks: Stacks) -> tuple[Indices, Bools, pd.DataFrame]:
    """Each pot once for each combination on it: its place, the layers that lie so, the names."""
    names = stacks.glaze_name
    alone = ~stacks.several_glazes
    below = np.take_along_axis(names, np.maximum(stacks.under, 0), axis=1)
    under = np.where(stacks.under >= 0, below, "")
    told = stacks.solid & ((stacks.under >= 0) | alone[:, None])
    pots, lies, pairs = [], [], []
    for k in range(names.shape[1]):
        first = told[:, k].copy()
        for j in range(k):  # a pair that lies twice on a pot counts once
            first &= ~(told[:, j] & (names[:, j] == names[:, k]) & (under[:, j] == under[:, k]))
        mine = np.flatnonzero(first)
        pots.append(mine)
        same = (names[mine] == names[mine, k][:, None]) & (under[mine] == under[mine, k][:, None])
        lies.append(told[mine] & same)
        pairs.append(np.stack([names[mine, k], under[mine, k]], axis=1))
    of = pd.DataFrame(np.concatenate(pairs), columns=["over", "under"])
    return np.concatenate(pots), np.concatenate(lies), of


def _counted(
    stacks: Stacks, pots: Indices, lies: Bools, of: pd.DataFrame, past: Floats
) -> pd.DataFrame:
    """Each combination and what came of it, the most fired first; `of` gets its row."""
    known = past[pots]
    each = of.assign(
        fired=~np.isnan(known),
        past=known == 1.0,
        planned=np.isnan(known),
        usual_coats=np.where(lies, stacks.coats[pots], 0).max(axis=1),
        usual_edge_mm=1e3 * np.where(lies, stacks.lower_m[pots], np.inf).min(axis=1),
        upper_mm=1e3 * np.where(lies, stacks.upper_m[pots], np.inf).min(axis=1),
    )
    how = {name: "sum" for name in ("fired", "past", "planned")}
    how |= {"usual_coats": "median", "usual_edge_mm": "median", "upper_mm": "median"}
    table = each.groupby(["over", "under"], sort=True).agg(how).reset_index()
    table = table.sort_values(
        ["fired", "planned"], ascending=False, kind="stable", ignore_index=True
    )
    place = {pair: row for row, pair in enumerate(zip(table["over"], table["under"], strict=True))}
    of["row"] = [place[pair] for pair in zip(of["over"], of["under"], strict=True)]
    return table


def _with_coats(
    stacks: Stacks,
    pots: Indices,
    lies: Bools,
    of: pd.DataFrame,
    predictor: Predictor,
    tolerance: float,
) -> _Pots:
    """Every pot with each number of coats of the upper glaze of its combination."""
    row = of["row"].to_numpy(dtype=np.intp)
    parts = []
    for coats in COATS:
        some = stacks.take(pots)
        ratio = some.coat_ratio[:, :, coats - 1]
        parts.append(replace(some, thickness_m=some.thickness_m * np.where(lies, ratio, 1.0)))
    thick = np.concatenate([part.thickness_m for part in parts])
    both = replace(stacks.take(np.tile(pots, len(COATS))), thickness_m=thick)
    return _Pots(
        of=np.concatenate([len(COATS) * row + place for place in range(len(COATS))]),
        asked=list(asks(both, predictor, tolerance)),
        lies=np.tile(lies, (len(COATS), 1)),
        planned=np.tile(of["planned"].to_numpy(), len(COATS)),
        rows=len(COATS) * (int(row.max()) + 1),
    )


def _with_edges(table: pd.DataFrame, pots: _Pots) -> pd.DataFrame:
    """The table with how low each row may end, and how far it runs from there."""
    highest = np.floor(table["upper_mm"].to_numpy(float)) - 1e3 * decisions.LEAST_LAYER_M
    highest = np.maximum(highest, 0.0)
    at, rest = _lowest_mm(table, pots, highest)
    known = (table["fired"] >= LEAST_PIECES).to_numpy()
    at[~known | (at > highest)] = np.nan
    rest[np.isnan(at)] = 0.0

    def runs_mm(edge_mm: Floats) -> Floats:
        return 1e3 * pots.runs_m(1e-3 * edge_mm, 1e-3 * rest)

    stop = np.fmax(_least_mm(lambda mm: mm - runs_mm(mm)[:, 1] >= END_MM, highest), at)
    stop[np.isnan(at)] = np.nan
    base = np.fmin(np.where(np.isnan(stop), table["usual_edge_mm"], stop), highest)
    runs = runs_mm(base)
    often = table["past"] > OFTEN_PAST * table["fired"]
    high = at > _high_mm(table)
    words = np.select(
        [~known, np.isnan(at) & often, np.isnan(at), at <= ANYWHERE_MM, high],
        ["not known", "not again", "cookie", "anywhere", "high"],
        "keep",
    )
    table = table.assign(
        word=words, lowest_edge_mm=at, rest_mm=np.where(rest > 0.0, rest, np.nan), stop_mm=stop,
        ends_mm=base - runs[:, 1], run_p05_mm=runs[:, 0], run_p50_mm=runs[:, 1],
        run_p95_mm=runs[:, 2],
    )  # fmt: skip
    table["ends_mm"] = table["ends_mm"].mask(np.isnan(stop)).clip(lower=0.0)
    return table[_columns()].round(1)


def _lowest_mm(table: pd.DataFrame, pots: _Pots, highest: Floats) -> tuple[Floats, Floats]:
    """How low each row may end, and how high all else has to: 0 where it may be as it was."""
    hand_mm = 1e3 * HAND_M

    def lowest(rest_mm: Floats) -> Floats:
        held = _least_mm(lambda mm: pots.held(1e-3 * mm, 1e-3 * rest_mm), highest)
        return np.asarray(held + hand_mm, dtype=float)

    at = lowest(np.zeros(len(highest)))
    # Where no edge that is of use holds, the rest may be what runs: raised, the usual edge may do.
    high = _high_mm(table)
    usual = np.minimum(np.maximum(table["usual_edge_mm"].to_numpy() - hand_mm, 0.0), highest)
    raised = _least_mm(lambda mm: pots.held(1e-3 * usual, 1e-3 * mm), np.floor(high))
    some = ~(at <= high) & (raised > 0.0)
    rest = np.where(some, raised, 0.0)
    at = np.where(some, lowest(rest), at)
    return at, np.where(some, rest + hand_mm, 0.0)


def _high_mm(table: pd.DataFrame) -> Floats:
    return decisions.MOST_WAX_SHARE * table["upper_mm"].to_numpy(dtype=float)


def _least_mm(enough: Callable[[Floats], Bools], highest_mm: Floats) -> Floats:
    """The least whole millimetre of each row from which something holds; NaN where it never does.

    `enough` is asked of one edge a row, and must hold above wherever it holds.
    """
    low, high = np.full(len(highest_mm), -1.0), highest_mm.copy()
    never = ~enough(high)
    while (high - low > 1.0).any():
        middle = np.where(high - low > 1.0, np.floor(0.5 * (low + high)), high)
        good = enough(middle)
        high, low = np.where(good, middle, high), np.where(good, low, middle)
        low = np.minimum(low, high - 1.0)
    return np.where(never, np.nan, high)
