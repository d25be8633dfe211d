"""How margins are set right by firings held out, and that what is told is what is seen."""

import numpy as np
import pytest
from helpers.judge import readable
from helpers.kinds import KINDS
from scipy import stats

from runpredict.model import trial
from runpredict.model.features import features_of
from runpredict.model.learned import Log, learn
from runpredict.model.mixture import MIX_SCALES, MIX_SHARES
from runpredict.model.outcomes import outcomes_of
from runpredict.model.stacks import stacks_of
from runpredict.tables.plan import check_plan

PIECES = 4000


def ways(shift, factor, seed=1):
    """Pieces told margins that are off by a shift and spreads off by a factor, and their ends."""
    rng = np.random.default_rng(seed)
    margin = rng.normal(-1.0, 1.5, PIECES)
    scale = rng.choice(MIX_SCALES, PIECES, p=MIX_SHARES)
    sd = factor * np.sqrt(0.5 + scale**2 * 0.3)
    past = (margin + shift + sd * rng.standard_normal(PIECES) > 0).astype(float)
    made = trial._Ways.blank(PIECES, 3)
    made.weight[:] = [0.5, 0.25, 0.25]
    made.margin[:] = margin[:, None]
    made.variance[:], made.noise[:], made.mix[:] = 0.5, 0.3, MIX_SHARES
    return made, past


@pytest.mark.parametrize(("shift", "factor"), [(0.0, 1.0), (-0.8, 1.0), (0.5, 1.4), (0.0, 0.6)])
def test_shift_and_factor_are_found(shift, factor):
    made, past = ways(shift, factor)
    everyone = np.ones(PIECES, dtype=bool)
    found = trial._calibration(made, past, everyone)
    assert found[0] == pytest.approx(shift, abs=0.12)
    assert found[1] == pytest.approx(factor, rel=0.12)
    told = made.passing(everyone, found)
    assert told.mean() == pytest.approx(past.mean(), abs=0.01)
    high = told > 0.5
    assert told[high].mean() == pytest.approx(past[high].mean(), abs=0.03)


def test_a_few_pieces_move_it_by_little():
    made, past = ways(-0.8, 1.0)
    few = np.arange(PIECES) < 10
    shift, factor = trial._calibration(made, past, few)
    assert abs(shift) < 0.5
    assert factor == pytest.approx(1.0, abs=0.15)


def test_chances_of_ways_are_those_of_the_mixture():
    """Against the normal of scipy."""
    made, _ = ways(0.0, 1.0)
    told = made.passing(np.arange(5), (0.2, 1.3))
    sd = 1.3 * np.sqrt(0.5 + MIX_SCALES**2 * 0.3)
    by_hand = stats.norm.cdf((made.margin[:5, :1] + 0.2) / sd) @ MIX_SHARES
    assert told == pytest.approx(by_hand, abs=1e-6)


@pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning")
@pytest.mark.parametrize("kind", ["rules", "careful"])
def test_a_trained_model_tells_its_own_logs_frequency(kind):
    """In sample and held out, on studios whose physics is not the model's."""
    made = KINDS[kind](5, draws=20)
    others = {} if made.recipes is None else {"recipes": made.recipes}
    log = readable(made.logs[300], made.plan, made.glazes, others)
    tables = check_plan(log, made.glazes, log=log, **others)
    stacks = stacks_of(features_of(tables.log, tables.glazes, tables.schedules))
    outcomes = outcomes_of(tables.log, stacks)
    model, tried = trial.train(stacks, outcomes)
    known = ~np.isnan(outcomes.past)
    seen = outcomes.past[known].mean()
    told = model.chances(stacks).risk(stacks)[1][known].mean()
    assert told == pytest.approx(seen, rel=0.3, abs=0.01)
    assert tried.held.risk[known].mean() == pytest.approx(seen, rel=0.3, abs=0.01)


def test_the_base_rate_of_a_piece_is_that_of_the_other_folds():
    past = np.array([1.0, 0.0, 1.0, np.nan])
    folds = [(np.array([0, 1]), None, None), (np.array([2, 3]), None, None)]
    assert trial._base_rate(past, folds).tolist() == [0.75, 0.75, 0.5, 0.5]


@pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning")
def test_no_fold_is_told_by_a_model_that_learned_its_results():
    """Turned about, what came of a fold moves nothing in what it is told."""
    made = KINDS["rules"](5, draws=1)
    others = {"recipes": made.recipes}
    log = readable(made.logs[100], made.plan, made.glazes, others)
    tables = check_plan(log, made.glazes, log=log, **others)
    stacks = stacks_of(features_of(tables.log, tables.glazes, tables.schedules))
    outcomes = outcomes_of(tables.log, stacks)
    fold = trial.folds_of(stacks, ~np.isnan(outcomes.past))
    assert set(fold) - {-1} == set(range(5)) == set(range(trial.FOLDS))
    mine = fold[stacks.at[0]] == 0
    past, run_mm = tables.log["past_foot"].mask(mine, "yes"), tables.log["run_mm"].mask(mine)
    turned = outcomes_of(tables.log.assign(past_foot=past, run_mm=run_mm), stacks)
    assert turned.past[fold == 0].all() and not outcomes.past[fold == 0].all()
    start = learn(stacks, Log.of(stacks, outcomes)).studio
    told = []
    for seen in (outcomes, turned):
        pieces, part, chances = trial._held_out(stacks, Log.of(stacks, seen), fold, 0, start)
        assert (fold[pieces] == 0).all()
        told.append(chances.risk(part)[1])
    assert told[0] == pytest.approx(told[1], abs=1e-9)
