"""What is taken back leaves the tables and stays in the history."""

import pandas as pd
import pytest
from helpers.tables import ANALYSIS, faults_of, layers

from runpredict.logbook.book import Logbook
from runpredict.logbook.results import Outcome

GLAZES = pd.DataFrame([ANALYSIS])


@pytest.fixture
def log(tmp_path):
    with Logbook.open(tmp_path / "log", create=True) as book:
        book.import_tables({"layers": layers({}, {"layer": 2}, {"piece": "b"}), "glazes": GLAZES})
        yield book


def test_a_planned_pot_is_taken_back_by_name(log):
    assert log.remove("mug")["layer"].tolist() == [1, 2]
    assert log.layers()["piece"].tolist() == ["b"]
    assert "is no piece in the logbook" in faults_of(log.record, "mug", [Outcome(1, 1.0)])[0]
    assert "is no piece" in faults_of(log.piece, "mug")[0]
    history = log.history(piece="mug")
    assert history["retired"].tolist() == [False, False, True, True]
    assert history["action"].tolist() == ["import", "import", "remove", "remove"]
    gone = log.changes().query("change == 'removed'")
    assert set(gone["row"]) == {f"piece mug; firing f1; layer {n}" for n in (1, 2)}
    assert gone.query("column == 'glaze'")["before"].tolist() == ["sea", "sea"]


def test_what_was_taken_back_can_be_planned_again(log):
    log.remove("mug")
    counts = log.import_tables({"layers": layers({"coats": 3})})
    assert (counts["layers"].added, counts["layers"].corrected) == (1, 0)
    assert log.layers().query("piece == 'mug'")["coats"].tolist() == [3]


def test_a_mistaken_result_is_taken_back_and_the_pot_is_planned(log):
    log.record("mug", [Outcome(1, 2.0, "no", "sharp"), Outcome(2, None, "yes")])
    assert "what was fired is kept" in faults_of(log.remove, "mug")[0]
    assert log.remove("mug", result=True)["past_foot"].tolist() == ["no", "yes"]
    mine = log.piece("mug")
    assert mine["run_mm"].isna().all() and set(mine["past_foot"]) == {""}
    assert mine["note"].tolist() == ["sharp", ""]
    assert log.history(piece="mug")["action"].tolist()[-2:] == ["remove", "remove"]
    assert "has no result to take back" in faults_of(log.remove, "mug", result=True)[0]
    log.remove("mug")
    assert log.layers()["piece"].tolist() == ["b"]


def test_which_firing_is_asked(log):
    log.import_tables({"layers": layers({"firing": "f2"})})
    assert 'is in the firings "f1", "f2"' in faults_of(log.remove, "mug")[0]
    log.remove("mug", firing="f2")
    assert set(log.piece("mug")["firing"]) == {"f1"}
    assert 'did you mean "mug"' in faults_of(log.remove, "mog")[0]
