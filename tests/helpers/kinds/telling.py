"""A studio of another kind that tells more: buckets and dips, thirsty bodies, hot shelves, hands.

Its dips are not the package's: the cast holds water back as the wall does, thirst counts with a
power, and every bucket is thick or thin besides. What is fired is fired in the kiln of its kind.
"""

from dataclasses import dataclass

import numpy as np

from helpers.kinds import KINDS
from helpers.kinds.pots import MOST_LAYERS, UNTOLD_RAMP_C_PER_H, read_by_needle
from helpers.kinds.studio import DRAWS, Notes, kept_book
from runpredict.physics.heat import cone_peak_c, witness_peak_c

TELLS = {
    "batch": ("batch",),
    "dip": ("specific_gravity", "dip_s", "absorption_pct"),
    "hand": ("glazed_by",),
    "place": ("kiln", "shelf", "spot"),
    "witness": ("witness_cone",),
}
"""What such a studio may tell, and the columns it is told in."""
FIRINGS_A_BUCKET = 14
SHELVES = np.array(["top", "middle", "bottom"], dtype=object)
HOLD_C, HOLD_MIN = 37.0, 37.0  # a hold of so many minutes is as good as so much hotter, times log 2
WITNESSES = [f"{cone}{how}" for cone in ("4", "5", "6", "7", "8") for how in (" half", "", " flat")]


def other_dip(gravity, seconds, thirst):
    """Thickness of a dip over that of an ordinary one, by a cast that holds back as a wall does."""

    def laid(g, s, a):
        solid = (g - 1.0) / 1.65
        left = 0.54 / solid - 1.0
        return 0.0175 * a**0.85 * np.sqrt(s) / np.sqrt(left * (left + 0.5)) + 0.12 * solid

    return laid(gravity, seconds, thirst) / laid(1.45, 3.0, 12.0)


@dataclass
class Telling:
    """The maker of another kind, and what lasts of its buckets, bodies, shelves and hands."""

    maker: object
    own: np.random.Generator

    def __post_init__(self):
        rng, count = self.own, len(self.maker.glazes.names)
        self.glazes = self.maker.glazes
        self.coat = rng.lognormal(0.0, 0.12, count)
        self.gravity = rng.normal(1.46, 0.05, (count, 40)).clip(1.3, 1.6)
        self.bucket = rng.lognormal(0.0, 0.15, (count, 40))
        self.thirst = {"even": rng.uniform(8, 11), "odd": rng.uniform(12, 16)}
        self.hot_c = rng.normal(0.0, 7.0, len(SHELVES)) + rng.normal(0.0, 6.0)
        self.hands, self.seconds = rng.lognormal(0.0, 0.2, 5), rng.lognormal(np.log(3), 0.25, 5)

    def fire(self, pots, rng):
        """As the maker's; the heat of a day that is not over is drawn anew."""
        day = 5.0 * rng.standard_normal(int(pots.firing.max()) + 1)[pots.firing]
        day = np.where(np.isnan(pots.hidden["day_c"]), day, pots.hidden["day_c"])
        hidden = pots.hidden | {"hot_c": pots.hidden["place_c"] + day}
        return self.maker.fire(pots.changed(hidden=hidden), rng)

    def dressed(self, rng, pots, first, fired):
        """The same pots with all that is told of them, and what came of the cones where fired."""
        n, shape = len(pots), pots.glaze.shape
        code, bucket = np.maximum(pots.glaze, 0), (pots.firing + first) // FIRINGS_A_BUCKET
        bucket = (bucket[:, None] + code % 3) % 40
        hands = "glazed_by" not in pots.extra
        hand = rng.integers(len(self.hands), size=n)
        shelf = rng.integers(len(SHELVES), size=n)
        body = np.where(rng.random(n) < 0.5, "even", "odd")
        thirst = np.array([self.thirst[name] for name in body])
        gravity = self.gravity[code, bucket]
        seconds = self.seconds[hand][:, None] * rng.lognormal(0.0, 0.2, shape)
        dipped = pots.method < 2
        factor = other_dip(gravity, seconds, thirst[:, None]) * self.coat[code]
        thicker = np.where(dipped, factor, 1.0) * self.bucket[code, bucket]
        thicker = thicker * (self.hands[hand][:, None] if hands else 1.0)
        extra = pots.extra | {
            "batch": np.array([f"bucket {k}" for k in range(40)], dtype=object)[bucket],
            "specific_gravity": np.where(dipped, gravity.round(2), np.nan),
            "dip_s": np.where(dipped, seconds.round().clip(1), np.nan),
            "absorption_pct": thirst.round(),
        }
        if hands:
            extra["glazed_by"] = np.array([f"hand {k}" for k in range(5)], dtype=object)[hand]
            extra["shelf"] = SHELVES[shelf]
            place = self.hot_c[shelf]
            seen = place
        else:  # a school has shelves, corners and hands of its own
            where = tuple(pots.hidden[name] for name in ("kiln", "shelf", "spot"))
            place, seen = np.zeros(n), self.maker.hot_c[where]
        days = int(pots.firing.max()) + 1
        day = 5.0 * rng.standard_normal(days)[pots.firing] if fired else np.full(n, np.nan)
        if fired:
            told = rng.random(days)[pots.firing] < 0.6
            extra["witness_cone"] = np.where(told, self._went_down(rng, pots, seen + day), "")
        else:
            extra["witness_cone"] = np.full(n, "", dtype=object)
        hidden = pots.hidden | {"thicker": thicker, "place_c": place, "day_c": day}
        pots = pots.changed(extra=extra, hidden=hidden, body=body.astype(object))
        return read_by_needle(rng, pots, 0.06, thicker, 0.15)

    def _went_down(self, rng, pots, off_c):
        peak = cone_peak_c([str(c) for c in pots.cone], np.full(len(pots), UNTOLD_RAMP_C_PER_H))
        peak = peak + off_c + HOLD_C * np.log1p(pots.hold_min / HOLD_MIN)
        at = witness_peak_c(WITNESSES, np.full(len(WITNESSES), UNTOLD_RAMP_C_PER_H))
        read = peak + 3.0 * rng.standard_normal(len(pots))
        return np.array(WITNESSES, dtype=object)[np.abs(read[:, None] - at).argmin(axis=1)]


def telling(kind, seed, *, draws=DRAWS):
    """A studio of a kind, its pots fired anew with all that is told of them.

    Parameters
    ----------
    kind : str, of `helpers.kinds.KINDS`
    """
    made = KINDS[kind](seed, draws=1)
    rng = np.random.default_rng([167, seed])
    maker = Telling(made.maker, rng)
    assert made.fired.glaze.shape[1] == MOST_LAYERS
    fired = maker.dressed(rng, made.fired, 0, fired=True)
    plan = maker.dressed(rng, made.pots, int(made.fired.firing.max()) + 1, fired=False)
    notes = Notes(run_read=0.5, run_if_past=0.1, blank=0.02, wrong_word=0.005)
    results = maker.fire(fired, rng)
    return kept_book(f"{kind}, telling", maker, fired, results, plan, rng, notes, draws=draws)
