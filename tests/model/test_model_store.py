"""Trained models are kept, found again, and never read from where others can write."""

import os
import pickle
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from runpredict.model import model_store
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
    few = read.log.loc[read.log["firing"].isin(["Sprat", "Two Brothers"])]
    return replace(read, log=few)


def times_trained(tables):
    calls = []
    found = model_store.trained_on(tables, calls.append)
    return found, bool(calls)


def test_a_model_is_trained_once_and_again_when_the_log_changes(tables):
    first, trained = times_trained(tables)
    assert trained
    again, trained = times_trained(tables)
    assert not trained
    assert (again[0].studio.mean == first[0].studio.mean).all()
    changed = replace(tables, log=tables.log.iloc[:-1])
    assert times_trained(changed)[1]


def test_no_result_no_model(tables):
    bare = replace(tables, log=empty_table("layers"))
    assert model_store.trained_on(bare) is None


def test_a_folder_others_can_write_to_is_neither_read_nor_written(tables):
    folder = model_store.cache_folder()
    times_trained(tables)
    (kept,) = folder.glob("*.npz")
    kept.write_bytes(b"planted")
    folder.chmod(0o777)
    assert times_trained(tables)[1]
    assert kept.read_bytes() == b"planted"


def test_a_file_others_can_write_to_or_a_link_is_not_read(tables, tmp_path):
    times_trained(tables)
    (kept,) = model_store.cache_folder().glob("*.npz")
    kept.chmod(0o666)
    assert times_trained(tables)[1]
    elsewhere = tmp_path / "elsewhere.npz"
    elsewhere.write_bytes(kept.read_bytes())
    kept.unlink()
    kept.symlink_to(elsewhere)
    assert times_trained(tables)[1]


def test_a_pickle_in_its_place_is_not_run(tables, tmp_path):
    class Trap:
        def __reduce__(self):
            return (os.mkdir, (str(tmp_path / "sprung"),))

    times_trained(tables)
    (kept,) = model_store.cache_folder().glob("*.npz")
    for content in (pickle.dumps(Trap()), _pickled_array(tmp_path, Trap())):
        kept.write_bytes(content)
        assert times_trained(tables)[1]
        assert not (tmp_path / "sprung").exists()


def _pickled_array(tmp_path, thing):
    np.savez(tmp_path / "trap.npz", names=np.array([thing], dtype=object), allow_pickle=True)
    return (tmp_path / "trap.npz").read_bytes()


@pytest.mark.parametrize("named", ["relative/cache", "."])
def test_without_a_folder_of_its_own_it_goes_on(tables, monkeypatch, tmp_path, named):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CACHE_HOME", named)
    assert model_store.cache_folder() is None
    assert times_trained(tables)[0] is not None
    assert not list(tmp_path.rglob("*.npz"))


def test_without_a_home_it_goes_on(tables, monkeypatch):
    def homeless():
        raise RuntimeError("Could not determine home directory.")

    monkeypatch.delenv("XDG_CACHE_HOME")
    monkeypatch.delenv("LOCALAPPDATA", raising=False)
    monkeypatch.setattr(Path, "home", homeless)
    assert model_store.cache_folder() is None
    assert times_trained(tables)[0] is not None


def test_a_kept_model_says_the_same(tables):
    from runpredict.model.features import features_of
    from runpredict.model.stacks import stacks_of

    (first, trial), _ = times_trained(tables)
    (again, kept), trained = times_trained(tables)
    assert not trained
    made = stacks_of(features_of(tables.plan, tables.glazes, tables.schedules))
    assert (again.chances(made).risk(made)[1] == first.chances(made).risk(made)[1]).all()
    assert (trial is None) == (kept is None)


def test_a_linked_folder_is_not_trusted(tables, tmp_path):
    folder = model_store.cache_folder()
    folder.parent.mkdir(parents=True)
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir(mode=0o700)
    folder.symlink_to(elsewhere)
    assert times_trained(tables)[1]
    assert not list(elsewhere.iterdir())


def test_a_damaged_model_is_trained_anew(tables):
    times_trained(tables)
    (kept,) = model_store.cache_folder().glob("*.npz")
    kept.write_bytes(kept.read_bytes()[:100])
    assert times_trained(tables)[1]
    assert not times_trained(tables)[1]


def test_a_cache_that_cannot_be_written_is_no_fault(tables, monkeypatch):
    def full(*_, **__):
        raise OSError("No space left on device")

    monkeypatch.setattr(np, "savez", full)
    assert times_trained(tables)[0] is not None
    assert not list(model_store.cache_folder().glob("*"))


def test_old_models_make_room(tables, monkeypatch):
    monkeypatch.setattr(model_store, "KEPT_MODELS", 2)
    folder = model_store.cache_folder()
    folder.mkdir(mode=0o700, parents=True)
    for name in "abc":
        (folder / f"{name}.npz").write_bytes(b"")
        os.utime(folder / f"{name}.npz", (1, 1))
    times_trained(tables)
    assert len(list(folder.glob("*.npz"))) == 2
