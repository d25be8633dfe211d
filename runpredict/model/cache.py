"""Trained models kept between runs, in the user's own cache.

A kept model is a pickle, so it is only ever read from a folder that belongs to the user and that
nobody else can write to; anything else is trained anew.
"""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import joblib
import pandas as pd

from runpredict.datafiles import package_digest
from runpredict.model.features import features_of
from runpredict.model.learned import Trained
from runpredict.model.outcomes import outcomes_of
from runpredict.model.stacks import stacks_of
from runpredict.tables.csv_files import table_csv
from runpredict.tables.plan import PlanTables
from runpredict.tables.rows import split_results

if TYPE_CHECKING:
    from runpredict.model.trial import Trial

KEPT_MODELS = 20


def cache_folder() -> Path:
    """The user's folder of trained models, whether it exists or not."""
    base = os.environ.get("XDG_CACHE_HOME") or os.environ.get("LOCALAPPDATA")
    return (Path(base) if base else Path.home() / ".cache") / "runpredict"


def is_ours_alone(folder: Path) -> bool:
    """Whether a folder is no link, is the user's, and cannot be written to by anybody else."""
    try:
        found = folder.lstat()
    except OSError:
        return False
    if not stat.S_ISDIR(found.st_mode):
        return False
    if not hasattr(os, "getuid"):  # Windows keeps a user's local folder to the user
        return True
    return found.st_uid == os.getuid() and not found.st_mode & (stat.S_IWGRP | stat.S_IWOTH)


def content_key(log: pd.DataFrame, tables: PlanTables) -> str:
    """A key that changes with anything the model rests on."""
    used = tables.glazes.loc[tables.glazes["glaze"].isin(log["glaze"])]
    said = hashlib.sha256(package_digest().encode())
    for table in (log, used, tables.schedules):
        said.update(table_csv(table).encode())
    return said.hexdigest()


def trained_on(
    tables: PlanTables, progress: Callable[[float], None] | None = None
) -> tuple[Trained, Trial | None] | None:
    """The model of a log, from the cache or trained now.

    Parameters
    ----------
    tables : PlanTables
    progress : callable (share done), optional
        Called while training, not where the model was kept.

    Returns
    -------
    (Trained, Trial or None), or None where the log holds no result
    """
    _, log = split_results(tables.log)
    if log.empty:
        return None
    path = cache_folder() / f"{content_key(log, tables)}.joblib"
    if is_ours_alone(path.parent) and path.is_file():
        try:
            kept: tuple[Trained, Trial | None] = joblib.load(path)
        except Exception:  # a damaged pickle may raise anything; then train anew
            path.unlink(missing_ok=True)
        else:
            return kept
    from runpredict.model.trial import train  # noqa: PLC0415 - loads scikit-learn

    stacks = stacks_of(features_of(log, tables.glazes, tables.schedules))
    made = train(stacks, outcomes_of(log, stacks), progress)
    _keep(made, path)
    return made


def _keep(made: tuple[Trained, Trial | None], path: Path) -> None:
    """Keep a model if that is possible; a full disk or a foreign folder is no fault of the user."""
    temporary = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        if not is_ours_alone(path.parent):
            return
        joblib.dump(made, temporary)
        os.replace(temporary, path)
        kept = sorted(path.parent.glob("*.joblib"), key=lambda file: file.stat().st_mtime)
        for old in kept[:-KEPT_MODELS]:
            old.unlink(missing_ok=True)
    except OSError:
        temporary.unlink(missing_ok=True)
