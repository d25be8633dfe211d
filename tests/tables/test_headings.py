"""A spreadsheet that exists: her headings, one row a pot, what the first row of a pot says."""

import warnings

import pandas as pd
import pytest

from runpredict.datafiles import packaged_rows
from runpredict.errors import BadInput, TableWarning
from runpredict.tables.columns import COLUMNS, KINDS
from runpredict.tables.headings import (
    Meaning,
    kind_of,
    likely_column,
    meaning_of,
    read_columns,
)
from runpredict.tables.rows import check_rows, check_table

LAID = {"piece": "mug 1", "layer": "1", "glaze": "Sea", "coats": "2",
        "lower_edge_mm": "8", "upper_edge_mm": "90", "cone": "6"}  # fmt: skip


def table_of(*rows, columns=None):
    raw = pd.DataFrame(rows).fillna("").astype(object)
    with warnings.catch_warnings(record=True) as told:
        warnings.simplefilter("always", TableWarning)
        table = check_rows(raw, "layers", "mine.csv", columns=columns)
    return table, [str(one.message) for one in told]


# Headings that potters use for their own columns (common practice, no source).
@pytest.mark.parametrize(
    ("heading", "column"),
    [
        ("Pot", "piece"), ("Clay", "body"), ("Date fired", "fired_on"), ("Soak", "hold_min"),
        ("Bottom", "foot_mm"), ("Foot (in)", "foot_mm"), ("Bare foot", "lower_edge_mm"),
        ("Wax line", "lower_edge_mm"), ("Wall height", "upper_edge_mm"),
        ("Height", "upper_edge_mm"),
        ("Wall", "wall_deg"), ("Slope", "wall_deg"), ("Dips", "coats"), ("Needle", "thickness_mm"),
        ("Ran", "run_mm"), ("Drips", "run_mm"), ("Comments", "note"), ("Student", "glazed_by"),
        ("lower_egde_mm", "lower_edge_mm"), ("Shelf mark", ""), ("Price", ""), ("Sold to", ""),
    ],
)  # fmt: skip
def test_did_you_mean_is_right_for_the_headings_potters_use(heading, column):
    assert likely_column(heading, "layers") == column


def columns_of(word, kind):
    """Our columns that have a word among theirs."""
    return {
        row["column"]
        for row in packaged_rows("heading_words.csv")
        if row["table"] == kind and word.strip() in map(str.strip, row["words"].split(";"))
    }


def test_every_word_of_a_heading_points_to_a_column_and_none_is_one():
    for row in packaged_rows("heading_words.csv"):
        assert row["column"] in {column.name for column in COLUMNS[row["table"]]}
        for word in row["words"].split(";"):
            if word.strip() != "top edge":  # of the top glaze, in a table of base and top
                assert meaning_of(word, row["table"]) is None, word
            others = {one for one in columns_of(word, row["table"]) if one != row["column"]}
            assert likely_column(word, row["table"], others) == row["column"], word


@pytest.mark.parametrize("kind", KINDS)
def test_our_own_headings_are_ours_in_any_case(kind):
    for column in COLUMNS[kind]:
        assert meaning_of(column.name, kind) == Meaning(column.name)
        assert meaning_of(column.name.replace("_", " ").upper(), kind) == Meaning(column.name)


@pytest.mark.parametrize(
    ("heading", "meaning"),
    [
        ("foot (in)", Meaning("foot_mm", "in")), ("Lower edge, cm", Meaning("lower_edge_mm", "cm")),
        ("glaze 2", Meaning("glaze", "", 2)), ("Glaze2", Meaning("glaze", "", 2)),
        ("edge 1 in", Meaning("lower_edge_mm", "in", 1)), ("top", Meaning("glaze", "", 2)),
        ("begins 3", Meaning("upper_edge_mm", "", 3)), ("base coats", Meaning("coats", "", 1)),
        ("thickness 1 (mm)", Meaning("thickness_mm", "", 1)), ("ran 2", Meaning("run_mm", "", 2)),
        ("Base dips", Meaning("coats", "", 1)), ("top stops at", None),
        ("Top stops (inches above the foot)", Meaning("lower_edge_mm", "in", 2)),
        ("starts 2 above foot, mm", Meaning("upper_edge_mm", "", 2)),
        ("foot 2", None), ("glaze 21", None), ("pot", None), ("cone 6", None),
    ],
)  # fmt: skip
def test_a_heading_has_a_unit_and_a_layer(heading, meaning):
    assert meaning_of(heading, "layers") == meaning


