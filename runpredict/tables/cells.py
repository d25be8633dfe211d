"""Cells as typed, read by the column they stand in; every wrong one becomes a fault."""

from __future__ import annotations

import difflib
import re
import unicodedata
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, TypeAlias

import numpy as np
import pandas as pd

from runpredict.arrays import Floats, Indices
from runpredict.datafiles import OXIDES
from runpredict.errors import Fault, TableWarning
from runpredict.tables.columns import (
    COLUMNS,
    MAX_NAME_CHARS,
    MAX_NOTE_CHARS,
    TEXT_FORMS,
    Column,
    TableKind,
    cones,
)
from runpredict.units import (
    parse_length_mm,
    parse_number,
    parse_rate_c_per_h,
    parse_temperature_c,
    shown,
)

__all__ = ["Table", "nearest", "parse_columns", "plain_heading"]


_NOT_KNOWN = ("nan", "na", "n/a", "#n/a", "none", "null", "unknown", "-", "--", "?")
_UNIT = {"length": " mm", "temperature": " °C", "rate": " °C/h"}
_WORD_SPELLINGS = {
    **{"y": "yes", "true": "yes", "n": "no", "false": "no"},
    **{"dipped": "dip", "dipping": "dip", "poured": "pour", "pouring": "pour"},
    **{"brushed": "brush", "brushing": "brush", "sprayed": "spray", "spraying": "spray"},
    "cup": "mug",
}
_ABOUT = re.compile(r"^(~|≈|about|approx(imately)?\.?|ca\.?|circa)\s*", re.IGNORECASE)
_AT_LEAST = re.compile(r"^(>=?|≥|at least|over)\s*|\s*\+$|\s+or more$", re.IGNORECASE)
_OWN_UNITS = {
    "wall_deg": re.compile(r"\s*(°|deg(rees?)?\.?)$", re.IGNORECASE),
    "hold_min": re.compile(r"\s*min(utes?|s)?\.?$", re.IGNORECASE),
    **{
        name: re.compile(r"\s*(wt\.?)?\s*%$", re.IGNORECASE)
        for name in (*OXIDES, "loss_on_ignition", "parts")
    },
}
"""Units that may stand behind a number of a column that has one unit only."""
_TWO_CONES = re.compile(r"(0?\d{1,2})\s*(?:-|–|/|to|or)\s*(0?\d{1,2})")


@dataclass
class Table:
    """A table on its way from what was typed to what can be used.

    Parameters
    ----------
    name : str
        What faults call it, such as ``layers.csv``.
    kind : TableKind
    frame : DataFrame
        Canonical columns, then the unknown ones as text.
    rows : ndarray of int, shape (n,)
        Row of each, as a spreadsheet counts.
    faults : list of Fault
    at_least : list of int
        Positions whose `run_mm` was typed as a run at least so long, such as ``20+``.
    notes : list of Fault
        What was warned of.
    """

    name: str
    kind: TableKind
    frame: pd.DataFrame
    rows: Indices
    faults: list[Fault] = field(default_factory=list)
    at_least: list[int] = field(default_factory=list)
    notes: list[Fault] = field(default_factory=list)

    def blame(self, position: int | None, column: str | None, message: str) -> None:
        """Add a fault at a position of the frame (None for the whole table)."""
        row = None if position is None else int(self.rows[position])
        self.faults.append(Fault(self.name, row, column, message))

    def warn(self, position: int | None, column: str | None, message: str) -> None:
        """Warn of something that is odd but usable."""
        row = None if position is None else int(self.rows[position])
        self.notes.append(Fault(self.name, row, column, message))
        warnings.warn(TableWarning(str(self.notes[-1])), stacklevel=2)


def nearest(name: str, known: Sequence[str]) -> str:
    """Words that point from a misspelled name to a known one, or nothing."""
    by_fold = {other.casefold(): other for other in reversed(known)}
    folded = name.casefold()[:MAX_NAME_CHARS]
    longer = sorted(other for other in by_fold if folded and other.startswith(folded))
    close = longer or difflib.get_close_matches(folded, by_fold, n=1, cutoff=0.6)
    return f' (did you mean "{by_fold[close[0]]}"?)' if close else ""


def _as_text(cell: Any) -> str:
    """A cell of any type as a person would have typed it."""
    if isinstance(cell, str):
        return cell.strip()
    if isinstance(cell, bool | np.bool_):
        return "yes" if cell else "no"
    if isinstance(cell, datetime):
        return cell.isoformat(sep=" ").removesuffix(" 00:00:00")
    if isinstance(cell, float | np.floating):
        return repr(float(cell)).removesuffix(".0")
    return str(cell).strip()


Reader: TypeAlias = Callable[[str], Any]


