"""What to fire next: the arithmetic against brute force, the choice against common sense."""

import numpy as np
import pandas as pd
import pytest
from helpers.pieces import MANY_HOLDS, pieces
from helpers.pieces import glazes as all_glazes
from helpers.studios import studio
from helpers.tables import ANALYSIS, faults_of, layers
from scipy.special import ndtr

from runpredict import check
from runpredict.answers.teach import LEAST_TAKEN, what_to_fire
from runpredict.answers.teach_belief import Belief, Margins, explained_by, told_apart
from runpredict.model.studio import Studio
from runpredict.tables.plan import check_plan
from runpredict.words.lessons import lessons_text

pytestmark = MANY_HOLDS

JAR = {"glaze": "unknown jar", "source": "jar"}


@pytest.fixture(autouse=True)
def own_cache(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))


def plan_of(jars, known):
    """So many pots of a jar nobody knows, and of a glaze of known chemistry."""
    rows = [{"piece": f"j{i}", "glaze": "unknown jar", "lower_edge_mm": 10.0} for i in range(jars)]
    rows += [{"piece": f"k{i}", "glaze": "sea", "lower_edge_mm": 10.0} for i in range(known)]
    return layers(*rows)


def tables_of(plan, log=None, glazes=None):
    named = pd.DataFrame([ANALYSIS, JAR]) if glazes is None else glazes
    return check_plan(plan, named, log=log)


def random_belief(seed, p=4, m=3):
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(p, p))
    belief = Belief({i: i for i in range(p)}, np.zeros(p), root @ root.T, Studio())
    margins = Margins(rng.normal(size=(m, p)), rng.normal(size=m), rng.uniform(0.2, 1.0, m))
    readings = rng.normal(size=(2, p)), np.diag(rng.uniform(0.1, 0.5, 2))
    return rng, belief, margins, readings


@pytest.mark.parametrize("seed", range(4))
def test_the_variance_that_a_reading_explains(seed):
    """Against ordinary conditioning of the joint normal distribution."""
    _, belief, margins, readings = random_belief(seed)
    explained = explained_by(margins, belief, readings, belief.covariance @ margins.design.T)
    left = margins.variance(belief.after(*readings).covariance)
    assert explained == pytest.approx(margins.variance(belief.covariance) - left)
    precision = np.linalg.inv(belief.covariance)
    precision += readings[0].T @ np.linalg.inv(readings[1]) @ readings[0]
    brute = (margins.design @ np.linalg.inv(precision) * margins.design).sum(axis=1)
    assert left == pytest.approx(brute)


@pytest.mark.parametrize("seed", range(3))
def test_the_doubt_that_a_reading_takes_away(seed):
    """Against a simulation: truths, readings of them, and what is told after each."""
    rng, belief, margins, (design, noise) = random_belief(seed)
    truth = rng.multivariate_normal(np.zeros(len(belief.covariance)), belief.covariance, 40_000)
    read = truth @ design.T + rng.multivariate_normal(np.zeros(2), noise, len(truth))
    toward = belief.covariance @ design.T
    gain = toward @ np.linalg.inv(design @ toward + noise)
    after = belief.after(design, noise)
    sd = np.sqrt(margins.variance(after.covariance) + margins.chance_variance)
    told = ndtr((margins.mean + read @ gain.T @ margins.design.T) / sd)
    variance = margins.variance(belief.covariance)
    explained = variance - margins.variance(after.covariance)
    assert told_apart(margins, variance, explained) == pytest.approx(told.var(axis=0), rel=0.05)
    chance = ndtr((margins.mean + truth @ margins.design.T) / np.sqrt(margins.chance_variance))
    whole = told_apart(margins, variance, variance)
    assert whole == pytest.approx(chance.var(axis=0), rel=0.05)


def test_the_jar_that_most_pots_carry_comes_first():
    found = what_to_fire(tables_of(plan_of(jars=9, known=1)))
    assert found.lessons["glazes"].iloc[0] == "unknown jar"
    assert found.lessons["pieces"].iloc[0] == 9
    assert found.basis == "rules"


def test_a_glaze_that_is_not_planned_is_never_asked_for():
    found = what_to_fire(tables_of(plan_of(jars=0, known=4)))
    assert set(found.lessons["glazes"]) == {"sea"}


def test_each_counts_with_those_before_it():
    found = what_to_fire(tables_of(pieces(3, 40), glazes=all_glazes()), count=6).lessons
    assert (found["doubt_before"] - found["doubt_after"] >= LEAST_TAKEN).all()  # as it is told
    assert (found["share_removed"] > 0).all()
    assert found["share_removed"].sum() < 1
    assert found["doubt_before"].iloc[1:].tolist() == found["doubt_after"].iloc[:-1].tolist()
    assert found["name"].is_unique


def test_the_layers_can_be_planned_as_they_are():
    plan = pieces(4, 30)
    tables = tables_of(plan, glazes=all_glazes())
    found = what_to_fire(tables)
    answer = check(found.layers, all_glazes())
    assert len(answer.pieces) == len(found.lessons) == 5
    tiles = found.layers
    assert tiles["piece"].str.startswith("tile of").all()
    assert (tiles["wall_deg"] == 90).all()
    assert tiles["thickness_mm"].notna().all()
    assert (tiles["lower_edge_mm"] < tiles["upper_edge_mm"]).all()
    assert set(tiles["glaze"]) <= set(plan["glaze"])


