"""What the headings of a spreadsheet mean: our columns, their units, the layers of a wide row.

A heading is one of our columns, in any case and punctuation; the same in another unit, such as
``foot_in``; or, in a table with one row a pot, that of one layer: with its number (``glaze 1``,
``coats 2``), or behind ``base`` for the first and ``top`` for the second. Whatever else a potter
calls a column she says once (`Columns`).
"""

from __future__ import annotations

import csv
import difflib
import re
import unicodedata
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np
import pandas as pd

from runpredict.arrays import Indices
from runpredict.datafiles import packaged_rows
from runpredict.errors import Fault, quoted, raise_faults
from runpredict.tables.columns import COLUMNS, KINDS, TableKind
from runpredict.tables.files import read_bytes
from runpredict.units import whole_number

Columns: TypeAlias = Mapping[str, str]
"""Our column by her own heading for it, compared as `plain_heading`."""

MAX_LAYERS = 20
NAME_WEIGHT = 3
"""What the name of a file weighs, in headings, when its table is told by them."""
_OTHER_UNITS = {
    "length": ("_mm", {"mm": "mm", "cm": "cm", "in": "in", "inch": "in", "inches": "in"}),
    "temperature": ("_c", {"c": "C", "f": "F"}),
    "rate": ("_c_per_h", {"c_per_h": "C/h", "f_per_h": "F/h"}),
}
_OF_LAYER = {
    "edge": "lower_edge_mm", "ends": "lower_edge_mm", "stops": "lower_edge_mm",
    "begins": "upper_edge_mm", "starts": "upper_edge_mm", "dips": "coats", "ran": "run_mm",
    "past": "past_foot",
}  # fmt: skip
"""Short words for columns of a layer, behind its number in a wide table."""
_LAYER_NAMES = {"base": 1, "top": 2}
_FROM_THE_FOOT = re.compile(r"_(above|from|over)(_the)?_foot(?=_|$)")
_LAST_DIGIT = re.compile(r"([\d¼-¾⅐-⅞])(?=[^\d¼-¾⅐-⅞]*$)")
_HAS_UNIT = re.compile(r"[a-zA-Z\"″'′”°]")


@dataclass(frozen=True)
class Meaning:
    """What a heading means.

    Attributes
    ----------
    column : str
        One of ours.
    unit : str
        Of its bare numbers; blank for that of our column.
    layer : int
        1 is against the clay; 0 where it is not of one layer of a wide row.
    """

    column: str
    unit: str = ""
    layer: int = 0


def plain_heading(text: object) -> str:
    """A heading as compared: ``Lower edge (mm)`` is ``lower_edge_mm``."""
    plain = unicodedata.normalize("NFKC", str(text)).casefold()
    return re.sub(r"[\W_]+", "_", plain).strip("_")


@cache
def _names(kind: TableKind) -> dict[str, Meaning]:
    """Our columns, and each in other units."""
    known: dict[str, Meaning] = {}
    for column in COLUMNS[kind]:
        known[plain_heading(column.name)] = Meaning(column.name)
        ending, units = _OTHER_UNITS.get(column.form, ("", {}))
        for unit, short in units.items():
            if column.name.endswith(ending) and f"_{unit}" != ending:
                stem = column.name.removesuffix(ending)
                known.setdefault(f"{stem}_{unit}", Meaning(column.name, short))
    return known


@cache
def _layer_names() -> dict[str, Meaning]:
    """Columns of a layer as they may stand beside its number: also short, and without a unit."""
    of_layer = {c.name for c in COLUMNS["layers"] if c.of == "layer" and c.name != "layer"}
    known = {key: one for key, one in _names("layers").items() if one.column in of_layer}
    stems = {name.removesuffix("_mm").removesuffix("_deg"): name for name in of_layer}
    for word, name in (stems | _OF_LAYER).items():
        known[word] = Meaning(name)
        for key, one in _names("layers").items():
            if one.column == name and (one.unit or key.endswith("_mm")):
                known[f"{word}_{key.rsplit('_', 1)[1]}"] = one
    return known