def _read_cells(cells: pd.Series[Any], column: Column, table: Table, read: Reader) -> list[Any]:
    """Each cell read; None for a blank or a fault. Equal cells are read once."""
    codes, uniques = pd.factorize(cells.astype(object), use_na_sentinel=True)
    values: list[Any] = []
    wrong: dict[int, str] = {}
    for code, cell in enumerate(uniques):
        text = _as_text(cell)
        try:
            if column.form not in ("name", "note") and text.casefold() in _NOT_KNOWN:
                raise ValueError(f"{shown(text)} is not read; leave the cell blank when not known.")
            values.append(read(text) if text else None)
        except ValueError as fault:
            values.append(None)
            wrong[code] = str(fault)
    for position in np.flatnonzero(np.isin(codes, list(wrong))) if wrong else ():
        table.blame(int(position), column.name, wrong[codes[position]])
    values.append(None)  # code -1, a missing cell
    return [values[code] for code in codes]


def _text_reader(column: Column) -> Reader:
    limit = MAX_NOTE_CHARS if column.form == "note" else MAX_NAME_CHARS
    allowed = "\t\n" if column.form == "note" else ""

    def read(text: str) -> str:
        plain = unicodedata.normalize("NFC", text.replace("\r\n", "\n").replace("\r", "\n"))
        if len(plain) > limit:
            raise ValueError(f"{shown(plain)} has {len(plain)} characters; use at most {limit}.")
        if any(unicodedata.category(c) in ("Cc", "Cs") and c not in allowed for c in plain):
            raise ValueError(
                f"{shown(plain)} holds a line break or a control character; type it on one line."
            )
        return plain

    return read


def _word_reader(column: Column) -> Reader:
    def read(text: str) -> str:
        word = text.casefold()
        word = _WORD_SPELLINGS.get(word, word)
        if word not in column.words:
            raise ValueError(
                f"{shown(text)} is none of {', '.join(column.words)}; "
                "give one of them, or leave it blank when not known."
            )
        return word

    return read


def _read_cone(text: str) -> str:
    """Cone as written on the cone: ``06`` is not ``6``, and is kept."""
    plain = re.sub(r"^(cone|c|\^|△|δ)\s*", "", text.casefold()).removesuffix(".0")
    both = _TWO_CONES.fullmatch(plain)
    if both and set(both.groups()) <= set(cones()):
        hotter = max(both.groups(), key=cones().index)
        raise ValueError(
            f"{shown(text)} is two cones; choose one of them: {hotter}, the hotter, is where it "
            "runs furthest."
        )
    if re.match(r"\d{4}-\d\d-\d\d", plain):
        raise ValueError(
            f"{shown(text)} is a date, which a spreadsheet may have made of two cones; set the "
            "cell to text and give one cone, such as 6."
        )
    if plain not in cones():
        raise ValueError(
            f"{shown(text)} is not a cone known here; give one from {cones()[0]} to {cones()[-1]}, "
            "such as 06 or 5."
        )
    return plain


def _read_date(text: str) -> str:
    try:
        return datetime.fromisoformat(text).date().isoformat()
    except ValueError:
        example = date(2026, 3, 8).isoformat()
        raise ValueError(
            f"{shown(text)} is not a date; write year-month-day, such as {example}."
        ) from None


def _number_reader(column: Column) -> Reader:
    read = _exact_reader(column)
    own_unit = _OWN_UNITS.get(column.name)

    def read_near(text: str) -> Any:
        bare = _ABOUT.sub("", text)
        if column.name == "run_mm":
            bare = _AT_LEAST.sub("", bare)
        return read(own_unit.sub("", bare) if own_unit else bare)

    return read_near


def _exact_reader(column: Column) -> Reader:
    if column.form == "length":
        return parse_length_mm
    if column.form == "temperature":
        return parse_temperature_c
    if column.form == "rate":
        return parse_rate_c_per_h
    return lambda text: parse_number(text, column.right)


def _numbers(cells: pd.Series[Any], column: Column, table: Table) -> Floats:
    """Numbers, most of them read at one go, the odd ones cell by cell."""
    if not (pd.api.types.is_numeric_dtype(cells) and not pd.api.types.is_bool_dtype(cells)):
        fast = pd.to_numeric(cells.where(cells.notna(), None).astype(object), errors="coerce")
        values = fast.to_numpy(dtype=np.float64, na_value=np.nan).copy()
        plain = np.isfinite(values)
        # Some releases of pandas read the last digit of long decimals loosely.
        values[plain] = [float(cell) for cell in cells.to_numpy(dtype=object)[plain]]
        odd = np.flatnonzero(~np.isfinite(values) & cells.notna().to_numpy())
        if len(odd):
            part = Table(table.name, table.kind, table.frame, table.rows[odd], table.faults)
            read = _read_cells(cells.iloc[odd], column, part, _number_reader(column))
            values[odd] = [np.nan if value is None else value for value in read]
    else:
        values = cells.to_numpy(dtype=np.float64, na_value=np.nan).copy()
    _check_range(values, column, table)
    return values


