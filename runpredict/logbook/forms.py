"""Files brought to the logbook: which table each holds, and the blank form to fill in."""

from __future__ import annotations

import io
import os
import re
import warnings
from collections.abc import Iterable, Sequence
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from runpredict.datafiles import OXIDES, packaged_rows
from runpredict.errors import BadInput, Fault, TableWarning, printable, refuse_file
from runpredict.logbook.book import Logbook
from runpredict.logbook.history import CHANGE_COLUMNS, HISTORY
from runpredict.logbook.photos import take_along
from runpredict.logbook.rows import Counts
from runpredict.logbook.schema import FILE_NAME, new_in_memory
from runpredict.tables.cells import Table
from runpredict.tables.columns import COLUMNS, FOLDED, KINDS, Column, TableKind, cones
from runpredict.tables.csv_files import (
    SEPARATORS,
    first_line,
    load_table,
    load_workbook,
    write_table,
)
from runpredict.tables.files import read_bytes, replace_file
from runpredict.tables.headings import Columns, kind_of, plain_heading, read_columns
from runpredict.tables.rows import empty_table
from runpredict.tables.workbooks import workbook_of

if TYPE_CHECKING:
    from openpyxl import Workbook
    from openpyxl.worksheet.worksheet import Worksheet

GUIDE_SHEET = "how to fill this in"
ANGLE_SHEET = "wall angle"
"""The sheet with what `wall_deg` means; it is never read."""
LAST_ROW = 2000
"""Last row that the lists and the form of text reach."""
PICTURE_WIDTH_PX = 760
_GLAZE_NAMES = f"glazes!$A$2:$A${LAST_ROW}"
_ORDER: tuple[TableKind, ...] = ("layers", *(kind for kind in KINDS if kind != "layers"))
_GUIDE_WIDTHS = (14, 18, 90, 34)
_SHEETS_APART = {
    GUIDE_SHEET: "",
    ANGLE_SHEET: "",
    HISTORY: "is not imported: a logbook keeps its own history.",
}


def recognise_kind(path: str | os.PathLike[str], columns: Columns | None = None) -> TableKind:
    """Which table a CSV file holds, by its headings and its name.

    Parameters
    ----------
    path : path
    columns : mapping of str, optional
        What she calls our columns.

    Returns
    -------
    TableKind
        As `headings.kind_of`.

    Raises
    ------
    BadInput : if the file cannot be read, or its headings are of no table.
    """
    file = Path(path)
    best = kind_of(_headings(file), columns, file.stem)
    if best is None:
        load_table(file, KINDS[0])  # tells first if it is empty or no text at all
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


def load_files(
    paths: Iterable[str | os.PathLike[str]], columns: Columns | None = None
) -> tuple[list[Table], list[Fault]]:
    """Tables of some files, and why the other files cannot be read.

    Parameters
    ----------
    paths : iterable of path
        CSV of any table, or workbooks with a sheet for each table. The history of an export is
        passed over with a word, as the logbook keeps its own.
    columns : mapping of str, optional
        What she calls our columns.

    Returns
    -------
    tables : list of Table
        Faults of cells and rows are kept in each.
    faults : list of Fault

    Warns
    -----
    TableWarning : as `csv_files.load_table` and `csv_files.load_workbook`.
    """
    files = [Path(path) for path in paths]
    names = [file.name for file in files]
    tables: list[Table] = []
    faults: list[Fault] = []
    for file in dict.fromkeys(files):
        try:
            name = file.name if names.count(file.name) == 1 else str(file)
            if file.suffix.casefold() in (".xlsx", ".xlsm"):
                tables += load_workbook(file, _SHEETS_APART, columns).values()
            elif _headings(file).issuperset(CHANGE_COLUMNS):
                told = Fault(name, None, None, _SHEETS_APART[HISTORY])
                warnings.warn(TableWarning(told), stacklevel=2)
            else:
                tables.append(load_table(file, recognise_kind(file, columns), name, columns))
        except BadInput as bad:
            faults.extend(bad.faults)
    return tables, faults


COLUMNS_FILE = "columns.csv"
"""What she calls our columns, in the logbook's folder: two columns, ``yours`` and ``ours``."""


def kept_columns(folder: str | os.PathLike[str]) -> dict[str, str]:
    """What the imports of a logbook have been told of her headings.

    Raises
    ------
    BadInput : a file that is not as it was written.
    """
    file = Path(folder) / COLUMNS_FILE
    return read_columns([str(file)]) if file.exists() else {}


