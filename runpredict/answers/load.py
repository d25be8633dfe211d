"""A whole load at another heat: how many pots need something, and what each choice costs.

Heat is chosen for a firing, never for a pot of it: risk falls with it for every pot, and so does
the ripeness of every glaze, of which nothing is told here.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from runpredict.answers.check import Answer
from runpredict.answers.questions import asks
from runpredict.arrays import Bools, Floats
from runpredict.model.features import features_of
from runpredict.model.stacks import stacks_of
from runpredict.tables.columns import cones
from runpredict.tables.plan import PlanTables
from runpredict.tables.rows import with_defaults

CHOICES = ("planned", "cone", "half hold", "no hold")
COLUMNS = (
    "firing", "choice", "cone", "hold_min", "pots", "need_something", "pots_lost", "cost_left",
    "cost_on_cookies", "cost_as_told",
)  # fmt: skip
# Some studios push their glazes farther than anybody could know who has seen little of them: with
# no log margins are held to be so much more uncertain, less with each pot until so many are logged.
# Chosen with studios of three kinds in view, see DEVELOPERS.md.
WIDER_UNLOGGED, ENOUGH_LOGGED = 0.3, 100


def doubtful(answer: Answer) -> Bools:
    """Safe pieces that are better put on a cookie until the studio has a longer log, shape (n,).

    Those of which a cookie costs less than what may be lost, with the margins as uncertain as
    those of a studio of which little is known.
    """
    unknown = 1.0 - pots_logged(answer) / ENOUGH_LOGGED
    if unknown <= 0.0 or "cookie" not in answer.willing.kinds:
        return np.zeros(len(answer.pieces), dtype=bool)
    parts = asks(answer.stacks, answer.predictor, answer.tolerance)
    factor = 1.0 + WIDER_UNLOGGED * unknown
    risk = np.concatenate([ask.chances.widened(factor).piece_risk(ask.stacks) for ask in parts])
    saved = answer.willing.lost_at(answer.tolerance) * risk
    safe = answer.pieces["risk"].to_numpy(dtype=float) <= answer.tolerance
    return np.asarray(safe & (saved > answer.willing.cookie))


def pots_logged(answer: Answer) -> int:
    """How many fired pots the answer rests on."""
    if answer.predictor.basis == "rules":
        return 0
    return len(answer.tables.log[["firing", "piece"]].drop_duplicates())


def load_of(answer: Answer) -> pd.DataFrame:
    """What each firing of an answer needs as planned and at less heat, and what that costs.

    Returns
    -------
    DataFrame, one row a firing and choice that changes it
        firing; choice: `planned`, `cone` (one lower), `half hold` (to the next whole minute) or
        `no hold`; cone and hold_min of the choice, blank where the pots of a firing differ or it
        is typed as a schedule; pots; need_something (how many are over the tolerance); pots_lost
        (how many pass the foot, expected, if nothing is done); and what that costs in the
        studio's own numbers: cost_left (nothing done), cost_on_cookies (every pot over the
        tolerance on one), cost_as_told (with the advice followed, of what is planned alone).
    """
    kinds = CHOICES if "heat" in answer.willing.kinds else CHOICES[:1]
    filled = replace(answer.tables, plan=with_defaults(answer.tables.plan))
    tables = {choice: at_heat(filled, choice) for choice in kinds}
    risks = {choice: _risk(answer, changed, choice) for choice, changed in tables.items()}
    heat = {choice: _heat(changed) for choice, changed in tables.items()}
    firing = answer.pieces["firing"].to_numpy()
    rows = []
    for name in dict.fromkeys(firing):
        mine = firing == name
        for choice in kinds:
            if choice != "planned" and np.array_equal(risks[choice][mine], risks["planned"][mine]):
                continue
            told = _cost_as_told(answer, mine) if choice == "planned" else np.nan
            costs = _costs(answer, risks[choice][mine])
            rows.append((name, choice, *heat[choice][name], int(mine.sum()), *costs, told))
    return pd.DataFrame(rows, columns=list(COLUMNS))


def at_heat(tables: PlanTables, choice: str) -> PlanTables:
    """The same plan fired otherwise.

    Parameters
    ----------
    tables : PlanTables
        Their plan with its blanks filled.
    choice : str
        Of `CHOICES`. A schedule has no cone, and stays as it is there.
    """
    if choice == "planned":
        return tables
    if choice == "cone":
        return replace(tables, plan=a_cone_lower(tables))
    share = 0.5 if choice == "half hold" else 0.0
    plan = tables.plan.assign(hold_min=np.ceil(share * tables.plan["hold_min"]))
    hold = tables.schedules["hold_min"].astype(float)
    hottest = tables.schedules.groupby("firing")["target_c"].transform("max")
    at_top = tables.schedules["target_c"].eq(hottest)
    schedules = tables.schedules.assign(hold_min=hold.mask(at_top, np.ceil(share * hold)))
    return replace(tables, plan=plan, schedules=schedules)


def a_cone_lower(tables: PlanTables) -> pd.DataFrame:
    """The planned layers, each fired one cone lower.

    A firing that is typed as a schedule has no cone, and the coolest cone none below it: these
    stay as they are.
    """
    below = dict(zip(cones()[1:], cones()[:-1], strict=True))
    cone = with_defaults(tables.plan)["cone"]
    return tables.plan.assign(cone=cone.map(lambda cone: below.get(cone, cone)))


def _risk(answer: Answer, changed: PlanTables, choice: str) -> Floats:
    if choice == "planned":
        return answer.pieces["risk"].to_numpy(dtype=float)
    stacks = stacks_of(features_of(changed.plan, changed.glazes, changed.schedules))
    parts = asks(stacks, answer.predictor, answer.tolerance)
    risk = np.concatenate([ask.risk(ask.stacks) for ask in parts])
    same = np.isclose(risk, planned := answer.pieces["risk"].to_numpy(dtype=float), rtol=1e-9)
    return np.where(same, planned, risk)


def _heat(tables: PlanTables) -> dict[str, tuple[str, float]]:
    """Cone and hold of each firing, where its pots agree and it is not typed."""
    found = {}
    for firing, rows in tables.plan.groupby("firing", sort=False):
        typed = tables.scheduled(np.array([str(firing)]))[0]
        cone = "" if typed or rows["cone"].nunique() > 1 else str(rows["cone"].iloc[0])
        hold = np.nan if typed or rows["hold_min"].nunique() > 1 else rows["hold_min"].iloc[0]
        found[str(firing)] = (cone, float(hold))
    return found


def _costs(answer: Answer, risk: Floats) -> tuple[int, float, float, float]:
    """Pots over the tolerance, pots lost, what that costs, and with those over on cookies."""
    lost = answer.willing.lost_at(answer.tolerance)
    over = risk > answer.tolerance
    on_cookies = answer.willing.cookie * over.sum() + lost * risk[~over].sum()
    return int(over.sum()), float(risk.sum()), lost * float(risk.sum()), float(on_cookies)


def _cost_as_told(answer: Answer, mine: Floats) -> float:
    willing, advice = answer.willing, answer.advice().take(np.flatnonzero(mine))
    cost = willing.lost_at(answer.tolerance) * advice.risk
    cost[advice.word == "change"] += willing.reglaze
    if {"cookie", "dish"} & willing.kinds:
        cost[np.isin(advice.word, ("cookie", "dish", "pedestal"))] = willing.cookie
    return float(cost.sum())
