"""The look of every picture, and how a picture becomes SVG, the same at every run.

Signs never rest on colour alone: layers differ in hatch and in lightness, lines in dashes.
"""

from __future__ import annotations

import io
import re
import unicodedata
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from threading import RLock
from typing import Any, NamedTuple

import matplotlib
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.font_manager import findfont, get_font
from matplotlib.ft2font import FT2Font
from matplotlib.lines import Line2D
from matplotlib.ticker import FuncFormatter, MultipleLocator

from runpredict.units import MM_PER_INCH, LengthUnits, length_number

INK = "#26221d"
FAINT = "#8b857b"
GRID = "#dcd6cb"
CLAY = "#f4ecdf"
SHELF = "#cfc9be"
WATER = "#1d5c78"  # wax and tolerance: what the potter decides herself
POINTS_PER_INCH = 72.0
TICK_PT = 7.5
KEY_ROW_IN = 0.17

PIXEL_GRID = 1.05  # letters fitted to the pixels of a screen come out up to so much wider
FONT = "DejaVu Sans"  # comes with matplotlib, so that every machine measures text alike


class Sign(NamedTuple):
    """How one layer, glaze or family is told from another."""

    fill: str
    hatch: str
    dash: Any
    marker: str

    @property
    def line(self) -> dict[str, Any]:
        """How a line of it is drawn."""
        return {
            "color": INK,
            "linestyle": self.dash,
            "marker": self.marker,
            "markersize": 4.5,
            "markerfacecolor": self.fill,
            "markeredgecolor": INK,
        }


# Lines are hatched, not dots: a dot is a path of its own and swells a sheet of many pots.
# In the order of use; neighbours differ by far in lightness, so that they differ in grey too.
SIGNS = (
    Sign("#ead9a8", "/", "-", "o"),
    Sign("#7fa9bd", "\\\\\\", (0, (5, 2)), "s"),
    Sign("#a35f86", "++", (0, (1, 1.5)), "^"),
    Sign("#f2bb92", "---", (0, (6, 2, 1, 2)), "D"),
    Sign("#55785a", "xx", (0, (3, 1)), "v"),
    Sign("#c9cfd3", "||", (0, (8, 2, 1, 2, 1, 2)), "P"),
)

_STYLE: Any = {
    "font.family": [FONT],
    "font.size": 8.0,
    "text.color": INK,
    "text.parse_math": False,
    "text.usetex": False,
    "axes.edgecolor": INK,
    "axes.facecolor": "#ffffff",
    "axes.grid": False,
    "axes.labelcolor": INK,
    "axes.labelsize": 8.0,
    "axes.linewidth": 0.8,
    "axes.spines.right": False,
    "axes.spines.top": False,
    "axes.titlesize": 9.0,
    "axes.unicode_minus": True,
    "figure.facecolor": "#ffffff",
    "figure.dpi": 100.0,
    "grid.color": GRID,
    "grid.linewidth": 0.6,
    "hatch.color": INK,
    "hatch.linewidth": 0.5,
    "legend.fontsize": 7.5,
    "legend.frameon": False,
    "lines.linewidth": 1.4,
    "path.simplify": True,
    "savefig.bbox": None,
    "savefig.facecolor": "auto",
    "svg.fonttype": "path",
    "svg.hashsalt": "runpredict",
    "svg.image_inline": True,
    "xtick.color": INK,
    "xtick.labelsize": 7.5,
    "ytick.color": INK,
    "ytick.labelsize": 7.5,
}
_BREAK = re.compile(r" (?!(?:\d+/\d+|mm|in)\b)")  # "3 9/16 in" over two lines misleads
_COMMENT = re.compile(r" *<!--.*?-->\n?", re.DOTALL)  # matplotlib repeats each text in one
_PATH = re.compile(r' d="[^"]*"')
_FINE = re.compile(r"(\.\d\d)\d+")  # a hundredth of a point is finer than any printer's dot

