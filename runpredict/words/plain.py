"""Plain text for a terminal: chances, columns, paragraphs."""

from __future__ import annotations

import itertools
import re
import textwrap
from collections.abc import Sequence

from runpredict.errors import printable

WIDTH = 100
MOST_CELL = 24  # letters a line of any column but the last
MOST_NAME = 200  # letters of a name that are shown
LEAST_WRAPPED = 30  # letters a line that the last column keeps, however wide the others are
# "runpredict record --firing 'Old Nan'": to be copied, so never over two lines.
_COMMAND = re.compile(r"""runpredict \w+(?: --[\w-]+(?: (?:"[^"]*"|'[^']*'|[^\s"'-]\S*))?)*""")
_KEPT = str.maketrans({" ": "\N{NO-BREAK SPACE}", "-": "\N{NON-BREAKING HYPHEN}"})
_FREED = str.maketrans({"\N{NO-BREAK SPACE}": " ", "\N{NON-BREAKING HYPHEN}": "-"})
_SIZE = re.compile(r"(?<=\d) (?=\d+/\d|mm\b|in\b|cm³|cu in|%)")


def shown_name(name: object) -> str:
    """A name as it may be shown: short, on one line, and turning no text around it round."""
    plain = printable(" ".join(str(name)[: 2 * MOST_NAME].split()))
    return plain if len(plain) <= MOST_NAME else f"{plain[: MOST_NAME - 1]}…"


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
    return "\n".join(_wrapped(text, WIDTH))


def _wrapped(text: str, width: int) -> list[str]:
    """Lines of a text; "3 9/16 in" over two of them would mislead, and so would half a command."""
    if len(text) <= width and text == " ".join(text.split()):
        return [text] if text else []
    kept = _COMMAND.sub(lambda found: found[0].translate(_KEPT), text)
    kept = _SIZE.sub("\N{NO-BREAK SPACE}", kept)
    longest = max((len(command) for command in _COMMAND.findall(text)), default=0)
    return [line.translate(_FREED) for line in textwrap.wrap(kept, max(width, longest + 1))]


def columns(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Rows under headings, each cell broken into lines where its column has no room for it."""
    widest = [max(map(len, column)) for column in zip(headings, *rows, strict=True)]
    widths = [min(wide, MOST_CELL) for wide in widest[:-1]]
    last = max(WIDTH - sum(widths) - 2 * len(widths), LEAST_WRAPPED)
    lines = []
    for row in (headings, *rows):
        cells = [
            _wrapped(text, width) or [""] for text, width in zip(row, (*widths, last), strict=True)
        ]
        for line in itertools.zip_longest(*cells, fillvalue=""):
            start = (text.ljust(width) for text, width in zip(line, (*widths, 0), strict=True))
            lines.append("  ".join(start).rstrip())
    return "\n".join(lines)
