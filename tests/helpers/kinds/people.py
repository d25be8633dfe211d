"""People who learn: the band they leave bare grows after a pass and shrinks when all stopped."""

import numpy as np

from helpers.kinds.pots import MOST_LAYERS, Pots, read_by_needle

# Wall's length, foot and angle of each form, and how often it is made.
FORMS = {
    "mug": (95.0, 62.0, 88.0, 0.5),
    "bowl": (75.0, 70.0, 66.0, 0.25),
    "vase": (180.0, 82.0, 90.0, 0.15),
    "plate": (70.0, 140.0, 27.0, 0.1),
}
LEAST_BAND_MM = 2.0


def shapes(rng, count, forms=FORMS):
    """Form, wall's length [mm], foot [mm] and angle of each of `count` pots."""
    names = list(forms)
    rows = np.array([forms[name] for name in names])
    which = rng.choice(len(names), count, p=rows[:, 3] / rows[:, 3].sum())
    length, foot, wall = rows[which, :3].T
    wall = wall + np.where(wall > 80, 2.5, 7.0) * rng.standard_normal(count)
    return (
        np.array(names, dtype=object)[which],
        length,
        foot + 3.0 * rng.standard_normal(count),
        wall,
    )


class People:
    """A studio's habits: favourites, bands by stack of glazes, days at the kiln.

    Parameters
    ----------
    level : (g,) how far each glaze runs, log; they put runny ones over stable ones mostly
    caution : float
        What a new stack's band is multiplied by.
    """

    def __init__(self, rng, level, *, caution=1.0, cones=("6",), holds=(10.0,), ramp=np.nan,
                 bodies=("white stoneware",), brushed=0.1, needle=0.1, hand=1.0, scatter=0.16,
                 layers=(0.42, 0.46, 0.12), shrink=0.95, well=0.4):  # fmt: skip
        self.level, self.caution, self.layers = level, caution, layers
        self.shrink, self.well = shrink, well
        self.cones, self.holds, self.ramp, self.bodies = cones, holds, ramp, bodies
        self.brushed, self.needle, self.hand, self.scatter = brushed, needle, hand, scatter
        self.liking = rng.gamma(1.2, 1.0, len(level)) + 0.05
        self.band = {}  # stack of glazes -> mm
        self.usual_run = {}  # stack of glazes -> mm, of its farthest layer
        self.favourites = []

    def _stack(self, rng):
        if self.favourites and rng.random() < 0.75:
            late = np.arange(len(self.favourites)) + 5.0
            return self.favourites[rng.choice(len(late), p=late / late.sum())]
        count = 1 + rng.choice(MOST_LAYERS, p=self.layers)
        count = min(count, len(self.level))
        liked = self.liking / self.liking.sum()
        stack = rng.choice(len(liked), count, replace=False, p=liked)
        if rng.random() < 0.7:
            stack = stack[np.argsort(self.level[stack])]
        return tuple(int(code) for code in stack)

    def _band_of(self, stack):
        if stack not in self.band:
            known = [mm for other, mm in self.band.items() if set(other) & set(stack)]
            guess = 6.0 + 3.0 * (len(stack) - 1) + 4.0 * (self.level[list(stack)].max() > 0.5)
            middle = np.median(known) if known else guess
            self.band[stack] = self.caution * float(np.maximum(guess, middle))
        return self.band[stack]

    def choose(self, rng, count, firing):
        """Pots of a firing."""
        form, length, foot, wall = shapes(rng, count)
        shape = (count, MOST_LAYERS)
        glaze = np.full(shape, -1)
        lower, upper = np.zeros(shape), np.zeros(shape)
        brush = rng.random(count) < self.brushed
        for i in range(count):
            stack = self._stack(rng)
            edge = self._band_of(stack) * rng.lognormal(0.0, 0.25) * (0.7 if wall[i] < 50 else 1.0)
            edge = np.clip(edge, LEAST_BAND_MM, 0.5 * length[i])
            for k, code in enumerate(stack):
                glaze[i, k], upper[i, k] = code, length[i]
                lower[i, k] = min(round(2 * edge) / 2, 0.8 * length[i])
                edge += rng.choice([0.0, 1.0, 3.0], p=[0.15, 0.25, 0.6]) * rng.uniform(
                    4, 0.12 * length[i] + 5
                )
        more = rng.random(shape)
        dipped = 1 + (more < 0.15)
        method = np.where(brush, 2, 0)[:, None].repeat(MOST_LAYERS, axis=1)
        pots = Pots(
            form=form,
            firing=np.full(count, firing),
            body=rng.choice(self.bodies, count).astype(object),
            cone=np.full(count, str(rng.choice(self.cones)), dtype=object),
            hold_min=np.full(count, float(rng.choice(self.holds))),
            ramp_c_per_h=np.full(count, self.ramp),
            wall_deg=wall.round(),
            foot_mm=foot.round(),
            glaze=glaze,
            method=method,
            coats=np.where(method == 2, 2 + (more < 0.5) + (more < 0.1), dipped),
            measured_mm=np.full(shape, np.nan),
            lower_mm=lower,
            upper_mm=upper,
        )
        return read_by_needle(rng, pots, self.needle, self.hand, self.scatter)

    def surprise(self, pots, run_mm, past):
        """(n,) whether a pot passed, nearly did, or ran on well beyond what its stack does."""
        nearly = (run_mm > 0.75 * pots.lower_mm).any(axis=1)
        farthest = run_mm.max(axis=1)
        usual = np.array([self.usual_run.get(stack, np.inf) for stack in stacks(pots)])
        return past.any(axis=1) | nearly | ((farthest > 1.8 * usual + 2.0) & (farthest > 4.0))

    def learn(self, pots, run_mm, past):
        """After a firing: wider bands where pots passed, narrower where all stopped well above."""
        keys = stacks(pots)
        share = (run_mm / np.maximum(pots.lower_mm, 1.0)).max(axis=1)
        for stack in dict.fromkeys(keys):
            mine = [i for i, key in enumerate(keys) if key == stack]
            if past[mine].any():
                self.band[stack] = 1.5 * self.band[stack] + 4.0
                if stack in self.favourites and self.band[stack] > 30:
                    self.favourites = [key for key in self.favourites if key != stack]
            elif share[mine].max() < self.well:
                self.band[stack] = max(self.shrink * self.band[stack], LEAST_BAND_MM)
                self.favourites = [*self.favourites[-40:], stack]
            farthest = float(run_mm[mine].max(axis=1).mean())
            self.usual_run[stack] = 0.7 * self.usual_run.get(stack, farthest) + 0.3 * farthest


def stacks(pots):
    """Glazes of each pot, from the clay up."""
    return [tuple(int(code) for code in row if code >= 0) for row in pots.glaze]
