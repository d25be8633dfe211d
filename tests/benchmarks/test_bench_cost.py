"""What following the advice costs a studio, by true chances; run with -m slow, -s shows it.

In the studio's own numbers as delivered: a lost pot and its shelf 20, a cookie 1. Each pot that is
told to need something stands on a cookie, which catches what runs, with no log also those that are
told to be doubtful till then; the others are left as they are.
RUNPREDICT_WORLDS may name folders of studios, as for `test_bench_skill`.

never, always   no pot and every pot on a cookie
oracle          a cookie wherever the true chance makes it worth one
held            planned pots at or above the edge that `combinations` tells, and of these the share
                whose true chance is at most 0.1
"""

import os

import numpy as np
import pandas as pd
import pytest
from helpers.judge import given_studio, given_studios, mixed_films, own_studio

from runpredict.answers.check import answer, predictor_of
from runpredict.answers.combinations import combinations_of
from runpredict.answers.load import doubtful_unlogged
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
                found.append((place, over["glaze"], under, coats, over["lower_edge_mm"]))
    table = pd.DataFrame(found, columns=["pot", "over", "under", "coats", "edge_mm"])
    # Layers of one glaze that lie alike are one combination, which ends where the lowest does.
    how = {"coats": "max", "edge_mm": "min"}
    return table.groupby(["pot", "over", "under"], as_index=False).agg(how)


def costs_and_held(judged, size):
    tables = check_plan(judged.plan, judged.glazes, log=judged.logs[size], **judged.others)
    taught = predictor_of(tables)
    told = answer(tables, taught=taught)
    over = (told.pieces["risk"].to_numpy() > told.tolerance) | doubtful_unlogged(told)
    lost = AS_DELIVERED.lost * judged.p_true
    table = combinations_of(tables, taught[0])
    edges = edges_of(tables.plan).merge(table, on=["over", "under", "coats"])
    at = edges.loc[edges["edge_mm"] >= edges["lowest_edge_mm"]]
    return {
        "advice": np.where(over, AS_DELIVERED.cookie, lost).sum(),
        "never": lost.sum(),
        "always": AS_DELIVERED.cookie * len(lost),
        "oracle": np.minimum(AS_DELIVERED.cookie, lost).sum(),
        "put there": len(at),
        "held": (judged.p_true[at["pot"]] <= UNSAFE).mean() if len(at) else np.nan,
    }


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
    counted = table["put there"].sum()
    assert (table["held"] * table["put there"]).sum() >= 0.95 * counted > 0
