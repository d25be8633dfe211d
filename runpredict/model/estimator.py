"""A scikit-learn classifier for censored margins, the statistics of `learned` for any design."""

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
from runpredict.model.mixture import chance_above, quantile


class CensoredMarginClassifier(ClassifierMixin, BaseEstimator):  # type: ignore[misc]
    """Whether a margin, linear in the features, is above 0, from margins seen as intervals.

    Parameters
    ----------
    prior_mean, prior_sd : float or array_like, shape (features,)
        Of the coefficients.
    intercept_sd : float
        Of the intercept about 0.
    group_sd, noise_sd : float
        Expected spread of what the rows of a group have in common, and of each row's own; the
        rows correct them.

    Attributes
    ----------
    classes_ : ndarray, shape (2,)
        The second is the one for which the margin is above 0.
    coef_, coef_covariance_ : ndarray, shape (features,), (features + 1, features + 1)
        The last row and column of the covariance belong to the intercept.
    intercept_, noise_sd_, group_sd_ : float
    mix_ : ndarray, shape (3,)
        Shares of the parts of the noise, see `mixture`.
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
        intercept_sd: float = 3.0,
        group_sd: float = 0.25,
        noise_sd: float = 0.5,
    ) -> None:
        self.prior_mean = prior_mean
        self.prior_sd = prior_sd
        self.intercept_sd = intercept_sd
        self.group_sd = group_sd
        self.noise_sd = noise_sd

    def __sklearn_tags__(self) -> Any:
        """Two classes only."""
        tags = super().__sklearn_tags__()
        tags.classifier_tags.multi_class = False
        return tags

    def fit(
        self,
        X: Any,
        y: Any,
        margin_lower: ArrayLike | None = None,
        margin_upper: ArrayLike | None = None,
        groups: ArrayLike | None = None,
    ) -> CensoredMarginClassifier:
        """Fit the coefficients.

        Parameters
        ----------
        X : array_like, shape (rows, features)
        y : array_like, shape (rows,)
            Two classes; the second in sorted order is the one above 0.
        margin_lower, margin_upper : array_like, shape (rows,), optional
            Interval each margin was seen in; without them, the side of 0 that ``y`` says.
        groups : array_like, shape (rows,), optional
            Rows that have something in common: firings.

        Returns
        -------
        self

        Raises
        ------
        ValueError : more than two classes, or an interval that is none.
        """
        X, y = validate_data(self, X, y, dtype=float)
        check_classification_targets(y)
        self.classes_, side = np.unique(y, return_inverse=True)
        if len(self.classes_) > 2:
            raise ValueError(
                "Only binary classification is supported. The type of the target is multiclass."
            )
        above = side == 1 if len(self.classes_) == 2 else np.ones(len(side), dtype=bool)
        lower = np.where(above, 0.0, -np.inf) if margin_lower is None else np.asarray(margin_lower)
        upper = np.where(above, np.inf, 0.0) if margin_upper is None else np.asarray(margin_upper)
        if np.any(np.isnan(lower) | np.isnan(upper) | (lower > upper)):
            raise ValueError("margin_lower must not be above margin_upper, nor either missing.")
        n, p = X.shape
        columns = [sparse.csr_array(np.column_stack([X, np.ones(n)]))]
        count = 0
        if groups is not None:
            numbers = np.unique(np.asarray(groups), return_inverse=True)[1]
            count = int(numbers.max()) + 1
            columns.append(sparse.csr_array((np.ones(n), (np.arange(n), numbers)), (n, count)))
        mean = np.broadcast_to(np.asarray(self.prior_mean, dtype=float), p)
        sd = np.broadcast_to(np.asarray(self.prior_sd, dtype=float), p)
        fitted = fit.fit(
            fit.Evidence(
                design=sparse.hstack(columns, format="csr"),
                lower=lower.astype(float),
                upper=upper.astype(float),
                parts=np.zeros((n, 0)),
            ),
            fit.Prior(
                mean=np.concatenate([mean, np.zeros(1 + count)]),
                sd=np.concatenate([sd, [self.intercept_sd], np.full(count, self.group_sd)]),
                family=np.concatenate([np.full(p + 1, -1), np.zeros(count, dtype=np.intp)]),
                noise_sd=self.noise_sd,
            ),
        )
        self.coef_, self.intercept_ = fitted.mean[:p], float(fitted.mean[p])
        self.coef_covariance_ = fitted.covariance[: p + 1, : p + 1]
        self.noise_sd_, self.mix_ = fitted.noise_sd, fitted.mix
        self.group_sd_ = float(fitted.sd[-1]) if count else 0.0
        return self

    def _margins(self, X: Any) -> tuple[Floats, Floats]:
        """Mean of each row's margin, and the variance of what is not known of it."""
        check_is_fitted(self)
        X = validate_data(self, X, dtype=float, reset=False)
        rows = np.column_stack([X, np.ones(len(X))])
        variance = ((rows @ self.coef_covariance_) * rows).sum(axis=1) + self.group_sd_**2
        return np.asarray(X @ self.coef_ + self.intercept_, dtype=float), variance

    def predict_proba(self, X: Any) -> Floats:
        """Chance of each class, shape (rows, 2), or (rows, 1) where only one was seen."""
        mean, variance = self._margins(X)
        noise = np.full(len(mean), self.noise_sd_**2)
        above = chance_above(mean, variance, noise, self.mix_)
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
