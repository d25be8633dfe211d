"""Tables in files: CSV in the encodings and with the separators people have, or workbooks."""

from __future__ import annotations

import csv
import io
import math
import os
import re
import warnings
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime
from itertools import chain, repeat
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np
import pandas as pd

from runpredict.arrays import Indices
from runpredict.errors import Fault, TableWarning, raise_faults, refuse_file, refuse_other
from runpredict.tables.cells import Table
from runpredict.tables.columns import KINDS, MAX_COLUMNS, MAX_ROWS, TableKind
from runpredict.tables.files import as_path, read_bytes, replace_file, replace_files
from runpredict.tables.firings import written_firings
from runpredict.tables.headings import (
    Columns,
    kind_of,
    likely_column,
    meaning_of,
    plain_heading,
)
from runpredict.tables.rows import check_rows
from runpredict.tables.workbooks import Sheet, workbook_sheets

_Cells: TypeAlias = tuple[pd.DataFrame, Indices, list[Fault]]

SEPARATORS = ",;\t|"
"""What parts the cells of a row, in the programs that people have."""
# Where a spreadsheet may take what follows for a formula, whatever it takes for the separator, and
# what we already made harmless with apostrophes.
_FORMULA = re.compile(r"(\A|[;|\t\r\n])(?='*[=+\-@\t\r\n＝＋－＠])")
_GUARDED = re.compile(r"(\A|[;|\t\r\n])'(?='*[=+\-@\t\r\n＝＋－＠])")
_FORMULA_STARTS = "'=+-@\t\r\n＝＋－＠"
_SEPARATED = re.compile(r"[;|\t\r\n]")
_LINE = re.compile(r"[^\n]*\n?")
_FILLED_LINE = re.compile(r"[^\n]*\S[^\n]*")


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
        warnings.warn(TableWarning(Fault(path.name, None, None, message)), stacklevel=2)
    if "\0" in text:
        refuse_file(path.name, "is not a text file; save it as CSV UTF-8.")
    return text


def _headings_known(line: str, separator: str, kind: TableKind) -> int:
    headings = next(csv.reader([line], delimiter=separator), [])
    known = (meaning_of(heading, kind) or likely_column(heading, kind) for heading in headings)
    return sum(map(bool, known))


def first_line(text: str) -> tuple[str, int]:
    """The line of headings, and where it begins: the first filled one, but for ``sep=``."""
    match = _FILLED_LINE.search(text)
    if match and re.fullmatch(r'"?sep=.?"?', match[0].strip()):
        match = _FILLED_LINE.search(text, match.end())
    return (match[0], match.start()) if match else ("", len(text))


def _separator(text: str, kind: TableKind) -> str:
    """What parts the cells."""
    line, start = first_line(text)
    declared = re.search(r'^"?sep=(.)"?$', text[:start].strip(" \n"))
    if declared:
        return declared[1]
    try:
        return max(SEPARATORS, key=lambda separator: _headings_known(line, separator, kind))
    except csv.Error:  # told when the row is read
        return SEPARATORS[0]


def _records(text: str, name: str, kind: TableKind) -> Iterator[list[str]]:
    """Cells of each row; of ``sep=`` and the blank lines before the headings, none."""
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    _, start = first_line(text)
    row = text.count("\n", 0, start)
    yield from [[]] * row
    lines = (match[0] for match in _LINE.finditer(text, start))
    reader = csv.reader(lines, delimiter=_separator(text, kind), strict=True)
    try:
        for record in reader:
            row += 1
            yield record
    except csv.Error as fault:
        refuse_file(
            name,
            f"the row cannot be read ({fault}); a quote may not be closed, or a cell is too long.",
            row=row + 1,
        )


def _unguard(cell: str) -> str:
    return _GUARDED.sub(r"\1", cell) if "'" in cell else cell


