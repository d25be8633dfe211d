"""From tables to one numeric row a layer."""

import warnings

import numpy as np
import pandas as pd
import pytest
from helpers.pieces import MANY_HOLDS, glazes, pieces, stacks
from helpers.tables import ANALYSIS, layers

from runpredict import build_features, unity_formula
from runpredict.errors import TableWarning
from runpredict.model.features import (
    FIRED_SHARE,
    FIRST_COAT_MM,
    NEXT_COAT_MM,
    features_of,
    typical_thickness_mm,
)
from runpredict.model.stacks import stacks_of
from runpredict.physics.dipping import ORDINARY, dipped_mm

pytestmark = MANY_HOLDS

METHODS = ("dip", "pour", "brush", "spray")


@pytest.fixture(scope="module")
def rows():
    return build_features(pieces(41, 500), glazes())


def test_every_row_is_finite_and_sane(rows):
    numbers = rows[
        ["peak_c", "viscosity_log10_pa_s", "fluidity_per_pa", "mobility_per_m", "thickness_mm"]
    ]
    assert np.isfinite(numbers).all(axis=None)
    assert rows["peak_c"].between(1000, 1320).all()
    # Silicate melts: 2.2 to 3.0 g/cm³ and 0.2 to 0.45 N/m (glass handbooks, from memory).
    assert rows["density_kg_m3"].between(2100, 3100).all()
    assert rows["surface_tension_n_m"].between(0.2, 0.45).all()
    assert (rows["viscosity_sd_log10"] > 0).all()


@pytest.mark.parametrize("method", METHODS)
def test_thickness_of_coats(method):
    """A dipped coat is 0.3 to 0.6 mm dry, a brushed or sprayed one a third of it or less.

    Common practice, no source.
    """
    thick = typical_thickness_mm([method] * 6, np.arange(1, 7))
    assert (np.diff(thick) > 0).all()
    assert thick[0] == FIRST_COAT_MM[method]
    assert thick[1] == pytest.approx(FIRST_COAT_MM[method] + NEXT_COAT_MM[method])
    one_dip = typical_thickness_mm(["dip"], [1])[0]
    assert 0.3 <= one_dip <= 0.6
    if method in ("brush", "spray"):
        assert thick[0] <= one_dip / 3


DIP = {"method": "dip", "coats": 1, "thickness_mm": None}


def thick(*changes):
    plan = layers(*({**DIP, "piece": f"p{i}", **change} for i, change in enumerate(changes)))
    return build_features(plan, pd.DataFrame([ANALYSIS]))["thickness_mm"].tolist()


def test_a_dip_that_is_told_goes_before_the_typical_and_the_needle_before_both():
    told = {"specific_gravity": 1.55, "dip_s": 6, "absorption_pct": 14}
    plain, thicker, pricked, brushed = thick(
        {}, told, {**told, "thickness_mm": 0.5}, {"absorption_pct": 14, "method": "brush"}
    )
    assert plain == FIRST_COAT_MM["dip"]
    factor = dipped_mm(1.55, 6, 14) / dipped_mm(*ORDINARY)
    assert thicker == pytest.approx(factor * plain)
    assert pricked == 0.5 and brushed == FIRST_COAT_MM["brush"]


def test_dips_add_up_as_typical_ones_do():
    one, two = thick({"dip_s": 5}, {"dip_s": 5, "coats": 2})
    assert two / one == pytest.approx(1 + NEXT_COAT_MM["dip"] / FIRST_COAT_MM["dip"])


def test_a_measured_thickness_stands_for_itself(rows):
    plan = pieces(41, 500)
    measured = plan["thickness_mm"].notna()
    assert (rows["thickness_measured"] == measured).all()
    assert (rows.loc[measured, "thickness_mm"] == plan.loc[measured, "thickness_mm"]).all()


def test_the_glaze_shrinks_as_it_melts():
    """Half of a dry coat is pores and what burns off; common practice, no source."""
    made = stacks(layers({"thickness_mm": 0.8}), pd.DataFrame([ANALYSIS]))
    assert made.thickness_m[0, 0] == pytest.approx(FIRED_SHARE * 0.8e-3)
    assert 0.4 <= FIRED_SHARE <= 0.65


def test_unity_formula_in_brief():
    row = build_features(layers({}), pd.DataFrame([ANALYSIS])).iloc[0]
    oxides = pd.DataFrame([ANALYSIS])[["SiO2", "Al2O3", "CaO"]]
    unity = unity_formula(oxides).iloc[0]
    assert row["SiO2_per_flux_mol"] == pytest.approx(unity["SiO2"])
    assert row["Al2O3_per_flux_mol"] == pytest.approx(unity["Al2O3"])
    assert row["alkaline_earth_mol"] == pytest.approx(1.0)
    assert row["alkali_mol"] == pytest.approx(0.0)


def test_a_jar_has_no_chemistry_and_says_so(rows):
    jar = rows["glaze"].str.startswith("jar")
    assert (rows["chemistry_known"] == ~jar).all()
    assert rows.loc[jar, "SiO2_per_flux_mol"].isna().all()
    assert rows.loc[~jar, "SiO2_per_flux_mol"].notna().all()


