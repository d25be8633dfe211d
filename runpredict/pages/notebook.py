"""An answer as a notebook shows it: a table with bars and the pots' pictures."""

from __future__ import annotations

from runpredict.answers.check import Answer
from runpredict.drawings.piece import drawn_piece
from runpredict.drawings.pot import small_figure
from runpredict.pages.html import drawing, template
from runpredict.units import LengthUnits
from runpredict.words.basis import tolerated
from runpredict.words.pots import firings_in_words

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
    return template("answer.html").render(
        firings=firings_in_words(answer, units),
        most=MOST_POTS,
        tolerance=answer.tolerance,
        tolerated=tolerated(answer.tolerance),
        drawn=lambda pot: drawing(small_figure(drawn_piece(answer, pot.place, units))),
    )
