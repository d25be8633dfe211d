"""Metals in a glaze that call for caution."""

import math

import pandas as pd
import pytest

from runpredict.datafiles import OXIDES, packaged_rows
from runpredict.physics.cautions import cautions_of
from runpredict.physics.chemistry import recipe_oxides_wt

CLEAR = {"SiO2": 65.0, "Al2O3": 15.0, "CaO": 20.0}


@pytest.mark.parametrize(
    ("oxide", "metal"),
    [
        ("PbO", "lead"),
        ("BaO", "barium"),
        ("MnO", "manganese"),
        ("Cr2O3", "chromium"),
        ("Li2O", "lithium"),
        ("NiO", "nickel"),
        ("CoO", "cobalt"),
        ("CuO", "copper"),
    ],
)
def test_a_metal_above_a_trace_is_named_with_its_share(oxide, metal):
    # Which metals: common practice, no source.
    found = cautions_of(pd.Series({**CLEAR, oxide: 0.5}))
    assert [(one.metal, one.oxide, one.share_wt) for one in found] == [(metal, oxide, 0.5)]
    assert cautions_of(pd.Series({**CLEAR, oxide: 0.005})) == []


def test_the_gravest_comes_first_and_blanks_are_none_of_it():
    oxides = pd.Series({**CLEAR, "CoO": 1.0, "PbO": 20.0, "MnO": math.nan})
    assert [one.metal for one in cautions_of(oxides)] == ["lead", "cobalt"]
    assert "food" in cautions_of(oxides)[0].harm


def test_metals_that_are_no_oxide_here_are_found_by_the_name_of_a_material():
    found = cautions_of(pd.Series(CLEAR), ["Silica", "Cadmium stain", "VANADIUM pentoxide"])
    assert [one.metal for one in found] == ["cadmium", "vanadium"]
    assert all(math.isnan(one.share_wt) for one in found)
    # "leadless" is no lead.
    assert cautions_of(pd.Series(CLEAR), ["leadless frit"]) == []


def test_a_recipe_of_colourants_holds_what_was_weighed():
    recipes = pd.DataFrame(
        {
            "glaze": "g",
            "material": ["wollastonite", "Manganese Dioxide", "Barium Carb"],
            "parts": [90.0, 5.0, 10.0],
        }
    )
    found = {one.metal: one for one in cautions_of(recipe_oxides_wt(recipes).loc["g"])}
    assert set(found) == {"manganese", "barium"}
    # 5 g MnO2 leave 5 x 70.94/86.94 g MnO, 10 g BaCO3 leave 10 x 153.3/197.3 g BaO, by hand.
    mno, bao = 5 * 70.94 / 86.94, 10 * 153.3 / 197.3
    assert found["manganese"].share_wt == pytest.approx(100 * mno / (90 + mno + bao), rel=1e-3)
    assert found["barium"].share_wt == pytest.approx(100 * bao / (90 + mno + bao), rel=1e-3)


def test_every_caution_has_its_source_and_names_an_oxide_that_is_read():
    for row in packaged_rows("cautions.csv"):
        assert row["source"]
        assert row["harm"]
        assert (row["oxide"] in OXIDES) == bool(row["trace_wt"])
