"""Risk from rules: never silly, and as a potter knows it.

A log may show that one glaze holds another back (`test_learned`); the rules trust none to.
"""

import numpy as np
import pandas as pd
import pytest
from helpers.pieces import CHANGES, WORDS, glazes, pieces, risks, stacks
from hypothesis import given, settings
from hypothesis import strategies as st

from runpredict.answers.check import check
from runpredict.model import rules
from runpredict.model.rules import RulesPredictor, deviations, glaze_prior, spread_normals

PIECES = 2500
ROUNDING = 1e-9


@pytest.fixture(scope="module")
def plan():
    return pieces(1, PIECES)


@pytest.fixture(scope="module")
def before(plan):
    return risks(plan)


@pytest.mark.parametrize("change", CHANGES, ids=[change.__name__ for change in CHANGES])
def test_more_is_never_safer(plan, before, change):
    changed = change(plan, np.random.default_rng(2))
    after = risks(changed)
    for old, new in zip(before, after, strict=True):
        assert (new >= old - ROUNDING).all()
        assert (new > old + 1e-6).any()


@settings(max_examples=25)
@given(st.integers(0, 10**6), st.sampled_from(CHANGES))
def test_more_is_never_safer_whatever_the_pieces(seed, change):
    plan = pieces(seed, 40, most_layers=5)
    old, new = risks(plan), risks(change(plan, np.random.default_rng(seed)))
    assert (new[0] >= old[0] - ROUNDING).all()
    assert (new[1] >= old[1] - ROUNDING).all()


def test_a_further_layer_on_top_is_never_safer(plan, before):
    rng = np.random.default_rng(8)
    last = plan.sort_values("layer").groupby("piece", sort=False).tail(1).copy()
    last["layer"] += 1
    last["glaze"] = rng.choice(glazes()["glaze"], len(last))
    last["thickness_mm"] = rng.uniform(0.1, 1.5, len(last))
    last["lower_edge_mm"] = last["upper_edge_mm"] * rng.uniform(0.05, 0.9, len(last))
    _, piece = risks(pd.concat([plan, last], ignore_index=True))
    assert (piece >= before[1] - 1e-12).all()
    assert (piece > before[1] + 0.01).mean() > 0.3


def test_a_piece_is_at_least_its_worst_layer_and_at_most_their_sum(plan, before):
    layer, piece = before
    by_piece = pd.Series(layer).groupby(plan["piece"].to_numpy(), sort=False)
    assert ((piece >= by_piece.max() - ROUNDING) & (piece <= by_piece.sum() + ROUNDING)).all()
    assert ((layer >= 0) & (layer <= 1) & np.isfinite(layer)).all()
    assert ((piece >= 0) & (piece <= 1)).all()
    assert piece.min() < 0.01
    assert piece.max() > 0.9


def test_layers_of_a_piece_are_not_independent(plan, before):
    layer, piece = before
    spared = pd.Series(1 - layer).groupby(plan["piece"].to_numpy(), sort=False).prod().to_numpy()
    many = plan.groupby("piece", sort=False)["layer"].max().to_numpy() > 1
    assert (piece[many] <= 1 - spared[many] + 0.02).mean() > 0.95
    assert (piece[many] < 1 - spared[many] - 0.02).any()


def test_a_piece_is_told_the_same_whatever_else_is_planned(plan, before):
    single = plan.loc[plan.groupby("piece")["layer"].transform("max").eq(1)].head(30)
    layer, _ = risks(single)
    assert layer == pytest.approx(before[0][single.index], abs=1e-12)
    shuffled = plan.sample(frac=1.0, random_state=4)
    again, _ = risks(shuffled)
    assert again == pytest.approx(before[0][shuffled.index], abs=1e-12)


def test_runs_agree_with_risk(plan):
    made = stacks(plan.head(1500))
    draws = RulesPredictor().draws(made)
    runs = draws.runs_m(made)
    assert (runs >= 0).all()
    ends = np.quantile(runs, (0.05, 0.5, 0.95), axis=2)
    assert (np.diff(ends, axis=0) >= 0).all()
    risk, _ = draws.risk(made)
    passed = (runs > made.lower_m[..., None]).mean(axis=2)
    # The same spread, drawn in one and integrated in the other; 64 draws.
    assert np.abs(risk - passed)[made.glazed].max() < 0.12
    assert (risk - passed)[made.glazed].mean() == pytest.approx(0.0, abs=0.005)


def test_glaze_past_the_foot_is_some_of_what_was_there(plan):
    made = stacks(plan.head(1500))
    draws = RulesPredictor().draws(made)
    past = draws.past_foot_m3(made)
    held = (made.thickness_m * (made.upper_m - made.lower_m)).sum(axis=1) * np.pi * made.foot_m
    assert (past >= 0).all()
    assert (past <= held[:, None] * (1 + 1e-9)).all()
    runs = draws.runs_m(made)
    none_passes = (runs <= made.lower_m[..., None]).all(axis=1)
    assert (past[none_passes] <= 1e-15).all()
    assert (past[~none_passes] > 0).all()


