"""From tables to answer."""

import warnings

import numpy as np
import pandas as pd
import pytest
from helpers.pieces import MANY_HOLDS, glazes, pieces
from helpers.tables import ANALYSIS, faults_of, layers

from runpredict.answers import questions
from runpredict.answers.check import check
from runpredict.errors import TableWarning
from runpredict.model.chances import RUN_LEVELS

pytestmark = MANY_HOLDS

LAYERS = [
    "piece", "firing", "layer", "glaze", "risk", "run_p05_mm", "run_p50_mm", "run_p95_mm",
    "lower_edge_mm", "basis",
]  # fmt: skip
PIECES = [
    "piece", "firing", "risk", "layer_to_blame", "wax_height_mm", "cookie", "cookie_diameter_mm",
    "cookie_height_mm",
]  # fmt: skip
ONE_GLAZE = pd.DataFrame([ANALYSIS])


@pytest.fixture(scope="module")
def plan():
    return pieces(31, 400)


@pytest.fixture(scope="module")
def answer(plan):
    return check(plan, glazes())


def test_a_path_where_a_table_is_wanted_is_told_what_to_do():
    (fault, other) = faults_of(check, "layers.csv", glazes(), log=3)
    assert fault == (
        "plan: is given as a str; give a pandas DataFrame, such as "
        'runpredict.read_table("layers.csv", "layers") returns.'
    )
    assert other.startswith("log: is given as a int; give a pandas DataFrame")


def test_columns_are_those_of_the_contract(plan, answer):
    assert list(answer.layers) == LAYERS
    assert list(answer.pieces) == PIECES
    for name in ("piece", "layer", "glaze"):
        assert answer.layers[name].tolist() == plan[name].tolist()
    assert answer.pieces["piece"].tolist() == plan["piece"].unique().tolist()
    assert set(answer.layers["basis"]) == {"rules"}
    assert set(answer.pieces["cookie"]) == {"none", "advised", "needed", "dish"}


def test_numbers_are_ordered_and_sane(answer):
    runs = answer.layers[["run_p05_mm", "run_p50_mm", "run_p95_mm"]].to_numpy()
    assert (np.diff(runs, axis=1) >= 0).all()
    assert (runs >= 0).all()
    for table in (answer.layers, answer.pieces):
        assert table["risk"].between(0, 1).all()
    assert RUN_LEVELS == (0.05, 0.5, 0.95)


def test_the_layer_to_blame_carries_the_riskiest_edge_past_the_foot(answer):
    """Its own layer, or one that moves more than half of what drives that edge."""
    worst = answer.layers.groupby("piece", sort=False)["risk"].max()
    merged = answer.pieces.merge(
        answer.layers, left_on=["piece", "layer_to_blame"], right_on=["piece", "layer"]
    )
    assert len(merged) == len(answer.pieces)
    own = merged["risk_y"].to_numpy() == worst.to_numpy()
    alone = answer.layers.groupby("piece", sort=False)["layer"].max().to_numpy() == 1
    assert own[alone].all()
    assert 0.6 < own.mean() < 1.0


@pytest.mark.parametrize(("runny", "blamed"), [(1, 1), (2, 2)])
def test_a_runny_glaze_is_blamed_for_the_stiff_one_it_lies_with(runny, blamed):
    """A thin stiff base almost to the foot, a thick runny layer higher up, and the other way."""
    jars = pd.DataFrame({"glaze": ["runny", "stiff"], "source": "jar",
                         "behaviour": ["runny", "stiff"]})  # fmt: skip
    plan = layers(
        {"layer": 1, "glaze": "runny" if runny == 1 else "stiff", "lower_edge_mm": 1.0},
        {"layer": 2, "glaze": "runny" if runny == 2 else "stiff", "lower_edge_mm": 60.0},
    ).assign(thickness_mm=[0.4 if runny == 2 else 0.9, 0.9 if runny == 2 else 0.4])
    found = check(plan, jars)
    assert found.layers["risk"].iloc[0] > found.layers["risk"].iloc[1]
    assert found.pieces["layer_to_blame"].item() == blamed


def test_a_cookie_is_told_where_it_is_advised_and_only_there(answer):
    cookie = answer.pieces["cookie"].ne("none")
    assert not cookie[answer.pieces["risk"] <= answer.tolerance].any()
    assert cookie[answer.pieces["risk"] > answer.tolerance].all()
    for column in ("cookie_diameter_mm", "cookie_height_mm"):
        assert (answer.pieces[column].notna() == cookie).all()
    foot = answer.features.groupby("piece", sort=False)["foot_mm"].first().to_numpy()
    wide = answer.pieces["cookie_diameter_mm"].to_numpy()
    assert (wide[cookie] > foot[cookie]).all()