def meaning_of(heading: object, kind: TableKind, columns: Columns | None = None) -> Meaning | None:
    """What a heading of a table means.

    Parameters
    ----------
    heading : str
    kind : TableKind
    columns : mapping of str, optional
        What she calls ours; goes first.

    Returns
    -------
    Meaning or None
        None where nothing of ours is meant.

    Examples
    --------
    >>> meaning_of("Lower edge (in)", "layers")
    Meaning(column='lower_edge_mm', unit='in', layer=0)
    >>> meaning_of("coats 2", "layers"), meaning_of("Top glaze", "layers").layer
    (Meaning(column='coats', unit='', layer=2), 2)
    """
    key = plain_heading(heading)
    if columns and key in columns:
        found = meaning_of(columns[key], kind)
        return found and (found if found.unit else replace(found, unit=_unit_in(key, found, kind)))
    if key in _names(kind) or kind != "layers":
        return _names(kind).get(key)
    parts = re.sub(r"(?<=[a-z])(?=\d)", "_", key).split("_")
    numbers = [k for k, part in enumerate(parts) if whole_number(part, MAX_LAYERS)]
    if len(numbers) == 1:
        layer = int(parts.pop(numbers[0]))
    elif parts[0] in _LAYER_NAMES:
        layer = _LAYER_NAMES[parts[0]]
        parts = parts[1:] or ["glaze"]
    else:
        return None
    one = _layer_names().get(_FROM_THE_FOOT.sub("", "_".join(parts)))
    return one and replace(one, layer=layer)


def _unit_in(key: str, found: Meaning, kind: TableKind) -> str:
    """The unit that ends a heading of hers, where our column may have it."""
    form = next(column.form for column in COLUMNS[kind] if column.name == found.column)
    ending, units = _OTHER_UNITS.get(form, ("", {}))
    last = key.rsplit("_", 1)[-1]
    return "" if f"_{last}" == ending else units.get(last, "")


@cache
def _words(kind: TableKind) -> dict[str, list[str]]:
    """Our columns by what potters call them, the likeliest first."""
    found: dict[str, list[str]] = {}
    for row in packaged_rows("heading_words.csv"):
        for word in row["words"].split(";") if row["table"] == kind else ():
            found.setdefault(plain_heading(word), []).append(row["column"])
    return found


def likely_column(heading: object, kind: TableKind, taken: Container[str] = ()) -> str:
    """Which of our columns a heading that is none of them may mean; blank for no idea.

    Of a word for several it is the first that is not `taken`.

    Examples
    --------
    >>> likely_column("Wall height (in)", "layers"), likely_column("lower_egde_mm", "layers")
    ('upper_edge_mm', 'lower_edge_mm')
    """
    key = plain_heading(heading)
    short = re.sub(r"(_(mm|cm|in|inch|inches|min|deg|degrees|c|f))+$", "", key)
    words = _words(kind)
    for found in words.get(key) or words.get(short) or ():
        if found not in taken:
            return found
    close = difflib.get_close_matches(key[:80], _names(kind), n=1, cutoff=0.85)
    return _names(kind)[close[0]].column if close else ""


def kind_of(
    headings: Iterable[object], columns: Columns | None = None, name: str = ""
) -> TableKind | None:
    """Which table has such headings.

    Parameters
    ----------
    headings : iterable of str
    columns : mapping of str, optional
        What she calls ours.
    name : str, optional
        Of the file; that of a table counts as `NAME_WEIGHT` headings.

    Returns
    -------
    TableKind or None
        The one that knows most of them, then the one whose needed columns are there, then the one
        that most of them may mean; None where no heading is of any.
    """
    named = [heading for heading in headings if plain_heading(heading)]

    def fit(kind: TableKind) -> tuple[int, bool, int]:
        known = {one.column for head in named if (one := meaning_of(head, kind, columns))}
        needed = {column.name for column in COLUMNS[kind] if column.needed}
        likely = sum(bool(likely_column(head, kind)) for head in named)
        called = NAME_WEIGHT * (name.strip().casefold() == kind and bool(known or likely))
        return len(known) + called, needed <= known, likely

    best = max(KINDS, key=fit)
    return best if any(fit(best)) else None


