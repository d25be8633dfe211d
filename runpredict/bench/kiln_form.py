"""The form a kiln is opened on: what is written of each pot, what is typed, and what was there.

Each pot goes by its name (`key_of`) and by the mark of the revision that the form was opened with.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Generic, TypeVar

import pandas as pd

from runpredict.arrays import rows_of as table_rows
from runpredict.bench.lengths import converted_length, exact_length, read_length, written_length
from runpredict.bench.session import units
from runpredict.bench.studio import Pot, Snapshot
from runpredict.logbook.results import (
    MAX_RUN_MM,
    Outcome,
    Word,
    outcome_of,
    rest_of_pot,
    word_of,
)
from runpredict.tables.columns import TOLD_OF_PIECE, Column
from runpredict.tables.layers import outside
from runpredict.units import LengthUnits, format_distance, parse_length_mm, whole_number

T = TypeVar("T")

FATES: dict[Word, str] = {"fine": "Fine", "ran": "Ran", "past": "Past"}
MOST_LETTERS = 60  # of a length
MOST_TOLD = 5000
MOST_NUMBER = 99  # of a layer


@dataclass(frozen=True, eq=False)
class Fate:
    """What is written, or typed, of one layer.

    Two are equal that look alike, unless they were rounded from two lengths: 6 mm and a quarter
    inch are both 1/4 in the field.

    Attributes
    ----------
    word : Word
    run : str
        How far it ran, as it stands in the field.
    exact : str
        What that was rounded from, as `lengths.read_length` takes it.
    """

    word: Word = ""
    run: str = ""
    exact: str = ""
    __hash__ = None  # type: ignore[assignment]

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Fate):
            return NotImplemented
        rounded = {self.exact, other.exact} - {""}
        return (self.word, self.run) == (other.word, other.run) and len(rounded) < 2

    def words(self) -> str:
        """For a reader."""
        run = f" {self.run} {units()}" if self.run else ""
        return {"": "nothing written", "fine": "fine", "ran": f"ran{run}"}.get(
            self.word, f"past the foot{f',{run}' if run else ''}"
        )


@dataclass
class Field(Generic[T]):
    """What the logbook says, what stands in the form, and what stood there when it was opened."""

    standing: T
    shown: T
    was: T


@dataclass
class LayerRow(Field[Fate]):
    """One layer."""

    number: int
    glaze: str
    ends: str
    lower_mm: float

    @property
    def written(self) -> str:
        """`was` as the form carries it, in mm."""
        return f"{self.was.word} {self.was.exact}"


@dataclass
class ToldRow(Field[str]):
    """What else is told of a pot."""

    column: Column


@dataclass
class PotRow:
    """One pot of the form.

    Attributes
    ----------
    piece, key : str
    layers : list of LayerRow
        The lowest first.
    told : list of ToldRow
        Which cone went down, or whether the pot was lost.
    mark : str
        Of the revision that the form was opened with.
    now : str
        Of the one in the logbook; "" where the pot is not in this firing any more.
    state : str
        "kept", "refused", or "" where nothing was asked.
    fault : str
        Why it was refused; "" where it was overtaken.
    rest : list of int
        Layers that "all the rest" called fine, which can be taken back.
    measured : str
        What was measured on its photo, in words.
    said : str
        What was told of it before it was fired, and what to do; the form carries it.
    did : str
        "change" or "catch" by what was to be done, "done" once it is written that the pot was
        changed so, "" where nothing was; the form carries it.
    """

    piece: str
    key: str
    layers: list[LayerRow]
    told: list[ToldRow]
    mark: str
    now: str
    state: str = ""
    fault: str = ""
    rest: list[int] = field(default_factory=list)
    measured: str = ""
    said: str = ""
    did: str = ""

    @property
    def fields(self) -> list[Field[Any]]:
        """All that can be typed of the pot."""
        return [*self.layers, *self.told]

    @property
    def done(self) -> bool:
        """Whether something is written of every layer, or the pot was lost."""
        written = all(layer.standing.word for layer in self.layers)
        lost = any(one.standing for one in self.told if one.column.name == "lost")
        return bool(self.now) and (written or lost)

    @property
    def typed(self) -> bool:
        """Whether the form says something else than when it was opened."""
        return any(one.shown != one.was for one in self.fields)

    @property
    def agrees(self) -> bool:
        """Whether the form says what the logbook does."""
        return bool(self.now) and all(one.shown == one.standing for one in self.fields)

    @property
    def left(self) -> list[LayerRow]:
        """Layers that "all the rest: fine" means, as the form stands."""
        lost = any(one.shown for one in self.told if one.column.name == "lost")
        written = [lost or layer.shown != Fate() for layer in self.layers]
        means = rest_of_pot(written, [layer.shown.word == "past" for layer in self.layers])
        return [layer for layer, one in zip(self.layers, means, strict=True) if one]

    def fill_in(self, number: int, run_mm: float, error_mm: float) -> None:
        """Show a run that was measured on the pot's photo, not kept yet."""
        for layer in self.layers:
            if layer.number == number:
                word: Word = "past" if layer.standing.word == "past" else "ran"
                layer.shown = Fate(word, written_length(run_mm, units()), exact_length(run_mm))
                lengths = (f"{written_length(mm, units())} {units()}" for mm in (run_mm, error_mm))
                self.measured = ", give or take ".join(lengths)

    def settle(self) -> None:
        """Show what the logbook says, as if opened just now."""
        self.mark = self.now
        for one in self.fields:
            one.shown = one.was = one.standing


