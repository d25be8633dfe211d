"""The check sheet: one file to print and tape to the kiln, as HTML or PDF.

The HTML needs nothing beside itself: pictures and style are within, and a policy in its head
forbids whatever a name might smuggle in to run or to load.
"""

from __future__ import annotations

import base64
import os
from collections.abc import Callable
from html import escape
from pathlib import Path

from runpredict.answers.check import Answer
from runpredict.pages.pot import piece_figure
from runpredict.pages.sheet_text import (
    FiringText,
    LayerText,
    PieceText,
    Progress,
    SheetText,
    sheet_text,
)
from runpredict.pages.style import svg
from runpredict.tables.files import refuse_file, replace_file
from runpredict.units import LengthUnits

_STYLE = """
:root { color: #26221d; background: #fff; }
body { font: 15px/1.4 Georgia, "Times New Roman", serif; margin: 0 auto; max-width: 60rem;
  padding: 1rem; }
bdi { overflow-wrap: anywhere; }
h1 { font-size: 1.1rem; letter-spacing: .12em; text-transform: uppercase; margin: 0 0 .3rem; }
h2 { font-size: 1.7rem; margin: 1.6rem 0 .2rem; border-bottom: 3px double #26221d; }
h3 { font-size: 1.15rem; margin: 0 0 .3rem; }
table { border-collapse: collapse; width: 100%; margin: .5rem 0; }
th, td { text-align: left; vertical-align: top; padding: .2rem .8rem .2rem 0; }
thead th { border-bottom: 1px solid #26221d; font-weight: normal; font-style: italic; }
tbody tr + tr > * { border-top: 1px solid #dcd6cb; }
.apart { border: 2px solid #26221d; padding: .4rem .8rem; margin: .6rem 0; }
.apart ul { margin: .2rem 0; columns: 3 12rem; }
article { border-top: 1px solid #26221d; margin-top: 1rem; padding-top: .7rem; }
.look { display: grid; grid-template-columns: 3fr 2fr; gap: 1rem; align-items: start; }
img { width: 100%; height: auto; }
dl { display: grid; grid-template-columns: 5.5rem 1fr; gap: .15rem .6rem; margin: .4rem 0; }
dt { font-style: italic; }
dd { margin: 0; }
.over::before { content: "\\25B2 "; }
.small { font-size: .85rem; }
@media (max-width: 45rem) { .look { grid-template-columns: 1fr; } }
@media print {
  @page { margin: 12mm; }
  body { font-size: 9.5pt; max-width: none; padding: 0; }
  .look { grid-template-columns: 3fr 2fr; }
  section + section { break-before: page; }
  article, tr, .apart { break-inside: avoid; }
}
"""
_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"


def write_sheet(
    answer: Answer,
    path: str | os.PathLike[str],
    units: LengthUnits = "mm",
    progress: Progress | None = None,
) -> None:
    """Write the check sheet of an answer.

    Parameters
    ----------
    answer : Answer
    path : path
        Ends in .html or .pdf.
    units : "mm" or "in"
        Those that `answer`'s own sentences were asked in.
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
            page = sheet_html(answer, units, progress)
            temporary.write_text(page, encoding="utf-8", newline="\n")


def sheet_html(answer: Answer, units: LengthUnits = "mm", progress: Progress | None = None) -> str:
    """The check sheet as one HTML page.

    Parameters
    ----------
    answer : Answer
    units : "mm" or "in"
        Those that `answer`'s own sentences were asked in.
    progress : callable, optional
        Told the share that is done, from 0 to 1.

    Returns
    -------
    str
        With a section a firing: where pieces go, all of them on one list, then each with its
        picture, the most at risk first.
    """
    sheet = sheet_text(answer, units)
    count = sum(len(firing.pieces) for firing in sheet.firings)
    done = 0

    def picture(piece: PieceText) -> str:
        nonlocal done
        image = _picture(piece, units)
        done += 1
        if progress is not None:
            progress(done / count)
        return image

    sections = [_firing(firing, k, picture) for k, firing in enumerate(sheet.firings, 1)]
    return _page(sheet, "\n".join(sections))


def _page(sheet: SheetText, sections: str) -> str:
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{_POLICY}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{escape(sheet.title)}</title>
<style>{_STYLE}</style>
</head>
<body>
<main>
<h1>{escape(sheet.title)}</h1>
<p class="small">{escape(sheet.how)}</p>
{sections}
</main>
<footer>
<p class="small">{escape(sheet.basis)}</p>
<p class="small"><strong>Take care.</strong> {escape(sheet.caution)}</p>
</footer>
</body>
</html>
"""


