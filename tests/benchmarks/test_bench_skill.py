"""Skill against general learners on invented studios; run with -m slow, -s shows the table.

RUNPREDICT_WORLDS may name a folder of more studios, each a folder with glazes.csv, log_NNNN.csv
(NNNN pieces), plan.csv and truth.csv (`any` and, if there is one, `oracle_piece` by layer).
"""

import os
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from helpers.skill import compare
from helpers.studios import studio

from runpredict import read_table

pytestmark = pytest.mark.slow

SEEDS = (0, 1, 2, 3)
SIZES = (0, 30, 100, 300)
WORLDS = os.environ.get("RUNPREDICT_WORLDS")
TOOL = "runpredict"


@pytest.fixture(autouse=True)
def own_cache(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))


def first_pieces(log, count):
    number = log.groupby(["firing", "piece"], sort=False).ngroup()
    return log.loc[number < count].reset_index(drop=True)


def table_of(parts):
    """Mean over studios, by size and by who was asked; printed for the reader."""
    mean = pd.concat(parts).groupby(level=[0, 1], sort=False).mean()
    print(f"\nMean of {len({part.attrs['studio'] for part in parts})} studios, per piece:")
    print(mean.round(3).to_string())
    return mean


def compared(studio_name, size, *args):
    part = compare(*args)
    part.index = pd.MultiIndex.from_product([[size], part.index], names=["pieces", "asked"])
    part.attrs["studio"] = studio_name
    return part


def assert_best(mean):
    """Better than every peer from 30 pieces up, and than the base rate without a log."""
    for size, told in mean.groupby(level=0):
        loss = told.droplevel(0)["log_loss"]
        assert loss[TOOL] < loss.drop(TOOL).min(), f"at {size} pieces"
        brier = told.droplevel(0)["brier"]
        assert brier[TOOL] < brier.drop(TOOL).min(), f"at {size} pieces"


def test_skill_on_invented_studios():
    parts = []
    for seed in SEEDS:
        world = studio(seed, logged=max(SIZES))
        parts += [
            compared(seed, size, first_pieces(world.log, size), world.plan, world.glazes,
                     world.past, world.oracle)
            for size in SIZES
        ]  # fmt: skip
    mean = table_of(parts)
    assert_best(mean)
    assert (mean.xs(TOOL, level=1)["regret"].diff().dropna() < 0).all(), "more pieces teach more"


@pytest.mark.skipif(WORLDS is None, reason="RUNPREDICT_WORLDS names no folder of studios")
def test_skill_on_given_studios():
    parts = []
    for folder in sorted(path for path in Path(WORLDS).iterdir() if path.is_dir()):
        glazes = read_table(folder / "glazes.csv", "glazes")
        plan = read_table(folder / "plan.csv", "layers")
        truth = pd.read_csv(folder / "truth.csv").groupby(["firing", "piece"], sort=False).first()
        order = plan.drop_duplicates(["firing", "piece"])[["firing", "piece"]]
        truth = truth.loc[pd.MultiIndex.from_frame(order)]
        past = truth["any"].to_numpy().astype(bool)
        oracle = truth["oracle_piece"].to_numpy() if "oracle_piece" in truth else None
        logs = {0: None} | {int(p.stem[4:]): p for p in sorted(folder.glob("log_*.csv"))}
        for size, path in logs.items():
            log = plan.head(0) if path is None else read_table(path, "layers")
            parts.append(compared(folder.name, size, log, plan, glazes, past, oracle))
    mean = table_of(parts)
    assert not np.isnan(mean["log_loss"]).any()
    assert_best(mean)
