"""How far a glaze shifts because lots of its raw materials differ."""

import numpy as np
import pandas as pd
import pytest

from runpredict.datafiles import OXIDES
from runpredict.physics.chemistry import mole_fractions, recipe_oxides_wt
from runpredict.physics.lots import lot_sd_log10, lot_spread_c
from runpredict.physics.materials import shipped_materials
from runpredict.physics.melt import melt_curve


def recipe(*lines, glaze="bog"):
    return pd.DataFrame([{"glaze": glaze, "material": m, "parts": p} for m, p in lines])


CLEAR = (("Custer feldspar", 40), ("silica", 30), ("whiting", 20), ("kaolin", 10))
BORATE = (("Gerstley borate", 40), ("nepheline syenite", 30), ("EPK", 10), ("flint", 20))
ASHY = (("wood ash", 45), ("feldspar", 30), ("ball clay", 25))


def simulated_c(lines, lots=1500):
    """Spread over drawn lots: each oxide and the loss log-normal, closed to the old total."""
    rng = np.random.default_rng(5)
    shipped = shipped_materials()
    known = shipped.set_index("material")
    melted = np.zeros((lots, len(OXIDES)))
    for word, parts in lines:
        row = known.loc[CANONICAL[word]]
        shares = row[[*OXIDES, "loss_on_ignition"]].astype(float).fillna(0.0).to_numpy()
        drawn = shares * np.exp(0.01 * row["lot_spread_pct"] * rng.normal(size=(lots, len(shares))))
        drawn *= shares.sum() / drawn.sum(axis=1, keepdims=True)
        melted += parts * drawn[:, :-1]
    return melt_curve(mole_fractions(100 * melted / melted.sum(axis=1, keepdims=True))).t3_k.std()


CANONICAL = {
    "Custer feldspar": "Custer feldspar",
    "silica": "silica",
    "whiting": "whiting",
    "kaolin": "kaolin, typical",
    "Gerstley borate": "Gerstley borate",
    "nepheline syenite": "nepheline syenite, typical",
    "EPK": "EPK kaolin",
    "flint": "silica",
    "wood ash": "wood ash, typical",
    "feldspar": "feldspar, unspecified",
    "ball clay": "ball clay, typical",
}


@pytest.mark.parametrize(
    ("lines", "within"), [(CLEAR, 0.06), (BORATE, 0.08), (ASHY, 0.25)], ids=["clear", "b", "ash"]
)
def test_spread_is_that_of_drawn_lots(lines, within):
    # A simulation of the same lots through the whole melt; to first order, so less close for ash.
    assert lot_spread_c(recipe(*lines))["bog"] == pytest.approx(simulated_c(lines), rel=within)


def test_a_recipe_of_what_differs_much_is_told_wider():
    spread = lot_spread_c(
        pd.concat([recipe(*CLEAR, glaze="clear"), recipe(*BORATE, glaze="borate"),
                   recipe(*ASHY, glaze="ashy")])
    )  # fmt: skip
    assert list(spread.index) == ["clear", "borate", "ashy"]
    assert 0 < spread["clear"] < spread["borate"] < spread["ashy"]


def test_a_bare_feldspar_is_wider_than_one_that_is_named():
    named = [("Custer feldspar", 50), ("whiting", 20), ("silica", 30)]
    spreads = [
        lot_spread_c(recipe((word, 50), *named[1:]))["bog"]
        for word in ("Custer", "potash feldspar", "feldspar")
    ]
    assert spreads == sorted(spreads)
    assert spreads[2] > 2 * spreads[1]


def test_a_pure_oxide_brings_no_spread_and_her_own_lot_none():
    pure = lot_spread_c(recipe(("silica", 60), ("zinc oxide", 40)))
    assert pure["bog"] == pytest.approx(0.0, abs=1e-9)
    own = shipped_materials().query("material in ['Custer feldspar', 'whiting', 'kaolin, typical']")
    own = own.drop(columns=["kind", "lot_spread_pct"])
    assert lot_spread_c(recipe(*CLEAR), own)["bog"] == pytest.approx(0.0, abs=1e-9)


def test_two_lines_of_one_material_are_one_lot():
    twice = recipe(("Custer", 25), ("feldspar (Custer)", 15), *CLEAR[1:])
    assert lot_spread_c(twice)["bog"] == pytest.approx(lot_spread_c(recipe(*CLEAR))["bog"])


def test_spread_in_log_viscosity_is_the_slope_where_it_is_thousand_pascal_seconds():
    curve = melt_curve(mole_fractions(recipe_oxides_wt(recipe(*CLEAR))))
    t3_c = curve.t3_k - 273.15
    assert curve.log10_pa_s(t3_c[:, None])[0, 0] == pytest.approx(3.0, abs=1e-4)
    moved = curve.log10_pa_s(t3_c[:, None] - 5.0) - curve.log10_pa_s(t3_c[:, None] + 5.0)
    assert lot_sd_log10(curve, [10.0]) == pytest.approx(moved[0, 0], rel=0.01)
