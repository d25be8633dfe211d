"""The form a pot is planned on: what is typed in it, its rows, and what is wrong with them."""

from __future__ import annotations

import itertools
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from runpredict.bench.field_words import label_of
from runpredict.bench.firing_form import unlike_words
from runpredict.bench.lengths import (
    converted_length,
    exact_length,
    read_length,
    written_length,
)
from runpredict.bench.studio import Pot, Snapshot
from runpredict.errors import Fault
from runpredict.tables.columns import COLUMNS, column_of
from runpredict.tables.firings import firing_key, written_firings
from runpredict.tables.layers import outside
from runpredict.tables.names import name_key, respell
from runpredict.tables.rows import check_rows
from runpredict.units import LengthUnits

PLANNED = [c for c in COLUMNS["layers"] if not c.after and c.name != "layer"]
POT_FIELDS = tuple(c.name for c in PLANNED if c.of == "piece" or c.name == "wall_deg")
LAYER_FIELDS = (*(c.name for c in PLANNED if c.name not in POT_FIELDS), "layer_wall_deg")
LENGTHS = tuple(c.name for c in PLANNED if c.form == "length")
EXACT = {name: f"exact_{name}" for name in LENGTHS}
"""Beside each length: what its text was rounded from, as `lengths.read_length` takes it."""
CARRIED = (*LAYER_FIELDS, *(EXACT[name] for name in LENGTHS if name in LAYER_FIELDS))
POT_CARRIED = (*POT_FIELDS, EXACT["foot_mm"])
MOST_LAYERS = 20  # as the tables allow
MOST_ALIKE = 60
"""So many pots like one are planned in one step, more than a kiln of a studio holds."""
MOST_LETTERS = 6000  # a note has up to 5,000

_NUMBERED = re.compile(r"(.*?)(\d{0,6})", re.DOTALL)
FORMS, METHODS = (column_of("layers", name).words for name in ("form", "method"))

# What a new pot starts from, a mug of two glazes; common practice, no source.
FIRST_POT = {"form": "mug", "cone": "6", "hold_min": "10", "wall_deg": "88"}
FIRST_LENGTHS_MM = {"foot_mm": 65.0, "lower_edge_mm": 6.0, "upper_edge_mm": 95.0}


@dataclass
class PotForm:
    """What stands in the fields of a pot, as typed.

    Attributes
    ----------
    pot : dict
        By `POT_CARRIED`.
    layers : list of dict
        By `CARRIED`, the lowest first; those inside of the pot behind, so that the place of each
        outside is its number.
    """

    pot: dict[str, str]
    layers: list[dict[str, str]]

    def __post_init__(self) -> None:
        """Put the layers inside behind."""
        self.layers = sorted(self.layers, key=is_inside)

    def number(self, place: int) -> int:
        """Number of the layer at a place, from 1 on either side of the pot."""
        outer = sum(not is_inside(layer) for layer in self.layers)
        return place - outer if place > outer else place

    def changed(self, layer: int | None, name: str, text: str) -> PotForm:
        """The same with another text in one field, which is then meant as it stands."""
        fields = {name: text} | ({EXACT[name]: ""} if name in EXACT else {})
        layers = [dict(layer) for layer in self.layers]
        if layer is None:
            return PotForm(self.pot | fields, layers)
        layers[layer - 1] |= fields
        return PotForm(self.pot, layers)

    def converted(self, was: LengthUnits, units: LengthUnits) -> PotForm:
        """The same in other units."""

        def in_units(fields: dict[str, str]) -> dict[str, str]:
            found = dict(fields)
            for name, exact in EXACT.items():
                if name in fields:
                    both = converted_length(fields[name], fields[exact], was, units)
                    found[name], found[exact] = both
            return found

        return PotForm(in_units(self.pot), [in_units(layer) for layer in self.layers])


@dataclass
class Read:
    """What was made of a form.

    Attributes
    ----------
    raw : DataFrame
        Cells as typed, a row a layer, for the logbook.
    layers : DataFrame
        As `check_rows` read them.
    faults : dict
        By field, such as ``foot_mm`` or ``glaze-2``; by "" what is of no field.
    notes : list of str
        What is odd but can be used.
    unlike : str
        What it says of its firing that most other pots of it do not.
    """

    raw: pd.DataFrame
    layers: pd.DataFrame
    faults: dict[str, str] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    unlike: str = ""

    @property
    def judged(self) -> pd.DataFrame:
        """The layers outside of the pot, which stand first: those an answer is about."""
        return self.layers.loc[outside(self.layers)]


