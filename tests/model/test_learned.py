"""What a log teaches: simulated truth found again, order kept, and sense in odd logs."""

import warnings
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from helpers.pieces import CHANGES, WORDS, pieces, risks, stacks
from helpers.pieces import glazes as all_glazes
from hypothesis import given, settings
from hypothesis import strategies as st

from runpredict.answers.check import check
from runpredict.errors import TableWarning
from runpredict.model import effects, learned, rules, trial
from runpredict.model import sampler as posterior
from runpredict.model.features import features_of, stacks_of, typical_thickness_mm
from runpredict.model.learned import Trained, learn, outcomes_of
from runpredict.model.rules import RulesPredictor
from runpredict.physics import film
from runpredict.tables.plan import check_plan

ROUNDING = 1e-9
JARS = [f"jar {word or 'plain'}" for word in WORDS]


def table_of(log, glaze_table=None):
    """A log as read, and its arrays."""
    glaze_table = all_glazes() if glaze_table is None else glaze_table
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", TableWarning)  # of results that contradict each other
        tables = check_plan(log, glaze_table, log=log)
    return tables.log, stacks_of(features_of(tables.log, tables.glazes, tables.schedules))


def studio_layers(seed, firings, per_firing, names, most_layers=2):
    """Pieces of an invented studio that fires few glazes to cone 6."""
    rng = np.random.default_rng(seed)
    plan = pieces(seed, firings * per_firing, most_layers=most_layers)
    number = plan["piece"].str.removeprefix("p").astype(int)
    firing = number // per_firing
    pots = len(number.unique())
    return plan.assign(
        firing=[f"firing {i}" for i in firing],
        body=np.array(["buff", "white"])[(number % 2).to_numpy()],
        glaze=rng.choice(names, len(plan)),
        cone="6",
        hold_min=np.array([5.0, 10.0, 20.0])[(firing % 3).to_numpy()],
        ramp_c_per_h=np.array([60.0, 150.0])[(firing % 2).to_numpy()],
        wall_deg=85.0,
        lower_edge_mm=rng.uniform(2, 60, len(plan)).round(1),
        upper_edge_mm=rng.uniform(80, 150, pots)[number.to_numpy()].round(1),
    )


def effect_table(made):
    """Column of every effect, and what is expected of it."""
    terms = effects.terms_of(made)
    known = {effect: i for i, effect in enumerate(sorted(set(terms.effect), key=repr))}
    mean, sd = rules.glaze_prior(made)
    by_glaze = {
        made.glazes[made.glaze[i, k]]: (mean[i, k], sd[i, k])
        for i, k in zip(*np.nonzero(made.present), strict=True)
    }
    return terms, known, *effects.prior_of(list(known), by_glaze)


def simulated(plan, seed, truth=None, noise=1.0):
    """Fire pieces in the model's own world.

    Parameters
    ----------
    plan : layers
    truth : dict of effects that are not drawn from what is expected of them
    noise : of all that no effect holds, as a share of what the rules expect

    Returns
    -------
    log, made, truth : layers with results, their arrays, value of every effect
    """
    rng = np.random.default_rng(seed)
    made = stacks(plan)
    terms, known, mean, sd = effect_table(made)
    value = mean + sd * rng.standard_normal(len(known))
    for effect, told in (truth or {}).items():
        value[known[effect]] = told
    plan = with_measured_coats(plan, value, known, rng)
    made = stacks(plan)
    n, k = made.present.shape
    taught = (effects.design(terms, (n, k), known) @ value).reshape(n, k)
    names, firing = np.unique(made.firing, return_inverse=True)
    shared = rules.FIRING_SD * rng.standard_normal(len(names))[firing]
    shared = shared + rules.PLACE_SD * rng.standard_normal(n)
    coat = 2.0 * rules.COAT_SD * rng.standard_normal((n, k)) * ~made.measured
    physics = made.mobility_log + noise * coat
    own = shared[:, None] + rules.EDGE_SD * rng.standard_normal((n, k))
    mobility_log = np.matmul(made.shares, physics[..., None])[..., 0] + taught + noise * own
    run = film.run_m(made.wall, mobility_log[..., None])[..., 0] - rules.HELD_BACK_M
    run_mm = np.maximum(1e3 * run, 0.0)[made.piece_at, made.layer_at]
    return seen(plan, run_mm, rng), made, dict(zip(known, value, strict=True))


