"""What would become of one piece with another bare band, other coats or another hold."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from runpredict.answers import decisions
from runpredict.answers.check import Answer
from runpredict.answers.questions import glaze_names
from runpredict.arrays import Floats
from runpredict.model.features import MORE_COATS, Stacks
from runpredict.model.rules import Draws

LONGEST_HOLD_MIN = 60.0
BAND_POINTS, HOLD_POINTS = 31, 25


@dataclass(frozen=True)
class WhatIf:
    """Risk of a piece against what can still be changed, the rest as planned.

    Attributes
    ----------
    piece, firing : str
    risk, band_mm, hold_min : float
        As planned.
    by_band : DataFrame
        band_mm, from 0 to as much as wax may take, and risk, which never rises with it.
    by_coats : DataFrame
        layer, glaze, coats (of that layer alone), risk, which never falls with coats, and planned
        (True for the coats of the plan).
    by_hold : DataFrame
        hold_min, from 0 to an hour or twice the planned hold, and risk, which never falls with it.
    """

    piece: str
    firing: str
    risk: float
    band_mm: float
    hold_min: float
    by_band: pd.DataFrame
    by_coats: pd.DataFrame
    by_hold: pd.DataFrame


def what_if(answer: Answer, piece: str, firing: str | None = None) -> WhatIf:
    """Risk of a piece against its bare band, its coats and the hold.

    Parameters
    ----------
    answer : Answer
    piece : str
    firing : str, optional
        Needed where several firings have a piece of that name.

    Returns
    -------
    WhatIf

    Raises
    ------
    BadInput : no such piece, or more than one.
    """
    row = answer.find(piece, firing)
    stacks = answer.stacks.take(np.array([row]))
    draws = answer.predictor.draws(stacks)
    return WhatIf(
        piece=str(stacks.piece[0]),
        firing=str(stacks.firing[0]),
        risk=float(answer.pieces["risk"].iloc[row]),
        band_mm=1e3 * _band_m(stacks),
        hold_min=float(stacks.hold_min[0]),
        by_band=_by_band(stacks, draws),
        by_coats=_by_coats(stacks, draws),
        by_hold=_by_hold(stacks, draws),
    )


def _risks(draws: Draws, changed: Iterable[Stacks]) -> list[float]:
    return [float(draws.risk(stacks)[1][0]) for stacks in changed]


def _band_m(stacks: Stacks) -> float:
    return float(stacks.lower_m[0, decisions.lowest_layer(stacks)[0]])


def _by_band(stacks: Stacks, draws: Draws) -> pd.DataFrame:
    top_m = float(np.where(stacks.present, stacks.upper_m, 0.0).max())
    planned_m = _band_m(stacks)
    most_m = planned_m + decisions.MOST_WAX_SHARE * (top_m - planned_m)
    band_m: Floats = np.linspace(0.0, most_m, BAND_POINTS)
    changed = (decisions.with_band(stacks, np.array([band])) for band in band_m)
    return pd.DataFrame({"band_mm": 1e3 * band_m, "risk": _risks(draws, changed)})


def _by_coats(stacks: Stacks, draws: Draws) -> pd.DataFrame:
    rows = []
    names = glaze_names(stacks)[0]
    for k in np.flatnonzero(stacks.present[0]):
        planned = int(stacks.coats[0, k])
        coats = range(1, min(planned + MORE_COATS, stacks.coat_ratio.shape[2]) + 1)
        changed = (
            decisions.with_thickness(stacks, np.array([k]), stacks.coat_ratio[:, k, count - 1])
            for count in coats
        )
        for count, risk in zip(coats, _risks(draws, changed), strict=True):
            rows.append((int(k) + 1, names[k], count, risk, count == planned))
    return pd.DataFrame(rows, columns=["layer", "glaze", "coats", "risk", "planned"])


def _by_hold(stacks: Stacks, draws: Draws) -> pd.DataFrame:
    longest = max(LONGEST_HOLD_MIN, 2.0 * float(stacks.hold_min[0]))
    hold_min: Floats = np.linspace(0.0, longest, HOLD_POINTS)
    changed = (decisions.with_hold(stacks, np.array([hold])) for hold in hold_min)
    return pd.DataFrame({"hold_min": hold_min, "risk": _risks(draws, changed)})