def test_a_number_in_a_heading_however_long_is_no_layer():
    assert meaning_of("glaze " + "9" * 5000, "layers") is None


def test_bare_numbers_are_in_the_unit_of_their_heading():
    typed = {**LAID, "run_in": "3/8+", "past_foot": "yes"}
    for column, inches in (("lower_edge", "1/4"), ("upper_edge", "~3 1/2")):
        del typed[f"{column}_mm"]
        typed[f"{column} (in)"] = inches
    table, _ = table_of(typed, {**typed, "piece": "mug 2", "upper_edge (in)": "9 cm"})
    assert not table.faults
    assert table.frame["lower_edge_mm"].tolist() == [6.35, 6.35]
    assert table.frame["upper_edge_mm"].tolist() == [88.9, 90.0]
    assert table.frame["run_mm"].tolist() == [9.525, 9.525]
    raw = pd.DataFrame([{**LAID, "foot_in": 2.5}])
    assert check_table(raw, "layers")["foot_mm"].tolist() == [63.5]
    segment = pd.DataFrame([{"firing": "A", "segment": 1, "rate_f_per_h": 180, "target_f": 2192}])
    heated = check_table(segment, "schedules")
    assert heated[["rate_c_per_h", "target_c"]].to_numpy().tolist() == [[100.0, 1200.0]]


WIDE = {"piece": "mug 1", "cone": "6", "base glaze": "Sea", "base coats": "2", "base edge": "6",
        "top glaze": "Cloud", "top coats": "1", "top edge": "40",
        "upper_edge_mm": "90"}  # fmt: skip


def test_a_row_with_base_and_top_becomes_two_layers():
    table, told = table_of(WIDE, {**WIDE, "piece": "mug 2", "top glaze": "", "top coats": "",
                                  "top edge": ""})  # fmt: skip
    assert not table.faults and not told
    laid = table.frame[["piece", "layer", "glaze", "coats", "lower_edge_mm", "upper_edge_mm"]]
    assert laid.to_numpy().tolist() == [
        ["mug 1", 1, "Sea", 2, 6.0, 90.0],
        ["mug 1", 2, "Cloud", 1, 40.0, 90.0],
        ["mug 2", 1, "Sea", 2, 6.0, 90.0],
    ]
    assert table.rows.tolist() == [2, 2, 3]
    assert table.frame["cone"].tolist() == ["6", "6", "6"]


def test_numbers_do_as_well_as_words_and_the_first_may_go_without():
    numbered = {"piece": "mug 1", "cone": "6", "glaze": "Sea", "coats": "2", "edge": "6",
                "glaze 2": "Cloud", "coats 2": "1", "edge 2": "40", "begins": "90"}  # fmt: skip
    hers = read_columns(["edge=edge 1,begins=upper_edge_mm"])
    table, _ = table_of(numbered, columns=hers)
    words, _ = table_of(WIDE)
    pd.testing.assert_frame_equal(table.frame, words.frame)


def test_a_fault_of_a_wide_table_names_her_heading_and_row():
    table, _ = table_of({**WIDE, "top coats": "two"}, {**WIDE, "piece": "b", "top glaze": ""})
    assert [(fault.row, fault.column) for fault in table.faults] == [
        (2, "top coats"), (3, "top glaze"),
    ]  # fmt: skip
    table, _ = table_of({**WIDE, "base glaze": "", "base coats": "", "base edge": ""})
    assert "leaves a gap" in table.faults[0].message
    empty = {name: "" if name[:4] in ("base", "top ") else cell for name, cell in WIDE.items()}
    table, _ = table_of(WIDE, {**empty, "piece": "bare"})
    assert {(fault.row, fault.column) for fault in table.faults} >= {(3, "base glaze")}


