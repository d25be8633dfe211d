"""A kiln where each layer's front goes down in time, carried by what lies on it.

Not the package's film: steps in time with VFT melts, crystals that stiffen below a glaze's
liquidus, a coat too thin to move at all, fronts that thin as they go, drips that run ahead. More
glaze, time or heat never moves a front less.
"""

import numpy as np

from helpers.kinds.glazes import unity_of
from helpers.kinds.pots import dry_mm, heat_steps, heavy

REFERENCE_C, VFT_C = 1220.0, 430.0
FIRED_SHARE = 0.5
WEIGHT_N_M3 = 2430 * 9.81
LEVEL_SLOPE = 0.05  # no shelf is true
COVER_M = 0.003  # an edge is this soft
PACKED = 0.62  # of crystals that cannot move


class Fronts:
    """What lasts of the studio, drawn once, and a kiln that fires its pots.

    Parameters
    ----------
    glazes : Glazes
    mixing : float
        How far layers that lie on each other become one melt.
    crystals, yielding, drips : float
        How strong each of these is.
    """

    def __init__(self, rng, glazes, *, mixing=0.6, crystals=1.0, yielding=1.0, drips=0.18):
        self.glazes, self.drips = glazes, drips
        u = unity_of(glazes.moles)
        count = len(glazes.names)
        log10 = 2.62 + 0.42 * (u["SiO2"] - 3.2) + 2.1 * (u["Al2O3"] - 0.36)
        log10 -= 1.9 * (u["B2O3"] - 0.2) + 0.7 * (u["alkali"] - 0.3) + 0.5 * u["TiO2"]
        log10 -= 0.6 * (u["ZnO"] - 0.08)
        log10 -= 0.6 * (np.median(log10) - 2.6)
        self.level = log10.clip(1.6, 4.2) + heavy(rng, 0.2, count)
        self.steep = 3900.0 * rng.lognormal(0.0, 0.1, count)
        matte = (u["MgO"] + u["TiO2"] + 0.6 * u["ZnO"]) * rng.lognormal(0.0, 0.5, count)
        self.crystal = np.clip(0.5 * crystals * matte, 0.0, 0.45)
        self.liquidus_c = rng.normal(1190.0, 25.0, count)
        self.still_m = 1e-4 * yielding * (0.4 + 2.0 * self.crystal)
        self.mix = mixing * rng.beta(2, 2, (count, count))
        self.mix = 0.5 * (self.mix + self.mix.T)
        bend = heavy(rng, 0.35, (count, count))
        self.bend = np.triu(bend, 1) + np.triu(bend, 1).T
        self.kiln_c, self.hand = rng.normal(0.0, 8.0), rng.lognormal(0.0, 0.12)

    def runs(self):
        """(g,) how far each runs alone on an ordinary pot, log, less the middle one's."""
        told = -2.3 * (self.level + 2.5 * np.log10(1 / (1 - self.crystal / PACKED)))
        return told - np.median(told)

    def fire(self, pots, rng):
        """Run [mm] and whether each layer passed; firings, shelves, coats and drips drawn anew."""
        n, shape = len(pots), pots.glaze.shape
        off = 5.0 * rng.standard_normal(int(pots.firing.max()) + 1)[pots.firing]
        off = self.kiln_c + off + 4.0 * rng.standard_normal(n)
        thick = 1e-3 * FIRED_SHARE * dry_mm(rng, pots, self.hand, 0.17)
        wet = np.exp(heavy(rng, 0.18, n) + 0.12 * rng.standard_normal(shape).T).T
        ahead = np.exp(self.drips * np.abs(heavy(rng, 1.0, shape, freedom=4)))
        celsius, seconds = heat_steps(pots, off)
        slope = np.hypot(np.sin(np.radians(pots.wall_deg)), LEVEL_SLOPE)[:, None]
        force = WEIGHT_N_M3 * slope * wet
        run_m = self._go_down(pots, thick, celsius, seconds, force)
        run_mm = np.where(pots.there, 1e3 * run_m * ahead, 0.0)
        return run_mm, pots.there & (run_mm >= pots.lower_mm)

    def _go_down(self, pots, thick, celsius, seconds, force):
        code = np.maximum(pots.glaze, 0)
        lower, upper = 1e-3 * pots.lower_mm, 1e-3 * pots.upper_mm
        start = np.maximum(upper - lower, 1e-4)
        long = start.copy()
        both = pots.there[:, :, None] & pots.there[:, None, :] & ~np.eye(3, dtype=bool)
        pair = (code[:, :, None], code[:, None, :])
        # Of front k: how far layer j lay on or under it from the start.
        lay = (
            both
            * _soft(lower[:, :, None] - lower[:, None, :])
            * _soft(upper[:, None, :] - lower[:, :, None])
        )
        share = self.mix[pair] * lay
        bend = (self.bend[pair] * lay).sum(axis=2)
        below = _soft(upper[:, None, :] - lower[:, :, None]) * both
        for c, s in zip(celsius.T, seconds.T, strict=True):
            own = -np.log(10.0) * self._log10(code, c[:, None])
            mixed = (own + (share * own[:, None, :]).sum(axis=2)) / (1.0 + share.sum(axis=2))
            edge = (upper - long)[:, None, :]
            carried = (below * _soft(lower[:, :, None] - edge) * thick[:, None, :]).sum(axis=2)
            film = thick * start / long + carried
            film *= np.maximum(1.0 - self.still_m[code] / np.maximum(film, 1e-9), 0.0) ** 0.75
            step = force * np.exp(mixed + bend) * film**2 / 3.0 * s[:, None]
            long = long + step / (1.0 + 2.0 * step / long)
        return long - start

    def _log10(self, code, celsius):
        flow = self.level[code] + self.steep[code] * (
            1 / (celsius - VFT_C) - 1 / (REFERENCE_C - VFT_C)
        )
        solid = self.crystal[code] / (1 + np.exp((celsius - self.liquidus_c[code]) / 12.0))
        return flow - 2.5 * np.log10(1.0 - solid / PACKED)


def _soft(metres):
    return 1.0 / (1.0 + np.exp(-np.clip(metres / COVER_M, -40, 40)))
