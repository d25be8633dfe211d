"""Sparse rows of coefficients, and the sums over them that a fit needs again and again."""

from __future__ import annotations

from functools import cached_property
from typing import Any

import numpy as np
from scipy.sparse import csr_array

from runpredict.arrays import Floats, Indices
from runpredict.model.effects import Design

OFTEN = 0.25  # a column of which more than this part of the rows has something is kept in full
ROWS_AT_ONCE = 500


class Rows:
    """A design of rows by p columns.

    Parameters
    ----------
    design : sparse array, shape (rows, p)
    """

    def __init__(self, design: Any) -> None:
        self._all = csr_array(design)
        self._turned = self._all.T.tocsr()
        rows = self._all.shape[0]
        often = np.diff(self._turned.indptr) > OFTEN * rows
        self._often, self._seldom = np.flatnonzero(often), np.flatnonzero(~often)
        self._full = self._turned[self._often].toarray().T
        self._rest_turned = self._turned[self._seldom]
        self._rest = self._rest_turned.T.tocsr()
        self._entries = np.diff(self._rest.indptr)

    @cached_property
    def _padded(self) -> tuple[Indices, Floats]:
        rest = self._rest.tocoo()
        return Design(rest.row, rest.col, rest.data, rest.shape).padded()

    def times(self, effects: Floats) -> Floats:
        """Sum of the effects in each row, shape (rows,)."""
        return np.asarray(self._all @ effects, dtype=float)

    def gathered(self, weight: Floats) -> Floats:
        """Weighted sum of the rows, shape (p,)."""
        return np.asarray(self._turned @ weight, dtype=float)

    def square(self, weight: Floats) -> Floats:
        """Weighted sum of each row times itself, shape (p, p)."""
        often, seldom = self._often, self._seldom
        total = np.zeros((self._all.shape[1],) * 2)
        heavy = self._full * weight[:, None]
        total[np.ix_(often, often)] = self._full.T @ heavy
        if not self._rest.nnz:
            return total
        across = self._rest_turned @ heavy
        total[np.ix_(seldom, often)], total[np.ix_(often, seldom)] = across, across.T
        data = self._rest.data * np.repeat(weight, self._entries)
        rest = csr_array((data, self._rest.indices, self._rest.indptr), shape=self._rest.shape)
        total[np.ix_(seldom, seldom)] = (self._rest_turned @ rest).toarray()
        return total

    def spread(self, covariance: Floats) -> Floats:
        """Variance of each row, shape (rows,)."""
        often, seldom = self._often, self._seldom
        side = self._full @ covariance[np.ix_(often, often)]
        side += 2.0 * (self._rest @ covariance[np.ix_(seldom, often)])
        variance = (side * self._full).sum(axis=1)
        rest = np.ascontiguousarray(covariance[np.ix_(seldom, seldom)]).ravel()
        columns, values = self._padded
        for start in range(0, len(variance), ROWS_AT_ONCE):
            portion = slice(start, start + ROWS_AT_ONCE)
            at, by = columns[portion], values[portion]
            between = rest[at[:, :, None] * len(seldom) + at[:, None]]
            variance[portion] += ((between @ by[..., None])[..., 0] * by).sum(axis=1)
        return np.asarray(variance, dtype=float)
