"""Answers as plain text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from runpredict.answers.check import Answer
from runpredict.pages.advice_words import (
    catch_help,
    catch_words,
    run_sentence,
    summary,
    wax_words,
)
from runpredict.pages.plain import columns, paragraph, percent, printable
from runpredict.pages.told import ToldPiece, told_firings
from runpredict.pages.words import CAUTION, basis_words, tolerated
from runpredict.units import LengthUnits

DEMO_HEADLINE = "Sample studio, invented: no real potter, glaze or result."
HEADINGS = (
    "risk",
    "piece",
    "layer to blame",
    "its run (5 to 95 %)",
    "wax alone",
    "cookie, as planned",
)
HOW_TO_READ = (
    "Wax alone: the bare band above the foot that is enough if nothing else is changed. Cookie, as "
    "planned: how wide and how high, where nothing is changed."
)


def answer_text(answer: Answer, units: LengthUnits = "mm", forgotten: str = "") -> str:
    """A table a firing, the pieces most at risk first, and what the numbers rest on.

    Parameters
    ----------
    answer : Answer
    units : "mm" or "in"
    forgotten : str
        A sentence on pots whose results were not written.

    Returns
    -------
    str
    """
    parts = [paragraph(tolerated(answer.tolerance))]
    counted = summary(answer, units)["summary"]
    for (firing, pieces), enough in zip(told_firings(answer, units), counted, strict=True):
        parts.append(paragraph(f"Firing {printable(firing)}: {enough}."))
        parts.append(columns(HEADINGS, [_numbers(told, units) for told in pieces]))
        parts.append(_what_to_do(pieces))
    parts += [paragraph(printable(forgotten))] if forgotten else []
    help_words = f"{HOW_TO_READ} {catch_help(answer.tolerance)}"
    return "\n\n".join([*parts, *map(paragraph, (help_words, basis_words(answer), CAUTION))])


def _numbers(told: ToldPiece, units: LengthUnits) -> list[str]:
    piece, blamed = told.piece, told.blamed
    return [
        percent(piece["risk"]),
        printable(piece["piece"]),
        f"{printable(blamed['glaze'])} (layer {blamed['layer']})",
        run_sentence(blamed, units),
        wax_words(piece["wax_height_mm"], units),
        catch_words(piece, units),
    ]


def _what_to_do(pieces: Sequence[ToldPiece]) -> str:
    rows = [
        [
            printable(told.piece["piece"]),
            printable(f"{told.piece['advice']} Why: {told.blamed['reason']}."),
        ]
        for told in pieces
    ]
    return columns(["piece", "what to do"], rows)
