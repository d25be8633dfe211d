"""What would become of one piece with another bare band or edge, other coats, another hold."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

import numpy as np
import pandas as pd

from runpredict.answers import decisions
from runpredict.answers.check import Answer
from runpredict.answers.load import a_cone_lower
from runpredict.arrays import Floats
from runpredict.model.chances import Chances
from runpredict.model.features import FIRED_SHARE, MORE_COATS, features_of
from runpredict.model.predictors import Predictor
from runpredict.model.stacks import Stacks, stacks_of
from runpredict.tables.rows import with_defaults
from runpredict.units import thinner_as_written

LONGEST_HOLD_MIN = 60.0
BAND_SHARE = 0.5  # of the height of the glaze, up to which a wider band is looked at
BAND_POINTS, EDGE_POINTS, HOLD_POINTS = 31, 25, 25


class WhatIf:
    """Risk of a piece against what can still be changed, the rest as planned.

    Each table is worked out when it is first asked for.

    Attributes
    ----------
    piece, firing : str
    risk, band_mm, hold_min : float
        As planned.
    edges_mm : tuple of float
        Where each layer ends, as planned.
    """

    def __init__(self, answer: Answer, row: int) -> None:
        self._answer, self._row = answer, row
        self._stacks = stacks = answer.stacks.take(np.array([row]))
        self.piece, self.firing = str(stacks.piece[0]), str(stacks.firing[0])
        self.risk = float(answer.pieces["risk"].iloc[row])
        self.band_mm = 1e3 * float(decisions.planned_band_m(stacks)[0])
        self.hold_min = float(stacks.hold_min[0])
        self.edges_mm = tuple(1e3 * stacks.lower_m[0, stacks.glazed[0]])

    @cached_property
    def _chances(self) -> Chances:
        return self._answer.predictor.chances(self._stacks)

    @cached_property
    def by_band(self) -> pd.DataFrame:
        """band_mm, from 0 to half of the glaze, and risk, which never rises with it."""
        return _by_band(self._stacks, self._answer.predictor)

    @cached_property
    def by_edge(self) -> pd.DataFrame:
        """layer, glaze, edge_mm (where that layer alone ends, from the foot up) and risk.

        It hardly ever rises with the edge: what lies beneath may move more readily uncovered.
        """
        return _by_edge(self._stacks, self._answer.predictor)

    @cached_property
    def by_coats(self) -> pd.DataFrame:
        """layer, glaze, coats, thickness_mm, risk, which never falls with coats, and planned.

        Coats are of that layer alone; thickness_mm is that of so many coats like those on it, dry,
        of a layer that was measured, NaN of another; planned is True for the coats of the plan.
        """
        return _by_coats(self._stacks, self._chances)

    @cached_property
    def by_hold(self) -> pd.DataFrame:
        """hold_min, from 0 to an hour or twice the planned hold, and risk; neither ever falls."""
        return _by_hold(self._stacks, self._chances)

    @cached_property
    def _cooler(self) -> tuple[str, Stacks]:
        return _cooler(self._answer, self._row)

    @property
    def cooler_cone(self) -> str:
        """The cone below the planned one, "" where there is none."""
        return self._cooler[0]

    @cached_property
    def by_hold_cooler(self) -> pd.DataFrame:
        """As `by_hold`, one cone lower; without rows where there is no lower cone."""
        cone, cooler = self._cooler
        return _by_hold(cooler, self._answer.predictor.chances(cooler)).iloc[: None if cone else 0]


def what_if(answer: Answer, piece: str, firing: str | None = None) -> WhatIf:
    """Risk of a piece against its bare band, its coats and the hold.

    Parameters
    ----------
    firing : str, optional
        Needed where several firings have a piece of that name.

    Raises
    ------
    BadInput : no such piece, or more than one.
    """
    return WhatIf(answer, answer.find(piece, firing))


def _cooler(answer: Answer, row: int) -> tuple[str, Stacks]:
    """The cone below that of a piece, and the piece fired so; "" and the plan where none is."""
    tables = answer.tables
    of_piece = answer.stacks.at[0] == row
    part = replace(tables, plan=tables.plan.loc[of_piece])
    plan, was = a_cone_lower(part), with_defaults(part.plan)["cone"].iloc[0]
    stacks = stacks_of(features_of(plan, tables.glazes, tables.schedules))
    typed = tables.scheduled(stacks.firing)[0]
    cone = str(plan["cone"].iloc[0])
    return "" if typed or cone == was else cone, stacks


def _copies(stacks: Stacks, count: int) -> Stacks:
    """One piece so many times over, to be changed in as many ways."""
    return stacks.take(np.zeros(count, dtype=np.intp))


def _risks(predictor: Predictor, changed: Stacks) -> Floats:
    return predictor.chances(changed).piece_risk(changed)


def _risks_known(chances: Chances, changed: Stacks) -> Floats:
    """As `_risks`, for changes that leave the chances of the piece as they are: coats, hold."""
    return chances.take(np.zeros(len(changed.hold_min), dtype=np.intp)).piece_risk(changed)


def _by_band(stacks: Stacks, predictor: Predictor) -> pd.DataFrame:
    top_m = float(np.where(stacks.present, stacks.upper_m, 0.0).max())
    planned_m = float(decisions.planned_band_m(stacks)[0])
    most_m = planned_m + BAND_SHARE * (top_m - planned_m)
    band_m: Floats = np.linspace(0.0, most_m, BAND_POINTS)
    changed = decisions.with_band(_copies(stacks, BAND_POINTS), band_m)
    return pd.DataFrame({"band_mm": 1e3 * band_m, "risk": _risks(predictor, changed)})


def _by_edge(stacks: Stacks, predictor: Predictor) -> pd.DataFrame:
    parts = []
    for k in np.flatnonzero(stacks.glazed[0]):
        most_m = max(float(stacks.upper_m[0, k]) - decisions.LEAST_LAYER_M, 0.0)
        edge_m: Floats = np.linspace(0.0, most_m, EDGE_POINTS)
        changed = decisions.with_edge(_copies(stacks, EDGE_POINTS), np.full(EDGE_POINTS, k), edge_m)
        part = pd.DataFrame({"edge_mm": 1e3 * edge_m, "risk": _risks(predictor, changed)})
        parts.append(part.assign(layer=int(k) + 1, glaze=stacks.glaze_name[0, k]))
    return pd.concat(parts, ignore_index=True)[["layer", "glaze", "edge_mm", "risk"]]


def _by_coats(stacks: Stacks, chances: Chances) -> pd.DataFrame:
    parts, thinned = [], []
    for k in np.flatnonzero(stacks.present[0]):
        planned = int(stacks.coats[0, k])
        most = min(planned + MORE_COATS, stacks.coat_ratio.shape[2])
        coats = np.arange(1, most + 1)
        ratio = stacks.coat_ratio[0, k, :most]
        thickness_mm = np.full(most, np.nan)
        if stacks.measured[0, k]:
            dry_mm = 1e3 * float(stacks.thickness_m[0, k]) / FIRED_SHARE
            thickness_mm = np.array([thinner_as_written(dry_mm * times) for times in ratio])
            thickness_mm[coats == planned] = dry_mm
            ratio = thickness_mm / dry_mm
        thinned.append((np.full(most, k), ratio))
        parts.append((np.full(most, k + 1), coats, thickness_mm, coats == planned))
    layer, ratio = (np.concatenate(each) for each in zip(*thinned, strict=True))
    changed = decisions.with_thickness(_copies(stacks, len(layer)), layer, ratio)
    number, coats, thickness_mm, as_planned = (
        np.concatenate(each) for each in zip(*parts, strict=True)
    )
    return pd.DataFrame({
        "layer": number, "glaze": stacks.glaze_name[0, layer], "coats": coats,
        "thickness_mm": thickness_mm, "risk": _risks_known(chances, changed),
        "planned": as_planned,
    })  # fmt: skip


def _by_hold(stacks: Stacks, chances: Chances) -> pd.DataFrame:
    longest = max(LONGEST_HOLD_MIN, 2.0 * float(stacks.hold_min[0]))
    hold_min: Floats = np.linspace(0.0, longest, HOLD_POINTS)
    changed = decisions.with_hold(_copies(stacks, HOLD_POINTS), hold_min)
    return pd.DataFrame({"hold_min": hold_min, "risk": _risks_known(chances, changed)})
