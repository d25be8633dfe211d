"""Raw materials: what comes with the package, the potter's own, and the words they go by."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

import pandas as pd

from runpredict.datafiles import OXIDES, packaged_rows

__all__ = [
    "MaterialNames",
    "known_materials",
    "list_materials",
    "material_key",
    "material_names",
    "shipped_materials",
]

NEAREST = 3

_MESH = re.compile(r"\b\d{2,4}\s*(?:mesh\b|m\b|#)")
_LINKS = re.compile(r"[()/=]")


@cache
def _shipped_materials() -> pd.DataFrame:
    rows = packaged_rows("materials.csv")
    numbers = {
        column: [float(row[column] or "nan") for row in rows]
        for column in (*OXIDES, "loss_on_ignition")
    }
    return pd.DataFrame(
        {
            "material": [row["material"] for row in rows],
            **numbers,
            "source": [row["source"] for row in rows],
        }
    )


def shipped_materials() -> pd.DataFrame:
    """Ordinary raw materials that come with the package.

    Returns
    -------
    DataFrame
        Columns of ``materials.csv``: theoretical, typical or invented analyses, each row with its
        source. [wt %]
    """
    return _shipped_materials().copy()


def _words(name: str) -> list[str]:
    plain = _MESH.sub(" ", unicodedata.normalize("NFKC", name).casefold())
    return re.findall(r"[^\W_]+", plain)


def material_key(name: str) -> str:
    """A material's name as compared: letters and digits alone, without the mesh it is sieved to.

    Examples
    --------
    >>> material_key("Neph. Sy ") == material_key("nephsy")
    True
    >>> material_key("Silica (325 mesh)")
    'silica'
    """
    return "".join(_words(name))


def _keys(name: str) -> tuple[str, str]:
    """As typed, and with the words in order, so that "feldspar, potash" is found too."""
    return material_key(name), "".join(sorted(_words(name)))


@cache
def _shipped_names() -> dict[str, str]:
    """Shipped material by each key it goes by; blank for a word that names no one material."""
    pairs = [(row["name"], row["material"]) for row in packaged_rows("material_names.csv")]
    pairs += [(name, name) for name in _shipped_materials()["material"]]
    return {key: material for name, material in pairs for key in _keys(name)}


@cache
def _shipped_words() -> list[str]:
    """Every name of a shipped material, words of the trade first."""
    trade = [row["name"] for row in packaged_rows("material_names.csv") if row["material"]]
    return [*trade, *_shipped_materials()["material"]]


@dataclass(frozen=True)
class MaterialNames:
    """Which material a word in a recipe means; as `material_names` returns.

    Parameters
    ----------
    own : frozenset of str
        The potter's own materials, as she spells them.
    by_key : dict
        Material by each key it goes by, her own before the shipped ones; blank where the word
        means none or several.
    """

    own: frozenset[str]
    by_key: dict[str, str]

    def find(self, name: str) -> str:
        """The material a word means.

        Parameters
        ----------
        name : str
            As typed: case, spaces, order of words and size of mesh do not count, and
            "whiting (calcium carbonate)" is whiting, as both words mean it.

        Returns
        -------
        str
            A `material` of `known_materials`; blank if there is none, or no one.
        """
        if name in self.own:
            return name
        for key in _keys(name):
            if key in self.by_key:
                return self.by_key[key]
        parts = [part for part in _LINKS.split(name) if part.strip()]
        found = {self.find(part) for part in parts} if len(parts) > 1 else set()
        return found.pop() if len(found) == 1 else ""

    def is_vague(self, name: str) -> bool:
        """A word that is known but stands for no one material, such as feldspar or wood ash."""
        parts = [name, *_LINKS.split(name)]
        return any(self.by_key.get(key) == "" for part in parts for key in _keys(part))

    def nearest(self, name: str) -> list[str]:
        """Names of materials most like a word that was not found, at most three.

        Of a word for many materials, those it is a part of; never one with an invented analysis.
        """
        words = set(_words(name))
        names = [*sorted(self.own), *(n for n in _shipped_words() if "invented" not in n)]
        worded = [(other, set(_words(other))) for other in names] if words else []
        vague = self.is_vague(name)
        shared = [pair for pair in worded if words <= pair[1] or (pair[1] <= words and not vague)]
        shared.sort(key=lambda pair: len(pair[1] ^ words))
        by_key = {material_key(other): other for other in reversed(names)}
        key = material_key(name)[:80]
        close = [] if vague else difflib.get_close_matches(key, by_key, n=8, cutoff=0.7)
        found: dict[str, str] = {}
        for other in [*(pair[0] for pair in shared), *(by_key[key] for key in close)]:
            found.setdefault(self.find(other), other)
        return list(found.values())[:NEAREST]


def material_names(materials: pd.DataFrame | None = None) -> MaterialNames:
    """What every word for a material means, beside the potter's own materials.

    Parameters
    ----------
    materials : DataFrame, optional
        The potter's own, with the columns of ``materials.csv``.

    Returns
    -------
    MaterialNames

    Notes
    -----
    A material of her own stands in for the shipped one under all its names: with a "flint" of her
    own, "silica" is that flint. If two of hers could (a "flint" and a "quartz"), the one that has
    the shipped name does, else neither.
    """
    own = [] if materials is None else [str(name) for name in materials["material"]]
    return _names_with(tuple(dict.fromkeys(own)))


@cache
def _names_with(own: tuple[str, ...]) -> MaterialNames:
    shipped = _shipped_names()
    standing_in = _standing_in(own)
    by_key = {key: standing_in.get(material, material) for key, material in shipped.items()}
    mine: dict[str, set[str]] = {}
    for name in own:
        for key in _keys(name):
            mine.setdefault(key, set()).add(name)
    by_key.update({key: min(names) if len(names) == 1 else "" for key, names in mine.items()})
    return MaterialNames(frozenset(own), by_key)


def _standing_in(own: Iterable[str]) -> dict[str, str]:
    """The potter's own material that stands in for a shipped one, where there is no doubt."""
    shipped = _shipped_names()
    candidates: dict[str, list[str]] = {}
    for name in own:
        material = next((shipped[key] for key in _keys(name) if shipped.get(key)), "")
        if material:
            candidates.setdefault(material, []).append(name)
    sure: dict[str, str] = {}
    for material, names in candidates.items():
        called_so = [name for name in names if material_key(name) == material_key(material)]
        if len(names) == 1 or len(called_so) == 1:
            sure[material] = (called_so or names)[0]
    return sure


def known_materials(materials: pd.DataFrame | None = None) -> pd.DataFrame:
    """The potter's own raw materials, then the shipped ones she has not given herself.

    Parameters
    ----------
    materials : DataFrame, optional
        Columns of ``materials.csv``.

    Returns
    -------
    DataFrame
        One row a material.
    """
    shipped = shipped_materials()
    if materials is None or materials.empty:
        return shipped
    replaced = _standing_in(str(name) for name in materials["material"])
    others = shipped.loc[~shipped["material"].isin(list(replaced))]
    return pd.concat([materials, others], ignore_index=True)


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
    for name in _shipped_words():
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
