"""Answers as plain text for a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import pandas as pd

from runpredict.answers.check import Answer
from runpredict.pages.cautions_text import cautions_text
from runpredict.pages.words import CAUTION
from runpredict.physics.cautions import cautions_of
from runpredict.physics.chemistry import OXIDES, mole_fractions, unity_formula
from runpredict.physics.melt import melt_curve
from runpredict.units import LengthUnits, format_distance, format_length, format_temperature

DEMO_HEADLINE = "Sample studio, invented: no real potter, glaze or result."
WIDTH = 100
VISCOSITY_AT_C = (1000, 1050, 1100, 1150, 1200, 1250, 1300)


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


def columns(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Rows under headings; the last column is wrapped within `WIDTH`."""
    widths = [max(map(len, column)) for column in zip(headings, *rows, strict=True)][:-1]
    indent = sum(widths) + 2 * len(widths)
    lines = []
    for row in (headings, *rows):
        start = "  ".join(text.ljust(width) for text, width in zip(row, widths, strict=False))
        last = textwrap.wrap(row[-1], max(WIDTH - indent, 30)) or [""]
        lines.append(f"{start}  {last[0]}".rstrip())
        lines.extend(" " * indent + more for more in last[1:])
    return "\n".join(lines)


def _short(name: str, most: int = 24) -> str:
    plain = "".join(char if char.isprintable() else "?" for char in name)
    return plain if len(plain) <= most else f"{plain[: most - 1]}…"


def cookie_text(piece: pd.Series, units: LengthUnits) -> str:
    """The cookie of a row of the pieces, such as "needed: 98 mm wide, 7 mm high"."""
    if piece["cookie"] == "none":
        return "none"
    wide, high = (
        format_length(piece[name], units) for name in ("cookie_diameter_mm", "cookie_height_mm")
    )
    return f"{piece['cookie']}: {wide.removesuffix(f' {units}')} x {high}"


def _piece_row(piece: pd.Series, layers: pd.DataFrame, units: LengthUnits) -> list[str]:
    blamed = layers.loc[layers["layer"] == piece["layer_to_blame"]].iloc[0]
    low, most_likely, high = (
        format_distance(blamed[name], units) for name in ("run_p05_mm", "run_p50_mm", "run_p95_mm")
    )
    wax = piece["wax_height_mm"]
    return [
        percent(piece["risk"]),
        _short(piece["piece"]),
        f"{_short(blamed['glaze'])} (layer {blamed['layer']})",
        f"{most_likely} ({low} to {high})",
        "not by wax alone" if np.isnan(wax) else format_distance(wax, units),
        cookie_text(piece, units),
    ]


def answer_text(answer: Answer, units: LengthUnits = "mm") -> str:
    """A table a firing, the pieces most at risk first, and what the numbers rest on.

    Parameters
    ----------
    answer : Answer
    units : "mm" or "in"

    Returns
    -------
    str
    """
    by_piece: dict[Any, pd.DataFrame] = dict(
        tuple(answer.layers.groupby(["firing", "piece"], sort=False))
    )
    headings = [
        "risk",
        "piece",
        "layer to blame",
        "its run (5 to 95 %)",
        "wax",
        "cookie, wide x high",
    ]
    parts = []
    for firing, pieces in answer.pieces.groupby("firing", sort=False):
        over = int((pieces["risk"] > answer.tolerance).sum())
        parts.append(
            f"Firing {_short(str(firing), 60)}: {over} of {len(pieces)} pieces over "
            f"{percent(answer.tolerance)} risk of running past the foot"
        )
        ranked = pieces.sort_values("risk", ascending=False, kind="stable")
        rows = [
            _piece_row(piece, by_piece[(firing, piece["piece"])], units)
            for _, piece in ranked.iterrows()
        ]
        parts.append(columns(headings, rows))
        parts.append(_advice(ranked, by_piece))
    parts.append(textwrap.fill(basis_text(answer), WIDTH))
    parts.append(textwrap.fill(CAUTION, WIDTH))
    return "\n\n".join(parts)


