"""The estimator keeps scikit-learn's contract, and tells what intervals say."""

import numpy as np
import pytest
import sklearn
from scipy import stats
from sklearn.model_selection import cross_val_score
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import StandardScaler
from sklearn.utils.estimator_checks import parametrize_with_checks

from runpredict.model.estimator import CensoredMarginClassifier
from runpredict.model.mixture import MIX_SCALES, MIX_SHARES

# Before 1.7 these two call a class by the row that stands first, which is another one in each of
# the two fits that they compare.
NOT_BEFORE_1_7 = [f"check_sample_weight_equivalence_on_{kind}_data" for kind in ("dense", "sparse")]
OLD = tuple(map(int, sklearn.__version__.split(".")[:2])) < (1, 7)


def at_fault(_):
    """Checks of scikit-learn that are wrong themselves, and why."""
    return dict.fromkeys(NOT_BEFORE_1_7 if OLD else [], "names classes by the order of rows")


@parametrize_with_checks([CensoredMarginClassifier()], expected_failed_checks=at_fault)
def test_keeps_the_contract(estimator, check):
    # scikit-learn's own check_estimator, one test a check.
    check(estimator)


def simulated(seed, rows=400):
    rng = np.random.default_rng(seed)
    X = rng.standard_normal((rows, 3))
    margin = X @ [1.5, -0.7, 0.0] - 0.4 + 0.5 * rng.standard_normal(rows)
    return X, margin


def test_works_in_a_pipeline_and_beats_the_base_rate():
    X, margin = simulated(0)
    model = make_pipeline(StandardScaler(), CensoredMarginClassifier())
    scores = cross_val_score(model, X, margin > 0, scoring="neg_log_loss", cv=3)
    base = np.mean(margin > 0)
    assert -scores.mean() < 0.75 * -(base * np.log(base) + (1 - base) * np.log(1 - base))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_recovers_the_coefficients_and_intervals_sharpen_them(seed):
    X, margin = simulated(seed)
    y = margin > 0
    plain = CensoredMarginClassifier().fit(X, y)
    measured = CensoredMarginClassifier().fit(
        X, y, margin_lower=np.where(y, 0, margin - 0.05), margin_upper=np.where(y, np.inf, margin)
    )
    truth = np.array([1.5, -0.7, 0.0])
    sharp, blunt = (np.sqrt(np.diag(m.coef_covariance_))[:3] for m in (measured, plain))
    assert np.all(np.abs(measured.coef_ - truth) < 3.0 * sharp)
    assert np.all(sharp < blunt)


def test_order_of_rows_does_not_matter():
    X, margin = simulated(6)
    order = np.random.default_rng(7).permutation(len(X))
    one, other = (CensoredMarginClassifier().fit(X[o], margin[o] > 0) for o in (slice(None), order))
    assert one.coef_ == pytest.approx(other.coef_, abs=1e-6)


def test_groups_share_what_they_have_in_common():
    rng = np.random.default_rng(8)
    groups = np.repeat(np.arange(60), 8)
    X, margin = simulated(9, len(groups))
    shifted = margin + rng.normal(0, 1.0, 60)[groups]
    model = CensoredMarginClassifier().fit(
        X, shifted > 0, shifted - 0.01, shifted + 0.01, groups=groups
    )
    assert 0.75 < model.group_sd_ < 1.25


def test_quantiles_hold_the_share_they_say():
    X, margin = simulated(4, 800)
    model = CensoredMarginClassifier().fit(
        X[:400], margin[:400] > 0, margin_lower=margin[:400] - 0.01, margin_upper=margin[:400]
    )
    low, middle, high = model.predict_quantiles(X[400:]).T
    assert np.all((low < middle) & (middle < high))
    assert 0.85 <= np.mean((margin[400:] >= low) & (margin[400:] <= high)) <= 0.95


def test_refuses_more_than_two_classes_and_crossed_intervals():
    X, _ = simulated(5, 30)
    with pytest.raises(ValueError, match="binary"):
        CensoredMarginClassifier().fit(X, np.arange(30) % 3)
    with pytest.raises(ValueError, match="margin_lower must not be above"):
        CensoredMarginClassifier().fit(
            X, np.arange(30) % 2, margin_lower=np.ones(30), margin_upper=np.zeros(30)
        )


def test_a_weight_counts_a_row_as_often():
    X, margin = simulated(10, 60)
    times = np.arange(60) % 4
    y, ends = margin > 0, {"margin_lower": margin - 0.1, "margin_upper": margin + 0.1}
    weighed = CensoredMarginClassifier().fit(X, y, **ends, sample_weight=times)
    again = CensoredMarginClassifier().fit(
        X.repeat(times, axis=0),
        y.repeat(times),
        **{name: end.repeat(times) for name, end in ends.items()},
    )
    assert weighed.coef_ == pytest.approx(again.coef_, abs=1e-8)
    assert weighed.noise_sd_ == pytest.approx(again.noise_sd_, abs=1e-8)
    assert weighed.mix_ == pytest.approx(again.mix_, abs=1e-8)