def test_the_band_that_is_told_makes_the_piece_safe_when_planned_so(plan, answer):
    told = plan.merge(answer.pieces[["piece", "wax_height_mm"]], on="piece")
    lowest = told.groupby("piece")["lower_edge_mm"].transform("min")
    first = told["lower_edge_mm"].eq(lowest) & ~told.loc[
        told["lower_edge_mm"].eq(lowest)
    ].duplicated("piece").reindex(told.index, fill_value=True)
    banded = np.where(
        first, told["wax_height_mm"], np.maximum(told["lower_edge_mm"], told["wax_height_mm"])
    )
    fits = (banded < told["upper_edge_mm"]).groupby(told["piece"]).transform("all")
    again = plan.assign(lower_edge_mm=banded).loc[(fits & told["wax_height_mm"].notna()).to_numpy()]
    assert again["piece"].nunique() > 30
    found = check(again, glazes())
    assert (found.pieces["risk"] <= found.tolerance + 1e-9).all()


def test_runs_end_at_the_foot(answer):
    lower = answer.layers["lower_edge_mm"]
    for column in ("run_p05_mm", "run_p50_mm", "run_p95_mm"):
        assert (answer.layers[column] <= lower + 0.005).all()
    assert (answer.layers["run_p95_mm"] >= lower - 0.005).sum() > 30
    some = answer.layers["risk"] > 0.06
    assert (answer.layers["run_p95_mm"] >= lower - 0.005)[some].mean() > 0.98


def test_every_piece_has_what_is_enough(answer):
    changes, pieces = answer.changes(), answer.pieces
    assert list(changes) == [
        "piece", "firing", "advice", "change", "layer", "glaze", "planned", "changed",
    ]  # fmt: skip
    assert changes["piece"].drop_duplicates().tolist() == pieces["piece"].tolist()
    first = changes.drop_duplicates("piece").reset_index(drop=True)
    assert (first["advice"].eq("none") == (pieces["risk"] <= answer.tolerance)).all()
    assert (changes["change"].ne("") == changes["advice"].eq("change")).all()
    assert (changes["glaze"].ne("") == changes["layer"].gt(0)).all()
    named = changes.loc[changes["layer"].gt(0)].merge(answer.layers, on=["piece", "layer"])
    assert (named["glaze_x"] == named["glaze_y"]).all()


def test_room_that_is_told_is_there(plan, answer):
    """A layer that could end so much lower does, in a plan that has it so."""
    spare = answer.outlook.loc[answer.outlook["spare_mm"] >= 5.0].head(12)
    assert len(spare) == 12
    for told in spare.itertuples():
        mine = plan.loc[plan["piece"] == told.piece]
        named = mine["layer"] == told.spare_layer
        assert mine.loc[named, "glaze"].tolist() == [told.spare_glaze]
        lower = mine["lower_edge_mm"] - np.where(named, told.spare_mm, 0.0)
        found = check(mine.assign(lower_edge_mm=lower.clip(lower=0.0)), glazes())
        assert found.pieces["risk"].iloc[0] <= 0.05 + 1e-9


def test_a_safe_piece_alone_has_room_below_it(answer):
    spare = answer.outlook["spare_mm"].notna()
    assert (answer.pieces.loc[spare, "risk"] <= answer.tolerance).all()
    assert (answer.outlook["spare_layer"].gt(0) == spare).all()


def test_the_blamed_row_is_that_of_the_layer_to_blame(answer):
    blamed = answer.layers.iloc[answer.blamed]
    assert blamed["piece"].tolist() == answer.pieces["piece"].tolist()
    assert blamed["layer"].tolist() == answer.pieces["layer_to_blame"].tolist()


def test_neighbours_overlap_on_the_same_piece(answer):
    there = np.flatnonzero(answer.neighbour >= 0)
    assert len(there) > 100
    rows, others = answer.features.iloc[there], answer.features.iloc[answer.neighbour[there]]
    assert rows["piece"].tolist() == others["piece"].tolist()
    lower = np.maximum(rows["lower_edge_mm"].to_numpy(), others["lower_edge_mm"].to_numpy())
    upper = np.minimum(rows["upper_edge_mm"].to_numpy(), others["upper_edge_mm"].to_numpy())
    assert (lower < upper).all()


def test_limits_of_each_layer(answer):
    limits = answer.limits
    assert list(limits) == ["piece", "firing", "layer", "glaze", "lowest_edge_mm", "most_coats"]
    safe = answer.pieces.set_index("piece")["risk"].reindex(limits["piece"]) <= answer.tolerance
    planned = answer.layers["lower_edge_mm"].to_numpy()
    assert (limits["lowest_edge_mm"].to_numpy()[safe] <= planned[safe] + 0.5).all()
    assert (limits["most_coats"].dropna() >= 0).all()
    measured = answer.features["thickness_measured"].to_numpy()
    assert (limits["most_coats"].isna() == measured).all() and measured.any()


