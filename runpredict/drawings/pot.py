"""Pictures of one piece: the pot as it stands, its wall laid straight, and what signs mean."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from runpredict.answers.check import Answer
from runpredict.drawings.piece import Layer, Piece, find_piece
from runpredict.drawings.pot_view import (
    FAR,
    LIKELY,
    SMALL_PT,
    WAX,
    draw_small_pot,
    paint_pot,
    pot_size_in,
)
from runpredict.drawings.style import (
    GRID,
    INK,
    WATER,
    Paper,
    Picture,
    fitted,
    house_style,
    width_in,
)
from runpredict.drawings.wall_view import paint_wall, wall_size_in
from runpredict.units import LengthUnits
from runpredict.words.plain import percent

EDGE_IN, TITLE_IN, TITLE_PT = 0.1, 0.26, 9.0
KEY_IN = (3.5, 1.0)
SMALL_POT_IN = (0.62, 0.5)
SHAPE_IN = (1.1, 0.9)


def pot_figure(
    answer: Answer, piece: str, firing: str | None = None, units: LengthUnits = "mm"
) -> Figure:
    """The pot from the side, and its wall laid straight.

    Parameters
    ----------
    answer : Answer
    piece : str
    firing : str, optional
        Needed where several firings have a piece of that name.
    units : "mm" or "in"

    Returns
    -------
    Figure

    Raises
    ------
    BadInput : no such piece, or more than one.
    """
    return named_figure(find_piece(answer, piece, firing, units), units)


def named_figure(piece: Piece, units: LengthUnits = "mm") -> Figure:
    """Both views of a piece with its name above and what the signs mean below."""
    pot, wall = pot_size_in(piece, units), wall_size_in(piece)
    wide, high = 3 * EDGE_IN + pot[0] + wall[0], max(pot[1], wall[1])
    wide = max(wide, 2 * EDGE_IN + KEY_IN[0])
    with house_style():
        figure = Picture(figsize=(wide, high + TITLE_IN + KEY_IN[1] + EDGE_IN))
        base = KEY_IN[1] + EDGE_IN
        paint_pot(Paper(figure, EDGE_IN, base), piece, units)
        paint_wall(Paper(figure, 2 * EDGE_IN + pot[0], base), piece, units)
        paint_key(Paper(figure, EDGE_IN, 0.0))
        risk = f"{percent(piece.risk)} risk of passing the foot: "
        room = wide - 2 * EDGE_IN - width_in(risk, TITLE_PT)
        title = risk + fitted(piece.name, room, TITLE_PT)
        top = high + TITLE_IN + base - 0.05
        Paper(figure).text(EDGE_IN, top, title, TITLE_PT)
    return figure


def _alone(size_in: tuple[float, float], paint: Callable[[Paper], None]) -> Figure:
    with house_style():
        figure = Picture(figsize=size_in)
        paint(Paper(figure))
    return figure


def side_figure(piece: Piece, units: LengthUnits) -> Figure:
    """The pot from the side alone, for a page that names it."""
    return _alone(pot_size_in(piece, units), lambda paper: paint_pot(paper, piece, units))


def wall_figure(piece: Piece, units: LengthUnits) -> Figure:
    """The wall laid straight alone, for a page that names the piece."""
    return _alone(wall_size_in(piece), lambda paper: paint_wall(paper, piece, units))


def small_figure(piece: Piece) -> Figure:
    """The pot from the side, small and without a word."""
    figure = _alone(
        SMALL_POT_IN, lambda paper: draw_small_pot(paper.axes(0, 0, *SMALL_POT_IN), piece)
    )
    figure.patch.set_visible(False)  # a table has lines of its own
    for axes in figure.axes:
        axes.patch.set_visible(False)
    return figure


@dataclass(frozen=True)
class Shape:
    """A pot to choose by its picture: what it is called, and what that sets."""

    name: str
    form: str
    wall_deg: float


# Angles are common practice, no source; a wall that closes in is drawn as a vase's.
SHAPES = (
    Shape("Mug", "mug", 88.0),
    Shape("Bowl, opening, glazed outside", "bowl", 115.0),
    Shape("Bowl or jar, closing in", "vase", 75.0),
    Shape("Plate, its face", "plate", 15.0),
    Shape("Bottle", "bottle", 86.0),
    Shape("Tile, standing", "tile", 90.0),
)


def shape_figure(shape: Shape) -> Figure:
    """A shape as a pot of it is drawn."""
    foot_mm, lower_mm, upper_mm = 64.0, 14.0, 90.0
    glaze = Layer(1, "", lower_mm, upper_mm, 0.0, 0.0, 0.0, shape.wall_deg)
    piece = Piece("", "", shape.form, 0.0, foot_mm, *3 * (np.nan,), (glaze,))
    return _alone(SHAPE_IN, lambda paper: draw_small_pot(paper.axes(0, 0, *SHAPE_IN), piece))


def key_figure() -> Figure:
    """What the signs of all pictures mean."""
    return _alone(KEY_IN, paint_key)


def paint_key(paper: Paper) -> None:
    """What the signs mean, on as much of a paper as `KEY_IN` says."""
    paper.figure.legend(
        handles=_signs(), loc="lower left", bbox_to_anchor=paper.at(0.0, 0.0), ncols=2,
        fontsize=SMALL_PT, handlelength=2.4, columnspacing=1.0, handletextpad=0.5,
        borderaxespad=0.2, labelspacing=0.35,
    )  # fmt: skip


def _signs() -> list[Patch | Line2D]:
    ring: dict[str, Any] = {
        "marker": "o",
        "markersize": 7,
        "markerfacecolor": "none",
        "linestyle": "none",
    }
    return [
        Patch(facecolor=GRID, edgecolor=INK, hatch="///", label="as put on"),
        Line2D([], [], label="likely lower edge", **LIKELY),
        Line2D([], [], label="1 in 20 ends lower", **FAR),
        Line2D([], [], color=INK, linewidth=2.4, label="foot's edge"),
        Line2D([], [], color=INK, marker="v", linestyle="none", label="may pass the foot"),
        Line2D([], [], label="wax to here", **WAX),
        Line2D([], [], color=WATER, linewidth=2.2, label="stop here"),
        Line2D([], [], color=INK, label="curves: as planned", **ring),
        Line2D([], [], color=WATER, linestyle=(0, (2, 1)), label="curves: tolerated"),
    ]
