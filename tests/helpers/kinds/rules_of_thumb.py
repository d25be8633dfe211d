"""Studios whose pots run by a potter's rules of thumb: words, overlaps, coats and cones; no film.

A run is a product of what potters say of glazes; less a few mm that nothing goes below. Words on
the labels are wrong of one glaze in seven, results of one row in fifty, some lengths slip their
unit.
"""

import numpy as np

from helpers.kinds.glazes import invented, unity_of, with_words
from helpers.kinds.people import shapes
from helpers.kinds.pots import MOST_LAYERS, Pots, dry_mm, heavy, read_by_needle
from helpers.kinds.studio import DRAWS, PLANNED, SIZES, Notes, kept_book

A_FIRING = 10
CONES = {"4": -0.9, "5": -0.45, "6": 0.0, "7": 0.35, "8": 0.6}
HOLDS = (0.0, 5.0, 10.0, 15.0, 30.0)


class Thumb:
    """What is so of this studio's glazes and pairs, by the rules, and how they are broken."""

    def __init__(self, rng, glazes):
        self.glazes = glazes
        u = unity_of(glazes.moles)
        count = len(glazes.names)
        # "More boron and soda, it runs; more clay, it stays; rutile lets it go."
        point = 4.0 * (u["B2O3"] - 0.2) + 2.0 * (u["alkali"] - 0.3) - 5.0 * (u["Al2O3"] - 0.36)
        point += 1.5 * u["TiO2"] - 0.4 * (u["SiO2"] - 3.2)
        self.point = 1.2 * np.tanh(point / 1.5) + heavy(rng, 0.5, count)
        self.wild = heavy(rng, 0.4, (count, count))  # first the lower one, then the upper
        self.kiln, self.hand = rng.normal(0.3, 0.3), rng.lognormal(0.0, 0.15)
        self.power = rng.uniform(1.0, 1.8)  # of the coat
        self.stays_mm = rng.uniform(0.5, 3.0)

    def fire(self, pots, rng):
        """Run [mm] and whether each layer passed; firings, hands and luck drawn anew."""
        n, shape = len(pots), pots.glaze.shape
        day = 0.2 * rng.standard_normal(int(pots.firing.max()) + 1)[pots.firing]
        luck = day + heavy(rng, 0.25, n) + self.kiln + 0.025 * pots.hidden.get("hot_c", 0.0)
        thick = dry_mm(rng, pots, self.hand, 0.2)
        each = heavy(rng, 0.3, shape)
        cone = np.array([CONES[str(c)] for c in pots.cone])
        hold = 0.5 * np.log((pots.hold_min + 10.0) / 20.0)
        steep = np.log(np.clip(pots.wall_deg / 90.0, 0.08, 1.2))
        common = (luck + cone + hold + 0.9 * steep)[:, None]
        code = np.maximum(pots.glaze, 0)
        point, coat = self.point[code], np.zeros(shape)
        for k in range(MOST_LAYERS):
            for j in range(MOST_LAYERS):
                share, extra = self._overlap(pots, code, k, j)
                if j != k:
                    point[:, k] += share * extra
                coat[:, k] += (1.0 if j == k else 0.7 * share) * thick[:, j]
        told = np.exp(
            0.45 + common + point + self.power * np.log(np.maximum(coat, 0.01) / 0.4) + each
        )
        run_mm = np.where(pots.there, np.maximum(told - self.stays_mm, 0.0), 0.0)
        return run_mm, pots.there & (run_mm >= pots.lower_mm)

    def _overlap(self, pots, code, k, j):
        """How far layer j lies with k's edge, 0 to 1, and what the rules add for that."""
        both = pots.there[:, k] & pots.there[:, j]
        above = pots.upper_mm[:, k] - np.maximum(pots.lower_mm[:, k], pots.lower_mm[:, j])
        share = np.where(both, 1.0 - np.exp(-np.maximum(above, 0.0) / 40.0), 0.0)
        low, high = code[:, min(j, k)], code[:, max(j, k)]
        # "Runny over stiff slides; stiff over runny crawls along; the overlap runs most."
        slide = 0.35 * np.tanh(self.point[high] - self.point[low])
        return share, 0.45 + slide + self.wild[low, high]


def pots_of_a_year(rng, count, glazes, thumb):
    """Pots of every sort, up to three layers, tried as they come to mind."""
    form, length, foot, wall = shapes(rng, count)
    shape = (count, MOST_LAYERS)
    layers = 1 + rng.choice(MOST_LAYERS, count, p=(0.4, 0.42, 0.18))
    there = np.arange(MOST_LAYERS) < layers[:, None]
    glaze = np.where(there, rng.integers(len(glazes.names), size=shape), -1)
    first = np.minimum(rng.gamma(3.0, 5.0, count) + 2.0, 0.5 * length)
    gap = rng.uniform(0, 0.35, shape) * length[:, None] * (rng.random(shape) > 0.2)
    gap[:, 0] = 0.0
    lower = np.minimum(first[:, None] + gap.cumsum(axis=1), 0.85 * length[:, None])
    firing = np.arange(count) // A_FIRING
    days = int(firing.max()) + 1
    method = rng.choice([0, 1, 2], count, p=(0.5, 0.25, 0.25))[:, None].repeat(MOST_LAYERS, axis=1)
    pots = Pots(
        form=form,
        firing=firing,
        body=rng.choice(["buff", "white"], count).astype(object),
        cone=rng.choice(["5", "6", "6", "7"], days).astype(object)[firing],
        hold_min=rng.choice(HOLDS, days)[firing],
        ramp_c_per_h=rng.choice([60.0, np.nan], days)[firing],
        wall_deg=wall.round(),
        foot_mm=foot.round(),
        glaze=glaze,
        method=method,
        coats=rng.integers(1, 3, shape) + (method == 2),
        measured_mm=np.full(shape, np.nan),
        lower_mm=np.where(there, lower.round(), 0.0),
        upper_mm=np.where(there, length[:, None], 0.0),
    )
    return read_by_needle(rng, pots, 0.25, thumb.hand, 0.2)


def rules_of_thumb(seed, *, draws=DRAWS):
    """A studio by rules of thumb; 10 to 35 % of pots pass."""
    rng = np.random.default_rng([162, seed])
    glazes = invented(rng, int(rng.integers(8, 15)), recipes=0.2, jars=0.5)
    thumb = Thumb(rng, glazes)
    thumb.glazes = with_words(rng, glazes, thumb.point, wrong=0.15, silent=0.3)
    fired = pots_of_a_year(rng, max(SIZES), glazes, thumb)
    results = thumb.fire(fired, rng)
    plan = pots_of_a_year(rng, PLANNED, glazes, thumb)
    notes = Notes(run_read=0.6, run_if_past=0.3, wrong_word=0.02, slipped=0.01, blank=0.02)
    return kept_book("rules", thumb, fired, results, plan, rng, notes, draws=draws)
