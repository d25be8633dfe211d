"""Work that splits comes out the same, to the last digit, on any number of cores."""

import operator
from dataclasses import astuple

import numpy as np
import pandas as pd
import pytest
from helpers.pieces import MANY_HOLDS, glazes, pieces
from helpers.studios import studio

from runpredict import check
from runpredict.model import cores, trial
from runpredict.model.features import features_of
from runpredict.model.outcomes import outcomes_of
from runpredict.model.stacks import stacks_of
from runpredict.tables.plan import check_plan

pytestmark = MANY_HOLDS


@pytest.mark.parametrize("count", [1, 2])
def test_tasks_come_back_in_their_order(count):
    tasks = [(number, 3) for number in range(7)]
    assert list(cores.on_cores(operator.mul, tasks, count)) == [0, 3, 6, 9, 12, 15, 18]


def test_small_work_is_not_split(monkeypatch):
    assert cores.cores_for(False) == 1
    monkeypatch.setenv("LOKY_MAX_CPU_COUNT", "1")
    assert cores.cores_for(True) == 1


def test_a_process_that_may_start_none_splits_nothing(monkeypatch):
    monkeypatch.setattr(cores.current_process(), "_config", {"daemon": True})
    assert cores.cores_for(True) == 1


def test_a_trial_is_the_same_on_two_cores(monkeypatch):
    world = studio(7, logged=40, planned=1)
    tables = check_plan(None, world.glazes, log=world.log)
    made = stacks_of(features_of(tables.log, tables.glazes))
    outcomes = outcomes_of(tables.log, made)
    told = []
    for count in (1, 2):
        monkeypatch.setattr(trial, "cores_for", lambda _, count=count: count)
        trained, tried = trial.train(made, outcomes)
        told.append((trained.calibration, trained.studio.mean, *astuple(tried.held)))
    for one, other in zip(*told, strict=True):
        assert np.array_equal(one, other)


def test_a_plan_is_answered_the_same_on_two_cores(monkeypatch):
    plan = pieces(5, 2050, most_layers=1).assign(hold_min=10.0)
    found = []
    for count in (1, 2):
        monkeypatch.setattr("runpredict.answers.check.cores_for", lambda _, count=count: count)
        answer = check(plan, glazes())
        found.append([answer.layers, answer.pieces, answer.outlook, answer.changes()])
    for one, other in zip(*found, strict=True):
        pd.testing.assert_frame_equal(one, other, check_exact=True)
