"""Curves of what a potter can still change, and of what chemistry says."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

from runpredict.answers.check import Answer
from runpredict.answers.what_if import WhatIf, what_if
from runpredict.arrays import Floats
from runpredict.datafiles import OXIDES
from runpredict.drawings.pot_view import SMALL_PT, WAX
from runpredict.drawings.style import (
    INK,
    KEY_ROW_IN,
    TICK_PT,
    WATER,
    Paper,
    Picture,
    drawable,
    house_style,
    in_units,
    length_axis,
    line_key,
    panels,
    sign,
    title,
    wrapped,
)
from runpredict.errors import BadInput, Fault
from runpredict.physics.melt import viscosity_interval_log10, viscosity_log10_pa_s
from runpredict.units import F_PER_C, LengthUnits, check_units
from runpredict.words.plain import percent

VISCOSITY_SPAN_C = (950.0, 1300.0)


def decisions_figure(
    answer: Answer, piece: str, firing: str | None = None, units: LengthUnits = "mm"
) -> Figure:
    """Risk against where layers stop, coats and hold: what a potter can still change.

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
        Each with the risk that is tolerated as a line, and the plan as a ring.

    Raises
    ------
    BadInput : no such piece, or more than one.
    """
    check_units(units)
    choices = what_if(answer, piece, firing)
    names = choices.by_coats.drop_duplicates("layer")
    with house_style():
        figure = Picture(figsize=(8.6, 3.47 + KEY_ROW_IN * len(names)))
        wide, high = figure.get_size_inches()
        paper = Paper(figure, bottom_in=high - 3.1)
        _draw_curves(paper, choices, answer.tolerance, units, CurvesLayout(wide, 2.65, 0.38, 0.85))
        title(figure, f"What would change the risk of {drawable(choices.piece[:400])}")
        words = "ring: as planned; long dashes: the bare band, whichever layer reaches down to it"
        paper = Paper(figure)
        paper.text(0.12, KEY_ROW_IN * (len(names) + 1) + 0.05, words, TICK_PT)
        line_key(figure, [f"layer {row.layer}: {row.glaze}" for row in names.itertuples()])
    return figure


class CurvesLayout(NamedTuple):
    """How much room the three panels of curves have. [in]"""

    wide: float
    high: float
    gap: float
    right: float


SHEET_CURVES = CurvesLayout(wide=3.5, high=2.4, gap=0.14, right=0.08)


def curves_figure(answer: Answer, row: int, units: LengthUnits) -> Figure:
    """The curves of the piece in a row of `answer.pieces`, small, for a page that names it."""
    with house_style():
        figure = Picture(figsize=(SHEET_CURVES.wide, SHEET_CURVES.high))
        choices = WhatIf(answer, row)
        _draw_curves(Paper(figure), choices, answer.tolerance, units, SHEET_CURVES)
    return figure


def _draw_curves(
    paper: Paper, choices: WhatIf, tolerance: float, units: LengthUnits, layout: CurvesLayout
) -> None:
    left, bottom = 0.58, 0.75
    each = (layout.wide - left - layout.right - 2 * layout.gap) / 3
    axes = [
        paper.axes(left + k * (each + layout.gap), bottom, each, layout.high - bottom - 0.1)
        for k in range(3)
    ]
    _edge_lines(axes[0], choices, units, most=3 if each < 1.5 else 5)
    _coat_lines(axes[1], choices.by_coats, most=4 if each < 1.5 else 12)
    _risk_line(axes[2], choices.by_hold["hold_min"].to_numpy(), choices.by_hold["risk"])
    _ring(axes[2], choices.hold_min, choices.risk)
    if choices.cooler_cone:
        cooler = choices.by_hold_cooler
        _risk_line(axes[2], cooler["hold_min"].to_numpy(), cooler["risk"], linestyle=(0, (5, 2)))
    longest = float(choices.by_hold["hold_min"].max())
    axes[2].set_xticks(np.linspace(0.0, longest, 3 if each < 1.5 else 7))
    axes[2].set_xlim(0.0, 1.02 * longest)
    tables = (choices.by_band, choices.by_edge, choices.by_coats, choices.by_hold)
    highest = max(float(table["risk"].max()) for table in tables)
    hold = "hold at the top [min]"
    if choices.cooler_cone:
        hold += f", dashed: cone {choices.cooler_cone}"
    words = (f"stops up the wall [{units}]", "coats of one layer", hold)
    for k, (axis, label) in enumerate(zip(axes, words, strict=True)):
        axis.tick_params(labelsize=SMALL_PT, labelleft=k == 0)
        axis.set_xlabel("\n".join(wrapped(label, each + 0.1, SMALL_PT)), fontsize=SMALL_PT)
    axes[0].set_ylabel("risk [%]", fontsize=SMALL_PT)
    _risk_axes(axes, tolerance, highest)
    if layout.right > 0.5:
        _name_tolerance(axes[-1], tolerance)


def _edge_lines(axes: Axes, choices: WhatIf, units: LengthUnits, most: int) -> None:
    """Risk against where each layer ends, and against the bare band."""
    for k, (_, rows) in enumerate(choices.by_edge.groupby("layer")):
        at = in_units(rows["edge_mm"].to_numpy(), units)
        _risk_line(axes, at, rows["risk"], markevery=8, **sign(k).line)
    band = choices.by_band
    axes.plot(in_units(band["band_mm"].to_numpy(), units), 100.0 * band["risk"], **WAX)
    for edge_mm in choices.edges_mm:
        _ring(axes, in_units(edge_mm, units), choices.risk)
    longest = max(float(choices.by_edge["edge_mm"].max()), float(band["band_mm"].max()))
    length_axis(axes, "x", longest, units, most=most)


def _risk_line(axes: Axes, at: Floats, risk: Any, **look: Any) -> None:
    named: dict[str, Any] = {"color": INK, "zorder": 3} | look
    axes.plot(at, 100.0 * np.asarray(risk), **named)
    axes.set_xlim(left=0.0)
    axes.margins(x=0.02)


def _ring(axes: Axes, at: float, risk: float) -> None:
    axes.plot([at], [100.0 * risk], marker="o", markersize=8, markerfacecolor="none",
              markeredgecolor=INK, markeredgewidth=1.5, zorder=4, clip_on=False)  # fmt: skip


def _risk_axes(row: list[Axes], tolerance: float, highest: float) -> None:
    """The same risk axis on each, with the risk that is tolerated."""
    for axes in row:
        axes.axhline(100 * tolerance, color=WATER, linestyle=(0, (2, 1)), linewidth=1.4, zorder=2)
        axes.set_ylim(0.0, min(100.0, 110.0 * max(highest, 2.0 * tolerance)))
        axes.grid(axis="y")
        axes.set_axisbelow(True)


def _name_tolerance(axes: Axes, tolerance: float) -> None:
    axes.annotate(
        f"tolerated:\n{percent(tolerance)}", (1.0, 100.0 * tolerance), (5, 0),
        xycoords=axes.get_yaxis_transform(), textcoords="offset points", ha="left",
        va="center", fontsize=TICK_PT, color=WATER, annotation_clip=False,
    )  # fmt: skip


def _coat_lines(axes: Axes, coats: pd.DataFrame, most: int) -> None:
    for k, (_, rows) in enumerate(coats.groupby("layer")):
        _risk_line(axes, rows["coats"].to_numpy(), rows["risk"], **sign(k).line)
        now = rows.loc[rows["planned"]].iloc[0]
        _ring(axes, float(now["coats"]), float(now["risk"]))
    last = int(coats["coats"].max())
    axes.xaxis.set_major_locator(FixedLocator(list(range(1, last + 1, 1 + last // most))))
    axes.set_xlim(0.6, last + 0.4)


def viscosity_figure(glazes: pd.DataFrame, units: LengthUnits = "mm") -> Figure:
    """Viscosity of some glazes' melts over temperature, with its error.

    Parameters
    ----------
    glazes : DataFrame
        glaze and the oxides in weight percent, as `fill_oxides` returns; a jar, whose oxides
        are blank, is left out. More than six glazes share signs.
    units : "mm" or "in"
        A reader of inches is taken to read °F.

    Returns
    -------
    Figure
        The band holds the measured viscosity nine times in ten.

    Raises
    ------
    BadInput : no glaze of known chemistry.
    """
    check_units(units)
    known = glazes.loc[glazes[list(OXIDES)].notna().any(axis=1)]
    if known.empty:
        message = "no glaze of known chemistry; give a recipe or an analysis of at least one."
        raise BadInput([Fault("glazes", None, None, message)])
    at_c = np.linspace(*VISCOSITY_SPAN_C, 71)
    shown = at_c if units == "mm" else F_PER_C * at_c + 32.0
    with house_style():
        figure = Picture(figsize=(6.4, 4.1 + KEY_ROW_IN * len(known)))
        (axes,) = panels(figure, 1, left=0.95, top=0.5, height=3.0)
        for k, (_, glaze) in enumerate(known.iterrows()):
            oxides = glaze[list(OXIDES)].astype(float).fillna(0.0)
            look = sign(k)
            low, high = viscosity_interval_log10(oxides, at_c)
            axes.fill_between(shown, 10.0**low, 10.0**high, facecolor=look.fill, alpha=0.35,
                              hatch=look.hatch, edgecolor=INK, linewidth=0.3)  # fmt: skip
            middle = 10.0 ** viscosity_log10_pa_s(oxides, at_c)
            axes.plot(shown, middle, markevery=10, **look.line)
        axes.set_yscale("log")
        axes.yaxis.set_minor_locator(NullLocator())
        axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:,.10g}"))
        axes.set_xlim(shown[0], shown[-1])
        axes.set_xlabel(f"temperature [{'°C' if units == 'mm' else '°F'}]")
        axes.set_ylabel("viscosity of the melt [Pa s]; lower is runnier")
        axes.grid()
        axes.set_axisbelow(True)
        title(figure, "How runny the melt is; the band holds nine measurements in ten")
        line_key(figure, [str(name) for name in known["glaze"]])
    return figure
