"""Sums over the rows of a design, against those of the same rows written out in full."""

import numpy as np
import pytest
from scipy.sparse import csr_array

from runpredict.model import effects
from runpredict.model.design import ROWS_AT_ONCE, Rows


def in_full(seed, rows, columns):
    """Two columns that every row has, the rest hardly any."""
    rng = np.random.default_rng(seed)
    full = rng.normal(size=(rows, columns))
    full[:, 2:] *= rng.random((rows, max(columns - 2, 0))) < 0.1
    return rng, full


@pytest.mark.parametrize(
    ("rows", "columns"), [(40, 30), (ROWS_AT_ONCE + 7, 12), (5, 1), (30, 2), (0, 4)]
)
def test_sums_are_those_of_the_rows_in_full(rows, columns):
    rng, full = in_full(1, rows, columns)
    made = Rows(csr_array(full))
    effects, weight = rng.normal(size=columns), rng.random(rows)
    root = rng.normal(size=(columns, columns))
    covariance = root @ root.T
    assert made.times(effects) == pytest.approx(full @ effects)
    assert made.gathered(weight) == pytest.approx(full.T @ weight)
    assert made.square(weight) == pytest.approx((full.T * weight) @ full)
    assert made.spread(covariance) == pytest.approx(((full @ covariance) * full).sum(axis=1))


def test_rows_that_are_all_seldom_are_summed_as_well():
    full = np.eye(9)
    assert Rows(csr_array(full)).square(np.arange(9.0)) == pytest.approx(np.diag(np.arange(9.0)))
    assert Rows(csr_array(full)).spread(2.0 * np.eye(9)) == pytest.approx(np.full(9, 2.0))


def test_the_inner_of_two_equal_layers_carries_seven_eighths_of_what_moves():
    """It moves all above it: by the cube of the depth (Nusselt 1916), 2³ - 1³ to 1³."""
    both = effects.Moving(np.ones((1, 1, 2), dtype=bool), np.ones((1, 1), dtype=bool))
    assert both.shares(np.zeros((1, 2)), 0.0)[0, 0] == pytest.approx([7 / 8, 1 / 8])
    assert both.shares(np.zeros((1, 2)), 1.0)[0, 0] == pytest.approx([1 / 2, 1 / 2])
