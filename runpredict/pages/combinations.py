"""The page over the buckets: how low each glaze and each pair may end, to print."""

from __future__ import annotations

import os
from pathlib import Path

import pandas as pd

from runpredict.errors import refuse_file
from runpredict.pages.html import template
from runpredict.tables.files import replace_file
from runpredict.units import LengthUnits
from runpredict.words.basis import CAUTION
from runpredict.words.combinations import (
    HEADINGS,
    LEAD,
    NONE_YET,
    TITLE,
    combinations_in_words,
    not_known_lead,
)


def combinations_html(table: pd.DataFrame, units: LengthUnits = "mm", glaze: str = "") -> str:
    """The page, as one HTML document that needs nothing else.

    Parameters
    ----------
    table : DataFrame
        From `combinations_of`.
    glaze : str, optional
        Only those that this glaze is part of.
    """
    return template("combinations.html").render(
        title=TITLE,
        lead=LEAD,
        headings=HEADINGS,
        found=combinations_in_words(table, units, glaze),
        not_known=not_known_lead(),
        none_yet=NONE_YET,
        caution=CAUTION,
    )


def write_combinations(
    table: pd.DataFrame,
    path: str | os.PathLike[str],
    units: LengthUnits = "mm",
    glaze: str = "",
) -> None:
    """Write the page to a file.

    Raises
    ------
    BadInput : a name that does not end in .html, or a file that cannot be written.
    """
    file = Path(path)
    if file.suffix.lower() != ".html":
        refuse_file(file.name, "is no kind of sheet; give a name that ends in .html.")
    with replace_file(file) as draft:
        page = combinations_html(table, units, glaze)
        draft.write_text(page, encoding="utf-8", newline="\n")
