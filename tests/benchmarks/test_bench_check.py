"""How long a check takes, and how much memory; run with -m slow."""

import statistics
import subprocess
import sys
import time
import tracemalloc

import numpy as np
import pandas as pd
import pytest

from runpredict import check
from runpredict.commands import main as cli

pytestmark = pytest.mark.slow

SECONDS = 20.0
MEMORY_BYTES = 2**30
MOST_TIMES_PANDAS = 2.0


def plan_of(rows):
    """Two layers a piece, forty glazes, many firings; invented."""
    rng = np.random.default_rng(7)
    pieces = rows // 2
    piece = np.repeat(np.arange(pieces), 2)
    firing = piece // 50
    cone = np.random.default_rng(8).choice(["04", "5", "6", "10"], firing.max() + 1)
    return pd.DataFrame(
        {
            "piece": [f"p{i}" for i in piece],
            "firing": [f"f{i}" for i in firing],
            "cone": cone[firing],
            "hold_min": 10.0 + firing % 7,
            "wall_deg": rng.integers(60, 120, rows).astype(float),
            "foot_mm": 70.0,
            "layer": np.tile([1, 2], pieces),
            "glaze": rng.choice([f"g{i}" for i in range(40)], rows),
            "method": rng.choice(["dip", "pour", "brush", "spray"], rows),
            "coats": rng.integers(1, 4, rows),
            "lower_edge_mm": np.where(np.arange(rows) % 2, rng.uniform(30, 80, rows), 8.0).round(1),
            "upper_edge_mm": 110.0,
        }
    )


@pytest.fixture(scope="module")
def glazes():
    rng = np.random.default_rng(9)
    ends = {"SiO2": (50, 70), "Al2O3": (7, 17), "B2O3": (0, 9), "Na2O": (0, 6), "K2O": (0, 5),
            "MgO": (0, 4), "CaO": (5, 15), "ZnO": (0, 5)}  # fmt: skip
    wt = pd.DataFrame({oxide: rng.uniform(*e, 40) for oxide, e in ends.items()})
    wt = wt.mul(100 / wt.sum(axis=1), axis=0)
    return wt.assign(glaze=[f"g{i}" for i in range(40)], source="analysis")


def test_a_hundred_thousand_layers(benchmark, glazes):
    """No more than 20 s on one core."""
    plan = plan_of(100_000)
    found = benchmark.pedantic(check, (plan, glazes), rounds=2, warmup_rounds=0)
    assert len(found.layers) == 100_000
    assert benchmark.stats.stats.min <= SECONDS


def test_a_hundred_thousand_layers_fit_in_a_gibibyte(glazes):
    plan = plan_of(100_000)
    tracemalloc.start()
    check(plan, glazes)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak <= MEMORY_BYTES


def test_a_pot_of_twenty_layers(benchmark, glazes):
    """No more than 2 s of processor, advice and all."""
    plan = plan_of(2).iloc[:1]
    tower = pd.concat([plan] * 20, ignore_index=True).assign(
        layer=range(1, 21),
        glaze=[f"g{i}" for i in range(20)],
        lower_edge_mm=np.arange(5.0, 65.0, 3.0),
    )
    begun = time.process_time()
    benchmark.pedantic(check, (tower, glazes), rounds=1)
    assert time.process_time() - begun <= 2.0


def test_cost_is_linear_in_layers(benchmark, glazes):
    """Ten times the layers take no more than thirteen times as long."""

    def seconds(rows):
        plan = plan_of(rows)
        times = []
        for _ in range(3):
            start = time.perf_counter()
            check(plan, glazes)
            times.append(time.perf_counter() - start)
        return min(times)

    few = seconds(8_000)
    many = benchmark.pedantic(seconds, (80_000,), rounds=1)
    assert many <= 13 * few


def test_a_cold_start_on_the_sample(benchmark):
    """No slower than twice `python -c "import pandas"`, medians of programs run in turn."""
    sample = cli.sample_folder()
    run = [sys.executable, "-m", "runpredict", "check"]
    for option, name in (("plan", "layers"), ("glazes", "glazes"), ("recipes", "recipes"),
                         ("schedules", "schedules")):  # fmt: skip
        run += [f"--{option}", str(sample / f"{name}.csv")]
    bare = [sys.executable, "-c", "import pandas"]

    def seconds(command):
        start = time.perf_counter()
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, timeout=60)
        return time.perf_counter() - start

    for command in (bare, run):
        seconds(command)
    pairs = [(seconds(bare), seconds(run)) for _ in range(15)]
    pandas_s, check_s = (statistics.median(side) for side in zip(*pairs, strict=True))
    benchmark.extra_info["times_pandas"] = check_s / pandas_s
    benchmark.pedantic(seconds, (run,), rounds=1)
    assert check_s <= MOST_TIMES_PANDAS * pandas_s
