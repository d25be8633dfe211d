"""The package's own CSV files, read with the csv module (a pandas read costs more than a check)."""

from __future__ import annotations

import csv
from functools import cache
from importlib import resources

__all__ = ["OXIDES", "packaged_rows"]


@cache
def packaged_rows(name: str) -> tuple[dict[str, str], ...]:
    """Rows of a CSV in ``runpredict/data``.

    Parameters
    ----------
    name : str
        File name, such as ``"oxides.csv"``.

    Returns
    -------
    tuple of dict
        One a row, by column, all text.

    Raises
    ------
    FileNotFoundError
        If the package carries no such file.
    """
    text = (resources.files("runpredict") / "data" / name).read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))


OXIDES: tuple[str, ...] = tuple(row["oxide"] for row in packaged_rows("oxides.csv"))
