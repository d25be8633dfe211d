"""Raw materials as a list to read."""

from __future__ import annotations

import textwrap

import pandas as pd

from runpredict.datafiles import OXIDES
from runpredict.words.plain import WIDTH

MAIN_WT = 0.5
"""An oxide below this is left out of the list; it counts in the sums all the same."""


def materials_text(materials: pd.DataFrame) -> str:
    """Raw materials, a paragraph each, under a heading for each run of one kind.

    Parameters
    ----------
    materials : DataFrame
        As `materials.list_materials` returns. [wt %]

    Returns
    -------
    str
    """
    lines: list[str] = []
    kind = ""
    for _, row in materials.iterrows():
        if row["kind"] != kind:
            kind = row["kind"]
            lines.append(f"== {kind} ==")
        lines.append(_paragraph(row))
    return "\n".join(lines)


def _paragraph(row: pd.Series) -> str:
    shares = row[list(OXIDES)].astype(float)
    main = shares[shares >= MAIN_WT].sort_values(ascending=False, kind="stable")
    oxides = ", ".join(f"{oxide} {wt:.3g}" for oxide, wt in main.items()) or "no oxide: burns off"
    lost = row["loss_on_ignition"]
    if lost > 0:
        oxides += f"; loses {lost:.3g} on firing"
    elif lost < 0:
        oxides += f"; takes up {-lost:.3g} on firing"
    if row["lot_spread_pct"] > 0:
        oxides += f"; lots differ by ±{row['lot_spread_pct']:g}\u00a0%"
    lines = textwrap.wrap(f"{row['material']}: {oxides}", WIDTH, subsequent_indent="    ")
    if row["also"]:
        lines += _indented(f"also called {row['also']}")
    return "\n".join([*lines, *_indented(f"source: {row['source'] or 'not given'}")])


def _indented(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent="    ", subsequent_indent="    ")
