"""An answer as a notebook shows it: a table with bars and the pots' pictures."""

from __future__ import annotations

from runpredict.answers.check import Answer
from runpredict.pages.advice_words import run_sentence, summary
from runpredict.pages.html import drawing, template
from runpredict.pages.piece import drawn_piece
from runpredict.pages.plain import percent
from runpredict.pages.pot import small_figure
from runpredict.pages.sheet_text import shown_name
from runpredict.pages.told import ToldPiece, told_firings
from runpredict.pages.words import tolerated
from runpredict.units import LengthUnits

MOST_POTS = 48  # of a firing; a longer table is no view of it


def answer_html(answer: Answer, units: LengthUnits = "mm") -> str:
    """The answer as a part of a page.

    Parameters
    ----------
    answer : Answer
    units : "mm" or "in"

    Returns
    -------
    str
        A table a firing, the pots most at risk first: picture, risk as a bar, the layer to
        blame, its run, what to do. Every word is escaped.
    """
    counts = summary(answer, units)["summary"]
    firings = [
        {
            "name": shown_name(name),
            "summary": count,
            "pots": [_pot(answer, told, units) for told in pieces[:MOST_POTS]],
            "left": max(len(pieces) - MOST_POTS, 0),
        }
        for (name, pieces), count in zip(told_firings(answer, units), counts, strict=True)
    ]
    return template("answer.html").render(
        firings=firings, tolerance=100.0 * answer.tolerance, tolerated=tolerated(answer.tolerance)
    )


def _pot(answer: Answer, told: ToldPiece, units: LengthUnits) -> dict[str, object]:
    row, blamed = told.piece, told.blamed
    names = told.layers["glaze"].astype(str).tolist()
    return {
        "name": shown_name(row["piece"]),
        "drawing": drawing(small_figure(drawn_piece(answer, told.place, units))),
        "percent": 100.0 * float(row["risk"]),
        "risk": percent(row["risk"]),
        "over": bool(row["risk"] > answer.tolerance),
        "blame": f"{shown_name(blamed['glaze'])} (layer {blamed['layer']})",
        "run": run_sentence(blamed, units),
        "advice": row["advice"],
        "names": names,
    }
