"""Optional columns of layers: read, kept, written, and what each leaves out of an answer."""

import numpy as np
import pandas as pd
import pytest
from helpers.tables import ANALYSIS, calm_studio, faults_of, layers, told

from runpredict.answers.check import check
from runpredict.logbook.book import Logbook
from runpredict.model.features import build_features, features_of
from runpredict.model.outcomes import outcomes_of
from runpredict.model.stacks import stacks_of
from runpredict.tables.columns import COLUMNS, FOLDED
from runpredict.tables.csv_files import read_table, write_table
from runpredict.tables.rows import check_table, empty_table, split_results

GLAZES = pd.DataFrame([ANALYSIS, {**ANALYSIS, "glaze": "ash"}])
TOLD = {
    "batch": "September bucket", "kiln": "small", "shelf": "top", "spot": "door",
    "glazed_by": "Wren", "glazed": "yes", "witness_cone": "6 flat", "lost": "cracked",
    "photo": "mug-3.jpg", "on_cookie": "yes",
    "specific_gravity": 1.45, "dip_s": 3.0, "absorption_pct": 12.0,
    "kiln_note": "blistered",
}  # fmt: skip
INSIDE = {"side": "inside", "glaze": "ash", "lower_edge_mm": None, "upper_edge_mm": None}


def test_each_has_a_label_a_guide_and_an_example():
    assert {column.name for column in FOLDED} == {*TOLD, "side"}
    assert all(column.label and column.guide and column.example for column in FOLDED)


def test_they_survive_file_and_logbook(tmp_path):
    raw = layers({**TOLD, "note": "seen"}, {"layer": 2, "batch": "old"}, INSIDE)
    write_table(check_table(raw, "layers"), tmp_path / "layers.csv")
    table = read_table(tmp_path / "layers.csv", "layers")
    assert table.loc[0, list(TOLD)].to_dict() == TOLD
    assert table["batch"].tolist() == ["September bucket", "old", ""]
    with Logbook.open(tmp_path, create=True) as log:
        log.import_tables({"glazes": GLAZES, "layers": table})
        pd.testing.assert_frame_equal(log.layers(), table)
        log.export(tmp_path / "out")
    pd.testing.assert_frame_equal(read_table(tmp_path / "out" / "layers.csv", "layers"), table)


@pytest.mark.parametrize(
    ("column", "typed", "where"),
    [
        ("specific_gravity", 145, "145 is more than 1.8; weigh 100 ml of the stirred bucket"),
        ("specific_gravity", 0.45, "0.45 is less than 1.2; weigh 100 ml"),
        ("specific_gravity", "45 Be", '"45 Be" is not a number; weigh 100 ml'),
        ("specific_gravity", "29 oz/pint", "is not a number; weigh 100 ml"),
        ("dip_s", "quick", '"quick" is not a number; give the seconds of one dip'),
        ("dip_s", 0, "0 is less than 0.1"),
        ("absorption_pct", 80, "80 is more than 40; give percent, such as 12"),
    ],
)
def test_what_is_no_gravity_dip_or_thirst_is_told(column, typed, where):
    (fault,) = faults_of(check_table, layers({column: typed}), "layers")
    assert where in fault and f"column {column}: " in fault


@pytest.mark.parametrize(
    ("cells", "where"),
    [
        ({"dip_s": 3, "method": "brush"}, 'only a dip or a pour has seconds; those of "mug"'),
        ({"dip_s": 90}, "a dip takes seconds, not minutes"),
        ({"absorption_pct": 0.12}, "if a share was typed for"),
    ],
)
def test_an_odd_dip_is_asked_about(cells, where):
    _, (warned,) = told(check_table, layers(cells), "layers")
    assert where in warned


def test_a_gravity_and_seconds_may_carry_their_units():
    table = check_table(layers({"specific_gravity": "1,45", "dip_s": "3 s"}), "layers")
    assert table.loc[0, ["specific_gravity", "dip_s"]].tolist() == [1.45, 3.0]


def test_a_blank_changes_no_answer():
    log, glazes = calm_studio()
    plan = layers({"piece": "new", "glaze": "still"}, {"piece": "new", "glaze": "sea", "layer": 2})
    with_blanks = plan.assign(**{column.name: "" for column in FOLDED})
    one, other = check(plan, glazes, log), check(with_blanks, glazes, log)
    pd.testing.assert_frame_equal(one.pieces, other.pieces)
    pd.testing.assert_frame_equal(one.layers, other.layers)


@pytest.mark.parametrize(
    ("typed", "read"),
    [("6", "6"), ("cone 06", "06"), ("5 half", "5 half"), ("^6 flat", "6 flat"),
     ("5 (half bent)", "5 half"), ("6 down", "6"), ("6, Flat", "6 flat"), ("6.0 flat", "6 flat")],
)  # fmt: skip
def test_a_witness_cone_as_typed(typed, read):
    table = check_table(layers({"witness_cone": typed}), "layers")
    assert table["witness_cone"].tolist() == [read]


