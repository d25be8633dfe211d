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

from runpredict.answers import cookies, decisions
from runpredict.answers.advice import Advice, advise, is_meant_to_run
from runpredict.answers.moves import HAND_M
from runpredict.answers.questions import (
    DEFAULT_TOLERANCE,
    PIECES_AT_A_TIME,
    asks,
    checked_tolerance,
)
from runpredict.answers.willing import AS_DELIVERED, Willing
from runpredict.arrays import Floats, Indices
from runpredict.errors import BadInput, Fault, refuse_other
from runpredict.model.cores import cores_for, on_cores
from runpredict.model.features import features_of
from runpredict.model.predictors import Predictor, RulesPredictor
from runpredict.model.stacks import Stacks, stacks_of
from runpredict.patience import long_work
from runpredict.tables.columns import ROLES
from runpredict.tables.firings import firing_words, named_so
from runpredict.tables.plan import PlanTables, check_plan
from runpredict.units import LengthUnits, check_units

if TYPE_CHECKING:
    from runpredict.model.predictors import Trial

LEAST_SPLIT = 4 * PIECES_AT_A_TIME  # pieces, from which a second core saves more than it takes


@dataclass(frozen=True)
class Answer:
    """What `check` found, in numbers and codes; `told` and `write_sheet` put it in words.

    Attributes
    ----------
    layers : DataFrame, one row a layer in the order of the plan
        piece, firing, layer, glaze, risk, run_p05_mm, run_p50_mm, run_p95_mm, lower_edge_mm,
        basis. A run ends at the foot, where it is as long as `lower_edge_mm`.
    pieces : DataFrame, one row a piece
        piece, firing, risk, layer_to_blame, wax_height_mm, cookie, cookie_diameter_mm,
        cookie_height_mm. Blank where there is none: no wax height where more than a third of
        the wall would have to be bare, no size where nothing need be caught. cookie is `none`,
        `advised`, `needed` or `dish` (more may run than a cookie holds), for a piece that is
        fired as planned whatever change is advised; the sizes of a dish are its diameter within
        and its depth.
    outlook : DataFrame, one row a piece
        spare_layer, spare_glaze and spare_mm: of a safe piece, the layer with most room below it
        and how much further down that could end; past_foot_cm3: no more than this passes the
        foot, 19 times in 20; catch: what holds as much (`cookie`, `wide cookie`, `dish`, or
        `stand` where it takes more than a cookie and no dish fits); and the sizes of the cookie
        and of the dish that do.
    features : DataFrame, one row a layer
        What physics says, as `build_features`.
    tolerance : float
    willing : Willing
        What may be advised, and what a loss costs.
    tables : PlanTables
        What was read.
    stacks, predictor
        What the numbers were asked of, and who answered.
    trial : Trial or None
        How the log's model did on firings it had not seen; None where there is no log, or too
        short a one to tell.
    """

    layers: pd.DataFrame
    pieces: pd.DataFrame
    outlook: pd.DataFrame
    features: pd.DataFrame
    tolerance: float
    willing: Willing
    tables: PlanTables = field(repr=False)
    stacks: Stacks = field(repr=False)
    predictor: Predictor = field(repr=False)
    trial: Trial | None = None
    _advice: dict[LengthUnits, Advice] = field(default_factory=dict, repr=False)
    _changes: dict[LengthUnits, pd.DataFrame] = field(default_factory=dict, repr=False)

    def advice(self, units: LengthUnits = "mm") -> Advice:
        """What is enough for each piece, as it is told on a ruler in mm or in eighths of an inch.

        The changes are the same in both; `risk` is of the pieces changed as they are told.
        """
        check_units(units)
        if units not in self._advice:
            advice = self._advice["mm"].told_in(units)
            changing = np.flatnonzero(advice.word == "change")
            changed = advice.take(changing).made(self.stacks.take(changing))
            risk = advice.risk.copy()
            for start in range(0, len(changing), PIECES_AT_A_TIME):
                part = changed.take(portion := slice(start, start + PIECES_AT_A_TIME))
                risk[changing[portion]] = self.predictor.chances(part).risk(part)[1]
            self._advice[units] = replace(advice, risk=risk)
        return self._advice[units]

    def changes(self, units: LengthUnits = "mm") -> pd.DataFrame:
        """What is enough for each piece, as a table.

        Parameters
        ----------
        units : "mm" or "in"
            On whose ruler; columns are always in mm.

        Returns
        -------
        DataFrame, one row a change, a row at least for each piece, in the order of `pieces`
            piece, firing; advice (`none`: safe as planned; `change`; `cookie`: as planned, on
            one; `dish`: nothing of these is enough; `pedestal`: meant to run); change (`wax`,
            `edge`, `coat`, `thickness` or ""); layer and glaze it is made to (0 and "" for none);
            planned and changed: the bare band or lower edge [mm], the number of coats, or the
            thickness of the dry layer [mm].
        """
        advice = self.advice(units)
        if units not in self._changes:
            self._changes[units] = _changes_table(self, advice)
        return self._changes[units].copy()

    @cached_property
    def limits(self) -> pd.DataFrame:
        """How far down each layer may come and how many coats it may have, the rest as planned.

        One row a layer: piece, firing, layer, glaze, lowest_edge_mm and most_coats. Blank edge
        and 0 coats where the other layers alone are too much; blank coats of a layer whose
        thickness was measured, which goes before its coats. Worked out when asked for.
        """
        parts = list(asks(self.stacks, self.predictor, self.tolerance))
        each = range(self.stacks.present.shape[1])
        edge_m = [
            np.stack([_every(decisions.lowest_edge_m, ask, k) for k in each], 1) for ask in parts
        ]
        coats = [np.stack([_every(decisions.most_coats, ask, k) for k in each], 1) for ask in parts]
        at = self.stacks.at
        table = self.features[["piece", "firing", "layer", "glaze"]].copy()
        table["lowest_edge_mm"] = _millimetres(np.concatenate(edge_m)[at])
        most = pd.Series(np.concatenate(coats)[at], table.index).astype("Int64")
        table["most_coats"] = most.mask(self.stacks.measured[at])
        return table

    @cached_property
    def neighbour(self) -> Indices:
        """Row that each row of `layers` overlaps: the nearest below it, else above; -1 if none."""
        stacks, each = self.stacks, np.arange(self.stacks.present.shape[1])
        step = each - each[:, None]
        # The first below, then those farther down, then those above from the nearest on.
        order = np.argsort(np.where(step < 0, -step, len(each) + step), axis=1)
        meets = np.take_along_axis(stacks.meets, order[None], axis=2)
        first = order[each, meets.argmax(axis=2)]
        nearest = np.take_along_axis(stacks.row_at, first, axis=1)
        return np.asarray(np.where(meets.any(axis=2), nearest, -1)[stacks.at])

    @cached_property
    def blamed(self) -> Indices:
        """Row of `layers` that is to blame, for each row of `pieces`."""
        layer = self.pieces["layer_to_blame"].to_numpy(dtype=np.intp) - 1
        return self.stacks.row_at[np.arange(len(layer)), layer]

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
        named = self.pieces["piece"] == piece
        if firing is not None:
            named &= named_so(self.pieces["firing"], firing)
        rows = np.flatnonzero(named)
        if len(rows) == 1:
            return int(rows[0])
        if not len(rows):
            names = ", ".join(f'"{n}"' for n in self.pieces["piece"].drop_duplicates().head(20))
            message = f'no piece "{piece}" in this answer; its pieces are {names}.'
        else:
            keys = self.pieces["firing"].iloc[rows].head(20)
            names = ", ".join(f'"{firing_words(key)}"' for key in keys)
            message = f'"{piece}" is in several firings; name one of {names}.'
        raise BadInput([Fault("piece", None, None, message)])


