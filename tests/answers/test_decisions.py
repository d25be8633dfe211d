"""Decisions: safe when they say so, and no more cautious than their step."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from helpers.pieces import MANY_HOLDS, pieces, stacks

from runpredict.answers import decisions
from runpredict.answers.decisions import Ask
from runpredict.model.predictors import RulesPredictor

pytestmark = MANY_HOLDS

PIECES = 600
TOLERANCES = (0.01, 0.05, 0.2, 0.5)
STEP_M = decisions.STEP_M


@pytest.fixture(scope="module")
def ask():
    made = stacks(pieces(21, PIECES))
    return Ask(made, RulesPredictor().chances(made), 0.05)


def risk(ask, changed=None):
    return ask.risk(ask.stacks if changed is None else changed)


def test_wax_height_never_falls_as_tolerance_shrinks(ask):
    heights = [decisions.wax_height_m(replace(ask, tolerance=t)) for t in TOLERANCES]
    for strict, lax in pairwise(np.nan_to_num(heights, nan=np.inf)):
        assert (strict >= lax).all()
        assert (strict > lax).any()


@pytest.mark.parametrize("tolerance", TOLERANCES)
def test_wax_height_is_safe_and_the_least_that_is(ask, tolerance):
    ask = replace(ask, tolerance=tolerance)
    wax_m = decisions.wax_height_m(ask)
    helped = ~np.isnan(wax_m)
    assert 0 < helped.sum() < PIECES
    applied = risk(ask, decisions.with_band(ask.stacks, np.where(helped, wax_m, 0.0)))
    assert (applied[helped] <= tolerance).all()
    less = np.maximum(wax_m - STEP_M, 0.0)
    some = helped & (wax_m > 0)
    assert some.any()
    barer = risk(ask, decisions.with_band(ask.stacks, np.where(some, less, 0.0)))
    assert (barer[some] > tolerance).all()
    # Where wax alone is said not to help, a third of the wall bare is too little indeed.
    top_m = np.where(ask.stacks.present, ask.stacks.upper_m, 0.0).max(axis=1)
    most = STEP_M * np.floor(decisions.MOST_WAX_SHARE * top_m / STEP_M)
    assert (risk(ask, decisions.with_band(ask.stacks, most))[~helped] > tolerance).all()


def test_lowest_edge_is_safe_and_the_lowest_that_is(ask):
    for k in range(ask.stacks.present.shape[1]):
        layer = np.full(PIECES, k)
        edge_m = decisions.lowest_edge_m(ask, layer)
        found = ~np.isnan(edge_m) & ask.stacks.glazed[:, k]
        assert found.any()
        at = decisions.with_edge(ask.stacks, layer, np.where(found, edge_m, 1.0))
        assert (risk(ask, at)[found] <= ask.tolerance).all()
        # A layer that is short as planned has nowhere to go and stays where it is safe.
        long = ask.stacks.upper_m[:, k] - edge_m >= decisions.LEAST_LAYER_M
        lower = found & (edge_m > 0) & long
        below = decisions.with_edge(ask.stacks, layer, np.where(lower, edge_m - STEP_M, 1.0))
        assert (risk(ask, below)[lower] > ask.tolerance).all()


def test_most_coats_are_safe_and_the_most_that_are(ask):
    for k in range(ask.stacks.present.shape[1]):
        layer = np.full(PIECES, k)
        ratio = ask.stacks.coat_ratio[:, k]
        coats = decisions.most_coats(ask, layer)
        some = (coats >= 1) & ask.stacks.glazed[:, k]
        assert some.any()

        def with_coats(number, layer=layer, ratio=ratio):
            factor = ratio[np.arange(PIECES), np.clip(number, 1, ratio.shape[1]).astype(int) - 1]
            return risk(ask, decisions.with_thickness(ask.stacks, layer, factor))

        assert (with_coats(coats)[some] <= ask.tolerance).all()
        more = some & (coats < ratio.shape[1])
        assert (with_coats(coats + 1)[more] > ask.tolerance).all()
        assert (with_coats(np.ones(PIECES))[(coats == 0) & ask.stacks.glazed[:, k]] > 0.05).all()


def test_a_shorter_hold_is_that_of_a_firing_planned_so():
    plan = pieces(22, 60).assign(hold_min=30.0)
    cut = decisions.with_hold(stacks(plan), np.full(60, 12.0))
    planned = stacks(plan.assign(hold_min=12.0))
    assert cut.mobility_per_m == pytest.approx(planned.mobility_per_m, rel=1e-9)


def test_the_least_number_of_steps_is_found_as_by_trying_each():
    """Any falling risk, smooth or in leaps."""
    rng = np.random.default_rng(3)
    steps = rng.integers(0, 60, 300)
    falls = np.sort(rng.random((300, 61)), axis=1)[:, ::-1] ** rng.choice([1, 8], (300, 1))
    falls[::3] = (falls[::3] > 0.4) * 1.0
    asked = []

    def risk(count, who):
        asked.append(len(who))
        return falls[who, count]

    found = decisions.least_safe(risk, 0.3, falls[:, 0], steps)
    for i in range(300):
        safe = np.flatnonzero(falls[i, : steps[i] + 1] <= 0.3)
        assert found[i] == (safe[0] if len(safe) else -1)
    assert len(asked) < 30


class _SafeWithin:
    """Chances by which a piece is safe where its layer ends this close to where it begins."""

    def __init__(self, band_m):
        self.band_m = band_m

    def take(self, pieces):
        return self

    def piece_risk(self, changed):
        return (changed.upper_m - changed.lower_m > self.band_m).any(axis=1).astype(float)


@pytest.mark.parametrize("band_m", [6e-3, 20e-3])
def test_no_edge_is_told_that_leaves_less_than_a_layer(band_m):
    made = stacks(pieces(22, 40, most_layers=1))
    made = made.take(np.flatnonzero(made.upper_m[:, 0] - made.lower_m[:, 0] > 25e-3))
    edge_m = decisions.lowest_edge_m(
        Ask(made, _SafeWithin(band_m), 0.05), np.zeros(len(made.hold_min), dtype=np.intp)
    )
    if band_m < decisions.LEAST_LAYER_M:
        assert np.isnan(edge_m).all()
    else:
        assert (made.upper_m[:, 0] - edge_m <= band_m + 1e-9).all()
        assert (made.upper_m[:, 0] - edge_m > band_m - 2 * STEP_M).all()


def test_no_layer_reaches_into_a_band(ask):
    band_m = np.full(PIECES, 25e-3)
    banded, glazed = decisions.with_band(ask.stacks, band_m), ask.stacks.glazed
    floor = np.minimum(band_m[:, None], ask.stacks.upper_m)
    assert (banded.lower_m >= floor - 1e-12)[glazed].all()
    assert (glazed & (ask.stacks.lower_m < floor)).sum(axis=1).max() > 1