def with_measured_coats(plan, value, known, rng):
    """Coats that were measured are as thick as this hand makes them."""
    hand = np.array(
        [
            sum(value[known[one]] for one in (("hand", ""), ("method", method)) if one in known)
            for method in plan["method"]
        ]
    )
    typical = typical_thickness_mm(plan["method"].tolist(), plan["coats"].to_numpy(dtype=float))
    thick = typical * np.exp(hand + rules.COAT_SD * rng.standard_normal(len(plan)))
    return plan.assign(thickness_mm=plan["thickness_mm"].where(plan["thickness_mm"].isna(), thick))


def seen(plan, run_mm, rng, measured=0.6):
    """What a potter writes down: past or not, and a ruler reading of some that stopped."""
    past = run_mm > plan["lower_edge_mm"].to_numpy()
    read = ~past & (rng.random(len(plan)) < measured)
    return plan.assign(
        run_mm=np.where(read, run_mm.round(1), np.nan), past_foot=np.where(past, "yes", "no")
    )


def quick(log, made, **more):
    return learn(*table_of(log), sweeps=200, draws=100, **more)


def effect(studio, family, name):
    return studio.effects[studio.known[(family, name)]]


@pytest.fixture(scope="module")
def season():
    """Four hundred pieces in twenty firings, and the truth behind them."""
    names = [*JARS, "analysis 0", "analysis 3", "analysis 7"]
    return simulated(studio_layers(51, 20, 20, names), 52)


@pytest.fixture(scope="module")
def taught(season):
    return learn(*table_of(season[0]))


# What is true is found again.


def test_glazes_are_found_within_their_intervals(season, taught):
    truth = {name: value for (family, name), value in season[2].items() if family == "glaze"}
    assert len(truth) == 8
    inside, off, before, width = [], [], [], []
    _, known, mean, sd = effect_table(season[1])
    for name, value in truth.items():
        drawn = effect(taught, "glaze", name)
        low, high = np.quantile(drawn, (0.025, 0.975))
        inside.append(low <= value <= high)
        off.append(drawn.mean() - value)
        before.append(mean[known[("glaze", name)]] - value)
        width.append(drawn.std() / sd[known[("glaze", name)]])
    assert np.sum(inside) >= 7
    assert np.sqrt(np.mean(np.square(off))) < 0.5 * np.sqrt(np.mean(np.square(before)))
    assert max(width) < 0.5


def test_intervals_are_neither_too_narrow_nor_too_wide():
    """Truth from what is expected, many times over: 90 % intervals hold nine in ten."""
    inside = []
    for seed in range(8):
        log, made, truth = simulated(studio_layers(60 + seed, 6, 15, JARS), 80 + seed)
        studio = quick(log, made)
        for (family, name), value in truth.items():
            if family in ("glaze", "pair", "kiln", "hand", "body"):
                low, high = np.quantile(effect(studio, family, name), (0.05, 0.95))
                inside.append(low <= value <= high)
    assert len(inside) > 150
    assert 0.83 <= np.mean(inside) <= 0.96


def test_a_hot_kiln_and_a_heavy_hand_are_found():
    """The order of two studios that differ in one thing alone."""
    plan = studio_layers(53, 10, 15, JARS)
    for family in ("kiln", "hand"):
        low, high = (
            np.mean(effect(quick(*simulated(plan, 54, {(family, ""): v})[:2]), family, ""))
            for v in (-0.8, 0.8)
        )
        assert high > low + 0.4


