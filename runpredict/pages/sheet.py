"""The kiln sheet: one file to print and tape to the kiln, as HTML or PDF."""

from __future__ import annotations

import os
from pathlib import Path

from runpredict.answers.check import Answer
from runpredict.pages.sheet_text import Progress, sheet_text
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
        Ends in .html or .pdf.
    units : "mm" or "in"
    progress : callable, optional
        Told the share that is done, from 0 to 1.

    Raises
    ------
    BadInput : another ending, or a file that cannot be written; what stood there is unchanged.
    """
    file = Path(path)
    kind = file.suffix.lower()
    if kind not in (".html", ".pdf"):
        refuse_file(file.name, "is no kind of sheet; give a name that ends in .html or .pdf.")
    with replace_file(file) as temporary:
        if kind == ".pdf":
            from runpredict.pages.sheet_pdf import write_pdf  # noqa: PLC0415 - only for this kind

            write_pdf(sheet_text(answer, units), temporary, units, progress)
        else:
            from runpredict.pages.sheet_html import sheet_html  # noqa: PLC0415 - loads jinja2

            page = sheet_html(sheet_text(answer, units), units, progress)
            temporary.write_text(page, encoding="utf-8", newline="\n")
        mark_answers([temporary], [file])
