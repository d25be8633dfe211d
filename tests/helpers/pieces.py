"""Random pieces by the thousand, and what physics says of them."""

from functools import cache

import numpy as np
import pandas as pd
import pytest

from runpredict.model.features import features_of
from runpredict.model.predictors import RulesPredictor
from runpredict.model.stacks import stacks_of
from runpredict.tables.plan import check_plan

# Weight percent, the ranges of glazes that are fired; common practice, no source.
OXIDE_RANGES = {
    "SiO2": (45, 75), "Al2O3": (5, 20), "B2O3": (0, 12), "Li2O": (0, 2), "Na2O": (0, 8),
    "K2O": (0, 7), "MgO": (0, 6), "CaO": (3, 16), "SrO": (0, 6), "BaO": (0, 6), "ZnO": (0, 8),
    "TiO2": (0, 6), "Fe2O3": (0, 9),
}  # fmt: skip
WORDS = ("stiff", "stable", "fluid", "runny", "")
CONES = ("04", "02", "1", "3", "5", "6", "7", "8", "9", "10")


@cache
def glazes():
    """Twenty analyses and five jars."""
    rng = np.random.default_rng(11)
    wt = pd.DataFrame({o: rng.uniform(*ends, 20) for o, ends in OXIDE_RANGES.items()})
    wt = wt.mul(100 / wt.sum(axis=1), axis=0)
    wt.insert(0, "glaze", [f"analysis {i}" for i in range(20)])
    jars = pd.DataFrame({"glaze": [f"jar {w or 'plain'}" for w in WORDS], "behaviour": WORDS})
    return pd.concat([wt.assign(source="analysis"), jars.assign(source="jar")], ignore_index=True)


# One firing with the holds of many, and edges no ruler shows, which a table is asked about.
MANY_HOLDS = pytest.mark.filterwarnings(
    "ignore:.*(if these are two firings|is less than a ruler shows)"
)


def pieces(seed, count, most_layers=3):
    """Layers of random pieces, as a potter's table."""
    rng = np.random.default_rng(seed)
    layers = rng.integers(1, most_layers + 1, count)
    piece = np.repeat(np.arange(count), layers)
    rows = len(piece)
    names = glazes()["glaze"].to_numpy()
    upper = np.round(rng.uniform(40, 200, count)[piece], 1)
    share = np.minimum(rng.exponential(0.25, rows), 0.9)
    lower = np.round(upper * share[np.lexsort((share, piece))], 1)
    thickness = np.round(np.clip(rng.lognormal(np.log(0.5), 0.4, rows), 0.05, 2.0), 2)
    return pd.DataFrame(
        {
            "piece": [f"p{i}" for i in piece],
            "firing": "f",
            "cone": rng.choice(CONES, count)[piece],
            "hold_min": rng.choice([0, 5, 10, 20, 45], count)[piece].astype(float),
            "ramp_c_per_h": rng.choice([60.0, 108.0, 150.0, 30.0], count)[piece],
            "wall_deg": np.round(rng.uniform(10, 130, rows)),
            "foot_mm": np.round(rng.uniform(30, 150, count)[piece]),
            "layer": np.concatenate([np.arange(1, n + 1) for n in layers]),
            "glaze": rng.choice(names, rows),
            "method": rng.choice(["dip", "pour", "brush", "spray"], rows),
            "coats": rng.integers(1, 5, rows),
            "thickness_mm": np.where(rng.random(rows) < 0.3, thickness, np.nan),
            "lower_edge_mm": lower,
            "upper_edge_mm": upper,
        }
    )


def stacks(layers, glaze_table=None):
    """Arrays of some pieces."""
    tables = check_plan(layers, glazes() if glaze_table is None else glaze_table)
    return stacks_of(features_of(tables.plan, tables.glazes, tables.schedules))


def risks(layers, predictor=None):
    """Risk of each row's layer and of each piece, in the order of the table."""
    made = stacks(layers)
    layer, piece = (predictor or RulesPredictor()).chances(made).risk(made)
    return layer[made.at], piece


# What is never safer, each as (layers, random numbers) -> layers.


def more_coats(plan, rng):
    some = rng.random(len(plan)) < 0.5
    return plan.assign(coats=plan["coats"] + np.where(some, rng.integers(1, 4, len(plan)), 0))


def thicker(plan, rng):
    return plan.assign(thickness_mm=plan["thickness_mm"] * rng.uniform(1, 2, len(plan)))


def lowest_edge_lower(plan, rng):
    """The layer that ends nearest the foot ends lower still."""
    lowest = plan.groupby("piece")["lower_edge_mm"].transform("min") == plan["lower_edge_mm"]
    return plan.assign(
        lower_edge_mm=plan["lower_edge_mm"] * np.where(lowest, rng.uniform(0, 1, len(plan)), 1.0)
    )


def all_lower(plan, rng):
    """The whole glaze nearer the foot, lower and upper edges alike."""
    low = plan.groupby("piece")["lower_edge_mm"].transform("min") * rng.uniform(0, 1)
    return plan.assign(
        lower_edge_mm=plan["lower_edge_mm"] - low, upper_edge_mm=plan["upper_edge_mm"] - low
    )


def hotter(plan, rng):
    place = plan["cone"].map({cone: i for i, cone in enumerate(CONES)})
    return plan.assign(cone=[CONES[min(i + 1, len(CONES) - 1)] for i in place])


def longer_hold(plan, rng):
    """The same hold added to the whole of a firing that starts with many."""
    return plan.assign(hold_min=plan["hold_min"] + 15.0)


def steeper(plan, rng):
    return plan.assign(wall_deg=np.minimum(plan["wall_deg"] + rng.integers(0, 40, len(plan)), 180))


def all_at_once(plan, rng):
    for change in (more_coats, thicker, lowest_edge_lower, hotter, longer_hold, steeper):
        plan = change(plan, rng)
    return plan


CHANGES = [
    more_coats, thicker, lowest_edge_lower, all_lower, hotter, longer_hold, steeper, all_at_once,
]  # fmt: skip