def spread_log(predictor, made):
    """Mean spread of log mobility over the edges that are there, unevenness included."""
    draws = predictor.draws(made)
    moved = np.matmul(made.shares, draws.layer_log) + draws.edge_log
    variance = moved.var(axis=2)[made.glazed] + np.mean(np.square(draws.edge_sd))
    return np.sqrt(variance).mean()


def tiles(name, count=10):
    """Test tiles of one glaze, edges high so that their runs can be measured."""
    tile = {"firing": "tiles", "body": "buff", "cone": "6", "hold_min": 10.0, "wall_deg": 90.0,
            "foot_mm": 60.0, "layer": 1, "glaze": name, "method": "dip", "coats": 2,
            "thickness_mm": np.nan, "lower_edge_mm": 120.0, "upper_edge_mm": 180.0,
            "ramp_c_per_h": 60.0}  # fmt: skip
    return pd.DataFrame([{**tile, "piece": f"tile {i}"} for i in range(count)])


@pytest.mark.parametrize("value", [-2.5, 2.5])
def test_ten_tiles_of_a_jar_move_it(value):
    """A jar nobody knows anything of: half of the way at least, in the mean of five studios."""
    names = [name for name in JARS if name != "jar plain"]
    mean, sd = [], []
    for seed in range(5):
        others = studio_layers(90 + seed, 4, 10, names)
        plan = pd.concat([others, tiles("jar plain")], ignore_index=True)
        log, made, _ = simulated(plan, 95 + seed, {("glaze", "jar plain"): value})
        drawn = effect(quick(log, made), "glaze", "jar plain")
        mean.append(drawn.mean())
        sd.append(drawn.std())
    assert (np.sign(mean) == np.sign(value)).all()
    assert abs(np.mean(mean)) > abs(value) / 2
    assert np.mean(sd) < 0.5 * rules.BEHAVIOUR_SD[""]


def test_ten_tiles_move_what_is_told_of_the_next_pot():
    """Tiles that ran far raise its risk, tiles that hardly moved lower it."""
    plan = tiles("jar plain", 1).assign(firing="next", lower_edge_mm=25.0)
    told = []
    for run_mm in (1.0, 100.0):
        log = tiles("jar plain").assign(run_mm=run_mm, past_foot="no")
        told.append(risks(plan, Trained(quick(log, None), 1.0))[1][0])
    before = risks(plan)[1][0]
    assert told[0] < before / 3
    assert told[1] > 1 - (1 - before) / 3


def test_more_log_makes_the_runs_narrower(season, taught):
    """Of the same pieces, after fifty, and after all four hundred."""
    log = season[0]
    few = learn(*table_of(log.loc[log["firing"].isin(["firing 0", "firing 1", "firing 2"])]))
    plan = stacks(studio_layers(57, 5, 20, JARS).assign(firing="next"))
    rules_, few_, all_ = (
        spread_log(predictor, plan)
        for predictor in (RulesPredictor(), Trained(few, 1.0), Trained(taught, 1.0))
    )
    assert few_ < 0.9 * rules_
    assert all_ < 0.8 * few_


def test_it_does_better_than_the_rules_where_there_is_something_to_learn(season):
    trained, tried = trial.train(*table_of(season[0]))
    assert trained.basis in ("blend", "learned")
    assert trained.share > 0.5
    loss, brier = tried.scores["log_loss"], tried.scores["brier"]
    assert loss["blend"] < loss["rules"] < 2 * loss["base rate"]
    assert loss["blend"] < loss["base rate"]
    assert brier["blend"] < min(brier["rules"], brier["base rate"])
    assert 0.8 <= tried.interval_coverage <= 0.98
    assert tried.reliability["pieces"].sum() == tried.pieces == 400
    assert tried.firings == 20
    assert (tried.reliability["predicted"].diff().dropna() > 0).all()


