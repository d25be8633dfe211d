"""Curves of how good the answers were, and of what a log taught."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedFormatter, FixedLocator, FuncFormatter, NullLocator

from runpredict.arrays import Floats
from runpredict.drawings.style import (
    FAINT,
    INK,
    SIGNS,
    TICK_PT,
    WATER,
    Picture,
    fitted,
    house_style,
    in_units,
    panels,
    title,
    width_in,
)
from runpredict.model.chances import within_range
from runpredict.units import MM_PER_INCH, LengthUnits, check_units, length_number

MOST_EFFECTS = 40
Z_90 = 1.645  # half width of a 90 % interval in standard errors of a normal law

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
    check_units(units)
    _need(table, ("run_p05_mm", "run_p50_mm", "run_p95_mm", "run_mm", "past_foot"))
    past = table["past_foot"].eq("yes").to_numpy()
    run_mm = table["run_mm"].astype(float)
    if "lower_edge_mm" in table.columns:
        run_mm = run_mm.fillna(table["lower_edge_mm"].astype(float).where(past))
    inside = within_range(run_mm, table["run_p05_mm"], table["run_p95_mm"])
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
        (axes,) = panels(figure, 1, left=0.75, top=0.45, height=4.2)
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
        share = f"{inside[exact].mean():.0%}" if exact.any() else "none measured"
        title(figure, f"Runs seen within their range: {share} (90 % would be right)")
    return figure


def _run_axis(axes: Axes, side: str, end: float, units: LengthUnits) -> None:
    ticks = [tick for tick in _RUN_TICKS[units] if tick <= end]
    scale = 1.0 if units == "mm" else MM_PER_INCH
    set_scale = axes.set_xscale if side == "x" else axes.set_yscale
    set_scale("symlog", linthresh=ticks[1], linscale=0.8)
    axis = axes.xaxis if side == "x" else axes.yaxis
    axis.set_major_locator(FixedLocator(ticks))
    axis.set_minor_locator(NullLocator())
    names = [length_number(tick * scale, units) for tick in ticks]
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
    groups = table.loc[table["pieces"] > 0]
    predicted, seen, pieces = (
        groups[name].to_numpy(dtype=float) for name in ("predicted", "seen", "pieces")
    )
    low, high = share_interval(seen, pieces)
    with house_style():
        figure = Picture(figsize=(4.9, 5.15))
        (axes,) = panels(figure, 1, left=0.75, top=0.45, height=3.9)
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
        title(figure, "Was the risk right? (numbers: pieces)")
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
        (axes,) = panels(figure, 1, left=margin, top=0.45, height=tall)
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
        title(figure, f"What the log taught (results in brackets{left_out})")
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
        (axes,) = panels(figure, 1, left=0.75, top=0.45, height=2.55)
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
        title(figure, "How the answers got better as the log grew")
    return figure


def _need(table: pd.DataFrame, columns: tuple[str, ...]) -> None:
    missing = [name for name in columns if name not in table.columns]
    if missing:
        raise ValueError(f"table lacks {', '.join(missing)}; give {', '.join(columns)}.")
