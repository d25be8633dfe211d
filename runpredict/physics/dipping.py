"""How thick a dip lays a glaze: what the clay drinks in that time, times the solids of the slip.

A dry porous wall draws the water in, as t^½ until it is full (Washburn; Hall & Hoff). The solids
stay behind as a cast that holds back no more water than a wall of such fine pores does, so that
the time law is that of the wall (Adcock & McDowall; Aksay & Schilling; Tiller & Tsai have both in
series, and t^½ for any ratio of the two). A film of slip clings besides, as it does to glass.

References
----------
Adcock, D. S. & McDowall, I. C. (1957), J. Am. Ceram. Soc. 40:355-362.
Aksay, I. A. & Schilling, C. H. (1984), Adv. Ceram. 9:85-93.
Hall, C. & Hoff, W. D., Water Transport in Brick, Stone and Concrete (2002), ch. 4.
Harman, C. G. & Schaefer, C. F. (1944), J. Am. Ceram. Soc. 27: glaze-slip control.
Tiller, F. M. & Tsai, C.-D. (1986), J. Am. Ceram. Soc. 69:882-887.
Washburn, E. W. (1921), Phys. Rev. 17:273-283.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from runpredict.arrays import Floats

ORDINARY = (1.45, 3.0, 12.0)
"""Gravity, seconds and thirst [%] of a dip that is not told (common practice, no source)."""
SOLIDS_GRAVITY = 2.6  # of dry glaze: feldspar, quartz and clay; handbooks of minerals, from memory
PACKED = 0.55  # solids of a dry coat by volume; of a slip as thick as that there is no dip
# What a wall drinks [mm/√s] for each percent of its thirst. Of bricks and bisque 0.8 to 2.5 mm in
# the first minute at 8 to 20 % (Hall & Hoff; tests of bricks), which are of such pores; the amount
# goes with the pores there are. Set so that the ordinary dip lays what an ordinary dip does.
SORPTIVITY_MM_PER_PCT = 0.0149
WALL_MM = 5.0  # of a thrown pot, all of which may fill (common practice, no source)
BODY_KG_M3 = 1900.0  # of bisque, from memory
MOST_MM = 5.0  # a thicker coat slides off before it is dry (common practice, no source)
CLINGS_MM = 0.15  # of slip that drains; good slips leave less than 0.3 on glass (Harman & Schaefer)


def solids_by_volume(specific_gravity: ArrayLike) -> Floats:
    """Part of a slip that is solid, by volume.

    Parameters
    ----------
    specific_gravity : array_like
        Of the slip, from 1 (water) on.

    Returns
    -------
    ndarray. Brongniart's formula has the same as dry weight: this times `SOLIDS_GRAVITY`, in kg a
    litre.

    Examples
    --------
    >>> round(SOLIDS_GRAVITY * float(solids_by_volume(1.45)), 3)  # kg dry in a litre
    0.731
    """
    excess = np.asarray(specific_gravity, dtype=float) - 1.0
    return np.asarray(excess / (SOLIDS_GRAVITY - 1.0), dtype=float)


def drunk_mm(dip_s: ArrayLike, absorption_pct: ArrayLike, wall_mm: float = WALL_MM) -> Floats:
    """Water that a wall draws in through its face, until it is full.

    Parameters
    ----------
    dip_s : array_like
        Time in water or slip. [s]
    absorption_pct : array_like
        What the dry body takes up in all, percent of its weight.
    wall_mm : float
        Thickness of the wall that may fill.

    Returns
    -------
    ndarray, broadcast shape. [mm], which is litres a square metre
    """
    thirst = np.asarray(absorption_pct, dtype=float)
    full = thirst / 100.0 * BODY_KG_M3 * 1e-3 * wall_mm
    drawn = SORPTIVITY_MM_PER_PCT * thirst * np.sqrt(np.asarray(dip_s, dtype=float))
    return np.minimum(drawn, full)


def dipped_mm(specific_gravity: ArrayLike, dip_s: ArrayLike, absorption_pct: ArrayLike) -> Floats:
    """Dry thickness that one dip lays on; never less with more gravity, seconds or thirst.

    Parameters
    ----------
    specific_gravity, dip_s, absorption_pct : array_like
        Of the slip, 1 to 1.8; seconds; percent. NaN is taken as in `ORDINARY`.

    Returns
    -------
    ndarray, broadcast shape. [mm]

    Notes
    -----
    A cast of thickness L holds ``PACKED`` L of solids, from ``PACKED`` L / φ of slip with φ
    solids; what is more than L went into the wall: L = drunk φ / (``PACKED`` - φ).
    """
    told = (specific_gravity, dip_s, absorption_pct)
    gravity, seconds, thirst = (
        np.where(np.isnan(given), usual, given)
        for given, usual in zip(map(np.asarray, told), ORDINARY, strict=True)
    )
    solid = solids_by_volume(gravity)
    cast = drunk_mm(seconds, thirst) * solid / (PACKED - solid)
    return np.minimum(cast + CLINGS_MM * solid / PACKED, MOST_MM)
