"""An answer put in words: its tables with a sentence in each row, in the units of the reader."""

from __future__ import annotations

import os
from pathlib import Path
from typing import NamedTuple

import pandas as pd

from runpredict.answers.check import Answer
from runpredict.answers.load import COLUMNS, load_of
from runpredict.tables.csv_files import write_tables
from runpredict.units import LengthUnits
from runpredict.words.advice import sentences, summary
from runpredict.words.basis import reasons

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
        answer.pieces.assign(
            advice=[each.advice for each in sentences(answer, units)],
            after=answer.advice(units).risk,
        ),
    )


def write_answer(answer: Answer, folder: str | os.PathLike[str], units: LengthUnits = "mm") -> None:
    """Write layers.csv, pieces.csv, limits.csv, firings.csv and load.csv, all of them or none.

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
    digits = {name: 2 for name in COLUMNS if name.startswith("cost")} | {"pots_lost": RISK_DIGITS}
    load = load_of(answer).round(digits)
    tables = (layers, pieces, answer.limits, summary(answer, units), load)
    write_tables(dict(zip(answer_files(folder), tables, strict=True)))


def answer_files(folder: str | os.PathLike[str]) -> list[Path]:
    """What `write_answer` writes to a folder."""
    names = ("layers", "pieces", "limits", "firings", "load")
    return [Path(folder) / f"{name}.csv" for name in names]
