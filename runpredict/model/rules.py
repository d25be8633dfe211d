"""What is expected of glazes, pots and kilns before any log says better.

Physics gives one run; the truth scatters about it, because a glaze moves more or less than its
chemistry says, two glazes together more than either, kilns, hands, bodies, firings and shelves
differ, coats are uneven, and drips run ahead.

A film alone would have most everyday pots run off. They do not, because nobody keeps a glaze that
does: a glaze in use at its own cone is more often well-behaved than a random composition, and a
potter brings down to the foot only what she has seen to stay (common practice, no source). So the
rules hold every melt to be stiffer than its chemistry (`IN_USE`), draw what chemistry says toward
an ordinary glaze (`ORDINARY_LOG10_PA_S`, `CHEMISTRY`), and hold a single glaze stiffer still
(`ALONE`); glaze that begins high up was trusted less, and is held to be readier to run (`CAUTION`).
A log moves every one of these as far as it can say.

All spreads are standard deviations of the natural log of mobility, where not said otherwise;
common practice, no source, set so that everyday pots come out as potters know them and simulated
studios of several kinds are told as often as they pass.
"""

from __future__ import annotations

import numpy as np

from runpredict.arrays import Floats
from runpredict.model.chances import Chances, Shape
from runpredict.model.noise import MIX_SHARES
from runpredict.model.stacks import Stacks

IN_USE, ALONE = -0.42, -0.6
CAUTION = 0.15  # power of the height at which glaze begins
CHEMISTRY, ORDINARY_LOG10_PA_S = 0.75, 3.1
OVER = -0.45  # an edge on glaze against one on clay

GLAZE_SD = 0.75  # a glaze of known chemistry, besides the error of its viscosity
# A word on a jar is right about three times in four; shift and spread allow for that. Beside
# chemistry, which says most of it already, it counts for less.
WORD_SHIFT = {"stiff": -1.2, "stable": -0.8, "": 0.0, "fluid": 0.6, "runny": 1.5}
WORD_BESIDE_CHEMISTRY = 0.2
JAR_SD = {"stiff": 1.1, "stable": 1.1, "": 1.25, "fluid": 1.1, "runny": 1.1}
PAIR_SD = 0.75  # two glazes over each other
KILN_SD, BODY_SD, FIRING_SD = 0.4, 0.2, 0.25
HAND_SD = 0.25  # natural log of thickness: this potter's coats against typical ones
COAT_SD = 0.28  # natural log of thickness: one coat against another
NOISE_SD = 0.4  # unevenness of an edge, its place in the kiln, and drips ahead of it
PAIRED_VARIANCE = 0.15  # more of that where glazes lie over each other
UNSEEN_SHAPE_VARIANCE = 0.1  # of what the film's form may leave out


def glaze_prior(stacks: Stacks) -> tuple[Floats, Floats]:
    """What is expected of each layer's glaze before any of it was fired.

    Parameters
    ----------
    stacks : Stacks of n pieces with up to k layers

    Returns
    -------
    mean, sd : ndarray, shape (n, k)
        Of the natural log of the factor on its mobility.
    """
    known = stacks.chemistry_known
    mean = np.zeros(known.shape)
    sd = np.hypot(GLAZE_SD, CHEMISTRY * np.log(10.0) * stacks.melt_sd_log10)
    for word, shift in WORD_SHIFT.items():
        mine = stacks.behaviour == word
        mean = np.where(mine, shift * np.where(known, WORD_BESIDE_CHEMISTRY, 1.0), mean)
        sd = np.where(mine & ~known, JAR_SD[word], sd)
    return mean, sd


def ordinary_log(stacks: Stacks) -> Floats:
    """Step of each melt toward an ordinary glaze in use, natural log of mobility, shape (n, k)."""
    toward = (stacks.viscosity_log10_pa_s - ORDINARY_LOG10_PA_S) * np.log(10.0)
    drawn = np.where(stacks.chemistry_known, (1.0 - CHEMISTRY) * toward, 0.0)
    return np.asarray(IN_USE + drawn, dtype=float)


def alone_log(stacks: Stacks) -> Floats:
    """Step of the margin of each edge that no other glaze meets, or that lies on glaze, (n, k)."""
    on_glaze = np.where(stacks.under >= 0, OVER, 0.0)
    return np.asarray(np.where(stacks.partner < 0, ALONE, on_glaze), dtype=float)


def coat_variance(stacks: Stacks, coat_sd: float = COAT_SD) -> Floats:
    """Variance of each margin by coats nobody measured, shape (n, k)."""
    uneven = (stacks.shares**2 * ~stacks.measured[:, None, :]).sum(axis=2)
    return np.asarray(4.0 * coat_sd**2 * uneven, dtype=float)


def paired(stacks: Stacks) -> Floats:
    """1 for each edge of a layer that another glaze meets, else 0, shape (n, k)."""
    return np.where(stacks.partner >= 0, 1.0, 0.0)


class RulesPredictor:
    """Physics and rules of thumb, with no log."""

    basis = "rules"
    share = 0.0
    studio = None

    def seen(self) -> None:
        """No log, no layers."""

    def chances(self, stacks: Stacks) -> Chances:
        """What is expected of these pieces.

        Parameters
        ----------
        stacks : Stacks of n pieces with up to k layers

        Returns
        -------
        Chances
        """
        mean, sd = glaze_prior(stacks)
        melt_log = mean + ordinary_log(stacks)
        of_glazes = (stacks.shares**2 * sd[:, None, :] ** 2).sum(axis=2)
        coated = stacks.present & ~stacks.measured
        hand = 4.0 * HAND_SD**2 * coated.any(axis=1, keepdims=True)
        lasting = KILN_SD**2 + BODY_SD**2 + FIRING_SD**2 + UNSEEN_SHAPE_VARIANCE
        mixed = paired(stacks)
        return Chances(
            melt_log=melt_log,
            edge_log=alone_log(stacks),
            variance=of_glazes + lasting + hand + PAIR_SD**2 * mixed,
            noise=NOISE_SD**2 + coat_variance(stacks) + PAIRED_VARIANCE * mixed,
            mix=MIX_SHARES,
            shape=Shape(caution=CAUTION),
        )
