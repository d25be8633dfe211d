"""What could be read as something else than was meant is refused, and what is meant is read."""

import math
import string

import numpy as np
import pandas as pd
import pytest
from helpers.tables import HEADINGS, faults_of, layers, read_text
from hypothesis import given
from hypothesis import strategies as st

from runpredict.errors import BadInput
from runpredict.tables.cells import parse_columns
from runpredict.tables.columns import COLUMNS, MAX_COLUMNS, MAX_ROWS, cones
from runpredict.tables.csv_files import read_table, table_csv, write_table
from runpredict.tables.rows import check_table
from runpredict.tables.texts import plain_name
from runpredict.units import parse_number, parse_temperature_c

ROW = "mug,f1,06,1,sea,2,3.5,40,0.25"


def of_column(name, cell, kind="layers"):
    """One cell read by its column; its fault where it cannot be."""
    table = parse_columns(pd.DataFrame({name: [cell]}), kind, "t")
    faults = [fault for fault in table.faults if fault.column == name]
    return faults if faults else table.frame[name].iloc[0]


@pytest.mark.parametrize("short", ["mug,f1,06,1,sea,2,3.5,4", "mug,f1,06,1,sea,2,3.5,40"])
def test_a_short_row_is_told_and_nothing_else_of_it(tmp_path, short):
    (fault,) = faults_of(read_text, tmp_path, f"{HEADINGS}\n{ROW}\n{short}")
    assert fault.startswith("layers.csv, row 3: has 8 cells under 9 headings; a comma may be miss")


@pytest.mark.parametrize(
    ("first", "second", "told"),
    [("1.220", "12,5", "may part thousands"), ("12,5", "1.220", "may part thousands")],
)
def test_thousands_beside_decimal_commas_are_asked_about(first, second, told):
    plan = layers({"lower_edge_mm": first}, {"lower_edge_mm": second, "layer": 2})
    (fault,) = faults_of(check_table, plan.assign(upper_edge_mm=1900), "layers")
    assert told in fault
    assert "type 1220 or 1,220" in fault


def test_three_decimals_without_decimal_commas_are_decimals():
    assert check_table(layers({"lower_edge_mm": "1.220"}), "layers")["lower_edge_mm"][0] == 1.22


@pytest.mark.parametrize("typed", ["5²", "5₂", "①", "2³ mm", "⑫"])
def test_raised_and_circled_digits_are_no_digits(typed):
    (fault,) = faults_of(check_table, layers({"lower_edge_mm": typed}), "layers")
    assert "is not a length" in fault
    with pytest.raises(ValueError, match="is not a number"):
        parse_number(typed)


@pytest.mark.parametrize(
    ("typed", "read"), [("½ in", 12.7), ("1½ in", 38.1), ("１２", 12.0), ("12\u00a0mm", 12.0)]
)
def test_other_characters_of_a_length_are_read(typed, read):
    assert check_table(layers({"lower_edge_mm": typed}), "layers")["lower_edge_mm"][0] == read


@pytest.mark.parametrize(
    ("column", "cell", "read"),
    [
        ("wall_deg", "60°", 60.0),
        ("wall_deg", "60 %", None),
        ("hold_min", "20 %", None),
        ("hold_min", "20°", None),
        ("coats", "2%", None),
        ("foot_mm", "70°", None),
        ("foot_mm", "70 %", None),
    ],
)
def test_a_sign_is_read_where_it_belongs(column, cell, read):
    if read is None:
        assert "is not a" in faults_of(check_table, layers({column: cell}), "layers")[0]
    else:
        assert check_table(layers({column: cell}), "layers")[column][0] == read


def test_per_cent_belongs_to_weight_percent():
    assert of_column("SiO2", "65 %", "glazes") == 65.0
    assert "is not a number" in str(of_column("SiO2", "65°", "glazes"))


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("blank", ["\n", "\n\n \n\n", "sep={}\n", "\nsep={}\n\n"])
def test_lines_before_the_headings_and_any_separator(tmp_path, separator, blank):
    text = blank.format(separator) + f"{HEADINGS}\n{ROW}\nx\n".replace(",", separator)
    faults = faults_of(read_text, tmp_path, text)
    assert [fault.split(":")[0] for fault in faults] == [f"layers.csv, row {text.count(chr(10))}"]


@pytest.mark.parametrize(
    "typed",
    [
        "Eel\u00a0Lantern",
        " Eel  Lantern ",
        "Eel\u200b Lantern",
        "\ufeffEel Lantern",
        "Eel Lantern\u200e",
    ],
)
def test_names_that_look_alike_are_alike(typed):
    assert check_table(layers({"glaze": typed}), "layers")["glaze"].tolist() == ["Eel Lantern"]


@pytest.mark.parametrize("typed", ["\u0645\u06cc\u200c\u062e\u0648", "\U0001f469\u200d\U0001f3a8"])
def test_joiners_that_a_script_needs_are_kept(typed):
    assert check_table(layers({"glaze": typed}), "layers")["glaze"].tolist() == [typed]