def test_progress_is_told_and_training_repeats(season):
    log = season[0].loc[season[0]["firing"].isin([f"firing {i}" for i in range(4)])]
    said = []
    first, _ = trial.train(*table_of(log), progress=said.append)
    again, _ = trial.train(*table_of(log))
    assert said == sorted(said)
    assert said[-1] == pytest.approx(1.0)
    assert len(said) > 100
    assert (first.studio.effects == again.studio.effects).all()
    assert (first.share, first.calibration) == (again.share, again.calibration)


# It stays physical.


@pytest.fixture(scope="module")
def predictors(taught):
    """All of the log, a part of it, and odds set right."""
    return [Trained(taught, 1.0), Trained(taught, 0.6), Trained(taught, 0.8, (-0.4, 0.7))]


@pytest.fixture(scope="module")
def plan():
    """Firings and glazes that are in the log, and those that are not."""
    plan = pieces(58, 1500)
    known = (plan["piece"].str.removeprefix("p").astype(int) % 2).astype(bool)
    return plan.assign(firing=np.where(known, "firing 3", "next"), body="buff")


@pytest.mark.parametrize("change", CHANGES, ids=[change.__name__ for change in CHANGES])
def test_more_is_never_safer_in_a_trained_model(predictors, plan, change):
    changed = change(plan, np.random.default_rng(2))
    for predictor in predictors:
        for old, new in zip(risks(plan, predictor), risks(changed, predictor), strict=True):
            assert (new >= old - ROUNDING).all()
            assert (new > old + 1e-6).any()


def nonsense(seed, firings=4, per_firing=10):
    """A log of results that have nothing to do with the pieces."""
    rng = np.random.default_rng(seed)
    log = studio_layers(seed, firings, per_firing, JARS)
    return seen(log, rng.uniform(0, 90, len(log)), rng)


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 10**6))
def test_more_is_never_safer_whatever_was_logged(seed):
    """Logs that make no sense, too: the order is not learned, it is built in."""
    trained, _ = trial.train(*table_of(nonsense(seed)))
    trained = replace(trained, share=max(trained.share, 0.5))
    plan = pieces(seed, 40, most_layers=4)
    before = risks(plan, trained)
    for change in CHANGES:
        after = risks(change(plan, np.random.default_rng(seed)), trained)
        for old, new in zip(before, after, strict=True):
            assert (new >= old - ROUNDING).all()


def test_a_piece_is_at_least_its_worst_layer(predictors, plan):
    for predictor in predictors:
        layer, piece = risks(plan, predictor)
        by_piece = pd.Series(layer).groupby([plan["firing"], plan["piece"]], sort=False)
        assert (piece >= by_piece.max().to_numpy() - ROUNDING).all()
        assert ((piece >= 0) & (piece <= 1)).all()


def test_a_piece_is_told_the_same_whatever_else_is_planned(predictors, plan):
    single = plan.loc[plan.groupby("piece")["layer"].transform("max").eq(1)].head(30)
    for predictor in predictors:
        alone, among = risks(single, predictor)[0], risks(plan, predictor)[0]
        assert alone == pytest.approx(among[single.index], abs=1e-12)


def test_a_part_of_the_log_lies_between_rules_and_all_of_it(taught, plan):
    """The chance of a pool is the mean of its draws, so it lies between, give or take a draw."""
    none, half, whole = (risks(plan, Trained(taught, share))[1] for share in (0.0, 0.5, 1.0))
    assert none == pytest.approx(risks(plan)[1], abs=1e-12)
    low, high = np.minimum(none, whole), np.maximum(none, whole)
    assert ((half > low - 0.1) & (half < high + 0.1)).all()
    assert np.abs(half - (none + whole) / 2).mean() < 0.02
    bases = [Trained(taught, share).basis for share in (0.0, 0.5, 1.0)]
    assert bases == ["rules", "blend", "learned"]


# Each row counts for what it says.


