"""The tables a command works on: from files, from a logbook, or some from each."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pandas as pd

from runpredict.answers.willing import keep_willing, kept_willing
from runpredict.errors import BadInput, Fault
from runpredict.tables.columns import KINDS, ROLES
from runpredict.tables.csv_files import read_table
from runpredict.tables.plan import PlanTables, check_plan, read_plan
from runpredict.tables.rows import split_results

PathLike = str | os.PathLike[str]
EVERY_RESULT = (
    "every pot has its result, so nothing is planned; glaze the next ones and import them, plan "
    "them on the page, or give their file with --plan."
)


def gather(
    needs: Sequence[str],
    logbook: PathLike | None = None,
    also: Sequence[str] = (),
    /,
    *,
    written: str | None = None,
    **files: PathLike | None,
) -> PlanTables:
    """Read and check the tables of one command.

    Parameters
    ----------
    needs : sequence of str
        Roles, of plan, log, glazes, that the command cannot do without.
    logbook : path, optional
        Folder of the logbook that holds what no file is given for: as plan the pieces without a
        result, as log those with one.
    also : sequence of str
        Roles to take from the logbook where it has them, though nothing needs them.
    written : str, optional
        One of `willing.WRITTEN`: which results the log has. A logbook remembers it.
    **files : path, optional
        By role, as in `columns.ROLES`.

    Raises
    ------
    BadInput : with every fault of every table, or naming the table that is missing.
    """
    given = {role: file for role, file in files.items() if file is not None}
    if logbook is None:
        _refuse_missing(
            [role for role in needs if role not in given],
            "give its file, or your logbook with --logbook",
        )
        tables = read_plan(given.pop("plan", None), given.pop("glazes"), **given)
        return replace(tables, only_surprises=written == "surprises")
    from runpredict.logbook.forms import kept_columns

    frames = _logged(logbook)
    hers = kept_columns(logbook)
    for role, file in given.items():
        frames[role] = read_table(file, ROLES[role], hers)
    missing = [role for role in needs if role not in frames or frames[role].empty]
    if missing == ["plan"] and not frames["log"].empty:
        raise BadInput([Fault(Path(logbook).name, None, None, EVERY_RESULT)])
    _refuse_missing(missing, "the logbook holds none, so give its file or import it")
    used = {role: frame for role, frame in frames.items() if role in needs or not frame.empty}
    if "plan" not in (*needs, *also):
        used.pop("plan", None)
    tables = check_plan(used.pop("plan", None), used.pop("glazes"), **used)
    said = kept_willing(logbook)
    if written is not None and written != said.written:
        said = replace(said, written=written)
        keep_willing(logbook, said)
    return replace(tables, only_surprises=said.written == "surprises")


def _logged(folder: PathLike) -> dict[str, pd.DataFrame]:
    from runpredict.logbook.book import Logbook

    with Logbook.open(folder) as book:
        tables: dict[str, pd.DataFrame] = {kind: book.marked(kind)[0] for kind in KINDS}
    tables["plan"], tables["log"] = split_results(tables.pop("layers"), with_lost=True)
    return tables


def _refuse_missing(roles: Sequence[str], mend: str) -> None:
    if roles:
        raise BadInput([Fault(f"--{role}", None, None, f"is missing; {mend}.") for role in roles])