@given(st.text("ab\u00e9\u0301\u200d\u202e\u00a0 \u0645", max_size=8))
def test_a_name_once_plain_stays_as_it_is(text):
    plain = plain_name(text)
    assert plain_name(plain) == plain
    assert plain == plain.strip()


@pytest.mark.parametrize("char", ["\x00", "\x1b", "\x9b", "\ud800", "\ufffe", "\U0001ffff"])
@pytest.mark.parametrize("column", ["piece", "note"])
def test_what_no_workbook_or_terminal_can_show_is_refused(char, column):
    faults = faults_of(check_table, layers({column: f"a{char}b"}), "layers")
    assert "control character" in faults[0]
    assert all(char.isprintable() for char in faults[0])


def test_a_formula_behind_any_separator_is_made_harmless(tmp_path):
    notes = ["x;=1+1", "x\t@SUM(1)", "a|+1", "a\n-1", ";'=1", "=;=;=", "plain; text"]
    table = check_table(
        layers(*({"piece": f"p{i}", "note": n} for i, n in enumerate(notes))), "layers"
    )
    text = table_csv(table)
    for start in (";=", "\t@", "|+", "\n-"):
        assert start not in text
    assert "plain; text" in text
    write_table(table, tmp_path / "layers.csv")
    assert read_table(tmp_path / "layers.csv", "layers")["note"].tolist() == notes


@given(st.text("=+-@'\t\n;|,a\" ", max_size=12))
def test_any_note_comes_back_from_a_file(tmp_path_factory, text):
    table = check_table(layers({"note": text}), "layers")
    file = tmp_path_factory.mktemp("note") / "layers.csv"
    write_table(table, file)
    pd.testing.assert_frame_equal(read_table(file, "layers"), table)


def test_too_wide_and_too_long_tables_are_told(tmp_path):
    wide = ",".join(f"c{i}" for i in range(MAX_COLUMNS + 1))
    assert faults_of(read_text, tmp_path, f"{wide}\n") == [
        f"layers.csv: has {MAX_COLUMNS + 1} columns; give at most {MAX_COLUMNS}."
    ]
    text = "piece,glaze\n" + "a,b\n" * (MAX_ROWS + 1)
    assert "too many for one table; split it" in faults_of(read_text, tmp_path, text)[0]


FINITE = st.floats(0, 900).map(lambda value: round(value, 3))


@given(FINITE, st.sampled_from(["mm", "cm", "in", ""]), st.sampled_from([".", ","]))
def test_a_typed_length_is_read_as_meant_or_refused(value, unit, point):
    """However a length is typed, never another length."""
    typed = f"{value:.3f}".replace(".", point) + f" {unit}"
    read = of_column("foot_mm", typed)
    meant = value * {"mm": 1, "cm": 10, "in": 25.4, "": 1}[unit]
    if isinstance(read, list):
        assert meant > 1000 or meant < 1 or point == ","
    else:
        assert math.isclose(read, meant, abs_tol=1e-6)


@given(st.integers(0, 1500), st.sampled_from(["{}", "{:,}", "{}.0", "{} C", "{} °C", "{:,} C"]))
def test_a_typed_temperature_is_read_as_meant_or_refused(value, form):
    typed = form.format(value)
    try:
        assert parse_temperature_c(typed) == value
    except ValueError as fault:
        assert "," in typed
        assert "may part thousands" in str(fault)
    dotted = f"{value:,}".replace(",", ".")
    if "." in dotted:
        with pytest.raises(ValueError, match=f"type {value}, or"):
            parse_temperature_c(dotted)


@given(st.text(string.digits + "0. coneC^", max_size=8) | st.sampled_from(cones()))
def test_a_cone_is_read_as_written_or_refused(typed):
    read = of_column("cone", typed)
    if isinstance(read, str) and read:
        assert read in cones()
        assert read in typed.casefold()
    else:
        assert isinstance(read, list) or not typed.strip() or read == ""


CELLS = (
    st.text(max_size=12)
    | st.floats()
    | st.integers()
    | st.booleans()
    | st.none()
    | st.dates()
    | st.binary(max_size=4)
    | st.lists(st.integers(), max_size=2)
    | st.sampled_from([10**400, 10**5000, np.float32(2.5), np.int8(3), pd.NaT, pd.NA, 1 + 2j])
)


@pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning")
@given(st.data(), st.sampled_from(sorted(COLUMNS)))
def test_any_cells_are_read_or_told_in_one_line_each(data, kind):
    names = [column.name for column in COLUMNS[kind]]
    chosen = data.draw(st.lists(st.sampled_from(names), min_size=1, max_size=6, unique=True))
    count = data.draw(st.integers(1, 4))
    raw = pd.DataFrame(
        {name: pd.Series([data.draw(CELLS) for _ in range(count)], dtype=object) for name in chosen}
    )
    try:
        table = check_table(raw, kind)
    except BadInput as bad:
        assert all("\n" not in str(fault) for fault in bad.faults)
        assert all(str(fault).isprintable() for fault in bad.faults)
    else:
        pd.testing.assert_frame_equal(check_table(table, kind), table)