def test_a_stricter_tolerance_never_asks_for_less_wax(plan, answer):
    strict = check(plan, glazes(), tolerance=0.01)
    wax = [found.pieces["wax_height_mm"].fillna(np.inf) for found in (strict, answer)]
    assert (wax[0] >= wax[1]).all()
    assert (strict.pieces["risk"] == answer.pieces["risk"]).all()


@pytest.mark.parametrize("tolerance", [0.0, 1.0, 2.0, -0.1, np.nan, np.inf])
def test_a_tolerance_that_is_none_is_told(tolerance):
    sentences = faults_of(check, layers({}), ONE_GLAZE, tolerance=tolerance)
    assert len(sentences) == 1
    assert "give 0.05 for 5 %" in sentences[0]


def test_a_plan_of_one_safe_or_one_unsafe_piece():
    for lower, hold in ((80.0, 0.0), (0.0, 6000.0)):
        found = check(layers({"lower_edge_mm": lower, "hold_min": hold}), ONE_GLAZE)
        assert len(found.pieces) == 1
        assert found.limits["most_coats"].notna().all()


@pytest.mark.parametrize(
    "change",
    [
        {"coats": 50, "thickness_mm": np.nan},
        {"lower_edge_mm": 0.0, "upper_edge_mm": 0.01},
        {"lower_edge_mm": 1999.0, "upper_edge_mm": 2000.0},
        {"wall_deg": 0.0},
        {"wall_deg": 180.0},
        {"thickness_mm": 0.001},
        {"thickness_mm": 20.0},
        {"cone": "022"},
        {"cone": "13", "ramp_c_per_h": 1.0, "hold_min": 6000.0},
        {"foot_mm": np.nan},
    ],
)
@pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning")
def test_odd_but_allowed_pieces_get_a_finite_answer(change):
    found = check(layers(change), ONE_GLAZE)
    assert np.isfinite(found.layers[["risk", "run_p05_mm", "run_p50_mm", "run_p95_mm"]]).all(
        axis=None
    )
    assert np.isfinite(found.pieces["risk"]).all()
    assert found.limits["most_coats"].ge(0).all()


def test_any_ramp_the_tables_allow_is_answered():
    for ramp in (1.0, 4.9, 1000.0):
        found = check(layers({"ramp_c_per_h": ramp}), ONE_GLAZE)
        assert np.isfinite(found.pieces["risk"]).all()


def test_a_flat_wall_runs_nowhere_and_a_steep_one_somewhere():
    flat, steep = (check(layers({"wall_deg": deg}), ONE_GLAZE) for deg in (0.0, 90.0))
    assert (flat.layers["run_p95_mm"] <= 0.5).all()
    assert (flat.pieces["risk"] < 0.01).all()  # a slip of the hand is never ruled out
    assert steep.pieces["risk"].iloc[0] >= flat.pieces["risk"].iloc[0]


def test_a_typed_schedule_answers_as_the_cone_it_equals():
    peak = 1220.0
    schedule = pd.DataFrame(
        {"firing": "f1", "segment": [1, 2], "rate_c_per_h": [150.0, 60.0],
         "target_c": [peak - 450, peak], "hold_min": [0.0, 15.0]}
    )  # fmt: skip
    glaze = pd.DataFrame([{**ANALYSIS, "SiO2": 56.0, "B2O3": 9.0}])
    typed = check(layers({"cone": ""}), glaze, schedules=schedule)
    cone = check(layers({"hold_min": 15.0}), glaze)
    assert typed.features["peak_c"].iloc[0] == pytest.approx(cone.features["peak_c"].iloc[0])
    assert typed.pieces["risk"].iloc[0] == pytest.approx(cone.pieces["risk"].iloc[0], rel=1e-3)
    # What the table says of the hold does not matter where a schedule says it.
    with pytest.warns(TableWarning, match='cone 6 does not count: "f1" is in schedules'):
        both = check(layers({"hold_min": 500.0}), glaze, schedules=schedule)
    assert both.pieces["risk"].iloc[0] == typed.pieces["risk"].iloc[0]
    assert both.features["hold_min"].iloc[0] == pytest.approx(15.0)


def test_pieces_are_answered_in_portions_as_in_one(plan, answer, monkeypatch):
    monkeypatch.setattr(questions, "PIECES_AT_A_TIME", 37)
    again = check(plan, glazes())
    pd.testing.assert_frame_equal(again.layers, answer.layers, check_exact=False, rtol=1e-9)
    pd.testing.assert_frame_equal(again.pieces, answer.pieces, check_exact=False, rtol=1e-9)


def test_the_same_tables_give_the_same_answer(plan, answer):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        warnings.simplefilter("ignore", TableWarning)  # its firing has several holds
        pd.testing.assert_frame_equal(check(plan, glazes()).pieces, answer.pieces)
