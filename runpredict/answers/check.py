"""The one road from the potter's tables to an answer, for every front end."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from runpredict.answers import decisions
from runpredict.arrays import AnyArray, Floats, Objects
from runpredict.errors import BadInput, Fault
from runpredict.model.features import Stacks, features_of, stacks_of
from runpredict.model.rules import RUN_LEVELS, Predictor, RulesPredictor, run_quantiles
from runpredict.pages import words
from runpredict.tables.names import match_name
from runpredict.tables.plan import PlanTables, check_plan
from runpredict.units import LengthUnits

if TYPE_CHECKING:
    from runpredict.model.learned import Trial


DEFAULT_TOLERANCE = 0.05
WORTH_TELLING_MM = 5.0  # a layer that could end this much lower is a loss worth a sentence
PIECES_AT_A_TIME = 2000  # keeps the arrays of one step within some tens of megabytes


@dataclass(frozen=True)
class Answer:
    """What `check` found.

    Attributes
    ----------
    layers : DataFrame, one row a layer in the order of the plan
        piece, firing, layer, glaze, risk, run_p05_mm, run_p50_mm, run_p95_mm, lower_edge_mm,
        basis, reason.
    pieces : DataFrame, one row a piece
        piece, firing, risk, layer_to_blame, wax_height_mm, cookie, cookie_diameter_mm,
        cookie_height_mm, advice. Blank where there is none: no wax height where wax alone
        cannot make the piece safe, no cookie where none is advised.
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
        asks = list(_asks(self.stacks, self.predictor, self.tolerance))
        each = range(self.stacks.present.shape[1])
        edge_m = [
            np.stack([_every(decisions.lowest_edge_m, ask, k) for k in each], 1) for ask in asks
        ]
        coats = [np.stack([_every(decisions.most_coats, ask, k) for k in each], 1) for ask in asks]
        at = (self.stacks.piece_at, self.stacks.layer_at)
        table = self.features[["piece", "firing", "layer", "glaze"]].copy()
        table["lowest_edge_mm"] = _millimetres(np.concatenate(edge_m)[at])
        table["most_coats"] = np.concatenate(coats)[at].astype(int)
        return table


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
    units: LengthUnits = "mm",
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
    units : "mm" or "in"
        Of the lengths in sentences; columns are always in mm.

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
    return answer(tables, tolerance, units)


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
    units: LengthUnits = "mm",
    progress: Callable[[float], None] | None = None,
) -> Answer:
    """`check` for tables that have been read; `progress` is called while a log is learned.

    Raises
    ------
    BadInput : a tolerance that is not between 0 and 1.
    """
    if not 0.0 < tolerance < 1.0:
        raise BadInput(
            [Fault("tolerance", None, None, f"{tolerance:g} is no chance; give 0.05 for 5 %.")]
        )
    rows = features_of(tables.plan, tables.glazes, tables.schedules)
    stacks = stacks_of(rows)
    predictor, trial = predictor_of(tables, progress)
    parts = [_judge(ask) for ask in _asks(stacks, predictor, tolerance)]
    found = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    return Answer(
        layers=_layers_table(rows, stacks, found, predictor, units),
        pieces=_pieces_table(stacks, found, units),
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
    meant = match_name(firing, tables.plan["firing"]) or firing
    plan = tables.plan.loc[tables.plan["firing"] == meant]
    if plan.empty:
        names = ", ".join(f'"{name}"' for name in tables.plan["firing"].drop_duplicates().head(20))
        message = f'"{firing}" is not in the plan; its firings are {names}.'
        raise BadInput([Fault("firing", None, None, message)])
    return replace(tables, plan=plan)


def _asks(stacks: Stacks, predictor: Predictor, tolerance: float) -> Iterator[decisions.Ask]:
    """The question, a portion of the pieces at a time."""
    for start in range(0, len(stacks.hold_min), PIECES_AT_A_TIME):
        part = stacks.take(slice(start, start + PIECES_AT_A_TIME))
        yield decisions.Ask(part, predictor.draws(part), tolerance)


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
    predictor: Predictor,
    units: LengthUnits,
) -> pd.DataFrame:
    at = (stacks.piece_at, stacks.layer_at)
    table = rows[["piece", "firing", "layer", "glaze"]].copy()
    table["risk"] = found["layer_risk"][at]
    runs = _millimetres(found["runs_m"][at])
    for column, name in enumerate(("run_p05_mm", "run_p50_mm", "run_p95_mm")):
        table[name] = runs[:, column]
    table["lower_edge_mm"] = rows["lower_edge_mm"]
    table["basis"] = predictor.basis
    table["reason"] = words.reasons(rows, _neighbour(stacks), predictor.seen(), units)
    return table


def _neighbour(stacks: Stacks) -> AnyArray:
    """Row each row overlaps: the nearest below it, else the nearest above; -1 if none."""
    n, k = stacks.present.shape
    row_at = np.full((n, k), -1)
    row_at[stacks.piece_at, stacks.layer_at] = np.arange(len(stacks.rows))
    neighbour = np.full((n, k), -1)
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


def _names(stacks: Stacks, layer: AnyArray) -> Objects:
    """Name of the glaze of one layer of each piece."""
    codes = np.take_along_axis(stacks.glaze, layer[:, None], axis=1)[:, 0]
    return np.array(stacks.glazes, dtype=object)[codes]


def _pieces_table(stacks: Stacks, found: dict[str, Any], units: LengthUnits) -> pd.DataFrame:
    cookie = found["cookie"] != "none"
    table = pd.DataFrame({"piece": stacks.piece, "firing": stacks.firing, "risk": found["risk"]})
    table["layer_to_blame"] = found["blame"] + 1
    table["wax_height_mm"] = _millimetres(found["wax_m"])
    table["cookie"] = found["cookie"]
    table["cookie_diameter_mm"] = np.where(cookie, _millimetres(found["diameter_m"]), np.nan)
    table["cookie_height_mm"] = np.where(cookie, _millimetres(found["height_m"]), np.nan)
    table["advice"] = _advice(stacks, found, units)
    return table


def _advice(stacks: Stacks, found: dict[str, Any], units: LengthUnits) -> list[str]:
    lower_mm = 1e3 * stacks.lower_m
    spare_mm = 1e3 * found["spare_m"]
    best = spare_mm.argmax(axis=1)
    names = np.array([*stacks.glazes, ""], dtype=object)[stacks.glaze]
    sentences = []
    for i, change in enumerate(found["change"]):
        cookie = (found["cookie"][i], 1e3 * found["diameter_m"][i], 1e3 * found["height_m"][i])
        text = words.advice(change, names[i], lower_mm[i], cookie, units)
        if change.kind == "none" and spare_mm[i, best[i]] >= WORTH_TELLING_MM:
            text += " " + words.headroom(names[i, best[i]], spare_mm[i, best[i]], units)
        sentences.append(text)
    return sentences
