"""A first load of thirty ordinary pots: what any potter would fire needs something on few of them.

Each kind of pot with its reason, all common practice, no source; the glazes are invented, from
ordinary unity formulas. No log.
"""

import warnings

import pandas as pd
import pytest
from helpers.tables import ANALYSIS, STIFF_WT

from runpredict.answers.check import check
from runpredict.answers.load import doubtful, load_of
from runpredict.errors import TableWarning

LINER = {"glaze": "liner", "source": "analysis", **STIFF_WT}
GLAZES = pd.DataFrame(
    [
        LINER,
        ANALYSIS | {"glaze": "clear"},
        {"glaze": "jar stable", "source": "jar", "behaviour": "stable"},
        {"glaze": "jar fluid", "source": "jar", "behaviour": "fluid"},
    ]
)
MUG = {"form": "mug", "wall_deg": 90.0, "foot_mm": 70.0, "upper_edge_mm": 95.0, "coats": 1}
# How many, the shape, and its layers: glaze, coats, how far above the foot it ends.
POTS = (
    # A liner that hardly moves, down to a finger's breadth above the foot, whatever the shape.
    (6, MUG, [("liner", 1, 6.0)]),
    (3, MUG | {"form": "bowl", "wall_deg": 60.0}, [("liner", 1, 6.0)]),
    (3, MUG | {"form": "plate", "wall_deg": 15.0, "foot_mm": 140.0}, [("jar stable", 1, 8.0)]),
    # A glossy clear, one dip, which smooths out and stays.
    (4, MUG, [("clear", 1, 8.0)]),
    (2, MUG | {"form": "vase", "upper_edge_mm": 180.0}, [("clear", 1, 10.0)]),
    # A glaze that moves, over the liner, in the top third: it has two thirds of the pot to run.
    (6, MUG, [("liner", 1, 6.0), ("jar fluid", 1, 65.0)]),
    (3, MUG | {"form": "vase", "upper_edge_mm": 180.0},
     [("liner", 1, 10.0), ("jar fluid", 1, 120.0)]),
    (3, MUG, [("jar stable", 1, 7.0), ("clear", 1, 55.0)]),
)  # fmt: skip


@pytest.fixture(scope="module")
def load():
    rows, number = [], 0
    for count, shape, layers in POTS:
        for _ in range(count):
            number += 1
            rows += [
                shape | {"piece": f"pot {number}", "firing": "first", "cone": "6", "hold_min": 10.0,
                         "layer": k, "glaze": glaze, "method": "dip", "coats": coats,
                         "lower_edge_mm": edge}
                for k, (glaze, coats, edge) in enumerate(layers, 1)
            ]  # fmt: skip
    with warnings.catch_warnings():  # a liner alone is odd to ask about
        warnings.simplefilter("ignore", TableWarning)
        return check(pd.DataFrame(rows), GLAZES)


def test_an_ordinary_first_load_needs_something_on_at_most_a_third(load):
    assert len(load.pieces) == 30
    need = (load.pieces["risk"] > load.tolerance).sum()
    assert need <= 10
    word = pd.Series(load.advice().word)
    assert not word.isin(["dish", "pedestal"]).any()  # and on none is there nothing to be done
    planned = load_of(load).iloc[0]
    assert planned["need_something"] == need
    # Nor do those that are doubtful until there is a log make it more than a third.
    assert need + doubtful(load).sum() <= 10
