"""The estimator keeps scikit-learn's contract, and tells what intervals say."""

import numpy as np
import pytest
from sklearn.model_selection import cross_val_score
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import StandardScaler
from sklearn.utils.estimator_checks import parametrize_with_checks

from runpredict.model.estimator import CensoredMarginClassifier


@parametrize_with_checks([CensoredMarginClassifier()])
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
    with pytest.raises(ValueError, match="margin_lower"):
        CensoredMarginClassifier().fit(
            X, np.arange(30) % 2, margin_lower=np.ones(30), margin_upper=np.zeros(30)
        )
