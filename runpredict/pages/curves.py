"""Curves: what a potter can still change, what chemistry says, and how good the answers were."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import FixedFormatter, FixedLocator, FuncFormatter, NullLocator

from runpredict.answers import decisions
from runpredict.answers.check import Answer
from runpredict.arrays import Floats
from runpredict.errors import BadInput, Fault
from runpredict.model.features import MORE_COATS, Stacks
from runpredict.pages.check_text import percent
from runpredict.pages.pot import find_piece
from runpredict.pages.style import (
    FAINT,
    INK,
    SIGNS,
    WATER,
    Picture,
    Sign,
    drawable,
    fitted,
    house_style,
    in_units,
    length_axis,
    sign,
    width_in,
)
from runpredict.physics.chemistry import OXIDES
from runpredict.physics.melt import viscosity_interval_log10, viscosity_log10_pa_s
from runpredict.units import MM_PER_INCH, LengthUnits, format_length

LONGEST_HOLD_MIN = 60.0
BAND_POINTS, HOLD_POINTS = 31, 25
VISCOSITY_SPAN_C = (950.0, 1300.0)
MOST_EFFECTS = 40
Z_90 = 1.645  # half width of a 90 % interval in standard errors of a normal law
TICK_PT = 7.5


def _one(answer: Answer, piece: str, firing: str | None) -> tuple[Stacks, Any]:
    """Stacks and draws of a single piece."""
    found = find_piece(answer, piece, firing)
    mine = (answer.stacks.piece == found.name) & (answer.stacks.firing == found.firing)
    stacks = answer.stacks.take(np.flatnonzero(mine))
    return stacks, answer.predictor.draws(stacks)


def _risks(draws: Any, stacks: Sequence[Stacks]) -> list[float]:
    return [float(draws.risk(changed)[1][0]) for changed in stacks]


def risk_by_band(answer: Answer, piece: str, firing: str | None = None) -> pd.DataFrame:
    """Risk of a piece against its bare band, the rest as planned.

    Parameters
    ----------
    answer : Answer
    piece : str
    firing : str, optional
        Needed where several firings have a piece of that name.

    Returns
    -------
    DataFrame
        band_mm, from 0 to as much as wax may take, and risk, which never rises with it.

    Raises
    ------
    BadInput : no such piece, or more than one.
    """
    stacks, draws = _one(answer, piece, firing)
    top_m = float(np.where(stacks.present, stacks.upper_m, 0.0).max())
    planned_m = float(stacks.lower_m[0, decisions.lowest_layer(stacks)[0]])
    most_m = planned_m + decisions.MOST_WAX_SHARE * (top_m - planned_m)
    band_m = np.linspace(0.0, most_m, BAND_POINTS)
    changed = [decisions.with_band(stacks, np.array([band])) for band in band_m]
    return pd.DataFrame({"band_mm": 1e3 * band_m, "risk": _risks(draws, changed)})


def risk_by_coats(answer: Answer, piece: str, firing: str | None = None) -> pd.DataFrame:
    """Risk of a piece against the coats of each layer, the rest as planned.

    Parameters
    ----------
    answer, piece, firing : as in `risk_by_band`

    Returns
    -------
    DataFrame
        layer, glaze, coats, risk, which never falls with coats, and planned (True for the coats
        of the plan).

    Raises
    ------
    BadInput : no such piece, or more than one.
    """
    stacks, draws = _one(answer, piece, firing)
    rows = []
    for k in np.flatnonzero(stacks.present[0]):
        planned = int(stacks.coats[0, k])
        most = min(planned + MORE_COATS, stacks.coat_ratio.shape[2])
        for coats in range(1, most + 1):
            factor = stacks.coat_ratio[:, k, coats - 1]
            (risk,) = _risks(draws, [decisions.with_thickness(stacks, np.array([k]), factor)])
            name = stacks.glazes[int(stacks.glaze[0, k])]
            rows.append((int(k) + 1, name, coats, risk, coats == planned))
    return pd.DataFrame(rows, columns=["layer", "glaze", "coats", "risk", "planned"])


def risk_by_hold(answer: Answer, piece: str, firing: str | None = None) -> pd.DataFrame:
    """Risk of a piece against the minutes held at the top, the rest as planned.

    Parameters
    ----------
    answer, piece, firing : as in `risk_by_band`

    Returns
    -------
    DataFrame
        hold_min, from 0 to an hour or twice the planned hold, and risk, which never falls with it.

    Raises
    ------
    BadInput : no such piece, or more than one.
    """
    stacks, draws = _one(answer, piece, firing)
    longest = max(LONGEST_HOLD_MIN, 2.0 * float(stacks.hold_min[0]))
    hold_min = np.linspace(0.0, longest, HOLD_POINTS)
    changed = [decisions.with_hold(stacks, np.array([hold])) for hold in hold_min]
    return pd.DataFrame({"hold_min": hold_min, "risk": _risks(draws, changed)})


def decisions_figure(
    answer: Answer, piece: str, firing: str | None = None, units: LengthUnits = "mm"
) -> Figure:
    """Risk against bare band, coats and hold: what a potter can still change.

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
    band = risk_by_band(answer, piece, firing)
    coats = risk_by_coats(answer, piece, firing)
    hold = risk_by_hold(answer, piece, firing)
    stacks, _ = _one(answer, piece, firing)
    found = find_piece(answer, piece, firing)
    planned_mm = 1e3 * float(stacks.lower_m[0, decisions.lowest_layer(stacks)[0]])
    with house_style():
        figure = Picture(figsize=(8.6, 3.15 + 0.16 * coats["layer"].nunique()))
        axes = _panels(figure, 3, left=0.62, top=0.45, height=2.0, gap=0.38, right=0.85)
        _risk_line(axes[0], in_units(band["band_mm"].to_numpy(), units), band["risk"])
        _ring(axes[0], in_units(planned_mm, units), found.risk)
        length_axis(axes[0], "x", float(band["band_mm"].max()), units, most=5)
        axes[0].set_xlabel(f"bare band above the foot [{units}]")
        _coat_lines(axes[1], coats)
        _risk_line(axes[2], hold["hold_min"].to_numpy(), hold["risk"])
        _ring(axes[2], float(stacks.hold_min[0]), found.risk)
        axes[2].set_xlabel("hold at the top [min]")
        axes[0].set_ylabel("risk of passing the foot [%]")
        highest = max(float(table["risk"].max()) for table in (band, coats, hold))
        _risk_axes(axes, answer.tolerance, highest)
        title = f"What would change the risk of {drawable(found.name[:400])}"
        _title(figure, title)
        _coat_key(figure, coats)
    return figure