def _check_range(values: Floats, column: Column, table: Table) -> None:
    part = column.form == "count"
    unit = _UNIT.get(column.form, "")
    wrong = (values < column.low) | (values > column.high)
    wrong |= np.isinf(values) | (part & np.isfinite(values) & (values != np.floor(values)))
    for position in np.flatnonzero(wrong):
        value = values[position]
        if value < column.low:
            fault = f"{value:.6g}{unit} is less than {column.low:g}{unit}"
        elif value > column.high:
            fault = f"{value:.6g}{unit} is more than {column.high:g}{unit}"
        else:
            fault = f"{value:.6g} is not a whole number"
        hint = ", check the unit" if unit and value > column.high else ""
        table.blame(int(position), column.name, f"{fault}{hint}; {column.right}.")
    values[wrong] = np.nan


def _texts(cells: pd.Series[Any], column: Column, table: Table) -> list[str]:
    if column.form == "word":
        read = _word_reader(column)
    elif column.form == "cone":
        read = _read_cone
    elif column.form == "date":
        read = _read_date
    else:
        read = _text_reader(column)
    return ["" if text is None else text for text in _read_cells(cells, column, table, read)]


def plain_heading(text: object) -> str:
    """A heading as compared: ``Lower edge (mm)`` is ``lower_edge_mm``."""
    plain = unicodedata.normalize("NFKC", str(text)).casefold()
    return re.sub(r"[\W_]+", "_", plain).strip("_")


def _match_headings(raw: pd.DataFrame, table: Table) -> tuple[dict[str, int], list[int]]:
    """Position of each known column, and the positions of the unknown ones."""
    known = {plain_heading(column.name): column.name for column in COLUMNS[table.kind]}
    found: dict[str, int] = {}
    unknown: list[int] = []
    seen: set[str] = set()
    for position, heading in enumerate(raw.columns):
        name = known.get(plain_heading(heading), " ".join(str(heading).split()))
        if name and name in seen:
            table.blame(None, name[:40], "the heading is there twice; keep one column.")
        elif name in known.values():
            found[name] = position
        elif name:
            unknown.append(position)
        elif raw.iloc[:, position].map(lambda cell: not pd.isna(cell) and str(cell).strip()).any():
            table.blame(None, None, f"column {position + 1} has no heading; give it one.")
        seen.add(name)
    return found, unknown


def parse_columns(
    raw: pd.DataFrame, kind: TableKind, name: str, rows: Indices | None = None
) -> Table:
    """Read every cell of a table by the column it stands in.

    Parameters
    ----------
    raw : DataFrame
        Cells as typed, or as read by anything that makes a DataFrame.
    kind : TableKind
        Which columns to expect.
    name : str
        What faults call the table.
    rows : ndarray of int, shape (n,), optional
        Row of each, as a spreadsheet counts; by default 2, 3, ...

    Returns
    -------
    Table
        All canonical columns in order (a missing one blank), the unknown ones behind; wrong cells
        are blank and among the faults.

    Warns
    -----
    TableWarning
        For each unknown column.
    """
    numbered = np.arange(2, len(raw) + 2) if rows is None else rows
    table = Table(name, kind, pd.DataFrame(), numbered)
    found, unknown = _match_headings(raw, table)
    if not found:
        needed = ", ".join(column.name for column in COLUMNS[kind] if column.needed)
        table.faults.clear()
        table.blame(None, None, f"its first row has no heading of {kind}; it needs {needed}.")
        raw, table.rows, unknown = raw.iloc[:0], numbered[:0], []
    blank = pd.Series([None] * len(raw), dtype=object)
    parsed: dict[str, Any] = {}
    for column in COLUMNS[kind]:
        if column.needed and found and column.name not in found:
            table.blame(None, column.name, f"the column is missing; {column.right}.")
        present = column.name in found
        cells = raw.iloc[:, found[column.name]] if present else blank
        parsed[column.name] = _parse_column(cells, column, table, check_needed=present)
    if "run_mm" in found:
        typed = raw.iloc[:, found["run_mm"]].map(
            lambda cell: isinstance(cell, str) and cell.strip()
        )
        table.at_least = [at for at, cell in enumerate(typed) if cell and _AT_LEAST.search(cell)]
    for position in unknown:
        texts = raw.iloc[:, position].astype(object)
        heading = " ".join(str(raw.columns[position]).split())
        hint = nearest(heading, [column.name for column in COLUMNS[kind]])
        table.warn(None, heading[:40], f"the column is not known here{hint}; it is kept unread.")
        parsed[heading] = ["" if pd.isna(cell) else _as_text(cell) for cell in texts]
    table.frame = pd.DataFrame(parsed, index=range(len(raw)))
    return table


def _parse_column(
    cells: pd.Series[Any], column: Column, table: Table, check_needed: bool
) -> pd.Series[Any]:
    already = len(table.faults)
    text = column.form in TEXT_FORMS
    values = (
        pd.Series(_texts(cells, column, table), dtype=str)
        if text
        else pd.Series(_numbers(cells, column, table))
    )
    if column.needed and check_needed:
        blamed = {fault.row for fault in table.faults[already:]}
        for position in np.flatnonzero((values == "") if text else values.isna()):
            if int(table.rows[position]) not in blamed:
                table.blame(int(position), column.name, f"is blank; {column.right}.")
    if column.form == "count" and column.needed and values.notna().all():
        return values.astype(np.int64)
    return values
