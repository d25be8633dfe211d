"""Workbooks are read as they are shown, or refused with the cell's name."""

import io
import math
import tracemalloc
import warnings
import zipfile

import openpyxl
import pytest
from helpers.tables import LAYER, faults_of, read_workbook
from hypothesis import example, given
from hypothesis import strategies as st
from openpyxl.styles.numbers import BUILTIN_FORMATS

from runpredict.errors import BadInput, TableWarning
from runpredict.tables import workbooks
from runpredict.tables.csv_files import read_table
from runpredict.tables.number_formats import shown_number


def book_of(*rows, title="layers"):
    book = openpyxl.Workbook()
    book.active.title = title
    for row in rows:
        book.active.append(row)
    return book


def sound_book(**cells):
    """A sound layer, some of its cells changed: each a value, or a value and a number format."""
    named = {**LAYER, **cells}
    plain = {
        name: cell if isinstance(cell, tuple) else (cell, None) for name, cell in named.items()
    }
    book = book_of(list(plain), [value for value, _ in plain.values()])
    for at, (_, number_format) in zip(book.active[2], plain.values(), strict=True):
        if number_format:
            at.number_format = number_format
    return book


def read_book(book, folder):
    book.save(folder / "s.xlsx")
    return read_table(folder / "s.xlsx", "layers")


def fault_of(book, folder):
    (fault,) = faults_of(read_book, book, folder)
    return fault


@pytest.mark.parametrize(
    ("value", "number_format", "shown"),
    [
        (6, "00", "06"),
        (6, "General", "6"),
        (6, "@", "6"),
        (1220.0, "#,##0", "1220"),
        (1.25, '0.0" in"', "1.25 in"),
        (1.25, '0.00\\ "in"', "1.25 in"),
        (12, 'General" mm"', "12 mm"),
        (2165, '0"°F"', "2165°F"),
        (0.375, "# ?/?", "3/8"),
        (1.5, "# ?/?", "1 1/2"),
        (1.5, "?/?", "3/2"),
        (-1.5, '# ?/?" in"', "-1 1/2 in"),
        (2.0, "# ??/??", "2"),
        (0.25, "# ?/8", "1/4"),
        (0.6, "0%", "60%"),
        (0.07, "0.00%", "7%"),
        (5, "[Red]0_);(0)", "5"),
        (-5, "0;(0)", "(5)"),
        (0, '0;-0;"none"0', "none0"),
        (1.5, "0.00E+00", "1.5"),
        (1.5, "_(* #,##0.00_)", "1.5"),
    ],
)
def test_a_number_is_read_with_what_its_cell_shows(value, number_format, shown):
    assert shown_number(value, number_format) == shown


@pytest.mark.parametrize("number_format", [";;;", '"none"', "0,", "#,##0,", "[<1]0.0;0"])
def test_a_number_that_its_cell_does_not_show_is_refused(number_format):
    with pytest.raises(ValueError, match=r"is shown|does not show"):
        shown_number(1220.0, number_format)


# The formats that every spreadsheet has, by ECMA-376 part 1, 18.8.30, as openpyxl lists them.
@given(
    st.floats(-1e9, 1e9),
    st.sampled_from([f for f in BUILTIN_FORMATS.values() if not set("ymdhs@") & set(f)]),
)
def test_every_builtin_format_keeps_the_number(value, number_format):
    shown = shown_number(value, number_format).replace("(", "-").strip("$ )_-").lstrip("$")
    if "/" in number_format:
        whole, _, part = shown.rpartition(" ")
        above, _, below = part.partition("/")
        read = abs(float(whole or 0)) + float(above) / float(below or 1)
        assert math.isclose(read, abs(value), abs_tol=1.01)
    else:
        size = float(shown.removesuffix("%")) / (100 if "%" in number_format else 1)
        assert math.isclose(abs(size), abs(value), rel_tol=1e-12)


