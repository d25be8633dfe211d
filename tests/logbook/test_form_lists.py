"""The form to fill in, as a spreadsheet program would meet it."""

import io

import pytest
from openpyxl import load_workbook
from PIL import Image

from runpredict.commands.main import main
from runpredict.logbook.forms import ANGLE_SHEET
from runpredict.tables.columns import COLUMNS, FOLDED, KINDS, cones
from runpredict.tables.csv_files import load_table


@pytest.fixture
def form(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["template", "form.xlsx"]) == 0
    return load_workbook("form.xlsx")


def offered(sheet, heading):
    """The list of the column under a heading, at its second and at its hundredth row."""
    letter = next(cell.column_letter for cell in sheet[1] if cell.value == heading)
    lists = [v.formula1 for v in sheet.data_validations.dataValidation
             if f"{letter}2" in v.cells and f"{letter}100" in v.cells]  # fmt: skip
    return lists


def test_every_word_cone_and_glaze_has_a_list(form):
    for kind in KINDS:
        for column in COLUMNS[kind]:
            lists = offered(form[kind], column.name)
            if column.form == "cone":
                (one,) = lists
                assert one.strip('"').split(",") == list(cones())
                assert len(one) <= 257  # what a spreadsheet takes for a list in a cell, quoted
            elif column.form == "word":
                assert [one.strip('"').split(",") for one in lists] == [list(column.words)]
            elif column.name == "glaze" and kind != "glazes":
                assert lists == ["glazes!$A$2:$A$2000"]
                assert form["glazes"]["A1"].value == "glaze"
            else:
                assert lists == []


def test_cone_cells_are_text(form):
    """Typed as 06 it stays 06: the format of the whole column is text."""
    for kind, heading in (("layers", "cone"), ("glazes", "matures_cone"), ("layers", "foot_mm")):
        sheet = form[kind]
        letter = next(cell.column_letter for cell in sheet[1] if cell.value == heading)
        assert sheet.column_dimensions[letter].number_format == "@"


def test_a_page_has_the_wall_angle_drawn(form, capsys):
    (picture,) = form[ANGLE_SHEET]._images
    image = Image.open(io.BytesIO(picture._data()))
    assert image.width > 1000
    assert ANGLE_SHEET in form.sheetnames[:2]
    assert main(["import", "form.xlsx"]) == 0
    assert "not read" not in capsys.readouterr().err


def test_what_most_have_no_use_for_is_folded_away_and_read_all_the_same(form):
    sheet = form["layers"]
    places = {cell.value: sheet.column_dimensions[cell.column_letter] for cell in sheet[1]}
    folded = {name for name, place in places.items() if place.hidden}
    assert folded == {column.name for column in FOLDED} == {
        name for name, place in places.items() if place.outlineLevel == 1
    }  # fmt: skip
    cells = {"piece": "mug", "layer": 1, "glaze": "sea", "coats": 1, "lower_edge_mm": 5,
             "upper_edge_mm": 90, "shelf": "top", "cone": "6"}  # fmt: skip
    for cell in sheet[1]:
        if cell.value in cells:
            sheet.cell(2, cell.column, cells[cell.value])
    form.save("filled.xlsx")
    table = load_table("filled.xlsx", "layers")
    assert table.faults == [] and table.frame["shelf"].tolist() == ["top"]
