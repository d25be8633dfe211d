"""Plain text for a terminal: chances, columns, paragraphs."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

WIDTH = 100
LEAST_WRAPPED = 30  # letters a line that the last column keeps, however wide the others are


def percent(chance: float) -> str:
    """A chance as a potter reads it.

    Examples
    --------
    >>> percent(0.004), percent(0.0553), percent(0.997)
    ('under 1 %', '6 %', 'over 99 %')
    """
    if chance < 0.01:
        return "under 1 %"
    return "over 99 %" if chance > 0.99 else f"{100 * chance:.0f} %"


def paragraph(text: str) -> str:
    """Text broken into lines within `WIDTH`."""
    return textwrap.fill(text, WIDTH)


def columns(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Rows under headings; the last column is wrapped within `WIDTH`."""
    widths = [max(map(len, column)) for column in zip(headings, *rows, strict=True)][:-1]
    indent = sum(widths) + 2 * len(widths)
    lines = []
    for row in (headings, *rows):
        start = "  ".join(text.ljust(width) for text, width in zip(row, widths, strict=False))
        last = textwrap.wrap(row[-1], max(WIDTH - indent, LEAST_WRAPPED)) or [""]
        lines.append(f"{start}  {last[0]}".rstrip())
        lines.extend(" " * indent + more for more in last[1:])
    return "\n".join(lines)


def short(name: str, most: int = 24) -> str:
    """A name on one line and no longer than there is room."""
    plain = "".join(char if char.isprintable() else "?" for char in name)
    return plain if len(plain) <= most else f"{plain[: most - 1]}…"
