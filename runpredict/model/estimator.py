"""A scikit-learn classifier for censored margins, the statistics of `learned` for any design."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy import sparse
from scipy.special import ndtr
from sklearn.base import BaseEstimator, ClassifierMixin
from sklearn.utils.multiclass import check_classification_targets
from sklearn.utils.validation import check_is_fitted, validate_data

from runpredict.arrays import AnyArray, Floats
from runpredict.model import sampler


class CensoredMarginClassifier(ClassifierMixin, BaseEstimator):  # type: ignore[misc]
    """Whether a margin, linear in the features, is above 0, from margins seen as intervals.

    Parameters
    ----------
    prior_mean, prior_sd : float or array_like, shape (features,)
        Of the coefficients.
    intercept_sd : float
        Of the intercept about 0.
    group_sd, unit_sd, noise_sd : float
        Expected spread of what the rows of a group, and of a unit, have in common, and of each
        row's own; the rows correct them.
    sweeps, draws : int
        Of the sampler, and kept.
    random_state : int

    Attributes
    ----------
    classes_ : ndarray, shape (2,)
        The second is the one for which the margin is above 0.
    coef_draws_ : ndarray, shape (features, draws)
    intercept_draws_, spread_draws_ : ndarray, shape (draws,)
        Equally likely intercepts, and spreads of the margin of a row of a new group.
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
        unit_sd: float = 0.33,
        noise_sd: float = 0.4,
        sweeps: int = 300,
        draws: int = 100,
        random_state: int = 0,
    ) -> None:
        self.prior_mean = prior_mean
        self.prior_sd = prior_sd
        self.intercept_sd = intercept_sd
        self.group_sd = group_sd
        self.unit_sd = unit_sd
        self.noise_sd = noise_sd
        self.sweeps = sweeps
        self.draws = draws
        self.random_state = random_state

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
        units: ArrayLike | None = None,
    ) -> CensoredMarginClassifier:
        """Draw the coefficients.

        Parameters
        ----------
        X : array_like, shape (rows, features)
        y : array_like, shape (rows,)
            Two classes; the second in sorted order is the one above 0.
        margin_lower, margin_upper : array_like, shape (rows,), optional
            Interval each margin was seen in; without them, the side of 0 that ``y`` says.
        groups, units : array_like, shape (rows,), optional
            Rows that have something in common: firings, pieces.

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
        numbered = [
            np.arange(n) if names is None else np.unique(np.asarray(names), return_inverse=True)[1]
            for names in (groups, units)
        ]
        found = sampler.sample(
            sampler.Evidence(
                design=sparse.csr_array(np.column_stack([X, np.ones(n)])),
                lower=lower.astype(float),
                upper=upper.astype(float),
                own_variance=np.zeros(n),
                firing=np.zeros(n, dtype=np.intp) if groups is None else numbered[0],
                piece=numbered[1],
            ),
            sampler.Prior(
                mean=np.append(np.broadcast_to(np.asarray(self.prior_mean, dtype=float), p), 0.0),
                sd=np.append(
                    np.broadcast_to(np.asarray(self.prior_sd, dtype=float), p), self.intercept_sd
                ),
                alike=[],
                firing_sd=self.group_sd,
                piece_sd=self.unit_sd,
                noise_sd=self.noise_sd,
            ),
            self.sweeps,
            self.draws,
            self.random_state,
        )
        self.coef_draws_ = found.effects[:-1]
        self.intercept_draws_ = found.effects[-1]
        if groups is None:
            self.intercept_draws_ = self.intercept_draws_ + found.firings[0]
        group_sd = found.firing_sd if groups is not None else 0.0
        self.spread_draws_ = np.sqrt(group_sd**2 + found.piece_sd**2 + found.noise_sd**2)
        return self

    def _margins(self, X: Any) -> Floats:
        check_is_fitted(self)
        X = validate_data(self, X, dtype=float, reset=False)
        return np.asarray(X @ self.coef_draws_ + self.intercept_draws_, dtype=float)

    def predict_proba(self, X: Any) -> Floats:
        """Chance of each class, shape (rows, 2), or (rows, 1) where only one was seen."""
        above = ndtr(self._margins(X) / self.spread_draws_).mean(axis=1)
        if len(self.classes_) == 1:
            return np.ones((len(above), 1))
        return np.column_stack([1.0 - above, above])

    def predict(self, X: Any) -> AnyArray:
        """The likelier class of each row, shape (rows,)."""
        chances = self.predict_proba(X)
        return np.asarray(self.classes_[chances.argmax(axis=1)])

    def predict_quantiles(self, X: Any, levels: Any = (0.05, 0.5, 0.95)) -> Floats:
        """Quantiles of each row's margin, shape (rows, levels)."""
        margins = self._margins(X)
        noise = np.random.default_rng(self.random_state).standard_normal(margins.shape)
        return np.quantile(margins + noise * self.spread_draws_, levels, axis=1).T
