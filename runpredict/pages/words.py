"""The sentences a potter reads: why a layer may run, and what to do about it."""

from __future__ import annotations

import numpy as np
import pandas as pd

from runpredict.answers.decisions import Change
from runpredict.arrays import AnyArray, Floats
from runpredict.units import LengthUnits, format_distance, format_length

CAUTION = (
    "A prediction is never a promise: test on a tile first, and keep a shelf guarded wherever a "
    "run would cost you. Runs leave sharp edges: wear eye protection and gloves when you knock or "
    "grind one off. Dry glaze is silica dust and may hold toxic colourants: wear a fitted dust "
    "mask, wipe wet, and let the maker's safety sheet decide on food contact. Vent kiln fumes, "
    "never open a hot kiln, and follow your local codes."
)

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
    neighbour: AnyArray,
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


def advice(
    change: Change,
    glazes: list[str],
    planned_mm: Floats,
    cookie: tuple[str, float, float],
    units: LengthUnits,
) -> str:
    """What to do with one piece.

    Parameters
    ----------
    change : Change
        Lengths in metres.
    glazes : list of str
        Names of the piece's layers, in the order they are applied.
    planned_mm : ndarray
        Their lower edges as planned. [mm]
    cookie : (word, diameter, height)
        [mm]
    units : "mm" or "in"

    Returns
    -------
    str
    """

    def length(value_mm: float) -> str:
        return format_distance(value_mm, units)

    name = glazes[change.layer]
    if change.kind == "none":
        return "Safe as planned."
    if change.kind == "edge":
        new, old = length(1000 * change.amount), length(planned_mm[change.layer])
        return f"Stop {name} {new} above the foot instead of {old}."
    if change.kind == "coat":
        coats = int(change.amount)
        return f"One coat less of {name}: {coats} instead of {coats + 1}."
    if change.kind == "wax":
        new, old = length(1000 * change.amount), length(planned_mm[change.layer])
        return f"Leave the lowest {new} bare instead of {old}."
    if change.kind == "hold":
        return f"Hold {change.amount:g} min at the top; it concerns the whole firing."
    _, diameter, height = cookie
    return (
        f"No single change is enough, wax alone neither: cut back two things at once, or set it "
        f"on a cookie {length(diameter)} wide and {length(height)} high."
    )


def headroom(name: str, lower_mm: float, units: LengthUnits) -> str:
    """How much further down a layer could safely come."""
    return f"{name} could end {format_distance(lower_mm, units)} lower and stay safe."
