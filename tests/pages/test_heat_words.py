"""A firing's heat and date in words."""

from dataclasses import replace

import pandas as pd
from helpers.pictures import sample_tables

from runpredict.pages.heat_words import heat_words


def test_cones_schedules_and_dates_are_told():
    tables = sample_tables()
    dated = replace(tables, plan=tables.plan.assign(fired_on="2024-03-02"))
    for units, rate in (("mm", "60 °C/h"), ("in", "108 °F/h")):
        found = heat_words(dated, units)
        assert found["thaw"] == (f"Cone 5, hold 20 min, {rate} at the end", "2024-03-02")
        typed = tables.schedules.loc[tables.schedules["firing"] == "harvest"]
        assert found["harvest"].heat.startswith("Schedule: ")
        assert found["harvest"].heat.count(" to ") == len(typed) > 1
    assert heat_words(tables, "mm")["thaw"].fired_on == ""


def test_two_cones_in_one_firing_are_both_told():
    tables = sample_tables()
    plan = pd.concat([tables.plan, tables.plan.assign(piece=tables.plan["piece"] + " b", cone="6")])
    found = heat_words(replace(tables, plan=plan), "mm")
    assert found["thaw"].heat.startswith("Cone 5 and 6")