@dataclass(frozen=True)
class Understood:
    """A table under our own headings.

    Attributes
    ----------
    cells : dict of Series by column
    extra : dict of Series by heading
        What is not ours; headings as typed.
    rows : ndarray of int
        Position of each in what was typed.
    layers : ndarray of int or None
        Layer of each, where the table is wide; None where it has one row a layer.
    typed : dict
        Her heading by (column, layer), where it is not ours.
    shared : frozenset of str
        Columns of a wide table that were given once for all layers of a pot.
    twice, nameless : list
        Headings that stand twice, and positions of cells under none.
    counted : bool
        Layers were counted down the rows without a name.
    """

    cells: dict[str, pd.Series[Any]]
    extra: dict[str, pd.Series[Any]]
    rows: Indices
    layers: Indices | None
    typed: dict[tuple[str, int], str]
    shared: frozenset[str]
    twice: list[str]
    nameless: list[int]
    counted: bool = False


def understand(raw: pd.DataFrame, kind: TableKind, columns: Columns | None = None) -> Understood:
    """Put a table under our headings; a wide one gets a row for each layer.

    Parameters
    ----------
    raw : DataFrame
        Cells as typed.
    kind : TableKind
    columns : mapping of str, optional
        As for `meaning_of`.

    Notes
    -----
    A table of layers is wide where it has no column ``layer`` and one for the glaze of a numbered
    layer; then a heading without a number is of all layers, or of the first where the second has
    its own. Without either, each pot that has one row has one layer, and rows without a name are
    further layers of the pot above.
    """
    meant = [meaning_of(heading, kind, columns) for heading in raw.columns]
    glazes = {one.layer for one in meant if one and one.column == "glaze"}
    has_layer = any(one and one.column == "layer" for one in meant)
    wide = kind == "layers" and not has_layer and bool(glazes - {0})
    meant = [one if wide or not one or not one.layer else None for one in meant]
    numbered = {one.column for one in meant if one and one.layer > 1}
    firsts = {one.column for one in meant if one and one.layer == 1}
    places: dict[tuple[str, int], pd.Series[Any]] = {}
    typed: dict[tuple[str, int], str] = {}
    extra: dict[str, pd.Series[Any]] = {}
    twice: list[str] = []
    nameless: list[int] = []
    for position, (heading, one) in enumerate(zip(raw.columns, meant, strict=True)):
        cells, name = raw.iloc[:, position], " ".join(str(heading).split())
        if one is None:
            if not name and _filled(cells).any():
                nameless.append(position)
            elif name in extra:
                twice.append(name)
            elif name:
                extra[name] = cells
            continue
        first = wide and one.column in numbered and one.column not in firsts
        place = (one.column, one.layer or int(first))
        if place in places:
            twice.append(name if one.layer else one.column)
            continue
        places[place] = _with_unit(cells, one.unit) if one.unit else cells
        if plain_heading(name) != plain_heading(one.column):
            typed[place] = name
    rows = np.arange(len(raw), dtype=np.int64)
    if wide:
        return _as_layers(places, extra, typed, twice, nameless)
    under = {column: cells for (column, _), cells in places.items()}
    counted = False
    if kind == "layers" and not has_layer and {"piece", "glaze"} <= under.keys():
        key = [under[name].astype(str) for name in ("piece", "firing", "fired_on") if name in under]
        named = _filled(under["piece"])
        if named[:1].all() and not pd.concat(key, axis=1)[named].duplicated().any():
            number = named.groupby(named.cumsum()).cumcount() + 1
            under["layer"] = number.astype(str).astype(object)
            counted = not named.all()
    return Understood(under, extra, rows, None, typed, frozenset(), twice, nameless, counted)


def _filled(cells: pd.Series[Any]) -> pd.Series[bool]:
    return cells.map(lambda cell: not pd.isna(cell) and bool(str(cell).strip())).astype(bool)


def _with_unit(cells: pd.Series[Any], unit: str) -> pd.Series[Any]:
    """Cells of a column whose bare numbers are in another unit, each with it."""

    def read(cell: Any) -> Any:
        if isinstance(cell, str) and _HAS_UNIT.search(cell):
            return cell
        return "" if pd.isna(cell) else _LAST_DIGIT.sub(rf"\1 {unit}", str(cell))

    return cells.astype(object).map(read)


