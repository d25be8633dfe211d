"""The package's own CSV files, read with the csv module (a pandas read costs more than a check)."""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path


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
    FileNotFoundError : if the package carries no such file.
    """
    text = (Path(__file__).parent / "data" / name).read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))


def package_digest() -> str:
    """A text that changes with the package's code and data.

    Returns
    -------
    str
        The newest change and the total size of its files; no file is read.
    """
    files = [
        file.stat()
        for file in Path(__file__).parent.rglob("*")
        if file.suffix in (".py", ".csv", ".npz")
    ]
    return f"{max(file.st_mtime_ns for file in files)} {sum(file.st_size for file in files)}"


OXIDES: tuple[str, ...] = tuple(row["oxide"] for row in packaged_rows("oxides.csv"))

FLUXES: tuple[str, ...] = tuple(
    row["oxide"] for row in packaged_rows("oxides.csv") if row["flux"] == "yes"
)
"""R2O + RO of the unity formula.

MnO, CoO, CuO and NiO melt a glaze too, but are added as colourants and counted outside the unity,
as is iron, which an oxidation firing leaves mostly as Fe2O3 (common practice, no source).
"""

MAX_TOTAL_WT = 110.0
"""An analysis that sums to more is mistyped; less than 100 is loss on ignition or trace oxides."""

OXYGEN_PER_FLUORINE_WT = 15.999 / (2 * 18.998)
"""Fluorine stands in for oxygen: an analysis of metals as oxides counts that oxygen twice.

Atomic weights: IUPAC/CIAAW 2021.
"""
