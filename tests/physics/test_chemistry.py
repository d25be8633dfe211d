import csv
from pathlib import Path

import molmass
import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from runpredict.datafiles import OXYGEN_PER_FLUORINE_WT, packaged_rows
from runpredict.physics.chemistry import (
    FLUXES,
    MOLAR_MASS_G_PER_MOL,
    OXIDES,
    fill_oxides,
    mole_fractions,
    oxides_wt_array,
    recipe_oxides_wt,
    unity_formula,
)
from runpredict.physics.materials import known_materials, shipped_materials
from runpredict.tables.rows import check_table

PUBLISHED = Path(__file__).parents[1] / "published"
POTASH_FELDSPAR = {"SiO2": 64.76, "Al2O3": 18.32, "K2O": 16.92}


def published(name):
    return list(csv.DictReader((PUBLISHED / name).read_text(encoding="utf-8").splitlines()))


@pytest.mark.parametrize(("oxide", "mass"), list(zip(OXIDES, MOLAR_MASS_G_PER_MOL, strict=True)))
def test_molar_masses_agree_with_a_reference_library(oxide, mass):
    # molmass: its own table of standard atomic weights.
    assert mass == pytest.approx(molmass.Formula(oxide).mass, rel=1e-4)


@pytest.mark.parametrize(
    "row", published("theoretical_minerals.csv"), ids=lambda row: f"{row['material']} {row['part']}"
)
def test_theoretical_materials_agree_with_the_handbook(row):
    materials = shipped_materials().set_index("material")
    assert materials.loc[row["material"], row["part"]] == pytest.approx(
        float(row["value_wt"]), abs=float(row["tolerance_wt"])
    )


@pytest.mark.parametrize(
    "row",
    published("cone_end_points.csv"),
    ids=lambda row: f"cone {row['cone']} {row['rate_c_per_h']}",
)
def test_cones_agree_with_reprints_of_the_chart(row):
    cones = {cone["cone"]: cone for cone in packaged_rows("cones.csv")}
    shipped_c = float(cones[row["cone"]][f"end_c_at_{row['rate_c_per_h']}_c_per_h"])
    assert shipped_c == pytest.approx(float(row["value_c"]), abs=float(row["tolerance_c"]))


def test_every_cone_from_022_to_13_is_there_and_each_is_hotter():
    rows = packaged_rows("cones.csv")
    expected = [f"0{n}" for n in range(22, 0, -1)]
    expected += [str(n) for n in range(1, 14)]
    assert [row["cone"] for row in rows] == expected
    for column in ("end_c_at_60_c_per_h", "end_c_at_150_c_per_h"):
        assert np.all(np.diff([float(row[column]) for row in rows]) > 0)
    assert all(
        float(row["end_c_at_60_c_per_h"]) < float(row["end_c_at_150_c_per_h"]) for row in rows
    )


def test_every_shipped_row_has_a_source_and_sums_to_a_hundred():
    materials = shipped_materials()
    assert materials["source"].str.len().min() > 0
    assert materials["material"].is_unique
    total_wt = materials[[*OXIDES, "loss_on_ignition"]].sum(axis=1)
    total_wt -= OXYGEN_PER_FLUORINE_WT * materials["F"].fillna(0.0)
    assert materials["lot_spread_pct"].between(0.0, 40.0).all()
    assert (materials["kind"] != "").all()
    assert total_wt.between(98.0, 100.6).all()
    for name in ("oxides.csv", "cones.csv"):
        assert all(row["source"] for row in packaged_rows(name))


def test_shipped_materials_pass_the_check_of_a_potters_own():
    analyses = shipped_materials().drop(columns=["kind", "lot_spread_pct"])
    checked = check_table(analyses, "materials")
    pd.testing.assert_frame_equal(checked[analyses.columns], analyses, check_dtype=False)


def test_feldspar_in_unity_is_one_one_six():
    unity = unity_formula(POTASH_FELDSPAR)
    # K2O.Al2O3.6SiO2, the formula of the mineral.
    assert unity["K2O"] == pytest.approx(1.0)
    assert unity["Al2O3"] == pytest.approx(1.0, abs=2e-3)
    assert unity["SiO2"] == pytest.approx(6.0, abs=1e-2)
    assert unity["silica_alumina_ratio"] == pytest.approx(6.0, abs=2e-2)


def test_recipe_in_unity_agrees_with_hand_arithmetic():
    # 40 potash feldspar, 30 silica, 20 whiting, 10 kaolin over the formula weights taught in class,
    # 556.7, 60.1, 100.1 and 258.2 (common practice, no source), worked by hand.
    recipes = pd.DataFrame(
        {
            "glaze": "clear",
            "material": [
                "potash feldspar, theoretical",
                "silica",
                "whiting",
                "kaolin, theoretical",
            ],
            "parts": [40.0, 30.0, 20.0, 10.0],
        }
    )
    unity = unity_formula(recipe_oxides_wt(recipes)).loc["clear"]
    flux_mol = 40 / 556.7 + 20 / 100.1
    assert unity["K2O"] == pytest.approx(40 / 556.7 / flux_mol, rel=2e-3)
    assert unity["CaO"] == pytest.approx(20 / 100.1 / flux_mol, rel=2e-3)
    assert unity["Al2O3"] == pytest.approx((40 / 556.7 + 10 / 258.2) / flux_mol, rel=2e-3)
    silica_mol = 6 * 40 / 556.7 + 30 / 60.1 + 2 * 10 / 258.2
    assert unity["SiO2"] == pytest.approx(silica_mol / flux_mol, rel=2e-3)
    assert unity["alkali_mol"] == unity["K2O"]
    assert unity["alkaline_earth_mol"] == unity["CaO"]


