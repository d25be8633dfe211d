"""Makes the results of the sample log anew: ``python tests/helpers/sample_log.py``.

No result of the invented studio comes from the tool's own model. The pots are those of
``sample_data/log.csv``; how far their glaze ran follows from the few numbers below, made up for
the story that ``sample_data/README.md`` tells, and from two textbook films: one that is still as
thick as it was put on (Nusselt 1916, Z. VDI 60:541; a step on it, Whitham 1974, Linear and
Nonlinear Waves, ch. 3) and one that has thinned out (Huppert 1982, Nature 300:427).
"""

import zlib
from pathlib import Path

import numpy as np
import pandas as pd

LOG = Path(__file__).parents[2] / "sample_data" / "log.csv"
COAT_MM = {"dip": 0.40, "pour": 0.36, "brush": 0.12, "spray": 0.10}  # dry, one coat
RUN_MM = {  # of one dipped coat alone on an upright wall: cone 6 held 10 minutes, or its own cone
    "Ninepenny Clear": 0.6, "Fishbox White": 0.3, "Eel Lantern": 20.0, "Dry Bilge": 0.2,
    "Pilot Coat": 2.6, "Wet Hawser": 6.0, "Flag Locker": 0.4, "Lamp Room": 0.3,
    "Mackerel Sleeve": 0.8,  # much less than its label says
    "Swap Shelf": 0.5,  # nobody knew
}  # fmt: skip
CONES = {"04": 1.0, "5": 1 / 1.5, "6": 1.0}  # a factor on how readily all glaze moves
HOT_FIRING, HOT = "Cormorant", 2.2  # half a cone and more, before anyone noticed
PAIR, PAIR_RUNS = ("Wet Hawser", "Fishbox White"), 2.0
LUCK_POT, LUCK_FIRING, LUCK_COAT = 0.35, 0.12, 0.18  # spreads of natural logarithms
MEASURED = 0.8  # of the runs that can be seen
SEEN_MM = 1.0  # no one measures less
NUMBERS = ["hold_min", "wall_deg", "coats", "lower_edge_mm", "upper_edge_mm"]


def luck(*words):
    """Random numbers of a pot or firing, the same whatever else is in the log."""
    return np.random.default_rng(zlib.crc32("/".join(words).encode("utf-8")))


def runs_mm(pot, thick_mm, ease):
    """How far each edge of a pot's layers would run on an endless wall, lowest layer first."""
    lower, upper = pot["lower_edge_mm"].to_numpy(), pot["upper_edge_mm"].to_numpy()
    glaze = pot["glaze"].tolist()
    mobility = ease * 3.0 * np.array([RUN_MM[name] for name in glaze]) / COAT_MM["dip"] ** 2
    runs = np.zeros(len(pot))
    for k in range(len(pot)):
        above = (lower <= lower[k]) & (upper > lower[k])
        below = lower < lower[k]
        whole, rest = thick_mm[above].sum(), thick_mm[below].sum()
        stack = np.exp(np.average(np.log(mobility[above]), weights=thick_mm[above]))
        pair = [name for name, is_in in zip(glaze, above, strict=True) if is_in]
        stack *= PAIR_RUNS if set(PAIR) <= set(pair) else 1.0
        long = upper[k] - lower[k]
        young = stack * (whole**3 - rest**3) / (3.0 * (whole - rest))
        old = np.cbrt(2.25 * (whole * long) ** 2 * stack) - long
        runs[k] = young if stack * whole**2 / 1.5 < long else max(old, 0.0)
    # What overtakes an edge takes it along.
    for k in np.argsort(-lower):
        runs = np.where(lower < lower[k], np.maximum(runs, runs[k] - (lower[k] - lower)), runs)
    return runs


def fired(pot, firing):
    """A pot's rows with what was measured and seen of each layer."""
    rng = luck(firing, pot["piece"].iloc[0])
    thick = pot["method"].map(COAT_MM).to_numpy() * pot["coats"].to_numpy()
    thick = thick * np.exp(rng.normal(0.0, LUCK_COAT, len(pot)))
    first = pot.iloc[0]
    ease = CONES[first["cone"]] * (10.0 + first["hold_min"]) / 20.0
    ease *= np.sin(np.radians(first["wall_deg"])) * (HOT if firing == HOT_FIRING else 1.0)
    ease *= np.exp(LUCK_FIRING * luck(firing).normal() + LUCK_POT * rng.normal())
    runs = runs_mm(pot, thick, ease)
    past = runs >= pot["lower_edge_mm"].to_numpy()
    told = (runs >= SEEN_MM) & ~past & (rng.random(len(pot)) < MEASURED)
    pricked = pot["thickness_mm"].ne("")
    return pot.assign(
        thickness_mm=[
            f"{t:.2f}" if is_told else "" for t, is_told in zip(thick, pricked, strict=True)
        ],
        run_mm=[f"{run:.0f}" if is_told else "" for run, is_told in zip(runs, told, strict=True)],
        past_foot=np.where(past, "yes", "no"),
    )


def with_results(log):
    """A log, all its cells text, with its results made anew."""
    pots = with_numbers(log).groupby(["firing", "piece"], sort=False)
    parts = [fired(pot, firing) for (firing, _), pot in pots]
    return pd.concat(parts).assign(**{name: log[name] for name in NUMBERS})


def with_numbers(layers):
    """Layers, their cells text, with what is reckoned with as numbers."""
    return layers.assign(**{name: pd.to_numeric(layers[name]) for name in NUMBERS})


def read(path=LOG):
    """A sample table, all its cells text."""
    return pd.read_csv(path, dtype=str, keep_default_na=False)


if __name__ == "__main__":
    with_results(read()).to_csv(LOG, index=False, lineterminator="\n")