def test_a_jar_is_taken_to_be_made_for_its_cone():
    """From cone 04 to cone 10 a jar's melt stays nearer itself than one analysed melt does."""
    table = glazes()
    cones = [{"piece": cone, "cone": cone} for cone in ("04", "6", "10")]
    seen = {
        name: build_features(layers(*[{**c, "glaze": name} for c in cones]), table)
        for name in ("jar plain", "analysis 0")
    }
    change = {k: np.ptp(rows["viscosity_log10_pa_s"]) for k, rows in seen.items()}
    assert change["jar plain"] < 0.6 * change["analysis 0"]
    assert (np.diff(seen["jar plain"]["viscosity_log10_pa_s"]) < 0).all()


def test_rows_come_back_in_any_order(rows):
    plan = pieces(41, 500)
    shuffled = plan.sample(frac=1.0, random_state=1)
    again = build_features(shuffled.reset_index(drop=True), glazes())
    again.index = shuffled.index
    pd.testing.assert_frame_equal(
        again.sort_index()[["piece", "mobility_per_m", "thickness_mm"]],
        rows[["piece", "mobility_per_m", "thickness_mm"]],
    )


def test_stacks_hold_every_row_once(rows):
    made = stacks_of(rows)
    assert made.present.sum() == len(rows)
    at = made.at
    assert made.present[at].all()
    assert made.lower_m[at] == pytest.approx(rows["lower_edge_mm"] * 1e-3)
    assert made.mobility_per_m[at] == pytest.approx(rows["mobility_per_m"])
    assert [made.glazes[code] for code in made.glaze[at]] == rows["glaze"].tolist()
    assert (made.lower_m[~made.present] == made.upper_m[~made.present]).all()
    some = made.take(np.array([3, 7]))
    assert some.piece.tolist() == made.piece[[3, 7]].tolist()
    for name in ("lower_m", "upper_m", "thickness_m", "mobility_per_m", "solid", "glazed"):
        assert getattr(some, name) == pytest.approx(getattr(made, name)[[3, 7]])
    assert some.glazes == made.glazes
    of_them = rows["piece"].isin(some.piece).to_numpy()
    assert some.lower_m[some.at] == pytest.approx(rows.loc[of_them, "lower_edge_mm"] * 1e-3)


def test_the_same_piece_name_in_two_firings_is_two_pieces():
    made = stacks(layers({}, {"firing": "f2"}), pd.DataFrame([ANALYSIS]))
    assert made.firing.tolist() == ["f1", "f2"]


def test_blanks_take_their_defaults():
    rows = features_of(*_checked(layers({"coats": 1})))
    assert rows["wall_deg"].iloc[0] == 90.0
    assert rows["hold_min"].iloc[0] == 0.0
    assert rows["thickness_mm"].iloc[0] == FIRST_COAT_MM["dip"]


def _checked(plan):
    from runpredict.tables.plan import check_plan

    tables = check_plan(plan, pd.DataFrame([ANALYSIS]))
    return tables.plan, tables.glazes


def test_a_jar_is_itself_at_the_cone_on_its_label():
    """A low-fire jar in a mid-range load is far runnier than one meant for it."""
    jars = pd.DataFrame(
        [{"glaze": cone, "source": "jar", "matures_cone": cone} for cone in ("06", "6")]
    )
    load = layers(*[{"piece": c, "glaze": c, "cone": "6"} for c in ("06", "6")])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", TableWarning)  # that it is hotter than the label
        low_fire, mid_range = build_features(load, jars)["viscosity_log10_pa_s"]
    assert low_fire < mid_range - 1.0
    cool = build_features(layers({"glaze": "06", "cone": "06"}), jars)
    own = cool["viscosity_log10_pa_s"].iloc[0]
    assert own == pytest.approx(mid_range, abs=0.3)


def test_pairs_are_layers_that_meet():
    jars = pd.DataFrame({"glaze": ["a", "b"], "source": "jar"})
    base = {"glaze": "a", "upper_edge_mm": 90.0, "lower_edge_mm": 5.0}
    over = {"glaze": "b", "layer": 2, "lower_edge_mm": 60.0, "upper_edge_mm": 90.0}
    meet, apart = layers(base, over), layers({**base, "upper_edge_mm": 50.0}, over)
    assert stacks(meet, jars).under.tolist() == [[-1, 0]]
    assert stacks(apart, jars).under.tolist() == [[-1, -1]]


def test_a_smear_is_no_layer_to_learn_from():
    jars = pd.DataFrame({"glaze": ["a", "b"], "source": "jar"})
    base = {"glaze": "a", "upper_edge_mm": 90.0, "lower_edge_mm": 5.0}
    over = {"glaze": "b", "layer": 2, "lower_edge_mm": 60.0, "upper_edge_mm": 90.0}
    whole, smear = layers(base, over), layers(base, {**over, "thickness_mm": 0.01})
    assert stacks(whole, jars).several_glazes.tolist() == [True]
    assert stacks(smear, jars).several_glazes.tolist() == [False]