@pytest.mark.parametrize("typed", ["99", "5-6", "half", "6 up", "6 half flat"])
def test_what_is_no_witness_cone_is_told(typed):
    (fault,) = faults_of(check_table, layers({"witness_cone": typed}), "layers")
    assert fault.startswith("layers, index 0, column witness_cone: ")


def test_the_heat_seen_goes_before_the_heat_planned():
    def fluidity(**heat):
        schedule = pd.DataFrame(
            [{"firing": "typed", "segment": 1, "rate_c_per_h": 100, "target_c": 1100}]
        )
        schedules = schedule if heat.get("firing") else None
        frame = build_features(layers(heat), GLAZES, schedules=schedules)
        return frame["fluidity_per_pa"].iloc[0]

    assert fluidity(cone="4", hold_min=90, witness_cone="6") == fluidity(cone="6", hold_min=0)
    assert fluidity(firing="typed", cone="", witness_cone="6") == fluidity(
        cone="6", hold_min=0, ramp_c_per_h=100
    )
    seen = [fluidity(witness_cone=cone) for cone in ("5", "5 flat", "6", "6 flat", "7")]
    assert seen == sorted(seen) and len(set(seen)) == len(seen)
    assert fluidity(witness_cone="5 half") < fluidity(witness_cone="5")
    assert fluidity(cone="", witness_cone="6") == fluidity(cone="6", hold_min=0)


def test_all_layers_of_a_piece_share_what_is_of_the_piece():
    (fault,) = faults_of(
        check_table, layers({"shelf": "top"}, {"layer": 2, "shelf": "bottom"}), "layers"
    )
    assert "all layers of a piece share it" in fault
    check_table(layers({"batch": "June"}, {"layer": 2, "batch": "July"}), "layers")


def test_a_layer_inside_is_kept_and_not_judged():
    plan = layers({}, {"layer": 2, "lower_edge_mm": 20}, INSIDE)
    table = check_table(plan, "layers")
    assert table["side"].tolist() == ["", "", "inside"]
    assert table["layer"].tolist() == [1, 2, 1]
    answer, warned = told(check, plan, GLAZES)
    assert not warned
    alone = check(plan.iloc[:2], GLAZES)
    pd.testing.assert_frame_equal(answer.pieces, alone.pieces)
    assert answer.layers["layer"].tolist() == [1, 2]


def test_outside_may_be_written_out():
    assert check_table(layers({"side": "outside"}), "layers")["side"].tolist() == [""]


@pytest.mark.parametrize(
    ("rows", "where"),
    [
        ([{"lower_edge_mm": None}], "index 0, column lower_edge_mm: is blank"),
        ([{}, {**INSIDE, "layer": 2}], "index 1, column layer: 2 leaves a gap"),
        ([{}, INSIDE, INSIDE], "index 2, column layer: the layer (mug, f1, inside, 1) is already"),
        ([{"side": "underneath"}], 'column side: "underneath" is none of inside'),
    ],
)
def test_faults_of_either_side(rows, where):
    (fault,) = faults_of(check_table, layers(*rows), "layers")
    assert where in fault


def test_a_pot_glazed_inside_only_is_told():
    bowl = {**INSIDE, "piece": "bowl"}
    answer, (warned,) = told(check, layers({}, bowl), GLAZES)
    assert '"bowl" is glazed inside only' in warned
    assert answer.pieces["piece"].tolist() == ["mug"]
    (fault,) = faults_of(check, layers(bowl), GLAZES)
    assert "has no layer outside of a pot" in fault


def test_a_lost_pot_is_neither_planned_nor_a_result():
    rows = [
        {"piece": "a"}, {"piece": "b", "lost": "cracked"}, {"piece": "c", "past_foot": "no"},
        {"piece": "d", "lost": "stuck", "past_foot": "yes"},
        {"piece": "e"}, {"piece": "e", "layer": 2, "lower_edge_mm": 20, "lost": "other"},
    ]  # fmt: skip
    planned, fired = split_results(check_table(layers(*rows), "layers"))
    assert planned["piece"].tolist() == ["a"]
    assert fired["piece"].tolist() == ["c", "d"]  # a word about the run counts all the same


def test_names_reach_the_model_piece_by_piece_and_layer_by_layer():
    rows = [{"piece": "a", **TOLD}, {"piece": "b"}, {"piece": "b", "layer": 2, "batch": "old"}]
    frame = check_table(layers(*rows).drop(columns="lost"), "layers")
    glazes = check_table(GLAZES, "glazes")
    stacks = stacks_of(features_of(frame, glazes))
    assert stacks.names["kiln"].tolist() == ["small", ""]
    assert stacks.names["glazed_by"].tolist() == ["Wren", ""]
    assert stacks.names["batch"].tolist() == [["September bucket", ""], ["", "old"]]
    part = stacks.cut(np.array([1]), 2)
    assert part.names["batch"].tolist() == [["", "old"]]
    assert outcomes_of(frame, stacks).past.tolist() == [pytest.approx(np.nan, nan_ok=True)] * 2


def test_a_table_without_rows_has_them_all():
    assert list(empty_table("layers")) == [column.name for column in COLUMNS["layers"]]
