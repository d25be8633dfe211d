"""An answer put in words: its tables with a sentence in each row, in the units of the reader."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import pandas as pd

from runpredict.answers.check import Answer
from runpredict.pages.words import advice, reasons
from runpredict.tables.csv_files import write_tables
from runpredict.tables.firings import firing_words
from runpredict.units import LengthUnits


class Told(NamedTuple):
    """The tables of an answer, with sentences.

    Attributes
    ----------
    layers : DataFrame
        `Answer.layers` and reason: what each number rests on.
    pieces : DataFrame
        `Answer.pieces` and advice: what to do with each piece.
    """

    layers: pd.DataFrame
    pieces: pd.DataFrame


class ToldPiece(NamedTuple):
    """One piece in words: its rows of `Told`, and the row of the layer that is to blame."""

    piece: pd.Series
    layers: pd.DataFrame
    blamed: pd.Series


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
        answer.pieces.assign(advice=advice(answer.changes, answer.pieces, units)),
    )


def told_firings(
    answer: Answer, units: LengthUnits = "mm"
) -> Iterator[tuple[str, list[ToldPiece]]]:
    """Each firing's name and its pieces in words, the most at risk first."""
    layers, pieces = told(answer, units)
    of_piece: dict[Any, pd.DataFrame] = dict(tuple(layers.groupby(["firing", "piece"], sort=False)))
    blamed = layers.iloc[answer.blamed].set_axis(pieces.index)
    for firing, mine in pieces.groupby("firing", sort=False):
        ranked = mine.sort_values("risk", ascending=False, kind="stable")
        both = zip(ranked.iterrows(), blamed.loc[ranked.index].iterrows(), strict=True)
        yield (
            firing_words(str(firing)),
            [
                ToldPiece(row, of_piece[(firing, row["piece"])], layer)
                for (_, row), (_, layer) in both
            ],
        )


def write_answer(answer: Answer, folder: str | os.PathLike[str], units: LengthUnits = "mm") -> None:
    """Write layers.csv, pieces.csv and limits.csv, all of them or none.

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
    layers, pieces = told(answer, units)
    tables = {"layers.csv": layers, "pieces.csv": pieces, "limits.csv": answer.limits}
    write_tables({Path(folder) / name: table for name, table in tables.items()})
