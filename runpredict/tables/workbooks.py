"""Workbooks (.xlsx): the cells of their sheets as they are shown, and tables written as sheets."""

from __future__ import annotations

import io
import math
import re
import warnings
import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from runpredict.errors import BadInput, quoted, refuse_file
from runpredict.tables.columns import MAX_COLUMNS
from runpredict.tables.files import read_bytes
from runpredict.tables.number_formats import shown_number

if TYPE_CHECKING:
    from openpyxl import Workbook

MAX_UNPACKED_BYTES = 128 * 2**20
MAX_CELLS = 1_000_000
"""What a workbook may hold; more takes over 1 GB to read, and fits better into CSV."""

_ENCRYPTED = "EncryptedPackage".encode("utf-16-le")
_LOCKED = "is locked with a password; save it again without one."
_OLD_KIND = b"\xd0\xcf\x11\xe0"
_CELL = re.compile(rb"<(?:\w+:)?c[\s/>]")
_FORMULA = re.compile(rb"<(?:\w+:)?f[\s/>]")


@dataclass
class Sheet:
    """What a sheet shows.

    Parameters
    ----------
    title : str
        Its name in small letters.
    records : list of list of str
        Rows of cells, none longer than its last filled one; a blank row is an empty list.
    faults : list of (int or None, str)
        What cannot be read as it is shown: the row, and a sentence that names the cell.
    """

    title: str
    records: list[list[str]]
    faults: list[tuple[int | None, str]] = field(default_factory=list)


def workbook_sheets(path: Path) -> list[Sheet]:
    """Every sheet that holds a cell.

    Parameters
    ----------
    path : Path
        An .xlsx file.

    Returns
    -------
    list of Sheet
        Of different titles.

    Raises
    ------
    BadInput : if it cannot be read, is too large, holds nothing, or two sheets have one name.
    """
    content = read_bytes(path)
    if content.startswith(_OLD_KIND):
        if _ENCRYPTED in content:
            refuse_file(path.name, _LOCKED)
        refuse_file(path.name, "is a workbook of the old kind, .xls; save it as .xlsx.")
    try:
        sheets = _read_sheets(content, path.name)
    except (BadInput, MemoryError):
        raise
    except Exception:  # openpyxl raises anything of an archive that is not sound
        refuse_file(path.name, "is not a workbook that can be read; save it again as .xlsx.")
    if not sheets:
        refuse_file(path.name, "is empty; give a row of headings and then the rows.")
    titles = [sheet.title for sheet in sheets]
    for title in titles:
        if titles.count(title) > 1:
            refuse_file(path.name, f'has two sheets named "{title}"; keep or rename one.')
    return sheets


def _read_sheets(content: bytes, name: str) -> list[Sheet]:
    formulas = _look_over(content, name)
    book = _open(content, stored_values=True)
    typed = _open(content, stored_values=False) if formulas else book
    sheets = [_sheet(sheet, typed[sheet.title]) for sheet in book.worksheets]
    return [sheet for sheet in sheets if any(sheet.records)]


def _look_over(content: bytes, name: str) -> bool:
    """Refuse what is too large before it is read; whether any cell holds a formula."""
    cells, formulas = 0, False
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        parts = archive.infolist()
        if any(part.flag_bits & 1 for part in parts):
            refuse_file(name, _LOCKED)
        if sum(part.file_size for part in parts) > MAX_UNPACKED_BYTES:
            refuse_file(name, "is too large when unpacked; save its tables as CSV.")
        for part in parts:
            if part.filename.startswith("xl/worksheets/"):
                text = archive.read(part)
                cells += sum(1 for _ in _CELL.finditer(text))
                formulas = formulas or _FORMULA.search(text) is not None
    if cells > MAX_CELLS:
        refuse_file(name, f"has more than {MAX_CELLS:,} cells; save its tables as CSV.")
    return formulas


