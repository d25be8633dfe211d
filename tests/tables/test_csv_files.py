"""Tables in CSV files and workbooks, those of people who never saw the contract among them."""

import datetime
import string
import warnings

import numpy as np
import openpyxl
import pandas as pd
import pytest
from helpers.tables import ANALYSIS, HEADINGS, LAYER, faults_of, layers, read_text, read_workbook
from hypothesis import given
from hypothesis import strategies as st

from runpredict.errors import BadInput, TableWarning
from runpredict.tables.cells import parse_columns
from runpredict.tables.columns import COLUMNS, KINDS, cones
from runpredict.tables.csv_files import read_table, table_csv, write_table
from runpredict.tables.rows import check_table, empty_table
from runpredict.tables.workbooks import workbook_of

ROW = "mug,f1,06,1,céladon,2,3.5,40,0.25"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
def test_encodings_and_line_ends(tmp_path, encoding, line_end):
    table = read_text(tmp_path, f"{HEADINGS}\n{ROW}\n".replace("\n", line_end), encoding=encoding)
    assert table[["cone", "glaze", "lower_edge_mm"]].values.tolist() == [["06", "céladon", 3.5]]


def test_western_european_text_is_read_with_a_warning(tmp_path):
    with pytest.warns(TableWarning, match=r"layers\.csv: is read as Western European text"):
        table = read_text(tmp_path, f"{HEADINGS}\n{ROW}\n", encoding="cp1252")
    assert table["glaze"].tolist() == ["céladon"]


@pytest.mark.parametrize("separator", [";", "\t", "|"])
@pytest.mark.parametrize("declared", [True, False])
def test_separators_and_decimal_commas(tmp_path, separator, declared):
    text = f"{HEADINGS}\n{ROW}\n".replace(",", separator).replace("3.5", "3,5")
    table = read_text(tmp_path, f"sep={separator}\n{text}" if declared else text)
    assert table["lower_edge_mm"].tolist() == [3.5]


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"", "layers.csv: is empty; give a row of headings"),
        (b" \n\n", "layers.csv: is empty"),
        (b"a\0b", "layers.csv: is not a text file"),
        (bytes(range(256)), "layers.csv: is not UTF-8 text"),
        (b"PK\x03\x04...", "layers.csv: is a spreadsheet workbook"),
        (b"name,age\nbob,3\n", "layers.csv: its first row has no heading of layers; it needs"),
        (b"piece,piece\na,b\n", "layers.csv, column piece: the heading is there twice"),
        (f'{HEADINGS}\n"mug,f1'.encode(), "layers.csv, row 2: the row cannot be read"),
        (f"{HEADINGS}\n{ROW},,9\n".encode(), "layers.csv, row 2: has 11 cells under 9 headings"),
        (f"{HEADINGS},\n{ROW},9\n".encode(), "layers.csv: column 10 has no heading"),
        (f"{HEADINGS}\n{'9' * 200_000}\n".encode(), "layers.csv, row 2: the row cannot be read"),
    ],
)
def test_files_that_are_no_table_are_told(tmp_path, content, sentence):
    faults = faults_of(read_text, tmp_path, content)
    assert faults[0].startswith(sentence)


def test_blank_lines_count_as_a_spreadsheet_counts_them(tmp_path):
    bad = ROW.replace("06", "99").replace("mug", "vase")
    faults = faults_of(read_text, tmp_path, f"{HEADINGS}\n{ROW}\n\n,,,,,,,,\n{bad}\n")
    assert [fault.split(":")[0] for fault in faults] == ["layers.csv, row 5, column cone"]


def test_missing_file_and_folder_are_told(tmp_path):
    assert "there is no such file" in faults_of(read_table, tmp_path / "no.csv", "layers")[0]
    assert "cannot be read" in faults_of(read_table, tmp_path, "layers")[0]


def test_failed_write_changes_nothing(tmp_path):
    (tmp_path / "folder").mkdir()
    faults = faults_of(write_table, layers({}), tmp_path / "folder")
    assert "cannot be written" in faults[0]
    assert [path.name for path in tmp_path.iterdir()] == ["folder"]


def test_formulas_are_made_harmless_and_read_back_the_same(tmp_path):
    names = ["=cmd|' /C calc'!A0", "+1", "-1", "@SUM(1)", "'=1", "''@", "'quoted'", "plain"]
    table = check_table(layers(*({"piece": name} for name in names)), "layers")
    write_table(table, tmp_path / "layers.csv")
    for line in (tmp_path / "layers.csv").read_text(encoding="utf-8").splitlines():
        assert line[0] not in "=+-@\t\r"
    pd.testing.assert_frame_equal(read_table(tmp_path / "layers.csv", "layers"), table)


def test_numbers_are_written_in_the_fewest_digits():
    table = pd.DataFrame({"a": [1.0, 0.1 + 0.2, np.nan, -0.0], "b": [1, 2, 3, 4]})
    assert table_csv(table) == "a,b\n1,1\n0.30000000000000004,2\n,3\n0,4\n"


def check_name(text):
    """A name as the tables keep it."""
    table = parse_columns(pd.DataFrame({"body": [text[:60]]}), "layers", "t")
    return table.frame["body"].iloc[0]


