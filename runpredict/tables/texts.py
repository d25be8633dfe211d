"""Cells as text: what a person would have typed, what can be kept, and equal cells once."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from runpredict.arrays import Indices

_JOINERS = "\u200c\u200d"


def plain_name(text: str) -> str:
    """A name without what cannot be seen: spaces of other kinds, marks of direction, joiners.

    A joiner stays behind a character that is not of a Latin keyboard: other scripts need it.
    """
    if text.isascii():
        return " ".join(text.split())
    seen = ""
    for char in text:
        joins = char in _JOINERS and not (seen[-1:].isascii() or seen[-1:].isspace())
        if joins or unicodedata.category(char) != "Cf":
            seen += char
    return unicodedata.normalize("NFC", " ".join(seen.split()))


def _as_text(cell: Any) -> str:
    """A cell of any type as a person would have typed it."""
    if isinstance(cell, str):
        return cell.strip()
    if isinstance(cell, bool | np.bool_):
        return "TRUE" if cell else "FALSE"
    if isinstance(cell, datetime):
        return cell.isoformat(sep=" ").removesuffix(" 00:00:00")
    if isinstance(cell, float | np.floating):
        return repr(float(cell)).removesuffix(".0")
    try:
        return str(cell).strip()
    except ValueError:  # a whole number of thousands of digits
        return f"{type(cell).__name__} too long to show"


def can_be_kept(text: str, note: bool) -> bool:
    """Whether text can be written to any file and read back, and shown on any terminal.

    Control characters, halves of characters and what is no character cannot; a note may have
    tabs and line breaks.
    """
    return not any(
        (unicodedata.category(char) in ("Cc", "Cs") and not (note and char in "\t\n"))
        or ord(char) & 0xFFFE == 0xFFFE
        for char in text
    )


@dataclass(frozen=True)
class CodedCells:
    """Cells of a column: each different text once, and which of them stands in each row.

    Attributes
    ----------
    texts : list of str
        Blank for what is not known, which also stands last.
    codes : ndarray of int, shape (n,)
    """

    texts: list[str]
    codes: Indices

    def by_row(self) -> pd.Series[Any]:
        """The text of each row."""
        return pd.Series(np.array(self.texts, dtype=object)[self.codes])

    @classmethod
    def of(cls, cells: pd.Series[Any]) -> CodedCells:
        """Cells of any kind."""
        try:
            codes, uniques = pd.factorize(cells.astype(object).to_numpy())
        except TypeError:  # lists and the like
            plain = [_as_text(cell) for cell in cells.tolist()]
            codes, uniques = pd.factorize(np.array(plain, dtype=object))
        return cls([*map(_as_text, uniques), ""], codes)


def carry_down(coded: dict[str, CodedCells | None]) -> None:
    """Let the first row of a pot say its name, its firing and its date for the rows below.

    A row goes on with the pot above where its layer is a higher one, or of the other side, and
    its name is blank or the same.

    Parameters
    ----------
    coded : dict of CodedCells by column
        Of a table of layers, changed in place; None for a column of plain numbers.
    """
    piece, layer, firing, date, side = (
        coded[name] for name in ("piece", "layer", "firing", "fired_on", "side")
    )
    if piece is None or layer is None or firing is None or date is None or side is None:
        return
    blank, unfired, dateless = (cells.by_row().eq("") for cells in (piece, firing, date))
    undated = unfired & dateless
    if not (blank | undated).any():
        return
    named = piece.by_row()
    alike = named.eq(named.shift()) | blank
    if not alike.any():
        return
    number = pd.to_numeric(layer.by_row(), errors="coerce")
    sides = side.by_row()
    goes_on = (number.gt(number.shift()) & alike) | (blank & sides.ne(sides.shift()))
    goes_on &= (~blank).cummax()
    pot = (~goes_on).cumsum()
    for name, cells, fill in (
        ("piece", piece, blank), ("firing", firing, undated), ("fired_on", date, undated),
    ):  # fmt: skip
        first = pd.Series(cells.codes).groupby(pot).transform("first")
        coded[name] = CodedCells(cells.texts, np.where(fill & goes_on, first, cells.codes))