def key_of(piece: str) -> str:
    """What the fields of a pot are called by: of its name, never of its place on the page."""
    return hashlib.sha256(piece.encode("utf-8", "surrogatepass")).hexdigest()[:12]


def rows_of(snapshot: Snapshot, firing: str) -> list[PotRow]:
    """The pots of a firing as the logbook has them; those glazed inside alone left out."""
    layers = snapshot.layers
    return _rows_in(layers.loc[layers["firing"].eq(firing)], snapshot)


def row_of(snapshot: Snapshot, pot: Pot) -> PotRow | None:
    """One pot as the logbook has it; None where it has no layer outside."""
    rows = _rows_in(snapshot.pots[pot], snapshot) if pot in snapshot.pots else []
    return next(iter(rows), None)


def _rows_in(layers: pd.DataFrame, snapshot: Snapshot) -> list[PotRow]:
    pots: dict[Pot, list[Any]] = {}
    for row in table_rows(layers.loc[outside(layers)]):
        pots.setdefault((row.piece, row.firing), []).append(row)
    found = []
    for pot, rows in pots.items():
        mark, first = snapshot.marks.get(pot, ""), rows[0]
        stands = [(str(getattr(first, column.name)), column) for column in TOLD_OF_PIECE]
        told = [ToldRow(text, text, text, column) for text, column in stands]
        in_order = sorted(rows, key=lambda row: row.layer)
        found.append(PotRow(pot[0], key_of(pot[0]), [*map(_layer_row, in_order)], told, mark, mark))
    return found


def _layer_row(row: Any) -> LayerRow:
    fate, lower_mm = fate_of(row, units()), float(row.lower_edge_mm)
    ends = format_distance(lower_mm, units())
    return LayerRow(fate, fate, fate, int(row.layer), str(row.glaze), ends, lower_mm)


def fate_of(row: Any, read_in: LengthUnits) -> Fate:
    """What is written of a layer."""
    run_mm = float(row.run_mm)
    run = written_length(run_mm, read_in), exact_length(run_mm)
    word = word_of(run_mm, row.past_foot)
    return Fate(word, *run) if word in ("ran", "past") else Fate(word)


