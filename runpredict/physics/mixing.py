"""How far two melts that lie on each other mix by diffusion."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from runpredict.arrays import Floats


def mixed_depth_m(interdiffusivity_m2_s: ArrayLike, time_s: ArrayLike) -> Floats:
    """How deep two melts have mixed on either side of where they met, sqrt(4 D t).

    Parameters
    ----------
    interdiffusivity_m2_s, time_s : array_like, >= 0. [m²/s], [s]

    Returns
    -------
    ndarray, broadcast shape
        At this depth a share erfc(1) / 2 = 8 % of the other melt is found. [m]

    References
    ----------
    Crank, The Mathematics of Diffusion (1975), ch. 2 (extended initial distributions).
    """
    return np.sqrt(4.0 * np.asarray(interdiffusivity_m2_s) * np.asarray(time_s, dtype=float))


def mixed_share(thickness_m: ArrayLike, depth_m: ArrayLike) -> Floats:
    """How far two films, one as thick as the other, have become one.

    Parameters
    ----------
    thickness_m : array_like
        Of each film, > 0. [m]
    depth_m : array_like
        See `mixed_depth_m`, >= 0. [m]

    Returns
    -------
    ndarray, broadcast shape
        Glaze that has crossed over, as a share of what will have in the end: 0 for films well
        apart, 1 for one melt.

    References
    ----------
    Crank (1975), ch. 2 and 4: series for a sheet whose faces let nothing through, and its limit
    at short times.
    """
    ratio = np.asarray(depth_m, dtype=float) / np.asarray(thickness_m, dtype=float)
    odd = np.arange(1, 18, 2)
    decay = np.exp(-((odd * np.pi * np.asarray(ratio)[..., None] / 4.0) ** 2)) / odd**2
    late = 1.0 - 8.0 / np.pi**2 * decay.sum(axis=-1)
    return np.asarray(np.where(ratio < 0.5, ratio / np.sqrt(np.pi), late), dtype=float)
