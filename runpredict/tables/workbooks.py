"""Workbooks (.xlsx): the cells of their sheets, and tables written as sheets."""

from __future__ import annotations

import io
import math
import os
import warnings
import zipfile
import zlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import ParseError

import numpy as np
import pandas as pd

from runpredict.tables.files import read_bytes, refuse_file, replace_file

__all__ = ["save_workbook", "workbook_cells", "write_workbook"]

_BROKEN = (
    zipfile.BadZipFile,
    zlib.error,
    ParseError,
    KeyError,
    ValueError,
    TypeError,
    AttributeError,
    OSError,
    EOFError,
)
"""What openpyxl raises for an archive that is not a sound workbook."""


def workbook_cells(path: Path) -> dict[str, list[list[Any]]]:
    """Cells of every sheet that holds any.

    Parameters
    ----------
    path : Path
        An .xlsx file.

    Returns
    -------
    dict
        Rows of cells by the sheet's name in small letters; a blank row is an empty list.

    Raises
    ------
    BadInput
        If it cannot be read, or holds nothing.
    """
    from openpyxl import load_workbook  # noqa: PLC0415 - slow to load, needed for workbooks only

    content = read_bytes(path)
    sheets: dict[str, list[list[Any]]] = {}
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of styles and forms, which hold no cells
            book = load_workbook(io.BytesIO(content), read_only=True, data_only=True)
            for sheet in book.worksheets:
                sheet.reset_dimensions()
                records = [
                    list(record) if any(cell is not None for cell in record) else []
                    for record in sheet.iter_rows(values_only=True)
                ]
                if any(records):
                    sheets[sheet.title.strip().casefold()] = records
    except _BROKEN:
        refuse_file(path.name, "is not a workbook that can be read; save it again as .xlsx.")
    if not sheets:
        refuse_file(path.name, "is empty; give a row of headings and then the rows.")
    return sheets


def write_workbook(tables: Mapping[str, pd.DataFrame], path: str | os.PathLike[str]) -> None:
    """Write tables as the sheets of a workbook, whole or not at all.

    Parameters
    ----------
    tables : mapping of DataFrame by the name of the sheet
        Those without rows make a blank form to fill in.
    path : path
        An .xlsx file to make or to replace.

    Raises
    ------
    BadInput
        As `files.replace_file`.

    Notes
    -----
    Cells that are not numbers are of type text, and so are the empty ones below them: cone 06
    stays 06, and 3/8 in does not become a date.
    """
    with replace_file(path) as temporary:
        save_workbook(tables, temporary)


def save_workbook(tables: Mapping[str, pd.DataFrame], file: Path) -> None:
    """As `write_workbook`, straight to a file that has not got its name yet.

    Raises
    ------
    OSError
    """
    from openpyxl import Workbook  # noqa: PLC0415 - slow to load, needed for workbooks only
    from openpyxl.utils import get_column_letter  # noqa: PLC0415

    book = Workbook()
    book.remove(book.worksheets[0])
    for name, table in tables.items():
        sheet = book.create_sheet(name)
        sheet.freeze_panes = "A2"
        for number, heading in enumerate(table.columns, start=1):
            column = sheet.column_dimensions[get_column_letter(number)]
            column.number_format = "@"
            column.width = max(8, len(str(heading)) + 2)
            cells = table.iloc[:, number - 1].tolist()
            for row, cell in enumerate([str(heading), *cells], start=1):
                _put_cell(sheet.cell(row, number), cell)
    book.save(file)


def _put_cell(place: Any, cell: Any) -> None:
    if isinstance(cell, int | float | np.integer | np.floating) and not isinstance(cell, bool):
        if math.isfinite(cell):
            place.value = int(cell) if float(cell).is_integer() else float(cell)
        return
    text = "" if cell is None or cell is pd.NA else str(cell)
    if text:
        place.value = text
        place.data_type = "s"  # never a formula
        place.number_format = "@"