def posted_rows(
    fields: Mapping[str, str], snapshot: Snapshot, firing: str, typed_in: LengthUnits
) -> list[PotRow]:
    """The pots of a firing with what was typed of them; behind them those that are gone by now.

    Parameters
    ----------
    fields : mapping
        As a browser sent them.
    snapshot : Snapshot
    firing : str
    typed_in : "mm" or "in"
        Of the form; the rows are in the units of the page.
    """
    rows = rows_of(snapshot, firing)
    for row in rows:
        row.rest = layers_in(fields.get(f"undo-{row.key}", ""))
        if f"pot-{row.key}" in fields:
            row.mark = fields.get(f"mark-{row.key}", "")
            row.said = fields.get(f"said-{row.key}", "")[:MOST_TOLD]
            row.did = fields.get(f"did-{row.key}", "")[:MOST_LETTERS]
            for layer in row.layers:
                layer.was, layer.shown = _posted(fields, f"{row.key}-{layer.number}", typed_in)
            _take_told(row, fields)
    known = {f"pot-{row.key}" for row in rows}
    for name in [name for name in fields if name.startswith("pot-") and name not in known]:
        rows.append(_gone(fields, name.removeprefix("pot-"), typed_in))
    return rows


def layers_in(text: str) -> list[int]:
    """Numbers of layers as a form carries them: ``"1,2"``."""
    return _numbers(text[:200].split(","))


def _numbers(texts: Iterable[str]) -> list[int]:
    numbers = (whole_number(text, MOST_NUMBER) for text in texts)
    return [number for number in numbers if number is not None]


def _gone(fields: Mapping[str, str], key: str, typed_in: LengthUnits) -> PotRow:
    start = f"fate-{key}-"
    numbers = _numbers(name.removeprefix(start) for name in fields if name.startswith(start))
    layers = []
    for number in sorted(numbers):
        was, shown = _posted(fields, f"{key}-{number}", typed_in)
        layers.append(LayerRow(Fate(), shown, was, number, f"layer {number}", "", math.nan))
    piece = fields[f"pot-{key}"][:300]
    told = [ToldRow("", "", "", column) for column in TOLD_OF_PIECE]
    row = PotRow(piece, key, layers, told, fields.get(f"mark-{key}", ""), "")
    _take_told(row, fields)
    return row


def _take_told(row: PotRow, fields: Mapping[str, str]) -> None:
    for one in row.told:
        at = f"{one.column.name}-{row.key}"
        one.was = fields.get(f"was-{at}", "")[:MOST_TOLD]
        one.shown = fields.get(f"told-{at}", "")[:MOST_TOLD].strip()


def _posted(fields: Mapping[str, str], at: str, typed_in: LengthUnits) -> tuple[Fate, Fate]:
    """What stood there when the form was opened, and what is typed.

    A length that stood beside a word goes with it; one that is typed without a word stays, to be
    asked about.
    """
    stood_word, _, stood = fields.get(f"was-{at}", "")[:MOST_LETTERS].partition(" ")
    stood_mm = _mm(stood)
    was = Fate(_word(stood_word), written_length(stood_mm, units()), exact_length(stood_mm))
    word = _word(fields.get(f"fate-{at}", ""))
    run = fields.get(f"run-{at}", "")[:MOST_LETTERS].strip()
    if word == "fine" or (not word and run == written_length(stood_mm, typed_in)):
        return was, Fate(word)
    exact = fields.get(f"exact-{at}", "")[:MOST_LETTERS]
    if run != written_length(_mm(exact), typed_in):  # typed over
        exact = ""
    return was, Fate(word, *converted_length(run, exact, typed_in, units()))


def _mm(text: str) -> float:
    try:
        length_mm = float(text or "nan")
    except ValueError:
        return math.nan
    return length_mm if abs(length_mm) < MAX_RUN_MM else math.nan


def _word(text: str) -> Word:
    return next((word for word in FATES if word == text), "")


def said(layer: LayerRow, typed_in: LengthUnits) -> Outcome:
    """What stands in the form of a layer, for the logbook.

    Raises
    ------
    ValueError : A run that is no length, or that goes past the foot where the word does not.
    """
    fate = layer.shown
    run_mm = math.nan
    if fate.run and not fate.word:
        raise ValueError("a length is typed beside “?”: choose Ran or Past, or clear the length.")
    if fate.run:
        run_mm = parse_length_mm(read_length(fate.run, fate.exact, typed_in))
    try:
        return outcome_of(layer.number, fate.word, run_mm, layer.lower_mm, typed_in)
    except ValueError as fault:
        raise ValueError(f"{layer.glaze}: {fault}") from None
