"""The kiln sheet as PDF: the words and pictures of the HTML, laid out on paper."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from matplotlib.backends.backend_pdf import PdfPages

from runpredict.pages.curves import SHEET_CURVES, paint_curves
from runpredict.pages.kiln_page import kiln_pages
from runpredict.pages.pot import KEY_IN, paint_key
from runpredict.pages.pot_view import paint_pot, pot_size_in
from runpredict.pages.sheet_paper import (
    BODY_PT,
    BOLD_SHARE,
    HEAD_PT,
    LEADING,
    MARGIN_IN,
    SMALL_PT,
    Pages,
)
from runpredict.pages.sheet_text import DETAIL_TITLE, PieceText, Progress, SheetText, counted
from runpredict.pages.style import GRID, Paper, house_style, wrapped
from runpredict.pages.wall_view import paint_wall, wall_size_in
from runpredict.units import LengthUnits

MOST_SCALE, GAP_IN = 0.8, 0.1


def write_pdf(
    sheet: SheetText, path: Path, units: LengthUnits, progress: Progress | None = None
) -> None:
    """Write the kiln sheet as PDF, A4 for a reader of mm, letter for one of inches.

    Parameters
    ----------
    sheet : SheetText
    path : path
    units : "mm" or "in"
    progress : callable, optional
        Told the share that is done, from 0 to 1.
    """
    nothing = {"Creator": None, "Producer": None, "CreationDate": None, "Title": sheet.title}
    done = counted(sheet, progress)
    with house_style(), path.open("wb") as file, PdfPages(file, metadata=nothing) as out:
        pages = Pages(out, units)
        for firing in sheet.firings:
            kiln_pages(pages, sheet, firing)
            pages.turn()
            if firing is sheet.firings[0]:
                _how_to_read(pages, sheet)
            for piece in firing.pieces:
                _piece(pages, sheet, piece, units)
                done()
        pages.end()


def _how_to_read(pages: Pages, sheet: SheetText) -> None:
    pages.words(DETAIL_TITLE, HEAD_PT, fontweight="bold")
    for text in (sheet.how, sheet.catch_help, sheet.basis):
        pages.words(text, SMALL_PT)
        pages.up -= 0.04
    pages.up -= KEY_IN[1] * MOST_SCALE
    paint_key(Paper(pages.paper.figure, MARGIN_IN, pages.up, MOST_SCALE))
    pages.up -= 0.12


def _piece(pages: Pages, sheet: SheetText, piece: PieceText, units: LengthUnits) -> None:
    """One pot: its words, then its pictures and curves side by side."""
    drawn = piece.piece
    sizes = [pot_size_in(drawn, units), wall_size_in(drawn), (SHEET_CURVES.wide, SHEET_CURVES.high)]
    room = pages.width - GAP_IN * (len(sizes) - 1)
    scale = min(MOST_SCALE, room / sum(wide for wide, _ in sizes))
    high = scale * max(high for _, high in sizes)
    lines = [
        (line, size_pt, look)
        for text, size_pt, look in _facts(piece)
        for line in wrapped(text, pages.width * (BOLD_SHARE if look else 1.0), size_pt)
    ]
    tall = sum(size_pt * LEADING for _, size_pt, _ in lines)
    pages.room(min(tall + high + 0.25, pages.size[1] - 3 * MARGIN_IN))
    pages.rule(GRID, 1.2)
    pages.up -= 0.04
    for line, size_pt, look in lines:
        pages.room(size_pt * LEADING)
        pages.paper.text(MARGIN_IN, pages.up, line, size_pt, **look)
        pages.up -= size_pt * LEADING
    pages.room(high)
    pages.up -= high
    figure, left = pages.paper.figure, MARGIN_IN
    corners = []
    for wide, _ in sizes:
        corners.append(Paper(figure, left, pages.up, scale))
        left += scale * wide + GAP_IN
    paint_pot(corners[0], drawn, units)
    paint_wall(corners[1], drawn, units)
    paint_curves(corners[2], sheet.answer, piece.place, units)
    pages.up -= 0.1


def _facts(piece: PieceText) -> list[tuple[str, float, dict[str, Any]]]:
    mark = "▲ " if piece.over else ""
    bold = {"fontweight": "bold"}
    facts: list[tuple[str, float, dict[str, Any]]] = [
        (f"{piece.name}: {mark}{piece.risk} risk", HEAD_PT, bold),
        (piece.change, BODY_PT, bold),
        (
            f"Wax alone: {piece.wax}. Cookie, as planned: {piece.catch}. Rests on {piece.basis}.",
            SMALL_PT,
            {},
        ),
        (f"Why: {piece.blame}: {piece.why}", SMALL_PT, {}),
    ]
    facts += [
        (f"Layer {layer.number}, {layer.glaze}: down to {layer.ends}, likely run {layer.run} "
         f"({layer.spread}), risk {layer.risk}.", SMALL_PT, {})
        for layer in piece.layers
    ]  # fmt: skip
    return facts
