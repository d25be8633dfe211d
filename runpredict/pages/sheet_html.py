"""The kiln sheet as one HTML page, which needs nothing beside itself.

Pictures and style are within; a policy in its head forbids whatever a name might smuggle in to
run or to load, and the template escapes every word that is put into it.
"""

from __future__ import annotations

from runpredict.pages.curves import curves_figure
from runpredict.pages.html import Drawing, drawing, template
from runpredict.pages.pot import key_figure, side_figure, small_figure, wall_figure
from runpredict.pages.sheet_text import (
    DETAIL_TITLE,
    HEADINGS,
    PieceText,
    Progress,
    SheetText,
    counted,
)
from runpredict.units import LengthUnits


def sheet_html(sheet: SheetText, units: LengthUnits, progress: Progress | None = None) -> str:
    """The kiln sheet as one HTML page.

    Parameters
    ----------
    sheet : SheetText
    units : "mm" or "in"
        Of the pictures.
    progress : callable, optional
        Told the share that is done, from 0 to 1.

    Returns
    -------
    str
        First what is taped to the kiln, a page for each 24 pots of a firing; then each pot with
        its pictures and curves, the most at risk first.
    """
    done = counted(sheet, progress)

    def drawn(piece: PieceText) -> list[Drawing]:
        figures = (
            side_figure(piece.piece, units),
            wall_figure(piece.piece, units),
            curves_figure(sheet.answer, piece.place, units),
        )
        done()
        return [drawing(figure) for figure in figures]

    return template("sheet.html").render(
        sheet=sheet,
        headings=HEADINGS,
        detail_title=DETAIL_TITLE,
        drawn=drawn,
        small=lambda piece: drawing(small_figure(piece.piece)),
        key=lambda: drawing(key_figure()),
    )
