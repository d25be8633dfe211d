"""A firing's heat and date in words."""

from dataclasses import replace

import pandas as pd
from helpers.pictures import raw, sample_tables

from runpredict.answers.check import check
from runpredict.words.heat import heat_words
from runpredict.words.pots import firings_in_words


def test_cones_schedules_and_dates_are_told():
    tables = sample_tables()
    dated = replace(tables, plan=tables.plan.assign(fired_on="2024-03-02"))
    for units, rate in (("mm", "60 °C/h"), ("in", "108 °F/h")):
        found = heat_words(dated, units)
        assert found["Dabchick"] == (f"Cone 6, hold 5 min, {rate} at the end", "2024-03-02")
        typed = tables.schedules.loc[tables.schedules["firing"] == "Tern"]
        assert found["Tern"].heat.startswith("Schedule: ")
        assert found["Tern"].heat.count(" to ") == len(typed) > 1
    assert heat_words(tables, "mm")["Dabchick"].fired_on == ""


def test_a_firing_without_a_name_is_told_by_its_date():
    layers = raw("layers")
    layers = layers.loc[layers["firing"] == "Dabchick"].assign(firing="", fired_on="2024-03-02")
    answer = check(layers, raw("glazes"), recipes=raw("recipes"))
    (firing,) = firings_in_words(answer)
    assert firing.name == "2024-03-02"
    heat, fired_on = heat_words(answer.tables, "mm")[firing.firing]
    assert fired_on == "2024-03-02"
    assert heat.startswith("Cone 6, hold 5 min")
    undated = check(layers.assign(fired_on=""), raw("glazes"), recipes=raw("recipes"))
    assert firings_in_words(undated)[0].name == "not named"


def test_two_cones_in_one_firing_are_both_told():
    tables = sample_tables()
    plan = pd.concat([tables.plan, tables.plan.assign(piece=tables.plan["piece"] + " b", cone="7")])
    found = heat_words(replace(tables, plan=plan), "mm")
    assert found["Dabchick"].heat.startswith("Cone 6 and 7")
