"""What is expected of glazes, pots and kilns before any log says better: the only such table.

Physics gives one run; the truth scatters about it, because a glaze moves more or less than its
chemistry says, two glazes together more than either, kilns, hands, bodies, firings and shelves
differ, coats are uneven, and drips run ahead.

A film alone would have most everyday pots run off. They do not, because nobody keeps a glaze that
does: a glaze in use at its own cone is more often well-behaved than a random composition, and a
potter brings down to the foot only what she has seen to stay (common practice, no source). So a
whole studio is expected to be stiffer than its chemistry (``kiln``), a single glaze stiffer still
(``alone``), what chemistry says is drawn toward an ordinary glaze (`ORDINARY_LOG10_PA_S`,
`CHEMISTRY`), and glaze that begins high up is held to be readier to run (``height``). A log moves
every one of these as far as it can say.

Steps and spreads are of the natural log of mobility, where not said otherwise; common practice,
no source, set so that everyday pots come out as potters know them and simulated studios of
several kinds are told as often as they pass.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from runpredict.arrays import Floats
from runpredict.model.stacks import Stacks


class Family(NamedTuple):
    """What is expected of one kind of effect; ``learned`` where a log may correct its spread."""

    mean: float
    sd: float
    learned: bool
    why: str


FAMILIES = {
    "kiln": Family(-0.4, 0.7, False, "all of a studio: its kiln, and how careful it is"),
    "alone": Family(-0.7, 0.25, False, "glaze that moves with no other in it"),
    "together": Family(-0.1, 0.4, False, "glazes that move as one"),
    "single": Family(0.0, 0.2, True, "one glaze that moves alone"),
    "pair": Family(0.0, 0.35, True, "two glazes that move as one"),
    "combination": Family(0.0, 0.35, True, "all of a pot that has two glazes over each other"),
    "covers": Family(0.0, 0.3, True, "all of a pot on which one glaze lies over another"),
    "covered": Family(0.0, 0.3, True, "all of a pot on which one glaze lies under another"),
    "body": Family(0.0, 0.2, True, "what a clay body takes from glaze"),
    "firing": Family(0.0, 0.25, True, "one firing against another that was planned alike"),
    "ramp": Family(0.0, 0.3, False, "a heating rate e times as fast"),
    "hand": Family(0.0, 0.25, False, "this potter's coats: log of their thickness"),
    "written": Family(0.45, 0.1, False, "pots of a log in which only surprises are written down"),
    "which kiln": Family(0.0, 0.25, True, "one kiln of the studio against its others"),
    "shelf": Family(0.0, 0.2, True, "one shelf of a kiln against its others"),
    "spot": Family(0.0, 0.15, True, "one place on the shelves, by the door or the element"),
    "batch": Family(0.0, 0.3, True, "one batch of a glaze against what the glaze has taught"),
    "glazed by": Family(0.0, 0.12, True, "one potter's coats against the others': as hand"),
    "coat": Family(0.0, 0.15, True, "one glaze's dips against what slip and seconds say: as hand"),
    "heat": Family(
        0.0, 0.3, True, "what a kiln or a shelf does beyond what is planned: a half cone"
    ),
    "method": Family(0.0, 0.12, True, "dip, pour, brush, spray against the hand: as above"),
    "mixing": Family(0.4, 1.0, False, "log odds of melts that become one"),
    "height": Family(-1.1, 0.6, False, "log odds of the power of height"),
    "over": Family(1.5, 1.3, False, "log odds that a step goes with its base"),
    "held": Family(0.0, 0.6, False, "log of the way below which a film stays, over the usual"),
    "way": Family(-2.5, 1.0, False, "log of the power of the way besides the film's own"),
    "wall": Family(0.0, 0.15, False, "power of the slope besides the film's own"),
    "thickness": Family(0.0, 0.15, False, "power of the thickness besides the film's own"),
}
GLAZE_SD = 0.75  # a glaze of known chemistry, besides the error of its viscosity
CHEMISTRY, ORDINARY_LOG10_PA_S = 0.8, 3.1
# A word on a jar is right about three times in four; shift and spread allow for that. Beside
# chemistry, which says most of it already, it counts for less.
WORD_SHIFT = {"stiff": -1.4, "stable": -0.95, "": 0.0, "fluid": 0.7, "runny": 1.75}
WORD_BESIDE_CHEMISTRY = 0.2
JAR_SD = {"stiff": 1.1, "stable": 1.1, "": 1.25, "fluid": 1.1, "runny": 1.1}
COAT_SD = 0.28  # natural log of thickness: one coat against another
COAT_SHARE = 0.75  # of that in what moves, where some of it was measured or another coat evens it
NOISE_SD = 0.4  # unevenness of an edge, its place in the kiln, and drips ahead of it
HELD_M = 1e-3  # a film that would creep less than this stays, held by its contact line
WAVE_M = 1.5e-3  # how far an edge strays from where it was measured, by brush, wax or wet hand
PAIRED_VARIANCE = 0.15  # more of that where glazes lie over each other


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
    return np.asarray(np.where(stacks.chemistry_known, (1.0 - CHEMISTRY) * toward, 0.0))


def coat_variance(stacks: Stacks) -> Floats:
    """Variance of each margin of a piece by coats nobody measured, shape (n,)."""
    guessed = (stacks.present & ~stacks.measured).any(axis=1)
    return np.asarray(4.0 * COAT_SD**2 * COAT_SHARE * guessed, dtype=float)


def wave_variance(reach_m: Floats) -> Floats:
    """Variance of the margin over a way by an edge that strays, of the shape given."""
    stray_m = WAVE_M * reach_m / (reach_m + WAVE_M)
    return np.asarray((stray_m / (reach_m + HELD_M)) ** 2, dtype=float)


def paired_variance(stacks: Stacks) -> Floats:
    """Variance of each margin besides the noise where a piece has several glazes, shape (n,)."""
    return np.asarray(PAIRED_VARIANCE * stacks.several_glazes, dtype=float)
