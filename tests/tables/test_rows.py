"""Checking of tables; each fault is one sentence that says where."""

import datetime

import numpy as np
import pandas as pd
import pytest
from helpers.tables import ANALYSIS, faults_of, layers

from runpredict.datafiles import OXIDES
from runpredict.errors import BadInput, TableWarning
from runpredict.tables.columns import COLUMNS, DEFAULTS, KINDS
from runpredict.tables.rows import check_table, empty_table, with_defaults


def test_columns_are_those_of_the_contract():
    # The contract of the tables, copied word for word.
    contract = {
        "glazes": "glaze source behaviour matures_cone SiO2 Al2O3 B2O3 Li2O Na2O K2O MgO CaO SrO "
        "BaO ZnO PbO TiO2 ZrO2 Fe2O3 MnO P2O5 SnO2 CuO CoO Cr2O3 NiO Bi2O3 F note",
        "recipes": "glaze material parts addition",
        "schedules": "firing segment rate_c_per_h target_c hold_min",
        "layers": "piece form firing fired_on body cone hold_min ramp_c_per_h wall_deg foot_mm "
        "layer glaze method coats thickness_mm lower_edge_mm upper_edge_mm run_mm past_foot note "
        "batch specific_gravity dip_s kiln shelf spot absorption_pct glazed_by witness_cone "
        "side lost",
    }
    contract["glazes"] += " in_use"
    contract["layers"] += " glazed photo on_cookie kiln_note"  # columns of ours
    for kind, names in contract.items():
        assert [column.name for column in COLUMNS[kind]] == names.split()
    assert [column.name for column in COLUMNS["materials"]] == [
        "material",
        *OXIDES,
        "loss_on_ignition",
        "source",
    ]


def test_a_blank_is_not_known_and_a_missing_column_is_blank():
    table = check_table(layers({"cone": 6.0}), "layers")
    assert list(table.columns) == [column.name for column in COLUMNS["layers"]]
    assert np.isnan(table["run_mm"].iloc[0])
    assert table["past_foot"].iloc[0] == ""
    assert table["cone"].iloc[0] == "6"
    assert table["layer"].dtype == np.int64


def test_checking_twice_changes_nothing():
    once = check_table(layers({}, {"layer": 2, "lower_edge_mm": "1 1/2 in"}), "layers")
    pd.testing.assert_frame_equal(check_table(once, "layers"), once)
    assert once["lower_edge_mm"].iloc[1] == pytest.approx(38.1)


@pytest.mark.parametrize("kind", KINDS)
def test_a_table_without_rows_has_its_columns(kind):
    pd.testing.assert_frame_equal(check_table(empty_table(kind), kind), empty_table(kind))


def test_an_unknown_column_is_kept_with_a_warning():
    with pytest.warns(TableWarning, match=r'column past_fot.*did you mean "past_foot"'):
        table = check_table(layers({"past_fot": "yes"}), "layers")
    assert table["past_fot"].tolist() == ["yes"]


@pytest.mark.parametrize("heading", ["Lower edge (mm)", "LOWER_EDGE_MM", " lower-edge mm "])
def test_headings_are_read_as_people_write_them(heading):
    raw = layers({"lower_edge_mm": 7.0}).rename(columns={"lower_edge_mm": heading})
    assert check_table(raw, "layers")["lower_edge_mm"].tolist() == [7.0]


def test_defaults_fill_blanks_and_siblings_agree():
    table = check_table(
        layers(
            {"foot_mm": 70, "hold_min": 15, "body": "buff"},
            {"layer": 2, "cone": "", "coats": None, "thickness_mm": 0.5},
        ),
        "layers",
    )
    filled = with_defaults(table)
    assert filled["cone"].tolist() == ["6", "6"]
    assert filled["foot_mm"].tolist() == [70.0, 70.0]
    assert filled["hold_min"].tolist() == [15.0, 15.0]
    assert filled["body"].tolist() == ["buff", "buff"]
    assert filled["coats"].tolist() == [2.0, DEFAULTS["coats"]]
    assert filled["ramp_c_per_h"].tolist() == [60.0, 60.0]
    assert filled["wall_deg"].tolist() == [90.0, 90.0]
    assert filled["method"].tolist() == ["dip", "dip"]
    assert np.isnan(filled["run_mm"]).all()


