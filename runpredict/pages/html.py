"""What every page of HTML is made with: templates that escape, and pictures as data."""

from __future__ import annotations

import base64
from functools import cache
from typing import NamedTuple

from jinja2 import Environment, PackageLoader, StrictUndefined, Template
from markupsafe import Markup, escape
from matplotlib.figure import Figure

from runpredict.drawings.style import svg

CSS_PIXELS_PER_INCH = 96  # CSS Values and Units, W3C


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
    return pages.get_template(name)


def naming(sentence: str, names: list[str]) -> Markup:
    """A sentence, escaped, each name in it kept from turning the words around it."""
    page = escape(sentence)
    for name in dict.fromkeys(names):
        if not name.isascii():  # only letters of other scripts can turn the words around them
            page = page.replace(escape(name), Markup("<bdi>{}</bdi>").format(name))
    return page
