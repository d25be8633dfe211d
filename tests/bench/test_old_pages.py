"""My pots: found again by what she remembers of them, opened, and planned once more."""

import re
from pathlib import Path

import pandas as pd
import pytest
from helpers.reviews import reviewed

from runpredict.bench.old_pages import coat_to_spare
from runpredict.bench.shelf import FILTERS, narrowed, shelf_of
from runpredict.tables.csv_files import read_table

pytestmark = pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning")
SAMPLE = Path(__file__).parents[2] / "sample_data"
LOG = pd.read_csv(SAMPLE / "log.csv")
OPEN = dict.fromkeys(("q", *FILTERS), "")


@pytest.fixture(scope="module")
def shelf():
    return shelf_of(read_table(SAMPLE / "log.csv", "layers"))


def counted(visitor, address):
    visitor.get(address)
    return int(re.search(r"(\d+) pots?[,.]", visitor.text).group(1))


def test_each_filter_finds_what_the_table_has(shelf):
    """Against a count by hand over the table of the sample."""
    pots = LOG.groupby(["piece", "firing"])
    glaze = LOG["glaze"].iloc[0]
    with_it = LOG.loc[LOG["glaze"] == glaze].drop_duplicates(["piece", "firing"])
    assert len(narrowed(shelf, OPEN | {"glaze": glaze})) == len(with_it)
    past = pots["past_foot"].apply(lambda words: (words == "yes").any()).sum()
    assert len(narrowed(shelf, OPEN | {"result": "past"})) == past > 0
    mugs = LOG.loc[LOG["form"] == "mug"].drop_duplicates(["piece", "firing"])
    assert len(narrowed(shelf, OPEN | {"form": "mug"})) == len(mugs)
    named = LOG.loc[LOG["firing"] == "Mabel"].drop_duplicates("piece")
    assert len(narrowed(shelf, OPEN | {"q": "MAB"})) == len(named)
    both = OPEN | {"glaze": glaze, "form": "mug"}
    assert len(narrowed(shelf, both)) == len(with_it.loc[with_it["form"] == "mug"])


def test_a_pair_is_what_lies_over_what(shelf):
    """Two bands that touch only a third are each over the third, and no pair of their own."""
    rows = pd.DataFrame(
        {
            "piece": "band", "firing": "f", "layer": [3, 1, 2], "side": "", "form": "mug",
            "glaze": ["Low Band", "Base", "High Band"], "lower_edge_mm": [5.0, 2.0, 60.0],
            "upper_edge_mm": [40.0, 95.0, 90.0], "fired_on": "", "glazed_by": "", "lost": "",
            "run_mm": float("nan"), "past_foot": "",
        }
    )  # fmt: skip
    (pairs,) = shelf_of(rows)["pair"]
    assert pairs == ["", "High Band over Base", "Low Band over Base"]
    met = {
        (pot, f"{over.glaze} over {under.glaze}")
        for pot, layers in LOG.groupby(["piece", "firing"])
        for over in layers.itertuples()
        for under in [_next_beneath(layers, over)]
        if under is not None
    }
    told = {((pot.piece, pot.firing), pair) for pot in shelf.itertuples() for pair in pot.pair}
    assert {one for one in told if one[1]} == met
    over = next(pair for _, pair in sorted(met))
    assert len(narrowed(shelf, OPEN | {"pair": over})) == sum(pair == over for _, pair in met)


def _next_beneath(layers, over):
    """The highest layer of another glaze below one, that covers some of the same wall."""
    found = layers.loc[
        (layers["layer"] < over.layer)
        & (layers["glaze"] != over.glaze)
        & (layers["lower_edge_mm"] < over.upper_edge_mm)
        & (layers["upper_edge_mm"] > over.lower_edge_mm)
    ]
    return None if found.empty else next(found.sort_values("layer").iloc[[-1]].itertuples())


def test_the_list_is_short_and_goes_on(visitor):
    of = counted(visitor, "/pots")
    assert of > 40
    first = re.findall(r'class="go" href="([^"]+)"', visitor.text)
    assert len(first) == 40
    visitor.get("/pots?page=2")
    second = re.findall(r'class="go" href="([^"]+)"', visitor.text)
    assert len(second) == min(of - 40, 40) and not set(first) & set(second)
    assert counted(visitor, "/pots?q=nobody") == 0


def test_an_old_pot_says_what_was_told_and_what_became_of_it(visitor, app):
    row = LOG.loc[LOG["run_mm"].gt(0)].iloc[0]
    visitor.get(f"/old?piece={row.piece}&firing={row.firing}")
    assert f"ran {row.run_mm:g} mm" in re.sub(r"\s+", " ", visitor.text)
    seen = {"piece": row.piece, "firing": row.firing, "layer": [row.layer], "risk": 0.31}
    with reviewed(app, seen):
        visitor.get(f"/old?piece={row.piece}&firing={row.firing}")
    assert visitor.text.count("<td>31 % past the foot</td>") == 1
    assert visitor.get("/old?piece=nobody&firing=never").status_code == 404
    visitor.get("/old?piece=mug 2&firing=Dabchick")  # planned still: its form
    assert visitor.follow().status_code == 200


def test_again_with_one_coat_less(visitor, app):
    rows = app.extensions["session"].studio.snapshot().pots
    pot, layer = next(
        (pot, spare) for pot in rows if (spare := coat_to_spare(rows[pot])) and pot[1] == "Mabel"
    )
    coats = int(rows[pot].set_index("layer").loc[layer, "coats"])
    visitor.get(f"/old?piece={pot[0]}&firing={pot[1]}")
    assert "Again with one coat less" in visitor.text
    visitor.get(f"/pot?piece={pot[0]}&firing={pot[1]}&copy=1&less=1")
    assert visitor.fields("/pot")[f"coats-{layer}"] == str(coats - 1)


def test_the_coat_is_taken_off_the_layer_that_went_worst():
    rows = pd.DataFrame(
        {
            "layer": [1, 2, 3], "side": "", "coats": [2.0, 3.0, 1.0], "thickness_mm": float("nan"),
            "past_foot": ["no", "no", "yes"], "run_mm": [9.0, 4.0, float("nan")],
        }
    )  # fmt: skip
    assert coat_to_spare(rows) == 1
    assert coat_to_spare(rows.assign(past_foot=["no", "yes", "no"])) == 2
    assert coat_to_spare(rows.assign(coats=1.0)) is None
    assert coat_to_spare(rows.assign(thickness_mm=0.5)) is None
