"""An answer put in words: as text for a terminal, and as tables with a sentence in each row."""

from __future__ import annotations

import os
from pathlib import Path
from typing import NamedTuple

import pandas as pd

from runpredict.answers.check import Answer
from runpredict.answers.load import COLUMNS, load_of
from runpredict.errors import printable
from runpredict.tables.csv_files import write_tables
from runpredict.units import LengthUnits
from runpredict.words.advice import catch_help, sentences, summary
from runpredict.words.basis import CAUTION, basis_words, reasons, tolerated
from runpredict.words.loads import costs_words
from runpredict.words.plain import columns, paragraph
from runpredict.words.pots import PotWords, firings_in_words

DEMO_HEADLINE = "Sample studio, invented: no real potter, glaze or result."
HEADINGS = (
    "risk",
    "piece",
    "layer to blame",
    "its run (5 to 95 %)",
    "wax alone",
    "cookie, as planned",
)
SAFE_HEADINGS = ("risk", "safe piece", "likeliest to pass", HEADINGS[3], "could end lower")
BRIEF_HEADINGS = ("risk", "piece", "what to do")
HOW_TO_READ = (
    "Wax alone: the bare band above the foot that is enough if nothing else is changed, wherever "
    "a hand ends. Cookie, as planned: how wide and how high, where nothing is "
    "changed."
)
RISK_DIGITS = 4  # of a chance in a file; more would say more than anybody knows


def answer_text(
    answer: Answer, units: LengthUnits = "mm", forgotten: str = "", need_only: bool = False
) -> str:
    """A table a firing, the pieces most at risk first, and what the numbers rest on.

    Parameters
    ----------
    answer : Answer
    units : "mm" or "in"
    forgotten : str
        A sentence on pots whose results were not written.
    need_only : bool
        List only what needs something, in short, and only name the rest.
    """
    firings = firings_in_words(answer, units, as_a_whole=True)
    lead = [tolerated(answer.tolerance)]
    if any(firing.load.rows for firing in firings):
        lead.append(costs_words(answer.willing, answer.tolerance))
    parts = [paragraph(" ".join(lead))]
    for firing in firings:
        lines = (f"Firing {firing.name}: {firing.summary}.", *firing.load.lines)
        parts.append("\n".join(map(paragraph, lines)))
        over = [pot for pot in firing.pots if pot.over]
        safe = [pot for pot in firing.pots if not pot.over]
        parts += (_brief if need_only else _full)(over, safe)
        wells = [f"{pot.name}, inside: {pot.pool}" for pot in firing.pots if pot.pool]
        parts += ["\n".join(map(paragraph, wells))] * bool(wells)
    parts += [paragraph(printable(forgotten))] if forgotten else []
    how = () if need_only else (HOW_TO_READ, catch_help(answer.tolerance))
    parts += [paragraph(" ".join(how))] * bool(how)
    return "\n\n".join([*parts, *map(paragraph, (basis_words(answer), CAUTION))])


def _brief(over: list[PotWords], safe: list[PotWords]) -> list[str]:
    """A line or two for each pot that needs something, and the names of the others."""
    rows = [(pot.risk, pot.name, pot.brief) for pot in over]
    names = "; ".join(pot.name for pot in safe)
    return [columns(BRIEF_HEADINGS, rows)] * bool(over) + [
        paragraph(f"Safe as planned: {names}.")
    ] * bool(safe)


def _full(over: list[PotWords], safe: list[PotWords]) -> list[str]:
    """The pots that need something, their numbers and why, and a line for each of the others."""
    parts = []
    if over:
        numbers = [(pot.risk, pot.name, pot.blame, pot.run, pot.wax, pot.catch) for pot in over]
        to_do = [(pot.name, f"{pot.advice} Why: {pot.why}") for pot in over]
        parts += [columns(HEADINGS, numbers), columns(("piece", "what to do"), to_do)]
    if safe:
        lines = [(pot.risk, pot.name, pot.culprit, pot.run, pot.room) for pot in safe]
        parts.append(columns(SAFE_HEADINGS, lines))
    return parts


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