def test_a_run_told_once_is_of_the_layer_that_ends_lowest():
    table, told = table_of({**WIDE, "run_mm": "4", "past_foot": "no"})
    assert table.frame["run_mm"].tolist()[0] == 4.0 and table.frame["run_mm"].isna()[1]
    assert table.frame["past_foot"].tolist() == ["no", "no"]
    assert "ends lowest" in told[0]
    table, _ = table_of({**WIDE, "past_foot": "yes"})
    assert table.frame["past_foot"].tolist() == ["yes", ""]
    table, told = table_of({**WIDE, "ran 1": "1", "ran 2": "4", "past 2": "no"})
    assert table.frame["run_mm"].tolist() == [1.0, 4.0] and not told
    table, told = table_of({**WIDE, "top edge": "6", "run_mm": "4"})  # both end alike
    assert table.frame["run_mm"].tolist() == [4.0, 4.0] and not told


def test_pots_of_one_row_need_no_layer_but_those_of_two_do():
    one = {name: cell for name, cell in LAID.items() if name != "layer"}
    table, _ = table_of(one, {**one, "piece": "mug 2"})
    assert not table.faults and table.frame["layer"].tolist() == [1, 1]
    table, _ = table_of(one, {**one, "glaze": "Cloud"})
    assert [fault.column for fault in table.faults] == ["layer"]


def test_the_first_row_of_a_pot_carries_its_cells_down():
    first = {**LAID, "firing": "Tern", "fired_on": "2026-03-08", "side": ""}
    below = {**dict.fromkeys(first, ""), "layer": "2", "glaze": "Cloud", "coats": "1",
             "lower_edge_mm": "40", "upper_edge_mm": "90"}  # fmt: skip
    inside = {**below, "layer": "1", "side": "inside"}
    again = {**first, "piece": "mug 2"}
    table, _ = table_of(first, below, inside, again, {**below, "piece": "mug 2"})
    assert not table.faults
    assert table.frame["piece"].tolist() == ["mug 1"] * 3 + ["mug 2"] * 2
    assert set(table.frame["firing"]) == {"Tern"}
    assert set(table.frame["fired_on"]) == {"2026-03-08"}


def test_a_row_that_does_not_go_on_carries_nothing():
    first = {**LAID, "firing": "Tern"}
    table, _ = table_of(first, {**LAID, "piece": "", "firing": ""})  # layer 1 again
    assert [(fault.row, fault.column) for fault in table.faults] == [(3, "piece")]
    table, _ = table_of(first, {**LAID, "firing": ""})  # the same name, another firing
    assert table.frame["firing"].tolist() == ["Tern", ""]
    table, _ = table_of(first, {**LAID, "layer": "2", "firing": "Frost"})
    assert table.frame["firing"].tolist() == ["Tern", "Frost"]
    table, _ = table_of({**LAID, "piece": ""}, {**LAID, "piece": "", "layer": "2"})
    assert [fault.row for fault in table.faults if fault.column == "piece"] == [2, 3]


def test_what_she_calls_our_columns_is_read(tmp_path):
    pairs = {"pot": "piece", "bottom": "foot_in", "slip": "glaze 2"}
    given = read_columns(["Pot=piece,bottom=foot_in", "slip=glaze 2"])
    assert given == pairs
    file = tmp_path / "columns.csv"
    file.write_text("yours,ours\nPot,piece\nbottom,foot_in\nslip,glaze 2\n", encoding="utf-8")
    assert read_columns([str(file)]) == pairs
    hers = {"Pot": "mug 1", **{name: cell for name, cell in LAID.items() if name != "piece"}}
    table, told = table_of({**hers, "Bottom": "2 1/2"}, columns=given)
    assert table.frame["foot_mm"].tolist() == [63.5] and not told and not table.faults


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("pot", "is no pair"),
        ("bottom=foot_m", "did you mean foot_mm?"),
        ("pot=zzzz", "template"),
        ("=piece", "is no pair"),
        ("pot=piece,POT=body", "keep one"),
    ],
)
def test_a_pair_that_cannot_be_used_is_refused(words, said):
    with pytest.raises(BadInput, match=said):
        read_columns([words])


