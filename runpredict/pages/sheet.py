"""The kiln sheet: one HTML page to print and tape to the kiln, which needs nothing beside itself.

Pictures and style are within; a policy in its head forbids whatever a name might smuggle in to
run or to load, and the template escapes every word that is put into it. Its style for print is
the paper: any browser prints it, or saves it as PDF.
"""

from __future__ import annotations

import os
from pathlib import Path

from runpredict.answers.check import Answer
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
    sheet_text,
)
from runpredict.tables.files import refuse_file, replace_file
from runpredict.tables.marks import mark_answers
from runpredict.units import LengthUnits


def write_sheet(
    answer: Answer,
    path: str | os.PathLike[str],
    units: LengthUnits = "mm",
    progress: Progress | None = None,
) -> None:
    """Write the kiln sheet of an answer.

    Parameters
    ----------
    answer : Answer
    path : path
        Ends in .html.
    units : "mm" or "in"
    progress : callable, optional
        Told the share that is done, from 0 to 1.

    Raises
    ------
    BadInput : another ending, or a file that cannot be written; what stood there is unchanged.
    """
    file = Path(path)
    kind = file.suffix.lower()
    if kind == ".pdf":
        refuse_file(
            file.name,
            f"is made by a browser: write the sheet to {file.with_suffix('.html').name}, open it "
            "and print it, to paper or as PDF.",
        )
    if kind != ".html":
        refuse_file(file.name, "is no kind of sheet; give a name that ends in .html.")
    with replace_file(file) as temporary:
        page = sheet_html(sheet_text(answer, units), units, progress)
        temporary.write_text(page, encoding="utf-8", newline="\n")
        mark_answers([temporary], [file])


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