@pytest.mark.parametrize(
    ("column", "cell", "sentence"),
    [
        ("lower_edge_mm", "sixty", '"sixty" is not a length; give mm, cm or inches'),
        ("lower_edge_mm", -3, "-3 mm is less than 0 mm"),
        ("upper_edge_mm", 5000, "5000 mm is more than 2000 mm, check the unit"),
        ("upper_edge_mm", "3-Aug", "turned a fraction into one"),
        ("upper_edge_mm", datetime.datetime(2026, 3, 8), "turned a fraction into one"),
        ("upper_edge_mm", "3/8", "has no unit; write 3/8 in"),
        ("upper_edge_mm", "1,500", "may part thousands"),
        ("upper_edge_mm", "", "is blank; give its height above the foot"),
        ("thickness_mm", 25, "25 mm is more than 20 mm, check the unit"),
        ("thickness_mm", 0, "0 mm is less than 0.001 mm"),
        ("thickness_mm", np.inf, "inf mm is more than 20 mm"),
        ("thickness_mm", "nan", "leave the cell blank when not known"),
        ("run_mm", -1, "-1 mm is less than 0 mm"),
        ("coats", 2.5, "2.5 is not a whole number"),
        ("coats", 0, "0 is less than 1"),
        ("layer", 0, "0 is less than 1; number the layers"),
        ("cone", "99", '"99" is not a cone known here'),
        ("cone", "5-6", '"5-6" is two cones; choose one of them: 6, the hotter'),
        ("method", "splash", '"splash" is none of dip, pour, brush, spray'),
        ("past_foot", "maybe", '"maybe" is none of yes, no'),
        ("fired_on", "8/3/2026", "write year-month-day, such as 2026-03-08"),
        ("fired_on", "2026-02-30", "is not a date"),
        ("wall_deg", 200, "200 is more than 180"),
        ("cone", "6/7", '"6/7" is two cones; choose one of them: 7'),
        ("cone", datetime.datetime(2026, 7, 6), "is a date, which a spreadsheet may have made"),
        ("form", "teapot", '"teapot" is none of mug, bowl, plate'),
        ("wall_deg", "20 %", "is not a number"),
        ("coats", "2 %", "is not a number"),
        ("foot_mm", 0, "0 mm is less than 1 mm"),
        ("hold_min", "long", '"long" is not a number; give minutes'),
        ("ramp_c_per_h", 0, "0 °C/h is less than 1 °C/h"),
        ("piece", "x" * 10_000, "has 10000 characters; use at most 200"),
        ("piece", "a\nb", "holds a line break"),
        ("glaze", "", "is blank; give a glaze's name"),
    ],
)
def test_a_wrong_cell_is_told_once_with_its_place(column, cell, sentence):
    faults = faults_of(check_table, layers({}, {"piece": "vase", column: cell}), "layers", "p.csv")
    assert len(faults) == 1
    assert faults[0].startswith(f"p.csv, index 1, column {column}: ")
    assert sentence in faults[0]
    assert faults[0].endswith(".")
    assert len(faults[0]) < 250


@pytest.mark.parametrize("typed", ["cone 06", "^06", "C06", " 06 "])
def test_a_cone_keeps_its_nought(typed):
    assert check_table(layers({"cone": typed}), "layers")["cone"].tolist() == ["06"]


@pytest.mark.parametrize(
    ("column", "typed", "stored"),
    [
        ("past_foot", True, "yes"),
        ("past_foot", "N", "no"),
        ("method", "Dip", "dip"),
        ("fired_on", datetime.date(2026, 3, 8), "2026-03-08"),
        ("fired_on", pd.Timestamp(2026, 3, 8), "2026-03-08"),
        ("wall_deg", "85°", 85.0),
        ("thickness_mm", "0,25", 0.25),
        ("past_foot", "y", "yes"),
        ("past_foot", "Yes", "yes"),
        ("past_foot", "NO", "no"),
        ("method", "brushed", "brush"),
        ("method", "Dipped", "dip"),
        ("method", "poured", "pour"),
        ("method", "sprayed", "spray"),
        ("form", "Bowl", "bowl"),
        ("hold_min", "20 min", 20.0),
        ("foot_mm", "~70", 70.0),
        ("lower_edge_mm", "about 3/8 in", 9.525),
        ("wall_deg", "ca. 85 deg", 85.0),
        ("lower_edge_mm", "1/2 in", 12.7),
        ("piece", "e\u0301tude", "\u00e9tude"),
        ("piece", 7, "7"),
    ],
)
def test_cells_are_read_as_people_type_them(column, typed, stored):
    assert check_table(layers({column: typed}), "layers")[column].tolist() == [stored]


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ([{"lower_edge_mm": 95}], "index 0, column lower_edge_mm: the lower edge, 95 mm above"),
        ([{"lower_edge_mm": 90}], "is not below the upper edge, 90 mm"),
        ([{}, {}], "index 1, column layer: the layer (mug, f1, 1) is already in index 0"),
        ([{}, {"layer": 3}], "index 1, column layer: 3 leaves a gap"),
        ([{"layer": 2}], "index 0, column layer: 2 leaves a gap"),
        ([{}, {"layer": 2, "cone": "5"}], "index 1, column cone: 5 is not the 6 of another layer"),
        (
            [{"hold_min": 10}, {"layer": 2, "hold_min": 20}],
            "column hold_min: 20 is not the 10 of another layer of piece",
        ),
        ([{"coats": None}, {"layer": 2}], "index 0, column coats: is blank; give the coats or"),
        ([{"coats": None}], "column coats: no row has any; give the coats or measure"),
        (
            [{"thickness_mm": 15}, {"layer": 2, "thickness_mm": 15}],
            "index 1, column thickness_mm: the layers of this piece are over 20 mm thick together",
        ),
    ],
)
def test_layers_that_cannot_be_are_told(changes, sentence):
    faults = faults_of(check_table, layers(*changes), "layers")
    assert len(faults) == 1
    assert sentence in faults[0]