# matplotlib keeps its settings in one place for the whole process.
_SETTINGS_LOCK = RLock()


@contextmanager
def house_style() -> Iterator[None]:
    """The settings of this package, whatever the caller's own, for as long as the block lasts."""
    with _SETTINGS_LOCK, matplotlib.rc_context(_STYLE):
        yield


def sign(number: int) -> Sign:
    """The sign of a layer or glaze, counted from 0; after the sixth they come again."""
    return SIGNS[number % len(SIGNS)]


class Picture(Figure):
    """A figure that a notebook shows as it is drawn everywhere else."""

    def _repr_svg_(self) -> str:
        return svg(self)


@dataclass(frozen=True)
class Paper:
    """A part of a figure, measured in inches from its lower left corner.

    Attributes
    ----------
    figure : Figure
    left_in, bottom_in : float
        Where the corner lies in the figure. [in]
    """

    figure: Figure
    left_in: float = 0.0
    bottom_in: float = 0.0

    def at(self, left: float, up: float) -> tuple[float, float]:
        """A point of this paper as a share of the figure's width and height."""
        width, height = self.figure.get_size_inches()
        return (self.left_in + left) / width, (self.bottom_in + up) / height

    def axes(self, left: float, bottom: float, wide: float, high: float) -> Axes:
        """Axes in a box. [in]"""
        start, end = self.at(left, bottom), self.at(left + wide, bottom + high)
        axes = self.figure.add_axes((*start, end[0] - start[0], end[1] - start[1]))
        axes.tick_params(labelsize=7.5)
        return axes

    def line(self, x: list[float], y: list[float], **look: Any) -> None:
        """A line through points given as `at` gives them."""
        self.figure.add_artist(Line2D(x, y, **({"color": INK} | look)))

    def text(self, left: float, up: float, words: str, size_pt: float, **look: Any) -> None:
        """Words whose upper left corner is there, unless told otherwise."""
        self.figure.text(*self.at(left, up), words, fontsize=size_pt, **({"va": "top"} | look))


def tint(color: str) -> tuple[float, float, float]:
    """A colour half way to white: the same glaze, where it may run."""
    red, green, blue = to_rgb(color)
    return 0.5 + 0.5 * red, 0.5 + 0.5 * green, 0.5 + 0.5 * blue


def svg(figure: Figure) -> str:
    """A picture as SVG text: self-contained, the same bytes at every run.

    Returns
    -------
    str
        From ``<svg`` on; letters are outlines, so that no font is needed.
    """
    out = io.BytesIO()
    nothing = {"Creator": None, "Date": None, "Format": None, "Type": None}
    with house_style():
        figure.savefig(out, format="svg", metadata=nothing)
    text = out.getvalue().decode("utf-8")
    bare = _COMMENT.sub("", text[text.index("<svg") :])
    return _PATH.sub(lambda path: _FINE.sub(r"\1", path.group()).replace(" \n", ""), bare)


@cache
def _font() -> tuple[FT2Font, frozenset[int]]:
    font = get_font(findfont(FONT))
    return font, frozenset(font.get_charmap())


@cache
def _advance_em(char: str) -> float:
    with _SETTINGS_LOCK:  # the font is one for all threads that draw
        font, _ = _font()
        font.set_size(100.0, POINTS_PER_INCH)
        return float(font.load_char(ord(char)).linearHoriAdvance) / 65536.0 / 100.0


def width_in(text: str, size_pt: float) -> float:
    """Width of a line of text, at most. [in]"""
    return PIXEL_GRID * sum(map(_advance_em, text)) * size_pt / POINTS_PER_INCH


def drawable(text: str) -> str:
    """Text on one line whose every character can be drawn; "?" stands for the others."""
    _, known = _font()
    flat = " ".join(unicodedata.normalize("NFC", text).split())
    return "".join(char if char.isprintable() and ord(char) in known else "?" for char in flat)


