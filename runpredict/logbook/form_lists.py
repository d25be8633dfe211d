"""What the blank form offers beside its headings: lists to choose from and a picture."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from runpredict.tables.columns import COLUMNS, KINDS, Column, TableKind, cones

if TYPE_CHECKING:
    from openpyxl import Workbook

ANGLE_SHEET = "wall angle"
"""The sheet with what `wall_deg` means; it is never read."""
LAST_ROW = 2000
"""Last row that the lists and the form of text reach."""
PICTURE_WIDTH_PX = 760
_GLAZE_NAMES = f"glazes!$A$2:$A${LAST_ROW}"


def add_lists(book: Workbook) -> None:
    """Let the cells of every table be text, and offer what a word, a cone or a glaze may be.

    Parameters
    ----------
    book : openpyxl.Workbook
        With a sheet for each kind of table, the headings in its first row.

    Notes
    -----
    A glaze that is not yet in the sheet of glazes may be typed all the same.
    """
    from openpyxl.utils import get_column_letter  # noqa: PLC0415 - slow, for workbooks only
    from openpyxl.worksheet.datavalidation import DataValidation  # noqa: PLC0415

    for kind in KINDS:
        sheet = book[kind]
        for number, column in enumerate(COLUMNS[kind], start=1):
            choice = _choice(kind, column)
            if not choice:
                continue
            offered = DataValidation(
                type="list",
                formula1=choice,
                allow_blank=True,
                showErrorMessage=not choice.startswith("glazes!"),
                errorStyle="warning",
                errorTitle=column.name,
                error="Choose one from the list, or leave the cell blank.",
            )
            letter = get_column_letter(number)
            offered.add(f"{letter}2:{letter}{LAST_ROW}")
            sheet.add_data_validation(offered)


def _choice(kind: TableKind, column: Column) -> str:
    """What a spreadsheet offers in a column; blank where anything may be typed."""
    if column.form == "cone":
        return f'"{",".join(cones())}"'
    if column.form == "word":
        return f'"{",".join(column.words)}"'
    return _GLAZE_NAMES if column.name == "glaze" and kind != "glazes" else ""


def add_picture(book: Workbook, png: bytes, place: int) -> None:
    """Add the sheet with the picture of the wall's angle.

    Parameters
    ----------
    book : openpyxl.Workbook
    png : bytes
        As `drawings.wall_angles.wall_angles_png` returns.
    place : int
        Number of the sheet, from 0.
    """
    from openpyxl.drawing.image import Image  # noqa: PLC0415 - slow, for workbooks only

    sheet = book.create_sheet(ANGLE_SHEET, place)
    picture = Image(io.BytesIO(png))
    picture.height = round(picture.height * PICTURE_WIDTH_PX / picture.width)
    picture.width = PICTURE_WIDTH_PX
    sheet.add_image(picture, "A1")
