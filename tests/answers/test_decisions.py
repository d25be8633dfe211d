"""Decisions: safe when they say so, and no more cautious than their step."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from helpers.pieces import pieces, stacks

from runpredict.answers import decisions
from runpredict.answers.decisions import Ask
from runpredict.model.rules import RulesPredictor

PIECES = 600
TOLERANCES = (0.01, 0.05, 0.2, 0.5)
STEP_M = decisions.STEP_M


@pytest.fixture(scope="module")
def ask():
    made = stacks(pieces(21, PIECES))
    return Ask(made, RulesPredictor().draws(made), 0.05)


def risk(ask, changed=None):
    return ask.draws.risk(ask.stacks if changed is None else changed)[1]


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
    # Where wax alone is said not to help, half of the glazed wall bare is too little indeed.
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
        lower = found & (edge_m > 0)
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


def test_longest_hold_is_safe(ask):
    hold = decisions.most_hold_min(ask)
    found = ~np.isnan(hold)
    assert (hold[found] <= ask.stacks.hold_min[found]).all()
    shorter = decisions.with_hold(ask.stacks, np.where(found, hold, 0.0))
    assert (risk(ask, shorter)[found] <= ask.tolerance).all()
    assert (risk(ask, shorter)[~found] > ask.tolerance).all()
    cut = found & (hold < ask.stacks.hold_min)
    assert cut.any()
    assert (risk(ask, decisions.with_hold(ask.stacks, hold + 1.0))[cut] > ask.tolerance).all()


def test_a_shorter_hold_is_that_of_a_firing_planned_so():
    plan = pieces(22, 60).assign(hold_min=30.0)
    cut = decisions.with_hold(stacks(plan), np.full(60, 12.0))
    planned = stacks(plan.assign(hold_min=12.0))
    assert cut.mobility_per_m == pytest.approx(planned.mobility_per_m, rel=1e-9)


def test_the_cheapest_change_makes_the_piece_safe(ask):
    before = risk(ask)
    wax_m = decisions.wax_height_m(ask)
    changes = decisions.cheapest_change(ask, before, wax_m)
    kinds = np.array([change.kind for change in changes])
    assert {"none", "edge", "coat", "wax", "cookie"} <= set(kinds)
    assert ((kinds == "none") == (before <= ask.tolerance)).all()
    assert np.isnan(wax_m[kinds == "cookie"]).all()
    for i in range(PIECES):
        one, change = ask.take(np.array([i])), changes[i]
        layer, amount = np.array([change.layer]), np.array([change.amount])
        if change.kind == "edge":
            assert amount[0] > ask.stacks.lower_m[i, change.layer]
            changed = decisions.with_edge(one.stacks, layer, amount)
        elif change.kind == "coat":
            assert amount[0] == ask.stacks.coats[i, change.layer] - 1
            ratio = one.stacks.coat_ratio[0, change.layer, int(amount[0]) - 1]
            changed = decisions.with_thickness(one.stacks, layer, np.array([ratio]))
        elif change.kind == "wax":
            changed = decisions.with_band(one.stacks, amount)
        elif change.kind == "hold":
            changed = decisions.with_hold(one.stacks, amount)
        else:
            continue
        assert risk(one, changed)[0] <= ask.tolerance


def test_changes_are_tried_in_a_potters_order(ask):
    """What stops at a later change was not made safe by an earlier one."""
    before = risk(ask)
    changes = decisions.cheapest_change(ask, before, decisions.wax_height_m(ask))
    top = decisions.top_layer(ask.stacks)
    edge = decisions.lowest_edge_m(ask, top)
    for i, change in enumerate(changes):
        several = ask.stacks.present[i].sum() > 1
        if change.kind not in ("none", "edge") and several:
            assert np.isnan(edge[i])


def test_a_cookie_holds_what_may_run():
    """The puddle's volume on the ring between foot and bare rim is the glaze it must hold."""
    past_m3 = np.array([0.0, 1e-6, 8e-6, 40e-6])
    foot_m, depth_m = np.full(4, 0.07), np.full(4, 5e-3)
    diameter, height = decisions.cookie_size_m(past_m3, foot_m, depth_m)
    inner = diameter - 2 * decisions.COOKIE_RIM_M
    assert np.pi / 4 * (inner**2 - foot_m**2) * depth_m == pytest.approx(past_m3, abs=1e-12)
    assert (np.diff(diameter) > 0).all()
    assert (np.diff(height) >= 0).all()
    assert diameter[0] == pytest.approx(0.07 + 2 * decisions.COOKIE_RIM_M)


def test_words_for_a_cookie():
    words = decisions.cookie_word(
        np.array([0.04, 0.10, 0.10, 0.30]), np.array([0.01, 0.01, np.nan, 0.01]), 0.05
    )
    assert words.tolist() == ["none", "advised", "needed", "needed"]