def _frame_of(records: Iterable[Sequence[str]], name: str, ragged: bool) -> _Cells:
    """Cells under their headings, the row of each, and faults of shape.

    Equal cells of a column are one object, so that a long table costs little.
    """
    headings: list[str] = []
    columns: list[list[str]] = []
    known: list[dict[str, str]] = []
    rows: list[int] = []
    faults: list[Fault] = []
    for row, record in enumerate(records, start=1):
        if not any(cell and not cell.isspace() for cell in record):
            continue
        if not headings:
            headings = [_unguard(heading) for heading in record]
            columns, known = [[] for _ in headings], [{"": ""} for _ in headings]
            _refuse_width(len(headings), name)
            continue
        if len(record) != len(headings):
            faults += _misshapen(record, len(headings), name, row, ragged)
        rows.append(row)
        padded = chain(record, repeat("")) if len(record) < len(headings) else record
        for seen, column, cell in zip(known, columns, padded, strict=False):
            same = seen.get(cell)
            if same is None:
                same = seen[cell] = cell if ragged else _unguard(cell)
            column.append(same)
        if len(rows) > MAX_ROWS:
            refuse_file(name, f"has more than {MAX_ROWS:,} rows, too many for one table; split it.")
    if not headings:
        refuse_file(name, "is empty; give a row of headings and then the rows.")
    frame = pd.DataFrame(dict(enumerate(columns)), dtype=object)
    frame.columns = pd.Index(headings, dtype=object)
    return frame, np.array(rows, dtype=np.int64), faults


def _refuse_width(width: int, name: str) -> None:
    if width > MAX_COLUMNS:
        refuse_file(name, f"has {width} columns; give at most {MAX_COLUMNS}.")


def _misshapen(
    record: Sequence[str], width: int, name: str, row: int, ragged: bool
) -> Iterator[Fault]:
    """A row with cells under no heading or, but in a workbook, headings without a cell."""
    count = len(record)
    if count < width and not ragged:
        message = (
            f"has {count} cells under {width} headings; a comma may be missing, or the end of the "
            "file. Give each heading a cell, blank when not known."
        )
        yield Fault(name, row, None, message)
    elif any(cell.strip() for cell in record[width:]):
        message = f"has {count} cells under {width} headings; check its commas."
        yield Fault(name, row, None, message)


def _sheet_cells(sheet: Sheet, name: str) -> _Cells:
    frame, rows, faults = _frame_of(sheet.records, name, ragged=True)
    told = [Fault(name, row, None, message) for row, message in sheet.faults]
    return frame, rows, [*told, *faults]


def refuse_kind(kind: object) -> None:
    """Refuse what is no kind of table.

    Raises
    ------
    BadInput
    """
    if kind not in KINDS:
        refuse_file("kind", f"is none of {', '.join(KINDS)}; give one of them.")


def load_table(
    path: str | os.PathLike[str],
    kind: TableKind,
    name: str | None = None,
    columns: Columns | None = None,
) -> Table:
    """Read and check a table from a file; faults of cells and rows are kept, not raised.

    Parameters
    ----------
    path : path
        CSV, or a workbook (.xlsx) with a sheet named after the kind or with one sheet only.
    kind : {"glazes", "recipes", "materials", "schedules", "layers"}
    name : str, optional
        What faults call it; by default the file's name.
    columns : mapping of str, optional
        What she calls our columns: ours by hers, such as ``{"pot": "piece"}``.

    Raises
    ------
    BadInput : if the file is missing, empty, or cannot be read as a table at all.

    Warns
    -----
    TableWarning : for an unknown column, another encoding, and what is odd but usable.
    """
    refuse_kind(kind)
    file = as_path(path)
    named = name or file.name
    if file.suffix.casefold() in (".xlsx", ".xlsm"):
        sheets = workbook_sheets(file)
        mine = [sheet for sheet in sheets if sheet.title == kind or len(sheets) == 1]
        if not mine:
            refuse_file(file.name, f'has no sheet named "{kind}"; name the sheet so.')
        frame, rows, faults = _sheet_cells(mine[0], named)
    else:
        text = _decode(read_bytes(file), file)
        frame, rows, faults = _frame_of(_records(text, named, kind), named, ragged=False)
    return _checked(frame, kind, named, rows, faults, columns)


def _checked(
    frame: pd.DataFrame,
    kind: TableKind,
    name: str,
    rows: Indices,
    faults: list[Fault],
    columns: Columns | None,
) -> Table:
    """A table with the faults of its shape, and of them no consequences."""
    table = check_rows(frame, kind, name, rows, columns)
    if faults:
        told = {None, *(fault.row for fault in faults)}
        table.faults = [*faults, *(fault for fault in table.faults if fault.row not in told)]
        table.faults.sort(key=lambda fault: fault.row or 0)
    return table


