"""An answer put in words: its tables with a sentence in each row, in the units of the reader."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple, cast

import pandas as pd

from runpredict.answers.check import Answer
from runpredict.arrays import AnyArray
from runpredict.pages.advice_words import advice, briefly, summary
from runpredict.pages.words import reasons
from runpredict.tables.csv_files import write_tables
from runpredict.tables.firings import firing_words
from runpredict.units import LengthUnits

RISK_DIGITS = 4  # of a chance in a file; more would say more than anybody knows


class Told(NamedTuple):
    """The tables of an answer, with sentences.

    Attributes
    ----------
    layers : DataFrame
        `Answer.layers` and reason: what each number rests on.
    pieces : DataFrame
        `Answer.pieces`, advice: what to do with each piece, and after: its risk changed so.
    """

    layers: pd.DataFrame
    pieces: pd.DataFrame


class Row(dict[str, Any]):
    """A row of a table: its cells by name, as ``["risk"]`` or ``.risk``.

    A Series would do; but one for each piece of a long plan takes seconds to make.
    """

    def __getattr__(self, name: str) -> Any:
        try:
            return self[name]
        except KeyError:
            raise AttributeError(name) from None


@dataclass(frozen=True)
class ToldPiece:
    """One piece in words: its rows of `Told`, its line of the kiln sheet, whom to blame.

    Attributes
    ----------
    piece : Row
    brief : str
        The advice in a few words.
    place : int
        Row of the piece in the answer.
    blamed : Row
        The layer that is to blame.
    """

    piece: Row
    brief: str
    place: int
    blamed: Row
    _table: pd.DataFrame = field(repr=False)
    _rows: AnyArray = field(repr=False)

    @property
    def layers(self) -> pd.DataFrame:
        """Its layers."""
        return self._table.iloc[self._rows]


def told(answer: Answer, units: LengthUnits = "mm") -> Told:
    """The tables of an answer with a reason for each layer and advice for each piece.

    Parameters
    ----------
    answer : Answer
    units : "mm" or "in"
        Of the lengths in sentences; columns are always in mm.

    Returns
    -------
    Told
    """
    why = reasons(answer.features, answer.neighbour, answer.predictor.seen(), units)
    return Told(
        answer.layers.assign(reason=why),
        answer.pieces_in(units).assign(
            advice=advice(answer, units), after=answer.advice(units).risk
        ),
    )


def told_firings(
    answer: Answer, units: LengthUnits = "mm"
) -> Iterator[tuple[str, list[ToldPiece]]]:
    """Each firing's name and its pieces in words, the most at risk first."""
    layers, pieces = told(answer, units)
    brief = briefly(answer, units)
    of_piece: dict[Any, Any] = layers.groupby(["firing", "piece"], sort=False).indices
    pieces = pieces.reset_index(drop=True)
    for firing, mine in pieces.groupby("firing", sort=False):
        ranked = mine.sort_values("risk", ascending=False, kind="stable")
        places = ranked.index.to_numpy()
        found, blamed = (
            cast("list[dict[str, Any]]", table.to_dict("records"))
            for table in (ranked, layers.iloc[answer.blamed[places]])
        )
        yield (
            firing_words(str(firing)),
            [
                ToldPiece(
                    Row(row), brief[at], at, Row(layer), layers, of_piece[firing, row["piece"]]
                )
                for at, row, layer in zip(places.tolist(), found, blamed, strict=True)
            ],
        )


def write_answer(answer: Answer, folder: str | os.PathLike[str], units: LengthUnits = "mm") -> None:
    """Write layers.csv, pieces.csv, limits.csv and firings.csv, all of them or none.

    Parameters
    ----------
    answer : Answer
    folder : path
        Made where it is missing; files of these names in it are replaced.
    units : "mm" or "in"
        Of the lengths in sentences; columns are always in mm.

    Raises
    ------
    BadInput : a file that cannot be written; what stood there is unchanged.
    """
    layers, pieces = (
        table.round(dict.fromkeys(("risk", "after"), RISK_DIGITS)) for table in told(answer, units)
    )
    tables = (layers, pieces, answer.limits, summary(answer, units))
    write_tables(dict(zip(answer_files(folder), tables, strict=True)))


def answer_files(folder: str | os.PathLike[str]) -> list[Path]:
    """What `write_answer` writes to a folder."""
    return [Path(folder) / f"{name}.csv" for name in ("layers", "pieces", "limits", "firings")]