def fitted(text: str, most_in: float, size_pt: float) -> str:
    """Text cut, with an ellipsis, to the width there is."""
    plain = drawable(text[:1000])
    if width_in(plain, size_pt) <= most_in:
        return plain
    room = most_in - width_in("…", size_pt)
    end = 0
    for char in plain:
        room -= width_in(char, size_pt)
        if room < 0:
            break
        end += 1
    return plain[:end].rstrip() + "…"


def wrapped(text: str, most_in: float, size_pt: float) -> list[str]:
    """Text broken into lines no wider than there is room; a longer word is broken too."""
    lines, line = [], ""
    for word in _BREAK.split(drawable(text)):
        joined = f"{line} {word}" if line else word
        if width_in(joined, size_pt) <= most_in:
            line = joined
            continue
        if line:
            lines.append(line)
        line = word
        while width_in(line, size_pt) > most_in:
            end = max(1, len(fitted(line, most_in, size_pt)) - 1)
            lines.append(line[:end])
            line = line[end:]
    return [*lines, line] if line else lines


def in_units(length_mm: Any, units: LengthUnits) -> Any:
    """Lengths as an axis counts them, mm or inches."""
    return length_mm if units == "mm" else length_mm / MM_PER_INCH


_STEPS = {
    "mm": (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 25.0, 50.0, 100.0, 200.0, 500.0),
    "in": (1 / 16, 1 / 8, 1 / 4, 1 / 2, 1.0, 2.0, 4.0, 8.0, 16.0),
}


def length_axis(axes: Axes, side: str, span_mm: float, units: LengthUnits, most: int = 6) -> None:
    """Ticks that a ruler has, on the x or y axis.

    Parameters
    ----------
    axes : Axes
        Drawn in `in_units`.
    span_mm : float
        From one end of the axis to the other. [mm]
    most : int
        Ticks at most, give or take one.
    """
    span = in_units(span_mm, units)
    step = next((s for s in _STEPS[units] if span / s <= most), 2.0 * span / most)
    scale = 1.0 if units == "mm" else MM_PER_INCH
    axis = axes.xaxis if side == "x" else axes.yaxis
    axis.set_major_locator(MultipleLocator(step))
    axis.set_major_formatter(FuncFormatter(lambda at, _: length_number(at * scale, units)))


def title(figure: Figure, words: str) -> None:
    """One line at the top left, cut where it has no room."""
    width, height = figure.get_size_inches()
    Paper(figure).text(0.12, height - 0.08, fitted(words, width - 0.5, 9.5), 9.5)


def panels(
    figure: Figure,
    count: int,
    left: float,
    top: float,
    height: float,
    gap: float = 0.0,
    right: float = 0.2,
) -> list[Axes]:
    """Axes side by side, placed in inches."""
    wide, high = figure.get_size_inches()
    each = (wide - left - right - gap * (count - 1)) / count
    paper = Paper(figure, left, high - top - height)
    return [paper.axes(k * (each + gap), 0.0, each, height) for k in range(count)]


def line_key(figure: Figure, names: Sequence[str]) -> None:
    """Which line is whose, a row of `KEY_ROW_IN` each from the bottom of a figure up."""
    paper, (width, _) = Paper(figure), figure.get_size_inches()
    for k, name in enumerate(names):
        up = KEY_ROW_IN * (len(names) - k)
        sign_line(paper, 0.12, up, sign(k))
        paper.text(0.65, up, fitted(name, width - 0.8, TICK_PT), TICK_PT, va="center")


def sign_line(paper: Paper, left: float, up: float, look: Sign) -> None:
    """A short line as the curves of a sign are drawn. [in]"""
    ends = [paper.at(left + step, up) for step in (0.0, 0.2, 0.4)]
    paper.line([x for x, _ in ends], [y for _, y in ends], markevery=[1], **look.line)
