"""What could still be changed: monotone where physics is, and true to the answer."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from helpers.pictures import sample_answer, sample_tables
from helpers.tables import ANALYSIS, layers

from runpredict.answers.check import answer, check
from runpredict.answers.what_if import what_if
from runpredict.errors import BadInput

PIECES = ("mug 1", "mug 3", "vase 2", "bowl 2", "plate 1", "mug 6")


def risk_of(piece):
    pieces = sample_answer().pieces.set_index("piece")
    return pieces.loc[piece, "risk"]


@pytest.mark.parametrize("piece", PIECES)
def test_risk_never_rises_with_the_band(piece):
    table = what_if(sample_answer(), piece).by_band
    assert table["band_mm"].iloc[0] == 0.0
    assert (table["band_mm"].diff().iloc[1:] > 0).all()
    assert (table["risk"].diff().iloc[1:] <= 1e-12).all()
    assert table["risk"].iloc[-1] < table["risk"].iloc[0]


@pytest.mark.parametrize("piece", PIECES)
def test_risk_never_falls_with_coats_or_hold_and_meets_the_answer(piece):
    found = what_if(sample_answer(), piece)
    coats = found.by_coats
    for _, rows in coats.groupby("layer"):
        assert (rows["risk"].diff().iloc[1:] >= -1e-12).all()
    planned = coats.loc[coats["planned"]]
    assert planned["layer"].tolist() == sorted(coats["layer"].unique())
    assert planned["risk"].to_numpy() == pytest.approx(risk_of(piece), abs=1e-12)
    assert found.risk == risk_of(piece)
    hold = found.by_hold
    assert (hold["risk"].diff().iloc[1:] >= -1e-12).all()
    features = sample_answer().features
    minutes = features.loc[features["piece"] == piece, "hold_min"].iloc[0]
    at_plan = np.interp(minutes, hold["hold_min"], hold["risk"])
    assert at_plan == pytest.approx(risk_of(piece), abs=0.01)


def test_coats_of_a_measured_layer_are_told_with_the_thickness_to_type():
    """Typed into the table, each thickness is as risky as was told; the coats alone change none."""
    plan = layers(
        {"coats": 3, "thickness_mm": 0.43}, {"layer": 2, "glaze": "tide", "lower_edge_mm": 40.0}
    )
    glazes = pd.DataFrame([ANALYSIS, ANALYSIS | {"glaze": "tide", "Na2O": 8.0}])
    found = what_if(check(plan, glazes), "mug").by_coats
    measured = found.loc[found["layer"] == 1]
    assert found.loc[found["layer"] == 2, "thickness_mm"].isna().all()
    assert measured.loc[measured["planned"], "thickness_mm"].tolist() == pytest.approx([0.43])
    assert (measured["thickness_mm"].diff().iloc[1:] > 0).all()
    for row in measured.itertuples():
        first = plan["layer"] == 1
        typed = plan.assign(
            coats=plan["coats"].where(~first, row.coats),
            thickness_mm=plan["thickness_mm"].where(~first, row.thickness_mm),
        )
        assert check(typed, glazes).pieces["risk"].item() == pytest.approx(row.risk, abs=1e-9)


def test_the_band_curve_crosses_the_tolerance_at_the_wax_height():
    answer = sample_answer()
    for _, row in answer.pieces.loc[answer.pieces["wax_height_mm"] > 1.0].iterrows():
        table = what_if(answer, row["piece"], row["firing"]).by_band
        step = table["band_mm"].iloc[1]
        safe = table.loc[table["risk"] <= answer.tolerance, "band_mm"]
        # Wax is told to half a millimetre, the curve has its own steps.
        assert safe.iloc[0] - step < row["wax_height_mm"] <= safe.iloc[0] + 0.5


@pytest.mark.parametrize("piece", PIECES)
def test_risk_hardly_ever_rises_where_a_layer_stops_higher(piece):
    """What lies beneath may move a little more readily without a stiff layer over it."""
    found = what_if(sample_answer(), piece)
    for (_, rows), planned in zip(found.by_edge.groupby("layer"), found.edges_mm, strict=True):
        assert rows["edge_mm"].iloc[0] == 0.0
        assert (rows["risk"].diff().iloc[1:] <= 0.02).all()
        above = rows.loc[rows["edge_mm"] >= planned, "risk"]
        assert above.empty or above.iloc[0] <= found.risk + 1e-12


def test_a_cone_lower_is_that_of_a_plan_fired_so():
    found = what_if(sample_answer(), "mug 3")
    assert found.cooler_cone == "5"
    tables = sample_tables()
    cooler = answer(replace(tables, plan=tables.plan.replace({"cone": {"6": "5"}})))
    row = cooler.find("mug 3")
    at_plan = np.interp(found.hold_min, *found.by_hold_cooler.to_numpy().T)
    assert at_plan == pytest.approx(cooler.pieces["risk"].iloc[row], abs=0.01)
    assert at_plan < found.risk
    typed = what_if(sample_answer(), "mug 6")
    assert typed.cooler_cone == ""
    assert typed.by_hold_cooler.empty


def test_the_plan_itself_lies_on_each_curve():
    found = what_if(sample_answer(), "mug 3")
    assert (found.piece, found.firing) == ("mug 3", "Dabchick")
    at_plan = np.interp(found.band_mm, found.by_band["band_mm"], found.by_band["risk"])
    assert at_plan == pytest.approx(found.risk, abs=0.01)
    assert found.by_hold["hold_min"].between(0.0, max(60.0, 2 * found.hold_min)).all()


def test_a_piece_that_is_not_there_is_refused():
    with pytest.raises(BadInput, match='no piece "jug"'):
        what_if(sample_answer(), "jug")