def test_what_a_log_knows_is_no_longer_asked_for():
    """Sixty tiles of the jar fired: how fluid it is here is known, and less of the doubt its."""
    plan = plan_of(jars=5, known=5)
    rng = np.random.default_rng(2)
    log = layers(
        *(
            {
                "piece": f"t{i}",
                "firing": f"old {i % 12}",
                "glaze": "unknown jar",
                "lower_edge_mm": 60.0,
                "thickness_mm": 0.5,
                "run_mm": round(rng.uniform(4, 9), 1),
                "past_foot": "no",
            }
            for i in range(60)
        )
    )
    before = what_to_fire(tables_of(plan))
    after = what_to_fire(tables_of(plan, log))
    assert after.basis != "rules"
    was, now = (found.lessons.set_index("glazes").loc["unknown jar"] for found in (before, after))
    assert now["within_before"] < 0.25 * was["within_before"]
    assert now["share_removed"] < 0.75 * was["share_removed"]


def test_nothing_in_doubt_nothing_to_fire():
    plan = layers({"lower_edge_mm": 85.0, "upper_edge_mm": 86.0, "cone": "06", "coats": 1})
    found = what_to_fire(tables_of(plan))
    assert found.lessons.empty and found.layers.empty
    assert lessons_text(found).startswith("Nothing to fire first: every risk is known")


@pytest.mark.parametrize("count", [1, 2])
def test_no_more_than_were_asked_for(count):
    assert len(what_to_fire(tables_of(plan_of(4, 4)), count=count).lessons) == count


def test_none_is_too_few():
    (fault,) = faults_of(what_to_fire, tables_of(plan_of(1, 1)), 0)
    assert fault == "--count: 0 is too few; give 1 or more."


def test_tiles_are_glazed_as_the_pots_are():
    """In the methods and coats of the plan, a stack in those of a pot that bears it."""
    plan = pieces(6, 40)
    found = what_to_fire(tables_of(plan, glazes=all_glazes()), count=8).layers
    planned = set(zip(plan["glaze"], plan["method"], plan["coats"], strict=True))
    assert set(zip(found["glaze"], found["method"], found["coats"], strict=True)) <= planned


def test_no_tile_is_named_twice_nor_put_in_the_firing_it_informs():
    plan = plan_of(5, 5)
    found = what_to_fire(tables_of(plan), count=12)
    same = found.layers.groupby("piece").agg({"glaze": tuple, "method": tuple, "coats": tuple})
    assert not found.layers.assign(piece="").duplicated().any()
    assert len(same) == len(found.lessons) < 12
    assert set(found.layers["firing"]).isdisjoint(plan["firing"])


def test_a_typed_firing_is_followed():
    plan = layers({"firing": "slow", "cone": "", "lower_edge_mm": 8.0, "glaze": "unknown jar"})
    schedules = pd.DataFrame(
        {"firing": ["slow"], "segment": [1], "rate_c_per_h": [80.0], "target_c": [1220.0]}
    )
    tables = check_plan(plan, pd.DataFrame([ANALYSIS, JAR]), schedules=schedules)
    found = what_to_fire(tables, count=2)
    assert (found.layers["firing"] == "before slow").all()
    assert "its schedule" in lessons_text(found)
    again = check(found.layers, pd.DataFrame([ANALYSIS, JAR]), schedules=found.schedules)
    assert len(again.pieces) == len(found.lessons)


def test_the_text_names_the_number_first_and_says_why():
    found = what_to_fire(tables_of(plan_of(5, 2)))
    text = lessons_text(found)
    assert text.split()[0].replace(".", "").isdigit()
    assert "points of 100" in text
    assert " ".join(text.split()).count("This tells you how low") == len(found.lessons)
    assert "how low unknown jar may come on 5 pots" in " ".join(text.split())
    assert "dust" in text  # the usual caution
    assert " in above its foot" in lessons_text(found, "in")


@pytest.mark.slow
def test_the_tiles_named_teach_more_than_tiles_at_random():
    """Mean over invented studios of the log loss on the plan after firing eight tiles."""
    named, random, untaught = [], [], []
    for seed in range(8):
        world = studio(100 + seed, logged=8, planned=200)
        rng = np.random.default_rng(seed)

        def loss(log, world=world):
            chance = np.clip(check(world.plan, world.glazes, log).pieces["risk"], 0.002, 0.998)
            return -np.log(np.where(world.past, chance, 1 - chance)).mean()

        tables = check_plan(world.plan, world.glazes, log=world.log)
        tiles = what_to_fire(tables, count=8).layers
        blind = tiles_at_random(rng, world.plan, 8)
        untaught.append(loss(world.log))
        for losses, table in ((named, tiles), (random, blind)):
            fired = world.fire(table.assign(firing="tiles"), np.random.default_rng(seed))
            losses.append(loss(pd.concat([world.log, fired], ignore_index=True)))
    print(f"\nlog loss: {np.mean(untaught):.3f} untaught, {np.mean(random):.3f} after tiles at "
          f"random, {np.mean(named):.3f} after those named")  # fmt: skip
    assert np.mean(named) < np.mean(random) < np.mean(untaught)


def tiles_at_random(rng, plan, count):
    """Upright tiles of glazes drawn from the plan, one layer each, coats and heat as planned."""
    rows = plan.iloc[rng.choice(len(plan), count, replace=False)]
    return rows.assign(
        piece=[f"random {i}" for i in range(count)],
        layer=1, wall_deg=90.0, foot_mm=40.0, lower_edge_mm=40.0, upper_edge_mm=100.0,
        thickness_mm=0.5,
    )  # fmt: skip
