"""A tester of threes: tiles of all combinations, up to three layers, at several cones.

Layers never mix: each shears on the one below, and where two glazes meet a thin skin, more fluid
than either, grows with the root of time and lets the upper one slide. Melts follow Arrhenius with
a stiffness by how basic they are; beyond their cone they boil and swell.
"""

import itertools

import numpy as np

from helpers.kinds.glazes import invented, unity_of, with_words
from helpers.kinds.pots import MOST_LAYERS, Pots, dry_mm, heat_steps, heavy, read_by_needle
from helpers.kinds.studio import DRAWS, PLANNED, SIZES, Notes, kept_book

A_FIRING = 24
GAS_J_PER_MOL_K = 8.314
FORCE_N_M3 = 2500 * 9.81
TILE_MM = 110.0
WALLS = (75.0, 85.0, 90.0)


class Skins:
    """What lasts: melts, the skins between them, the kiln."""

    def __init__(self, rng, glazes):
        self.glazes = glazes
        u = unity_of(glazes.moles)
        count = len(glazes.names)
        bridges = (u["SiO2"] + 2.2 * u["Al2O3"] + 0.2 * u["B2O3"]) / (1.0 + 1.6 * u["B2O3"])
        self.log10 = 2.9 + 0.62 * (bridges - np.median(bridges)).clip(-2, 2.5)
        self.log10 = self.log10 + heavy(rng, 0.2, count)
        self.energy_j = rng.normal(330e3, 30e3, count)
        self.boils_c = rng.normal(1262.0, 18.0, count)
        skin = np.exp(heavy(rng, 0.9, (count, count)))
        self.skin = np.sqrt(skin * skin.T)  # thickness and fluidity of the skin of a pair
        self.kiln_c, self.hand = rng.normal(0.0, 7.0), rng.lognormal(0.0, 0.08)

    def runs(self):
        """(g,) how far each runs alone, log."""
        return -2.3 * (self.log10 - np.median(self.log10))

    def fire(self, pots, rng):
        """Run [mm] and whether each layer passed; firings, places, coats and drips drawn anew."""
        n, shape = len(pots), pots.glaze.shape
        off = 3.0 * rng.standard_normal(int(pots.firing.max()) + 1)[pots.firing]
        off = self.kiln_c + off + 3.0 * rng.standard_normal(n)
        thick = 0.52e-3 * dry_mm(rng, pots, self.hand, 0.1)
        luck = np.exp(0.12 * rng.standard_normal(n)[:, None] + heavy(rng, 0.15, shape))
        drip_mm = rng.gumbel(0.3, 0.5, shape)
        celsius, seconds = heat_steps(pots, off)
        code = np.maximum(pots.glaze, 0)
        thick = thick * self._swollen(code, celsius.max(axis=1)[:, None])
        lay = self._lay(pots)
        force = FORCE_N_M3 * np.sin(np.radians(pots.wall_deg))[:, None] * luck
        long = np.maximum(1e-3 * (pots.upper_mm - pots.lower_mm), 1e-3)
        start, age = long.copy(), np.zeros(n)
        for c, s in zip(celsius.T, seconds.T, strict=True):
            fluid = 10.0 ** -self._log10(code, c[:, None])
            age = age + s * np.exp((c - 1220.0) / 40.0)
            step = force * self._speed(code, thick, start / long, fluid, lay, age) * s[:, None]
            long = long + step / (1.0 + 2.0 * step / long)
        run_mm = 1e3 * (long - start)
        run_mm = run_mm + np.maximum(drip_mm, 0.0) * np.minimum(run_mm / 5.0, 1.5)
        run_mm = np.where(pots.there, run_mm, 0.0)
        return run_mm, pots.there & (run_mm >= pots.lower_mm)

    def _speed(self, code, thick, thinned, fluid, lay, age):
        """Mean speed of each layer at its edge, by a force of one a volume."""
        own = thick * thinned
        above = np.zeros_like(thick)
        slip = np.zeros_like(thick)
        for k in range(MOST_LAYERS):
            for j in range(k + 1, MOST_LAYERS):
                above[:, k] += lay[:, k, j] * thick[:, j]
        speed = fluid * (own**2 / 3.0 + 0.5 * own * above)
        for k in range(MOST_LAYERS):
            load = own[:, k] + above[:, k]
            for j in range(k):
                sheared = fluid[:, j] * (0.5 * thick[:, j] ** 2 + thick[:, j] * load)
                skin = self.skin[code[:, j], code[:, k]]
                depth = 2.5e-6 * skin * np.sqrt(age / 60.0)
                melted = 2.0 * np.maximum(fluid[:, j], fluid[:, k])
                slip[:, k] += lay[:, k, j] * (sheared + melted * depth * load)
        return speed + slip

    def _lay(self, pots):
        """(n, k, j) how far layer j lay under or over the edge of k."""
        gap = pots.lower_mm[:, :, None] - pots.lower_mm[:, None, :]
        both = pots.there[:, :, None] & pots.there[:, None, :]
        return both * np.clip(0.5 + gap / 8.0, 0.0, 1.0)

    def _swollen(self, code, peak_c):
        return 1.0 + 0.5 / (1.0 + np.exp(-(peak_c - self.boils_c[code]) / 8.0))

    def _log10(self, code, celsius):
        inverse = 1.0 / (celsius + 273.15) - 1.0 / 1493.15
        return self.log10[code] + self.energy_j[code] / (np.log(10.0) * GAS_J_PER_MOL_K) * inverse


