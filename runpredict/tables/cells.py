"""Cells as typed, read by the column they stand in; every wrong one becomes a fault."""

from __future__ import annotations

import difflib
import re
import unicodedata
import warnings
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any, TypeAlias

import numpy as np
import pandas as pd

from runpredict.arrays import Bools, Floats, Indices, Objects
from runpredict.datafiles import OXIDES
from runpredict.errors import Fault, Place, TableWarning, quoted
from runpredict.tables.columns import (
    COLUMNS,
    KEYS,
    MAX_NAME_CHARS,
    MAX_NOTE_CHARS,
    Column,
    TableKind,
    cones,
)
from runpredict.tables.headings import (
    Columns,
    columns_option,
    likely_columns,
    understand,
)
from runpredict.tables.texts import CodedCells, can_be_kept, carry_down, plain_name
from runpredict.units import (
    parse_length_mm,
    parse_number,
    parse_rate_c_per_h,
    parse_temperature_c,
)

_DIGITS = re.compile(r"^[+-]?[0-9]{1,15}(\.[0-9]{1,17})?$")
_THOUSANDS = re.compile(r"^[+-]?\d{1,3}(\.\d{3})+$")
_DECIMAL_COMMA = re.compile(r"^[+-]?\d+,\d")
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
    "coats": re.compile(r"\s*(coats?|dips?|times|[x×])$", re.IGNORECASE),
    "wall_deg": re.compile(r"\s*(°|deg(rees?)?\.?)$", re.IGNORECASE),
    "hold_min": re.compile(r"\s*min(utes?|s)?\.?$", re.IGNORECASE),
    "dip_s": re.compile(r"\s*s(ec(onds?|s)?)?\.?$", re.IGNORECASE),
    "specific_gravity": re.compile(r"\s*(kg/l|g/(ml|cc|cm3|cm³))$", re.IGNORECASE),
    **{
        name: re.compile(r"\s*(wt\.?)?\s*%$", re.IGNORECASE)
        for name in (*OXIDES, "loss_on_ignition", "parts", "absorption_pct")
    },
}
"""Units that may stand behind a number of a column that has one unit only."""
_WITNESS = re.compile(r"(.*?)[\s,(]*(half|flat)?(?:\s*(?:bent|down))?\)?", re.DOTALL)
_DOTTED_DATE = re.compile(r"(\d{1,2})\.\s?(\d{1,2})\.\s?(\d{4})")
"""With dots the day stands first, wherever dates are written so."""
_TWO_CONES = re.compile(r"(0?\d{1,2})\s*(?:-|–|/|to|or)\s*(0?\d{1,2})")