def one_tile(**result):
    log = tiles("jar plain", 1).assign(run_mm=np.nan, past_foot="").assign(**result)
    read, made = table_of(log)
    found = outcomes_of(read, made)
    return 1e3 * found.lower_m[0, 0], 1e3 * found.upper_m[0, 0], found.past[0]


def test_what_a_row_says_of_the_run():
    assert one_tile(past_foot="yes") == (120.0, np.inf, 1.0)
    assert one_tile(past_foot="yes", run_mm=150.0) == (150.0, np.inf, 1.0)
    assert one_tile(past_foot="no") == (-np.inf, 120.0, 0.0)
    low, high, past = one_tile(past_foot="no", run_mm=50.0)
    assert low < 50.0 < high < 53.0
    assert past == 0.0
    assert one_tile(run_mm=150.0)[0] == 150.0
    assert one_tile(run_mm=50.0)[2] == 0.0
    assert np.isnan(one_tile()).all()
    # A word and a run that contradict each other: the word stands, the run says no more.
    assert one_tile(past_foot="yes", run_mm=20.0) == (120.0, np.inf, 1.0)
    assert one_tile(past_foot="no", run_mm=170.0) == (-np.inf, 120.0, 0.0)


def test_chance_of_what_was_seen_adds_up():
    """Below, within and beyond some run: the three chances are one."""
    made = stacks(pieces(59, 200))
    draws = RulesPredictor().draws(made)
    shape = made.present.shape
    marks = [np.full(shape, v) for v in (-np.inf, 0.01, 0.05, np.inf)]
    parts = [
        learned.chance_of_outcomes(
            draws, made, learned.Outcomes(low, high, np.zeros(len(made.piece)), low)
        )
        for low, high in pairwise(marks)
    ]
    assert all((part >= 0).all() for part in parts)
    assert sum(parts) == pytest.approx(np.ones(shape))


def test_a_run_only_known_to_be_beyond_moves_the_mean_beyond():
    """Means of cut normals, e.g. Johnson, Kotz & Balakrishnan (1994), ch. 13.10."""
    rng = np.random.default_rng(1)
    many = 200_000
    ends = {(0.0, np.inf): 0.79788, (-np.inf, 0.0): -0.79788, (1.0, np.inf): 1.52514,
            (-1.0, 1.0): 0.0, (6.0, np.inf): 6.15838, (-np.inf, np.inf): 0.0}  # fmt: skip
    for (low, high), mean in ends.items():
        drawn = posterior.truncated_normal(
            rng, np.zeros(many), np.ones(many), np.full(many, low), np.full(many, high)
        )
        assert ((drawn >= low) & (drawn <= high)).all()
        assert drawn.mean() == pytest.approx(mean, abs=0.01)
    far = posterior.truncated_normal(
        rng, np.zeros(9), np.ones(9), np.full(9, 50.0), np.full(9, np.inf)
    )
    assert (np.isfinite(far) & (far >= 50.0)).all()


def test_the_sampler_finds_a_known_posterior():
    """One effect, all margins measured, spreads known: mean and spread in closed form."""
    from scipy import sparse

    rng = np.random.default_rng(3)
    m, noise, prior_sd = 40, 0.5, 2.0
    y = 1.3 + noise * rng.standard_normal(m)
    found = posterior.sample(
        posterior.Evidence(
            design=sparse.csr_array(np.ones((m, 1))),
            lower=y - 1e-6,
            upper=y + 1e-6,
            own_variance=np.full(m, noise**2 - 1e-4),
            firing=np.zeros(m, dtype=np.intp),
            piece=np.arange(m),
        ),
        posterior.Prior(
            mean=np.zeros(1), sd=np.full(1, prior_sd), alike=[],
            firing_sd=1e-4, piece_sd=1e-4, noise_sd=1e-2,
        ),
        sweeps=4000,
        draws=2000,
    )  # fmt: skip
    precision = m / noise**2 + 1 / prior_sd**2
    assert found.effects.mean() == pytest.approx(y.sum() / noise**2 / precision, abs=0.01)
    assert found.effects.std() == pytest.approx(precision**-0.5, rel=0.1)


