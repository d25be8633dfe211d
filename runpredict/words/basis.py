"""The sentences a potter reads: why a layer may run, what the numbers rest on, and cautions."""

from __future__ import annotations

import numpy as np
import pandas as pd

from runpredict.answers.check import Answer
from runpredict.arrays import Indices
from runpredict.units import LengthUnits, format_coat, format_distance
from runpredict.words.plain import percent

CAUTION = (
    "A prediction is never a promise: test on a tile first, and keep a shelf guarded wherever a "
    "run would cost you. Never set a pot that may run above the work of others. Kiln-wash shelves, "
    "and cookies and dishes on top and below. Runs leave sharp edges: wear eye protection and "
    "gloves when you knock or grind one off, grind wet, and keep the dust out of your lungs. Dry "
    "glaze is silica dust and may hold toxic colourants: wear a fitted dust mask and wipe wet. "
    "Whether a glaze may touch food only a laboratory's test of the fired pot can tell. Vent kiln "
    "fumes, never open a hot kiln, follow its maker and your local codes, and leave wiring and "
    "gas to licensed people."
)

BASIS = {
    "rules": "physics and rules of thumb",
    "learned": "the log of this studio",
    "untried": "physics, rules of thumb and the log of this studio, not yet tried",
}

# Bands of the risk told, in tenths, in which is said how many pots then passed.
TRUST_BANDS = ((0, 1, "under 10 %"), (1, 4, "10 to 40 %"), (4, 10, "over 40 %"))

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
    thick = np.maximum(np.round(thick, 1), 0.1)  # as told: mostly it is typical, not measured
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
            what = f"{flow[i]} glaze {format_coat(thick[i], units)} thick"
            gap = lower[i] - foot
        else:
            top, below = (i, j) if layer[i] > layer[j] else (j, i)
            together = format_coat(thick[i] + thick[j], units)
            what = _overlap(flow[top], flow[below], together)
            gap = max(lower[i], lower[j]) - foot
        where = f"{format_distance(gap, units)} above" if gap > 0 else "down to"
        band = f"a bare foot of {format_distance(foot, units)}" if foot > 0 else "the very foot"
        sentences.append(f"{what}, {where} {band}{flag}")
    return sentences


def tolerated(tolerance: float) -> str:
    """What needs something means, in a sentence."""
    return (
        f"A pot needs something where its risk of running past the foot is over "
        f"{percent(tolerance)}; every change below was tried, as it is told, and brings it there "
        "or under."
    )


def not_tried() -> str:
    """That a log's model is not proved yet, and what that takes."""
    from runpredict.model.trial import LEAST_FIRINGS  # noqa: PLC0415 - loads scikit-learn

    return (
        "What the log taught has not been tried yet on firings it had not seen; that takes results "
        f"from {LEAST_FIRINGS} firings."
    )


def basis_short(answer: Answer) -> str:
    """What the numbers rest on, in a few words."""
    basis = answer.predictor.basis
    return BASIS["untried" if basis != "rules" and answer.trial is None else basis]


def basis_words(answer: Answer) -> str:
    """What the numbers rest on, in a sentence or two."""
    return f"{_who_answered(answer)} {_tried_out(answer)}".rstrip()


def _who_answered(answer: Answer) -> str:
    if answer.predictor.basis != "rules" and answer.trial is None:
        return f"These numbers rest on {BASIS['untried']}. {not_tried()}"
    if answer.predictor.basis == "learned":
        return "These numbers rest on the log of this studio, on top of physics."
    logged = ", with no log of this studio"
    if len(answer.tables.log):
        logged = "; nothing could be learned of the log, since its results contradict each other"
    return (
        f"These numbers rest on physics and rules of thumb{logged}. Expect them to be wide; test "
        "tiles narrow them fastest."
    )


def _tried_out(answer: Answer) -> str:
    if answer.trial is None:
        return ""
    table = answer.trial.reliability
    bands = []
    for low, high, words in TRUST_BANDS:
        band = table.loc[(table.index >= low) & (table.index < high)]
        pieces = int(band["pieces"].sum())
        if pieces:
            bands.append(f"{words}, {round((band['seen'] * band['pieces']).sum())} of {pieces}")
    losses = answer.trial.scores["log_loss"]
    plain = ""
    if losses["base rate"] <= losses["learned"]:
        plain = " One guess for all pots would have done as well so far."
    return (
        f"Asked about {answer.trial.pieces} logged pieces from firings it had not seen: of the "
        f"pots it told {'; '.join(bands)} ran past the foot.{plain}"
    )


def surprises_words(share: tuple[int, int] | None) -> str:
    """The question of a log of which so many pots ran past that it may hold only surprises.

    Parameters
    ----------
    share : (int, int) or None
        As `surprises.surprising_share` returns.

    Returns
    -------
    str
        Blank for None.
    """
    if share is None:
        return ""
    return (
        f"{share[0]} of the {share[1]} pots in the log ran past the foot, far more than one would "
        "expect. If only what surprised you was written down, say so with --written surprises; if "
        "it is all that was fired, with --written all."
    )
