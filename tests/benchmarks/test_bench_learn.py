"""How long learning takes, and a check with what was learned; run with -m slow."""

import statistics
import subprocess
import sys
import time

import pytest
from helpers.studios import studio

from runpredict import review
from runpredict.answers.teach import what_to_fire
from runpredict.commands import main as cli
from runpredict.model.features import features_of
from runpredict.model.outcomes import outcomes_of
from runpredict.model.stacks import stacks_of
from runpredict.model.trial import train
from runpredict.tables.plan import check_plan

pytestmark = pytest.mark.slow

MOST_TIMES_SKLEARN = 1.5
PAIRS_TIMED = 15


def logged(pieces, glazes):
    world = studio(21, logged=pieces, planned=8, glaze_count=glazes)
    tables = check_plan(None, world.glazes, log=world.log)
    stacks = stacks_of(features_of(tables.log, tables.glazes, tables.schedules))
    return stacks, outcomes_of(tables.log, stacks)


@pytest.mark.parametrize(("pieces", "glazes", "seconds"), [(1_000, 14, 8.0), (10_000, 80, 25.0)])
def test_training(benchmark, pieces, glazes, seconds):
    """On one core, with the share done told as it goes."""
    told = []
    stacks, outcomes = logged(pieces, glazes)
    begun = time.process_time()
    benchmark.pedantic(train, (stacks, outcomes, told.append), rounds=1)
    on_one_core = time.process_time() - begun
    benchmark.extra_info["processor_seconds"] = on_one_core
    assert on_one_core <= seconds
    assert told == sorted(told) and told[0] < 0.05 and told[-1] == pytest.approx(1.0)


def test_looking_back_on_a_thousand_pieces(benchmark, tmp_path, monkeypatch):
    """Two trainings, and all the tables: no more than 20 s."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    world = studio(21, logged=1000, planned=8, glaze_count=14)
    benchmark.pedantic(review, (world.log, world.glazes), rounds=1)
    assert benchmark.stats.stats.max <= 20.0


def test_what_to_fire_for_two_thousand_planned_pieces(benchmark, tmp_path, monkeypatch):
    """Training apart: no more than 10 s."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    world = studio(21, logged=2000, planned=8, glaze_count=14)
    plan = world.log.assign(past_foot="", run_mm=float("nan"))
    tables = check_plan(plan, world.glazes, log=world.log.head(200))
    what_to_fire(tables)
    benchmark.pedantic(what_to_fire, (tables,), rounds=1)
    assert benchmark.stats.stats.max <= 10.0


def test_a_cold_start_with_a_trained_model(benchmark, tmp_path, monkeypatch):
    """No slower than 1.5 times `import pandas, sklearn`, medians of programs run in turn."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    sample = cli.sample_folder()
    run = [sys.executable, "-m", "runpredict", "check"]
    for option, name in (("plan", "layers"), ("log", "log"), ("glazes", "glazes"),
                         ("recipes", "recipes"), ("schedules", "schedules")):  # fmt: skip
        run += [f"--{option}", str(sample / f"{name}.csv")]
    bare = [sys.executable, "-c", "import pandas, sklearn"]

    def seconds(command):
        start = time.perf_counter()
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, timeout=120)
        return time.perf_counter() - start

    for command in (bare, run):
        seconds(command)
    pairs = [(seconds(bare), seconds(run)) for _ in range(PAIRS_TIMED)]
    sklearn_s, check_s = (statistics.median(side) for side in zip(*pairs, strict=True))
    benchmark.extra_info["times_sklearn"] = check_s / sklearn_s
    benchmark.pedantic(seconds, (run,), rounds=1)
    print(f"\n{sklearn_s:.2f} s bare, {check_s:.2f} s a check")
    assert check_s <= MOST_TIMES_SKLEARN * sklearn_s