# How far it is trusted.


def test_folds_never_split_a_firing(season, monkeypatch):
    log = season[0]
    rows_of = log["firing"].value_counts()
    held = []

    class Watched:
        """A studio that is only asked about firings it has not seen."""

        def __init__(self, studio, seen):
            self.studio, self.seen = studio, seen

        def draws(self, part):
            assert not set(part.firing) & set(self.seen)
            held.extend(sorted(set(part.firing)))
            return self.studio.draws(part)

    def watched_learn(log, made, *args, **kwargs):
        counts = log["firing"].value_counts()
        assert (counts == rows_of[counts.index]).all()
        assert set(made.firing) == set(counts.index)
        short = dict(sweeps=20, draws=20)
        return Watched(learn(log, made, **short), counts.index)

    monkeypatch.setattr(trial, "learn", watched_learn)
    _, tried = trial.train(*table_of(log))
    assert tried is not None
    assert sorted(held) == sorted(rows_of.index)


def test_a_result_is_not_known_to_the_model_that_is_asked_of_it(season, monkeypatch):
    """Turning round the results of one firing leaves what is said of it out of fold."""
    log = season[0].loc[season[0]["firing"].isin([f"firing {i}" for i in range(4)])]
    mine = (log["firing"] == "firing 1").to_numpy()
    other = np.where(log["past_foot"] == "yes", "no", "yes")
    turned = log.assign(
        past_foot=np.where(mine, other, log["past_foot"]), run_mm=log["run_mm"].mask(mine)
    )
    said = []

    class Listening:
        """A studio whose answers are kept."""

        def __init__(self, studio):
            self.studio = studio

        def draws(self, part):
            draws = self.studio.draws(part)
            for firing in set(part.firing):
                here = np.flatnonzero(part.firing == firing)
                said[-1][firing] = draws.take(here).risk(part.take(here))[1]
            return draws

    monkeypatch.setattr(
        trial, "learn", lambda log, made, *_, **__: Listening(learn(log, made, 60, 40))
    )
    for one in (log, turned):
        said.append({})
        trial.train(*table_of(one))
    assert set(said[0]) == set(log["firing"])
    assert (said[0]["firing 1"] == said[1]["firing 1"]).all()
    assert (said[0]["firing 0"] != said[1]["firing 0"]).any()


def misleading():
    """Each firing has a jar of its own that moves the other way than in all other firings."""
    parts = []
    for i, own in enumerate(JARS):
        layers = studio_layers(61 + i, 1, 44, JARS, most_layers=1)
        number = np.arange(len(layers))
        layers = layers.assign(
            firing=f"firing {i}", piece=[f"{i} {n}" for n in number], hold_min=10.0,
            ramp_c_per_h=60.0, lower_edge_mm=layers["lower_edge_mm"] + 20.0,
            glaze=np.where(number < 24, own, np.array(JARS)[number % 5]),
        )  # fmt: skip
        shift = {name: rules.BEHAVIOUR_SHIFT[word] for name, word in zip(JARS, WORDS, strict=True)}
        truth = {("glaze", n): shift[n] + (1.5 if n == own else -1.5) for n in JARS}
        parts.append(simulated(layers, 100 + i, {**truth, ("kiln", ""): 0.0})[0])
    return pd.concat(parts, ignore_index=True)


def test_the_rules_answer_where_the_log_misleads():
    trained, tried = trial.train(*table_of(misleading()))
    loss = tried.scores["log_loss"]
    assert loss["learned"] > loss["rules"] + 0.1
    assert loss["blend"] == pytest.approx(loss["rules"], rel=1e-9)
    assert trained.share == 0.0
    assert trained.basis == "rules"
    some = pieces(63, 100)
    assert (risks(some, trained)[1] == risks(some)[1]).all()