@given(
    st.floats(allow_nan=False, allow_infinity=False),
    st.text('0#?.,/%;"\\_*[]<1eE+-@ Gx', max_size=9),
)
@example(1.0, "[")
def test_any_format_shows_text_or_is_refused(value, number_format):
    try:
        assert isinstance(shown_number(value, number_format or "General"), str)
    except ValueError as fault:
        assert str(fault).startswith(("is shown", "holds"))


@pytest.mark.parametrize(
    ("cell", "column", "read"),
    [
        ((6, "00"), "cone", "06"),
        ((1.5, '0.0" in"'), "lower_edge_mm", 38.1),
        ((0.5, '# ?/?" in"'), "lower_edge_mm", 12.7),
        ("=1+1", "note", "=1+1"),
        (True, "past_foot", "yes"),
    ],
)
def test_cells_of_a_table_are_read_as_shown(tmp_path, cell, column, read):
    book = sound_book(**{column: cell})
    if cell == "=1+1":
        book.active[2][list(LAYER).index("piece") + len(LAYER)].data_type = "s"
    assert read_book(book, tmp_path)[column].tolist() == [read]


@pytest.mark.parametrize(
    ("cell", "column", "told"),
    [
        ((0.375, "# ?/?"), "lower_edge_mm", 'column lower_edge_mm: "3/8" has no unit'),
        (True, "coats", 'column coats: "TRUE" is not a number'),
        ("=B1*2", "coats", "cell F2 is a formula whose value is not stored"),
        ("#REF!", "coats", 'cell F2 shows "#REF!", an error'),
        ((1220, "0,"), "coats", "cell F2 is shown in thousands; set its format to General"),
    ],
)
def test_cells_that_are_not_as_shown_are_refused_by_name(tmp_path, cell, column, told):
    assert told in faults_of(read_book, sound_book(**{column: cell}), tmp_path)[0]


def test_a_stored_value_of_a_formula_is_read(tmp_path):
    sound_book(coats=2).save(tmp_path / "s.xlsx")
    with zipfile.ZipFile(tmp_path / "s.xlsx") as archive:
        parts = {part: archive.read(part) for part in archive.namelist()}
    sheet = parts["xl/worksheets/sheet1.xml"]
    formulas = {
        b'<c r="F2" t="n"><v>2</v></c>': b'<c r="F2"><f>1+1</f><v>2</v></c>',
        b'<c r="A2"': b'<c r="I2" t="str"><f>""</f><v></v></c><c r="A2"',
    }
    for old, new in formulas.items():
        assert old in sheet
        sheet = sheet.replace(old, new)
    parts["xl/worksheets/sheet1.xml"] = sheet
    with zipfile.ZipFile(tmp_path / "s.xlsx", "w") as archive:
        for part, content in parts.items():
            archive.writestr(part, content)
    assert read_table(tmp_path / "s.xlsx", "layers")["coats"].tolist() == [2]


def test_merged_hidden_and_doubled_are_refused(tmp_path):
    book = sound_book()
    book.active.merge_cells("A2:A3")
    assert "row 2: cells of column A are merged" in fault_of(book, tmp_path)
    book = book_of(list(LAYER), *(list(LAYER.values()) for _ in range(80)))
    for row in range(2, 80, 2):
        for letter in "CAB":
            book.active.merge_cells(f"{letter}{row}:{letter}{row + 1}")
    with pytest.raises(BadInput) as bad:
        read_book(book, tmp_path)
    told = [line for line in str(bad.value).splitlines() if "merged" in line]
    assert len(told) == 1
    assert "rows 2, 4, 6 and 36 more: cells of columns A, B, C are merged" in told[0]
    book = sound_book()
    book.active.row_dimensions[2].hidden = True
    assert "row 2: the row is hidden" in fault_of(book, tmp_path)
    book = sound_book()
    book.active.column_dimensions["C"].hidden = True
    assert "column C is hidden" in fault_of(book, tmp_path)
    book = sound_book()
    book.create_sheet("first", 0)["A1"] = "x"
    book["layers"].sheet_state = "hidden"
    assert "the sheet is hidden" in fault_of(book, tmp_path)
    book = sound_book()
    book.create_sheet("Layers ")["A1"] = "x"
    assert 'has two sheets named "layers"' in fault_of(book, tmp_path)


