"""What a review says of batches, kilns, shelves and hands: only what the log bears, in words."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from helpers.tables import layers

from runpredict import review
from runpredict.answers.review_effects import EFFECT_COLUMNS
from runpredict.words.reviews import MOST_TAUGHT, TAUGHT, TAUGHT_LEAD, review_lines, review_text

JARS = pd.DataFrame([{"glaze": name, "source": "jar"} for name in ("River", "Chalk")])
SEPTEMBER = "September bucket"


@pytest.fixture(scope="module", autouse=True)
def own_cache(tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))
        yield


def log_of(run_mm, first="June bucket"):
    """Two glazes in ten firings; of one the runs double, or not, with a bucket told in the last."""
    rng = np.random.default_rng(4)
    rows = []
    for k in range(60):
        glaze, late = ("River", "Chalk")[k % 2], k // 6 >= 5
        ran = run_mm[late] if glaze == "River" else 4.0
        batch = "" if glaze == "Chalk" else SEPTEMBER if late else first
        rows.append(
            {"piece": f"p{k}", "firing": f"f{k // 6}", "glaze": glaze, "thickness_mm": 0.9,
             "lower_edge_mm": 60.0, "upper_edge_mm": 140.0, "batch": batch, "past_foot": "no",
             "run_mm": round(ran * rng.lognormal(0.0, 0.15), 1)}
        )  # fmt: skip
    return layers(*rows)


def taught(found):
    """What the review says that was taught, "" where it says nothing of it."""
    parts = [part.lines for part in review_lines(found, "mm") if TAUGHT_LEAD in part.lead]
    return " ".join(parts[0]) if parts else ""


@pytest.mark.parametrize("first", ["June bucket", ""], ids=["two told", "the first not told"])
def test_a_bucket_that_runs_farther_is_said_with_its_range(first):
    found = review(log_of((5.0, 15.0), first), JARS)
    (row,) = found.batches.itertuples()
    assert (row.glaze, row.batch, row.layers) == ("River", SEPTEMBER, 15)
    assert 1.0 < row.low < row.factor < row.high
    assert 2.0 < row.run_factor < 4.0  # three times, as planted
    assert row.run_low < row.run_factor < row.run_high
    assert f'River: since the batch "{SEPTEMBER}" it runs about ' in taught(found)
    assert f"({row.run_low:.2g} to {row.run_high:.2g} times)." in taught(found)
    assert "it runs about" in review_text(found)


def test_a_bucket_like_the_last_is_not_said():
    found = review(log_of((6.0, 6.0)), JARS)
    (row,) = found.batches.itertuples()
    assert row.low < 1.0 < row.high
    assert "bucket" not in taught(found)


def test_a_bucket_is_weighed_against_what_was_fired_before_it():
    """The only bucket of a glaze is new to nothing; nor is one that was there from the first."""
    assert review(log_of((5.0, 15.0), SEPTEMBER), JARS).batches.empty


@pytest.mark.parametrize("family", TAUGHT)
def test_every_effect_is_said_where_its_range_bears_it_and_only_there(family):
    base = review(log_of((6.0, 6.0)), JARS)
    rows = [
        (family, "this", 2.0, 1.2, 3.3, 9, 2.0, 1.2, 3.3),
        (family, "", 0.5, 0.3, 0.9, 9, 0.5, 0.3, 0.9),
        (family, "that", 1.3, 0.8, 2.1, 9, 1.2, 0.9, 1.5),
    ]
    found = replace(base, effects=pd.DataFrame(rows, columns=EFFECT_COLUMNS))
    said = taught(found)
    assert "this" in said and "about twice as" in said and "(1.2 to 3.3 times)." in said
    assert "about half as" in said and "The kiln" in said
    assert "that" not in said.replace("so that", "")


def test_a_long_list_is_cut_and_says_so():
    base = review(log_of((6.0, 6.0)), JARS)
    rows = [
        ("shelf", f"shelf {k}", 2.0, 1.2, 3.3, 9, 1.5, 1.1, 2.0) for k in range(MOST_TAUGHT + 3)
    ]
    found = replace(base, effects=pd.DataFrame(rows, columns=EFFECT_COLUMNS))
    assert "3 more, in the tables" in taught(found)


def test_without_days_a_review_asks_for_them_and_counts_no_month():
    said = review_text(review(log_of((6.0, 6.0)).assign(fired_on=""), JARS))
    assert "Give each firing its day (fired_on)" in said
    assert "no date" not in said


def test_a_firing_without_a_name_is_called_so_within_a_sentence():
    said = review_text(review(log_of((6.0, 6.0)).assign(firing="", past_foot="yes"), JARS))
    assert "In the firing without a name, the newest, past the foot" in " ".join(said.split())
    assert "in not named" not in said.casefold()
