"""Trained models kept between runs, in the user's own cache.

A kept model is numbers in an npz and names in JSON inside it; reading it runs nothing. It is read
only from a folder and a file that are the user's own and that nobody else can write to; anything
else is trained anew, and without a folder of its own the tool goes on without one.
"""

from __future__ import annotations

import hashlib
import json
import os
import platform
import stat
import tempfile
from collections.abc import Callable
from importlib.metadata import version
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from runpredict.datafiles import package_digest
from runpredict.model.features import features_of
from runpredict.model.model_file import model_from, numbers_of
from runpredict.model.outcomes import outcomes_of
from runpredict.model.predictors import Trained, Trial
from runpredict.model.stacks import stacks_of
from runpredict.tables.csv_files import table_csv
from runpredict.tables.plan import PlanTables
from runpredict.tables.rows import split_results

KEPT_MODELS = 20
LIBRARIES = ("numpy", "scipy", "pandas", "scikit-learn")
MOST_BYTES = 200_000_000  # no kept model is larger


def cache_folder() -> Path | None:
    """The user's folder of trained models, whether it exists or not; None where there is none."""
    named = os.environ.get("XDG_CACHE_HOME") or os.environ.get("LOCALAPPDATA")
    try:
        base = Path(named) if named else Path.home() / ".cache"
    except RuntimeError:  # no home, no entry for the user
        return None
    return base / "runpredict" if base.is_absolute() else None


def _ours_alone(status: os.stat_result) -> bool:
    """Whether something is the user's, and cannot be written to by anybody else."""
    if not hasattr(os, "getuid"):  # Windows keeps a user's local folder to the user
        return True
    return status.st_uid == os.getuid() and not status.st_mode & (stat.S_IWGRP | stat.S_IWOTH)


def is_ours_alone(folder: Path) -> bool:
    """Whether a folder is no link, is the user's, and nobody else can write to it."""
    try:
        status = folder.lstat()
    except OSError:
        return False
    return stat.S_ISDIR(status.st_mode) and _ours_alone(status)


def content_key(log: pd.DataFrame, tables: PlanTables) -> str:
    """A key that changes with anything the model rests on."""
    used = tables.glazes.loc[tables.glazes["glaze"].isin(log["glaze"])]
    digest = hashlib.sha256(package_digest().encode())
    digest.update(" ".join([platform.python_version(), *map(version, LIBRARIES)]).encode())
    for table in (log, used, tables.schedules):
        digest.update(table_csv(table).encode())
    digest.update(str(tables.only_surprises).encode())
    return digest.hexdigest()


def trained_on(
    tables: PlanTables, progress: Callable[[float], None] | None = None
) -> tuple[Trained, Trial | None] | None:
    """The model of a log, from the cache or trained now.

    Parameters
    ----------
    progress : callable (share done), optional
        Called while training, not where the model was kept.
    """
    _, log = split_results(tables.log)
    if log.empty:
        return None
    folder = cache_folder()
    path = None if folder is None else folder / f"{content_key(log, tables)}.npz"
    stored = None if path is None else _read(path)
    if stored is not None:
        return stored
    from runpredict.model.trial import train  # noqa: PLC0415 - loads scikit-learn

    features = features_of(log, tables.glazes, tables.schedules)
    stacks = stacks_of(features, tables.only_surprises)
    model = train(stacks, outcomes_of(log, stacks), progress)
    if path is not None:
        _keep(model, path)
    return model


def _read(path: Path) -> tuple[Trained, Trial | None] | None:
    """A kept model, or None where there is none that can be trusted and read."""
    if not is_ours_alone(path.parent):
        return None
    try:
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0))
    except OSError:
        return None
    with os.fdopen(handle, "rb") as file:
        status = os.fstat(handle)
        if (
            not stat.S_ISREG(status.st_mode)
            or not _ours_alone(status)
            or status.st_size > MOST_BYTES
        ):
            return None
        content = file.read()
    try:
        with np.load(BytesIO(content), allow_pickle=False) as numbers:
            arrays = {name: numbers[name] for name in numbers.files}
        return model_from(arrays, json.loads(bytes(arrays.pop("names")).decode()))
    except Exception:  # a damaged file may raise anything; then train anew
        path.unlink(missing_ok=True)
        return None


def _keep(model: tuple[Trained, Trial | None], path: Path) -> None:
    """Keep a model if that is possible; a full disk or a foreign folder is no fault of the user."""
    temporary = None
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        if not is_ours_alone(path.parent):
            return
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=".model-")
        with os.fdopen(handle, "wb") as file:
            np.savez(file, allow_pickle=False, **_content(model))
        os.replace(temporary, path)
        temporary = None
        oldest_first = sorted(path.parent.glob("*.npz"), key=lambda file: file.stat().st_mtime)
        for old in oldest_first[:-KEPT_MODELS]:
            old.unlink(missing_ok=True)
    except OSError:
        pass
    finally:
        if temporary is not None:
            Path(temporary).unlink(missing_ok=True)


def _content(model: tuple[Trained, Trial | None]) -> dict[str, Any]:
    arrays, names = numbers_of(*model)
    return {**arrays, "names": np.frombuffer(json.dumps(names).encode(), dtype=np.uint8)}
