"""What is told holds: each change, made as printed; each "not on this pot", whatever is tried."""

import re
import warnings
from functools import cache
from itertools import combinations, product
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from helpers.pictures import SAMPLE, raw
from helpers.pieces import pieces

from runpredict.answers.check import answer
from runpredict.answers.decisions import MOST_WAX_SHARE
from runpredict.errors import TableWarning
from runpredict.model.features import features_of, typical_thickness_mm
from runpredict.model.stacks import stacks_of
from runpredict.pages.advice_words import run_sentence, run_words
from runpredict.pages.told import told
from runpredict.tables.columns import cones
from runpredict.tables.csv_files import read_table
from runpredict.tables.plan import check_plan
from runpredict.units import MM_PER_INCH, parse_length_mm

PIECES = 400
FORMS = ("mug", "bowl", "plate", "vase", "bottle", "tile", "")
THICKNESS = r"([\d.]+|\d+/\d+) (mm|in)"
LENGTH = r"((?:\d+ )?\d+/\d+|[\d.]+) (mm|in)"
STEPS = {
    "edge": re.compile(rf"[Ss]top (.+?) {LENGTH} above the foot instead of"),
    "wax": re.compile(rf"[Ll]eave the lowest {LENGTH} bare instead of"),
    "coat": re.compile(r"[Oo]ne coat less of (.+?) \((\d+) instead of (\d+)\)"),
    "thickness": re.compile(rf"[Pp]ut (.+?) on {THICKNESS} thick \(dry\) instead of"),
    "hold": re.compile(r"[Hh]old (\d+) min instead of"),
    "cone": re.compile(r"[Ff]ire to cone (\w+) instead of (\w+)"),
}
STEP_MM = {"mm": 1.0, "in": MM_PER_INCH / 8}


@cache
def plan():
    """Random pieces of all forms, of the glazes that the sample studio has logged."""
    rng = np.random.default_rng(5)
    made = pieces(77, PIECES)
    names = raw("glazes")["glaze"].to_numpy()
    form = rng.choice(FORMS, PIECES)
    return made.assign(
        glaze=rng.choice(names, len(made)),
        form=form[made["piece"].str[1:].astype(int)],
        firing="to come " + made["piece"],  # each its own, since their cones differ
    )


def tables(layers, log=None):
    with warnings.catch_warnings():  # a random pot may have a foot that is odd for its form
        warnings.simplefilter("ignore", TableWarning)
        return check_plan(layers, raw("glazes"), recipes=raw("recipes"), log=log)


@cache
def told_of(logged):
    log = read_table(SAMPLE / "log.csv", "layers") if logged else None
    return answer(tables(plan(), log))


def again(found, changed):
    """Risk of each piece of a changed plan, in the order of the table, by the same predictor."""
    stacks = stacks_of(features_of(tables(changed).plan, found.tables.glazes))
    return pd.Series(found.predictor.chances(stacks).risk(stacks)[1], index=stacks.piece)


def thinner(rows, mine):
    """At most what may be told of a layer: one coat less, and that much thinner if measured."""
    coats = rows["coats"].to_numpy(dtype=float)
    less = coats - mine
    typical = [typical_thickness_mm(rows["method"].tolist(), c) for c in (less, coats)]
    return rows.assign(coats=less.astype(int),
                       thickness_mm=rows["thickness_mm"] * typical[0] / typical[1])  # fmt: skip


def named(rows, name):
    """Which row a sentence means: a glaze, or a glaze and its layer."""
    number = re.search(r" \(layer (\d+)\)$", name)
    if number:
        mine = rows["layer"].to_numpy() == int(number.group(1))
        name = name.removesuffix(number.group())
    else:
        mine = np.ones(len(rows), dtype=bool)
    mine &= (rows["glaze"] == name).to_numpy()
    assert mine.sum() == 1
    return mine


def applied(rows, sentence):
    """The rows of a piece with every change of a sentence made as it is printed."""
    count = 0
    for kind, pattern in STEPS.items():
        for match in pattern.finditer(sentence.split(" Or ")[0]):
            count += 1
            lower = rows["lower_edge_mm"].to_numpy()
            if kind == "edge":
                name = match.group(1).rsplit(", ", 1)[-1].rsplit(" and stop ", 1)[-1]
                at = parse_length_mm(" ".join(match.groups()[1:]))
                rows = rows.assign(lower_edge_mm=np.where(named(rows, name), at, lower))
            elif kind == "wax":
                at = parse_length_mm(" ".join(match.groups()))
                rows = rows.assign(lower_edge_mm=np.maximum(lower, at))
            elif kind == "coat":
                mine = named(rows, match.group(1))
                assert rows["coats"].to_numpy()[mine] == int(match.group(3))
                assert rows["thickness_mm"].isna()[mine].all()
                rows = rows.assign(coats=np.where(mine, int(match.group(2)), rows["coats"]))
                assert int(match.group(2)) == int(match.group(3)) - 1 >= 1
                assert (rows["method"].ne("brush") | rows["coats"].ge(2))[mine].all()
            elif kind == "thickness":
                mine = named(rows, match.group(1))
                thick = rows["thickness_mm"].to_numpy()
                new = parse_length_mm(" ".join(match.groups()[1:]))
                assert 0.5 * thinner(rows, mine)["thickness_mm"].to_numpy()[mine] < new
                assert new < thick[mine]
                rows = rows.assign(thickness_mm=np.where(mine, new, thick))
            elif kind == "hold":
                rows = rows.assign(hold_min=float(match.group(1)))
            else:
                assert cones().index(match.group(1)) == cones().index(match.group(2)) - 1
                rows = rows.assign(cone=match.group(1))
    return rows, count


