"""Files brought to the logbook: which table each holds, and the blank form to fill in."""

from __future__ import annotations

import io
import os
import re
import warnings
from collections.abc import Iterable
from pathlib import Path

import pandas as pd

from runpredict.datafiles import OXIDES, packaged_rows
from runpredict.errors import BadInput, Fault, TableWarning
from runpredict.logbook.form_lists import ANGLE_SHEET, add_lists, add_picture
from runpredict.logbook.history import CHANGE_COLUMNS, HISTORY
from runpredict.tables.cells import Table, plain_heading
from runpredict.tables.columns import COLUMNS, KINDS, TableKind
from runpredict.tables.csv_files import SEPARATORS, first_line, load_table, load_workbook
from runpredict.tables.files import read_bytes, refuse_file, replace_file
from runpredict.tables.rows import empty_table
from runpredict.tables.workbooks import write_workbook

GUIDE_SHEET = "how to fill this in"
_GUIDE_WIDTHS = (14, 18, 90, 34)
_SHEETS_APART = {
    GUIDE_SHEET: "",
    ANGLE_SHEET: "",
    HISTORY: "is not imported: a logbook keeps its own history.",
}


def recognise_kind(path: str | os.PathLike[str]) -> TableKind:
    """Which table a CSV file holds, by its headings.

    Parameters
    ----------
    path : path

    Returns
    -------
    TableKind
        The one that knows most of the headings, then the one whose needed columns are there.

    Raises
    ------
    BadInput
        If the file cannot be read, or its headings are of no table.
    """
    file = Path(path)
    headings = _headings(file)

    def fit(kind: TableKind) -> tuple[int, bool]:
        known = {column.name.casefold() for column in COLUMNS[kind]}
        needed = {column.name.casefold() for column in COLUMNS[kind] if column.needed}
        return len(known & headings), needed <= headings

    best = max(KINDS, key=fit)
    if fit(best)[0] == 0:
        load_table(file, best)  # tells first if it is empty or no text at all
        refuse_file(
            file.name,
            f"its first row has no heading of a table ({', '.join(KINDS)}); "
            "write a form with `runpredict template` to see them.",
        )
    return best


def _headings(file: Path) -> set[str]:
    """What stands in the first row of a CSV file, whatever it holds."""
    content = read_bytes(file)
    wide = content.startswith((b"\xff\xfe", b"\xfe\xff"))
    text = content.decode("utf-16" if wide else "utf-8-sig", errors="replace")
    line, _ = first_line(text.replace("\r", "\n"))
    return {plain_heading(cell) for cell in re.split(f"[{SEPARATORS}]", line)}


def load_files(paths: Iterable[str | os.PathLike[str]]) -> tuple[list[Table], list[Fault]]:
    """Tables of some files, and why the other files cannot be read.

    Parameters
    ----------
    paths : iterable of path
        CSV of any table, or workbooks with a sheet for each table. The history of an export is
        passed over with a word, as the logbook keeps its own.

    Returns
    -------
    tables : list of Table
        Faults of cells and rows are kept in each.
    faults : list of Fault

    Warns
    -----
    TableWarning
        As `csv_files.load_table` and `csv_files.load_workbook`.
    """
    files = [Path(path) for path in paths]
    names = [file.name for file in files]
    tables: list[Table] = []
    faults: list[Fault] = []
    for file in dict.fromkeys(files):
        try:
            name = file.name if names.count(file.name) == 1 else str(file)
            if file.suffix.casefold() in (".xlsx", ".xlsm"):
                tables += load_workbook(file, _SHEETS_APART).values()
            elif _headings(file).issuperset(CHANGE_COLUMNS):
                told = Fault(name, None, None, _SHEETS_APART[HISTORY])
                warnings.warn(TableWarning(told), stacklevel=2)
            else:
                tables.append(load_table(file, recognise_kind(file), name))
        except BadInput as bad:
            faults.extend(bad.faults)
    return tables, faults


def _guide() -> pd.DataFrame:
    """One row a column, in plain words; the oxides share one."""
    rows = [dict(row) for row in packaged_rows("logbook_guide.csv")]
    for row in rows:
        row["column"] = row["column"].replace("{oxides}", f"{OXIDES[0]} ... {OXIDES[-1]}")
    return pd.DataFrame(rows)


def write_template(path: str | os.PathLike[str], wall_angles_png: bytes | None = None) -> None:
    """Write a blank workbook to fill in at the bench: a sheet a table, and one of instructions.

    Parameters
    ----------
    path : path
        An .xlsx file that is not there yet.
    wall_angles_png : bytes, optional
        Picture of what `wall_deg` means, for a sheet of its own.

    Raises
    ------
    BadInput
        If it is there already, is not called .xlsx, or cannot be written.
    """
    from openpyxl import load_workbook as open_book  # noqa: PLC0415 - slow, for workbooks only
    from openpyxl.styles import Alignment, Font  # noqa: PLC0415

    file = Path(path)
    if file.suffix.casefold() != ".xlsx":
        refuse_file(file.name, "is not named as a workbook; end its name in .xlsx.")
    if file.exists():
        refuse_file(file.name, "is there already and may be filled in; give another name.")
    order: list[TableKind] = ["layers", "glazes", "recipes", "materials", "schedules"]
    sheets: dict[str, pd.DataFrame] = {GUIDE_SHEET: _guide()}
    sheets |= {kind: empty_table(kind) for kind in order}
    with replace_file(file) as temporary:
        write_workbook(sheets, temporary)
        book = open_book(io.BytesIO(temporary.read_bytes()))
        for sheet in book.worksheets:
            for cell in sheet[1]:
                cell.font = Font(bold=True)
        for column, width in zip("ABCD", _GUIDE_WIDTHS, strict=True):
            book[GUIDE_SHEET].column_dimensions[column].width = width
            for cell in book[GUIDE_SHEET][column]:
                cell.alignment = Alignment(wrap_text=True, vertical="top")
        add_lists(book)
        if wall_angles_png is not None:
            add_picture(book, wall_angles_png, place=1)
        book.save(temporary)