@pytest.mark.parametrize("seed", [71, 72, 73])
def test_a_log_of_noise_does_not_make_it_sure(seed):
    """Results that have nothing to do with the pieces: no surer than how often any passes."""
    trained, tried = trial.train(*table_of(nonsense(seed, firings=8)))
    loss = tried.scores["log_loss"]
    assert loss["blend"] <= loss["rules"] + 0.02
    made = stacks(pieces(64, 100))
    runs = trained.draws(made).runs_m(made)
    told = RulesPredictor().draws(made).runs_m(made)
    spread = [np.log(r[made.glazed] + 1e-3).std(axis=1).mean() for r in (runs, told)]
    assert spread[0] > 0.7 * spread[1]


# Odd logs.


def odd_logs():
    rng = np.random.default_rng(4)
    log = simulated(studio_layers(65, 4, 8, JARS), 66)[0]
    few = log.loc[log["firing"] == "firing 0"].reset_index(drop=True)
    contradicted = log.assign(
        run_mm=np.where(log["past_foot"] == "yes", 0.2, 2.0) * log["lower_edge_mm"]
    )
    twice = pd.concat([log, log.assign(
        piece=log["piece"] + "b", past_foot=np.where(log["past_foot"] == "yes", "no", "yes"),
        run_mm=np.nan)], ignore_index=True)  # fmt: skip
    return {
        "past the foot, yet run shorter than the distance": contradicted,
        "the same piece with both results": twice,
        "none passed": log.assign(past_foot="no", run_mm=np.nan),
        "all passed": log.assign(past_foot="yes", run_mm=np.nan),
        "one piece": few.loc[few["piece"] == few["piece"].iloc[0]].reset_index(drop=True),
        "one firing": few,
        "no run measured": log.assign(run_mm=np.nan),
        "runs alone": log.assign(past_foot=""),
        "nothing moved": log.assign(past_foot="no", run_mm=0.0),
        "most rows blank": log.assign(
            past_foot=np.where(rng.random(len(log)) < 0.2, log["past_foot"], ""), run_mm=np.nan
        ),
        "one glaze": log.assign(glaze="jar plain"),
        "cold and hot": log.assign(cone=np.where(log["firing"] == "firing 0", "022", "13")),
        "no wall covered to speak of": log.assign(upper_edge_mm=log["lower_edge_mm"] + 0.1),
    }


@pytest.mark.parametrize("kind", odd_logs())
def test_odd_logs_get_a_sane_answer(kind):
    trained, tried = trial.train(*table_of(odd_logs()[kind]))
    assert trained.basis in ("rules", "blend", "learned")
    assert np.isfinite(trained.studio.effects).all()
    assert np.isfinite(trained.calibration).all()
    assert trained.calibration[1] > 0
    if tried is not None:
        assert np.isfinite(tried.scores).all(axis=None)
        assert tried.reliability["pieces"].sum() == tried.pieces
    plan = pieces(67, 60)
    for firing in ("next", "firing 0"):
        asked = plan.assign(firing=firing, body="buff")
        made = stacks(asked)
        for predictor in (trained, replace(trained, share=1.0)):
            draws = predictor.draws(made)
            for risk in draws.risk(made):
                assert ((risk >= 0) & (risk <= 1)).all()
            runs = draws.runs_m(made)
            assert (np.isfinite(runs) & (runs >= 0)).all()
            assert np.isfinite(draws.past_foot_m3(made)).all()


def test_a_log_of_one_class_moves_the_risk_its_way():
    logs, plan = odd_logs(), studio_layers(68, 3, 10, JARS).assign(firing="next")
    none, told, every = (
        risks(plan, predictor)[1].mean()
        for predictor in (
            Trained(quick(logs["none passed"], None), 1.0),
            RulesPredictor(),
            Trained(quick(logs["all passed"], None), 1.0),
        )
    )
    assert none < told - 0.1
    assert every > told + 0.05