def test_deviations_are_even_and_unlike_each_other():
    table = spread_normals(14, rules.DRAWS)
    assert table.mean(axis=1) == pytest.approx(0.0, abs=1e-12)
    assert table.std(axis=1) == pytest.approx(1.0, abs=0.03)
    assert np.abs(np.corrcoef(table) - np.eye(14)).max() < 0.2
    shared, own = deviations(3, rules.DRAWS)
    again, fewer = deviations(2, rules.DRAWS)
    assert (shared == again).all()
    assert (own[:, :2] == fewer).all()


def test_words_on_jars_order_the_risk():
    row = pieces(5, 1, most_layers=1).iloc[[0]].assign(
        cone="6", hold_min=10.0, wall_deg=88.0, lower_edge_mm=15.0, upper_edge_mm=110.0,
        method="dip", coats=2, thickness_mm=np.nan,
    )  # fmt: skip
    plan = pd.concat([row.assign(piece=w, glaze=f"jar {w}") for w in WORDS[:4]])
    _, piece = risks(plan)
    assert (np.diff(piece) > 0).all()


# Trade facts: common practice, no source. The three glazes are invented for the test.

CELADON = {"SiO2": 66.0, "Al2O3": 14.5, "B2O3": 1.5, "Na2O": 2.0, "K2O": 4.5, "CaO": 10.5,
           "Fe2O3": 1.0}  # fmt: skip
FLUX_A = {"SiO2": 51.0, "Al2O3": 8.0, "B2O3": 10.0, "Li2O": 0.8, "Na2O": 6.0, "K2O": 2.5,
          "CaO": 12.0, "ZnO": 5.0, "TiO2": 3.0, "Fe2O3": 2.0}  # fmt: skip
FLUX_B = {"SiO2": 53.0, "Al2O3": 9.0, "B2O3": 9.0, "Na2O": 7.0, "K2O": 2.0, "CaO": 11.0,
          "SrO": 3.0, "ZnO": 2.0, "TiO2": 2.0, "Fe2O3": 2.0}  # fmt: skip
TRADE = pd.DataFrame(
    [{"glaze": name, "source": "analysis", **oxides}
     for name, oxides in (("celadon", CELADON), ("flux a", FLUX_A), ("flux b", FLUX_B))]
    + [{"glaze": "jar", "source": "jar"}]
)  # fmt: skip
MUG = {"piece": "mug", "firing": "f", "cone": "5", "hold_min": 20, "wall_deg": 88, "foot_mm": 65,
       "method": "dip", "coats": 1, "lower_edge_mm": 4, "upper_edge_mm": 95}  # fmt: skip


def mug(*layers, **piece):
    rows = [{**MUG, "layer": k, **layer, **piece} for k, layer in enumerate(layers, start=1)]
    return check(pd.DataFrame(rows), TRADE)


def test_a_stiff_celadon_alone_is_low_risk():
    found = mug({"glaze": "celadon"})
    assert found.pieces["risk"].iloc[0] < 0.05
    assert found.pieces["cookie"].iloc[0] == "none"


def likely_run_m(found, layer):
    """How far a layer of one piece would run, were there no foot."""
    return float(np.median(found.predictor.draws(found.stacks).runs_m(found.stacks)[0, layer]))


def test_two_fluxes_over_each_other_are_high_risk_though_the_upper_is_an_inch_deep():
    base = {"glaze": "flux a", "lower_edge_mm": 3}
    found = mug(base, {"glaze": "flux b", "lower_edge_mm": 95 - 25.4})
    assert found.pieces["risk"].iloc[0] > 0.5
    assert found.pieces["cookie"].iloc[0] in ("needed", "dish")
    alone, under = (likely_run_m(table, 0) for table in (mug(base), found))
    assert under > 1.3 * alone


def test_the_same_top_glaze_runs_much_further_over_one_base_than_over_another():
    """Twice or so over a fluid base as over an ordinary one; further still against a celadon."""
    top = {"glaze": "flux b", "lower_edge_mm": 60}
    over = {
        base: likely_run_m(mug({"glaze": base}, top), 1)
        for base in ("celadon", "jar", "flux b", "flux a")
    }
    assert 1.5 < over["jar"] / over["celadon"] < 4
    assert 1.5 < over["flux b"] / over["jar"] < 4
    assert 1.5 < over["flux a"] / over["jar"] < 4
    assert over["flux a"] > over["flux b"]


def test_a_jar_that_nothing_is_known_of_has_a_wider_run_than_an_analysis():
    def spread(glaze):
        made = stacks(pd.DataFrame([{**MUG, "layer": 1, "glaze": glaze}]), TRADE)
        _, sd = glaze_prior(made)
        runs = RulesPredictor().draws(made).runs_m(made)[0, 0]
        return sd[0, 0], np.quantile(np.log(runs + 1e-3), 0.95) - np.log(np.median(runs) + 1e-3)

    jar, flux = spread("jar"), spread("flux a")
    assert jar[0] > flux[0]
    assert jar[1] > flux[1]
