"""The pot from the side, as it stands on its shelf: its form, its glaze, where that may end."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Ellipse, PathPatch, Polygon, Rectangle
from matplotlib.path import Path

from runpredict.arrays import Floats
from runpredict.drawings.piece import Layer, Piece, profile_mm
from runpredict.drawings.style import CLAY, INK, SHELF, WATER, Paper, sign, tint, wrapped
from runpredict.units import LengthUnits, format_distance

SMALL_PT = 8.3  # 11 pixels, the least that is read on a telephone
LINE_IN = SMALL_PT * 1.3 / 72.0
POT_IN, VIEW_IN = 2.0, 1.75
WAX: dict[str, Any] = {"color": WATER, "linewidth": 1.6, "linestyle": (0, (5, 1.5, 1.2, 1.5))}
LIKELY: dict[str, Any] = {
    "color": INK,
    "linewidth": 1.8,
    "linestyle": "-",
    "solid_capstyle": "butt",
}
FAR: dict[str, Any] = {"color": INK, "linewidth": 1.1, "linestyle": (0, (2.5, 1.8))}
FINE = 0.45
NECK_SHARE = 0.38  # of a bottle's widest radius; for the drawing alone
WALL_SHARE = 0.05  # of a dish's diameter


def pot_size_in(piece: Piece, units: LengthUnits) -> tuple[float, float]:
    """Width and height of the view with its caption. [in]"""
    return POT_IN, VIEW_IN + 0.08 + LINE_IN * len(_caption(piece, units))


def paint_pot(paper: Paper, piece: Piece, units: LengthUnits) -> None:
    """The pot and its caption, on as much of a paper as `pot_size_in` says."""
    lines = _caption(piece, units)
    base = 0.08 + LINE_IN * len(lines)
    draw_pot(paper.axes(0.0, base, POT_IN, VIEW_IN), piece)
    for line, words in enumerate(lines):
        up = base - 0.06 - LINE_IN * line
        paper.text(0.5 * POT_IN, up, words, SMALL_PT, ha="center")


def draw_pot(axes: Axes, piece: Piece) -> None:
    """The pot on its shelf, without a word."""
    up = _bends(piece, 0.0, piece.top_mm)
    radius, height = profile_mm(piece, up)
    widest = max(float(radius.max()), 0.5 * np.nan_to_num(piece.dish_diameter_mm)) * 1.12
    above = _draw_top(axes, piece, float(radius[-1]), float(height[-1]), float(radius.max()))
    lowest = -_draw_stand(axes, piece, widest)
    axes.add_patch(_band(piece, up, facecolor=CLAY, edgecolor=INK, linewidth=1.0, zorder=2))
    for k, layer in enumerate(piece.layers):
        _draw_glaze(axes, piece, layer, k)
    axes.add_patch(_band(piece, up, fill=False, edgecolor=INK, linewidth=1.0, zorder=6))
    half = 0.5 * piece.foot_mm
    axes.plot([-half, half], [0.0, 0.0], color=INK, linewidth=2.4, zorder=7)
    if not np.isnan(piece.wax_mm):
        (reach,), (level,) = profile_mm(piece, [piece.wax_mm])
        reach = min(reach + 0.08 * widest, widest)
        axes.plot([-reach, reach], [level, level], **WAX, zorder=8)
    wide = max(widest, float(radius.max()) * 1.5 if piece.form == "mug" else 0.0)
    axes.set_aspect("equal", adjustable="box", anchor="S")
    axes.set_xlim(-wide, wide)
    axes.set_ylim(lowest, max(1.06 * max(float(height.max()), above), 0.1 * widest))
    axes.set_axis_off()


def draw_small_pot(axes: Axes, piece: Piece) -> None:
    """The same in finer lines, for a picture no larger than a stamp."""
    draw_pot(axes, piece)
    for patch in axes.patches:
        patch.set_linewidth(FINE * patch.get_linewidth())
    for line in axes.lines:
        line.set_linewidth(FINE * line.get_linewidth())


def _draw_top(axes: Axes, piece: Piece, radius: float, height: float, widest: float) -> float:
    """What shows the form besides the wall: handle, neck or lip; how high it reaches. [mm]"""
    look: dict[str, Any] = {"facecolor": CLAY, "edgecolor": INK, "linewidth": 1.0, "zorder": 1.5}
    if piece.form == "mug":
        (side,), (middle,) = profile_mm(piece, [0.52 * piece.top_mm])
        for share in (1.0, 0.72):
            axes.add_patch(
                Ellipse((side, middle), 0.62 * widest * share, 0.55 * height * share,
                        facecolor=CLAY if share == 1.0 else "#ffffff", edgecolor=INK,
                        linewidth=1.0, zorder=1.5)
            )  # fmt: skip
        return height
    if piece.form not in ("vase", "bottle"):
        return height
    tall = (0.3 if piece.form == "bottle" else 0.14) * max(height, widest)
    neck = min(radius, NECK_SHARE * widest) if piece.form == "bottle" else 0.82 * radius
    lip = 1.25 * neck if piece.form == "bottle" else 1.02 * radius
    right = [(radius, height), (neck, height + 0.35 * tall), (neck, height + 0.8 * tall),
             (lip, height + tall)]  # fmt: skip
    left = [(-x, y) for x, y in reversed(right)]
    axes.add_patch(PathPatch(Path([*right, *left, right[0]]), **look))
    return height + tall


def _draw_stand(axes: Axes, piece: Piece, reach: float) -> float:
    """Draw what stands under the pot; how far below the foot the drawing goes. [mm]"""
    radius, height = profile_mm(piece, [0.0, piece.top_mm])
    thick = 0.07 * max(float(radius.max()), 0.5 * float(height.max()))
    under = 0.0
    if piece.on_dish:
        under = piece.dish_depth_mm
        _draw_dish(axes, piece)
    axes.add_patch(
        Rectangle((-reach, -under - thick), 2.0 * reach, thick, facecolor=SHELF, edgecolor=INK,
                  linewidth=0.8, zorder=1)
    )  # fmt: skip
    return under + thick


def _draw_dish(axes: Axes, piece: Piece) -> None:
    """A dish around the pedestal that the pot stands on, its wall as high as the foot."""
    deep, half = piece.dish_depth_mm, 0.5 * piece.dish_diameter_mm
    foot, wall = 0.5 * piece.foot_mm, WALL_SHARE * piece.dish_diameter_mm
    outline = [(-half - wall, 0.0), (-half - wall, -deep), (half + wall, -deep),
               (half + wall, 0.0), (half, 0.0), (half, -0.8 * deep), (-half, -0.8 * deep),
               (-half, 0.0)]  # fmt: skip
    look: dict[str, Any] = {"facecolor": "#ffffff", "edgecolor": INK, "linewidth": 1.0}
    axes.add_patch(Polygon(outline, closed=True, hatch="|||", zorder=2, **look))
    axes.add_patch(Rectangle((-foot, -0.8 * deep), 2.0 * foot, 0.8 * deep, zorder=2, **look))


def _bends(piece: Piece, low_mm: float, high_mm: float) -> Floats:
    """Two heights and those between them at which the wall may change its angle. [mm]"""
    edges = np.array([layer.lower_mm for layer in piece.layers])
    between = np.unique(edges[(edges > low_mm) & (edges < high_mm)])
    return np.array([low_mm, *between, high_mm])


def _band(piece: Piece, up_mm: Floats, **look: Any) -> Polygon:
    """The pot between two heights, both sides of its axis."""
    radius, height = profile_mm(piece, up_mm)
    sides = np.concatenate([radius, -radius[::-1]]), np.concatenate([height, height[::-1]])
    return Polygon(np.column_stack(sides), closed=True, **look)


def _draw_glaze(axes: Axes, piece: Piece, layer: Layer, k: int) -> None:
    """One layer on the pot: as put on, then down to where it may end."""
    look = sign(k)
    likely = 0.0 if layer.likely_past else layer.lower_mm - layer.run_p50_mm
    far = 0.0 if layer.may_pass else layer.lower_mm - layer.run_p95_mm
    if layer.upper_mm > layer.lower_mm:
        put_on = _bends(piece, layer.lower_mm, layer.upper_mm)
        axes.add_patch(
            _band(piece, put_on, facecolor=look.fill, hatch=look.hatch, edgecolor=INK,
                  linewidth=0.5, zorder=3 + 0.1 * k)
        )  # fmt: skip
    run = _bends(piece, max(likely, 0.0), layer.lower_mm)
    axes.add_patch(_band(piece, run, facecolor=tint(look.fill), linewidth=0, zorder=3 + 0.1 * k))
    for edge, line in ((likely, LIKELY), (far, FAR)):
        if edge > 0:
            (radius,), (height,) = profile_mm(piece, [edge])
            axes.plot([-radius, radius], [height, height], zorder=5, **line)


def _caption(piece: Piece, units: LengthUnits) -> list[str]:
    walls = sorted({layer.wall_deg for layer in piece.layers})
    angle = f"{walls[0]:.0f}°" if len(walls) == 1 else f"{walls[0]:.0f}° to {walls[-1]:.0f}°"
    over = ", overhanging" if walls[-1] > 90 else ""
    words = f"foot {format_distance(piece.foot_mm, units)}, wall {angle}{over}"
    return wrapped(words, POT_IN, SMALL_PT)