def read_table(
    path: str | os.PathLike[str], kind: TableKind, columns: Mapping[str, str] | None = None
) -> pd.DataFrame:
    """Read and check a table from a CSV file or a workbook.

    Parameters
    ----------
    path, kind, columns
        As for `load_table`.

    Returns
    -------
    DataFrame
        As `rows.check_table` returns.

    Raises
    ------
    BadInput : with every fault of the file.

    Warns
    -----
    TableWarning : as `load_table`.
    """
    hers = {plain_heading(heading): ours for heading, ours in (columns or {}).items()}
    table = load_table(path, kind, columns=hers)
    raise_faults(table.faults)
    return table.frame


def load_workbook(
    path: str | os.PathLike[str],
    apart: Mapping[str, str] | None = None,
    columns: Columns | None = None,
) -> dict[TableKind, Table]:
    """Read and check every table of a workbook; faults of cells and rows are kept, not raised.

    Parameters
    ----------
    path : path
        An .xlsx file with sheets named after the tables: glazes, recipes, ...
    apart : mapping, optional
        Other sheets that hold no table, in small letters, and what to say of each; blank for
        nothing.
    columns : mapping of str, optional
        As for `load_table`.

    Returns
    -------
    dict
        Tables by kind, each called by the file and its sheet.

    Raises
    ------
    BadInput : if it cannot be read, or no sheet is a table.

    Warns
    -----
    TableWarning : as `load_table`, and for a sheet that is not a table.
    """
    file = as_path(path)
    tables: dict[TableKind, Table] = {}
    sheets = workbook_sheets(file)
    unnamed = all(sheet.title not in KINDS for sheet in sheets)
    for sheet in sheets:
        title, name = sheet.title, f"{file.name}, sheet {sheet.title}"
        if unnamed and title not in (apart or {}):
            headings: Sequence[str] = next(filter(any, sheet.records), ())
            kind = kind_of(headings, columns)
            title = title if kind is None or kind in tables else kind
        if title not in KINDS:
            message = (apart or {}).get(title, f"is not read; name it one of {', '.join(KINDS)}.")
            if message:
                told = Fault(name, None, None, message)
                warnings.warn(TableWarning(told), stacklevel=2)
            continue
        frame, rows, shape_faults = _sheet_cells(sheet, name)
        tables[title] = _checked(frame, title, name, rows, shape_faults, columns)
    if not tables:
        refuse_file(file.name, f"has no table; name its sheets {', '.join(KINDS)}.")
    return tables


def _number_text(value: float) -> str:
    if math.isnan(value):
        return ""
    return repr(value).removesuffix(".0") if value else "0"


def _guard(text: str) -> str:
    if text and (text[0] in _FORMULA_STARTS or _SEPARATED.search(text)):
        return _FORMULA.sub(r"\1'", text)
    return text


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
    known: dict[Any, str] = {}  # most cells of a long table are like others
    texts = []
    for cell in cells.tolist():
        if type(cell) is not str:
            texts.append(_cell_text(cell))
            continue
        text = known.get(cell)
        if text is None:
            text = known[cell] = _cell_text(cell)
        texts.append(text)
    return texts


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


def write_tables(tables: Mapping[Path, pd.DataFrame]) -> None:
    """Write an answer, as some tables in UTF-8 CSV, each whole or not at all.

    Parameters
    ----------
    tables : mapping of Path to DataFrame
        Each as for `table_csv`.

    Raises
    ------
    BadInput : as `files.replace_files`.
    """
    with replace_files(list(tables)) as drafts:
        for draft, table in zip(drafts, tables.values(), strict=True):
            _save_csv(table, draft)


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
    BadInput : as `files.replace_files`.
    """
    refuse_other(table, pd.DataFrame, "table", "a pandas DataFrame")
    with replace_file(path) as draft:
        _save_csv(table, draft)


def _save_csv(table: pd.DataFrame, file: Path) -> None:
    file.write_text(table_csv(table), encoding="utf-8", newline="")
