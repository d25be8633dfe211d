"""The one road from the potter's tables to an answer, for every front end.

An answer holds numbers and codes alone; the sentences about them are made where they are written.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from runpredict.answers import decisions
from runpredict.answers.questions import DEFAULT_TOLERANCE, asks, checked_tolerance, glaze_names
from runpredict.arrays import Floats, Indices
from runpredict.errors import BadInput, Fault
from runpredict.model.features import Stacks, features_of, stacks_of
from runpredict.model.rules import RUN_LEVELS, Predictor, RulesPredictor, run_quantiles
from runpredict.tables.firings import firing_words, named_so
from runpredict.tables.plan import PlanTables, check_plan

if TYPE_CHECKING:
    from runpredict.model.learned import Trial


@dataclass(frozen=True)
class Answer:
    """What `check` found, in numbers and codes; `told` and `write_sheet` put it in words.

    Attributes
    ----------
    layers : DataFrame, one row a layer in the order of the plan
        piece, firing, layer, glaze, risk, run_p05_mm, run_p50_mm, run_p95_mm, lower_edge_mm,
        basis.
    pieces : DataFrame, one row a piece
        piece, firing, risk, layer_to_blame, wax_height_mm, cookie, cookie_diameter_mm,
        cookie_height_mm. Blank where there is none: no wax height where wax alone cannot make
        the piece safe, no cookie where none is advised.
    changes : DataFrame, one row a piece in the order of `pieces`
        The cheapest change that makes the piece safe, as `decisions.Change` has it: change
        (`none`, `edge`, `coat`, `wax`, `hold` or `cookie`), layer and glaze (what it is made to; 0
        and "" for none), planned and changed (the lower edge or band [mm], the number of coats,
        or the hold [min]). For a safe piece also spare_layer and spare_glaze, the layer with
        most room below it, and spare_mm, how much further down that could end.
    features : DataFrame, one row a layer
        What physics says, as `build_features`.
    tolerance : float
    stacks, predictor
        What the numbers were asked of, and who answered.
    trial : Trial or None
        How the log's model did on firings it had not seen; None where there is no log, or too
        short a one to tell.
    """

    layers: pd.DataFrame
    pieces: pd.DataFrame
    changes: pd.DataFrame
    features: pd.DataFrame
    tolerance: float
    stacks: Stacks = field(repr=False)
    predictor: Predictor = field(repr=False)
    trial: Trial | None = None

    @cached_property
    def limits(self) -> pd.DataFrame:
        """How far down each layer may come and how many coats it may have, the rest as planned.

        One row a layer: piece, firing, layer, glaze, lowest_edge_mm and most_coats. Blank edge
        and 0 coats where the other layers alone are too much. Worked out when asked for.
        """
        parts = list(asks(self.stacks, self.predictor, self.tolerance))
        each = range(self.stacks.present.shape[1])
        edge_m = [
            np.stack([_every(decisions.lowest_edge_m, ask, k) for k in each], 1) for ask in parts
        ]
        coats = [np.stack([_every(decisions.most_coats, ask, k) for k in each], 1) for ask in parts]
        at = (self.stacks.piece_at, self.stacks.layer_at)
        table = self.features[["piece", "firing", "layer", "glaze"]].copy()
        table["lowest_edge_mm"] = _millimetres(np.concatenate(edge_m)[at])
        table["most_coats"] = np.concatenate(coats)[at].astype(int)
        return table

    @cached_property
    def neighbour(self) -> Indices:
        """Row that each row of `layers` overlaps: the nearest below it, else above; -1 if none."""
        return _neighbour(self.stacks)

    @cached_property
    def blamed(self) -> Indices:
        """Row of `layers` that is to blame, for each row of `pieces`."""
        layer = self.pieces["layer_to_blame"].to_numpy(dtype=np.intp) - 1
        return _row_at(self.stacks)[np.arange(len(layer)), layer]

    def find(self, piece: str, firing: str | None = None) -> int:
        """Row of a piece in `pieces`, which is also its place in `stacks`.

        Parameters
        ----------
        piece : str
        firing : str, optional
            Needed where several firings have a piece of that name.

        Raises
        ------
        BadInput : no such piece, or more than one.
        """
        mine = self.pieces["piece"] == piece
        if firing is not None:
            mine &= named_so(self.pieces["firing"], firing)
        found = np.flatnonzero(mine)
        if len(found) == 1:
            return int(found[0])
        if not len(found):
            names = ", ".join(f'"{n}"' for n in self.pieces["piece"].drop_duplicates().head(20))
            message = f'no piece "{piece}" in this answer; its pieces are {names}.'
        else:
            keys = self.pieces["firing"].iloc[found].head(20)
            names = ", ".join(f'"{firing_words(key)}"' for key in keys)
            message = f'"{piece}" is in several firings; name one of {names}.'
        raise BadInput([Fault("piece", None, None, message)])


def _every(limit: Callable[[decisions.Ask, Any], Floats], ask: decisions.Ask, layer: int) -> Floats:
    return limit(ask, np.full(len(ask.stacks.hold_min), layer))


def check(
    plan: pd.DataFrame,
    glazes: pd.DataFrame,
    log: pd.DataFrame | None = None,
    tolerance: float = DEFAULT_TOLERANCE,
    *,
    recipes: pd.DataFrame | None = None,
    materials: pd.DataFrame | None = None,
    schedules: pd.DataFrame | None = None,
) -> Answer:
    """What will run, how far, and what to do about it.

    Parameters
    ----------
    plan, log : DataFrame
        Tables of layers: what is to be fired, and what was, with results.
    glazes, recipes, materials, schedules : DataFrame
        The tables of those names.
    tolerance : float
        Highest acceptable chance that any layer of a piece passes its foot, between 0 and 1.

    Returns
    -------
    Answer

    Raises
    ------
    BadInput : with every fault of every table, or a tolerance that is none.
    """
    tables = check_plan(
        plan, glazes, log=log, recipes=recipes, materials=materials, schedules=schedules
    )
    return answer(tables, tolerance)


def predictor_of(
    tables: PlanTables, progress: Callable[[float], None] | None = None
) -> tuple[Predictor, Trial | None]:
    """Who answers: the model of the log, or the rules where it holds no result."""
    if tables.log.empty:
        return RulesPredictor(), None
    from runpredict.model.cache import trained_on  # noqa: PLC0415 - loads scipy

    return trained_on(tables, progress) or (RulesPredictor(), None)


def answer(
    tables: PlanTables,
    tolerance: float = DEFAULT_TOLERANCE,
    progress: Callable[[float], None] | None = None,
    taught: tuple[Predictor, Trial | None] | None = None,
) -> Answer:
    """`check` for tables that have been read; `progress` is called while a log is learned.

    Who is `taught` already, as `predictor_of` returns, answers whatever log the tables hold.

    Raises
    ------
    BadInput : a tolerance that is not between 0 and 1.
    """
    checked_tolerance(tolerance)
    rows = features_of(tables.plan, tables.glazes, tables.schedules)
    stacks = stacks_of(rows)
    predictor, trial = taught or predictor_of(tables, progress)
    parts = [_judge(ask) for ask in asks(stacks, predictor, tolerance)]
    found = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    return Answer(
        layers=_layers_table(rows, stacks, found, predictor.basis),
        pieces=_pieces_table(stacks, found),
        changes=_changes_table(stacks, found),
        features=rows,
        tolerance=tolerance,
        stacks=stacks,
        predictor=predictor,
        trial=trial,
    )


def only_firing(tables: PlanTables, firing: str) -> PlanTables:
    """The same tables with the plan of one firing alone.

    Raises
    ------
    BadInput : no such firing in the plan.
    """
    plan = tables.plan.loc[named_so(tables.plan["firing"], firing)]
    if plan.empty:
        keys = tables.plan["firing"].drop_duplicates().head(20)
        names = ", ".join(f'"{firing_words(key)}"' for key in keys)
        message = f'"{firing}" is not in the plan; its firings are {names}.'
        raise BadInput([Fault("firing", None, None, message)])
    return replace(tables, plan=plan)


def _judge(ask: decisions.Ask) -> dict[str, Any]:
    """Every number of the answer for some pieces: (n,) a piece, (n, k) a layer."""
    stacks, draws = ask.stacks, ask.draws
    layer_risk, risk = draws.risk(stacks)
    wax_m = decisions.wax_height_m(ask)
    past_m3 = np.quantile(draws.past_foot_m3(stacks), RUN_LEVELS[2], axis=1)
    diameter_m, height_m = decisions.cookie_size_m(past_m3, stacks.foot_m, stacks.puddle_m)
    changes = np.empty(len(risk), dtype=object)
    changes[:] = decisions.cheapest_change(ask, risk, wax_m)
    return {
        "layer_risk": layer_risk,
        "risk": risk,
        "runs_m": run_quantiles(draws.runs_m(stacks)),
        "blame": layer_risk.argmax(axis=1),
        "wax_m": wax_m,
        "cookie": decisions.cookie_word(risk, wax_m, ask.tolerance).astype(object),
        "diameter_m": diameter_m,
        "height_m": height_m,
        "change": changes,
        "spare_m": _spare_m(ask, risk),
    }


def _spare_m(ask: decisions.Ask, risk: Floats) -> Floats:
    """How much lower each layer of a safe piece could end, (n, k); -inf of any other."""
    n, k_most = ask.stacks.present.shape
    spare = np.full((n, k_most), -np.inf)
    safe = np.flatnonzero(risk <= ask.tolerance)
    part = ask.take(safe)
    for k in range(k_most):
        edge = _every(decisions.lowest_edge_m, part, k)
        spare[safe, k] = np.where(
            part.stacks.glazed[:, k], part.stacks.lower_m[:, k] - edge, -np.inf
        )
    return spare


def _millimetres(metres: Floats) -> Floats:
    return np.round(1e3 * metres, 2)


def _layers_table(
    rows: pd.DataFrame,
    stacks: Stacks,
    found: dict[str, Any],
    basis: str,
) -> pd.DataFrame:
    at = (stacks.piece_at, stacks.layer_at)
    table = rows[["piece", "firing", "layer", "glaze"]].copy()
    table["risk"] = found["layer_risk"][at]
    runs = _millimetres(found["runs_m"][at])
    for column, name in enumerate(("run_p05_mm", "run_p50_mm", "run_p95_mm")):
        table[name] = runs[:, column]
    table["lower_edge_mm"] = rows["lower_edge_mm"]
    table["basis"] = basis
    return table


def _row_at(stacks: Stacks) -> Indices:
    """Row of each layer of each piece, shape (n, k); -1 where there is none."""
    row_at = np.full(stacks.present.shape, -1, dtype=np.intp)
    row_at[stacks.piece_at, stacks.layer_at] = np.arange(len(stacks.piece_at))
    return row_at


def _neighbour(stacks: Stacks) -> Indices:
    """Row each row overlaps: the nearest below it, else the nearest above; -1 if none."""
    row_at = _row_at(stacks)
    k = row_at.shape[1]
    neighbour = np.full_like(row_at, -1)
    steps = sorted(
        (j - i for i in range(k) for j in range(k) if i != j), key=lambda s: (s > 0, abs(s))
    )
    for step in dict.fromkeys(reversed(steps)):
        for i in range(max(0, -step), min(k, k - step)):
            j = i + step
            meets = np.minimum(stacks.upper_m[:, i], stacks.upper_m[:, j]) > np.maximum(
                stacks.lower_m[:, i], stacks.lower_m[:, j]
            )
            neighbour[:, i] = np.where(meets & (row_at[:, j] >= 0), row_at[:, j], neighbour[:, i])
    return neighbour[stacks.piece_at, stacks.layer_at]


def _pieces_table(stacks: Stacks, found: dict[str, Any]) -> pd.DataFrame:
    cookie = found["cookie"] != "none"
    table = pd.DataFrame({"piece": stacks.piece, "firing": stacks.firing, "risk": found["risk"]})
    table["layer_to_blame"] = found["blame"] + 1
    table["wax_height_mm"] = _millimetres(found["wax_m"])
    table["cookie"] = found["cookie"]
    table["cookie_diameter_mm"] = np.where(cookie, _millimetres(found["diameter_m"]), np.nan)
    table["cookie_height_mm"] = np.where(cookie, _millimetres(found["height_m"]), np.nan)
    return table


def _changes_table(stacks: Stacks, found: dict[str, Any]) -> pd.DataFrame:
    changes: list[decisions.Change] = found["change"].tolist()
    each = np.arange(len(changes))
    names = glaze_names(stacks)
    layer = np.array([change.layer for change in changes], dtype=np.intp)
    kind = np.array([change.kind for change in changes], dtype=object)
    amount = np.array([change.amount for change in changes])
    on_wall = np.isin(kind, ("edge", "wax"))
    of_layer = on_wall | (kind == "coat")
    planned = np.select(
        [on_wall, kind == "coat", kind == "hold"],
        [1e3 * stacks.lower_m[each, layer], stacks.coats[each, layer], stacks.hold_min],
        np.nan,
    )
    spare_m = found["spare_m"]
    best = spare_m.argmax(axis=1)
    safe = np.isfinite(spare_m[each, best])
    return pd.DataFrame(
        {
            "piece": stacks.piece,
            "firing": stacks.firing,
            "change": kind,
            "layer": np.where(of_layer, layer + 1, 0),
            "glaze": np.where(of_layer, names[each, layer], ""),
            "planned": planned,
            "changed": np.where(on_wall, 1e3 * amount, amount),
            "spare_layer": np.where(safe, best + 1, 0),
            "spare_glaze": np.where(safe, names[each, best], ""),
            "spare_mm": np.where(safe, 1e3 * spare_m[each, best], np.nan),
        }
    )
