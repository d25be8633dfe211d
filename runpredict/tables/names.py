"""When two names are one: without regard to case, spaces and how an accent is typed.

The one place that decides it, for tables, the logbook, the bench page and every command.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from runpredict.errors import quoted
from runpredict.tables.cells import Table, nearest

HINTED_NAMES = 20
_SPACES = re.compile(r"(?<!\d) | (?!\d)")


def name_key(name: str) -> str:
    """A name as compared: without case, spaces and what cannot be seen.

    A space between two figures counts, as in "tile 1 12".

    Examples
    --------
    >>> name_key(" Mackerel  Sleeve") == name_key("MACKEREL SLEEVE")
    True
    >>> name_key("tile 1 12") == name_key("tile 11 2")
    False
    """
    seen = name.casefold()
    if not name.isascii():
        folded = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", name).casefold())
        seen = "".join(char for char in folded if unicodedata.category(char) != "Cf")
    return _SPACES.sub("", " ".join(seen.split()))


def match_name(name: str, known: Iterable[str]) -> str:
    """The known name that is meant.

    Parameters
    ----------
    name : str
        As typed.

    Returns
    -------
    str
        The name itself if it is known, else the only one that differs in nothing but case and
        spaces, else blank.
    """
    names = list(dict.fromkeys(known))
    return name if name in names else _by_key(names).get(name_key(name), "")


def one_spelling(names: Iterable[str], known: Iterable[str]) -> dict[str, str]:
    """Names that are taken for another one: for one that is known, else for the first like it.

    Parameters
    ----------
    known : iterable of str
        Names that stay as they are.

    Returns
    -------
    dict
        What is meant, by the name as typed; without those that stay.

    Examples
    --------
    >>> one_spelling(["july", "May", "MAY", "June"], ["July", "june", "June"])
    {'july': 'July', 'MAY': 'May'}
    """
    standing = dict.fromkeys(known)
    first: dict[str, str] = {}
    typed = [name for name in dict.fromkeys(names) if name and name not in standing]
    for name in (*standing, *typed):
        first.setdefault(name_key(name), name)
    meant = {name: first[name_key(name)] for name in typed}
    return {name: other for name, other in meant.items() if other != name}


def _by_key(names: Iterable[str]) -> dict[str, str]:
    """Name by key, where only one has it."""
    by_key: dict[str, str] = {}
    for name in dict.fromkeys(names):
        key = name_key(name)
        by_key[key] = "" if key in by_key else name
    return by_key


def respell(table: Table, column: str, known: Sequence[str], where: str) -> None:
    """Give the names of a column the spelling of the table they point to.

    Parameters
    ----------
    table : Table
        Changed in place; each name that is spelled otherwise is told once.
    known : sequence of str
        Names as they should be spelled. One that matches none, or several, stays as it is.
    where : str
        What a sentence calls the table they stand in.
    """
    names = table.frame[column]
    by_key = _by_key(known)
    exact = {"", *known}
    found = {name: by_key.get(name_key(name), "") for name in names.unique() if name not in exact}
    _replace(table, column, {name: right for name, right in found.items() if right}, where)


def respell_all(table: Table, column: str, known: Iterable[str], where: str) -> None:
    """As `respell`, by `one_spelling`: names that are not known are spelled as the first of them.

    Parameters
    ----------
    table, column, known, where
        As for `respell`.
    """
    _replace(table, column, one_spelling(table.frame[column].unique(), known), where)


def _replace(table: Table, column: str, right: Mapping[str, str], where: str) -> None:
    if right:
        respell_rows(table, column, table.frame.index, right, where)


def respell_rows(
    table: Table, column: str, rows: pd.Index[Any], right: Mapping[str, str], where: str
) -> None:
    """Give the names in some rows another spelling.

    Parameters
    ----------
    table : Table
        Changed in place; each name is told once.
    rows : Index
        Of the frame.
    right : mapping of str
        As `one_spelling` returns.
    where : str
        What a sentence calls the place where the name stands so.
    """
    names = table.frame.loc[rows, column]
    first = names.loc[~names.duplicated() & names.isin(list(right))]
    for position, name in first.items():
        table.warn(
            int(str(position)),
            column,
            f"{quoted(name)} is taken for {quoted(right[name])} of {where}.",
        )
    table.frame.loc[rows, column] = names.replace(dict(right))


def respell_bodies(tables: Mapping[str, Table]) -> None:
    """One spelling of each clay body in the plan and the log, the log's first."""
    roles = [role for role in ("log", "plan") if role in tables]
    bodies = [name for role in roles for name in tables[role].frame["body"].unique()]
    right = one_spelling(bodies, [])
    for role in roles:
        here = set(tables[role].frame["body"])
        where = f"the {roles[0]}" if role != roles[0] else "another row"
        mine = {name: known for name, known in right.items() if name in here}
        _replace(tables[role], "body", mine, where)


def warn_alike(table: Table, column: str) -> None:
    """Tell of names that differ in nothing but case and spaces."""
    first: dict[str, int] = {}
    for position, name in enumerate(table.frame[column]):
        row = first.setdefault(name_key(name), position)
        if name and row != position and table.frame[column].iloc[row] != name:
            other = table.frame[column].iloc[row]
            table.warn(
                position,
                column,
                f"{quoted(name)} and the {quoted(other)} of {table.place(row).in_file} "
                "differ only in case or spaces; they are taken for two.",
            )


def _hints(names: pd.Series[str], hint: Callable[[str], str]) -> dict[str, str]:
    """A hint for the first few names; finding what is like a name takes time."""
    return {name: hint(name) for name in names.drop_duplicates()[:HINTED_NAMES]}


def blame_unknown(table: Table, column: str, known: Sequence[str], where: str) -> None:
    """Blame every name of a column that is not among the known ones.

    Parameters
    ----------
    where : str
        What a sentence calls the table they stand in.
    """
    names = table.frame[column]
    unknown = names.ne("") & ~names.isin(known)
    hints = _hints(names.loc[unknown], lambda name: nearest(name, known))
    for position in np.flatnonzero(unknown):
        name = str(names.iloc[position])
        table.blame(
            int(position),
            column,
            f"{quoted(name)} is not in {where}{hints.get(name, '')}; "
            "add it there or mend the name.",
        )


def warn_unused(table: Table, column: str, used: Sequence[str], where: str) -> None:
    """Tell of rows whose name no other table has: what is like a name by itself, the rest in one.

    Parameters
    ----------
    used : sequence of str
        Names the other table has.
    where : str
        Where they would have to stand, such as ``glazes.csv``.
    """
    names = table.frame[column]
    idle = names.loc[names.ne("") & ~names.isin(used)].drop_duplicates()
    hints = _hints(idle, lambda name: nearest(name, used))
    plain: list[str] = []
    for position, name in idle.items():
        if hints.get(name):
            table.warn(
                int(str(position)),
                column,
                f"{quoted(name)} is not in {where}{hints[name]}, so its rows are not used.",
            )
        else:
            plain.append(f"{quoted(name)}")
    if plain:
        more = f" and {len(plain) - 5} more" if len(plain) > 5 else ""
        listed = ", ".join(plain[:5])
        table.warn(None, column, f"{listed}{more} not in {where}, so not used.")
