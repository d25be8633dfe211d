"""The wall of a pot laid straight, on which heights can be read whatever the pot's shape."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from runpredict.drawings.piece import Layer, Piece
from runpredict.drawings.pot_view import FAR, LIKELY, LINE_IN, SMALL_PT, VIEW_IN, WAX
from runpredict.drawings.style import (
    INK,
    WATER,
    Paper,
    in_units,
    length_axis,
    sign,
    sign_line,
    tint,
    wrapped,
)
from runpredict.units import LengthUnits, format_distance
from runpredict.words.advice import run_length

LEFT_IN, RIGHT_IN = 0.62, 0.75
WIDE_IN, COLUMN_IN, MOST_COLUMN_IN = 3.5, 0.72, 1.05
BELOW_FOOT_SHARE = 0.12  # of the wall's height, shown below the foot
MOST_NAME_LINES = 6
SIGN_IN = 0.14  # for the sign of each layer's curve, under its name
PAST_LINES = ("past", "the foot")


def wall_size_in(piece: Piece) -> tuple[float, float]:
    """Width and height of the view. [in]"""
    wide = LEFT_IN + _column_in(piece) * max(len(piece.layers), 2) + RIGHT_IN
    return wide, _head_in(piece) + VIEW_IN + 0.1 + 3 * LINE_IN


def paint_wall(paper: Paper, piece: Piece, units: LengthUnits) -> None:
    """A column a layer with its name, on as much of a paper as `wall_size_in` says."""
    wide, _ = wall_size_in(piece)
    base = 0.1 + 3 * LINE_IN
    axes = paper.axes(LEFT_IN, base, wide - LEFT_IN - RIGHT_IN, VIEW_IN)
    axes.tick_params(labelsize=SMALL_PT)
    _draw_wall(axes, piece, units)
    column = _column_in(piece)
    for k, layer in enumerate(piece.layers):
        middle = LEFT_IN + column * (k + 0.5)
        for line, words in enumerate(reversed(_name(layer, column))):
            up = base + VIEW_IN + SIGN_IN + 0.05 + LINE_IN * line
            paper.text(middle, up, words, SMALL_PT, ha="center", va="bottom")
        sign_line(paper, middle - 0.2, base + VIEW_IN + 0.5 * SIGN_IN + 0.03, sign(k))
        for line, words in enumerate(_runs(layer, units)):
            up = base - 0.06 - LINE_IN * line
            paper.text(middle, up, words, SMALL_PT, ha="center")
    for line, words in enumerate(("likely", "1 in 20")):
        paper.text(0.0, base - 0.06 - LINE_IN * line, words, SMALL_PT)


def _column_in(piece: Piece) -> float:
    columns = max(len(piece.layers), 2)
    room = (WIDE_IN - LEFT_IN - RIGHT_IN) / columns
    return min(max(room, COLUMN_IN), MOST_COLUMN_IN)


def _head_in(piece: Piece) -> float:
    lines = max(len(_name(layer, _column_in(piece))) for layer in piece.layers)
    return LINE_IN * lines + SIGN_IN + 0.08


def _name(layer: Layer, column_in: float) -> list[str]:
    """The lines of a glaze's name, so few that the picture is no taller than its page."""
    lines = wrapped(layer.glaze, column_in - 0.06, SMALL_PT)
    if len(lines) <= MOST_NAME_LINES:
        return lines
    return [*lines[: MOST_NAME_LINES - 1], f"{lines[MOST_NAME_LINES - 1][:-1]}…"]


def _runs(layer: Layer, units: LengthUnits) -> list[str]:
    """Likely run, and what one in twenty exceeds."""
    if layer.likely_past:
        return list(PAST_LINES)
    likely = run_length(layer.run_p50_mm, units)
    if layer.may_pass:
        return [likely, *PAST_LINES]
    return [likely, run_length(layer.run_p95_mm, units)]


def _draw_wall(axes: Axes, piece: Piece, units: LengthUnits) -> None:
    top = piece.top_mm
    low, high = -BELOW_FOOT_SHARE * top, 1.02 * top
    axes.set_xlim(-0.5, max(len(piece.layers), 2) - 0.5)
    axes.set_ylim(in_units(low, units), in_units(high, units))
    axes.grid(axis="y", zorder=0)
    axes.set_axisbelow(True)
    axes.axhspan(in_units(low, units), 0.0, facecolor="#efece6", edgecolor="none", zorder=0.5)
    for k, layer in enumerate(piece.layers):
        _draw_column(axes, layer, k, low, units)
    axes.axhline(0.0, color=INK, linewidth=2.4, zorder=4)
    _mark(axes, 0.0, "foot's edge", "top", INK)
    if not np.isnan(piece.wax_mm):
        at = in_units(piece.wax_mm, units)
        axes.axhline(at, **WAX, zorder=5)
        _mark(axes, at, f"wax line\n{format_distance(piece.wax_mm, units)}", "bottom", WATER)
    length_axis(axes, "y", high - low, units)
    axes.set_ylabel(f"up the wall [{units}]", fontsize=SMALL_PT)
    axes.set_xticks([])
    axes.spines["bottom"].set_visible(False)


def _mark(axes: Axes, at: float, text: str, side: str, color: str) -> None:
    axes.annotate(
        text, (1.0, at), (4, {"bottom": 2, "top": -2}[side]),
        xycoords=axes.get_yaxis_transform(), textcoords="offset points",
        ha="left", va=side, fontsize=SMALL_PT, color=color, annotation_clip=False,
    )  # fmt: skip


def _draw_column(axes: Axes, layer: Layer, k: int, low_mm: float, units: LengthUnits) -> None:
    look = sign(k)
    left, right = k - 0.3, k + 0.3
    likely = 0.0 if layer.likely_past else max(layer.lower_mm - layer.run_p50_mm, 0.0)
    far = 0.0 if layer.may_pass else max(layer.lower_mm - layer.run_p95_mm, 0.0)

    def box(bottom: float, top: float, **given: Any) -> None:
        at = in_units(np.array([bottom, top]), units)
        axes.add_patch(Rectangle((left, at[0]), 0.6, at[1] - at[0], **given))

    box(layer.lower_mm, layer.upper_mm, facecolor=look.fill, hatch=look.hatch, edgecolor=INK,
        linewidth=0.8, zorder=2)  # fmt: skip
    box(likely, layer.lower_mm, facecolor=tint(look.fill), edgecolor=INK, linewidth=0.6, zorder=2)
    box(far, likely, facecolor="#ffffff", edgecolor=INK, linewidth=0.8, zorder=2,
        linestyle=FAR["linestyle"])  # fmt: skip
    if not layer.likely_past:
        axes.plot([left, right], [in_units(likely, units)] * 2, zorder=6, **LIKELY)
    if layer.may_pass:
        axes.plot([k], [in_units(0.55 * low_mm, units)], marker="v", color=INK, markersize=5,
                  markerfacecolor=INK if layer.likely_past else "#ffffff", zorder=6)  # fmt: skip
    if not np.isnan(layer.stop_mm):
        at = in_units(layer.stop_mm, units)
        axes.plot([left - 0.1, right + 0.1], [at, at], color=WATER, linewidth=2.2, zorder=7)