def test_what_is_wrong_with_other_sheets_does_not_matter(tmp_path):
    book = sound_book()
    other = book.create_sheet("scrap")
    other["A1"] = "=1/0"
    other.merge_cells("A1:B9")
    assert len(read_book(book, tmp_path)) == 1


def test_a_cell_far_away_costs_nothing(tmp_path):
    book = sound_book()
    book.active.cell(1_048_576, 1).number_format = "0.00"
    tracemalloc.start()
    try:
        assert len(read_book(book, tmp_path)) == 1
        book.active.cell(9, 16_384).value = "x"
        assert "cell XFD9 is too far right" in fault_of(book, tmp_path)
        _, peak_bytes = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak_bytes < 500e6  # 270 MB measured; a cell in each row and column takes gigabytes


def zipped(**parts):
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in parts.items():
            archive.writestr(name.replace("__", "/"), text)
    return content.getvalue()


def locked():
    """A zip whose entry is marked as locked, in both of its headers."""
    content = bytearray(zipped(xl__workbook="x"))
    content[6] |= 1
    content[content.index(b"PK\x01\x02") + 8] |= 1
    return bytes(content)


# Signature of a compound file and the name of its locked stream: [MS-CFB] 2.2, [MS-OFFCRYPTO] 2.3.
@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"\xd0\xcf\x11\xe0" + "EncryptedPackage".encode("utf-16-le"), "locked with a password"),
        (b"\xd0\xcf\x11\xe0" + bytes(600), "is a workbook of the old kind"),
        (locked(), "locked with a password"),
        (zipped(other="x"), "is not a workbook that can be read"),
        (zipped(xl__worksheets__sheet1=bytes(2**28)), "is too large when unpacked"),
        (zipped(xl__worksheets__sheet1="<c " * 1_000_001), "has more than 1,000,000 cells"),
    ],
)
def test_archives_that_are_odd_get_a_sentence(tmp_path, content, told):
    (tmp_path / "s.xlsx").write_bytes(content)
    assert told in faults_of(read_workbook, tmp_path / "s.xlsx")[0]


@given(st.data())
def test_a_spoilt_workbook_is_read_or_refused(tmp_path_factory, data):
    """Any part cut, changed or left out: an answer or sentences, never anything else."""
    folder = tmp_path_factory.mktemp("spoilt")
    sound_book().save(folder / "s.xlsx")
    with zipfile.ZipFile(folder / "s.xlsx") as archive:
        parts = {part: archive.read(part) for part in archive.namelist()}
    part = data.draw(st.sampled_from(sorted(parts)))
    at = data.draw(st.integers(0, len(parts[part])))
    new = data.draw(st.binary(max_size=5) | st.sampled_from([b"<", b'"', b"9", b"<f>1</f>"]))
    parts[part] = parts[part][:at] + new + parts[part][at + data.draw(st.integers(0, 60)) :]
    if data.draw(st.booleans()):
        del parts[data.draw(st.sampled_from(sorted(parts)))]
    with zipfile.ZipFile(folder / "s.xlsx", "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", TableWarning)
        try:
            read_table(folder / "s.xlsx", "layers")
        except BadInput as bad:
            assert all("\n" not in str(fault) for fault in bad.faults)


def test_too_little_memory_is_not_taken_for_a_broken_workbook(tmp_path, monkeypatch):
    def full(*_, **__):
        raise MemoryError

    monkeypatch.setattr(workbooks, "_open", full)
    with pytest.raises(MemoryError):
        read_book(sound_book(), tmp_path)