def _name(name: str) -> str:
    """A name, kept apart from the direction in which the words around it run."""
    return f"<bdi>{escape(name)}</bdi>"


def _sentence(text: str, names: list[str]) -> str:
    """A sentence, each name in it kept apart as `_name` does."""
    page = escape(text)
    for name in dict.fromkeys(names):
        if not name.isascii():  # only letters of other scripts can turn the words around them
            page = page.replace(escape(name), _name(name))
    return page


def _table(headings: list[str], rows: list[list[str]]) -> str:
    """Rows of cells that are HTML, the first cell of each naming it."""
    head = "".join(f'<th scope="col">{heading}</th>' for heading in headings)
    body = "\n".join(
        f'<tr><th scope="row">{first}</th>' + "".join(f"<td>{c}</td>" for c in rest) + "</tr>"
        for first, *rest in rows
    )
    return f"<table>\n<thead><tr>{head}</tr></thead>\n<tbody>\n{body}\n</tbody>\n</table>"


def _firing(firing: FiringText, number: int, picture: Callable[[PieceText], str]) -> str:
    apart = "".join(f"<li>{_name(name)}</li>" for name in firing.apart)
    where = escape(firing.where)
    box = f'<div class="apart"><p>{where}</p><ul>{apart}</ul></div>' if apart else f"<p>{where}</p>"
    rows = [
        [_name(p.name), _risk(p), _name(p.blame), escape(p.wax), escape(p.cookie)]
        for p in firing.pieces
    ]
    headings = ["piece", "risk", "layer to blame", "wax height", "cookie"]
    articles = "\n".join(
        _article(piece, f"f{number}p{k}", picture) for k, piece in enumerate(firing.pieces, 1)
    )
    return f"""<section aria-labelledby="f{number}">
<h2 id="f{number}">Firing {_name(firing.name)}</h2>
<p><strong>{escape(firing.headline)}.</strong></p>
{box}
{_table(headings, rows)}
{articles}
</section>"""


def _risk(piece: PieceText) -> str:
    return f'<strong class="over">{piece.risk}</strong>' if piece.over else escape(piece.risk)


def _article(piece: PieceText, anchor: str, picture: Callable[[PieceText], str]) -> str:
    names = [layer.glaze for layer in piece.layers]
    facts = [
        ("to blame", _name(piece.blame)),
        ("wax height", escape(piece.wax)),
        ("cookie", escape(piece.cookie)),
        ("do", f"<strong>{_sentence(piece.change, names)}</strong>"),
        ("why", _sentence(piece.why, names)),
        ("rests on", escape(piece.basis)),
    ]
    told = "".join(f"<dt>{term}</dt><dd>{fact}</dd>" for term, fact in facts)
    headings = ["layer", "glaze", "put on down to", "likely run", "range", "risk"]
    rows = [_layer_cells(layer) for layer in piece.layers]
    return f"""<article aria-labelledby="{anchor}">
<h3 id="{anchor}">{_name(piece.name)}: {_risk(piece)} risk</h3>
<div class="look">{picture(piece)}
<dl>{told}</dl></div>
{_table(headings, rows)}
</article>"""


def _layer_cells(layer: LayerText) -> list[str]:
    plain = (layer.ends, layer.run, layer.spread, layer.risk)
    return [escape(layer.number), _name(layer.glaze), *map(escape, plain)]


def _picture(piece: PieceText, units: LengthUnits) -> str:
    """As data, not as elements: ids of many drawings would clash, and data runs nothing."""
    drawing = svg(piece_figure(piece.piece, units, named=False))
    data = base64.b64encode(drawing.encode("utf-8")).decode("ascii")
    return f'<img alt="{escape(piece.picture)}" src="data:image/svg+xml;base64,{data}">'