def _every(limit: Callable[[decisions.Ask, Any], Floats], ask: decisions.Ask, layer: int) -> Floats:
    return limit(ask, np.full(len(ask.stacks.hold_min), layer))


@long_work("check")
def check(
    plan: pd.DataFrame,
    glazes: pd.DataFrame,
    log: pd.DataFrame | None = None,
    tolerance: float = DEFAULT_TOLERANCE,
    *,
    recipes: pd.DataFrame | None = None,
    materials: pd.DataFrame | None = None,
    schedules: pd.DataFrame | None = None,
    only_surprises: bool = False,
) -> Answer:
    """What will run, how far, and what to do about it.

    Parameters
    ----------
    plan, log : DataFrame
        Tables of layers, what is to be fired and what was: piece, form, firing, fired_on, body,
        cone, hold_min, ramp_c_per_h, wall_deg, foot_mm, layer, glaze, method, coats,
        thickness_mm, lower_edge_mm, upper_edge_mm; the log also run_mm and past_foot.
    glazes : DataFrame
        glaze, source (`recipe`, `analysis` or `jar`), behaviour, oxides such as SiO2.
    recipes, materials, schedules : DataFrame
        glaze, material, parts, addition; material and its oxides; firing, segment, rate_c_per_h,
        target_c, hold_min.
    tolerance : float
        Highest acceptable chance that any layer of a piece passes its foot, between 0 and 1.
    only_surprises : bool
        Of what was fired the log has only what surprised; of the rest nothing was written down.

    Returns
    -------
    Answer
        `layers`, `pieces`, `outlook` and `limits` are tables; `changes()` says what is enough for
        each piece, and a notebook shows the answer itself as a table with pictures.

    Raises
    ------
    BadInput : with every fault of every table, a path where a table is wanted, or a tolerance that
        is none.
    """
    others = {"log": log, "recipes": recipes, "materials": materials, "schedules": schedules}
    _refuse_paths({"plan": plan, "glazes": glazes, **others})
    refuse_other(plan, pd.DataFrame, "plan", "a pandas DataFrame, such as read_table returns")
    tables = check_plan(plan, glazes, **others)
    return answer(replace(tables, only_surprises=only_surprises), tolerance)