def test_a_column_that_is_missing_is_looked_for_among_hers():
    hers = {"Pot": "mug 1", "Clay": "grey", **{k: v for k, v in LAID.items() if k != "piece"}}
    table, told = table_of(hers)
    (fault,) = table.faults
    assert fault.column == "piece" and 'Is it your "Pot"?' in fault.message
    assert any('--columns "Pot=piece,Clay=body"' in line for line in told)
    with pytest.warns(TableWarning, match="it is kept unread"):
        table_of_one = check_rows(pd.DataFrame([{**LAID, "past_fot": "no"}]), "layers", "mine.csv")
    assert len(table_of_one.notes) == 1
    strange = check_rows(pd.DataFrame([{"Pot": "a", "Dips": "2"}]), "layers", "mine.csv")
    assert '--columns "Pot=piece,Dips=coats"' in strange.faults[0].message


def test_a_table_is_known_by_headings_that_only_may_be_ours():
    assert kind_of(["Recipe", "Ingredient", "Percent"]) == "recipes"
    assert kind_of(["Pot", "Dips", "Bare foot"]) == "layers"
    assert kind_of(["Price", "Sold to"]) is None


def test_the_name_of_a_file_helps_where_its_headings_say_little():
    hers = ["Glaze name", "Type", "Runs?", "Cone"]
    assert kind_of(hers) == "layers", "by the cone alone"
    assert kind_of(hers, name="Glazes") == "glazes"
    assert kind_of(["Price", "Sold to"], name="glazes") is None
    assert kind_of(LAID, name="glazes") == "layers", "what stands in a table goes before its name"


def test_her_two_edges_are_meant_where_the_foot_has_a_column_of_its_own():
    row = {"piece": "mug", "glaze": "Sea", "Coats": "2", "Bottom": "8", "Top (in)": "3.5"}
    _, told = table_of(row | {"Foot (in)": "3"})
    assert '--columns "Bottom=lower_edge_mm,Top (in)=upper_edge_mm"' in told[-1]
    _, told = table_of(row)
    assert '--columns "Bottom=foot_mm,Top (in)=upper_edge_mm"' in told[-1]


def test_two_headings_are_never_taken_for_one_column():
    _, told = table_of(LAID | {"Maker": "Ana", "Hand": "left"})
    assert sum("glazed_by" in line for line in told) == 1


def test_rows_without_a_name_are_further_layers_of_the_pot_above():
    rows = [
        {"piece": name, "glaze": glaze, "coats": "2 dips", "lower_edge_mm": "8",
         "upper_edge_mm": "90", "cone": "6", "fired_on": day}
        for name, glaze, day in (
            ("mug", "Sea", "7.12.2026"), ("", "Fog", ""), ("", "Ash", ""), ("bowl", "Sea", ""),
        )
    ]  # fmt: skip
    table, told = table_of(*rows)
    assert table.faults == []
    assert table.frame["piece"].tolist() == ["mug"] * 3 + ["bowl"]
    assert table.frame["layer"].tolist() == [1, 2, 3, 1]
    assert table.frame["coats"].tolist() == [2] * 4
    assert table.frame["fired_on"].tolist() == ["2026-12-07"] * 3 + [""]
    assert any("further layers of the pot above" in line for line in told)
    table, _ = table_of(*({"pot": row["piece"]} | row for row in rows), columns={"piece": "note"})
    assert [fault.column for fault in table.faults if fault.row is None] == ["piece"]
    for wrong in (rows[1:], [*rows, rows[0]]):  # whose rows they are cannot be known
        table, told = table_of(*wrong)
        assert any(fault.column == "layer" for fault in table.faults)
    table, told = table_of(rows[0], rows[3])
    assert table.faults == []
    assert told == []