NAMES = (
    st.text(st.characters(exclude_categories=["Cc", "Cs", "Zl", "Zp", "Zs"]), min_size=1)
    | st.text("=+-@'\u202e<>&,;\"", min_size=1, max_size=6)
    | st.text(string.ascii_letters + " ", min_size=1, max_size=12)
)
KNOWN_NAMES = NAMES.map(check_name).filter(bool)


@st.composite
def sound_layers(draw):
    rows = []
    pieces = draw(st.lists(KNOWN_NAMES, min_size=1, max_size=4, unique=True))
    for piece in pieces:
        shared = {
            "piece": piece,
            "firing": draw(KNOWN_NAMES),
            "body": draw(KNOWN_NAMES | st.just("")),
            "cone": draw(st.sampled_from(cones()[:21])),  # no cone beside its like without a 0
            "fired_on": draw(st.dates().map(str) | st.just("")),
            "foot_mm": draw(st.floats(5, 2000) | st.none()),
        }
        for layer in range(1, draw(st.integers(1, 3)) + 1):
            lower_mm = draw(st.floats(0, 900))
            upper_mm = lower_mm + draw(st.floats(1, 900))
            rows.append(
                {
                    **shared,
                    "layer": layer,
                    "glaze": draw(KNOWN_NAMES),
                    "coats": draw(st.integers(1, 9)),
                    "lower_edge_mm": lower_mm,
                    "upper_edge_mm": upper_mm,
                    "run_mm": draw(st.floats(0, upper_mm) | st.none()),
                    "past_foot": draw(st.sampled_from(["yes", ""])),
                    "note": draw(KNOWN_NAMES | st.just("")),
                }
            )
    return check_table(pd.DataFrame(rows), "layers")


@pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning")
@given(sound_layers())
def test_what_is_written_is_read_back(tmp_path_factory, table):
    folder = tmp_path_factory.mktemp("round")
    write_table(table, folder / "layers.csv")
    read = read_table(folder / "layers.csv", "layers")
    pd.testing.assert_frame_equal(read, table)
    assert table_csv(read) == table_csv(table)
    workbook_of({"layers": table}).save(folder / "log.xlsx")
    pd.testing.assert_frame_equal(read_workbook(folder / "log.xlsx")["layers"], table)


@given(st.binary(max_size=200), st.sampled_from(KINDS))
def test_any_file_is_read_or_refused_with_sentences(tmp_path_factory, content, kind):
    folder = tmp_path_factory.mktemp("any")
    heading = ",".join(column.name for column in COLUMNS[kind][:4]).encode()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", TableWarning)
        for whole in (content, heading + b"\n" + content):
            try:
                read_text(folder, whole, kind)
            except BadInput as bad:
                assert all("\n" not in str(fault) for fault in bad.faults)


def test_a_workbook_is_read_sheet_by_sheet(tmp_path):
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Layers"
    sheet.append([*LAYER, "fired_on", "past_foot"])
    sheet.append([*LAYER.values(), datetime.datetime(2026, 3, 8), True])
    sheet.append([None] * 3)
    book.create_sheet("glazes").append(list(ANALYSIS))
    book["glazes"].append(list(ANALYSIS.values()))
    book.create_sheet("scrap").append(["x"])
    book.save(tmp_path / "studio.xlsx")
    with pytest.warns(TableWarning, match=r"studio\.xlsx, sheet scrap: is not read; name it"):
        tables = read_workbook(tmp_path / "studio.xlsx")
    assert set(tables) == {"layers", "glazes"}
    assert tables["layers"][["fired_on", "past_foot"]].values.tolist() == [["2026-03-08", "yes"]]
    assert read_table(tmp_path / "studio.xlsx", "glazes")["SiO2"].tolist() == [65.0]


def test_a_date_in_a_workbook_is_told_with_its_sheet(tmp_path):
    book = openpyxl.Workbook()
    book.active.title = "layers"
    book.active.append(list(LAYER))
    book.active.append([*list(LAYER.values())[:-1], datetime.datetime(2026, 8, 3)])
    book.save(tmp_path / "s.xlsx")
    faults = faults_of(read_workbook, tmp_path / "s.xlsx")
    assert len(faults) == 1
    assert faults[0].startswith("s.xlsx, sheet layers, row 2, column upper_edge_mm: ")
    assert "turned a fraction into one" in faults[0]


@pytest.mark.parametrize("content", [b"", b"hello", b"PK\x03\x04broken"])
def test_a_broken_workbook_is_told(tmp_path, content):
    (tmp_path / "s.xlsx").write_bytes(content)
    assert "is not a workbook that can be read" in faults_of(read_workbook, tmp_path / "s.xlsx")[0]


def test_a_blank_workbook_keeps_cones_and_fractions_as_text(tmp_path):
    workbook_of({kind: empty_table(kind) for kind in KINDS}).save(tmp_path / "blank.xlsx")
    book = openpyxl.load_workbook(tmp_path / "blank.xlsx")
    assert tuple(book.sheetnames) == KINDS
    cone = [column.name for column in COLUMNS["layers"]].index("cone") + 1
    letter = openpyxl.utils.get_column_letter(cone)
    assert book["layers"].column_dimensions[letter].number_format == "@"
    assert all(table.empty for table in read_workbook(tmp_path / "blank.xlsx").values())
