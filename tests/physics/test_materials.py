"""Raw materials by every word they go by, and what each is made of."""

import re

import molmass
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from runpredict.datafiles import OXIDES, packaged_rows
from runpredict.physics.chemistry import recipe_oxides_wt
from runpredict.physics.materials import (
    known_materials,
    list_materials,
    material_key,
    material_names,
    shipped_materials,
)

# Ideal formula of each theoretical material, from memory of any mineralogy or chemistry handbook;
# water of crystals as H2O after the dot.
FORMULAS = {
    "alumina hydrate": "Al(OH)3",
    "alumina, calcined": "Al2O3",
    "barium carbonate": "BaCO3",
    "bismuth oxide": "Bi2O3",
    "black iron oxide": "Fe3O4",
    "bone ash, theoretical": "Ca5(PO4)3OH",
    "borax": "Na2B4O7(H2O)10",
    "borax, anhydrous": "Na2B4O7",
    "boric acid": "H3BO3",
    "calcined kaolin, theoretical": "Al2Si2O7",
    "chrome oxide": "Cr2O3",
    "cobalt carbonate": "CoCO3",
    "cobalt oxide": "Co3O4",
    "colemanite, theoretical": "Ca2B6O11(H2O)5",
    "copper carbonate": "Cu2CO3(OH)2",
    "copper oxide, black": "CuO",
    "copper oxide, red": "Cu2O",
    "dolomite": "CaMg(CO3)2",
    "epsom salts": "MgSO4(H2O)7",
    "ilmenite, theoretical": "FeTiO3",
    "kaolin, theoretical": "Al2Si2O5(OH)4",
    "kyanite, theoretical": "Al2SiO5",
    "lead bisilicate, theoretical": "PbSi2O5",
    "lead sesquisilicate, theoretical": "Pb2Si3O8",
    "lime feldspar, theoretical": "CaAl2Si2O8",
    "litharge": "PbO",
    "lithium carbonate": "Li2CO3",
    "magnesium carbonate, light": "(MgCO3)4(Mg(OH)2)(H2O)4",
    "magnesium carbonate, theoretical": "MgCO3",
    "manganese carbonate": "MnCO3",
    "manganese dioxide": "MnO2",
    "nickel carbonate": "NiCO3",
    "nickel oxide": "NiO",
    "nickel oxide, black": "Ni2O3",
    "pearl ash": "K2CO3",
    "petalite, theoretical": "LiAlSi4O10",
    "potash feldspar, theoretical": "KAlSi3O8",
    "pyrophyllite, theoretical": "Al2Si4O10(OH)2",
    "red iron oxide": "Fe2O3",
    "red lead": "Pb3O4",
    "silica": "SiO2",
    "soda ash": "Na2CO3",
    "soda feldspar, theoretical": "NaAlSi3O8",
    "spodumene, theoretical": "LiAlSi2O6",
    "strontium carbonate": "SrCO3",
    "talc, theoretical": "Mg3Si4O10(OH)2",
    "tin oxide": "SnO2",
    "titanium dioxide": "TiO2",
    "ulexite, theoretical": "NaCaB5O9(H2O)8",
    "white lead": "(PbCO3)2(Pb(OH)2)",
    "whiting": "CaCO3",
    "wollastonite": "CaSiO3",
    "zinc oxide": "ZnO",
    "zircon": "ZrSiO4",
    "zirconia": "ZrO2",
}
BURNS_OFF = {"O", "H", "C", "S"}


def atoms(formula):
    return {item.symbol: item.count for item in molmass.Formula(formula).composition().values()}


@pytest.mark.parametrize("name", sorted(FORMULAS))
def test_theoretical_compositions_follow_from_the_formula(name):
    # molmass: its own table of atomic weights and its own reading of formulas.
    mineral = atoms(FORMULAS[name])
    mass = molmass.Formula(FORMULAS[name]).mass
    expected = dict.fromkeys(OXIDES, 0.0)
    for oxide in OXIDES:
        metal, in_oxide = next(iter(re.findall(r"[A-Z][a-z]?", oxide))), atoms(oxide)
        if metal in mineral and metal not in BURNS_OFF and "O" in in_oxide:
            moles = mineral[metal] / in_oxide[metal]
            expected[oxide] = 100.0 * moles * molmass.Formula(oxide).mass / mass
    row = shipped_materials().set_index("material").loc[name]
    for oxide, share_wt in expected.items():
        given_wt = row[oxide] if row[oxide] == row[oxide] else 0.0
        assert given_wt == pytest.approx(share_wt, abs=0.04), oxide
    assert row["loss_on_ignition"] == pytest.approx(100.0 - sum(expected.values()), abs=0.05)


def test_every_material_called_theoretical_is_checked_against_its_formula():
    shipped = shipped_materials()
    theoretical = shipped.loc[shipped["source"].str.startswith("theoretical"), "material"]
    assert set(theoretical) == set(FORMULAS)
    others = shipped.loc[~shipped["material"].isin(theoretical), "source"]
    assert others.str.contains("from memory|invented").all()