FIRST_ROW = 2
"""Of a spreadsheet, below its headings."""


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
    decimal_comma : bool
        Some number has a decimal comma.
    at_least : list of int
        Positions whose `run_mm` was typed as a run at least so long, such as ``20+``.
    notes : list of Fault
        What was warned of.
    labels : Index, optional
        Label of each row, where the table was given as a DataFrame.
    layers : ndarray of int, shape (n,), or None
        Layer of each row, where the table had one row a pot.
    typed : dict of str
        Heading by column and layer (0 for all), where it was not ours.
    shared : frozenset of str
        Columns that were told once for all layers of a pot.
    """

    name: str
    kind: TableKind
    frame: pd.DataFrame
    rows: Indices
    faults: list[Fault] = field(default_factory=list)
    decimal_comma: bool = False
    at_least: list[int] = field(default_factory=list)
    notes: list[Fault] = field(default_factory=list)
    labels: pd.Index[Any] | None = None
    layers: Indices | None = None
    typed: dict[tuple[str, int], str] = field(default_factory=dict)
    shared: frozenset[str] = frozenset()

    @property
    def is_nameless(self) -> bool:
        """Whether it lacks the column that names what its rows are of; no row belongs to any."""
        name = KEYS[self.kind][0]
        return any(fault.row is None and fault.column == name for fault in self.faults)

    def place(self, position: int | None) -> Place:
        """Where a position of the frame stands (None for the whole table)."""
        if position is None:
            return Place(self.name)
        row = int(self.rows[position])
        if self.labels is None:
            return Place(self.name, row)
        index = str(self.labels[position])[:MAX_NAME_CHARS]
        if not self.labels.is_unique:
            index += f" at position {row - FIRST_ROW}"
        return Place(self.name, row, index)

    def blame(self, position: int | None, column: str | None, message: str) -> None:
        """Add a fault at a position of the frame (None for the whole table)."""
        self.faults.append(self._fault(position, column, message))

    def warn(self, position: int | None, column: str | None, message: str) -> None:
        """Warn of something that is odd but usable."""
        self.notes.append(self._fault(position, column, message))
        warnings.warn(TableWarning(self.notes[-1]), stacklevel=2)

    def blamed_rows(self, *columns: str) -> set[int | None]:
        """Rows that have a fault in one of some columns."""
        names = {*columns, *(hers for (ours, _), hers in self.typed.items() if ours in columns)}
        return {fault.row for fault in self.faults if fault.column in names}

    def _fault(self, position: int | None, column: str | None, message: str) -> Fault:
        """... by the row and the heading that were typed."""
        layer = 0 if position is None or self.layers is None else int(self.layers[position])
        shared = self.typed.get((column or "", 0), column)
        return self.place(position).fault(self.typed.get((column or "", layer), shared), message)


def nearest(name: str, known: Sequence[str]) -> str:
    """Words that point from a misspelled name to a known one, or nothing."""
    by_fold = {other.casefold(): other for other in reversed(known)}
    folded = name.casefold()[:MAX_NAME_CHARS]
    longer = sorted(other for other in by_fold if folded and other.startswith(folded))
    close = longer or difflib.get_close_matches(folded, by_fold, n=1, cutoff=0.6)
    return f' (did you mean "{by_fold[close[0]]}"?)' if close else ""


Reader: TypeAlias = Callable[[str], Any]


def _read(coded: CodedCells, column: Column, table: Table, read: Reader) -> list[Any]:
    """Each text read once; None for a blank or a fault. In the order of `texts`."""
    values: list[Any] = []
    wrong: dict[int, str] = {}
    for code, text in enumerate(coded.texts):
        try:
            if column.form not in ("name", "note") and text.casefold() in _NOT_KNOWN:
                message = f"{quoted(text)} is not read; leave the cell blank when not known."
                raise ValueError(message)
            values.append(read(text) if text else None)
        except ValueError as fault:
            values.append(None)
            wrong[code] = str(fault)
    for position in np.flatnonzero(np.isin(coded.codes, list(wrong))) if wrong else ():
        table.blame(int(position), column.name, wrong[coded.codes[position]])
    return values


def _text_reader(column: Column) -> Reader:
    limit = MAX_NOTE_CHARS if column.form == "note" else MAX_NAME_CHARS
    note = column.form == "note"

    def read(text: str) -> str:
        plain = unicodedata.normalize("NFC", text.replace("\r\n", "\n").replace("\r", "\n"))
        if len(plain) > limit:
            raise ValueError(f"{quoted(plain)} has {len(plain)} characters; use at most {limit}.")
        if not (plain.isascii() and plain.isprintable()) and not can_be_kept(plain, note):
            raise ValueError(
                f"{quoted(plain)} holds a line break or a control character; type it on one line."
            )
        return plain if note else plain_name(plain)

    return read


def _word_reader(column: Column) -> Reader:
    def read(text: str) -> str:
        word = text.casefold()
        word = _WORD_SPELLINGS.get(word, word)
        if word == "outside" and "inside" in column.words:
            return ""
        if word not in column.words:
            raise ValueError(
                f"{quoted(text)} is none of {', '.join(column.words)}; "
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
            f"{quoted(text)} is two cones; choose one of them: {hotter}, the hotter, is where it "
            "runs furthest."
        )
    if re.match(r"\d{4}-\d\d-\d\d", plain):
        raise ValueError(
            f"{quoted(text)} is a date, which a spreadsheet may have made of two cones; set the "
            "cell to text and give one cone, such as 6."
        )
    if plain not in cones():
        raise ValueError(
            f"{quoted(text)} is not a cone known here; give one from {cones()[0]} to "
            f"{cones()[-1]}, such as 06 or 5."
        )
    return plain


def _read_witness(text: str) -> str:
    """A cone that went down, and how far: ``5 half``, ``6 flat``."""
    cone, bend = _WITNESS.fullmatch(text.casefold()).groups()  # type: ignore[union-attr]
    return f"{_read_cone(cone)} {bend}" if bend in ("half", "flat") else _read_cone(cone)


def _read_date(text: str) -> str:
    dotted = _DOTTED_DATE.fullmatch(text)
    try:
        if dotted:
            return date(*map(int, dotted.groups()[::-1])).isoformat()
        return datetime.fromisoformat(text).date().isoformat()
    except ValueError:
        example = date(2026, 3, 8).isoformat()
        raise ValueError(
            f"{quoted(text)} is not a date; write year-month-day, such as {example}."
        ) from None


_PARSERS: dict[str, Callable[[str], float]] = {
    "length": parse_length_mm,
    "temperature": parse_temperature_c,
    "rate": parse_rate_c_per_h,
}


def _number_reader(column: Column, decimal_comma: bool) -> Reader:
    exact = _exact_reader(column, decimal_comma)
    own_unit = _OWN_UNITS.get(column.name)

    def read(text: str) -> float:
        if _DIGITS.match(text) and "." not in text:
            return float(text)
        bare = _ABOUT.sub("", text)
        if column.name == "run_mm":
            bare = _AT_LEAST.sub("", bare)
        return exact(own_unit.sub("", bare) if own_unit else bare)

    return read


def _exact_reader(column: Column, decimal_comma: bool) -> Reader:
    parse = _PARSERS.get(column.form)
    careful = column.form in ("temperature", "rate")

    def read(text: str) -> float:
        if decimal_comma and _THOUSANDS.match(text):
            raise ValueError(
                f"the dot in {quoted(text)} may part thousands, as other cells have decimal "
                f"commas; type {text.replace('.', '')} or {text.replace('.', ',')}."
            )
        if _DIGITS.match(text) and not (careful and "." in text):
            return float(text)
        return parse(text) if parse else parse_number(text, column.right)

    return read


def _numbers(
    cells: pd.Series[Any], coded: CodedCells | None, column: Column, table: Table
) -> Floats:
    if coded is None:
        values = cells.to_numpy(dtype=np.float64, na_value=np.nan).copy()
    else:
        read = _read(coded, column, table, _number_reader(column, table.decimal_comma))
        by_code = np.array([np.nan if value is None else value for value in read], dtype=np.float64)
        values = by_code[coded.codes]
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


def _texts(coded: CodedCells, column: Column, table: Table) -> pd.Series[Any]:
    if column.form == "word":
        read = _word_reader(column)
    elif column.form == "cone":
        read = _read_cone
    elif column.form == "witness":
        read = _read_witness
    elif column.form == "date":
        read = _read_date
    else:
        read = _text_reader(column)
    by_code = ["" if text is None else text for text in _read(coded, column, table, read)]
    return pd.Series(np.array(by_code, dtype=object)[coded.codes], dtype=str)


def parse_columns(
    raw: pd.DataFrame,
    kind: TableKind,
    name: str,
    rows: Indices | None = None,
    columns: Columns | None = None,
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
        Row of each, as a spreadsheet counts; without it a fault names the DataFrame's index.
    columns : mapping of str, optional
        What she calls ours (`headings.read_columns`).

    Returns
    -------
    Table
        All canonical columns in order (a missing one blank), the unknown ones behind; wrong cells
        are blank and among the faults. A wide table has a row for each layer (`headings`).

    Warns
    -----
    TableWarning : for each unknown column.
    """
    numbered = np.arange(FIRST_ROW, len(raw) + FIRST_ROW) if rows is None else rows
    under = understand(raw, kind, columns)
    labels = raw.index[under.rows] if rows is None else None
    table = Table(name, kind, pd.DataFrame(), numbered[under.rows], labels=labels)
    table.layers, table.typed, table.shared = under.layers, under.typed, under.shared
    likely = likely_columns(under, kind)
    if not under.cells:
        under, table.rows = replace(under, extra={}, twice=[], nameless=[]), numbered[:0]
        _blame_strange(table, likely)
    for heading in under.twice:
        table.blame(None, heading[:40], "the heading is there twice; keep one column.")
    if under.counted:
        message = "there is none, so rows without a name are taken for further layers of the pot "
        table.warn(None, "layer", f"{message}above, from the clay out.")
    for position in under.nameless:
        table.blame(None, None, f"column {position + 1} has no heading; give it one.")
    blank = pd.Series([None] * len(table.rows), dtype=object)
    given = {column.name: under.cells.get(column.name, blank) for column in COLUMNS[kind]}
    coded = {
        column.name: None
        if _is_plain(given[column.name], column)
        else CodedCells.of(given[column.name])
        for column in COLUMNS[kind]
    }
    if kind == "layers" and under.layers is None:
        carry_down(coded)
    table.decimal_comma = any(
        _DECIMAL_COMMA.match(text)
        for column in COLUMNS[kind]
        if not column.is_text
        for text in getattr(coded[column.name], "texts", ())
    )
    parsed: dict[str, Any] = {}
    for column in sorted(COLUMNS[kind], key=lambda column: column.name != "side"):
        missing = column.name not in under.cells
        counted = column.name == "layer" and "piece" not in under.cells  # perhaps, once it is there
        if column.needed and under.cells and missing and not counted:
            message = f"the column is missing; {column.right}.{_is_it(likely, column.name)}"
            table.blame(None, column.name, message)
        filled = np.full(len(table.rows), bool(column.needed) and not missing)
        if column.needed == "outside":
            filled &= parsed["side"].ne("inside").to_numpy()
        parsed[column.name] = _parse_column(
            given[column.name], coded[column.name], column, table, filled
        )
    typed = coded["run_mm"] if "run_mm" in under.cells else None
    if typed is not None:
        least = [bool(_AT_LEAST.search(text)) for text in typed.texts]
        table.at_least = np.flatnonzero(np.array(least)[typed.codes]).tolist()
    parsed |= _unknown_columns(table, under.extra, likely)
    in_order = {column.name: parsed[column.name] for column in COLUMNS[kind]} | parsed
    table.frame = pd.DataFrame(in_order, index=range(len(table.rows)))
    return table


