"""What following the advice costs a studio, by true chances; run with -m slow, -s shows it.

In the studio's own numbers as delivered: a lost pot and its shelf 20, a cookie 1. Each pot that is
told to need something stands on a cookie, which catches what runs, with a short log also those that
are told to be doubtful till then; the others are left as they are.
RUNPREDICT_WORLDS may name folders of studios, as for `test_bench_skill`.

never, always   no pot and every pot on a cookie
over alone      the same without those that are doubtful
oracle          a cookie wherever the true chance makes it worth one
put there       planned pots at or above the edges that `combinations` tells
held            combinations of which 95 % of these have a true chance of at most 0.1, of `told`
blind           the same where the plan was not known when the edges were told
"""

import os
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from helpers.judge import given_studio, given_studios, mixed_films, own_studio

from runpredict.answers.check import answer, predictor_of
from runpredict.answers.combinations import HELD_SHARE, combinations_of
from runpredict.answers.load import doubtful
from runpredict.answers.willing import AS_DELIVERED
from runpredict.tables.plan import check_plan

pytestmark = [
    pytest.mark.slow,
    pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning"),
]

WORLDS = os.environ.get("RUNPREDICT_WORLDS")
SIZES = tuple(map(int, os.environ.get("RUNPREDICT_SIZES", "0,30,100,300,1000").split(",")))
LEAST_LOGGED = 100  # from here on it has to pay
ORACLE_TIMES = 1.5  # at most, with a thousand pots logged
UNSAFE = 0.1


def studios():
    if WORLDS:
        return [given_studio(path) for path in given_studios(WORLDS.split(os.pathsep))]
    return [own_studio("careful", 1, 200), mixed_films(1, 200)]


def edges_of(plan):
    """Combination, coats and edge of each pot's layers, as `combinations` means them."""
    found = []
    for place, (_, rows) in enumerate(plan.groupby(["firing", "piece"], sort=False)):
        pot = rows.sort_values("layer").reset_index(drop=True)
        several = pot["glaze"].nunique() > 1
        for j, over in pot.iterrows():
            under = ""
            for i in range(j):
                low = pot.loc[i]
                meets = min(over["upper_edge_mm"], low["upper_edge_mm"]) > max(
                    over["lower_edge_mm"], low["lower_edge_mm"]
                )
                under = low["glaze"] if meets and low["glaze"] != over["glaze"] else under
            if under or not several:
                coats = 1 if np.isnan(over["coats"]) else over["coats"]
                other = pot.loc[pot["glaze"] != over["glaze"], "lower_edge_mm"].min()
                found.append((place, over["glaze"], under, coats, over["lower_edge_mm"], other))
    table = pd.DataFrame(found, columns=["pot", "over", "under", "coats", "edge_mm", "else_mm"])
    # Layers of one glaze that lie alike are one combination, which ends where the lowest does.
    how = {"coats": "max", "edge_mm": "min", "else_mm": "min"}
    return table.groupby(["pot", "over", "under"], as_index=False).agg(how)


def costs_and_held(judged, size):
    tables = check_plan(judged.plan, judged.glazes, log=judged.logs[size], **judged.others)
    taught = predictor_of(tables)
    told = answer(tables, taught=taught)
    over = told.pieces["risk"].to_numpy() > told.tolerance
    lost = AS_DELIVERED.lost * judged.p_true
    edges, log_alone = edges_of(tables.plan), replace(tables, plan=tables.plan.head(0))
    put_there, of, held = held_of(judged, edges, combinations_of(tables, taught[0]))
    _, blind_of, blind = held_of(judged, edges, combinations_of(log_alone, taught[0]))
    return {
        "advice": np.where(over | doubtful(told), AS_DELIVERED.cookie, lost).sum(),
        "over alone": np.where(over, AS_DELIVERED.cookie, lost).sum(),
        "never": lost.sum(),
        "always": AS_DELIVERED.cookie * len(lost),
        "oracle": np.minimum(AS_DELIVERED.cookie, lost).sum(),
        "put there": put_there,
        "told": of,
        "held": held,
        "blind told": blind_of,
        "blind held": blind,
    }


def held_of(judged, edges, table):
    """Planned pots at or above the edges that are told, their combinations, and those that hold."""
    edges = edges.merge(table, on=["over", "under", "coats"])
    high = edges["edge_mm"] >= edges["lowest_edge_mm"]
    at = edges.loc[high & ~(edges["else_mm"] < edges["rest_mm"])]
    safe = pd.Series(judged.p_true[at["pot"]] <= UNSAFE, at.index)
    held = safe.groupby([at["over"], at["under"], at["coats"]]).mean() >= HELD_SHARE
    return len(at), len(held), held.sum()


def test_the_advice_is_worth_following_and_what_is_told_of_a_combination_holds():
    rows = {
        (judged.name, size): costs_and_held(judged, size)
        for judged in studios()
        for size in SIZES
        if size in judged.logs
    }
    table = pd.DataFrame(rows).T.rename_axis(["studio", "logged"])
    print(f"\n{table.round(2).to_string()}")
    logged = table.index.get_level_values("logged")
    for price in ("never", "always"):  # with less to go by, where it is not so is told alone
        dearer = table["advice"] >= table[price]
        print("\n".join(f"{of} at {size}: dearer than {price}" for of, size in table.index[dearer]))
        assert not dearer[logged >= LEAST_LOGGED].any()
    thousand = table.loc[logged == 1000]
    assert (thousand["advice"] <= ORACLE_TIMES * thousand["oracle"]).all()
    assert table["put there"].sum() > 0 and (table["held"] == table["told"]).all()
