"""Raw materials: what comes with the package, the potter's own, and how far lots differ."""

from __future__ import annotations

from functools import cache

import pandas as pd

from runpredict.datafiles import OXIDES, packaged_rows
from runpredict.physics.material_words import (
    material_key,
    material_names,
    shipped_words,
    standing_in,
)

WIDE_SPREAD_PCT = 20.0
"""Lot spread from which a material only stands in for what the potter has; our choice."""


@cache
def _shipped_materials() -> pd.DataFrame:
    rows = packaged_rows("materials.csv")
    numbers = {
        column: [float(row[column] or "nan") for row in rows]
        for column in (*OXIDES, "loss_on_ignition", "lot_spread_pct")
    }
    texts = {column: [row[column] for row in rows] for column in ("kind", "material", "source")}
    return pd.DataFrame({**texts, **numbers})


def shipped_materials() -> pd.DataFrame:
    """Ordinary raw materials that come with the package.

    Returns
    -------
    DataFrame
        Columns of ``materials.csv``: theoretical, typical or invented analyses, each row with its
        source [wt %]; `kind`, such as kaolin or frit; and `lot_spread_pct`, the standard
        deviation between lots of an oxide as a share of what there is of it. [%]

    Notes
    -----
    Spreads are from memory of the ranges that producers print: about 1 for a chemical, 2 for a
    frit, 3 for a washed kaolin or a milled feldspar of one producer, 5 to 12 for a clay or a
    mineral by its kind alone, 20 and more where a word covers very different things.
    """
    return _shipped_materials().copy()


@cache
def stand_ins() -> frozenset[str]:
    """Shipped materials that lots of differ so much that a typical one only stands in.

    Returns
    -------
    frozenset of str
        Such as a bare feldspar, wood ash, or local clay.
    """
    shipped = _shipped_materials()
    return frozenset(shipped.loc[shipped["lot_spread_pct"] >= WIDE_SPREAD_PCT, "material"])


def known_materials(materials: pd.DataFrame | None = None) -> pd.DataFrame:
    """The potter's own raw materials, then the shipped ones she has not given herself.

    Parameters
    ----------
    materials : DataFrame, optional
        Columns of ``materials.csv``.

    Returns
    -------
    DataFrame
        One row a material, as `shipped_materials`; the analysis of her own lot has no spread.
    """
    shipped = shipped_materials()
    if materials is None or materials.empty:
        return shipped
    replaced = standing_in(str(name) for name in materials["material"])
    others = shipped.loc[~shipped["material"].isin(list(replaced))]
    own = materials.assign(kind="your own", lot_spread_pct=0.0)
    return pd.concat([own, others], ignore_index=True)


def list_materials(materials: pd.DataFrame | None = None, word: str = "") -> pd.DataFrame:
    """Raw materials with every name they go by.

    Parameters
    ----------
    materials : DataFrame, optional
        The potter's own, as for `known_materials`.
    word : str
        Only those it means, or that have it in one of their names.

    Returns
    -------
    DataFrame
        `known_materials` and `also`, the other names of each, separated by semicolons; what the
        word means comes first. [wt %]
    """
    names = material_names(materials)
    called: dict[str, list[str]] = {}
    for name in shipped_words():
        called.setdefault(names.find(name), []).append(name)
    listed = known_materials(materials)
    others = [
        [name for name in called.get(material, []) if name != material]
        for material in listed["material"]
    ]
    listed = listed.assign(also=["; ".join(each) for each in others])
    if not word:
        return listed
    key, meant = material_key(word), names.find(word)
    like = [
        material == meant or (key and any(key in material_key(n) for n in (material, *each)))
        for material, each in zip(listed["material"], others, strict=True)
    ]
    found = listed.loc[like]
    first = found["material"].ne(meant).sort_values(kind="stable").index
    return found.loc[first].reset_index(drop=True)
