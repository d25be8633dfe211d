"""The pot from the side, where its glaze was put on and where it is likely to end.

Two views of one piece share the picture: the pot as it stands on its shelf, and its wall laid
straight, on which heights can be read off whatever the pot's shape.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Polygon, Rectangle

from runpredict.answers.check import Answer
from runpredict.answers.decisions import COOKIE_RIM_M
from runpredict.arrays import Floats
from runpredict.pages.piece import Layer, Piece, find_piece, profile_mm
from runpredict.pages.plain import percent
from runpredict.pages.style import (
    CLAY,
    FAINT,
    GRID,
    INK,
    SHELF,
    WATER,
    Paper,
    Picture,
    fitted,
    house_style,
    in_units,
    length_axis,
    sign,
    tint,
    width_in,
)
from runpredict.units import LengthUnits, format_distance

# Sizes on paper. [in]
POT_IN, COLUMN_IN, VIEW_IN = 2.15, 0.82, 1.75
LEFT_IN, GAP_IN, RIGHT_IN = 0.1, 1.08, 0.78
TITLE_IN, TOP_IN, CAPTION_IN, LINE_IN = 0.22, 0.2, 0.44, 0.15
LEAST_COLUMNS = 2
BELOW_FOOT_SHARE = 0.22  # of the wall's height, shown below the foot
SMALL_PT, TITLE_PT = 7.0, 9.0


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
    return named_figure(find_piece(answer, piece, firing), units)


def named_figure(piece: Piece, units: LengthUnits = "mm") -> Figure:
    """The picture of a piece with its name above and those of its glazes below."""
    width, height = size_in(piece)
    names = LINE_IN * len(piece.layers)
    with house_style():
        figure = Picture(figsize=(width, height + names + TITLE_IN))
        paint(Paper(figure, bottom_in=names), piece, units)
        _name(Paper(figure), piece)
    return figure


def bare_figure(piece: Piece, units: LengthUnits = "mm") -> Figure:
    """The picture of a piece without names, for a page whose words beside it give them."""
    with house_style():
        figure = Picture(figsize=size_in(piece))
        paint(Paper(figure), piece, units)
    return figure


def size_in(piece: Piece) -> tuple[float, float]:
    """Width and height of the picture of a piece, without names. [in]"""
    columns = max(len(piece.layers), LEAST_COLUMNS)
    width = LEFT_IN + POT_IN + GAP_IN + COLUMN_IN * columns + RIGHT_IN
    return width, TOP_IN + VIEW_IN + CAPTION_IN + LINE_IN * 1.6


def paint(paper: Paper, piece: Piece, units: LengthUnits) -> None:
    """Draw a piece, without names, on as much of a paper as `size_in` says."""
    width, _ = size_in(piece)
    base = CAPTION_IN + LINE_IN * 1.6
    _draw_pot(paper.axes(LEFT_IN, base, POT_IN, VIEW_IN), piece)
    left = LEFT_IN + POT_IN + GAP_IN
    axes = paper.axes(left, base, width - left - RIGHT_IN, VIEW_IN)
    _draw_wall(axes, piece, units, SMALL_PT * paper.scale)
    for line, words in enumerate(_sizes(piece, units)):
        up = base - 0.07 - LINE_IN * line
        paper.text(LEFT_IN + 0.5 * POT_IN, up, words, SMALL_PT, ha="center")
    paper.figure.legend(
        handles=_signs(), loc="lower left", bbox_to_anchor=paper.at(0.0, 0.0), ncols=5,
        fontsize=6.2 * paper.scale, handlelength=2.6, columnspacing=0.9, handletextpad=0.5,
        borderaxespad=0.3,
    )  # fmt: skip


def _name(paper: Paper, piece: Piece) -> None:
    """The names of the piece, above its picture, and of its glazes, below it."""
    width, height = paper.figure.get_size_inches()
    risk = f"{percent(piece.risk)} risk of passing the foot: "
    room = width - 2 * LEFT_IN
    title = risk + fitted(piece.name, room - width_in(risk, TITLE_PT), TITLE_PT)
    paper.text(LEFT_IN, height - 0.05, title, TITLE_PT)
    for line, layer in enumerate(piece.layers):
        up = LINE_IN * (len(piece.layers) - line) - 0.02
        words = fitted(f"layer {layer.number}: {layer.glaze}", room, SMALL_PT)
        paper.text(LEFT_IN, up, words, SMALL_PT)


def _draw_pot(axes: Axes, piece: Piece) -> None:
    """The pot on its shelf."""
    up = np.linspace(0.0, piece.top_mm, 60)
    lowest = -_stand(axes, piece)
    axes.add_patch(_band(piece, up, facecolor=CLAY, edgecolor=INK, linewidth=1.0, zorder=2))
    for k, layer in enumerate(piece.layers):
        _draw_glaze(axes, piece, layer, k)
    axes.add_patch(_band(piece, up, fill=False, edgecolor=INK, linewidth=1.0, zorder=6))
    half = 0.5 * piece.foot_mm
    axes.plot([-half, half], [0.0, 0.0], color=INK, linewidth=2.4, zorder=7)
    radius, height = profile_mm(piece, up)
    widest = max(float(radius.max()), 0.5 * np.nan_to_num(piece.cookie_diameter_mm)) * 1.12
    if not np.isnan(piece.wax_mm):
        (reach,), (level,) = profile_mm(piece, [piece.wax_mm])
        reach = min(reach + 0.08 * widest, widest)
        axes.plot([-reach, reach], [level, level], **_WAX, zorder=8)
    axes.set_aspect("equal", adjustable="box", anchor="S")
    axes.set_xlim(-widest, widest)
    axes.set_ylim(lowest, max(1.06 * float(height.max()), 0.1 * widest))
    axes.set_axis_off()


_WAX: dict[str, Any] = {"color": WATER, "linewidth": 1.6, "linestyle": (0, (5, 1.5, 1.2, 1.5))}


def _stand(axes: Axes, piece: Piece) -> float:
    """Draw cookie and shelf; how far below the foot the drawing goes. [mm]"""
    radius, height = profile_mm(piece, [0.0, piece.top_mm])
    scale = max(float(radius.max()), 0.5 * float(height.max()))
    thick = 0.07 * scale
    under = 0.0
    if piece.cookie != "none":
        under = piece.cookie_height_mm
        across = piece.cookie_diameter_mm
        axes.add_patch(
            Rectangle(
                (-0.5 * across, -under), across, under,
                facecolor="#ffffff", edgecolor=INK, linewidth=1.0, hatch="|||", zorder=2,
            )
        )  # fmt: skip
    reach = 1.12 * max(float(radius.max()), 0.5 * np.nan_to_num(piece.cookie_diameter_mm))
    axes.add_patch(
        Rectangle(
            (-reach, -under - thick), 2.0 * reach, thick,
            facecolor=SHELF, edgecolor=INK, linewidth=0.8, zorder=1,
        )
    )  # fmt: skip
    return under + thick


def _band(piece: Piece, up_mm: Floats, **look: Any) -> Polygon:
    """The pot between two heights, both sides of its axis."""
    radius, height = profile_mm(piece, up_mm)
    sides = np.concatenate([radius, -radius[::-1]]), np.concatenate([height, height[::-1]])
    return Polygon(np.column_stack(sides), closed=True, **look)


def _draw_glaze(axes: Axes, piece: Piece, layer: Layer, k: int) -> None:
    """One layer on the pot: as put on, then down to where it may end."""
    look = sign(k)
    likely = layer.lower_mm - layer.run_p50_mm
    far = layer.lower_mm - layer.run_p95_mm

    def between(low: float, high: float) -> Floats:
        return np.linspace(max(low, 0.0), max(high, 0.0), 40)

    if layer.upper_mm > layer.lower_mm:
        put_on = between(layer.lower_mm, layer.upper_mm)
        axes.add_patch(
            _band(piece, put_on, facecolor=look.fill, hatch=look.hatch, edgecolor=INK,
                  linewidth=0.5, zorder=3 + 0.1 * k)
        )  # fmt: skip
    run = between(likely, layer.lower_mm)
    axes.add_patch(_band(piece, run, facecolor=tint(look.fill), linewidth=0, zorder=3 + 0.1 * k))
    for edge, line in ((likely, _LIKELY), (far, _FAR)):
        if edge > 0:
            (radius,), (height,) = profile_mm(piece, [edge])
            axes.plot([-radius, radius], [height, height], zorder=5, **line)
    if piece.cookie != "none" and far < 0:
        _draw_puddle(axes, piece, likely < 0)


_LIKELY: dict[str, Any] = {
    "color": INK,
    "linewidth": 1.8,
    "linestyle": "-",
    "solid_capstyle": "butt",
}
_FAR: dict[str, Any] = {"color": INK, "linewidth": 1.1, "linestyle": (0, (2.5, 1.8))}


def _draw_puddle(axes: Axes, piece: Piece, likely: bool) -> None:
    """Where the cookie may catch glaze: as wide as it was sized for."""
    reach = 0.5 * piece.cookie_diameter_mm - 1e3 * COOKIE_RIM_M
    half = 0.5 * piece.foot_mm
    deep = max(0.012 * piece.cookie_diameter_mm, 1.0)
    for side in (-1.0, 1.0):
        axes.add_patch(
            Polygon(
                [(side * half, 0.0), (side * reach, 0.0), (side * half, 2.0 * deep)],
                facecolor=FAINT if likely else "#ffffff",
                edgecolor=INK,
                linewidth=0.9,
                linestyle="-" if likely else (0, (2.5, 1.8)),
                zorder=4,
            )
        )


def _draw_wall(axes: Axes, piece: Piece, units: LengthUnits, size_pt: float) -> None:
    """The wall laid straight, a column a layer."""
    top = piece.top_mm
    low, high = -BELOW_FOOT_SHARE * top, 1.04 * top
    columns = max(len(piece.layers), LEAST_COLUMNS)
    axes.set_xlim(-0.5, columns - 0.5)
    axes.set_ylim(in_units(low, units), in_units(high, units))
    axes.grid(axis="y", zorder=0)
    axes.set_axisbelow(True)
    axes.axhspan(in_units(low, units), 0.0, facecolor="#efece6", edgecolor="none", zorder=0.5)
    for k, layer in enumerate(piece.layers):
        _draw_column(axes, layer, k, low, units)
    axes.axhline(0.0, color=INK, linewidth=2.4, zorder=4)
    _mark(axes, 0.0, "foot's edge", "top", INK, size_pt)
    if not np.isnan(piece.wax_mm):
        at = in_units(piece.wax_mm, units)
        axes.axhline(at, **_WAX, zorder=5)
        text = f"wax line\n{format_distance(piece.wax_mm, units)}"
        _mark(axes, at, text, "bottom", WATER, size_pt)
    else:
        middle = in_units(0.5 * top, units)
        _mark(axes, middle, "no wax line:\nwax alone is\nnot enough", "center", WATER, size_pt)
    length_axis(axes, "y", high - low, units)
    axes.set_ylabel(f"up the wall from the foot [{units}]", fontsize=size_pt * 1.1)
    axes.set_xticks([])
    axes.spines["bottom"].set_visible(False)
    _column_texts(axes, piece, units, size_pt)


def _mark(axes: Axes, at: float, text: str, side: str, color: str, size_pt: float) -> None:
    axes.annotate(
        text, (1.0, at), (4, {"bottom": 2, "top": -2, "center": 0}[side]),
        xycoords=axes.get_yaxis_transform(), textcoords="offset points",
        ha="left", va=side, fontsize=size_pt, color=color, annotation_clip=False,
    )  # fmt: skip


def _draw_column(axes: Axes, layer: Layer, k: int, low_mm: float, units: LengthUnits) -> None:
    look = sign(k)
    left, right = k - 0.3, k + 0.3
    likely = max(layer.lower_mm - layer.run_p50_mm, low_mm)
    far = max(layer.lower_mm - layer.run_p95_mm, low_mm)
    clipped = layer.lower_mm - layer.run_p95_mm < low_mm

    def box(bottom: float, top: float, **given: Any) -> None:
        at = in_units(np.array([bottom, top]), units)
        axes.add_patch(Rectangle((left, at[0]), 0.6, at[1] - at[0], **given))

    box(layer.lower_mm, layer.upper_mm, facecolor=look.fill, hatch=look.hatch, edgecolor=INK,
        linewidth=0.8, zorder=2)  # fmt: skip
    box(likely, layer.lower_mm, facecolor=tint(look.fill), edgecolor=INK, linewidth=0.6, zorder=2)
    box(far, likely, facecolor="#ffffff", edgecolor=INK, linewidth=0.8, zorder=2,
        linestyle=(0, (2.5, 1.8)))  # fmt: skip
    if likely > low_mm:
        axes.plot([left, right], [in_units(likely, units)] * 2, zorder=6, **_LIKELY)
    if clipped:
        axes.plot(
            [k], [in_units(0.82 * low_mm, units)], marker="v", color=INK, markersize=5, zorder=6,
        )  # fmt: skip


def _column_texts(axes: Axes, piece: Piece, units: LengthUnits, size_pt: float) -> None:
    """Above and below each column: its number, and how far it runs."""
    across = axes.get_xaxis_transform()

    def text(x: float, y_pt: float, words: str, side: str = "center", bold: bool = False) -> None:
        axes.annotate(
            words, (x, 1.0 if y_pt > 0 else 0.0), (0, y_pt), xycoords=across,
            textcoords="offset points", ha=side, va="bottom" if y_pt > 0 else "top",
            fontsize=size_pt, fontweight="bold" if bold else "normal", annotation_clip=False,
        )  # fmt: skip

    text(-0.58, -6, "likely run", "right")
    text(-0.58, -6 - 1.6 * size_pt, "1 in 20 over", "right")
    for k, layer in enumerate(piece.layers):
        text(k, 4, f"layer {layer.number}", bold=True)
        text(k, -6, format_distance(layer.run_p50_mm, units), bold=True)
        text(k, -6 - 1.6 * size_pt, format_distance(layer.run_p95_mm, units))


def _sizes(piece: Piece, units: LengthUnits) -> list[str]:
    walls = sorted({layer.wall_deg for layer in piece.layers})
    angle = f"{walls[0]:.0f}°" if len(walls) == 1 else f"{walls[0]:.0f}° to {walls[-1]:.0f}°"
    over = ", overhanging" if walls[-1] > 90 else ""
    lines = [f"foot {format_distance(piece.foot_mm, units)} wide, wall {angle}{over}"]
    if piece.cookie == "none":
        return [*lines, "no cookie needed"]
    wide, high = (
        format_distance(size, units) for size in (piece.cookie_diameter_mm, piece.cookie_height_mm)
    )
    return [*lines, f"cookie {wide} wide, {high} high"]


def _signs() -> list[Patch | Line2D]:
    return [
        Patch(facecolor=GRID, edgecolor=INK, hatch="///", label="as put on"),
        Line2D([], [], label="likely lower edge", **_LIKELY),
        Line2D([], [], label="1 in 20 ends lower", **_FAR),
        Line2D([], [], label="wax line", **_WAX),
        Line2D([], [], color=INK, linewidth=2.4, label="foot's edge"),
    ]
