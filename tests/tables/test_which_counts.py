"""What is told twice, and firings that melt nothing."""

import warnings

import pandas as pd
import pytest
from helpers.tables import ANALYSIS, faults_of, layers, read_text
from hypothesis import given
from hypothesis import strategies as st

from runpredict.errors import BadInput, TableWarning
from runpredict.tables.plan import check_plan, read_plan
from runpredict.tables.rows import check_table

GLAZES = pd.DataFrame([ANALYSIS])


def schedule(*targets_c, firing="f1"):
    return pd.DataFrame(
        [
            {"firing": firing, "segment": n, "rate_c_per_h": 100, "target_c": c, "hold_min": 10}
            for n, c in enumerate(targets_c, start=1)
        ]
    )


@pytest.mark.parametrize("tops", [(1.22, 0.9), (20, 599), (1.22,)])
def test_a_schedule_that_melts_nothing_is_asked_about(tops):
    (fault,) = faults_of(check_table, schedule(*tops), "schedules")
    assert "no glaze melts below 600 °C" in fault
    assert ("did you mean 1220?" in fault) == (max(tops) == 1.22)


@pytest.mark.parametrize("typed", ["1.220", "1.220 C", "1,220", "1.220 °C"])
def test_thousands_of_degrees_are_asked_about(tmp_path, typed):
    text = f'firing,segment,rate_c_per_h,target_c\nf1,1,100,"{typed}"\n'
    (fault, *_) = faults_of(read_text, tmp_path, text, "schedules", name="schedules.csv")
    assert fault.startswith("schedules.csv, row 2, column target_c: ")
    assert "type 1220" in fault


@given(st.lists(st.floats(0, 1500), min_size=1, max_size=4))
def test_every_schedule_that_is_taken_melts_a_glaze(targets_c):
    table = schedule(*targets_c)
    try:
        kept = check_table(table, "schedules")
    except BadInput:
        assert max(targets_c) < 600
    else:
        assert kept["target_c"].max() >= 600


def test_a_cone_beside_a_schedule_is_said_not_to_count():
    plan = layers({}, {"layer": 2}, {"piece": "b"}, {"piece": "c", "firing": "f2"})
    with pytest.warns(TableWarning) as found:
        check_plan(plan, GLAZES, schedules=schedule(1220))
    assert [str(warning.message) for warning in found] == [
        'plan, index 0, column cone: cone 6 does not count: "f1" is in schedules, and its schedule '
        "does."
    ]


def test_results_in_a_plan_are_said_not_to_be_read(tmp_path):
    layers({}, {"layer": 2, "run_mm": 3.0, "past_foot": "no"}).to_csv(
        tmp_path / "p.csv", index=False
    )
    GLAZES.to_csv(tmp_path / "glazes.csv", index=False)
    with pytest.warns(TableWarning, match=r"p\.csv, row 3: has a result, as 1 of these rows"):
        read_plan(tmp_path / "p.csv", tmp_path / "glazes.csv")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        read_plan(None, tmp_path / "glazes.csv", log=tmp_path / "p.csv")
