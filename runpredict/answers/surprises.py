"""Whether a log looks as if only what surprised had been written down."""

from __future__ import annotations

import numpy as np

from runpredict.model.features import features_of
from runpredict.model.outcomes import outcomes_of
from runpredict.model.predictors import RulesPredictor
from runpredict.model.stacks import stacks_of
from runpredict.tables.plan import PlanTables
from runpredict.tables.rows import split_results

# A log of fewer pots, or of which fewer passed, or hardly more than one would have expected, is
# asked nothing. Our choice.
LEAST_POTS, LEAST_SHARE, LEAST_TIMES = 20, 0.2, 2.0


def surprising_share(tables: PlanTables) -> tuple[int, int] | None:
    """How many of how many written pots ran past, where that is so many that one has to ask.

    Returns
    -------
    (int, int) or None
        Pots that ran past the foot, and all pots; None where so many may be expected.
    """
    _, log = split_results(tables.log)
    if log.empty:
        return None
    stacks = stacks_of(features_of(log, tables.glazes, tables.schedules))
    past = outcomes_of(log, stacks).past
    known = ~np.isnan(past)
    pots, ran = int(known.sum()), int(np.nansum(past))
    if pots < LEAST_POTS or ran < LEAST_SHARE * pots:
        return None
    told = float(RulesPredictor().chances(stacks).risk(stacks)[1][known].sum())
    return (ran, pots) if ran >= LEAST_TIMES * told else None