@pytest.mark.parametrize(
    ("typed", "material"),
    [
        ("Flint", "silica"),
        ("QUARTZ", "silica"),
        ("Silica (325 mesh)", "silica"),
        ("silica 200#", "silica"),
        ("Whiting (calcium carbonate)", "whiting"),
        ("CaCO₃", "whiting"),
        ("chalk / whiting", "whiting"),
        ("China  clay", "kaolin, typical"),
        ("Ball Clay", "ball clay, typical"),
        ("Feldspar, potash", "potash feldspar, typical"),
        ("Soda Felspar", "soda feldspar, typical"),
        ("Neph. Sy", "nepheline syenite, typical"),
        ("Iron oxide (red)", "red iron oxide"),
        ("Zirconium Silicate", "zircon"),
        ("Frit 3134", "frit 3134"),
        ("FRIT3195", "frit 3195"),
        ("Gerstley-type borate", "calcium borate ore, typical"),
        ("Cornwall Stone", "cornish stone, typical"),
        ("Talc", "talc, typical"),
        ("kaolin (calcined)", "calcined kaolin, theoretical"),
        ("KAOLIN,  THEORETICAL", "kaolin, theoretical"),
        ("CMC gum", "cellulose gum"),
    ],
)
def test_words_of_the_trade_find_their_material(typed, material):
    assert material_names().find(typed) == material


@pytest.mark.parametrize("typed", ["dolomite (calcined)", "silica / kaolin", "", "(", "moon dust"])
def test_a_word_with_more_to_it_is_not_guessed(typed):
    assert material_names().find(typed) == ""
    assert not material_names().is_vague(typed)


@pytest.mark.parametrize("typed", ["Feldspar", "wood ash", "Wood ash (oak)", "frit", "Clay"])
def test_a_word_for_many_materials_is_not_guessed(typed):
    assert material_names().find(typed) == ""
    assert material_names().is_vague(typed)


def test_nearest_names_are_told_best_first():
    names = material_names()
    assert names.nearest("silca")[0] == "silica"
    assert names.nearest("titanuim dioxide")[0] == "titanium dioxide"
    assert names.nearest("feldspar") == ["potash feldspar", "soda feldspar", "lime feldspar"]
    assert names.nearest("vanadium pentoxide") == []


def test_each_word_means_one_material_and_that_is_shipped():
    shipped = set(shipped_materials()["material"])
    meant = {}
    for row in packaged_rows("material_names.csv"):
        assert row["material"] in shipped | {""}
        assert meant.setdefault(material_key(row["name"]), row["material"]) == row["material"]
        assert material_names().find(row["name"]) == row["material"]
    for material in shipped:
        assert material_names().find(material) == material


@given(st.sampled_from([row["name"] for row in packaged_rows("material_names.csv")]), st.randoms())
def test_case_and_spaces_never_matter(name, random):
    spoilt = "".join(random.choice([c.upper(), c.lower()]) for c in name)
    spoilt = "  " + spoilt.replace(" ", random.choice([" ", "   ", "\u00a0", "_"])) + " "
    assert material_names().find(spoilt) == material_names().find(name)


def own(*names):
    return pd.DataFrame({"material": names, "SiO2": 80.0, "CaO": 20.0})


def share_of_lime(word, materials):
    recipes = pd.DataFrame({"glaze": ["g"], "material": [word], "parts": [1.0]})
    return recipe_oxides_wt(recipes, materials).loc["g", "CaO"]


def test_a_material_of_her_own_stands_in_under_every_name():
    for word in ("silica", "Flint", "QUARTZ", " sio2"):
        assert share_of_lime(word, own("FLINT")) == pytest.approx(20.0)
    assert len(known_materials(own("FLINT"))) == len(shipped_materials())


def test_of_two_of_her_own_the_one_of_the_shipped_name_stands_in():
    two = own("flint", "silica").assign(CaO=[20.0, 40.0], SiO2=[80.0, 60.0])
    assert share_of_lime("flint", two) == pytest.approx(20.0)
    assert share_of_lime("silica", two) == pytest.approx(40.0)
    assert share_of_lime("sand, silica", two) == pytest.approx(40.0)
    neither = own("flint", "quartz")
    assert share_of_lime("silica", neither) == 0.0
    assert len(known_materials(neither)) == len(shipped_materials()) + 2


def test_her_own_names_that_differ_only_in_case_are_found_only_as_spelled():
    names = material_names(own("Ash", "ASH"))
    assert [names.find(word) for word in ("Ash", "ASH", "ash")] == ["Ash", "ASH", ""]


def test_a_word_without_one_material_is_hers_once_she_gives_it():
    assert share_of_lime("Wood Ash", own("wood ash")) == pytest.approx(20.0)


def test_the_list_names_each_material_with_its_other_names():
    listed = list_materials(word="flint")
    assert listed["material"].tolist() == ["silica"]
    assert "quartz" in listed["also"].iloc[0].split("; ")
    assert set(list_materials(word="Feldspar")["material"]) == {
        "potash feldspar, typical",
        "potash feldspar, theoretical",
        "soda feldspar, typical",
        "soda feldspar, theoretical",
        "lime feldspar, theoretical",
    }
    assert len(list_materials()) == len(shipped_materials())
    mine = list_materials(own("my flint", "flint"), "flint").set_index("material")
    assert "quartz" in mine.loc["flint", "also"]
    assert mine.loc["my flint", "also"] == ""
