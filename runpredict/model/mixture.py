"""What is left of a margin when all that lasts is known: mostly little, now and then a lot."""

from __future__ import annotations

import numpy as np

from runpredict.arrays import Floats

# Shares and scales of the normals whose mixture it is: an uneven coat, a bad place in the kiln, a
# drip or a slip of the pen. Our choice; a log corrects the shares.
MIX_SHARES = np.array([0.85, 0.14, 0.01])
MIX_SCALES = np.array([0.8, 1.5, 5.0])
MIX_SHARES.setflags(write=False)
MIX_SCALES.setflags(write=False)
HALVINGS = 32
WIDEST = 60.0  # standard deviations; no chance lies beyond


def normal_below(z: Floats) -> Floats:
    """Chance that a standard normal number lies below z.

    Parameters
    ----------
    z : ndarray

    Returns
    -------
    ndarray, of its shape, within 2e-7

    References
    ----------
    Hart's rational function as W. H. Press et al., Numerical Recipes (1992), ch. 6.2, `erfcc`:
    relative error below 1.2e-7 everywhere.
    """
    x = np.abs(z) / np.sqrt(2.0)
    t = 1.0 / (1.0 + 0.5 * x)
    terms = (
        -1.26551223, 1.00002368, 0.37409196, 0.09678418, -0.18628806, 0.27886807, -1.13520398,
        1.48851587, -0.82215223, 0.17087277,
    )  # fmt: skip
    power = np.zeros_like(t)
    for term in reversed(terms):
        power *= t
        power += term
    tail = 0.5 * t * np.exp(np.maximum(-x * x + power, -700.0))
    return np.asarray(np.where(z > 0, 1.0 - tail, tail), dtype=float)


def chance_above(mean: Floats, variance: Floats, noise: Floats, mix: Floats) -> Floats:
    """Chance that a margin is above 0.

    Parameters
    ----------
    mean : ndarray
    variance : ndarray
        Of what is not known of the mean; normal.
    noise : ndarray
        Variance of the noise about it; a mixture.
    mix : ndarray, shape (3,)
        Shares of the mixture.

    Returns
    -------
    ndarray, broadcast shape
    """
    widest = np.broadcast_shapes(np.shape(mean), np.shape(variance), np.shape(noise))
    square = np.square(MIX_SCALES).reshape(-1, *(1 for _ in widest))
    below = normal_below(mean / np.sqrt(variance + square * noise))
    return np.asarray(np.tensordot(mix, below, 1), dtype=float)


def quantile(level: float, variance: Floats, noise: Floats, mix: Floats) -> Floats:
    """What a margin with mean 0 lies below with a given chance.

    Parameters
    ----------
    level : float, between 0 and 1

    Returns
    -------
    ndarray, broadcast shape
    """
    spread = np.sqrt(np.asarray(variance) + MIX_SCALES[-1] ** 2 * np.asarray(noise))
    low, high = -WIDEST * spread, WIDEST * spread
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        below = 1.0 - chance_above(-middle, variance, noise, mix) < level
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return 0.5 * (low + high)
