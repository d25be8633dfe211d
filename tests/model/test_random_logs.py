"""Logs of every kind train and answer without a fault, whatever their results say."""

import warnings

import numpy as np
import pytest
from helpers.pieces import MANY_HOLDS, glazes, pieces, risks

from runpredict.errors import TableWarning
from runpredict.model import trial
from runpredict.model.features import features_of
from runpredict.model.learned import Log, learn
from runpredict.model.outcomes import outcomes_of
from runpredict.model.stacks import stacks_of
from runpredict.tables.plan import check_plan

pytestmark = MANY_HOLDS


def random_log(seed):
    """Any number of firings, one glaze or many, all fine, all past, mixed, equal edges, slips."""
    rng = np.random.default_rng(seed)
    plan = pieces(seed, int(rng.integers(1, 40)), most_layers=int(rng.integers(1, 4)))
    number = plan["piece"].str.removeprefix("p").astype(int).to_numpy()
    firings = int(rng.integers(1, 8))
    plan = plan.assign(firing=[f"f{i % firings}" for i in number], cone="6")
    if rng.random() < 0.2:
        plan = plan.assign(glaze=plan["glaze"].iloc[0])
    if rng.random() < 0.3:  # edges at one height, some of them at the foot
        height = rng.choice([0.0, 1.0, 20.0, 60.0])
        plan = plan.assign(lower_edge_mm=np.minimum(height, plan["upper_edge_mm"] - 1.0))
    share = rng.choice([0.0, 0.02, 0.3, 1.0])
    past = rng.random(len(plan)) < share
    run = np.where(
        rng.random(len(plan)) < 0.5, rng.choice([0.0, 0.2, 5.0, 40.0], len(plan)), np.nan
    )
    run = np.where(past, np.nan, np.minimum(run, plan["lower_edge_mm"]))
    slipped = rng.random(len(plan)) < 0.03
    return plan.assign(run_mm=run, past_foot=np.where(past ^ slipped, "yes", "no"))


def trained_on(log):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", TableWarning)
        tables = check_plan(log, glazes(), log=log)
    made = stacks_of(features_of(tables.log, tables.glazes, tables.schedules))
    return made, outcomes_of(tables.log, made)


def holds(seed, plan):
    """Whether a random log trains, and tells chances of every pot."""
    made, outcomes = trained_on(random_log(seed))
    model, _ = trial.train(made, outcomes)
    layer, piece = risks(plan, model)
    return (
        np.isfinite(layer).all()
        and ((piece >= 0) & (piece <= 1)).all()
        and np.isfinite(model.studio.covariance).all()
        and (np.linalg.eigvalsh(model.studio.covariance) > -1e-6).all()
    )


@pytest.fixture(scope="module")
def plan():
    return pieces(3, 60, most_layers=3)


@pytest.mark.parametrize("seed", range(25))
def test_a_random_log_gets_a_sane_answer(seed, plan):
    assert holds(seed, plan)


@pytest.mark.slow
def test_five_thousand_random_logs_get_a_sane_answer(plan):
    assert [seed for seed in range(100, 5100) if not holds(seed, plan)] == []


def test_where_no_fit_is_found_the_answer_is_that_of_the_rules(monkeypatch, plan):
    """A fit that breaks down for whatever reason never reaches a potter as a fault."""

    def broken(*_):
        raise np.linalg.LinAlgError("not positive definite")

    monkeypatch.setattr("runpredict.model.fit.fit", broken)
    made, outcomes = trained_on(random_log(3))
    assert not learn(made, Log.of(made, outcomes)).sound
    model, tried = trial.train(made, outcomes)
    assert (model.basis, tried, model.seen()) == ("rules", None, None)
    assert risks(plan, model)[1] == pytest.approx(risks(plan)[1])


def test_a_log_without_a_result_that_says_anything_is_the_rules(plan):
    """One prior: what is learned of nothing is what is expected without a log."""
    log = random_log(5).assign(past_foot="no", run_mm=np.nan, lower_edge_mm=70.0)
    log = log.assign(upper_edge_mm=70.5).head(1)
    made, outcomes = trained_on(log)
    model, _ = trial.train(made, outcomes)
    # Its one pot all but surely stays, and says all but nothing.
    assert risks(plan, model)[1] == pytest.approx(risks(plan)[1], abs=0.02)
