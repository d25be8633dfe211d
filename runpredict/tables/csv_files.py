"""Tables in files: CSV in the encodings and with the separators people have, or workbooks."""

from __future__ import annotations

import csv
import io
import math
import os
import re
import warnings
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from datetime import date, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from runpredict.errors import BadInput, Fault, TableWarning
from runpredict.tables.cells import Table
from runpredict.tables.columns import COLUMNS, KINDS, TableKind
from runpredict.tables.files import read_bytes, refuse_file, replace_file
from runpredict.tables.firings import written_firings
from runpredict.tables.rows import check_rows, raise_faults
from runpredict.tables.workbooks import workbook_cells

__all__ = [
    "SEPARATORS",
    "load_table",
    "load_workbook",
    "read_table",
    "read_workbook",
    "table_csv",
    "write_table",
    "write_tables",
]

SEPARATORS = ",;\t|"
"""What parts the cells of a row, in the programs that people have."""
# What a spreadsheet may take for a formula, and what we already made harmless with apostrophes.
_FORMULA = re.compile(r"'*[=+\-@\t\r\n＝＋－＠]")


def _decode(content: bytes, path: Path) -> str:
    """Text of a file in UTF-8, UTF-16 with its mark, or Western European."""
    if content.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        refuse_file(path.name, "is a spreadsheet workbook; save it as .xlsx or as CSV UTF-8.")
    try:
        if content.startswith((b"\xff\xfe", b"\xfe\xff")):
            return content.decode("utf-16")
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        try:
            text = content.decode("cp1252")
        except UnicodeDecodeError:
            refuse_file(path.name, "is not UTF-8 text; save it as CSV UTF-8.")
        message = "is read as Western European text; save it as CSV UTF-8 if accents are wrong."
        warnings.warn(TableWarning(str(Fault(path.name, None, None, message))), stacklevel=2)
    if "\0" in text:
        refuse_file(path.name, "is not a text file; save it as CSV UTF-8.")
    return text


def _headings_known(line: str, separator: str, kind: TableKind) -> int:
    known = {column.name.casefold() for column in COLUMNS[kind]}
    headings = next(csv.reader([line], delimiter=separator), [])
    return sum(heading.strip().casefold() in known for heading in headings)


def _separator(text: str, kind: TableKind) -> tuple[str, int]:
    """What parts the cells, and how many lines stand before the headings."""
    first, _, rest = text.partition("\n")
    declared = re.fullmatch(r'"?sep=(.)"?', first)
    if declared:
        return declared.group(1), 1
    lines = [first, *rest.split("\n", 1)[:1]]
    line = next((line for line in lines if line.strip()), first)
    return max(SEPARATORS, key=lambda separator: _headings_known(line, separator, kind)), 0


def _records(text: str, path: Path, kind: TableKind) -> list[list[str]]:
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    separator, skip = _separator(text, kind)
    records: list[list[str]] = [[]] * skip
    reader = csv.reader(
        io.StringIO(text.partition("\n")[2] if skip else text, newline=""),
        delimiter=separator,
        strict=True,
    )
    try:
        records.extend(reader)
    except csv.Error as fault:
        refuse_file(
            path.name,
            f"the row cannot be read ({fault}); a quote may not be closed, or a cell is too long.",
            row=len(records) + 1,
        )
    return records


def _unguard(cell: str) -> str:
    return cell[1:] if cell.startswith("'") and _FORMULA.match(cell) else cell


def _frame_of(
    records: Sequence[Sequence[Any]], name: str
) -> tuple[pd.DataFrame, np.ndarray[Any, np.dtype[np.int64]], list[Fault]]:
    """Cells under their headings, the row of each, and faults of shape."""
    filled = [
        (row, record)
        for row, record in enumerate(records, start=1)
        if any(cell is not None and str(cell).strip() for cell in record)
    ]
    if not filled:
        message = "is empty; give a row of headings and then the rows."
        raise BadInput([Fault(name, None, None, message)])
    _, headings = filled[0]
    width = len(headings)
    faults = [
        Fault(name, row, None, f"has {len(record)} cells under {width} headings; check its commas.")
        for row, record in filled[1:]
        if len(record) > width and any(str(cell or "").strip() for cell in record[width:])
    ]
    padded = [[*record[:width], *[""] * (width - len(record))] for _, record in filled[1:]]
    frame = pd.DataFrame(padded, columns=list(range(width)), dtype=object)
    frame.columns = pd.Index(["" if heading is None else str(heading) for heading in headings])
    return frame, np.array([row for row, _ in filled[1:]], dtype=np.int64), faults


def load_table(path: str | os.PathLike[str], kind: TableKind, name: str | None = None) -> Table:
    """Read and check a table from a file; faults of cells and rows are kept, not raised.

    Parameters
    ----------
    path : path
        CSV, or a workbook (.xlsx) with a sheet named after the kind or with one sheet only.
    kind : {"glazes", "recipes", "materials", "schedules", "layers"}
    name : str, optional
        What faults call it; by default the file's name.

    Returns
    -------
    Table

    Raises
    ------
    BadInput
        If the file is missing, empty, or cannot be read as a table at all.

    Warns
    -----
    TableWarning
        For an unknown column, another encoding, and what is odd but usable.
    """
    file = Path(path)
    if file.suffix.casefold() in (".xlsx", ".xlsm"):
        sheets = workbook_cells(file)
        records = sheets.get(kind) or (next(iter(sheets.values())) if len(sheets) == 1 else None)
        if records is None:
            refuse_file(file.name, f'has no sheet named "{kind}"; name the sheet so.')
    else:
        records = _records(_decode(read_bytes(file), file), file, kind)
        records = [[_unguard(cell) for cell in record] for record in records]
    frame, rows, faults = _frame_of(records, name or file.name)
    table = check_rows(frame, kind, name or file.name, rows)
    table.faults = sorted([*faults, *table.faults], key=lambda fault: fault.row or 0)
    return table