@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.parametrize("logged", [False, True])
def test_every_change_that_is_told_holds_as_it_is_printed(logged, units):
    found = told_of(logged)
    parts, counts = [], []
    for piece in told(found, units).pieces.itertuples():
        rows = plan().loc[plan()["piece"] == piece.piece]
        changed, count = applied(rows, piece.advice)
        assert (count > 0) == (piece.risk > 0.05 and "Not on this pot" not in piece.advice)
        if not count:
            continue
        counts.append(count)
        parts.append(changed)
        bare, was, top = changed["lower_edge_mm"].min(), rows["lower_edge_mm"].min(), rows[
            "upper_edge_mm"].max()  # fmt: skip
        assert bare <= max(MOST_WAX_SHARE * top, was) + 1e-9
    risk = again(found, pd.concat(parts))
    assert len(risk) == len(parts) > 60
    assert set(counts) == {1, 2}
    assert (risk <= 0.05 + 1e-12).all(), risk.loc[risk > 0.05]
    after = told(found, units).pieces.set_index("piece")["after"]
    assert risk.to_numpy() == pytest.approx(after.loc[risk.index].to_numpy(), abs=1e-6)
    assert any("thick (dry)" in sentence for sentence in told(found, units).pieces["advice"])


def extremes(rows, step):
    """What may be done to each piece at most, by kind, as changes to all rows of a plan."""
    top = rows.groupby("piece")["layer"].transform("max")
    height = rows.groupby("piece")["upper_edge_mm"].transform("max")
    band = step * np.floor(MOST_WAX_SHARE * height / step + 1e-9)

    def edge(mine):
        at = step * np.floor((rows["upper_edge_mm"] - 10.0) / step + 1e-9)
        return lambda r: r.assign(
            lower_edge_mm=np.where(mine, np.maximum(r["lower_edge_mm"], at), r["lower_edge_mm"])
        )

    def coat(layer):
        least = np.where(rows["method"].eq("brush"), 2, 1)
        mine = rows["layer"].eq(layer) & (rows["coats"] > least)
        return lambda r: thinner(r, mine.to_numpy().astype(int))

    below = dict(zip(cones()[1:], cones()[:-1], strict=True))
    each = range(1, rows["layer"].max() + 1)
    return {
        "wax": [lambda r: r.assign(lower_edge_mm=np.maximum(r["lower_edge_mm"], band))],
        "top": [edge(rows["layer"].eq(top) & top.gt(1))],
        "edge": [edge(rows["layer"].eq(k) & top.ne(k)) for k in each],
        "coat": [coat(k) for k in each],
        "hold": [lambda r: r.assign(hold_min=0.0)],
        "cone": [lambda r: r.assign(cone=r["cone"].map(below))],
    }


@pytest.mark.parametrize("units", ["mm", "in"])
@pytest.mark.parametrize("logged", [False, True])
def test_not_on_this_pot_is_true_of_every_combination(logged, units):
    found = told_of(logged)
    pieces = told(found, units).pieces
    not_on = pieces.loc[pieces["advice"].str.startswith("Not on this pot"), "piece"]
    assert len(not_on) > 20
    rows = plan().loc[plan()["piece"].isin(not_on)]
    was = rows.groupby("piece", sort=False)["lower_edge_mm"].min()
    height = rows.groupby("piece", sort=False)["upper_edge_mm"].max()
    kinds, tried = extremes(rows, STEP_MM[units]), 0
    for some in combinations(kinds, 2):
        for changes in product(*(kinds[kind] for kind in some)):
            changed = rows
            for change in changes:
                changed = change(changed)
            bare = changed.groupby("piece", sort=False)["lower_edge_mm"].min()
            allowed = bare <= np.maximum(MOST_WAX_SHARE * height, was) + 1e-9
            risk = again(found, changed)
            tried += int(allowed.sum())
            assert (risk.loc[allowed[allowed].index] > 0.05).all(), some
    assert tried > 1000


@pytest.mark.parametrize(
    ("risk", "runs_mm", "units", "sentence", "spread"),
    [
        (0.0, (0.1, 0.4, 0.9), "mm", "under 1 mm", "under 1 mm"),
        (0.0, (0.1, 0.4, 5.2), "mm", "under 1 mm, up to 5 mm", "up to 5 mm"),
        (0.1, (0.1, 0.4, 9.0), "mm", "under 1 mm, up to past the foot", "up to past the foot"),
        (0.0, (0.1, 6.0, 9.0), "mm", "6 mm (under 1 mm to 9 mm)", "under 1 mm to 9 mm"),
        (0.0, (4.0, 4.1, 5.0), "mm", "4 mm (4 mm to 5 mm)", "4 mm to 5 mm"),
        (0.6, (4.0, 9.0, 9.0), "mm", "past the foot (4 mm to past the foot)",
         "4 mm to past the foot"),
        (0.99, (9.0, 9.0, 9.0), "mm", "past the foot", "past the foot"),
        (0.0, (0.1, 0.4, 6.4), "in", "under 1/16 in, up to 1/4 in", "up to 1/4 in"),
    ],
)  # fmt: skip
def test_a_run_and_its_range_say_nothing_twice(risk, runs_mm, units, sentence, spread):
    names = ("run_p05_mm", "run_p50_mm", "run_p95_mm")
    layer = SimpleNamespace(risk=risk, **dict(zip(names, runs_mm, strict=True)))
    assert run_sentence(layer, units) == sentence
    assert run_words(layer, units)[1] == spread
