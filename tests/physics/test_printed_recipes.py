"""Twenty recipes typed as books print them, beside unity formulas worked out line by line.

`published/printed_recipes.csv` keeps the working: beside each line the analysis it is taken from
[wt %] and the moles it brings, parts times weight percent over the formula weights taught in class
(60.1, 102.0, 69.6, ...; common practice, no source), the oxides of all lines summed;
`printed_recipes_unity.csv` has the sum of the fluxes and each oxide over it. Done apart from the
package. The recipes are in the manner of printed ones and invented, but for 4-3-2-1, which every
class teaches (common practice, no source).
"""

import csv
from pathlib import Path

import molmass
import pandas as pd
import pytest

from runpredict.physics.chemistry import FLUXES, recipe_oxides_wt, unity_formula
from runpredict.physics.material_words import material_names
from runpredict.physics.materials import shipped_materials

PUBLISHED = Path(__file__).parents[1] / "published"


def rows_of(name):
    return list(csv.DictReader((PUBLISHED / name).read_text(encoding="utf-8").splitlines()))


LINES = rows_of("printed_recipes.csv")
UNITY = rows_of("printed_recipes_unity.csv")


def amounts(text):
    words = text.split()
    return {oxide: float(value) for oxide, value in zip(words[::2], words[1::2], strict=True)}


def lines_of(glaze):
    return [line for line in LINES if line["glaze"] == glaze["glaze"]]


def test_there_are_twenty_from_cone_04_to_cone_10():
    assert len(UNITY) == 20
    assert {"04", "6", "10"} <= {glaze["cone"] for glaze in UNITY}


@pytest.mark.parametrize("glaze", UNITY, ids=lambda glaze: glaze["glaze"])
def test_unity_of_a_printed_recipe_is_that_worked_out_by_hand(glaze):
    lines = lines_of(glaze)
    typed = pd.DataFrame(lines)[["glaze", "material", "addition"]]
    typed["parts"] = [float(line["parts"]) for line in lines]
    ours = unity_formula(recipe_oxides_wt(typed)).iloc[0]
    by_hand = amounts(glaze["unity_mol"])
    for oxide, moles in by_hand.items():
        assert ours[oxide] == pytest.approx(moles, rel=0.03), oxide
    assert ours[[oxide for oxide in FLUXES if oxide not in by_hand]].sum() == 0.0


@pytest.mark.parametrize("glaze", UNITY, ids=lambda glaze: glaze["glaze"])
def test_the_working_adds_up(glaze):
    total = {}
    for line in lines_of(glaze):
        wt, moles = amounts(line["oxides_wt"]), amounts(line["moles"])
        assert wt.keys() == moles.keys()
        for oxide, share_wt in wt.items():
            # molmass: its own table of atomic weights.
            brought = float(line["parts"]) * share_wt / molmass.Formula(oxide).mass
            assert moles[oxide] == pytest.approx(brought, rel=2e-3)
            total[oxide] = total.get(oxide, 0.0) + moles[oxide]
    fluxes = sum(total.get(oxide, 0.0) for oxide in FLUXES)
    assert float(glaze["flux_mol"]) == pytest.approx(fluxes, rel=2e-3)
    for oxide, moles in amounts(glaze["unity_mol"]).items():
        assert moles == pytest.approx(total[oxide] / fluxes, rel=6e-3)


@pytest.mark.parametrize("line", LINES, ids=lambda line: line["material"])
def test_each_printed_word_has_the_analysis_of_the_working(line):
    found = material_names().find(line["material"])
    assert found == line["analysis_of"]
    row = shipped_materials().set_index("material").loc[found]
    for oxide, share_wt in amounts(line["oxides_wt"]).items():
        assert row[oxide] == share_wt
