"""What a log teaches: simulated truth found again, order kept, and sense in odd logs."""

import warnings
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from helpers.pieces import CHANGES, MANY_HOLDS, WORDS, pieces, risks
from helpers.pieces import glazes as all_glazes
from scipy import stats
from scipy.integrate import quad
from scipy.sparse import csr_array

from runpredict.errors import TableWarning
from runpredict.model import fit, mixture, trial
from runpredict.model.features import features_of
from runpredict.model.learned import Log, learn
from runpredict.model.line import Edges
from runpredict.model.outcomes import outcomes_of
from runpredict.model.predictors import RulesPredictor
from runpredict.model.priors import WORD_SHIFT
from runpredict.model.stacks import stacks_of
from runpredict.tables.plan import check_plan

pytestmark = MANY_HOLDS

ROUNDING = 1e-6  # the normal curve is good to 1e-7
JARS = [f"jar {word or 'plain'}" for word in WORDS]
STEP = {name: step for name, step in zip(JARS, (0.8, -0.6, 0.4, -1.0, 0.9), strict=True)}


def read(log, glaze_table=None):
    """A log as read: its stacks and outcomes."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", TableWarning)
        tables = check_plan(log, all_glazes() if glaze_table is None else glaze_table, log=log)
    made = stacks_of(features_of(tables.log, tables.glazes, tables.schedules))
    return made, outcomes_of(tables.log, made)


def fired(seed, firings=12, per_firing=10, noise_sd=0.35, level=0.6, way=None):
    """A log of an invented studio: the film, a step a glaze, a kiln, and noise of each edge."""
    rng = np.random.default_rng(seed)
    plan = pieces(seed, firings * per_firing, most_layers=2)
    number = plan["piece"].str.removeprefix("p").astype(int).to_numpy()
    plan = plan.assign(
        firing=[f"firing {i // per_firing}" for i in number],
        glaze=rng.choice(JARS, len(plan)),
        cone="6", hold_min=10.0, ramp_c_per_h=60.0, wall_deg=85.0,
        thickness_mm=rng.uniform(0.2, 0.7, len(plan)).round(2),
    )  # fmt: skip
    made = stacks_of(features_of(*_checked(plan)))
    step = np.array([STEP[name] for name in made.glazes] + [0.0])[made.glaze]
    known = RulesPredictor.studio.terms([made])
    mean = known.mean.copy()
    if way is not None:
        mean[known.known[("way", "")]] = np.log(way)
    n, k = made.present.shape
    piece, edge = np.nonzero(made.present)
    runs = np.zeros((n, k))
    stepped = replace(made, mobility_per_m=made.mobility_per_m * np.exp(step))
    reach = [np.full(len(piece), 1e-3), np.full(len(piece), 0.15)]
    noise_log = noise_sd * rng.standard_normal(len(piece))
    for _ in range(30):
        middle = 0.5 * (reach[0] + reach[1])
        edges = Edges(stepped, known.known, piece, edge, (middle, middle))
        there = edges.margins(mean)[0] + level + noise_log > 0
        reach = [np.where(there, middle, reach[0]), np.where(there, reach[1], middle)]
    runs[piece, edge] = np.where(reach[0] > 1.1e-3, reach[0], 0.0)
    run_mm = 1e3 * runs[made.at]
    past = run_mm > plan["lower_edge_mm"].to_numpy()
    return plan.assign(
        run_mm=np.where(past, np.nan, run_mm.round(1)), past_foot=np.where(past, "yes", "no")
    )


def _checked(plan):
    tables = check_plan(plan, all_glazes())
    return tables.plan, tables.glazes, tables.schedules


def studio_of(log):
    made, outcomes = read(log)
    return learn(made, Log.of(made, outcomes)).studio


@pytest.fixture(scope="module")
def season():
    return fired(1)


@pytest.fixture(scope="module")
def trained(season):
    return trial.train(*read(season))


@pytest.fixture(scope="module")
def plan():
    return pieces(3, 1200, most_layers=2).assign(
        glaze=lambda t: np.random.default_rng(4).choice(JARS, len(t)), firing="next"
    )


def test_glazes_are_found_within_their_intervals(season):
    off = []
    for seed in (1, 11, 12, 13):
        studio = studio_of(fired(seed))
        names = [("glaze", name) for name in STEP]
        at = [studio.known[name] for name in names]
        found = studio.mean[at] - studio.mean[at].mean()
        words = np.array([RULE[name] for _, name in names])
        truth = words + np.array(list(STEP.values()))
        sd = np.sqrt(np.diag(studio.covariance)[at])
        off += list((found - (truth - truth.mean())) / sd)
    assert np.abs(off).max() < 3.5
    assert np.sqrt(np.mean(np.square(off))) < 1.5


RULE = {f"jar {word or 'plain'}": shift for word, shift in WORD_SHIFT.items()}


def test_more_log_makes_it_surer(season):
    short = studio_of(season.loc[season["firing"].isin(["firing 0", "firing 1"])])
    whole = studio_of(season)
    for name in STEP:
        sd = [np.sqrt(s.covariance[(i := s.known[("glaze", name)]), i]) for s in (short, whole)]
        assert sd[1] < sd[0]


def test_it_does_better_than_the_rules_where_there_is_something_to_learn(trained):
    scores = trained[1].scores["log_loss"]
    assert scores["learned"] < 0.8 * scores["rules"]
    assert scores["learned"] < 0.8 * scores["base rate"]
    assert trained[1].interval_coverage == pytest.approx(0.93, abs=0.065)


@pytest.mark.parametrize("change", CHANGES, ids=[change.__name__ for change in CHANGES])
@pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning")
def test_more_is_never_safer_in_a_trained_model(trained, plan, change):
    old, new = risks(plan, trained[0]), risks(change(plan, np.random.default_rng(5)), trained[0])
    assert (new[1] >= old[1] - ROUNDING).all()
    assert (new[1] > old[1] + 1e-6).any()


def test_rows_in_any_order_and_other_names_give_the_same(season, trained, plan):
    told = risks(plan, trained[0])[1]
    shuffled = season.sample(frac=1.0, random_state=6).reset_index(drop=True)
    again = risks(plan, trial.train(*read(shuffled))[0])[1]
    assert again == pytest.approx(told, abs=1e-6)
    firings = {name: f"x{abs(hash(name)) % 997} {name[::-1]}" for name in season["firing"].unique()}
    renamed = risks(plan, trial.train(*read(season.replace({"firing": firings})))[0])[1]
    assert renamed == pytest.approx(told, abs=1e-6)


def test_one_more_piece_moves_the_rest_by_little(season, trained, plan):
    last = season["piece"].iloc[-1]
    fewer = trial.train(*read(season.loc[season["piece"] != last]))[0]
    moved = np.abs(risks(plan, fewer)[1] - risks(plan, trained[0])[1])
    assert np.quantile(moved, 0.99) < 0.03
    assert moved.max() < 0.1


def test_slips_cost_little_and_are_doubted(season, plan):
    slipped = season.copy()
    wrong = np.random.default_rng(7).choice(len(season), 3, replace=False)
    word = slipped["past_foot"].to_numpy().copy()
    word[wrong] = np.where(word[wrong] == "yes", "no", "yes")
    slipped["past_foot"] = word
    slipped.loc[slipped.index[wrong], "run_mm"] = np.nan
    clean, dirty = (trial.train(*read(log)) for log in (season, slipped))
    told = [risks(plan, model[0])[1] for model in (clean, dirty)]
    assert np.abs(told[0] - told[1]).mean() < 0.03
    made, _ = read(slipped)
    weights = dirty[1].doubted[made.at]
    assert np.nanmedian(weights[wrong]) < np.nanmedian(np.delete(weights, wrong))


def test_told_and_seen_agree():
    ratio = []
    for seed in (21, 22, 23):
        log = fired(seed, firings=20)
        number = log["firing"].str.removeprefix("firing ").astype(int)
        model, _ = trial.train(*read(log.loc[number < 12]))
        later = log.loc[number >= 12]
        seen = later["past_foot"].eq("yes").groupby(later["piece"]).any().mean()
        ratio.append(risks(later.assign(run_mm=np.nan, past_foot=""), model)[1].mean() / seen)
    assert np.mean(ratio) == pytest.approx(1.0, abs=0.25)


def odd_logs():
    base = fired(31, firings=4, per_firing=5)
    return {
        "one class": base.assign(past_foot="no", run_mm=np.nan),
        "one piece": base.loc[base["piece"] == "p0"],
        "one firing": base.loc[base["firing"] == "firing 0"],
        "a few words only": base.assign(run_mm=np.nan),
        "an edge at the foot that did not pass": base.assign(
            lower_edge_mm=np.where(base["layer"] == 1, 0.0, base["lower_edge_mm"]),
            past_foot="no", run_mm=np.nan,
        ),
    }  # fmt: skip


@pytest.mark.parametrize("kind", odd_logs())
def test_odd_logs_get_a_sane_answer(kind, plan):
    model, _ = trial.train(*read(odd_logs()[kind]))
    layer, piece = risks(plan, model)
    assert np.isfinite(layer).all()
    assert ((piece >= 0) & (piece <= 1)).all()


def test_a_log_of_noise_does_not_make_it_sure(season, plan):
    rng = np.random.default_rng(8)
    pots = season["piece"].unique()
    word = dict(zip(pots, rng.choice(["yes", "no"], len(pots), p=[0.3, 0.7]), strict=True))
    noisy = season.assign(run_mm=np.nan, past_foot=season["piece"].map(word))
    _, tried = trial.train(*read(noisy))
    assert tried.scores["log_loss"]["learned"] < tried.scores["log_loss"]["base rate"] + 0.1


def test_folds_never_split_a_firing_nor_follow_its_name(season):
    made, outcomes = read(season)
    fold = trial.folds_of(made, ~np.isnan(outcomes.past))
    assert set(fold) == set(range(trial.FOLDS))
    assert pd.Series(fold).groupby(made.firing).nunique().max() == 1


def test_what_a_row_says_of_the_run():
    log = pd.DataFrame(
        [
            {"piece": piece, "firing": "f", "cone": "6", "layer": 1, "glaze": "jar plain",
             "method": "dip", "coats": 1, "lower_edge_mm": 10.0, "upper_edge_mm": 90.0,
             "foot_mm": 60.0, "run_mm": run, "past_foot": word}
            for piece, run, word in (
                ("past", np.nan, "yes"), ("fine", np.nan, "no"), ("read", 4.0, "no"),
                ("long", 400.0, "no"), ("over", 14.0, "yes"),
            )
        ]
    )  # fmt: skip
    _, found = read(log)
    assert found.past.tolist() == [1, 0, 0, 0, 1]
    low, high = 1e3 * found.lower_m[:, 0], 1e3 * found.upper_m[:, 0]
    assert low == pytest.approx([10, -np.inf, 3.5, -np.inf, 14])
    assert high == pytest.approx([np.inf, 10, 4.5, 10, np.inf])


# The fit itself, against numerical integration (scipy) and the normal of scipy.


@pytest.mark.parametrize(("lower", "upper"), [(0.3, 0.5), (1.0, np.inf), (-np.inf, -0.5)])
def test_one_coefficient_has_the_posterior_of_numerical_integration(lower, upper):
    def density(w):
        inside = sum(
            share * (stats.norm.cdf((upper - w) / scale) - stats.norm.cdf((lower - w) / scale))
            for share, scale in zip(mixture.MIX_SHARES, 0.5 * mixture.MIX_SCALES, strict=True)
        )
        return stats.norm.pdf(w) * inside

    total = quad(density, -8, 8, limit=200)[0]
    mean = quad(lambda w: w * density(w), -8, 8, limit=200)[0] / total
    variance = quad(lambda w: (w - mean) ** 2 * density(w), -8, 8, limit=200)[0] / total
    rows = fit.Evidence(
        csr_array(np.ones((1, 1))), np.array([lower]), np.array([upper]), np.zeros((1, 0))
    )
    prior = fit.Prior(np.zeros(1), np.ones(1), np.array([-1]), 0.5)
    found = fit.fit(rows, prior, rounds=0)
    # Laplace: the peak of a skewed posterior lies beside its mean.
    assert found.mean[0] == pytest.approx(mean, abs=0.25 * np.sqrt(variance))
    assert np.sqrt(found.covariance[0, 0]) == pytest.approx(np.sqrt(variance), rel=0.25)


def test_a_coefficient_that_widens_intervals_has_the_posterior_of_numerical_integration():
    """Intervals of half a unit that grow with e to the coefficient, seen where they are."""
    middle, half = np.array([0.3, -0.4, 0.9, 0.1]), 0.25

    def density(w):
        wide = half * np.exp(0.5 * w)
        inside = sum(
            share * (stats.norm.cdf((middle + wide) / s) - stats.norm.cdf((middle - wide) / s))
            for share, s in zip(mixture.MIX_SHARES, 0.5 * mixture.MIX_SCALES, strict=True)
        )
        return stats.norm.pdf(w) * inside.prod()

    total = quad(density, -8, 8, limit=200)[0]
    mean = quad(lambda w: w * density(w), -8, 8, limit=200)[0] / total
    rows = fit.Evidence(
        csr_array((4, 1)), middle - half, middle + half, np.zeros((4, 0)),
        stretch=csr_array(np.full((4, 1), 0.5)), about=np.zeros(1),
    )  # fmt: skip
    prior = fit.Prior(np.zeros(1), np.ones(1), np.array([-1]), 0.5)
    found = fit.fit(rows, prior, rounds=0)
    assert mean > 0.5
    assert found.mean[0] == pytest.approx(mean, abs=0.2)


def test_how_much_more_a_long_run_takes_is_found_and_with_it_what_passes():
    """A studio whose glaze stiffens as it runs: what a fit that kept the gaps would hide."""
    power = 0.8
    log = fired(5, firings=20, way=power)
    made, outcomes = read(log)
    studio = learn(made, Log.of(made, outcomes)).studio
    at = studio.known[("way", "")]
    sd = float(np.sqrt(studio.covariance[at, at]))
    assert abs(studio.mean[at] - np.log(power)) < 3.0 * sd
    assert sd < 0.6


@pytest.mark.parametrize("column", ["kiln", "shelf", "spot", "glazed_by", "batch"])
def test_what_is_named_besides_is_learned_and_told_apart(column):
    """Half the pots are called hot, and those ran on half the way to the foot: or nearly so."""
    log = fired(9, firings=20)
    hot = log["piece"].str[-1].astype(int) % 2 == 0
    log = log.assign(**{column: np.where(hot, "one", "two")})
    cold = fired(9, firings=20, level=-0.2)
    log = log.where(hot, cold.assign(**{column: log[column]}))
    if column == "glazed_by":
        log["thickness_mm"] = np.nan  # a hand is told by coats nobody measured
    studio = studio_of(log)
    family = {"kiln": "which kiln", "glazed_by": "glazed by"}.get(column, column)
    if column == "batch":
        ends = [(f"{jar}, one", f"{jar}, two") for jar in JARS]
    else:
        ends = [("one", "two")]
    for one, two in ends:
        at = [studio.known[(family, name)] for name in (one, two)]
        apart = studio.mean[at[0]] - studio.mean[at[1]]
        assert apart > 0
        plain = studio_of(log.drop(columns=column))
        assert not any(name == (family, one) for name in plain.known)


def test_normal_chances_are_those_of_scipy():
    z = np.linspace(-8, 8, 4001)
    assert mixture.normal_below(z) == pytest.approx(stats.norm.cdf(z), abs=3e-7)
    assert (np.diff(mixture.normal_below(z)) >= -1e-9).all()


@pytest.mark.parametrize("level", [0.05, 0.5, 0.95])
def test_a_quantile_is_where_the_chance_is(level):
    variance, own = np.array([0.2, 1.0]), np.array([0.5, 0.1])
    at = mixture.quantile(level, variance, own, mixture.MIX_SHARES)
    above = mixture.chance_above(-at, variance, own, mixture.MIX_SHARES)
    assert above == pytest.approx(1.0 - level, abs=1e-5)


def rows_of(lower, upper):
    count = len(lower)
    return fit.Evidence(
        design=csr_array(np.ones((count, 1))), lower=np.array(lower), upper=np.array(upper),
        parts=np.zeros((count, 0)),
    )  # fmt: skip


ONE_EFFECT = fit.Prior(np.zeros(1), np.ones(1), np.array([-1]), 0.4)


def test_an_interval_the_wrong_way_round_counts_as_turned():
    """A film may need a hair more for the nearer end of a reading than for the farther one."""
    turned = fit.fit(rows_of([1.7546, -np.inf], [1.7436, 2.0]), ONE_EFFECT)
    right = fit.fit(rows_of([1.7436, -np.inf], [1.7546, 2.0]), ONE_EFFECT)
    assert turned.mean == pytest.approx(right.mean, abs=1e-9)
    assert np.isfinite(turned.covariance).all()


def test_no_step_of_the_fit_leaves_the_rows_behind():
    """A fit far from its rows walks toward them, and never beyond what they can mean."""
    far = fit.fit(rows_of([40.0, 41.0, 39.0], [40.1, 41.1, 39.1]), ONE_EFFECT)
    assert 0.0 < far.mean[0] <= 41.1
    assert np.isfinite(far.covariance).all() and np.isfinite(far.noise_sd)


def _unmeasured(made):
    rows = made.present.sum()
    return pd.DataFrame({"run_mm": np.full(rows, np.nan), "past_foot": [""] * rows})


def test_where_no_edge_is_known_all_stays_as_it_is_expected():
    made = stacks_of(features_of(*_checked(pieces(3, 12))))
    learned = learn(made, Log.of(made, outcomes_of(_unmeasured(made), made)))
    expected = RulesPredictor.studio.terms([made])
    assert learned.sound and learned.weight.size == 0
    means = [expected.mean[expected.known[effect]] for effect in learned.studio.known]
    assert learned.studio.mean == pytest.approx(np.array(means))


def test_what_bends_the_film_widens_an_interval_as_far_as_a_line_is_trusted():
    one = csr_array(np.ones((1, 1)))
    rows = fit.Evidence(one, np.array([-1.0]), np.array([1.0]), np.zeros((1, 0)), one, np.zeros(1))
    for step, free in ((0.5, 1.0), (-0.5, 1.0), (fit.MOST_STRETCH + 1.0, 0.0)):
        lower, upper, may_widen = rows.ends(np.array([step]))
        assert upper == pytest.approx(np.exp(min(step, fit.MOST_STRETCH)))
        assert lower == pytest.approx(-upper) and may_widen == free