def import_files(
    paths: Sequence[str | os.PathLike[str]],
    folder: str | os.PathLike[str],
    columns: Sequence[str] = (),
    leave_out: bool = False,
) -> dict[TableKind, Counts]:
    """Add files to the logbook of a folder, making it when there is none.

    Parameters
    ----------
    paths : sequence of path
        CSV of any table, or workbooks.
    folder : path
    columns : sequence of str
        What she calls our columns, as `headings.read_columns`; remembered in the folder.
    leave_out : bool
        Pieces with a row that cannot be used stay out, each named, and the others go in.

    Returns
    -------
    dict of Counts by kind

    Raises
    ------
    BadInput : with every fault of every file; then nothing is imported, nor a logbook made.

    Warns
    -----
    TableWarning
        As `csv_files.load_table`, for each piece that is left out, and of a photo that cannot be
        read.

    Notes
    -----
    Photos that stand beside the tables are kept with the logbook.
    """
    hers = kept_columns(folder) | read_columns(columns)
    tables, faults = load_files(paths, hers)
    origin = printable(", ".join(Path(path).name for path in paths))
    try:
        if not (Path(folder) / FILE_NAME).exists():
            with closing(new_in_memory()) as trial:
                Logbook(trial, None).import_checked(tables, origin, faults, leave_out=leave_out)
        with Logbook.open(folder, create=True) as log:
            counts = log.import_checked(tables, origin, faults, leave_out=leave_out)
    except BadInput as bad:
        of_rows = {fault for one in tables if one.kind == "layers" for fault in one.faults}
        if leave_out or not all(fault.row and fault in of_rows for fault in bad.faults):
            raise
        told = Fault("--leave-out", None, None, "would take in all pieces but these.")
        raise BadInput([*bad.faults, told]) from None
    named = [name for one in tables if one.kind == "layers" for name in one.frame["photo"] if name]
    for fault in take_along(named, [Path(path).parent for path in paths], Path(folder)):
        warnings.warn(TableWarning(fault), stacklevel=2)
    if columns:
        kept = pd.DataFrame(sorted(hers.items()), columns=["yours", "ours"])
        write_table(kept, Path(folder) / COLUMNS_FILE)
    return counts


def _guide() -> pd.DataFrame:
    """One row a column, in plain words; the oxides share one."""
    rows = [
        (kind, column.name, column.guide, column.example)
        for kind in _ORDER
        for column in COLUMNS[kind]
        if column.name not in OXIDES[1:]
    ]
    guide = pd.DataFrame(rows, columns=["table", "column", "what to write", "example (invented)"])
    oxides = f"{OXIDES[0]} ... {OXIDES[-1]}"
    first = pd.DataFrame(packaged_rows("logbook_guide.csv"))
    return pd.concat([first, guide.replace({"column": {OXIDES[0]: oxides}})], ignore_index=True)


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
    BadInput : if it is there already, is not called .xlsx, or cannot be written.
    """
    from openpyxl.styles import Alignment, Font  # noqa: PLC0415 - slow, for workbooks only

    file = Path(path)
    if file.suffix.casefold() != ".xlsx":
        refuse_file(file.name, "is not named as a workbook; end its name in .xlsx.")
    if file.exists():
        refuse_file(file.name, "is there already and may be filled in; give another name.")
    sheets: dict[str, pd.DataFrame] = {GUIDE_SHEET: _guide()}
    sheets |= {kind: empty_table(kind) for kind in _ORDER}
    with replace_file(file) as temporary:
        book = workbook_of(sheets)
        for sheet in book.worksheets:
            for cell in sheet[1]:
                cell.font = Font(bold=True)
        for column, width in zip("ABCD", _GUIDE_WIDTHS, strict=True):
            book[GUIDE_SHEET].column_dimensions[column].width = width
            for cell in book[GUIDE_SHEET][column]:
                cell.alignment = Alignment(wrap_text=True, vertical="top")
        _add_lists(book)
        _fold(book["layers"])
        if wall_angles_png is not None:
            _add_picture(book, wall_angles_png, place=1)
        book.save(temporary)


def _fold(sheet: Worksheet) -> None:
    """Fold away the columns that most have no use for."""
    folded = {column.name for column in FOLDED}
    for cell in sheet[1]:
        if cell.value in folded:
            place = sheet.column_dimensions[cell.column_letter]
            place.outlineLevel, place.hidden = 1, True


def _add_lists(book: Workbook) -> None:
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


def _add_picture(book: Workbook, png: bytes, place: int) -> None:
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
