"""Firings without a name are told apart by their date.

The rule is that of the tables' contract: a piece is unique within its firing, or, where that has
no name, within its date.
"""

import pandas as pd
import pytest
from helpers.tables import ANALYSIS, faults_of, layers

from runpredict.answers.check import check, only_firing
from runpredict.logbook.book import Logbook
from runpredict.logbook.results import Outcome
from runpredict.model.features import features_of
from runpredict.model.stacks import stacks_of
from runpredict.tables.csv_files import read_table, write_table
from runpredict.tables.firings import firing_key, keyed_firings, written_firings
from runpredict.tables.plan import check_plan
from runpredict.tables.rows import check_table, split_results, with_defaults

MARCH, APRIL = "2026-03-08", "2026-04-11"
GLAZES = pd.DataFrame([ANALYSIS])
TWO_MUGS = layers(
    {"firing": "", "fired_on": MARCH, "past_foot": "no", "foot_mm": 70},
    {"firing": "", "layer": 2, "fired_on": MARCH},
    {"firing": "", "fired_on": APRIL, "cone": "8", "foot_mm": 72},
    {"firing": "", "layer": 2, "fired_on": APRIL, "cone": "8"},
)


def test_mugs_of_two_dates_are_two_pieces():
    table = check_table(TWO_MUGS, "layers")
    assert set(table["firing"]) == {""}
    assert with_defaults(table)["foot_mm"].tolist() == [70, 70, 72, 72]
    planned, fired = split_results(table)
    assert set(planned["fired_on"]) == {APRIL}
    assert set(fired["fired_on"]) == {MARCH}


def test_the_model_and_the_answer_hold_them_apart(tmp_path):
    tables = check_plan(TWO_MUGS, GLAZES)
    stacks = stacks_of(features_of(tables.plan, tables.glazes))
    assert len(stacks.piece) == len(set(stacks.firing)) == 2
    answer = check(TWO_MUGS, GLAZES)
    assert answer.pieces["piece"].tolist() == ["mug", "mug"]
    write_table(answer.pieces, tmp_path / "pieces.csv")
    assert pd.read_csv(tmp_path / "pieces.csv")["firing"].isna().all()
    (only,) = set(only_firing(tables, APRIL).plan["fired_on"])
    assert only == APRIL
    (fault,) = faults_of(only_firing, tables, "May")
    assert f'its firings are "{MARCH}", "{APRIL}"' in fault


def test_a_date_told_once_holds_for_the_piece():
    once = layers(
        {"firing": "", "fired_on": MARCH}, {"firing": "", "layer": 2}, {"piece": "b", "firing": ""}
    )
    assert check_table(once, "layers")["fired_on"].tolist() == [MARCH, MARCH, ""]


def test_a_blank_date_beside_several_is_asked_for():
    unclear = TWO_MUGS.assign(fired_on=[MARCH, "", APRIL, APRIL])
    faults = faults_of(check_table, unclear, "layers", "l.csv")
    assert (
        'index 1, column fired_on: is blank, and "mug" is in firings of several dates' in faults[0]
    )


def test_the_same_date_twice_is_still_one_piece():
    twice = layers(*[{"firing": "", "fired_on": MARCH}] * 2)
    (fault,) = faults_of(check_table, twice, "layers")
    assert f"the layer (mug, {MARCH}, 1) is already in index 0" in fault


def test_a_firing_named_as_a_date_is_another():
    named = layers({"firing": "", "fired_on": MARCH}, {"firing": MARCH, "fired_on": MARCH})
    keys = keyed_firings(check_table(named, "layers"))
    assert keys.nunique() == 2
    assert written_firings(keys).tolist() == ["", MARCH]
    assert firing_key(" ".strip(), "") == ""


def test_the_logbook_holds_them_apart(tmp_path):
    with Logbook.open(tmp_path, create=True) as log:
        log.import_tables({"layers": TWO_MUGS.drop(columns="past_foot"), "glazes": GLAZES})
        assert f'is in the firings "{MARCH}", "{APRIL}"' in faults_of(log.piece, "mug")[0]
        log.record("mug", [Outcome(1, 4.0, "no"), Outcome(2, None, "no")], firing=APRIL)
        frame = log.layers()
        assert frame["past_foot"].tolist() == ["", "", "no", "no"]
        assert set(frame["firing"]) == {""}
        counts = log.import_tables({"layers": TWO_MUGS.drop(columns="past_foot")})
        assert counts["layers"].unchanged == 4
        log.export(tmp_path / "out")
        assert log.changes()["row"].iloc[-1] == f"piece mug; firing {APRIL}; layer 2"
    again = read_table(tmp_path / "out" / "layers.csv", "layers")
    pd.testing.assert_frame_equal(again, frame)


@pytest.mark.parametrize("firing", ["", "f1"])
def test_a_plan_without_dates_is_as_it_was(firing):
    plan = layers({"firing": firing}, {"firing": firing, "layer": 2})
    assert set(check_plan(plan, GLAZES).plan["firing"]) == {firing}
