"""What every page of HTML is made with, and an answer as a notebook shows it."""

from __future__ import annotations

import base64
import re
from functools import cache
from typing import NamedTuple

from jinja2 import Environment, PackageLoader, StrictUndefined, Template
from markupsafe import Markup, escape
from matplotlib.figure import Figure

from runpredict.answers.check import Answer
from runpredict.drawings.piece import drawn_piece
from runpredict.drawings.pot import small_figure
from runpredict.drawings.style import svg
from runpredict.units import LengthUnits
from runpredict.words.basis import tolerated
from runpredict.words.pots import firings_in_words

CSS_PIXELS_PER_INCH = 96  # CSS Values and Units, W3C
MOST_POTS = 48  # of a firing; a longer table is no view of it


class Drawing(NamedTuple):
    """A picture as data, not as elements: ids of many would clash, and data runs nothing."""

    data: str
    wide: int
    high: int


def drawing(figure: Figure) -> Drawing:
    """A picture of its size on a screen. [pixels]"""
    wide, high = (round(CSS_PIXELS_PER_INCH * size) for size in figure.get_size_inches())
    data = base64.b64encode(svg(figure).encode("utf-8")).decode("ascii")
    return Drawing(data, wide, high)


@cache
def template(name: str) -> Template:
    """A page to be filled; every word put into it is escaped."""
    pages = Environment(
        loader=PackageLoader("runpredict.pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    pages.filters["naming"] = naming
    pages.filters["unbroken"] = unbroken
    return pages.get_template(name)


def unbroken(words: str) -> str:
    """Words whose lengths are never parted by the end of a line, which would mislead.

    Examples
    --------
    >>> unbroken("keep 1 1/8 in, 2 coats").split(" ")
    ['keep', '1\\xa01/8\\xa0in,', '2', 'coats']
    """
    return re.sub(r"(?<=\d) (?=\d+/\d|mm\b|in\b)", "\N{NO-BREAK SPACE}", words)


def naming(sentence: str, names: list[str]) -> Markup:
    """A sentence, escaped, each name in it kept from turning the words around it."""
    page = escape(sentence)
    for name in dict.fromkeys(names):
        if not name.isascii():  # only letters of other scripts can turn the words around them
            page = page.replace(escape(name), Markup("<bdi>{}</bdi>").format(name))
    return page


def answer_html(answer: Answer, units: LengthUnits = "mm") -> str:
    """The answer as a part of a page.

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