def is_inside(layer: Mapping[str, str]) -> bool:
    """Whether the fields are of a layer inside of the pot."""
    return layer["side"].strip().casefold() == "inside"


def new_form(units: LengthUnits) -> PotForm:
    """The form of a new pot."""
    lengths = {name: written_length(size, units) for name, size in FIRST_LENGTHS_MM.items()}
    lengths |= {EXACT[name]: exact_length(size) for name, size in FIRST_LENGTHS_MM.items()}
    pot = {name: FIRST_POT.get(name, lengths.get(name, "")) for name in POT_CARRIED}
    layer = {name: lengths.get(name, "") for name in CARRIED}
    return PotForm(pot, [layer | {"method": "dip", "coats": "1"}])


def posted_form(fields: Mapping[str, str]) -> PotForm:
    """The form as a browser sent it; what is no field of it is passed over."""

    def text(name: str) -> str:
        return fields.get(name, "")[:MOST_LETTERS]

    count = next((k for k in range(MOST_LAYERS, 0, -1) if f"glaze-{k}" in fields), 1)
    layers = [{name: text(f"{name}-{k}") for name in CARRIED} for k in range(1, count + 1)]
    return PotForm({name: text(name) for name in POT_CARRIED}, layers)


def form_of(rows: pd.DataFrame, units: LengthUnits) -> PotForm:
    """The form filled in with a pot of the logbook."""
    first = rows.iloc[0]
    wall = first["wall_deg"]
    pot = _texts(first, POT_FIELDS, units)
    pot["firing"] = written_firings(rows["firing"]).iloc[0]
    layers = []
    for _, row in rows.iterrows():
        fields = _texts(row, LAYER_FIELDS, units)
        same = row["wall_deg"] == wall or np.isnan(row["wall_deg"])
        fields["layer_wall_deg"] = "" if same else _text(row["wall_deg"], "wall_deg", units)
        layers.append(fields)
    return PotForm(pot, layers)


def _texts(row: pd.Series, names: Sequence[str], units: LengthUnits) -> dict[str, str]:
    texts = {name: _text(row.get(name), name, units) for name in names}
    return texts | {EXACT[name]: exact_length(row[name]) for name in LENGTHS if name in names}


def _text(cell: Any, name: str, units: LengthUnits) -> str:
    if cell is None or isinstance(cell, str):
        return cell or ""
    if name in LENGTHS:
        return written_length(float(cell), units)
    return "" if np.isnan(cell) else f"{cell:.6g}"


def read_form(form: PotForm, units: LengthUnits, snapshot: Snapshot) -> Read:
    """Rows of a form, and every fault by the field it stands in.

    Parameters
    ----------
    units : "mm" or "in"
        Of lengths typed without a unit.
    snapshot : Snapshot
        For the names of glazes, and firings that need no cone.
    """
    rows = [_row(form, k, units) for k in range(1, len(form.layers) + 1)]
    raw = pd.DataFrame(rows, dtype=object)
    numbers = np.arange(1, len(rows) + 1)
    table = check_rows(raw, "layers", "pot", numbers)
    respell(table, "glaze", list(snapshot.tables.glazes["glaze"]), "the glazes")
    respell(table, "firing", sorted(snapshot.scheduled), "the schedules")
    faults = [*table.faults, *_unknown(table.frame, snapshot)]
    notes = [f"{label_of(_field(odd))}: {odd.message}" for odd in table.notes]
    unlike = unlike_words(table.frame, snapshot)
    return Read(raw, table.frame, by_field(faults), notes, unlike)


def _field(fault: Fault) -> str:
    """The field that a fault stands in, "" where it is of none."""
    name = fault.column or ""
    return f"{name}-{fault.row}" if name in LAYER_FIELDS and fault.row is not None else name


def _row(form: PotForm, number: int, units: LengthUnits) -> dict[str, str]:
    layer = form.layers[number - 1]
    texts = form.pot | layer
    cells = {name: texts[name] for name in (*POT_FIELDS, *LAYER_FIELDS) if name != "layer_wall_deg"}
    if layer["layer_wall_deg"].strip():
        cells["wall_deg"] = layer["layer_wall_deg"]
    for name in LENGTHS:
        cells[name] = read_length(texts[name], texts[EXACT[name]], units)
    return {**cells, "layer": str(form.number(number))}


