"""The load's table agrees with checking the load fired so, and its costs with its risks."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from helpers.pictures import SAMPLE, raw
from helpers.pieces import glazes, pieces

from runpredict.answers import load
from runpredict.answers.check import answer, check
from runpredict.answers.load import a_cone_lower, doubtful, load_of, pots_logged
from runpredict.answers.willing import Willing
from runpredict.tables.columns import cones
from runpredict.tables.csv_files import read_table
from runpredict.tables.plan import check_plan
from runpredict.words.loads import loads_in_words

# Random pots have edges no ruler shows.
pytestmark = pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning")


@pytest.fixture(scope="module")
def told():
    plan = pieces(3, 150).assign(hold_min=15.0)
    plan["firing"] = np.where(plan["cone"].isin(["5", "6"]), "hot", "mixed")
    plan.loc[plan["firing"] == "hot", "cone"] = "6"
    found = check(plan, glazes())
    return plan, found, load_of(found)


def test_each_choice_counts_what_a_check_of_the_changed_load_counts(told):
    plan, _, table = told
    below = dict(zip(cones()[1:], cones()[:-1], strict=True))
    changed = {
        "planned": plan,
        "cone": plan.assign(cone=plan["cone"].map(below)),
        "half hold": plan.assign(hold_min=8.0),
        "no hold": plan.assign(hold_min=0.0),
    }
    for choice, layers in changed.items():
        risks = check(layers, glazes()).pieces
        for firing, mine in risks.groupby("firing"):
            row = table.loc[table["firing"].eq(firing) & table["choice"].eq(choice)].iloc[0]
            over = mine["risk"] > 0.05
            assert (row["pots"], row["need_something"]) == (len(mine), over.sum())
            assert row["pots_lost"] == pytest.approx(mine["risk"].sum())
            assert row["cost_left"] == pytest.approx(20.0 * mine["risk"].sum())
            cookies = 1.0 * over.sum() + 20.0 * mine["risk"][~over].sum()
            assert row["cost_on_cookies"] == pytest.approx(cookies)
    hot = table.loc[table["firing"] == "hot"].set_index("choice")
    assert hot["cone"].to_dict() == dict.fromkeys(hot.index, "6") | {"cone": "5"}
    assert hot["hold_min"].tolist() == [15.0, 15.0, 8.0, 0.0]
    assert (table.loc[table["firing"] == "mixed", "cone"] == "").all()


def test_less_heat_never_needs_more(told):
    table = told[2].pivot(index="firing", columns="choice", values=["need_something", "pots_lost"])
    for name in ("need_something", "pots_lost"):
        need = table[name]
        assert (need["planned"] >= need["half hold"]).all()
        assert (need["half hold"] >= need["no hold"]).all()
        assert (need["planned"] >= need["cone"]).all()
    assert (table["pots_lost"]["planned"] > table["pots_lost"]["cone"]).all()


def test_following_the_advice_costs_no_more_than_leaving_all(told):
    planned = told[2].loc[told[2]["choice"] == "planned"]
    assert (planned["cost_as_told"] < planned["cost_left"]).all()
    assert told[2].loc[told[2]["choice"] != "planned", "cost_as_told"].isna().all()


def test_with_a_short_log_pots_are_doubtful_by_what_they_may_cost(told, monkeypatch):
    found = told[1]
    risk = found.pieces["risk"]
    mine = doubtful(found)
    # The more may be lost the sooner, never one over the tolerance, and never a safer pot first.
    assert mine.any() and not mine[risk > 0.05].any()
    assert risk[mine].min() > risk[~mine & (risk <= 0.05)].quantile(0.9)
    dear = replace(found, willing=Willing(cookie=0.5))
    assert doubtful(dear).sum() > mine.sum() and doubtful(dear)[mine].all()
    words = loads_in_words(found)
    for firing, pots in found.pieces.loc[mine].groupby("firing"):
        assert f"No log yet: a cookie is safer also under {len(pots)} " in words[firing].lines[-1]
        assert pots["piece"].iloc[0] in words[firing].unlogged
    assert not doubtful(replace(found, willing=Willing(frozenset({"wax"})))).any()
    # Fewer with each pot that is logged, none of a hundred.
    counts = []
    for logged in (0, 30, 99, 100):
        monkeypatch.setattr(load, "pots_logged", lambda answer, count=logged: count)
        counts.append(doubtful(found).sum())
    assert counts == sorted(counts, reverse=True) and counts[0] == mine.sum() and counts[-1] == 0
    assert counts[1] < counts[0]


def test_pots_are_counted_as_the_answer_rests_on_them(told):
    log = pd.DataFrame({"firing": ["a", "a", "b"], "piece": ["mug", "mug", "mug"]})
    found = replace(told[1], tables=replace(told[1].tables, log=log))
    assert pots_logged(found) == 0  # the rules answer
    assert pots_logged(replace(found, predictor=SimpleNamespace(basis="learned"))) == 2


def test_a_schedule_has_its_holds_shortened_and_no_cone():
    tables = check_plan(
        read_table(SAMPLE / "layers.csv", "layers"),
        raw("glazes"),
        recipes=raw("recipes"),
        schedules=raw("schedules"),
    )
    found = answer(tables)
    table = load_of(found).set_index(["firing", "choice"])
    assert table.loc["Tern"].index.tolist() == ["planned", "half hold", "no hold"]
    assert table.loc["Tern", "hold_min"].isna().all()
    segments = tables.schedules
    top = segments["target_c"] == segments["target_c"].max()
    shorter = segments.assign(hold_min=segments["hold_min"].where(~top, 0.0))
    again = answer(replace(tables, schedules=shorter)).pieces
    lost = again.loc[again["firing"] == "Tern", "risk"].sum()
    assert table.loc[("Tern", "no hold"), "pots_lost"] == pytest.approx(lost)
    assert lost < table.loc[("Tern", "planned"), "pots_lost"]
    # Who does not change the heat is told none.
    stays = answer(tables, willing=Willing(frozenset({"wax"})))
    assert set(load_of(stays)["choice"]) == {"planned"}


def test_a_cone_lower_stays_where_there_is_none():
    plan = pieces(3, 40)
    lowest = plan.assign(cone=cones()[0], hold_min=15.0)
    assert a_cone_lower(check_plan(lowest, glazes()))["cone"].eq(cones()[0]).all()
    found = load_of(check(lowest, glazes()))
    assert "cone" not in set(found["choice"])