def _refuse_paths(tables: dict[str, Any]) -> None:
    """Tables are read first, so that what is asked of them is what was seen."""
    faults = [
        Fault(role, None, None, f"is given as a {type(table).__name__}; give a pandas DataFrame, "
              f'such as runpredict.read_table("{ROLES[role]}.csv", "{ROLES[role]}") returns.')
        for role, table in tables.items()
        if table is not None and not isinstance(table, pd.DataFrame)
    ]  # fmt: skip
    if faults:
        raise BadInput(faults)


def predictor_of(
    tables: PlanTables, progress: Callable[[float], None] | None = None
) -> tuple[Predictor, Trial | None]:
    """Who answers: the model of the log, or the rules where it holds no result."""
    if tables.log.empty:
        return RulesPredictor(), None
    from runpredict.model.model_store import trained_on  # noqa: PLC0415 - loads scipy

    return trained_on(tables, progress) or (RulesPredictor(), None)


def answer(
    tables: PlanTables,
    tolerance: float = DEFAULT_TOLERANCE,
    progress: Callable[[float], None] | None = None,
    taught: tuple[Predictor, Trial | None] | None = None,
    willing: Willing = AS_DELIVERED,
) -> Answer:
    """`check` for tables that have been read.

    `taught` is a predictor, and its trial, to use instead of training on `tables.log`; `willing`
    says which changes may be advised; `progress` is called while a log is learned.

    Raises
    ------
    BadInput : a tolerance that is not between 0 and 1.
    """
    checked_tolerance(tolerance)
    rows = features_of(tables.plan, tables.glazes, tables.schedules)
    stacks = stacks_of(rows)
    predictor, trial = taught or predictor_of(tables, progress)
    count = len(stacks.hold_min)
    cores = cores_for(count >= LEAST_SPLIT)
    portions = -(-count // PIECES_AT_A_TIME)
    share = max(-(-portions // cores), 1) * PIECES_AT_A_TIME  # no portion is parted
    tasks = [
        (stacks.take(slice(start, start + share)), predictor, tolerance, willing)
        for start in range(0, count, share)
    ]
    parts, advised = zip(*on_cores(_judge_all, tasks, cores), strict=True)
    numbers = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    advice = Advice.joined(advised)
    outlook = _outlook_table(stacks, numbers)
    return Answer(
        layers=_layers_table(rows, stacks, numbers, predictor.basis),
        pieces=_pieces_table(stacks, numbers, outlook),
        outlook=outlook,
        features=rows,
        tolerance=tolerance,
        tables=tables,
        stacks=stacks,
        predictor=predictor,
        trial=trial,
        willing=willing,
        _advice={"mm": advice},
    )


def _judge_all(
    stacks: Stacks, predictor: Predictor, tolerance: float, willing: Willing
) -> tuple[dict[str, Any], Advice]:
    """Every number of the answer for some pieces, and what is enough for each."""
    outline, meant = cookies.outline_of(stacks), is_meant_to_run(stacks)
    parts, advised, start = [], [], 0
    for ask in asks(stacks, predictor, tolerance):
        portion = slice(start, start := start + len(ask.stacks.hold_min))
        part = _judge(ask, outline.take(portion))
        on_cookie = np.isin(part["catch"], ("cookie", "wide cookie"))
        advised.append(advise(ask, part["risk"], meant[portion], on_cookie, willing))
        parts.append(part)
    numbers = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    numbers["cookie"] = cookies.catch_word(numbers["risk"], numbers["catch"], meant, tolerance)
    return numbers, Advice.joined(advised)


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


def _judge(ask: decisions.Ask, outline: cookies.Outline) -> dict[str, Any]:
    """Every number of the answer for some pieces: (n,) a piece, (n, k) a layer."""
    stacks, chances = ask.stacks, ask.chances
    layer_risk, risk = chances.risk(stacks)
    past_m3 = outline.girth * chances.past_foot_m3(stacks)
    return {
        "layer_risk": layer_risk,
        "risk": risk,
        "runs_m": chances.run_quantiles_m(stacks),
        "blame": _blame(layer_risk, chances.driving(stacks)),
        "wax_m": decisions.wax_height_m(ask),
        "past_m3": past_m3,
        "catch": cookies.catcher(past_m3, stacks, outline),
        "cookie_m": np.stack(cookies.cookie_size_m(past_m3, stacks.foot_m, stacks.puddle_m), 1),
        "dish_m": np.stack(cookies.dish_size_m(past_m3, stacks.foot_m), 1),
        "spare_m": _spare_m(ask, risk),
    }


def _blame(layer_risk: Floats, driving: Floats) -> Indices:
    """The layer that carries glaze past the foot, shape (n,).

    That which drives the edge likeliest to pass.
    """
    edge = layer_risk.argmax(axis=1)
    return drives(driving[np.arange(len(edge)), edge], edge)


def drives(share: Floats, edge: Indices) -> Indices:
    """The layer that drives an edge: its own, unless more than half of what does is another.

    Parameters
    ----------
    share : ndarray, shape (n, k)
        Part of each layer in what drives it, as `Chances.driving` gives of one edge.
    edge : ndarray of int, shape (n,)
        The layer whose edge it is.

    Returns
    -------
    ndarray of int, shape (n,)
    """
    most = share.argmax(axis=1)
    return np.where(decisions.pick(share, most) > 0.5, most, edge)


def _spare_m(ask: decisions.Ask, risk: Floats) -> Floats:
    """How much lower each layer of a safe piece could end by hand, (n, k); -inf of any other."""
    n, k_most = ask.stacks.present.shape
    spare = np.full((n, k_most), -np.inf)
    safe = np.flatnonzero(risk <= ask.tolerance)
    part = ask.take(safe)
    for k in range(k_most):
        edge = _every(decisions.lowest_edge_m, part, k)
        spare[safe, k] = np.where(
            part.stacks.glazed[:, k], part.stacks.lower_m[:, k] - edge - HAND_M, -np.inf
        )
    return spare


def _millimetres(metres: Floats) -> Floats:
    return np.round(1e3 * metres, 2)


def _layers_table(
    rows: pd.DataFrame,
    stacks: Stacks,
    numbers: dict[str, Any],
    basis: str,
) -> pd.DataFrame:
    at = stacks.at
    table = rows[["piece", "firing", "layer", "glaze"]].copy()
    table["risk"] = numbers["layer_risk"][at]
    # What has run to the foot has passed it; how much of it, not how far, is then told.
    runs = _millimetres(numbers["runs_m"][at])
    for column, name in enumerate(("run_p05_mm", "run_p50_mm", "run_p95_mm")):
        table[name] = runs[:, column]
    table["lower_edge_mm"] = rows["lower_edge_mm"]
    table["basis"] = basis
    return table


def _pieces_table(stacks: Stacks, numbers: dict[str, Any], outlook: pd.DataFrame) -> pd.DataFrame:
    table = pd.DataFrame({"piece": stacks.piece, "firing": stacks.firing, "risk": numbers["risk"]})
    table["layer_to_blame"] = numbers["blame"] + 1
    table["wax_height_mm"] = _millimetres(numbers["wax_m"])
    table["cookie"] = word = numbers["cookie"]
    for name, dish in (("diameter", "dish_diameter_mm"), ("height", "dish_depth_mm")):
        size = np.where(word == "dish", outlook[dish], outlook[f"cookie_{name}_mm"])
        table[f"cookie_{name}_mm"] = np.where(word == "none", np.nan, size)
    return table


def _outlook_table(stacks: Stacks, numbers: dict[str, Any]) -> pd.DataFrame:
    each = np.arange(len(stacks.hold_min))
    spare_m = numbers["spare_m"]
    best = spare_m.argmax(axis=1)
    safe = np.isfinite(spare_m[each, best])
    return pd.DataFrame(
        {
            "piece": stacks.piece,
            "firing": stacks.firing,
            "spare_layer": np.where(safe, best + 1, 0),
            "spare_glaze": np.where(safe, stacks.glaze_name[each, best], ""),
            "spare_mm": np.where(safe, 1e3 * spare_m[each, best], np.nan),
            "catch": numbers["catch"],
            "past_foot_cm3": np.round(1e6 * numbers["past_m3"], 2),
            "cookie_diameter_mm": _millimetres(numbers["cookie_m"][:, 0]),
            "cookie_height_mm": _millimetres(numbers["cookie_m"][:, 1]),
            "dish_diameter_mm": _millimetres(numbers["dish_m"][:, 0]),
            "dish_depth_mm": _millimetres(numbers["dish_m"][:, 1]),
        }
    )


def _changes_table(answer: Answer, advice: Advice) -> pd.DataFrame:
    is_told = advice.kind != ""
    is_told[:, 0] |= advice.word != "change"
    piece, place = np.nonzero(is_told)
    kind, layer = advice.kind[piece, place], advice.layer[piece, place]
    in_mm = np.isin(kind, ("wax", "edge", "thickness"))
    names = np.append(answer.stacks.glaze_name, np.full((len(is_told), 1), ""), axis=1)
    # Rounded as they were tried: edges that are told alike are to touch once they are typed.
    planned, changed = (
        np.where(in_mm, np.round(1e3 * amount[piece, place], 4), amount[piece, place])
        for amount in (advice.planned, advice.changed)
    )
    table = answer.pieces[["piece", "firing"]].iloc[piece].reset_index(drop=True)
    table["advice"], table["change"], table["layer"] = advice.word[piece], kind, layer
    table["glaze"] = names[piece, layer - 1]
    table["planned"], table["changed"] = planned, changed
    return table