def _as_layers(
    places: Mapping[tuple[str, int], pd.Series[Any]],
    extra: Mapping[str, pd.Series[Any]],
    typed: dict[tuple[str, int], str],
    twice: list[str],
    nameless: list[int],
) -> Understood:
    """A row for each layer that a wide row has anything of; for one that has nothing, the first."""
    numbers = sorted({layer for _, layer in places} - {0})
    filled = {
        number: np.logical_or.reduce(
            [_filled(cells).to_numpy() for (_, layer), cells in places.items() if layer == number]
        )
        for number in numbers
    }
    filled[numbers[0]] |= ~np.logical_or.reduce(list(filled.values()))
    rows = np.concatenate([np.flatnonzero(filled[number]) for number in numbers])
    layers = np.repeat(numbers, [filled[number].sum() for number in numbers])
    order = np.lexsort((layers, rows))
    rows, layers = rows[order], layers[order]

    def laid(column: str) -> pd.Series[Any]:
        found = np.full(len(rows), None, dtype=object)
        for number in numbers:
            cells = places.get((column, number), places.get((column, 0)))
            here = layers == number
            if cells is not None:
                found[here] = cells.to_numpy(dtype=object)[rows[here]]
        return pd.Series(found, dtype=object)

    under = {column: laid(column) for column in dict.fromkeys(column for column, _ in places)}
    under["layer"] = pd.Series(layers.astype(str), dtype=object)
    kept = {name: pd.Series(cells.to_numpy(dtype=object)[rows]) for name, cells in extra.items()}
    shared = frozenset(column for column, layer in places if layer == 0)
    return Understood(under, kept, rows, layers, typed, shared, twice, nameless)


def likely_columns(under: Understood, kind: TableKind) -> dict[str, str]:
    """What the headings that are not ours may mean, of what a table has not, by heading."""
    taken = set(under.cells)
    likely: dict[str, str] = {}
    for heading in under.extra:
        ours = likely_column(heading, kind, taken)
        if ours and ours not in taken:
            likely[heading] = ours
            taken.add(ours)
    return likely


def read_columns(words: Iterable[str]) -> dict[str, str]:
    """What she calls our columns.

    Parameters
    ----------
    words : iterable of str
        ``pot=piece,bottom=foot_mm``, or the path of a CSV file with two columns, hers and ours.

    Returns
    -------
    dict of str
        As `Columns`.

    Raises
    ------
    BadInput : if something is no pair, ours is no column, or one of hers is given twice, otherwise.
    """
    faults: list[Fault] = []
    found: dict[str, str] = {}
    for word in words:
        where, pairs = _pairs(word)
        for row, pair in pairs:
            message = _refused(pair, found)
            if message:
                faults.append(Fault(where, row, None, message))
            else:
                found[plain_heading(pair[0])] = pair[1].strip()
    raise_faults(faults)
    return found


def _pairs(word: str) -> tuple[str, list[tuple[int | None, Sequence[str]]]]:
    if "=" in word or not word.casefold().endswith(".csv"):
        return "--columns", [
            (None, part.rsplit("=", 1)) for part in word.split(",") if part.strip()
        ]
    text = read_bytes(Path(word)).decode("utf-8-sig", errors="replace")
    lines = enumerate(csv.reader(text.splitlines()), start=1)
    rows: list[tuple[int | None, Sequence[str]]] = [(row, cells) for row, cells in lines if cells]
    heading = [plain_heading(cell) for cell in rows[0][1]] if rows else []
    return Path(word).name, rows[1:] if heading == ["yours", "ours"] else rows


def _refused(pair: Sequence[str], found: Columns) -> str:
    """Why a pair cannot be used; blank where it can."""
    if len(pair) != 2 or not plain_heading(pair[0]):
        shown = quoted("=".join(pair))
        return f"{shown} is no pair; write your heading, =, and ours, such as pot=piece."
    hers, ours = plain_heading(pair[0]), pair[1].strip()
    if not any(meaning_of(ours, kind) for kind in KINDS):
        near = next(filter(None, (likely_column(ours, kind) for kind in KINDS[::-1])), "")
        hint = f"; did you mean {near}?" if near else "; `runpredict template` lists them."
        return f"{quoted(ours)} is no column of ours{hint}"
    if found.get(hers, ours) != ours:
        return f"{quoted(pair[0])} is given as {found[hers]} and as {ours}; keep one."
    return ""


def columns_option(columns: Mapping[str, str]) -> str:
    """The words that tell an import what she calls some columns."""
    pairs = ",".join(f"{hers}={ours}" for hers, ours in columns.items())
    return f'--columns "{pairs}"'
