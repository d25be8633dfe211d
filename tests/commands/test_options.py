"""What commands share: progress at a terminal, and tables from a logbook with some from files."""

import logging
import threading

import pandas as pd
import pytest
from helpers.processes import PATIENCE_S
from helpers.tables import ANALYSIS, faults_of, layers

from runpredict.commands.options import hear_long_work, show_progress
from runpredict.commands.sources import gather
from runpredict.logbook.book import Logbook
from runpredict.patience import LOG, long_work
from runpredict.tables.csv_files import write_table


@pytest.fixture
def logged(tmp_path):
    """A logbook with one planned piece and one fired."""
    with Logbook.open(tmp_path, create=True) as log:
        both = layers({}, {"piece": "jug", "run_mm": 2.0, "past_foot": "no"})
        log.import_tables({"layers": both, "glazes": pd.DataFrame([ANALYSIS])})
    return tmp_path


def test_progress_is_told_at_a_terminal_only(monkeypatch, capsys):
    monkeypatch.setattr("sys.stderr.isatty", lambda: False, raising=False)
    assert show_progress("Learning") is None
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    show = show_progress("Learning")
    show(0.5)
    show(1.0)
    assert capsys.readouterr().err == "\rLearning:  50 %\rLearning: 100 %\n"


@pytest.fixture
def quiet_log():
    """The one logger as it is before anybody listens, and again afterwards."""
    yield LOG
    LOG.handlers.clear()
    LOG.setLevel(logging.NOTSET)


def test_long_work_is_told_of_at_a_terminal_only(monkeypatch, capsys, quiet_log):
    monkeypatch.setattr("sys.stderr.isatty", lambda: False, raising=False)
    hear_long_work()
    threads = threading.active_count()
    with long_work("check", 0.001):
        assert threading.active_count() == threads
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    hear_long_work()
    hear_long_work()
    with long_work("check", 60.0):
        pass
    assert capsys.readouterr().err == "", "short work in silence, and nothing waits for the word"
    told = threading.Event()
    monkeypatch.setattr("sys.stderr.flush", told.set, raising=False)
    with long_work("check", 0.01):
        assert told.wait(PATIENCE_S)
    assert capsys.readouterr().err.startswith("\rcheck: still at work, 0.01 s.")


def test_a_caller_from_python_hears_the_one_logger(caplog, quiet_log):
    caplog.set_level(logging.INFO, "runpredict")
    told = threading.Event()
    quiet_log.addFilter(lambda record: told.set() or True)
    with long_work("review", 0.01):
        assert told.wait(PATIENCE_S)
    quiet_log.filters.clear()
    assert caplog.messages[0] == "review: still at work, 0.01 s."


def test_a_logbook_gives_plan_and_log(logged):
    tables = gather(("plan", "glazes"), logged)
    assert tables.plan["piece"].tolist() == ["mug"]
    assert tables.log["piece"].tolist() == ["jug"]
    assert gather(("log", "glazes"), logged).plan.empty


def test_a_file_stands_for_the_logbooks_table(logged, tmp_path):
    write_table(layers({"piece": "bowl"}), tmp_path / "plan.csv")
    tables = gather(("plan", "glazes"), logged, plan=tmp_path / "plan.csv", log=None)
    assert tables.plan["piece"].tolist() == ["bowl"]
    assert tables.log["piece"].tolist() == ["jug"]


def test_a_table_that_neither_has_is_named(tmp_path):
    Logbook.open(tmp_path, create=True).close()
    assert faults_of(gather, ("plan", "glazes"), tmp_path) == [
        f"--{role}: is missing; the logbook holds none, so give its file or import it."
        for role in ("plan", "glazes")
    ]


def test_a_column_of_hers_is_told_when_it_comes_in_and_not_at_every_question(tmp_path, recwarn):
    """A note at each check, about what she was told at the import, is one she learns to skip."""
    with Logbook.open(tmp_path, create=True) as log:
        mine = pd.DataFrame([ANALYSIS | {"Shelf mark": "B"}])
        log.import_tables({"layers": layers({}), "glazes": mine})
    assert any("Shelf mark" in str(one.message) for one in recwarn.list)
    recwarn.clear()
    gather(("plan", "glazes"), tmp_path)
    assert not [str(one.message) for one in recwarn.list]