def test_the_decision_is_the_log_odds_of_the_chance():
    X, margin = simulated(11, 80)
    model = CensoredMarginClassifier().fit(X, margin > 0)
    chance = model.predict_proba(X)[:, 1]
    assert model.decision_function(X) == pytest.approx(np.log(chance / (1 - chance)), rel=1e-5)
    far = model.decision_function(50.0 * X)
    assert np.isfinite(far).all() and ((far > 0) == model.predict(50.0 * X)).all()


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("prior_sd", 0.0),
        ("prior_sd", [1.0, 2.0]),
        ("prior_mean", [np.nan] * 3),
        ("family", [0, 1]),
        ("noise_sd", -1.0),
        ("group_sd", np.inf),
        ("intercept_sd", 0.0),
    ],
)
def test_a_parameter_that_does_not_fit_is_named(name, value):
    X, margin = simulated(12, 20)
    with pytest.raises(ValueError, match=rf"{name} (is|has shape) .*; give "):
        CensoredMarginClassifier(**{name: value}).fit(X, margin > 0)


@pytest.mark.parametrize("weight", [np.ones(3), -np.ones(20), np.full(20, np.nan), np.zeros(20)])
def test_weights_that_are_none_are_refused(weight):
    X, margin = simulated(12, 20)
    with pytest.raises(ValueError, match=r"sample_weight has .*; give "):
        CensoredMarginClassifier().fit(X, margin > 0, sample_weight=weight)


def test_without_an_intercept_nothing_is_added():
    X, margin = simulated(13, 60)
    model = CensoredMarginClassifier(intercept_sd=None).fit(X, margin > 0)
    assert model.intercept_ == 0.0 and model.coef_covariance_.shape == (3, 3)


def _log_posterior(model, at, X, lower, upper, prior_sd):
    """Of one coefficient with mean 0, by scipy's normal, the noise as it was fitted."""
    mean = X[:, 0] * at
    chance = sum(
        share * (stats.norm.cdf(upper, mean, s) - stats.norm.cdf(lower, mean, s))
        for share, s in zip(model.mix_, MIX_SCALES * model.noise_sd_, strict=True)
    )
    return np.log(chance).sum() - 0.5 * (at / prior_sd) ** 2


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_coefficient_is_the_peak_of_the_posterior(seed):
    rng = np.random.default_rng(seed)
    X = rng.standard_normal((6, 1)) + 1.0
    lower = 2.0 * X[:, 0] + rng.normal(0, 0.4, 6)
    model = CensoredMarginClassifier(0.0, 0.5, intercept_sd=None)
    model.fit(X, np.arange(6) > 2, lower, lower + 0.3)
    around = model.coef_[0] + np.linspace(-0.4, 0.4, 81)
    heights = [_log_posterior(model, at, X, lower, lower + 0.3, 0.5) for at in around]
    assert abs(np.argmax(heights) - 40) <= 1


def test_without_evidence_all_stays_as_it_is_expected():
    X, y = np.zeros((3, 2)), np.array([False, True, True])
    model = CensoredMarginClassifier([1.0, -2.0], [0.5, 0.7], None, noise_sd=0.4, family=[0, 0])
    model.fit(X, y, np.full(3, -np.inf), np.full(3, np.inf))
    assert model.coef_ == pytest.approx([1.0, -2.0])
    assert model.fitted_.sd == pytest.approx([0.5, 0.7])
    assert model.noise_sd_ == pytest.approx(0.4) and model.mix_ == pytest.approx(MIX_SHARES)


def test_one_row_hardly_moves_what_is_expected_of_the_noise():
    model = CensoredMarginClassifier(0.0, 1.0, None, noise_sd=0.4)
    model.fit(np.ones((1, 1)), [True], [30.0], [30.1])
    assert np.abs(model.mix_ - MIX_SHARES).max() < 0.05
    assert model.fitted_.weight[0] < 0.1  # nothing explains it
    model.fit(np.ones((1, 1)), [True], [-0.1], [0.1])
    assert model.fitted_.weight[0] > 0.8


def test_noise_is_not_taken_for_smaller_where_many_coefficients_explain_it():
    """As in restricted maximum likelihood: what the coefficients took up is given back."""
    rng = np.random.default_rng(14)
    X = rng.standard_normal((90, 60))
    margin = X @ rng.normal(0, 1.0, 60) + rng.normal(0, 0.5, 90)
    model = CensoredMarginClassifier(0.0, 1.0, None, noise_sd=0.5)
    model.fit(X, margin > 0, margin - 0.01, margin + 0.01)
    assert 0.4 < model.noise_sd_ < 0.65
