"""Answers as plain text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from runpredict.answers.check import Answer
from runpredict.pages.plain import columns, paragraph, percent, short
from runpredict.pages.told import ToldPiece, told_firings
from runpredict.pages.words import CAUTION, basis_words, cookie_words, headline, wax_words
from runpredict.units import LengthUnits, format_distance

DEMO_HEADLINE = "Sample studio, invented: no real potter, glaze or result."
HEADINGS = ("risk", "piece", "layer to blame", "its run (5 to 95 %)", "wax", "cookie, wide x high")


def answer_text(answer: Answer, units: LengthUnits = "mm") -> str:
    """A table a firing, the pieces most at risk first, and what the numbers rest on.

    Parameters
    ----------
    answer : Answer
    units : "mm" or "in"

    Returns
    -------
    str
    """
    parts = []
    for firing, pieces in told_firings(answer, units):
        over = sum(told.piece["risk"] > answer.tolerance for told in pieces)
        summary = headline(over, len(pieces), answer.tolerance)
        parts.append(f"Firing {short(firing, 60)}: {summary}")
        parts.append(columns(HEADINGS, [_numbers(told, units) for told in pieces]))
        parts.append(_what_to_do(pieces))
    return "\n\n".join([*parts, paragraph(basis_words(answer)), paragraph(CAUTION)])


def _numbers(told: ToldPiece, units: LengthUnits) -> list[str]:
    piece, blamed = told.piece, told.blamed
    low, most_likely, high = (
        format_distance(blamed[name], units) for name in ("run_p05_mm", "run_p50_mm", "run_p95_mm")
    )
    return [
        percent(piece["risk"]),
        short(piece["piece"]),
        f"{short(blamed['glaze'])} (layer {blamed['layer']})",
        f"{most_likely} ({low} to {high})",
        wax_words(piece["wax_height_mm"], units),
        cookie_words(piece, units),
    ]


def _what_to_do(pieces: Sequence[ToldPiece]) -> str:
    rows = [
        [short(told.piece["piece"]), f"{told.piece['advice']} Why: {told.blamed['reason']}."]
        for told in pieces
    ]
    return columns(["piece", "what to do"], rows)
