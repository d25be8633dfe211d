"""What all questions share: the risk tolerated, and portions of pieces that fit in memory."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from runpredict.answers.decisions import Ask
from runpredict.errors import BadInput, Fault, refuse_other
from runpredict.model.predictors import Predictor
from runpredict.model.stacks import Stacks

DEFAULT_TOLERANCE = 0.05
WORTH_TELLING_MM = 5.0  # a layer that could end this much lower is a loss worth a sentence
PIECES_AT_A_TIME = 2000  # keeps the arrays of one step within some tens of megabytes


def checked_tolerance(tolerance: float) -> float:
    """The tolerance, if it is one.

    Parameters
    ----------
    tolerance : float
        Highest acceptable chance that any layer of a piece passes its foot.

    Raises
    ------
    BadInput : not between 0 and 1.
    """
    refuse_other(tolerance, (int, float, np.integer, np.floating), "tolerance", "a number")
    if not 0.0 < tolerance < 1.0:
        given = f"{tolerance:g}" if abs(tolerance) < 1e9 else "so much"
        message = f"{given} is no chance; give 0.05 for 5 %."
        raise BadInput([Fault("tolerance", None, None, message)])
    return tolerance


def portions(stacks: Stacks) -> Iterator[Stacks]:
    """The pieces in their order, so many at a time."""
    for start in range(0, len(stacks.hold_min), PIECES_AT_A_TIME):
        yield stacks.take(slice(start, start + PIECES_AT_A_TIME))


def asks(stacks: Stacks, predictor: Predictor, tolerance: float) -> Iterator[Ask]:
    """The question what is safe, a portion of the pieces at a time."""
    for part in portions(stacks):
        yield Ask(part, predictor.chances(part), tolerance)