def test_the_same_piece_in_two_firings_is_two_pieces():
    assert len(check_table(layers({}, {"firing": "f2", "cone": "10"}), "layers")) == 2


def test_not_past_the_foot_yet_run_further_is_a_warning():
    with pytest.warns(TableWarning, match="past_foot: is no, yet the layer on .mug. ran 9 mm"):
        check_table(layers({"past_foot": "no", "run_mm": 9}), "layers")


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"SiO2": 300}, "column SiO2: 300 is more than 112"),
        ({"SiO2": 100, "CaO": 100, "MgO": 100}, "the oxides sum to 315; weight percent"),
        ({"SiO2": 3.5, "Al2O3": 0.4, "CaO": 1.0}, "moles of a unity formula are not weight"),
        ({"SiO2": "sixty"}, '"sixty" is not a number; give weight percent, such as 60.'),
        ({"CaO": None}, "the analysis has no flux"),
        ({"source": "guess"}, '"guess" is none of recipe, analysis, jar'),
        ({"behaviour": "drippy"}, '"drippy" is none of stiff, stable, fluid, runny'),
    ],
)
def test_glazes_that_cannot_be_are_told(change, sentence):
    faults = faults_of(check_table, pd.DataFrame([{**ANALYSIS, **change}]), "glazes", "g.csv")
    assert len(faults) == 1
    assert faults[0].startswith("g.csv, index 0")
    assert sentence in faults[0]


def test_percents_are_read_where_they_fit():
    table = check_table(pd.DataFrame([{**ANALYSIS, "CaO": "20 %", "SiO2": "~65 wt%"}]), "glazes")
    assert table[["SiO2", "CaO"]].values.tolist() == [[65.0, 20.0]]
    parts = [{"glaze": "a", "material": "silica", "parts": "10%"}]
    assert check_table(pd.DataFrame(parts), "recipes")["parts"].tolist() == [10.0]


def test_the_cone_a_glaze_matures_at_is_a_cone():
    table = check_table(pd.DataFrame([{**ANALYSIS, "matures_cone": "cone 06"}]), "glazes")
    assert table["matures_cone"].tolist() == ["06"]
    wrong = pd.DataFrame([{**ANALYSIS, "matures_cone": "5-6"}])
    assert "column matures_cone" in faults_of(check_table, wrong, "glazes")[0]


def test_a_glaze_listed_twice_is_told():
    faults = faults_of(check_table, pd.DataFrame([ANALYSIS, ANALYSIS]), "glazes")
    assert faults == [
        "glazes, index 1, column glaze: the glaze (sea) is already in index 0; keep one."
    ]


def test_an_analysis_that_sums_to_60_is_asked_about():
    with pytest.warns(TableWarning, match="the oxides sum to 60, less than"):
        check_table(pd.DataFrame([{**ANALYSIS, "SiO2": 25.0}]), "glazes")
    check_table(pd.DataFrame([{**ANALYSIS, "SiO2": 40.0}]), "glazes")  # a quarter burnt off


def test_oxides_of_a_jar_are_not_read_and_it_says_so():
    with pytest.warns(TableWarning, match='as the source is "jar"; write analysis'):
        check_table(pd.DataFrame([{**ANALYSIS, "source": "jar"}]), "glazes")


@pytest.mark.parametrize(
    ("kind", "rows", "sentence"),
    [
        ("recipes", [{"glaze": "a", "material": "silica", "parts": -1}], "-1 is less than 0"),
        ("materials", [{"material": "dust", "SiO2": 90, "CaO": 90}], "sum to 180"),
        ("materials", [{"material": "dust"}], "has no oxide"),
        (
            "schedules",
            [{"firing": "f", "segment": 2, "rate_c_per_h": 60, "target_c": 1200}],
            "2 leaves a gap",
        ),
        (
            "schedules",
            [{"firing": "f", "segment": 1, "rate_c_per_h": 60, "target_c": 2165}],
            "2165 °C is more than 1500 °C, check the unit; give °C, or °F such as 2165 F",
        ),
    ],
)
def test_other_tables_that_cannot_be_are_told(kind, rows, sentence):
    faults = faults_of(check_table, pd.DataFrame(rows), kind)
    assert len(faults) == 1
    assert sentence in faults[0]


def test_a_schedule_may_be_typed_in_fahrenheit():
    raw = pd.DataFrame(
        [{"firing": "f", "segment": 1, "rate_c_per_h": "108 F/h", "target_c": "2165 F"}]
    )
    table = check_table(raw, "schedules")
    assert table["rate_c_per_h"].tolist() == [60.0]
    assert table["target_c"].tolist() == [1185.0]


def test_all_faults_are_told_at_once_and_twenty_shown():
    raw = layers(*({"piece": f"p{n}", "cone": f"9{n}", "coats": -n} for n in range(15)))
    with pytest.raises(BadInput) as caught:
        check_table(raw, "layers")
    assert len(caught.value.faults) == 30
    assert str(caught.value).endswith("... and 10 more")
    assert [fault.row for fault in caught.value.faults] == sorted([*range(2, 17)] * 2)