def _unknown(layers: pd.DataFrame, snapshot: Snapshot) -> list[Fault]:
    known = set(snapshot.tables.glazes["glaze"])
    faults = [
        Fault("pot", number, "glaze", "is not among the glazes; choose one, or add it first.")
        for number, name in enumerate(layers["glaze"], 1)
        if name and name not in known
    ]
    first = layers.iloc[0]
    if not first["cone"] and first["firing"] not in snapshot.scheduled:
        faults.append(Fault("pot", 1, "cone", "is blank; choose the cone it is fired to."))
    return faults


def by_field(faults: Sequence[Fault]) -> dict[str, str]:
    """Messages by the field they belong to, the first of each."""
    found: dict[str, str] = {}
    for fault in faults:
        found.setdefault(_field(fault), fault.message)
    return found


def next_name(name: str, taken: Sequence[str]) -> str:
    """A name of the same kind that is not taken, to copy a pot under.

    Examples
    --------
    >>> next_name("mug 9", ["mug 9", "mug 10"]), next_name("vase", ["vase"])
    ('mug 11', 'vase 2')
    """
    stem, digits = _NUMBERED.fullmatch(name.strip() or "pot").groups()  # type: ignore[union-attr]
    stem = stem if digits else f"{stem} "
    numbers = itertools.count(int(digits or 1) + 1)
    keys = {name_key(other) for other in taken}
    return next(f"{stem}{k}" for k in numbers if name_key(f"{stem}{k}") not in keys)


def several(read: Read, count: int, snapshot: Snapshot, was: Pot | None) -> pd.DataFrame:
    """Rows of a pot, and of others like it, each with the next name that is free.

    A pot that is planned just so already counts as one of them: what is sent twice is kept once.

    Parameters
    ----------
    count : int
        How many in all.
    was : Pot or None
        What the pot itself was called.
    """
    piece, firing = pot_of(read.layers)
    laid = [c.name for c in PLANNED if c.name not in ("piece", "firing", "note")]
    mine = read.layers[laid].reset_index(drop=True)
    taken, parts = [piece], [read.raw]
    for pot in snapshot.pots if count > 1 else ():
        there = pot[1] == firing and pot in snapshot.planned_pots
        same = there and snapshot.pots[pot][laid].reset_index(drop=True).equals(mine)
        taken += [] if same or pot == was else [pot[0]]
    for _ in range(count - 1):
        name = next_name(taken[0] if len(parts) == 1 else str(parts[-1]["piece"].iloc[0]), taken)
        taken.append(name)
        parts.append(read.raw.assign(piece=name, note=""))
    return pd.concat(parts, ignore_index=True)


def pot_of(layers: pd.DataFrame) -> Pot:
    """How the logbook names the pot of these layers."""
    first = layers.iloc[0]
    return str(first["piece"]), firing_key(str(first["firing"]), str(first["fired_on"]))


def fields_of(amounts: Sequence[tuple[str, int, float]], units: LengthUnits) -> dict[str, str]:
    """What stands in the fields that some amounts belong to, as `tries.Try` has them."""
    return {
        f"{column}-{layer}" if layer else column: _text(float(amount), column, units)
        for column, layer, amount in amounts
    }


def advised(
    form: PotForm, layers: pd.DataFrame, changes: pd.DataFrame, units: LengthUnits
) -> PotForm:
    """The form with the changes made that an answer advises.

    Parameters
    ----------
    layers : DataFrame
        What was read of it.
    changes : DataFrame
        The rows of `Answer.changes` in these units, so that a length is on a line of the ruler.
    """
    change: Any
    for change in changes.itertuples():
        layer, amount = int(change.layer), change.changed
        if change.change == "edge":
            form = form.changed(layer, "lower_edge_mm", written_length(float(amount), units))
        elif change.change == "coat":
            form = form.changed(layer, "coats", f"{float(amount):.0f}")
        elif change.change == "thickness":
            form = form.changed(layer, "thickness_mm", written_length(float(amount), units))
        elif change.change == "wax":
            for number, lower_mm in enumerate(layers["lower_edge_mm"], 1):  # outside ones first
                if lower_mm < float(amount):
                    text = written_length(float(amount), units)
                    form = form.changed(number, "lower_edge_mm", text)
    return form