def tiles(rng, glazes, cones):
    """Every stack of up to three layers at every cone, in the order that they were tried."""
    codes = range(len(glazes.names))
    singles = [(a, -1, -1) for a in codes]
    pairs = [(a, b, -1) for a, b in itertools.permutations(codes, 2)]
    threes = list(itertools.permutations(codes, 3))
    need = max(SIZES) + PLANNED
    rest = need - len(cones) * (len(singles) + len(pairs))
    chosen = rng.choice(len(threes), min(-(-rest // len(cones)), len(threes)), replace=False)
    stacks = np.array(singles + pairs + [threes[k] for k in chosen])
    every = [(stack, cone) for cone in range(len(cones)) for stack in range(len(stacks))]
    order = rng.permutation(len(every))[:need]
    stack = np.array(every)[order, 0]
    # A firing has one cone: what was tried is put into firings cone by cone.
    cone = np.array(every)[order, 1]
    late = np.empty(need)
    for c in range(len(cones)):
        mine = np.flatnonzero(cone == c)
        late[mine] = (np.arange(len(mine)) // A_FIRING + rng.random()) * need / len(mine)
    by_firing = np.argsort(late, kind="stable")
    return stacks[stack[by_firing]], cone[by_firing], late[by_firing]


def threes(seed, *, draws=DRAWS):
    """A tester of threes; 15 to 45 % of tiles pass."""
    rng = np.random.default_rng([164, seed])
    glazes = invented(rng, int(rng.integers(10, 13)), recipes=0.5, jars=0.25)
    skins = Skins(rng, glazes)
    skins.glazes = with_words(rng, glazes, skins.runs(), wrong=0.1)
    cones = ("4", "5", "6", "7", "8") if seed % 2 else ("5", "6", "8")
    glaze, cone, late = tiles(rng, glazes, cones)
    count = len(glaze)
    shape = glaze.shape
    there = glaze >= 0
    first = rng.choice([6.0, 10.0, 15.0, 25.0], count)
    steps = rng.choice([15.0, 20.0, 25.0], shape) * (np.arange(MOST_LAYERS) > 0)
    firing = np.unique(late, return_inverse=True)[1]
    days = int(firing.max()) + 1
    pots = Pots(
        form=np.full(count, "tile", dtype=object),
        firing=firing,
        body=np.full(count, "tile body", dtype=object),
        cone=np.array(cones, dtype=object)[cone],
        hold_min=rng.choice([0.0, 10.0], days)[firing],
        ramp_c_per_h=np.full(count, 60.0),
        wall_deg=rng.choice(WALLS, count),
        foot_mm=np.full(count, 40.0),
        glaze=glaze,
        method=np.zeros(shape, dtype=int),
        coats=1 + (rng.random(shape) < 0.2),
        measured_mm=np.full(shape, np.nan),
        lower_mm=np.where(there, first[:, None] + steps.cumsum(axis=1), 0.0),
        upper_mm=np.where(there, TILE_MM, 0.0),
    )
    pots = read_by_needle(rng, pots, 0.8, skins.hand, 0.1)
    cut = count - PLANNED
    fired, plan = pots.take(np.arange(cut)), pots.take(np.arange(cut, count))
    plan = plan.changed(firing=plan.firing - int(fired.firing.max()))
    results = skins.fire(fired, rng)
    notes = Notes(run_read=0.95, run_if_past=0.5, wrong_word=0.002, step_mm=0.5)
    return kept_book("threes", skins, fired, results, plan, rng, notes, draws=draws)
