"""How low a glaze may end holds of the pots it was fired on, and what came of it is counted."""

import numpy as np
import pandas as pd
import pytest
from helpers.studios import studio
from helpers.tables import calm_studio

from runpredict.answers.check import check, predictor_of
from runpredict.answers.combinations import LEAST_PIECES, combinations_of
from runpredict.tables.plan import check_plan
from runpredict.words.combinations import combinations_in_words, combinations_text


@pytest.fixture(scope="module")
def world():
    """Nothing of it measured, since what a coat less is of such a layer no column says."""
    made = studio(5, logged=120, draws=2)
    plan, log = (part.assign(thickness_mm=np.nan) for part in (made.plan.head(60), made.log))
    tables = check_plan(plan, made.glazes, log=log)
    predictor, _ = predictor_of(tables)
    return log, made.glazes, tables, combinations_of(tables, predictor)


def pairs_of(log):
    """Each pot's combinations, by hand: the nearest layer beneath that is met, of another glaze."""
    found = []
    in_order = log.sort_values("layer", kind="stable")
    for key, rows in in_order.groupby(["firing", "piece"], sort=False):
        several = rows["glaze"].nunique() > 1
        mine = {}
        for j in range(len(rows)):
            over, under = rows.iloc[j], ""
            for i in range(j):
                low = rows.iloc[i]
                meets = min(over["upper_edge_mm"], low["upper_edge_mm"]) > max(
                    over["lower_edge_mm"], low["lower_edge_mm"]
                )
                under = low["glaze"] if meets and low["glaze"] != over["glaze"] else under
            if under or not several:
                mine.setdefault((over["glaze"], under), []).append(over["layer"])
        found += [(*pair, key, layers) for pair, layers in mine.items()]
    return pd.DataFrame(found, columns=["over", "under", "pot", "layers"])


def put_at(log, glazes, pots, coats, edge_mm):
    """Risk of pots of a combination, upright, with so many coats down to an edge, fired again."""
    parts = []
    for (firing, piece), layers in zip(pots["pot"], pots["layers"], strict=True):
        rows = log.loc[(log["firing"] == firing) & (log["piece"] == piece)]
        mine = rows["layer"].isin(layers)
        if rows.loc[mine, "upper_edge_mm"].min() - 10.0 < edge_mm:
            continue
        parts.append(
            rows.assign(
                lower_edge_mm=rows["lower_edge_mm"].mask(mine, edge_mm),
                coats=rows["coats"].mask(mine, coats),
                wall_deg=rows["wall_deg"].clip(lower=90.0),
                firing=f"to come {firing}",
                run_mm=np.nan,
                past_foot="",
            )
        )
    return check(pd.concat(parts), glazes, log).pieces["risk"]


@pytest.mark.parametrize("which", ["world", "calm"])
def test_put_there_95_of_100_of_the_fired_pots_stay_and_a_mm_lower_they_do_not(which, world):
    if which == "world":
        log, glazes, _, table = world
    else:
        log, glazes = calm_studio()
        tables = check_plan(None, glazes, log=log)
        table = combinations_of(tables, predictor_of(tables)[0])
        log = tables.log
    pairs = pairs_of(log)
    told = table.loc[table["lowest_edge_mm"].notna()]
    assert len(told) >= 3
    tried = 0
    for row in told.itertuples():
        pots = pairs.loc[(pairs["over"] == row.over) & (pairs["under"] == row.under)]
        assert len(pots) == row.fired
        tried += 1
        risk = put_at(log, glazes, pots, row.coats, row.lowest_edge_mm - 2.0)
        assert (risk <= 0.05).mean() >= 0.95
        if row.lowest_edge_mm > 2.0:
            lower = put_at(log, glazes, pots, row.coats, row.lowest_edge_mm - 3.0)
            assert (lower <= 0.05).mean() < 0.95
    assert tried >= 3


def test_what_came_of_each_is_counted(world):
    log, _, tables, table = world
    past = log["past_foot"].eq("yes").groupby([log["firing"], log["piece"]]).any()
    pairs, planned = pairs_of(log), pairs_of(tables.plan)
    count = pairs.groupby(["over", "under"]).size()
    ran = past.loc[pairs["pot"].tolist()].to_numpy()
    ran_past = pairs.loc[ran].groupby(["over", "under"]).size()
    asked = planned.groupby(["over", "under"]).size()
    assert set(zip(table["over"], table["under"], strict=True)) == set(count.index) | set(
        asked.index
    )
    for row in table.itertuples():
        pair = (row.over, row.under)
        assert row.fired == count.get(pair, 0)
        assert row.past == ran_past.get(pair, 0)
        assert row.planned == asked.get(pair, 0)
    assert (table.groupby(["over", "under"])["coats"].agg(list).map(lambda c: c == [1, 2])).all()


def test_what_was_hardly_fired_is_not_known_and_two_coats_never_come_lower(world):
    table = world[3]
    thin = table["fired"] < LEAST_PIECES
    assert thin.any() and (~thin).any()
    assert ((table["word"] == "not known") == thin).all()
    assert table.loc[thin, ["lowest_edge_mm", "stop_mm", "ends_mm"]].isna().all(axis=None)
    wide = table.pivot(index=["over", "under"], columns="coats", values="lowest_edge_mm")
    both = wide.dropna()
    assert len(both) and (both[2] >= both[1]).all()
    assert wide.loc[wide[1].isna(), 2].isna().all()


def test_stopped_as_told_it_ends_about_10_mm_up_and_never_where_it_may_not(world):
    told = world[3].loc[world[3]["stop_mm"].notna()]
    assert (told["stop_mm"] >= told["lowest_edge_mm"]).all()
    assert (told["ends_mm"] >= 9.9).all()
    above = told["stop_mm"] > told["lowest_edge_mm"]
    assert (told.loc[above, "ends_mm"] < 12.0).all()
    assert np.allclose(told["stop_mm"] - told["run_p50_mm"], told["ends_mm"], atol=0.11)
    ranges = world[3][["run_p05_mm", "run_p50_mm", "run_p95_mm"]].to_numpy()
    assert (np.diff(ranges, axis=1) >= 0).all()


def test_the_words_say_what_the_table_has(world):
    table = world[3]
    found = combinations_in_words(table)
    assert len(found.known) == (table["word"] != "not known").sum()
    assert len(found.not_known) == (table["word"] == "not known").sum() / 2
    text = combinations_text(table)
    row = table.loc[table["word"] == "keep"].iloc[0]
    assert f"keep {np.ceil(row['lowest_edge_mm'] - 1e-6):.0f} mm" in text
    one = combinations_in_words(table, "in", row["over"])
    assert one.known and all(row["over"] in words[:2] for words in one.known)
    none = combinations_of(check_plan(None, world[1]), predictor_of(world[2])[0])
    assert none.empty and "No glaze has been fired" in combinations_text(none)
