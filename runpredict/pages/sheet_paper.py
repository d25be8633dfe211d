"""Sheets of paper filled from the top, for the kiln sheet as PDF."""

from __future__ import annotations

from typing import Any

from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure

from runpredict.pages.style import INK, Paper, fitted, wrapped
from runpredict.units import LengthUnits

PAPER_IN = {"mm": (8.27, 11.69), "in": (8.5, 11.0)}  # ISO 216 A4; letter, ANSI Y14.1 A
MARGIN_IN = 0.5
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
        self.paper.line([start[0], end[0]], [start[1], end[1]], color=color, linewidth=width)
