"""What a log measures besides its runs: coats by a needle, heat by the cones that went down.

Each reading is a row of evidence like an edge: of what thickens a coat beside what its slip and
seconds say, or of what a kiln and its shelves do beside what is planned. So one fit weighs needles,
cones and runs together, and hands, glazes and kilns are drawn to each other as their families are.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy.sparse import csr_array, vstack

from runpredict.arrays import Floats
from runpredict.model import effects, priors
from runpredict.model.effects import Effect
from runpredict.model.fit import Evidence
from runpredict.model.stacks import Stacks

READ_LOG = 0.2  # of mobility: a needle is read to a tenth, a cone to a third of its way


@dataclass(frozen=True)
class Readings:
    """The readings of a log.

    Attributes
    ----------
    design : sparse array, shape (m, p)
    read : ndarray, shape (m,)
        Natural log of a factor on mobility: a coat's twice, as a film runs with its square.
    parts : ndarray, shape (m, 3)
        As in `fit.Evidence`: of a coat, what one differs from another.
    """

    design: Any
    read: Floats
    parts: Floats

    @classmethod
    def of(cls, stacks: Stacks, known: dict[Effect, int]) -> Readings:
        """All of them; the cones of one shelf in one firing are one reading, as they share it."""
        needles, cones = ~np.isnan(stacks.needle_log).ravel(), np.isfinite(stacks.heat_log)
        where = [stacks.firing, stacks.names["kiln"], stacks.names["shelf"]]
        codes = np.stack([pd.factorize(names[cones])[0] for names in where])
        _, first, group = np.unique(codes, axis=1, return_index=True, return_inverse=True)
        heat_log = np.bincount(group.ravel(), stacks.heat_log[cones]) / np.bincount(group.ravel())
        design = [
            effects.needle_design(stacks, known).sparse()[needles],
            effects.heat_design(stacks, known).sparse()[np.flatnonzero(cones)[first]],
        ]
        parts = np.zeros((needles.sum() + len(first), 3))
        parts[: needles.sum(), 0] = 4.0 * priors.COAT_SD**2
        read = np.append(2.0 * stacks.needle_log.ravel()[needles], heat_log)
        return cls(vstack(design, format="csr"), read, parts)

    def ends(self, near: Floats, far: Floats, mean: Floats) -> tuple[Floats, Floats]:
        """Intervals of what is left of margins, and of the readings with some effects behind."""
        left = self.read - self.design @ mean
        return np.append(near, left - READ_LOG), np.append(far, left + READ_LOG)

    def beside(self, edges: Evidence) -> Evidence:
        """The evidence of edges and that of the readings behind."""
        if not len(self.read):
            return edges
        return Evidence(
            design=vstack([edges.design, self.design], format="csr"),
            lower=np.append(edges.lower, self.read - READ_LOG),
            upper=np.append(edges.upper, self.read + READ_LOG),
            parts=np.concatenate([edges.parts, self.parts]),
            stretch=vstack([edges.stretch, csr_array(self.design.shape)], format="csr"),
            about=edges.about,
        )
