"""The check sheet as PDF: the words and pictures of the HTML, laid out on paper."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from runpredict.pages.pot import paint, size_in
from runpredict.pages.sheet_text import FiringText, PieceText, Progress, SheetText, counted
from runpredict.pages.style import GRID, INK, Paper, fitted, house_style, wrapped
from runpredict.units import LengthUnits

PAPER_IN = {"mm": (8.27, 11.69), "in": (8.5, 11.0)}  # ISO 216 A4; letter, ANSI Y14.1 A
MARGIN_IN = 0.5
PICTURE_IN, PICTURE_SCALE, GAP_IN = 4.75, 0.9, 0.2
BODY_PT, SMALL_PT, HEAD_PT, FIRING_PT = 8.5, 7.0, 10.0, 15.0
BOLD_SHARE = 0.85  # of the plain letters that bold ones leave room for in a line
LEADING = 1.35 / 72.0  # inches a line for each point of its letters


class Pages:
    """Paper filled from the top, a new sheet where the next block does not fit."""

    def __init__(self, out: PdfPages, units: LengthUnits) -> None:
        self.out, self.size = out, PAPER_IN[units]
        self.width = self.size[0] - 2 * MARGIN_IN
        self.firing, self.number = "", 0
        self.figure: Figure | None = None
        self.up = 0.0

    def turn(self, firing: str | None = None) -> None:
        """End the page and begin another, which says what firing it belongs to."""
        self.end()
        if firing is not None:
            self.firing, self.number = firing, 0
        self.number += 1
        self.figure = Figure(figsize=self.size)
        self.up = self.size[1] - MARGIN_IN
        words = fitted(f"Firing {self.firing}", self.width - 1.0, SMALL_PT)
        self.paper.text(MARGIN_IN, 0.42, f"{words}, page {self.number}", SMALL_PT)

    def end(self) -> None:
        """Write the page that is being filled."""
        if self.figure is not None:
            self.out.savefig(self.figure)  # type: ignore[no-untyped-call]
        self.figure = None

    @property
    def paper(self) -> Paper:
        """The page that is being filled."""
        assert self.figure is not None  # `turn` begins every firing
        return Paper(self.figure)

    def room(self, height: float) -> None:
        """See that a block of this height fits."""
        if self.up - height < MARGIN_IN + 0.15:
            self.turn()

    def words(
        self, text: str, size_pt: float, left: float = 0.0, width: float | None = None, **look: Any
    ) -> None:
        """A paragraph, on one page if any page holds it: half a warning warns nobody."""
        lines = wrapped(text, width or self.width - left, size_pt)
        whole = len(lines) * size_pt * LEADING
        if whole <= self.size[1] - 3 * MARGIN_IN:
            self.room(whole)
        for line in lines:
            self.room(size_pt * LEADING)
            self.paper.text(MARGIN_IN + left, self.up, line, size_pt, **look)
            self.up -= size_pt * LEADING

    def rule(self, color: str = INK, width: float = 0.8) -> None:
        """A line across the page."""
        start, end = (self.paper.at(left, self.up) for left in (MARGIN_IN, MARGIN_IN + self.width))
        line = Line2D([start[0], end[0]], [start[1], end[1]], color=color, linewidth=width)
        self.paper.figure.add_artist(line)
        self.up -= 0.06


def write_pdf(
    sheet: SheetText, path: Path, units: LengthUnits, progress: Progress | None = None
) -> None:
    """Write a check sheet as PDF.

    Parameters
    ----------
    sheet : SheetText
    path : Path
    units : "mm" or "in"
        Also says whether the paper is A4 or letter.
    progress : callable, optional
        Told the share that is done, from 0 to 1.
    """
    told = {"Title": sheet.title, "Creator": None, "Producer": None, "CreationDate": None}
    done = counted(sheet, progress)
    with house_style(), path.open("wb") as file, PdfPages(file, metadata=told) as out:
        pages = Pages(out, units)
        for firing in sheet.firings:
            _begin(pages, sheet, firing)
            for piece in firing.pieces:
                _piece(pages, piece, units)
                done()
            pages.up -= 0.1
            pages.words(sheet.basis, SMALL_PT)
            pages.words(f"Take care. {sheet.caution}", SMALL_PT)
        pages.end()


def _begin(pages: Pages, sheet: SheetText, firing: FiringText) -> None:
    pages.turn(firing.name)
    pages.words(fitted(f"Firing {firing.name}", pages.width, FIRING_PT), FIRING_PT)
    pages.up -= 0.03
    pages.words(f"{firing.headline}.", HEAD_PT, fontweight="bold", width=pages.width * BOLD_SHARE)
    pages.words(sheet.how, SMALL_PT)
    pages.up -= 0.08
    pages.words(firing.where, BODY_PT)
    pages.words("; ".join(f"▲ {name}" for name in firing.apart), BODY_PT, left=0.15)
    pages.up -= 0.1
    _list(pages, firing)


def _list(pages: Pages, firing: FiringText) -> None:
    """All pieces of a firing, a line each."""
    shares = (0.26, 0.1, 0.26, 0.14, 0.24)

    def line(cells: tuple[str, ...]) -> None:
        pages.room(BODY_PT * LEADING + 0.06)
        left = 0.0
        for cell, share in zip(cells, shares, strict=True):
            words = fitted(cell, share * pages.width - 0.1, SMALL_PT)
            pages.paper.text(MARGIN_IN + left, pages.up, words, SMALL_PT)
            left += share * pages.width
        pages.up -= SMALL_PT * LEADING + 0.03

    line(("piece", "risk", "layer to blame", "wax height", "cookie"))
    pages.rule()
    for piece in firing.pieces:
        risk = f"▲ {piece.risk}" if piece.over else piece.risk
        line((piece.name, risk, piece.blame, piece.wax, piece.cookie))
    pages.up -= 0.1


def _piece(pages: Pages, piece: PieceText, units: LengthUnits) -> None:
    """One piece: its picture, and the words beside it."""
    width, height = size_in(piece.piece)
    scale = min(PICTURE_SCALE, PICTURE_IN / width)
    beside = pages.width - PICTURE_IN - GAP_IN
    lines = [
        (line, size_pt, look)
        for text, size_pt, look in _facts(piece)
        for line in wrapped(text, beside * (BOLD_SHARE if look else 1.0), size_pt)
    ]
    tall = sum(size_pt * LEADING for _, size_pt, _ in lines) + 0.3
    pages.room(max(height * scale, min(tall, pages.size[1] - 3 * MARGIN_IN)) + 0.15)
    pages.rule(GRID, 1.2)
    top = pages.up
    corner = Paper(pages.paper.figure, MARGIN_IN, top - height * scale, scale)
    paint(corner, piece.piece, units)
    for line, size_pt, look in lines:
        pages.room(size_pt * LEADING)
        pages.paper.text(MARGIN_IN + PICTURE_IN + GAP_IN, pages.up, line, size_pt, **look)
        pages.up -= size_pt * LEADING
    pages.up = min(pages.up, top - height * scale) - 0.08


def _facts(piece: PieceText) -> list[tuple[str, float, dict[str, Any]]]:
    mark = "▲ " if piece.over else ""
    bold = {"fontweight": "bold"}
    facts: list[tuple[str, float, dict[str, Any]]] = [
        (piece.name, HEAD_PT, bold),
        (f"{mark}{piece.risk} risk", BODY_PT, bold),
        (piece.change, BODY_PT, bold),
        (f"Wax height: {piece.wax}. Cookie: {piece.cookie}.", BODY_PT, {}),
        (f"Why: {piece.blame}: {piece.why}", SMALL_PT, {}),
    ]
    facts += [
        (f"Layer {layer.number}, {layer.glaze}: down to {layer.ends}, likely run {layer.run} "
         f"({layer.spread}), risk {layer.risk}.", SMALL_PT, {})
        for layer in piece.layers
    ]  # fmt: skip
    return [*facts, (f"Rests on {piece.basis}.", SMALL_PT, {})]
