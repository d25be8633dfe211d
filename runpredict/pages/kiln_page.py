"""The page that is taped to the kiln: a line a pot, as PDF."""

from __future__ import annotations

import numpy as np
from matplotlib.patches import Rectangle

from runpredict.pages.pot_view import draw_small_pot
from runpredict.pages.sheet_paper import (
    BODY_PT,
    BOLD_SHARE,
    FIRING_PT,
    LEADING,
    MARGIN_IN,
    SMALL_PT,
    Pages,
)
from runpredict.pages.sheet_text import HEADINGS, POTS_A_PAGE, FiringText, PieceText, SheetText
from runpredict.pages.style import GRID, INK, wrapped

# Shares of the page's width, in the order of the headings.
SHARES = (0.045, 0.07, 0.155, 0.07, 0.48, 0.09, 0.09)
BOX_IN, GAP_IN = 0.15, 0.08
LOW_IN, HIGH_IN = 0.26, 0.5  # least and most height of a line
LINE_PT = 7.0
CARE_PT = 6.0


def kiln_pages(pages: Pages, sheet: SheetText, firing: FiringText) -> None:
    """The pages of one firing, each with what is to be taken care of at its foot."""
    care = wrapped(f"Take care. {sheet.caution}", pages.width, CARE_PT)
    below = MARGIN_IN + 0.1 + len(care) * CARE_PT * LEADING
    left = list(firing.pieces)
    while left:
        first = len(left) == len(firing.pieces)
        pages.turn(firing.name if first else None)
        _head(pages, sheet, firing, first)
        room = pages.up - below
        cells = [_cells(pages, piece, sheet) for piece in left[:POTS_A_PAGE]]
        highs = _heights([_least_in(lines) for lines in cells], room)
        for lines, high in zip(cells, highs, strict=False):
            _line(pages, left.pop(0), lines, high)
        pages.up = below - 0.05
        for line in care:
            pages.paper.text(MARGIN_IN, pages.up, line, CARE_PT)
            pages.up -= CARE_PT * LEADING


def _head(pages: Pages, sheet: SheetText, firing: FiringText, first: bool) -> None:
    pages.words(sheet.title.upper(), SMALL_PT)
    pages.words(f"Firing {firing.name}", FIRING_PT, width=pages.width * BOLD_SHARE,
                fontweight="bold")  # fmt: skip
    date = firing.fired_on or "_" * 16
    pages.words(f"{firing.heat}. Date: {date}", BODY_PT)
    pages.up -= 0.04
    pages.words(f"{firing.summary}.", BODY_PT + 1.5, width=pages.width * BOLD_SHARE,
                fontweight="bold")  # fmt: skip
    if first:
        names = f" {', '.join(firing.apart)}." if firing.apart else ""
        pages.words(f"{firing.where}{names}", SMALL_PT + 0.5)
    pages.up -= 0.08
    for left, heading in zip(_lefts(pages), HEADINGS, strict=True):
        pages.paper.text(left, pages.up, heading, SMALL_PT, fontstyle="italic")
    pages.up -= SMALL_PT * LEADING + 0.02
    pages.rule()


def _lefts(pages: Pages) -> list[float]:
    """Where each column begins. [in]"""
    return [MARGIN_IN + pages.width * sum(SHARES[:k]) for k in range(len(SHARES))]


def _cells(pages: Pages, piece: PieceText, sheet: SheetText) -> list[list[str]]:
    """The lines of every cell of a pot's line."""
    mark = "▲ " if piece.over else ""
    cells = ("", "", piece.name, f"{mark}{piece.risk}", piece.brief, piece.bare, sheet.ran)
    room = [share * pages.width - GAP_IN for share in SHARES]
    return [wrapped(cell, width, LINE_PT) for cell, width in zip(cells, room, strict=True)]


def _least_in(lines: list[list[str]]) -> float:
    """How high a pot's line must be. [in]"""
    return max(LOW_IN, max(map(len, lines)) * LINE_PT * LEADING + 0.04)


def _heights(least: list[float], room: float) -> list[float]:
    """Heights of as many lines as there is room for, one at least, alike where they can be. [in]"""
    count = max(1, int((np.cumsum(least) <= room + 1e-9).sum()))
    least = least[:count]
    for high in np.linspace(HIGH_IN, LOW_IN, 60):
        heights = [max(one, float(high)) for one in least]
        if sum(heights) <= room:
            return heights
    return least


def _line(pages: Pages, piece: PieceText, lines: list[list[str]], high: float) -> None:
    lefts, middle = _lefts(pages), pages.up - 0.5 * high
    corner = pages.paper.at(lefts[0] + 0.02, middle - 0.5 * BOX_IN)
    end = pages.paper.at(lefts[0] + 0.02 + BOX_IN, middle + 0.5 * BOX_IN)
    figure = pages.paper.figure
    figure.add_artist(
        Rectangle(corner, end[0] - corner[0], end[1] - corner[1], fill=False, edgecolor=INK,
                  linewidth=0.9, transform=figure.transFigure)
    )  # fmt: skip
    wide = SHARES[1] * pages.width - GAP_IN
    draw_small_pot(
        pages.paper.axes(lefts[1], pages.up - high + 0.02, wide, high - 0.04), piece.piece
    )
    for left, cell in zip(lefts, lines, strict=True):
        up = middle + 0.5 * len(cell) * LINE_PT * LEADING - 0.01
        for line in cell:
            pages.paper.text(left, up, line, LINE_PT)
            up -= LINE_PT * LEADING
    pages.up -= high
    pages.rule(GRID)
