"""The sentences a potter reads: why a layer may run, and what to do about it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from runpredict.answers.check import Answer
from runpredict.arrays import Indices
from runpredict.pages.plain import percent
from runpredict.units import LengthUnits, format_distance, format_length

CAUTION = (
    "A prediction is never a promise: test on a tile first, and keep a shelf guarded wherever a "
    "run would cost you. Runs leave sharp edges: wear eye protection and gloves when you knock or "
    "grind one off. Dry glaze is silica dust and may hold toxic colourants: wear a fitted dust "
    "mask, wipe wet, and let the maker's safety sheet decide on food contact. Vent kiln fumes, "
    "never open a hot kiln, and follow your local codes."
)

WORTH_TELLING_MM = 5.0  # a layer that could end this much lower is a loss worth a sentence

# Words for how a melt stands at the top of its firing, by log10 of viscosity in Pa s;
# common practice, no source.
_FLOW_WORDS = ((2.2, "runny"), (2.7, "fluid"), (3.3, "stable"), (np.inf, "stiff"))


def flow_word(viscosity_log10_pa_s: float, known: bool, behaviour: str) -> str:
    """`runny`, `fluid`, `stable`, `stiff`, or "unknown" for a jar without a word."""
    if not known:
        return behaviour or "unknown"
    return next(word for limit, word in _FLOW_WORDS if viscosity_log10_pa_s < limit)


def _rests_on(known: bool, outside: bool, logged: int | None) -> str:
    """What makes the number more or less sure."""
    if logged:
        return f"; the log holds {logged} layer{'s' if logged > 1 else ''} of this glaze"
    never = "" if logged is None else ", and it was never logged"
    if not known:
        return f"; a jar, so its chemistry is a guess{never}"
    if outside:
        return f"; a melt unlike those measured, so less sure{never}"
    return never and "; it was never logged"


def _overlap(top: str, below: str, thick: str) -> str:
    what = f"two {top} glazes overlap" if top == below else f"{top} over {below} glaze overlap"
    return f"{what} {thick} thick"


def reasons(
    rows: pd.DataFrame,
    neighbour: Indices,
    seen: dict[str, int] | None,
    units: LengthUnits,
) -> list[str]:
    """One sentence a layer: what it rests on.

    Parameters
    ----------
    rows : DataFrame of m layers, as `features.features_of` returns
    neighbour : ndarray of int, shape (m,)
        Position of the row it overlaps most closely, above or below; -1 where there is none.
    seen : dict or None
        How many logged layers there are of each glaze; None without a log.
    units : "mm" or "in"

    Returns
    -------
    list of str, length m
    """
    flow = [
        flow_word(v, known, word)
        for v, known, word in zip(
            rows["viscosity_log10_pa_s"],
            rows["chemistry_known"],
            rows["behaviour"].fillna(""),
            strict=True,
        )
    ]
    layer = rows["layer"].to_numpy()
    lower, thick = (rows[name].to_numpy(dtype=float) for name in ("lower_edge_mm", "thickness_mm"))
    bare = rows.groupby(["firing", "piece"], sort=False)["lower_edge_mm"].transform("min")
    flags = [
        _rests_on(known, outside, None if seen is None else seen.get(glaze, 0))
        for known, outside, glaze in zip(
            rows["chemistry_known"], rows["outside_data"], rows["glaze"], strict=True
        )
    ]
    sentences = []
    for i, (j, foot, flag) in enumerate(zip(neighbour, bare, flags, strict=True)):
        if j < 0:
            what = f"{flow[i]} glaze {format_length(thick[i], units)} thick"
            gap = lower[i] - foot
        else:
            top, below = (i, j) if layer[i] > layer[j] else (j, i)
            together = format_length(thick[i] + thick[j], units)
            what = _overlap(flow[top], flow[below], together)
            gap = max(lower[i], lower[j]) - foot
        where = f"{format_distance(gap, units)} above" if gap > 0 else "down to"
        band = f"a bare foot of {format_distance(foot, units)}" if foot > 0 else "the very foot"
        sentences.append(f"{what}, {where} {band}{flag}")
    return sentences


def advice(changes: pd.DataFrame, pieces: pd.DataFrame, units: LengthUnits) -> list[str]:
    """One or two sentences a piece: what to do with it.

    Parameters
    ----------
    changes, pieces : DataFrame
        Of an `Answer`.
    units : "mm" or "in"

    Returns
    -------
    list of str
    """
    wide, high = pieces["cookie_diameter_mm"], pieces["cookie_height_mm"]
    return [
        _advice(change, cookie, units)
        for change, *cookie in zip(changes.itertuples(), wide, high, strict=True)
    ]


def _advice(change: Any, cookie_mm: Sequence[float], units: LengthUnits) -> str:
    if change.change == "none":
        return "Safe as planned." + _headroom(change, units)
    if change.change == "coat":
        new, old = (f"{coats:.0f}" for coats in (change.changed, change.planned))
        return f"One coat less of {change.glaze}: {new} instead of {old}."
    if change.change == "hold":
        return f"Hold {change.changed:g} min at the top; it concerns the whole firing."
    if change.change == "cookie":
        wide, high = (format_distance(size, units) for size in cookie_mm)
        return (
            "No single change is enough, wax alone neither: cut back two things at once, or set "
            f"it on a cookie {wide} wide and {high} high."
        )
    new, old = (format_distance(at, units) for at in (change.changed, change.planned))
    if change.change == "edge":
        return f"Stop {change.glaze} {new} above the foot instead of {old}."
    return f"Leave the lowest {new} bare instead of {old}."


def _headroom(change: Any, units: LengthUnits) -> str:
    """How much further down a layer could safely come, where that is worth a sentence."""
    if not change.spare_mm >= WORTH_TELLING_MM:
        return ""
    spare = format_distance(change.spare_mm, units)
    return f" {change.spare_glaze} could end {spare} lower and stay safe."


def headline(over: int, count: int, tolerance: float) -> str:
    """How many pieces of a firing are over the risk that is tolerated."""
    return f"{over} of {count} pieces over {percent(tolerance)} risk of running past the foot"


def wax_words(wax_height_mm: float, units: LengthUnits) -> str:
    """The bare band of a piece; NaN where wax alone cannot help."""
    return "not by wax alone" if np.isnan(wax_height_mm) else format_distance(wax_height_mm, units)


def cookie_words(piece: pd.Series, units: LengthUnits) -> str:
    """The cookie of a row of the pieces, such as "needed: 98 x 7 mm"."""
    if piece["cookie"] == "none":
        return "none"
    wide, high = (
        format_length(piece[name], units) for name in ("cookie_diameter_mm", "cookie_height_mm")
    )
    return f"{piece['cookie']}: {wide.removesuffix(f' {units}')} x {high}"


def basis_words(answer: Answer) -> str:
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