def test_contradictions_count_as_the_word(season):
    log = odd_logs()["past the foot, yet run shorter than the distance"]
    plain = log.assign(run_mm=np.nan)
    first, second = (learn(*table_of(one), 40, 20) for one in (log, plain))
    assert (first.effects == second.effects).all()


def test_one_piece_or_one_firing_cannot_be_tried_and_counts_half():
    for kind in ("one piece", "one firing"):
        trained, tried = trial.train(*table_of(odd_logs()[kind]))
        assert tried is None
        assert trained.share == trial.UNTESTED_SHARE
        assert trained.basis == "blend"


def test_a_glaze_never_seen_is_less_sure_than_one_seen_often(taught):
    """Both jars that nothing is written on; one has been fired for a whole season."""
    table = pd.concat(
        [all_glazes(), pd.DataFrame([{"glaze": "new jar", "source": "jar"}])], ignore_index=True
    )
    spread = {
        name: spread_log(Trained(taught, 1.0), stacks(tiles(name, 1).assign(firing="next"), table))
        for name in ("jar plain", "new jar")
    }
    assert spread["new jar"] > 1.5 * spread["jar plain"]


def test_a_glaze_never_seen_is_what_its_jar_says(taught):
    """Nothing learned of it: what is expected of its word, and its kiln and hand."""
    table = pd.DataFrame(
        [{"glaze": w, "source": "jar", "behaviour": w} for w in ("stiff", "runny")]
    )
    risk = {}
    for word in ("stiff", "runny"):
        made = stacks(tiles(word, 1).assign(firing="next", lower_edge_mm=15.0), table)
        risk[word] = Trained(taught, 1.0).draws(made).risk(made)[1][0]
    assert 0 < risk["stiff"] < risk["runny"] < 1


def test_a_pair_never_seen_is_less_sure_than_one_seen_often():
    """Fifty pots of one pair, and the other way round none."""
    base = tiles("jar plain", 50).assign(firing=[f"firing {i // 10}" for i in range(50)])
    top = base.assign(layer=2, glaze="jar runny", lower_edge_mm=140.0)
    both = pd.concat([base, top], ignore_index=True)
    # Each of them alone and over itself, so that only the pair is new.
    alone = both.assign(piece=both["piece"] + " alone", glaze="jar plain")
    again = both.assign(piece=both["piece"] + " again", glaze="jar runny")
    log = simulated(pd.concat([both, alone, again], ignore_index=True), 70)[0]
    predictor = Trained(quick(log, None), 1.0)
    seen_often = stacks(both.assign(firing="next"))
    turned = both.assign(firing="next", glaze=both["glaze"].map(
        {"jar plain": "jar runny", "jar runny": "jar plain"}))  # fmt: skip
    spread = [predictor.draws(made).edge_log[0, 1].std() for made in (seen_often, stacks(turned))]
    assert spread[1] > 1.1 * spread[0]


@pytest.mark.parametrize("results", ["no row", "no result"])
def test_a_log_with_no_result_is_answered_by_the_rules(results, tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    plan = pieces(69, 20)
    log = plan.assign(run_mm=np.nan, past_foot="", firing="past")
    log = log if results == "no result" else log.iloc[:0]
    found = check(plan, all_glazes(), log=log)
    pd.testing.assert_frame_equal(found.pieces, check(plan, all_glazes()).pieces)
    assert set(found.layers["basis"]) == {"rules"}


def test_measured_coats_teach_the_hand_where_every_logged_layer_was_measured():
    told = {}
    for factor in (0.7, 1.4):
        log = tiles("jar plain", 12).assign(
            coats=1, thickness_mm=0.4 * factor, run_mm=5.0, past_foot="no"
        )
        studio = quick(log, None)
        told[factor] = effect(studio, "hand", "").mean() + effect(studio, "method", "dip").mean()
    assert told[0.7] < -0.15
    assert told[1.4] > 0.15
