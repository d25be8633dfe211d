"""Answers to draw, and what a picture's letters do on paper."""

from functools import cache
from itertools import combinations
from pathlib import Path
from unittest import mock

import pandas as pd
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

from runpredict.answers.check import answer, check
from runpredict.tables.csv_files import read_table
from runpredict.tables.plan import read_plan
from runpredict.words.advice import sentences

SAMPLE = Path(__file__).parents[2] / "sample_data"
TABLES = ("layers", "glazes", "recipes", "schedules")
TOUCHING_PX = 0.5
HOSTILE = {
    "mug 1": "'\"><svg/onload=alert(1)>",
    "mug 2": "=cmd|' /C calc'!A0 \u202egnp.exe $\\frac{",
    "bowl 1": "\u5b99 \u062e\u0632\u0641 \u200f</bdi>",
    "Dabchick": "\u05e9\u05dc\u05d5\u05dd </title><img src=x onerror=alert(1)>",
    "Ninepenny Clear": "<script>alert(1)</script>",
    "Wet Hawser": "x" * 200,
    "Swap Shelf": "\u05db\u05d7\u05d5\u05dc 20 mm",
}


@cache
def sample_tables():
    """The glazes and the plan of the sample studio, read."""
    files = {name: SAMPLE / f"{name}.csv" for name in ("recipes", "schedules")}
    return read_plan(SAMPLE / "layers.csv", SAMPLE / "glazes.csv", **files)


@cache
def sample_answer(tolerance=0.05):
    """The answer to the sample plan."""
    return answer(sample_tables(), tolerance)


@cache
def raw(name):
    """A sample table as read."""
    return read_table(SAMPLE / f"{name}.csv", name)


def renamed(names, firing="Dabchick", **options):
    """The answer to one sample firing, some names of its pieces and glazes changed."""
    layers = raw("layers")
    layers = layers.loc[layers["firing"] == firing].replace(names)
    glazes, recipes = (raw(name).replace(names) for name in ("glazes", "recipes"))
    return check(layers, glazes, recipes=recipes, **options)


@cache
def many(count):
    """The answer to one firing of so many pieces."""
    layers = raw("layers")
    layers = layers.loc[layers["firing"] == "Old Nan"]
    each = layers["piece"].nunique()
    copies = [layers.assign(piece=layers["piece"] + f", {k}") for k in range(1 + count // each)]
    plan = pd.concat(copies, ignore_index=True)
    plan = plan.loc[plan["piece"].isin(plan["piece"].drop_duplicates().head(count))]
    assert plan["piece"].nunique() == count
    return check(plan, raw("glazes"), recipes=raw("recipes"))


def briefly(found):
    """What to do with each pot of an answer, as a line of the kiln sheet has it."""
    return [each.brief for each in sentences(found, "mm")]


def one_piece(layers, **given):
    """The answer to one piece with these layers, given as (glaze, lower, upper) in mm."""
    rows = [
        {
            "piece": "pot", "firing": "f", "cone": "6", "hold_min": 10.0, "ramp_c_per_h": 60.0,
            "wall_deg": 90.0, "foot_mm": 60.0, "layer": k, "glaze": glaze, "method": "dip",
            "coats": 1, "lower_edge_mm": lower, "upper_edge_mm": upper,
        } | given
        for k, (glaze, lower, upper) in enumerate(layers, 1)
    ]  # fmt: skip
    return check(pd.DataFrame(rows), raw("glazes"), recipes=raw("recipes"))


def drawn_texts(figure):
    """Every piece of text that reaches the paper, with its box in pixels."""
    seen = []
    draw = Text.draw

    def watched(text, renderer, *more, **named):
        if text.get_visible() and text.get_text().strip():
            seen.append((text.get_text(), Text.get_window_extent(text, renderer)))
        return draw(text, renderer, *more, **named)

    with mock.patch.object(Text, "draw", watched):
        FigureCanvasAgg(figure).draw()
    return seen


def text_faults(figure):
    """Texts that overlap each other or leave the paper."""
    texts = drawn_texts(figure)
    assert texts
    width, height = figure.bbox.width, figure.bbox.height
    faults = [
        f"{text!r} leaves the paper"
        for text, box in texts
        if box.x0 < 0 or box.y0 < 0 or box.x1 > width or box.y1 > height
    ]
    for (one, a), (other, b) in combinations(texts, 2):
        across = min(a.x1, b.x1) - max(a.x0, b.x0)
        along = min(a.y1, b.y1) - max(a.y0, b.y0)
        if across > TOUCHING_PX and along > TOUCHING_PX:
            faults.append(f"{one!r} overlaps {other!r}")
    return faults
