"""What became of each logged piece: the interval each edge ran, and whether it passed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from runpredict.arrays import AnyArray, Floats
from runpredict.model.stacks import Stacks

READING_MM = 0.5  # a ruler is read to this either way, or to a part of a long run
READING_SHARE = 0.03


@dataclass(frozen=True)
class Outcomes:
    """Results of a log, piece by piece, in the order of the stacks.

    Attributes
    ----------
    lower_m, upper_m : ndarray, shape (n, k)
        Interval of each edge's run, NaN where nothing is known of it. [m]
    past : ndarray, shape (n,)
        1 if any layer passed the foot, 0 if none did, NaN where that is not known.
    run_mm : ndarray, shape (n, k)
        Measured runs of layers that stopped in time. [mm]
    """

    lower_m: Floats
    upper_m: Floats
    past: Floats
    run_mm: Floats

    def take(self, pieces: AnyArray) -> Outcomes:
        """Those of some of the pieces."""
        return Outcomes(
            self.lower_m[pieces], self.upper_m[pieces], self.past[pieces], self.run_mm[pieces]
        )


def outcomes_of(log: pd.DataFrame, stacks: Stacks) -> Outcomes:
    """Read each row of a log for what it says.

    Parameters
    ----------
    log : DataFrame
        Layers with results, in the order of the rows the stacks were made of.
    stacks : Stacks of n pieces with up to k layers

    Notes
    -----
    Past the foot: the run is at least the distance, and at least what was measured. Not past and
    not measured: less than the distance. Measured: within a reading of it. Where a measured run
    contradicts the word, or is longer than the glazed wall, the word stands alone.
    """
    at = stacks.at
    reach, top = stacks.lower_m[at], stacks.upper_m.max(axis=1)[at[0]]
    run = log["run_mm"].to_numpy(dtype=float) * 1e-3
    run = np.where(run > top, np.nan, run)
    word = log["past_foot"].to_numpy(dtype=object)
    past = (word == "yes") | ((word != "no") & (run > reach))
    stopped = (word == "no") | ((word != "yes") & (run <= reach))
    reading = np.maximum(READING_MM * 1e-3, READING_SHARE * run)
    measured = stopped & (run <= reach + reading)
    lower = np.where(past, np.fmax(reach, run), np.where(measured, run - reading, -np.inf))
    upper = np.where(
        past, np.inf, np.where(measured, np.minimum(run + reading, reach + reading), reach)
    )
    unknown = ~past & ~stopped
    grids = [np.full(stacks.present.shape, np.nan) for _ in range(3)]
    for grid, values in zip(
        grids,
        (
            np.where(unknown, np.nan, lower),
            np.where(unknown, np.nan, upper),
            np.where(measured, 1e3 * run, np.nan),
        ),
        strict=True,
    ):
        grid[at] = values
    any_past = np.bincount(at[0], past, len(stacks.present)) > 0
    all_known = np.bincount(at[0], unknown, len(stacks.present)) == 0
    piece = np.where(any_past, 1.0, np.where(all_known, 0.0, np.nan))
    return Outcomes(grids[0], grids[1], piece, grids[2])
