"""Invented glazes: recipes, analyses and jars, with the oxides that are in them in truth."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from runpredict.physics.chemistry import OXIDES, mole_fractions, recipe_oxides_wt

COLUMNS = ["glaze", "source", "behaviour", "matures_cone", *OXIDES, "note"]
FIRST_WORDS = (
    "Ash",
    "Barley",
    "Cinder",
    "Dusk",
    "Elder",
    "Fern",
    "Gravel",
    "Hazel",
    "Iris",
    "Juniper",
)
LAST_WORDS = ("Matte", "Clear", "Drift", "Satin", "Gloss", "Wash", "Shade", "Bloom")
# Parts about which a recipe of cone 6 lies; common practice, no source.
BASES = {
    "nepheline syenite": 30, "potash feldspar": 35, "soda feldspar": 32, "frit 3134": 30,
    "frit 3124": 45,
}  # fmt: skip
EARTHS = {"whiting": 13, "wollastonite": 16, "dolomite": 9, "talc": 8, "strontium carbonate": 10,
          "zinc oxide": 5}  # fmt: skip
OVER = {"rutile": 5, "titanium dioxide": 5, "tin oxide": 5, "red iron oxide": 5,
        "cobalt carbonate": 1}  # fmt: skip
# Moles a unity of fluxes about which an analysed glaze lies.
UNITY = {"Na2O": 0.17, "K2O": 0.10, "MgO": 0.09, "CaO": 0.50, "ZnO": 0.08, "SrO": 0.04,
         "Li2O": 0.02, "Al2O3": 0.36, "B2O3": 0.20, "SiO2": 3.2, "TiO2": 0.04,
         "Fe2O3": 0.03}  # fmt: skip
MASS = {"Na2O": 61.98, "K2O": 94.2, "MgO": 40.3, "CaO": 56.08, "ZnO": 81.38, "SrO": 103.6,
        "Li2O": 29.88, "Al2O3": 101.96, "B2O3": 69.62, "SiO2": 60.08, "TiO2": 79.87,
        "Fe2O3": 159.7}  # fmt: skip


@dataclass(frozen=True)
class Glazes:
    """The tables a studio has of its glazes, and what is in each in truth."""

    table: pd.DataFrame
    recipes: pd.DataFrame | None
    moles: np.ndarray  # (g, 24) mole fractions in truth

    @property
    def names(self):
        """In the order of their numbers."""
        return self.table["glaze"].tolist()


def names_of(rng, count):
    """Invented names, no two alike."""
    every = [f"{a} {b}" for a in FIRST_WORDS for b in LAST_WORDS]
    return [every[k] for k in rng.permutation(len(every))[:count]]


def unity_wt(rng, count, spread=0.4):
    """(count, 24) weight percent of glazes about `UNITY`."""
    moles = {oxide: middle * rng.lognormal(0.0, spread, count) for oxide, middle in UNITY.items()}
    moles["SiO2"] = UNITY["SiO2"] * rng.lognormal(0.0, 0.16, count)
    moles["Al2O3"] = UNITY["Al2O3"] * rng.lognormal(0.0, 0.22, count)
    moles["B2O3"] *= rng.random(count) < 0.8
    wt = pd.DataFrame({oxide: MASS[oxide] * values for oxide, values in moles.items()})
    return wt.mul(100 / wt.sum(axis=1), axis=0).reindex(columns=list(OXIDES)).fillna(0.0)


def recipe_rows(rng, names):
    """A recipe a glaze, as rows of the table."""
    rows = []
    for name in names:
        bases = rng.choice(list(BASES), 1 + (rng.random() < 0.45), replace=False)
        earths = rng.choice(list(EARTHS), 1 + (rng.random() < 0.6), replace=False)
        parts = {b: BASES[b] / len(bases) for b in bases} | {
            e: EARTHS[e] / len(earths) for e in earths
        }
        parts |= {"kaolin": 16.0, "silica": 22.0}
        given = np.array(list(parts.values())) * rng.lognormal(0.0, 0.25, len(parts))
        given = np.maximum((100 * given / given.sum()).round(), 1)
        rows += [(name, m, p, "") for m, p in zip(parts, given, strict=True)]
        rows += [
            (name, m, round(OVER[m] * rng.uniform(0.6, 1.6), 1), "yes")
            for m in rng.choice(list(OVER), int(rng.integers(0, 3)), replace=False)
        ]
    return pd.DataFrame(rows, columns=["glaze", "material", "parts", "addition"])


def invented(rng, count, recipes=0.0, jars=0.0):
    """Glazes of a studio: these shares are recipes and jars, the rest analyses.

    Returns
    -------
    Glazes; jars have no word yet (see `with_words`)
    """
    names = names_of(rng, count)
    source = np.array(["analysis"] * count, dtype=object)
    order = rng.permutation(count)
    split = round(recipes * count)
    source[order[:split]] = "recipe"
    source[order[split : split + round(jars * count)]] = "jar"
    wt = unity_wt(rng, count)
    mixed = source == "recipe"
    rows = None
    if mixed.any():
        rows = recipe_rows(rng, [names[k] for k in np.flatnonzero(mixed)])
        found = recipe_oxides_wt(rows).reindex([names[k] for k in np.flatnonzero(mixed)])
        wt.loc[mixed] = found[list(OXIDES)].fillna(0.0).to_numpy()
    moles = mole_fractions(wt * rng.lognormal(0.0, 0.02, wt.shape))
    table = (
        wt.round(2).where(wt > 0).assign(glaze=names, source=source, behaviour="", note="invented")
    )
    table.loc[source != "analysis", list(OXIDES)] = np.nan
    return Glazes(table.assign(matures_cone="")[COLUMNS], rows, moles)


def with_words(rng, glazes, level, wrong=0.15, silent=0.4, cone="6"):
    """The same with the words of jars, mostly right, and of some others.

    Parameters
    ----------
    level : (g,) how far each runs in truth, log; the words divide it in four
    """
    words = np.array(["stiff", "stable", "fluid", "runny"])
    word = words[np.digitize(level, np.quantile(level, [0.2, 0.6, 0.85]))]
    word = np.where(rng.random(len(level)) < wrong, rng.choice(words, len(level)), word)
    jar = glazes.table["source"].eq("jar").to_numpy()
    quiet = rng.random(len(level)) < np.where(jar, 0.15, silent)
    table = glazes.table.assign(
        behaviour=np.where(quiet, "", word), matures_cone=np.where(jar, cone, "")
    )
    return Glazes(table, glazes.recipes, glazes.moles)


def unity_of(moles):
    """Moles a unity of fluxes, by oxide, and sums that melt laws use.

    Returns
    -------
    dict : oxide or `alkali`, `earth` -> (g,)
    """
    x = dict(zip(OXIDES, np.asarray(moles).T, strict=True))
    alkali = x["Na2O"] + x["K2O"] + x["Li2O"]
    earth = x["CaO"] + x["MgO"] + x["SrO"] + x["BaO"] + x["ZnO"] + x["PbO"]
    flux = alkali + earth
    return {
        name: values / flux for name, values in (x | {"alkali": alkali, "earth": earth}).items()
    }