def test_loss_on_ignition_leaves_the_glaze():
    recipes = pd.DataFrame(
        {"glaze": "g", "material": ["whiting", "silica"], "parts": [100.0, 100.0]}
    )
    fired_wt = recipe_oxides_wt(recipes).loc["g"]
    # 100 g of whiting leave 56.03 g of CaO beside 100 g of silica.
    assert fired_wt["CaO"] == pytest.approx(100 * 56.03 / 156.03, abs=0.01)


def test_an_addition_is_weighed_against_the_same_hundred():
    recipes = pd.DataFrame(
        {
            "glaze": "g",
            "material": ["wollastonite", "red iron oxide"],
            "parts": [100.0, 10.0],
            "addition": ["", "yes"],
        }
    )
    assert recipe_oxides_wt(recipes).loc["g", "Fe2O3"] == pytest.approx(100 * 10 / 110)


def test_a_potters_own_material_goes_before_the_shipped_one():
    own = pd.DataFrame({"material": ["silica"], "SiO2": [90.0], "CaO": [10.0]})
    materials = known_materials(own)
    assert len(materials) == len(shipped_materials())
    recipes = pd.DataFrame({"glaze": ["g"], "material": ["silica"], "parts": [1.0]})
    assert recipe_oxides_wt(recipes, own).loc["g", "CaO"] == pytest.approx(10.0)


@pytest.mark.parametrize(
    ("oxides_wt", "sentence"),
    [
        ({"SiO2": -1.0, "CaO": 50}, "SiO2 of analysis 1 is -1"),
        ({"SiO2": 300.0}, "sum to 300"),
        ({"SiO2": 0.0}, "sum to 0"),
        ({"SiO2": np.inf}, "SiO2 of analysis 1 is inf"),
        ({"sio2": 50.0}, "misspelled; write SiO2"),
        ({"FeO": 50.0}, "is not an oxide known here"),
        (np.ones((2, 5)), "one column for each"),
        (pd.DataFrame({"glaze": ["a"]}), "names no oxide"),
    ],
)
def test_impossible_analyses_are_refused(oxides_wt, sentence):
    with pytest.raises(ValueError, match=sentence):
        oxides_wt_array(oxides_wt)


def test_a_glaze_without_flux_has_no_unity():
    with pytest.raises(ValueError, match="analysis 1 has no flux"):
        unity_formula({"SiO2": 80.0, "Al2O3": 20.0})


@pytest.mark.parametrize(
    ("material", "parts", "sentence"),
    [
        ("moon dust", 1.0, 'material "moon dust" is unknown'),
        ("silica", -1.0, "0 or more"),
        ("cellulose gum", 1.0, "nothing of glaze"),
    ],
)
def test_impossible_recipes_are_refused(material, parts, sentence):
    recipes = pd.DataFrame({"glaze": ["g"], "material": [material], "parts": [parts]})
    with pytest.raises(ValueError, match=sentence):
        recipe_oxides_wt(recipes)


def test_every_shape_of_analysis_gives_the_same():
    array = np.array([[POTASH_FELDSPAR.get(oxide, np.nan) for oxide in OXIDES]])
    frame = pd.DataFrame([POTASH_FELDSPAR], index=["felspar"])
    expected = mole_fractions(POTASH_FELDSPAR)
    for shape in (pd.Series(POTASH_FELDSPAR), frame, array, array[0]):
        np.testing.assert_array_equal(mole_fractions(shape), expected)
    unity = unity_formula(frame)
    assert list(unity.index) == ["felspar"]
    pd.testing.assert_series_equal(
        unity.loc["felspar"], unity_formula(POTASH_FELDSPAR), check_names=False
    )


def test_glazes_are_filled_from_recipe_and_analysis_and_jars_stay_unknown():
    glazes = pd.DataFrame(
        {
            "glaze": ["jar", "made", "given"],
            "source": ["jar", "recipe", "analysis"],
            "SiO2": [np.nan, np.nan, 30.0],
            "CaO": [np.nan, np.nan, 20.0],
        },
        index=[5, 6, 7],
    )
    recipes = pd.DataFrame({"glaze": ["made"], "material": ["wollastonite"], "parts": [50.0]})
    filled = fill_oxides(glazes, recipes)
    assert list(filled.index) == [5, 6, 7]
    assert filled.loc[5, list(OXIDES)].isna().all()
    assert filled.loc[6, "CaO"] == pytest.approx(48.28, abs=0.01)
    assert filled.loc[7, "SiO2"] == pytest.approx(60.0)
    with pytest.raises(ValueError, match='glaze "made" has no recipe'):
        fill_oxides(glazes)


@given(st.lists(st.floats(0.0, 100.0), min_size=24, max_size=24), st.floats(0.1, 5.0))
def test_unity_sums_to_one_and_moles_are_kept(weights, scale):
    analysis = np.array([weights])
    analysis[0, OXIDES.index("CaO")] += 1.0
    analysis *= 100.0 / analysis.sum()
    unity = unity_formula(analysis).iloc[0]
    assert unity[list(FLUXES)].sum() == pytest.approx(1.0)
    groups = ["alkali_mol", "alkaline_earth_mol", "zinc_mol", "lead_mol"]
    assert unity[groups].sum() == pytest.approx(1.0)
    # There and back: moles times molar mass give the weights again.
    back_wt = unity[list(OXIDES)].to_numpy() * MOLAR_MASS_G_PER_MOL
    np.testing.assert_allclose(100 * back_wt / back_wt.sum(), analysis[0], atol=1e-9)
    # A poorer total (more lost on firing) is the same melt.
    np.testing.assert_allclose(
        mole_fractions(analysis * min(scale, 1.0)), mole_fractions(analysis), atol=1e-12
    )
