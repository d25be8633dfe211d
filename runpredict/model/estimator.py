"""The fit of a log as a scikit-learn classifier: margins seen as intervals, linear in features."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy import sparse
from sklearn.base import BaseEstimator, ClassifierMixin
from sklearn.utils.multiclass import check_classification_targets
from sklearn.utils.validation import check_is_fitted, validate_data

from runpredict.arrays import AnyArray, Floats
from runpredict.model import fit
from runpredict.model.design import Rows
from runpredict.model.fit import LATER_ROUNDS, ROUNDS, Evidence, Prior
from runpredict.model.mixture import chance_above, quantile


class CensoredMarginClassifier(ClassifierMixin, BaseEstimator):  # type: ignore[misc]
    """Whether a margin, linear in the features, is above 0, from margins seen as intervals.

    Parameters
    ----------
    prior_mean, prior_sd : float or array_like, shape (features,)
        Of the coefficients.
    intercept_sd : float or None
        Of the intercept about 0; None for no intercept.
    group_sd, noise_sd : float
        Expected spread of what the rows of a group have in common, and of each row's own; the
        rows correct them.
    family : array_like of int, shape (features,), optional
        Coefficients of one family share one factor on their spread, which the rows correct; -1
        keeps its own, as all do without it.
    warm_start : bool
        Begin from the last fit: the same rows about another line.

    Attributes
    ----------
    classes_ : ndarray, shape (2,)
        The second is the one for which the margin is above 0.
    coef_, coef_covariance_ : ndarray, shape (features,), (features + 1, features + 1)
        The last row and column of the covariance belong to the intercept, where there is one.
    intercept_, noise_sd_, group_sd_ : float
    mix_ : ndarray, shape (3,)
        Shares of the parts of the noise, see `mixture`.
    fitted_ : fit.Fitted
        All of it, the spreads of families and how much each row counted included.
    n_features_in_ : int

    Examples
    --------
    >>> x = np.linspace(-2, 2, 40)[:, None]
    >>> model = CensoredMarginClassifier().fit(x, x[:, 0] > 0.5)
    >>> model.predict([[-1.0], [2.0]])
    array([False,  True])
    """

    def __init__(
        self,
        prior_mean: ArrayLike = 0.0,
        prior_sd: ArrayLike = 3.0,
        intercept_sd: float | None = 3.0,
        group_sd: float = 0.25,
        noise_sd: float = 0.5,
        family: ArrayLike | None = None,
        warm_start: bool = False,
    ) -> None:
        self.prior_mean = prior_mean
        self.prior_sd = prior_sd
        self.intercept_sd = intercept_sd
        self.group_sd = group_sd
        self.noise_sd = noise_sd
        self.family = family
        self.warm_start = warm_start

    def __sklearn_tags__(self) -> Any:
        """Two classes only; sparse features too."""
        tags = super().__sklearn_tags__()
        tags.classifier_tags.multi_class = False
        tags.input_tags.sparse = True
        return tags

    def fit(
        self,
        X: Any,
        y: Any,
        margin_lower: ArrayLike | None = None,
        margin_upper: ArrayLike | None = None,
        groups: ArrayLike | None = None,
        sample_weight: ArrayLike | None = None,
        variances: Floats | None = None,
        stretch: Any = None,
        about: Floats | None = None,
    ) -> CensoredMarginClassifier:
        """Fit the coefficients.

        Parameters
        ----------
        X : array_like or sparse array, shape (rows, features)
        y : array_like, shape (rows,)
            Two classes; the second in sorted order is the one above 0.
        margin_lower, margin_upper : array_like, shape (rows,), optional
            Interval each margin was seen in; without them, the side of 0 that ``y`` says.
        groups : array_like, shape (rows,), optional
            Rows that have something in common: firings.
        sample_weight : array_like, shape (rows,), optional
            How many rows each row counts as.
        variances : ndarray, shape (rows, q), optional
            As `fit.Evidence.parts`.
        stretch, about : optional
            As in `fit.Evidence`; not beside an intercept or groups.

        Raises
        ------
        ValueError : more than two classes, an interval or a weight that is none, a parameter that
            does not fit.
        """
        X, y = validate_data(self, X, y, accept_sparse="csr", dtype=float)
        check_classification_targets(y)
        self.classes_, side = np.unique(y, return_inverse=True)
        if len(self.classes_) > 2:
            raise ValueError(
                "Only binary classification is supported. The type of the target is multiclass."
            )
        above = side == 1 if len(self.classes_) == 2 else np.ones(len(side), dtype=bool)
        lower = np.where(above, 0.0, -np.inf) if margin_lower is None else np.asarray(margin_lower)
        upper = np.where(above, np.inf, 0.0) if margin_upper is None else np.asarray(margin_upper)
        if np.any(np.isnan(lower) | np.isnan(upper)):
            raise ValueError("margin_lower or margin_upper has a blank; leave that row out.")
        if stretch is None and np.any(lower > upper):
            raise ValueError("margin_lower must not be above margin_upper.")
        n, p = X.shape
        self.group_count_ = 0
        numbers = None
        if groups is not None:
            numbers = np.unique(np.asarray(groups), return_inverse=True)[1]
            self.group_count_ = int(numbers.max()) + 1
        evidence = Evidence(
            design=self._design(X, numbers),
            lower=lower.astype(float),
            upper=upper.astype(float),
            parts=np.zeros((n, 0)) if variances is None else variances,
            stretch=stretch,
            about=about,
            count=_weights(sample_weight, n),
        )
        start = getattr(self, "fitted_", None) if self.warm_start else None
        rounds = ROUNDS if start is None else LATER_ROUNDS
        self.fitted_ = fitted = fit.fit(evidence, self._prior(p), start, rounds)
        kept = p + (self.intercept_sd is not None)
        self.coef_, self.intercept_ = fitted.mean[:p], float(fitted.mean[p:kept].sum())
        self.coef_covariance_ = fitted.covariance[:kept, :kept]
        self.noise_sd_, self.mix_ = fitted.noise_sd, fitted.mix
        self.group_sd_ = float(fitted.sd[-1]) if self.group_count_ else 0.0
        return self

    def _prior(self, features: int) -> Prior:
        """What is expected of the coefficients, the intercept and the groups."""
        mean, sd = (
            _for_each(name, getattr(self, name), features) for name in ("prior_mean", "prior_sd")
        )
        family = _for_each("family", -1 if self.family is None else self.family, features)
        spreads = {"prior_sd": sd, "group_sd": self.group_sd, "noise_sd": self.noise_sd}
        if self.intercept_sd is not None:
            spreads["intercept_sd"] = self.intercept_sd
        for name, value in spreads.items():
            given = np.asarray(value, dtype=float)
            if not (np.isfinite(given) & (given > 0)).all():
                raise ValueError(f"{name} is {value!r}; give standard deviations above 0.")
        own = [] if self.intercept_sd is None else [self.intercept_sd]
        count = self.group_count_
        of_groups = family.max(initial=-1) + 1
        return Prior(
            mean=np.concatenate([mean, np.zeros(len(own) + count)]),
            sd=np.concatenate([sd, own, np.full(count, self.group_sd)]),
            family=np.concatenate(
                [family, np.full(len(own), -1), np.full(count, of_groups)]
            ).astype(np.intp),
            noise_sd=self.noise_sd,
        )

    def _design(self, X: Any, groups: AnyArray | None = None) -> Any:
        """Features, an intercept, and the rows' groups by number, as a sparse array."""
        n = X.shape[0]
        columns = [sparse.csr_array(X)]
        if self.intercept_sd is not None:
            columns.append(sparse.csr_array(np.ones((n, 1))))
        if groups is not None:
            place = (np.arange(n), groups)
            columns.append(sparse.csr_array((np.ones(n), place), (n, self.group_count_)))
        return columns[0] if len(columns) == 1 else sparse.hstack(columns, format="csr")

    def _margins(self, X: Any) -> tuple[Floats, Floats]:
        """Mean of each row's margin, and the variance of what is not known of it."""
        check_is_fitted(self)
        X = validate_data(self, X, accept_sparse="csr", dtype=float, reset=False)
        rows = Rows(self._design(X))
        variance = rows.spread(self.coef_covariance_) + self.group_sd_**2
        return rows.times(self.fitted_.mean[: len(self.coef_covariance_)]), variance

    def _chances(self, X: Any) -> tuple[Floats, Floats]:
        """Chance that each row's margin is below 0, and above it."""
        mean, variance = self._margins(X)
        noise = np.full(len(mean), self.noise_sd_**2)
        below, above = (chance_above(side, variance, noise, self.mix_) for side in (-mean, mean))
        return below, above

    def decision_function(self, X: Any) -> Floats:
        """Log odds that each row's margin is above 0, shape (rows,)."""
        below, above = self._chances(X)
        return np.asarray(np.log(above) - np.log(below), dtype=float)

    def predict_proba(self, X: Any) -> Floats:
        """Chance of each class, shape (rows, 2), or (rows, 1) where only one was seen."""
        above = self._chances(X)[1]
        if len(self.classes_) == 1:
            return np.ones((len(above), 1))
        return np.column_stack([1.0 - above, above])

    def predict(self, X: Any) -> AnyArray:
        """The likelier class of each row, shape (rows,)."""
        chances = self.predict_proba(X)
        return np.asarray(self.classes_[chances.argmax(axis=1)])

    def predict_quantiles(self, X: Any, levels: Any = (0.05, 0.5, 0.95)) -> Floats:
        """Quantiles of each row's margin, shape (rows, levels)."""
        mean, variance = self._margins(X)
        noise = np.full(len(mean), self.noise_sd_**2)
        return np.stack([mean + quantile(q, variance, noise, self.mix_) for q in levels], axis=1)


def _for_each(name: str, value: ArrayLike, features: int) -> Floats:
    """A parameter of each feature."""
    given = np.asarray(value, dtype=float)
    if given.shape not in ((), (features,)) or np.isnan(given).any():
        raise ValueError(f"{name} has shape {given.shape}; give one number, or {features} of them.")
    return np.broadcast_to(given, features)


def _weights(sample_weight: ArrayLike | None, rows: int) -> Floats | None:
    if sample_weight is None:
        return None
    weight = np.asarray(sample_weight, dtype=float)
    if weight.shape != (rows,):
        raise ValueError(f"sample_weight has shape {weight.shape}; give one for each of {rows}.")
    if not (np.isfinite(weight) & (weight >= 0)).all() or not weight.any():
        raise ValueError("sample_weight has to be 0 or more; give a weight above zero to some row.")
    return weight