def _advice(ranked: pd.DataFrame, by_piece: dict[Any, pd.DataFrame]) -> str:
    rows = []
    for _, piece in ranked.iterrows():
        layers = by_piece[(piece["firing"], piece["piece"])]
        blamed = layers.loc[layers["layer"] == piece["layer_to_blame"]].iloc[0]
        rows.append([_short(piece["piece"]), f"{piece['advice']} Why: {blamed['reason']}."])
    return columns(["piece", "what to do"], rows)


def basis_text(answer: Answer) -> str:
    """What the numbers rest on, in a sentence or two."""
    return f"{_who_answered(answer)} {_tried_out(answer)}".rstrip()


def _who_answered(answer: Answer) -> str:
    if answer.predictor.basis == "learned":
        return "These numbers rest on the log of this studio, on top of physics."
    if answer.predictor.basis == "blend":
        share = percent(answer.predictor.share)
        return (
            f"These numbers are a blend, {share} from the log of this studio and the rest from "
            "physics and rules of thumb: the log alone cannot yet be shown to do better."
        )
    logged = (
        " although there is a log: on firings held back, the log did no better"
        if (answer.trial is not None)
        else ", with no log of this studio"
    )
    return (
        f"These numbers rest on physics and rules of thumb{logged}. Expect them to be wide; test "
        "tiles narrow them fastest."
    )


def _tried_out(answer: Answer) -> str:
    if answer.trial is None:
        return ""
    scores = answer.trial.scores["log_loss"]
    return (
        f"Asked about {answer.trial.pieces} logged pieces from firings it had not seen, its log "
        f"loss is {scores['blend']:.2f}; the rules alone have {scores['rules']:.2f}, and saying "
        f"the same of every pot {scores['base rate']:.2f} (lower is better)."
    )


def glaze_text(glaze: pd.Series, units: LengthUnits = "mm", materials: Iterable[str] = ()) -> str:
    """Unity formula of one glaze, its viscosity over temperature, and what to be careful of.

    Parameters
    ----------
    glaze : Series
        A row of the glazes with its oxides worked out. [wt %]
    units : "mm" or "in"
    materials : iterable of str
        Raw materials of its recipe.

    Returns
    -------
    str
    """
    oxides = glaze[list(OXIDES)].astype(float)
    if oxides.isna().all():
        word = glaze["behaviour"] or "none"
        return (
            f"{glaze['glaze']}: a jar, so its chemistry is not known (behaviour word: {word}).\n"
            "It is taken for an ordinary mid-range glaze with a wide range. A few test tiles with "
            "their runs measured will teach more than any word on the label.\n\n"
            + textwrap.fill(cautions_text(None), WIDTH)
        )
    unity = unity_formula(oxides.fillna(0.0))
    shown = [(name, unity[name]) for name in OXIDES if unity[name] >= 0.0005]
    totals = [
        ("alkalis (R2O)", unity["alkali_mol"]),
        ("alkaline earths (RO)", unity["alkaline_earth_mol"]),
        ("zinc", unity["zinc_mol"]),
        ("silica to alumina", unity["silica_alumina_ratio"]),
    ]
    curve = melt_curve(mole_fractions(oxides.fillna(0.0)))
    at = np.array(VISCOSITY_AT_C, dtype=float)
    log10, error = curve.log10_pa_s(at)[0], 1.645 * curve.sd_at(at)[0]
    viscosity = [
        [
            format_temperature(t, units),
            f"{10**v:,.3g} Pa s",
            f"{10 ** (v - e):,.3g} to {10 ** (v + e):,.3g}",
        ]
        for t, v, e in zip(at, log10, error, strict=True)
    ]
    parts = [
        f"{glaze['glaze']}: unity formula (moles, fluxes sum to 1)",
        columns(["oxide", "moles"], [[name, f"{value:.3f}"] for name, value in shown]),
        columns(["in all", ""], [[name, f"{value:.2f}"] for name, value in totals]),
        columns(["temperature", "viscosity of the melt", "9 times in 10 within"], viscosity),
    ]
    if bool(curve.outside[0]):
        parts.append("This melt is unlike any that was measured: take the numbers as a guess.")
    counts = glaze["source"] == "recipe"
    cautions = cautions_of(oxides, materials if counts else ())
    parts.append(textwrap.fill(cautions_text(cautions), WIDTH))
    return "\n\n".join(parts)
