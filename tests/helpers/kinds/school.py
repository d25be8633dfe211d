"""A school: many hands, thick and thin, thirty to eighty glazes, kilns with hot corners.

Melts by the equation for natural melts of Giordano, Russell and Dingwell (2008), its coefficients
from memory, with boron, zinc and lithium added by guess; a slow fluid that thins as it is sheared
and spreads from a fixed volume. All glaze of a pot above an edge counts as one melt.
"""

import numpy as np

from helpers.kinds.glazes import invented, with_words
from helpers.kinds.people import FORMS, shapes
from helpers.kinds.pots import MOST_LAYERS, Pots, dry_mm, heat_steps, heavy, read_by_needle
from helpers.kinds.studio import DRAWS, PLANNED, SIZES, Notes, kept_book
from runpredict.physics.chemistry import OXIDES

A_FIRING = 20
SHELVES, SPOTS, KILNS = ("top", "middle", "bottom"), ("front", "back"), ("old kiln", "new kiln")
SHEAR_INDEX = 0.85  # stress goes with this power of the rate of shear
ORDINARY_LOG10, ORDINARY_C = 3.15, 1222.0
PULL_PA_PER_M = 2400 * 9.81


def natural_melt_log10(moles, celsius):
    """Viscosity of melts by an equation for lavas.

    Parameters
    ----------
    moles : (g, 24) mole fractions of oxides
    celsius : (n,) or scalar, with g of 1 or n

    Returns
    -------
    ndarray, log10 Pa s

    References
    ----------
    Giordano, Russell and Dingwell (2008), Earth Planet. Sci. Lett. 271:123; from memory.
    """
    x = dict(zip(OXIDES, 100.0 * np.asarray(moles).T, strict=True))
    iron = 2.0 * x["Fe2O3"] + x["MnO"] + x["CoO"] + x["NiO"] + x["CuO"]
    silica, alumina = x["SiO2"] + x["SnO2"] + x["ZrO2"], x["Al2O3"]
    magnesia = x["MgO"] + x["ZnO"]
    lime = x["CaO"] + x["SrO"] + x["BaO"]
    soda, alkali = x["Na2O"] + x["Li2O"], x["Na2O"] + x["K2O"] + x["Li2O"]
    titania = x["TiO2"]
    b = 159.6 * (silica + titania) - 173.3 * alumina + 72.1 * iron + 75.7 * magnesia
    b += -39.0 * lime - 84.1 * soda - 2.43 * (silica + titania) * (iron + magnesia)
    b += -0.91 * (silica + titania + alumina) * alkali + 17.6 * alumina * alkali
    c = 2.75 * silica + 15.7 * (titania + alumina) + 8.3 * (iron + magnesia) + 10.2 * lime
    c += -12.3 * alkali + 0.3 * (alumina + iron + magnesia + lime) * alkali
    return -4.55 + b / (np.asarray(celsius) + 273.15 - c) - 0.07 * x["B2O3"]


class School:
    """What lasts of the school, which no log shows."""

    def __init__(self, rng, glazes, hands):
        self.glazes = glazes
        count = len(glazes.names)
        log10 = natural_melt_log10(glazes.moles, ORDINARY_C)
        # The equation knows no boron: glazes are drawn to where an ordinary one lies.
        self.log10 = ORDINARY_LOG10 + 0.5 * (log10 - np.median(log10)).clip(-2.0, 2.5)
        self.log10 = self.log10 + heavy(rng, 0.16, count)
        hotter = natural_melt_log10(glazes.moles, ORDINARY_C + 40.0)
        self.per_c = ((log10 - hotter) / 40.0).clip(0.004, 0.012)
        self.hands = rng.lognormal(0.0, 0.28, hands)
        self.hot_c = rng.gamma(1.5, 5.0, (len(KILNS), len(SHELVES), len(SPOTS)))
        self.hot_c += rng.normal(-6.0, 6.0, len(KILNS))[:, None, None]
        self.pair = np.abs(heavy(rng, 0.35, (count, count)))
        self.pair = np.maximum(self.pair, self.pair.T)

    def runs(self):
        """(g,) how far each runs alone, log."""
        return -2.3 * (self.log10 - np.median(self.log10))

    def fire(self, pots, rng):
        """Run [mm] and whether each layer passed; firings, corners, coats and luck drawn anew."""
        n, shape = len(pots), pots.glaze.shape
        # Where nobody wrote down where a pot stood, it stood anywhere.
        shelf = np.where(
            pots.hidden["told"], pots.hidden["shelf"], rng.integers(len(SHELVES), size=n)
        )
        spot = np.where(pots.hidden["told"], pots.hidden["spot"], rng.integers(len(SPOTS), size=n))
        where = (pots.hidden["kiln"], shelf, spot)
        day = 4.0 * rng.standard_normal(int(pots.firing.max()) + 1)[pots.firing]
        off = self.hot_c[where] + day + heavy(rng, 5.0, n, freedom=2)
        hand = self.hands[pots.hidden["hand"]][:, None]
        thick = 0.5e-3 * dry_mm(rng, pots, hand, 0.28)
        luck = heavy(rng, 0.25, n)[:, None] + heavy(rng, 0.2, shape, freedom=2)
        celsius, seconds = heat_steps(pots, off)
        code = np.maximum(pots.glaze, 0)
        lower, upper = 1e-3 * pots.lower_mm, 1e-3 * pots.upper_mm
        long = np.maximum(upper - lower, 1e-3)
        over = np.minimum(upper[:, :, None], upper[:, None, :])
        over = over - np.maximum(lower[:, :, None], lower[:, None, :])
        share = np.clip(over / long[:, :, None], 0.0, 1.0)
        share *= pots.there[:, :, None] & pots.there[:, None, :]
        others = share * ~np.eye(MOST_LAYERS, dtype=bool)
        # Half its own melt, half what else lies there, whatever their coats.
        weight = np.eye(MOST_LAYERS) + others
        weight /= weight.sum(axis=2, keepdims=True)
        log10 = (weight * self.log10[code][:, None, :]).sum(axis=2)
        per_c = (weight * self.per_c[code][:, None, :]).sum(axis=2)
        soft = (others * self.pair[code[:, :, None], code[:, None, :]]).sum(axis=2)
        film = (share * thick[:, None, :]).sum(axis=2)
        at = log10[:, :, None] - per_c[:, :, None] * (celsius - ORDINARY_C)[:, None, :]
        fluidity = (10.0**-at * seconds[:, None, :]).sum(axis=2) * np.exp(luck + soft)
        pull = PULL_PA_PER_M * np.hypot(np.sin(np.radians(pots.wall_deg)), 0.04)[:, None]
        power = 1.0 / SHEAR_INDEX
        thinner = (pull * film / 4.0) ** (power - 1.0)  # about 4 Pa it flows as at rest
        far = pull * fluidity * film**2 / 3.0 * thinner
        run_m = long * ((1.0 + 3.0 * far / long) ** (1.0 / 3.0) - 1.0)
        run_mm = np.where(pots.there, 1e3 * run_m, 0.0)
        return run_mm, pots.there & (run_mm >= pots.lower_mm)


