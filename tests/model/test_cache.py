"""Trained models are kept, found again, and never read from where others can write."""

import os
from dataclasses import replace
from pathlib import Path

import joblib
import pytest

from runpredict.model import cache
from runpredict.tables.plan import read_plan
from runpredict.tables.rows import empty_table

SAMPLE = Path(__file__).parents[2] / "sample_data"


@pytest.fixture
def tables(monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    read = read_plan(
        SAMPLE / "layers.csv",
        SAMPLE / "glazes.csv",
        log=SAMPLE / "log.csv",
        recipes=SAMPLE / "recipes.csv",
        schedules=SAMPLE / "schedules.csv",
    )
    # Two firings, too few to hold any back, train in a moment.
    few = read.log.loc[read.log["firing"].isin(["season 1", "season 2"])]
    return replace(read, log=few)


def times_trained(tables):
    calls = []
    found = cache.trained_on(tables, calls.append)
    return found, bool(calls)


def test_a_model_is_trained_once_and_again_when_the_log_changes(tables):
    first, trained = times_trained(tables)
    assert trained
    again, trained = times_trained(tables)
    assert not trained
    assert (again[0].studio.effects == first[0].studio.effects).all()
    changed = replace(tables, log=tables.log.iloc[:-1])
    assert times_trained(changed)[1]


def test_no_result_no_model(tables):
    bare = replace(tables, log=empty_table("layers"))
    assert cache.trained_on(bare) is None


def test_a_folder_others_can_write_to_is_neither_read_nor_written(tables):
    folder = cache.cache_folder()
    times_trained(tables)
    (kept,) = folder.glob("*.joblib")
    joblib.dump("planted", kept)
    folder.chmod(0o777)
    found, trained = times_trained(tables)
    assert trained
    assert found != "planted"
    assert joblib.load(kept) == "planted"


def test_a_linked_folder_is_not_trusted(tables, tmp_path):
    folder = cache.cache_folder()
    folder.parent.mkdir(parents=True)
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir(mode=0o700)
    folder.symlink_to(elsewhere)
    assert times_trained(tables)[1]
    assert not list(elsewhere.iterdir())


def test_a_damaged_model_is_trained_anew(tables):
    times_trained(tables)
    (kept,) = cache.cache_folder().glob("*.joblib")
    kept.write_bytes(kept.read_bytes()[:100])
    assert times_trained(tables)[1]
    assert not times_trained(tables)[1]


def test_a_cache_that_cannot_be_written_is_no_fault(tables, monkeypatch):
    def full(*_, **__):
        raise OSError("No space left on device")

    monkeypatch.setattr(joblib, "dump", full)
    assert times_trained(tables)[0] is not None
    assert not list(cache.cache_folder().glob("*"))


def test_old_models_make_room(tables, monkeypatch):
    monkeypatch.setattr(cache, "KEPT_MODELS", 2)
    folder = cache.cache_folder()
    folder.mkdir(mode=0o700, parents=True)
    for name in "abc":
        (folder / f"{name}.joblib").write_bytes(b"")
        os.utime(folder / f"{name}.joblib", (1, 1))
    times_trained(tables)
    assert len(list(folder.glob("*.joblib"))) == 2
