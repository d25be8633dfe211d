"""What `wall_deg` means, as one picture for the form, the help and README."""

from __future__ import annotations

import io
from typing import NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Arc, Polygon

from runpredict.drawings.style import CLAY, INK, house_style, panels, sign, title

WIDTH_IN, HEIGHT_IN = 7.6, 2.7
DOTS_PER_INCH = 150.0
CLAY_THICK, GLAZE_THICK = 0.22, 0.07  # of the wall's length


class Wall(NamedTuple):
    """One wall of the picture."""

    deg: float
    word: str
    where: str


WALLS = (
    Wall(0.0, "flat", "a plate's face,\na tile lying down"),
    Wall(45.0, "leans in", "a shoulder,\nthe inside of a bowl"),
    Wall(90.0, "upright", "a mug,\na tile standing up"),
    Wall(120.0, "overhangs", "the outside of a bowl,\nunder a belly"),
)


def draw_wall_angles() -> Figure:
    """Four walls in section, each with its angle, the clay, the glaze and where it runs."""
    with house_style():
        figure = Figure(figsize=(WIDTH_IN, HEIGHT_IN))
        title(figure, "wall_deg: the steepest angle of the wall below the layer, from the level")
        places = panels(figure, len(WALLS), 0.1, 0.35, 2.3, 0.1, 0.1)
        for axes, wall in zip(places, WALLS, strict=True):
            _draw(axes, wall)
    return figure


def _draw(axes: Axes, wall: Wall) -> None:
    angle = np.radians(wall.deg)
    along = np.array([np.cos(angle), np.sin(angle)])
    into_clay = np.array([np.sin(angle), -np.cos(angle)])
    foot, top = np.zeros(2), along

    def strip(inner: float, outer: float, **look: object) -> None:
        corners = [foot + inner * into_clay, top + inner * into_clay]
        corners += [top + outer * into_clay, foot + outer * into_clay]
        axes.add_patch(Polygon(corners, closed=True, edgecolor=INK, linewidth=0.8, **look))

    strip(0.0, CLAY_THICK, facecolor=CLAY)
    strip(-GLAZE_THICK, 0.0, facecolor=sign(1).fill, hatch=sign(1).hatch)
    axes.plot([0.0, 0.62], [0.0, 0.0], color=INK, linewidth=0.9, linestyle=(0, (4, 2)))
    if wall.deg:
        axes.add_patch(Arc((0.0, 0.0), 0.84, 0.84, theta1=0.0, theta2=wall.deg, color=INK))
        beside = -2.6 * GLAZE_THICK * into_clay
        start, end = 0.8 * along + beside, 0.25 * along + beside
        axes.annotate(
            "", xy=(end[0], end[1]), xytext=(start[0], start[1]),
            arrowprops={"arrowstyle": "->", "color": INK, "linewidth": 1.1},
        )  # fmt: skip
    else:
        axes.text(0.5, 0.14, "hardly runs", ha="center", fontsize=8.0)
    axes.text(0.25, -0.62, f"{wall.deg:g} {wall.word}", ha="center", fontsize=9.5, weight="bold")
    axes.text(0.25, -0.72, wall.where, ha="center", va="top", fontsize=8.0, linespacing=1.25)
    axes.set_xlim(-0.62, 1.12)
    axes.set_ylim(-1.06, 1.18)
    axes.set_aspect("equal")
    axes.axis("off")


def wall_angles_png() -> bytes:
    """`draw_wall_angles` as a PNG."""
    out = io.BytesIO()
    with house_style():
        draw_wall_angles().savefig(
            out, format="png", dpi=DOTS_PER_INCH, metadata={"Software": None}
        )
    return out.getvalue()
