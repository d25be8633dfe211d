"""Which raw material a word of the trade means, however it is printed."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

import pandas as pd

from runpredict.datafiles import packaged_rows

NEAREST = 3

_MESH = re.compile(r"\b\d{2,4}s?\s*(?:mesh\b|m\b|#)|\bmesh\s*\d{2,4}\b")
_LINKS = re.compile(r"[()/=]")
_INITIALS = re.compile(r"\b(?:[^\W\d_]\.){2,}")
_TOKEN = re.compile(r"[^\W\d_]+|\d+")
# Spellings and abbreviations of one word; common practice, no source.
_SAME_WORD = {
    "aluminum": "aluminium", "carb": "carbonate", "felspar": "feldspar", "neph": "nepheline",
    "ox": "oxide", "pot": "potash", "spar": "feldspar", "sulfate": "sulphate", "sy": "syenite",
    "sye": "syenite", "syn": "syenite", "str": "strontium", "lith": "lithium",
}  # fmt: skip
# Words that do not say which material it is, and meshes printed bare; common practice, no source.
_SAYS_LITTLE = frozenset(
    ["grade", "ground", "material", "milled", "mineral", "natural", "no", "powder", "powdered",
     "pure", "raw", "80", "100", "120", "200", "250", "270", "300", "325", "350", "400"]
)  # fmt: skip


def _words(name: str) -> list[str]:
    plain = _MESH.sub(" ", unicodedata.normalize("NFKC", name).casefold())
    plain = _INITIALS.sub(lambda initials: initials[0].replace(".", ""), plain)
    return [_SAME_WORD.get(token, token) for token in _TOKEN.findall(plain)]


def material_key(name: str) -> str:
    """A material's name as compared: letters and digits alone, without the mesh it is sieved to.

    Examples
    --------
    >>> material_key("Neph. Sy ") == material_key("nepheline syenite")
    True
    >>> material_key("Silica (325 mesh)")
    'silica'
    """
    return "".join(_words(name))


def _keys(name: str) -> tuple[str, str]:
    """As typed, and with the words in order, so that "feldspar, potash" is found too."""
    return material_key(name), "".join(sorted(_words(name)))


@cache
def _shipped_pairs() -> tuple[tuple[str, str], ...]:
    """Every name and its shipped material, words of the trade first; blank: no one material."""
    pairs = [(row["name"], row["material"]) for row in packaged_rows("material_names.csv")]
    return (*pairs, *((row["material"],) * 2 for row in packaged_rows("materials.csv")))


@cache
def _shipped_names() -> dict[str, str]:
    """Shipped material by each key it goes by; blank for a word that names no one material."""
    return {key: material for name, material in _shipped_pairs() for key in _keys(name)}


@cache
def shipped_words() -> tuple[str, ...]:
    """Every name of a shipped material, words of the trade first."""
    return tuple(name for name, material in _shipped_pairs() if material)


@cache
def _said_beside() -> dict[str, frozenset[str]]:
    """By shipped material, the words that may stand beside its name and add nothing to it.

    "Kaolin" and "china clay" beside a brand of kaolin: the words of its kind, and of the typical
    material that goes by the name of that kind.
    """
    words: dict[str, set[str]] = {}
    for name, material in _shipped_pairs():
        words.setdefault(material, set()).update(_words(name))
    shipped = _shipped_names()
    beside: dict[str, frozenset[str]] = {}
    for row in packaged_rows("materials.csv"):
        typical = shipped.get(material_key(row["kind"]))
        beside[row["material"]] = frozenset(_words(row["kind"])).union(
            words[typical] if typical else ()
        )
    return beside


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
    worded : tuple of (words, material, words that add nothing)
        The same by the words of each name in any order.
    """

    own: frozenset[str]
    by_key: dict[str, str]
    worded: tuple[tuple[frozenset[str], str, frozenset[str]], ...]

    def find(self, name: str) -> str:
        """The material a word means.

        Parameters
        ----------
        name : str
            As typed: case, punctuation, order of words and size of mesh do not count,
            "whiting (calcium carbonate)" is whiting, as both words mean it, and a brand may stand
            with the words of its kind or without: "EPK", "Kaolin (EPK)", "E.P.K. china clay".

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
        materials = {self.find(part) for part in parts} if len(parts) > 1 else set()
        return materials.pop() if len(materials) == 1 else self._within(name)

    def _within(self, name: str) -> str:
        """The material whose name stands in what was typed beside words that add nothing."""
        typed = frozenset(_words(name))
        by_length: dict[int, set[str]] = {}
        for words, material, beside in self.worded:
            if words <= typed and typed - words <= beside | _SAYS_LITTLE:
                by_length.setdefault(len(words), set()).add(material)
        fullest = by_length[max(by_length)] if by_length else set()
        return fullest.pop() if len(fullest) == 1 else ""

    def is_vague(self, name: str) -> bool:
        """A word that is known but stands for no one material, such as frit or stain."""
        parts = [name, *_LINKS.split(name)]
        return any(self.by_key.get(key) == "" for part in parts for key in _keys(part))

    def nearest(self, name: str) -> list[str]:
        """Names of materials most like a word that was not found, three unless it is vague.

        Of a word for many materials, those it is a part of; never one with an invented analysis.
        """
        words = set(_words(name))
        names = [*sorted(self.own), *(n for n in shipped_words() if "invented" not in n)]
        worded = [(other, set(_words(other))) for other in names] if words else []
        vague = self.is_vague(name)
        shared = [pair for pair in worded if words <= pair[1] or (pair[1] <= words and not vague)]
        shared.sort(key=lambda pair: len(pair[1] ^ words))
        by_material: dict[str, str] = {}
        for other, _ in shared:
            by_material.setdefault(self.find(other), other)
        if len(by_material) < NEAREST and not vague:
            by_key = {material_key(other): other for other in reversed(names)}
            close = difflib.get_close_matches(material_key(name)[:80], by_key, n=12, cutoff=0.0)
            for key in close:
                by_material.setdefault(self.find(by_key[key]), by_key[key])
        return list(by_material.values())[:NEAREST]


def material_names(materials: pd.DataFrame | None = None) -> MaterialNames:
    """What every word for a material means, beside the potter's own materials.

    Parameters
    ----------
    materials : DataFrame, optional
        The potter's own, with the columns of ``materials.csv``.

    Notes
    -----
    A material of her own stands in for the shipped one under all its names: with a "flint" of her
    own, "silica" is that flint. If two of hers could (a "flint" and a "quartz"), the one that has
    the shipped name does, else neither.
    """
    own = [] if materials is None else [str(name) for name in materials["material"]]
    return names_beside(own)


def names_beside(own: Iterable[str]) -> MaterialNames:
    """`material_names` for the names of the potter's own materials."""
    return _names_with(tuple(dict.fromkeys(own)))


@cache
def _names_with(own: tuple[str, ...]) -> MaterialNames:
    shipped = _shipped_names()
    hers = standing_in(own)
    by_key = {key: hers.get(material, material) for key, material in shipped.items()}
    by_word: dict[str, set[str]] = {}
    for name in own:
        for key in _keys(name):
            by_word.setdefault(key, set()).add(name)
    by_key.update({key: min(names) if len(names) == 1 else "" for key, names in by_word.items()})
    beside = _said_beside()
    worded = [(name, by_key[material_key(name)], "") for name in own]
    worded += [(name, by_key[material_key(name)], m) for name, m in _shipped_pairs() if m]
    return MaterialNames(
        frozenset(own),
        by_key,
        tuple(
            (frozenset(_words(name)), material, beside.get(shipped_as, frozenset()))
            for name, material, shipped_as in worded
            if material and _words(name)
        ),
    )


def standing_in(own: Iterable[str]) -> dict[str, str]:
    """The potter's own material that stands in for a shipped one, where there is no doubt.

    Parameters
    ----------
    own : iterable of str
        Names of her materials.

    Returns
    -------
    dict
        Her material by the shipped one.
    """
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
