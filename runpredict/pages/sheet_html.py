"""The check sheet as one HTML page, which needs nothing beside itself.

Pictures and style are within; a policy in its head forbids whatever a name might smuggle in to
run or to load, and the template escapes every word that is put into it.
"""

from __future__ import annotations

import base64
from functools import cache
from typing import NamedTuple

from jinja2 import Environment, PackageLoader, StrictUndefined, Template
from markupsafe import Markup, escape
from matplotlib.figure import Figure

from runpredict.pages.curves import curves_figure
from runpredict.pages.pot import key_figure, side_figure, small_figure, wall_figure
from runpredict.pages.sheet_text import (
    DETAIL_TITLE,
    HEADINGS,
    PieceText,
    Progress,
    SheetText,
    counted,
)
from runpredict.pages.style import svg
from runpredict.units import LengthUnits

CSS_PIXELS_PER_INCH = 96  # CSS Values and Units, W3C


def sheet_html(sheet: SheetText, units: LengthUnits, progress: Progress | None = None) -> str:
    """The check sheet as one HTML page.

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
        return [_drawing(figure) for figure in figures]

    return _template().render(
        sheet=sheet,
        headings=HEADINGS,
        detail_title=DETAIL_TITLE,
        drawn=drawn,
        small=lambda piece: _drawing(small_figure(piece.piece)),
        key=lambda: _drawing(key_figure()),
    )


class Drawing(NamedTuple):
    """A picture as data, not as elements: ids of many would clash, and data runs nothing."""

    data: str
    wide: int
    high: int


def _drawing(figure: Figure) -> Drawing:
    """A picture of its size on a screen. [pixels]"""
    wide, high = (round(CSS_PIXELS_PER_INCH * size) for size in figure.get_size_inches())
    data = base64.b64encode(svg(figure).encode("utf-8")).decode("ascii")
    return Drawing(data, wide, high)


@cache
def _template() -> Template:
    pages = Environment(
        loader=PackageLoader("runpredict.pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    pages.filters["naming"] = naming
    return pages.get_template("sheet.html")


def naming(sentence: str, names: list[str]) -> Markup:
    """A sentence, escaped, each name in it kept from turning the words around it."""
    page = escape(sentence)
    for name in dict.fromkeys(names):
        if not name.isascii():  # only letters of other scripts can turn the words around them
            page = page.replace(escape(name), Markup("<bdi>{}</bdi>").format(name))
    return page