def _title(figure: Figure, words: str) -> None:
    width, height = figure.get_size_inches()
    figure.text(
        0.12 / width, 1 - 0.08 / height, fitted(words, width - 0.5, 9.5),
        fontsize=9.5, fontweight="normal", va="top",
    )  # fmt: skip


def _panels(
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
    return [
        figure.add_axes(
            (
                (left + k * (each + gap)) / wide,
                (high - top - height) / high,
                each / wide,
                height / high,
            )
        )
        for k in range(count)
    ]


def _risk_line(axes: Axes, at: Floats, risk: Any, **look: Any) -> None:
    axes.plot(at, 100.0 * np.asarray(risk), color=INK, zorder=3, **look)
    axes.set_xlim(left=0.0)
    axes.margins(x=0.02)


def _ring(axes: Axes, at: float, risk: float) -> None:
    axes.plot([at], [100.0 * risk], marker="o", markersize=8, markerfacecolor="none",
              markeredgecolor=INK, markeredgewidth=1.5, zorder=4, clip_on=False)  # fmt: skip


def _risk_axes(panels: list[Axes], tolerance: float, highest: float) -> None:
    """The same risk axis on each, with the risk that is tolerated, named right of the last."""
    for axes in panels:
        axes.axhline(100 * tolerance, color=WATER, linestyle=(0, (5, 2)), linewidth=1.4, zorder=2)
        axes.set_ylim(0.0, min(100.0, 110.0 * max(highest, 2.0 * tolerance)))
        axes.grid(axis="y")
        axes.set_axisbelow(True)
    panels[-1].annotate(
        f"tolerated:\n{percent(tolerance)}", (1.0, 100.0 * tolerance), (5, 0),
        xycoords=panels[-1].get_yaxis_transform(), textcoords="offset points", ha="left",
        va="center", fontsize=TICK_PT, color=WATER, annotation_clip=False,
    )  # fmt: skip


def _coat_lines(axes: Axes, coats: pd.DataFrame) -> None:
    for k, (_, rows) in enumerate(coats.groupby("layer")):
        look = sign(k)
        _risk_line(axes, rows["coats"].to_numpy(), rows["risk"], linestyle=look.dash,
                   marker=look.marker, markersize=4.5, markerfacecolor=look.fill,
                   markeredgecolor=INK)  # fmt: skip
        now = rows.loc[rows["planned"]].iloc[0]
        _ring(axes, float(now["coats"]), float(now["risk"]))
    most = int(coats["coats"].max())
    axes.xaxis.set_major_locator(FixedLocator(list(range(1, most + 1, 1 + most // 12))))
    axes.set_xlim(0.6, most + 0.4)
    axes.set_xlabel("coats of one layer")


def _coat_key(figure: Figure, coats: pd.DataFrame) -> None:
    """Which line is which layer, and what the ring is, below the panels."""
    width, height = figure.get_size_inches()
    first = coats.drop_duplicates("layer")
    figure.text(0.12 / width, (0.16 * len(first) + 0.22) / height, "ring: as planned", va="top",
                fontsize=TICK_PT)  # fmt: skip
    for k, (layer, glaze) in enumerate(zip(first["layer"], first["glaze"], strict=True)):
        look = sign(k)
        up = (0.16 * (len(first) - k) - 0.02) / height
        figure.add_artist(_key_line(look, width, up))
        figure.text(0.6 / width, up, fitted(f"layer {layer}: {glaze}", width - 0.8, TICK_PT),
                    va="center", fontsize=TICK_PT)  # fmt: skip


def _key_line(look: Sign, width: float, up: float) -> Line2D:
    return Line2D(
        [0.12 / width, 0.33 / width, 0.54 / width], [up] * 3, color=INK, linestyle=look.dash,
        marker=look.marker, markevery=[1], markersize=4.5, markerfacecolor=look.fill,
        markeredgecolor=INK,
    )  # fmt: skip


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
    known = glazes.loc[glazes[list(OXIDES)].notna().any(axis=1)]
    if known.empty:
        message = "no glaze of known chemistry; give a recipe or an analysis of at least one."
        raise BadInput([Fault("glazes", None, None, message)])
    at_c = np.linspace(*VISCOSITY_SPAN_C, 71)
    shown = at_c if units == "mm" else 1.8 * at_c + 32.0
    with house_style():
        figure = Picture(figsize=(6.4, 4.1 + 0.17 * len(known)))
        (axes,) = _panels(figure, 1, left=0.95, top=0.5, height=3.0)
        for k, (_, glaze) in enumerate(known.iterrows()):
            oxides = glaze[list(OXIDES)].astype(float).fillna(0.0)
            look = sign(k)
            low, high = viscosity_interval_log10(oxides, at_c)
            axes.fill_between(shown, 10.0**low, 10.0**high, facecolor=look.fill, alpha=0.35,
                              hatch=look.hatch, edgecolor=INK, linewidth=0.3)  # fmt: skip
            axes.plot(shown, 10.0 ** viscosity_log10_pa_s(oxides, at_c), color=INK,
                      linestyle=look.dash, marker=look.marker, markevery=10, markersize=4.5,
                      markerfacecolor=look.fill, markeredgecolor=INK)  # fmt: skip
        axes.set_yscale("log")
        axes.yaxis.set_minor_locator(NullLocator())
        axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:,.10g}"))
        axes.set_xlim(shown[0], shown[-1])
        axes.set_xlabel(f"temperature [{'°C' if units == 'mm' else '°F'}]")
        axes.set_ylabel("viscosity of the melt [Pa s]; lower is runnier")
        axes.grid()
        axes.set_axisbelow(True)
        _title(figure, "How runny the melt is; the band holds nine measurements in ten")
        _name_key(figure, [str(name) for name in known["glaze"]])
    return figure


def _name_key(figure: Figure, names: list[str]) -> None:
    width, height = figure.get_size_inches()
    for k, name in enumerate(names):
        up = (0.17 * (len(names) - k)) / height
        figure.add_artist(_key_line(sign(k), width, up))
        figure.text(0.68 / width, up, fitted(name, width - 0.8, TICK_PT), va="center",
                    fontsize=TICK_PT)  # fmt: skip


_RUN_TICKS = {
    "mm": (0.0, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0),
    "in": (0.0, 1 / 16, 1 / 8, 1 / 4, 1 / 2, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0),
}


def predicted_seen_figure(table: pd.DataFrame, units: LengthUnits = "mm") -> Figure:
    """Runs as predicted against runs as seen.

    Parameters
    ----------
    table : DataFrame, one row a layer
        run_p05_mm, run_p50_mm, run_p95_mm (as predicted before the firing), run_mm (as seen;
        blank where it was not measured) and past_foot ("yes" where the layer ran past the foot:
        then run_mm is only a lower bound).
    units : "mm" or "in"

    Returns
    -------
    Figure
        A layer past the foot is a triangle, at the way to the foot where `lower_edge_mm` is a
        column too, at the top where nothing is known of its run. Both axes are even up to 1 mm
        (1/16 in), beyond it each doubling is as wide.
    """
    _need(table, ("run_p05_mm", "run_p50_mm", "run_p95_mm", "run_mm", "past_foot"))
    past = table["past_foot"].eq("yes").to_numpy()
    run_mm = table["run_mm"].astype(float)
    if "lower_edge_mm" in table.columns:
        run_mm = run_mm.fillna(table["lower_edge_mm"].astype(float).where(past))
    low, middle, high, seen = (
        in_units(column.to_numpy(dtype=float), units)
        for column in (table["run_p05_mm"], table["run_p50_mm"], table["run_p95_mm"], run_mm)
    )
    known = ~np.isnan(seen)
    exact = known & ~past
    end = 1.15 * max(
        float(np.nanmax(np.append(side, _RUN_TICKS[units][4]))) for side in (high, seen)
    )
    with house_style():
        figure = Picture(figsize=(5.2, 5.8))
        (axes,) = _panels(figure, 1, left=0.75, top=0.45, height=4.2)
        axes.plot([0.0, end], [0.0, end], color=WATER, linestyle=(0, (5, 2)), label="as predicted")
        at = np.where(known, seen, end)
        axes.hlines(at[known | past], low[known | past], high[known | past], color=FAINT,
                    linewidth=0.7, zorder=2, label="predicted, 9 in 10 within")  # fmt: skip
        for which, marker, fill, label in (
            (exact, "o", SIGNS[0].fill, "seen"),
            (past & known, "^", "#ffffff", "past the foot: at least this"),
            (past & ~known, "^", INK, "past the foot: not known how far"),
        ):
            if not which.any():
                continue
            axes.plot(middle[which], at[which], marker, markersize=4.5, markerfacecolor=fill,
                      markeredgecolor=INK, markeredgewidth=0.8, zorder=3, clip_on=False,
                      label=label)  # fmt: skip
        for side in ("x", "y"):
            _run_axis(axes, side, end, units)
        axes.set_xlabel(f"run as predicted [{units}]")
        axes.set_ylabel(f"run as seen [{units}]")
        axes.legend(loc="upper center", bbox_to_anchor=(0.45, -0.1), ncols=2, fontsize=TICK_PT)
        within = (low <= seen) & (seen <= high)
        share = f"{within[exact].mean():.0%}" if exact.any() else "none measured"
        _title(figure, f"Runs seen within their range: {share} (90 % would be right)")
    return figure


def _run_axis(axes: Axes, side: str, end: float, units: LengthUnits) -> None:
    ticks = [tick for tick in _RUN_TICKS[units] if tick <= end]
    scale = 1.0 if units == "mm" else MM_PER_INCH
    set_scale = axes.set_xscale if side == "x" else axes.set_yscale
    set_scale("symlog", linthresh=ticks[1], linscale=0.8)
    axis = axes.xaxis if side == "x" else axes.yaxis
    axis.set_major_locator(FixedLocator(ticks))
    axis.set_minor_locator(NullLocator())
    names = [format_length(tick * scale, units).removesuffix(f" {units}") for tick in ticks]
    axis.set_major_formatter(FixedFormatter(names))
    (axes.set_xlim if side == "x" else axes.set_ylim)(-0.15 * ticks[1], end)


def reliability_figure(table: pd.DataFrame) -> Figure:
    """How often what was said came true.

    Parameters
    ----------
    table : DataFrame, one row a group of pieces of about the same predicted risk
        predicted (mean risk, 0 to 1), seen (share that ran past the foot) and pieces (how many).

    Returns
    -------
    Figure
        Each bar is the range of the true share that so many pieces leave open, nine times in
        ten.

    References
    ----------
    Wilson, E. B. (1927), J. Am. Stat. Assoc. 22:209 (interval of a share).
    """
    _need(table, ("predicted", "seen", "pieces"))
    told = table.loc[table["pieces"] > 0]
    predicted, seen, pieces = (
        told[name].to_numpy(dtype=float) for name in ("predicted", "seen", "pieces")
    )
    low, high = share_interval(seen, pieces)
    with house_style():
        figure = Picture(figsize=(4.9, 5.15))
        (axes,) = _panels(figure, 1, left=0.75, top=0.45, height=3.9)
        axes.plot([0, 100], [0, 100], color=WATER, linestyle=(0, (5, 2)), label="just right")
        axes.vlines(100 * predicted, 100 * low, 100 * high, color=INK, linewidth=1.0, zorder=2,
                    label="what so few pieces leave open")  # fmt: skip
        axes.plot(100 * predicted, 100 * seen, "o", markersize=6, markerfacecolor=SIGNS[1].fill,
                  markeredgecolor=INK, zorder=3, clip_on=False, label="seen")  # fmt: skip
        for x, top, count in zip(100 * predicted, 100 * high, pieces, strict=True):
            axes.annotate(f"{count:.0f}", (x, top), (0, 2), textcoords="offset points",
                          ha="center", va="bottom", fontsize=6.5, color=INK,
                          annotation_clip=False)  # fmt: skip
        axes.set_xlim(-3, 103)
        axes.set_ylim(-3, 107)
        axes.grid()
        axes.set_axisbelow(True)
        axes.set_xlabel("risk as predicted [%]")
        axes.set_ylabel("pieces that ran past the foot [%]")
        axes.legend(loc="upper center", bbox_to_anchor=(0.42, -0.11), ncols=3, fontsize=7.0,
                    columnspacing=1.0)  # fmt: skip
        _title(figure, "Was the risk right? (numbers: pieces)")
    return figure


def share_interval(share: Floats, count: Floats) -> tuple[Floats, Floats]:
    """Wilson's 90 % interval of a share seen in so many cases, both shape (n,)."""
    weight = 1.0 / (1.0 + Z_90**2 / count)
    middle = weight * (share + Z_90**2 / (2.0 * count))
    half = weight * Z_90 * np.sqrt(share * (1.0 - share) / count + Z_90**2 / (4.0 * count**2))
    return np.maximum(middle - half, 0.0), np.minimum(middle + half, 1.0)


def effects_figure(table: pd.DataFrame) -> Figure:
    """How much more, or less, each glaze or pair runs than its chemistry says.

    Parameters
    ----------
    table : DataFrame, one row a glaze or a pair of glazes
        name, factor (on how readily it flows; 1 is as chemistry says), low and high (9 times in
        10 within) and rows (how many results taught it).

    Returns
    -------
    Figure
        At most the forty with the most results, the runniest on top.
    """
    _need(table, ("name", "factor", "low", "high", "rows"))
    rows = table.sort_values("rows", ascending=False, kind="stable").head(MOST_EFFECTS)
    rows = rows.sort_values("factor", kind="stable").reset_index(drop=True)
    names = [f"{fitted(str(name), 2.2, TICK_PT)} ({count})"
             for name, count in zip(rows["name"], rows["rows"], strict=True)]  # fmt: skip
    margin = 0.35 + max((width_in(name, TICK_PT) for name in names), default=1.0)
    tall = 0.2 * max(len(rows), 3)
    with house_style():
        figure = Picture(figsize=(margin + 4.0, tall + 1.15))
        (axes,) = _panels(figure, 1, left=margin, top=0.45, height=tall)
        at = np.arange(len(rows))
        axes.axvline(1.0, color=WATER, linestyle=(0, (5, 2)), zorder=1)
        axes.hlines(at, rows["low"], rows["high"], color=INK, linewidth=1.2, zorder=2)
        axes.plot(rows["factor"], at, "o", markersize=5, markerfacecolor=SIGNS[0].fill,
                  markeredgecolor=INK, zorder=3)  # fmt: skip
        axes.set_xscale("log", base=2)
        axes.xaxis.set_minor_locator(NullLocator())
        axes.xaxis.set_major_formatter(FuncFormatter(_times))
        axes.set_ylim(-0.7, max(len(rows), 3) - 0.3)
        axes.set_yticks(at, names)
        axes.grid(axis="x")
        axes.set_axisbelow(True)
        axes.set_xlabel("flow, times what chemistry says")
        axes.set_xlim(min(0.45, 0.9 * rows["low"].min()), max(2.2, 1.1 * rows["high"].max()))
        left_out = f"; {len(table) - len(rows)} with fewer left out" * (len(table) > len(rows))
        _title(figure, f"What the log taught (results in brackets{left_out})")
    return figure


def _times(value: float, _: int | None = None) -> str:
    return f"× {value:.3g}" if value >= 1 else f"× 1/{1 / value:.3g}"


def skill_figure(table: pd.DataFrame) -> Figure:
    """How the answers got better as the log grew.

    Parameters
    ----------
    table : DataFrame, one row a size of log
        rows (results in the log), skill (share of the rules' error that the log took away: 0 is
        no better than the rules, 1 is never wrong) and, where known, low and high (9 times in 10
        within).

    Returns
    -------
    Figure
    """
    _need(table, ("rows", "skill"))
    grown = table.sort_values("rows", kind="stable")
    size = grown["rows"].to_numpy(dtype=float)
    with house_style():
        figure = Picture(figsize=(5.6, 3.85))
        (axes,) = _panels(figure, 1, left=0.75, top=0.45, height=2.55)
        if {"low", "high"} <= set(grown.columns):
            low, high = (100 * grown[name].to_numpy(dtype=float) for name in ("low", "high"))
            axes.fill_between(size, low, high, facecolor=SIGNS[0].fill, edgecolor=INK,
                              linewidth=0.4, label="9 times in 10 within")  # fmt: skip
        axes.plot(size, 100 * grown["skill"].to_numpy(dtype=float), color=INK, marker="o",
                  markersize=5, markerfacecolor=SIGNS[0].fill, label="skill")  # fmt: skip
        axes.axhline(0.0, color=WATER, linestyle=(0, (5, 2)), label="rules alone")
        axes.margins(x=0.03, y=0.12)
        axes.grid(axis="y")
        axes.set_axisbelow(True)
        axes.set_xlabel("results in the log [layers]")
        axes.set_ylabel("error taken away [%]")
        axes.legend(loc="upper center", bbox_to_anchor=(0.45, -0.17), ncols=3, fontsize=TICK_PT)
        _title(figure, "How the answers got better as the log grew")
    return figure


def _need(table: pd.DataFrame, columns: tuple[str, ...]) -> None:
    missing = [name for name in columns if name not in table.columns]
    if missing:
        raise ValueError(f"table lacks {', '.join(missing)}; give {', '.join(columns)}.")
