"""What pools in the well of a pot: the glaze that leaves its inner wall, spread over its floor."""

from __future__ import annotations

import numpy as np
import pandas as pd

from runpredict.answers.check import Answer
from runpredict.answers.cookies import outline_of
from runpredict.answers.questions import portions
from runpredict.model.chances import RUN_LEVELS
from runpredict.model.features import features_of
from runpredict.model.stacks import stacks_of

COLUMNS = ("firing", "piece", "pool_mm", "pool_most_mm", "floor_mm")


def pools_of(answer: Answer) -> pd.DataFrame:
    """How deep glaze stands in the well of each pot that has layers inside.

    Returns
    -------
    DataFrame, one row a pot of the answer, in no order
        firing, piece; pool_mm and pool_most_mm: the glaze on the floor and what comes down to it,
        over a floor as wide as the foot, not exceeded one time in two and 19 times in 20; floor_mm,
        that width. No row of a pot of whose inner wall no height is known, see `rows.inside_of`.

    Notes
    -----
    As `Chances.past_foot_m3`, with the floor in place of the foot; so more glaze, a taller
    wall (to 1 %, as heights are looked at in eighths) or more heat never lies thinner.
    """
    tables, rows = answer.tables, answer.tables.inside
    if len(rows):
        rows = rows.merge(answer.pieces[["firing", "piece"]])
        rows = rows.loc[rows["upper_edge_mm"] > rows["lower_edge_mm"]]
    if rows.empty:
        return pd.DataFrame(columns=COLUMNS)
    found = []
    for part in portions(stacks_of(features_of(rows, tables.glazes, tables.schedules))):
        chances, floor_m2 = answer.predictor.chances(part), 0.25 * np.pi * part.foot_m**2
        laid_m = np.where(part.lower_m <= 0.0, part.thickness_m, 0.0).sum(axis=1)
        girth = outline_of(part).girth
        pool_mm, most_mm = (
            1e3 * (laid_m + girth * chances.past_foot_m3(part, level) / floor_m2)
            for level in RUN_LEVELS[1:]
        )
        columns = (part.firing, part.piece, pool_mm, most_mm, 1e3 * part.foot_m)
        found.append(pd.DataFrame(dict(zip(COLUMNS, columns, strict=True))))
    return pd.concat(found, ignore_index=True)
