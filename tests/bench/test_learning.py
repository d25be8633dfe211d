"""Learning beside the pages: the newest log, one at a time, and who answers meanwhile."""

import multiprocessing
import os
import signal
import threading
from dataclasses import replace
from datetime import datetime

import numpy as np
import pandas as pd
import pytest
from helpers.pictures import SAMPLE, raw
from helpers.processes import needs_proc, until

from runpredict.answers.check import answer, predictor_of
from runpredict.bench.learning import TRIES, Learner, Taught, learn, learn_apart, same_log
from runpredict.model.predictors import RulesPredictor
from runpredict.tables.csv_files import read_table
from runpredict.tables.plan import check_plan


@pytest.fixture(scope="module")
def tables():
    log = read_table(SAMPLE / "log.csv", "layers")
    others = {name: raw(name) for name in ("recipes", "schedules")}
    return check_plan(raw("layers"), raw("glazes"), log=log, **others)


def shorter(tables, count):
    return replace(tables, log=tables.log.head(count).reset_index(drop=True))


class Teacher:
    """Learns when it is let, and remembers what it was given."""

    def __init__(self):
        self.given, self.may = [], threading.Semaphore(0)

    def __call__(self, tables, tolerance, stopped):
        self.given.append(len(tables.log))
        while not self.may.acquire(timeout=0.01):
            if stopped():
                return None
        return Taught(RulesPredictor(), None, tables, len(tables.log), datetime.now())


@pytest.fixture
def teacher():
    return Teacher()


@pytest.fixture
def learner(teacher):
    made = Learner(0.05, teacher, quiet_s=0.05)
    yield made
    made.close()


def test_the_newest_log_is_learned_and_those_between_are_not(tables, teacher, learner):
    learner.want(shorter(tables, 10))
    until(lambda: teacher.given == [10])
    for count in (11, 12, 13):
        learner.want(shorter(tables, count))
    assert learner.busy
    assert learner.taught.tables is None
    teacher.may.release()
    until(lambda: learner.taught.pieces == 10)
    assert learner.busy
    until(lambda: len(teacher.given) == 2)
    teacher.may.release()
    until(lambda: not learner.busy)
    assert teacher.given == [10, 13]
    assert learner.taught.pieces == 13


def test_what_is_learned_is_not_learned_again(tables, teacher, learner):
    learner.want(shorter(tables, 10))
    teacher.may.release()
    until(lambda: not learner.busy)
    learner.want(shorter(tables, 10))
    assert not learner.busy
    assert teacher.given == [10]


def test_an_empty_log_is_no_work(tables, teacher, learner):
    learner.want(shorter(tables, 0))
    assert not learner.busy
    assert teacher.given == []


def test_a_learner_stops_in_the_middle_of_its_work(tables, teacher, learner):
    learner.want(shorter(tables, 10))
    until(lambda: teacher.given == [10])
    learner.close()  # the teacher would never come to an end by itself
    assert learner.taught.tables is None


def test_what_counts_as_the_same_log(tables):
    assert same_log(tables, replace(tables, plan=tables.plan.head(1)))
    assert same_log(None, None)
    assert not same_log(tables, None)
    assert not same_log(tables, shorter(tables, 10))
    glazes = tables.glazes.assign(behaviour="runny")
    assert not same_log(tables, replace(tables, glazes=glazes))


def test_learned_apart_answers_as_learned_here(tables):
    apart = learn_apart(tables, 0.05, lambda: False)
    here = predictor_of(tables)
    assert apart.pieces == tables.log.groupby(["piece", "firing"]).ngroups
    assert apart.review.pieces == apart.pieces
    told = [
        answer(tables, taught=taught).pieces["risk"]
        for taught in ((apart.predictor, apart.trial), here)
    ]
    np.testing.assert_allclose(*told, atol=1e-9)


def test_a_stopped_process_has_learned_nothing(tables):
    assert learn_apart(tables, 0.05, lambda: True) is None


def test_whoever_is_taught_answers_whatever_the_tables_hold(tables):
    rules = answer(replace(tables, log=tables.log.head(0)))
    told = answer(tables, taught=(RulesPredictor(), None))
    pd.testing.assert_frame_equal(rules.pieces, told.pieces)


def test_a_log_without_a_result_has_nothing_to_look_back_on(tables):
    blank = tables.log.assign(run_mm=np.nan, past_foot="")
    taught = learn(replace(tables, log=blank), 0.05)
    assert taught.review is None
    assert isinstance(taught.predictor, RulesPredictor)


@needs_proc
def test_a_learner_that_is_killed_is_tried_again(tables):
    """As where memory runs out: the first process is killed, the second learns."""
    killed = []

    def kill_the_first():
        children = [child for child in multiprocessing.active_children() if not killed]
        for child in children:
            os.kill(child.pid, signal.SIGKILL)
            killed.append(child.pid)
        return False

    found = learn_apart(shorter(tables, 12), 0.05, kill_the_first)
    assert len(killed) == 1
    assert found is not None
    assert found.pieces > 0


@needs_proc
def test_a_learner_that_is_killed_every_time_is_given_up(tables):
    killed = set()

    def kill():
        for child in multiprocessing.active_children():
            killed.add(child.pid)
            os.kill(child.pid, signal.SIGKILL)
        return False

    assert learn_apart(shorter(tables, 12), 0.05, kill) is None
    assert len(killed) == TRIES