def _unknown_columns(
    table: Table, extra: Mapping[str, pd.Series[Any]], likely: Mapping[str, str]
) -> dict[str, Objects]:
    """Texts of the columns that are not ours, each told, with what it may mean."""
    kept: dict[str, Objects] = {}
    for heading, cells in extra.items():
        meant = f' (did you mean "{likely[heading]}"?)' if heading in likely else ""
        table.warn(None, heading[:40], f"the column is not known here{meant}; it is kept unread.")
        kept[heading] = CodedCells.of(cells).by_row().to_numpy()
    if extra and len(likely) > 1:
        message = f"if yours are these, rename them, or import with {columns_option(likely)}."
        table.warn(None, None, message)
    return kept


def _is_it(likely: Mapping[str, str], column: str) -> str:
    hers = next((hers for hers, ours in likely.items() if ours == column), "")
    option = columns_option({hers: column})
    return f" Is it your {quoted(hers)}? Then import with {option}." if hers else ""


def _blame_strange(table: Table, likely: Mapping[str, str]) -> None:
    """Blame a table none of whose headings is ours."""
    needed = ", ".join(column.name for column in COLUMNS[table.kind] if column.needed)
    hint = f" If yours are these, import with {columns_option(likely)}." if likely else ""
    message = f"its first row has no heading of {table.kind}; it needs {needed}.{hint}"
    table.blame(None, None, message)


def _is_plain(cells: pd.Series[Any], column: Column) -> bool:
    """Numbers that need no reading."""
    return not column.is_text and cells.dtype.kind in "iuf"


def _parse_column(
    cells: pd.Series[Any],
    coded: CodedCells | None,
    column: Column,
    table: Table,
    needed: Bools,
) -> pd.Series[Any]:
    already = len(table.faults)
    text = column.is_text
    values = (
        _texts(coded, column, table)
        if text and coded is not None
        else pd.Series(_numbers(cells, coded, column, table))
    )
    if needed.any():
        blamed = {fault.row for fault in table.faults[already:]}
        for position in np.flatnonzero(needed & ((values == "") if text else values.isna())):
            if int(table.rows[position]) not in blamed:
                table.blame(int(position), column.name, f"is blank; {column.right}.")
    if column.form == "count" and column.needed and values.notna().all():
        return values.astype(np.int64)
    return values