def read_table(path: str | os.PathLike[str], kind: TableKind) -> pd.DataFrame:
    """Read and check a table from a CSV file or a workbook.

    Parameters
    ----------
    path, kind
        As for `load_table`.

    Returns
    -------
    DataFrame
        As `rows.check_table` returns.

    Raises
    ------
    BadInput
        With every fault of the file.

    Warns
    -----
    TableWarning
        As `load_table`.
    """
    table = load_table(path, kind)
    raise_faults(table.faults)
    return table.frame


def load_workbook(
    path: str | os.PathLike[str], apart: Mapping[str, str] | None = None
) -> dict[TableKind, Table]:
    """Read and check every table of a workbook; faults of cells and rows are kept, not raised.

    Parameters
    ----------
    path : path
        An .xlsx file with sheets named after the tables: glazes, recipes, ...
    apart : mapping, optional
        Other sheets that hold no table, in small letters, and what to say of each; blank for
        nothing.

    Returns
    -------
    dict
        Tables by kind, each called by the file and its sheet.

    Raises
    ------
    BadInput
        If it cannot be read, or no sheet is a table.

    Warns
    -----
    TableWarning
        As `load_table`, and for a sheet that is not a table.
    """
    file = Path(path)
    tables: dict[TableKind, Table] = {}
    for title, records in workbook_cells(file).items():
        name = f"{file.name}, sheet {title}"
        if title not in KINDS:
            message = (apart or {}).get(title, f"is not read; name it one of {', '.join(KINDS)}.")
            if message:
                told = Fault(name, None, None, message)
                warnings.warn(TableWarning(str(told)), stacklevel=2)
            continue
        frame, rows, shape_faults = _frame_of(records, name)
        tables[title] = check_rows(frame, title, name, rows)
        tables[title].faults[:0] = shape_faults
    if not tables:
        refuse_file(file.name, f"has no table; name its sheets {', '.join(KINDS)}.")
    return tables


def read_workbook(path: str | os.PathLike[str]) -> dict[TableKind, pd.DataFrame]:
    """Read and check every table of a workbook.

    Parameters
    ----------
    path : path
        As for `load_workbook`.

    Returns
    -------
    dict
        DataFrames by kind, as `rows.check_table` returns.

    Raises
    ------
    BadInput
        With every fault of every sheet, or if no sheet is a table.

    Warns
    -----
    TableWarning
        As `load_workbook`.
    """
    tables = load_workbook(path)
    raise_faults(fault for table in tables.values() for fault in table.faults)
    return {kind: table.frame for kind, table in tables.items()}


def _number_text(value: float) -> str:
    if math.isnan(value):
        return ""
    return repr(value).removesuffix(".0") if value else "0"


def _guard(text: str) -> str:
    return f"'{text}" if _FORMULA.match(text) else text


def _cell_text(cell: Any) -> str:
    if cell is None or cell is pd.NaT or cell is pd.NA:
        return ""
    if isinstance(cell, bool | np.bool_):
        return "yes" if cell else "no"
    if isinstance(cell, int | np.integer):
        return str(int(cell))
    if isinstance(cell, float | np.floating):
        return _number_text(float(cell))
    if isinstance(cell, datetime | date):
        return cell.isoformat()
    return _guard(str(cell))


def _column_text(cells: pd.Series[Any]) -> list[str]:
    if cells.dtype == np.float64:
        return [_number_text(value) for value in cells.tolist()]
    if cells.dtype == np.int64:
        return [str(value) for value in cells.tolist()]
    return [_cell_text(cell) for cell in cells.tolist()]


def table_csv(table: pd.DataFrame) -> str:
    """A table as CSV text.

    Parameters
    ----------
    table : DataFrame
        Any columns; the index is not written.

    Returns
    -------
    str
        Numbers in the fewest digits that read back the same. Text that a spreadsheet may take for
        a formula gets an apostrophe, which `read_table` takes off again. A firing that only its
        date names is written blank.

    Examples
    --------
    >>> table_csv(pd.DataFrame({"piece": ["=1+1"], "run_mm": [2.50]}))
    "piece,run_mm\\n'=1+1,2.5\\n"
    """
    if "firing" in table.columns:
        table = table.assign(firing=written_firings(table["firing"]))
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([_guard(str(heading)) for heading in table.columns])
    columns = [_column_text(table.iloc[:, position]) for position in range(table.shape[1])]
    writer.writerows(zip(*columns, strict=True))
    return out.getvalue()


def write_tables(tables: Mapping[str | os.PathLike[str], pd.DataFrame]) -> None:
    """Write some tables as UTF-8 CSV: all of them whole, or none.

    Parameters
    ----------
    tables : mapping of path to DataFrame
        Each as for `table_csv`.

    Raises
    ------
    BadInput
        As `files.replace_file`.
    """
    with ExitStack() as files:
        for path, table in tables.items():
            temporary = files.enter_context(replace_file(path))
            temporary.write_text(table_csv(table), encoding="utf-8", newline="")


def write_table(table: pd.DataFrame, path: str | os.PathLike[str]) -> None:
    """Write a table as UTF-8 CSV, whole or not at all.

    Parameters
    ----------
    table : DataFrame
        As for `table_csv`.
    path : path
        File to make or to replace.

    Raises
    ------
    BadInput
        As `files.replace_file`.
    """
    write_tables({path: table})
