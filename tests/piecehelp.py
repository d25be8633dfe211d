"""Random pieces by the thousand, and what physics says of them."""

from functools import cache

import numpy as np
import pandas as pd

from runpredict.features import features_of, stacks_of
from runpredict.plan import check_plan
from runpredict.rules import RulesPredictor

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


def pieces(seed, count, most_layers=3):
    """Layers of random pieces, as a potter's table."""
    rng = np.random.default_rng(seed)
    layers = rng.integers(1, most_layers + 1, count)
    piece = np.repeat(np.arange(count), layers)
    rows = len(piece)
    names = glazes()["glaze"].to_numpy()
    upper = np.round(rng.uniform(40, 200, count)[piece] * rng.uniform(0.8, 1.0, rows), 1)
    lower = np.round(upper * np.minimum(rng.exponential(0.25, rows), 0.9), 1)
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


def risks(layers):
    """Risk of each row's layer and of each piece, in the order of the table."""
    made = stacks(layers)
    layer, piece = RulesPredictor().draws(made).risk(made)
    return layer[made.piece_at, made.layer_at], piece
