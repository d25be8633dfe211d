"""The check sheet as one HTML page, which needs nothing beside itself.

Pictures and style are within; a policy in its head forbids whatever a name might smuggle in to
run or to load, and the template escapes every word that is put into it.
"""

from __future__ import annotations

import base64
from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined, Template
from markupsafe import Markup, escape

from runpredict.pages.pot import bare_figure
from runpredict.pages.sheet_text import PieceText, Progress, SheetText, counted
from runpredict.pages.style import svg
from runpredict.units import LengthUnits


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
        With a section a firing: where pieces go, all of them on one list, then each with its
        picture, the most at risk first.
    """
    done = counted(sheet, progress)

    def drawn(piece: PieceText) -> str:
        """As data, not as elements: ids of many drawings would clash, and data runs nothing."""
        data = base64.b64encode(svg(bare_figure(piece.piece, units)).encode("utf-8"))
        done()
        return data.decode("ascii")

    return _template().render(sheet=sheet, drawn=drawn)


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