def _open(content: bytes, stored_values: bool) -> Any:
    from openpyxl import load_workbook  # noqa: PLC0415 - slow to load, needed for workbooks only

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of styles and forms, which hold no cells
        return load_workbook(io.BytesIO(content), data_only=stored_values, keep_links=False)


def _sheet(sheet: Any, typed: Any) -> Sheet:
    found = Sheet(sheet.title.strip().casefold(), [])
    rows: dict[int, dict[int, str]] = {}
    # Not by rows, which would make a cell wherever one could be.
    for (row, column), cell in sheet._cells.items():
        try:
            text = _shown(cell, typed._cells[row, column])
        except ValueError as fault:
            found.faults.append((row, f"cell {cell.coordinate} {fault}."))
            text = ""
        if text and column > MAX_COLUMNS:
            found.faults.append((row, f"cell {cell.coordinate} is too far right; clear it."))
        elif text:
            rows.setdefault(row, {})[column] = text
    for row in range(1, max(rows, default=0) + 1):
        cells = rows.get(row, {})
        found.records.append([cells.get(at, "") for at in range(1, max(cells, default=0) + 1)])
    found.faults += _unlike_shown(sheet, rows)
    return found


def _shown(cell: Any, typed: Any) -> str:
    """What a cell shows.

    Raises
    ------
    ValueError : if that is not what it holds, or it holds no value.
    """
    value = cell.value
    if value is None:
        if typed.data_type == "f" and cell.data_type == "n":
            raise ValueError(
                "is a formula whose value is not stored; save the workbook in a spreadsheet, or "
                "type the value"
            )
        return ""
    if cell.data_type == "e":
        raise ValueError(f"shows {quoted(str(value))}, an error; mend it or clear it")
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, int | float):
        return _number(value, cell.number_format)
    if isinstance(value, datetime):
        return value.isoformat(sep=" ").removesuffix(" 00:00:00")
    return str(value).strip()


def _number(value: float, number_format: str) -> str:
    if not math.isfinite(value):
        raise ValueError("holds no number that can be read; type it again")
    try:
        return shown_number(value, number_format)
    except ValueError as fault:
        raise ValueError(f"{fault}; set its format to General") from None


def _unlike_shown(sheet: Any, rows: Mapping[int, Mapping[int, str]]) -> Iterator[tuple[Any, str]]:
    """Where a sheet shows something else than its cells hold: what is merged or hidden."""
    if sheet.sheet_state != "visible":
        yield None, "the sheet is hidden; show it or remove it."
    merged: dict[int, list[str]] = {}
    for cells in sorted(sheet.merged_cells.ranges, key=lambda cells: cells.bounds):
        if rows.get(cells.min_row, {}).get(cells.min_col):
            letter = sheet.cell(cells.min_row, cells.min_col).column_letter
            merged.setdefault(cells.min_row, []).append(letter)
    for row, letters in sorted(merged.items()):
        which = f"column{'s' * (len(letters) > 1)} {', '.join(letters)}"
        yield row, f"cells of {which} are merged with others; split them and fill each."
    for row in rows:
        if row in sheet.row_dimensions and sheet.row_dimensions[row].hidden:
            yield row, "the row is hidden; clear the filter or show it, or remove it."
    used = {column for cells in rows.values() for column in cells}
    for letter, column in sheet.column_dimensions.items():
        folded = column.outlineLevel > 0  # under a + that anybody sees
        if column.hidden and not folded and used & set(range(column.min, column.max + 1)):
            yield None, f"column {letter} is hidden; show it or remove it."


def workbook_of(tables: Mapping[str, pd.DataFrame]) -> Workbook:
    """Tables as the sheets of a workbook.

    Parameters
    ----------
    tables : mapping of DataFrame by the name of the sheet
        Those without rows make a blank form to fill in.

    Notes
    -----
    Cells that are not numbers are of type text, and so are the empty ones below them: cone 06
    stays 06, and 3/8 in does not become a date.
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
    return book


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
