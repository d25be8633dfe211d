"""The closed film solution against a general one of the same accuracy; run with -m slow."""

import time

import numpy as np
import pytest
from helpers.films import front_m, method_of_lines

from runpredict.physics import film

pytestmark = pytest.mark.slow

FASTER = 100.0
ACCURACY = 0.05  # of the run; the general one smears its front over a few cells
CELLS = 500
MOBILITY, BASE_M, TOP_M, UPPER_M, TOP_LOWER_M = 2e5, 2.5e-4, 6e-4, 0.06, 0.02


def test_closed_solution_is_a_hundred_times_faster(benchmark):
    """One piece of two layers each way; the closed one has no better than its own overhead."""
    lower = np.array([[0.0, TOP_LOWER_M]])
    upper = np.full((1, 2), UPPER_M)
    thickness = np.array([[BASE_M, TOP_M]])
    mobility = np.full((1, 2), MOBILITY)

    def closed():
        return film.run_m(lower, upper, thickness, mobility)[0, 0]

    def start_m(x):
        above = UPPER_M - x
        return np.where(above > 0, BASE_M, 0.0) + np.where(above > TOP_LOWER_M, TOP_M, 0.0)

    def general():
        return front_m(*method_of_lines(start_m, MOBILITY, 2.5 * UPPER_M, CELLS)) - UPPER_M

    run = benchmark(closed)
    times = []
    for _ in range(5):
        begun = time.perf_counter()
        numerical = general()
        times.append(time.perf_counter() - begun)
    assert numerical == pytest.approx(run, rel=ACCURACY)
    ratio = min(times) / benchmark.stats.stats.median
    benchmark.extra_info["times_faster"] = ratio
    assert ratio >= FASTER


def test_many_pieces_at_a_time(benchmark):
    """What a check asks: thousands of pieces in one call."""
    rng = np.random.default_rng(1)
    upper = np.repeat(rng.uniform(0.05, 0.2, (2000, 1)), 2, axis=1)
    lower = upper * rng.uniform(0, 0.8, (2000, 2))
    thickness = rng.lognormal(np.log(4e-4), 0.5, (2000, 2))
    mobility = rng.lognormal(np.log(1e5), 1.5, (2000, 2))
    runs = benchmark(lambda: film.run_m(lower, upper, thickness, mobility))
    assert runs.shape == (2000, 2)
    assert (runs >= 0).all()