def pots_of_classes(rng, count, school, first_firing=0):
    """Pots of a term: each hand has its few glazes, bands as the teacher says, or not."""
    form, length, foot, wall = shapes(rng, count, FORMS | {"tile": (100.0, 45.0, 85.0, 0.1)})
    shape = (count, MOST_LAYERS)
    hands = len(school.hands)
    hand = rng.integers(hands, size=count)
    own = np.random.default_rng([hands, 5]).permuted(
        np.tile(np.arange(len(school.glazes.names)), (hands, 1)), axis=1
    )[:, :9]
    late = (np.arange(count) // A_FIRING + first_firing) / 60.0
    liked = rng.geometric(0.35, shape).cumsum(axis=1) + late[:, None].astype(int)
    liked %= own.shape[1]
    layers = 1 + rng.choice(MOST_LAYERS, count, p=(0.45, 0.45, 0.1))
    there = np.arange(MOST_LAYERS) < layers[:, None]
    glaze = np.where(there, own[hand[:, None], liked], -1)
    band = np.where(
        rng.random(count) < 0.8, rng.normal(10.0, 3.0, count), rng.uniform(1, 30, count)
    )
    band = np.clip(band, 1.0, 0.5 * length)
    gap = rng.uniform(0.1, 0.5, shape) * length[:, None]
    gap[:, 0] = 0.0
    lower = np.minimum(band[:, None] + gap.cumsum(axis=1), 0.85 * length[:, None])
    firing = np.arange(count) // A_FIRING
    days = int(firing.max()) + 1
    kiln = rng.integers(len(KILNS), size=days)[firing]
    shelf, spot = rng.integers(len(SHELVES), size=count), rng.integers(len(SPOTS), size=count)
    told = rng.random(count) < 0.6
    brush = rng.random(count) < 0.35
    method = np.where(brush, 2, 0)[:, None].repeat(MOST_LAYERS, axis=1)
    pots = Pots(
        form=form,
        firing=firing,
        body=np.full(count, "school body", dtype=object),
        cone=np.where(rng.random(days) < 0.85, "6", "5").astype(object)[firing],
        hold_min=rng.choice([0.0, 10.0, 15.0], days)[firing],
        ramp_c_per_h=np.full(count, np.nan),
        wall_deg=wall.round(),
        foot_mm=foot.round(),
        glaze=glaze,
        method=method,
        coats=np.where(method == 2, 2, 1) + (rng.random(shape) < 0.25),
        measured_mm=np.full(shape, np.nan),
        lower_mm=np.where(there, lower.round(), 0.0),
        upper_mm=np.where(there, length[:, None], 0.0),
        extra={
            "kiln": np.array(KILNS, dtype=object)[kiln],
            "shelf": np.where(told, np.array(SHELVES, dtype=object)[shelf], ""),
            "spot": np.where(told, np.array(SPOTS, dtype=object)[spot], ""),
            "glazed_by": np.array([f"student {k + 1}" for k in range(hands)], dtype=object)[hand],
        },
        hidden={"kiln": kiln, "shelf": shelf, "spot": spot, "told": told, "hand": hand},
    )
    hands_mm = school.hands[hand][:, None]
    return read_by_needle(rng, pots, 0.05, hands_mm, 0.28)


def school(seed, *, draws=DRAWS):
    """A school; 5 to 25 % of pots pass."""
    rng = np.random.default_rng([163, seed])
    glazes = invented(rng, int(rng.integers(30, 81)), recipes=0.4, jars=0.4)
    lasting = School(rng, glazes, int(rng.integers(12, 30)))
    lasting.glazes = with_words(rng, glazes, lasting.runs(), wrong=0.2)
    fired = pots_of_classes(rng, max(SIZES), lasting)
    results = lasting.fire(fired, rng)
    plan = pots_of_classes(rng, PLANNED, lasting, int(fired.firing.max()))
    notes = Notes(run_read=0.35, run_if_past=0.05, blank=0.04, wrong_word=0.01, slipped=0.004)
    return kept_book("school", lasting, fired, results, plan, rng, notes, draws=draws)
