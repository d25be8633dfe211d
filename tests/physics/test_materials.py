"""Raw materials by every word they go by, and what each is made of."""

import itertools
import re

import molmass
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from runpredict.datafiles import OXIDES, packaged_rows
from runpredict.physics.chemistry import recipe_oxides_wt
from runpredict.physics.material_words import material_key, material_names
from runpredict.physics.materials import (
    known_materials,
    list_materials,
    shipped_materials,
    stand_ins,
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
    "magnesia": "MgO",
    "mullite, theoretical": "Al6Si2O13",
    "mica, theoretical": "KAl3Si3O10(OH)2",
    "calcium phosphate, dibasic": "CaHPO4",
    "lime, quick": "CaO",
    "lime, slaked": "Ca(OH)2",
    "gypsum": "CaSO4(H2O)2",
    "barium sulphate": "BaSO4",
    "sodium bicarbonate": "NaHCO3",
    "sodium nitrate": "NaNO3",
    "potassium nitrate": "KNO3",
    "sodium hexametaphosphate": "NaPO3",
    "yellow iron oxide": "FeOOH",
    "iron sulphate": "FeSO4(H2O)7",
    "copper sulphate": "CuSO4(H2O)5",
    "cobalt sulphate": "CoSO4(H2O)7",
    "potassium bichromate": "K2Cr2O7",
}
BURNS_OFF = {"O", "H", "C", "S", "N"}


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


# As recipe books and suppliers' bags print them (common practice, no source), by the material.
PRINTED = {
    "EPK kaolin": ["EPK", "E.P.K.", "Kaolin (EPK)", "EPK China Clay", "Edgar Plastic Kaolin"],
    "Grolleg kaolin": ["Grolleg", "GROLLEG KAOLIN", "China clay - Grolleg", "Grolleg (china clay)"],
    "Tile 6 kaolin": ["#6 Tile", "Tile #6 Kaolin", "6 Tile clay", "No. 6 tile kaolin"],
    "New Zealand halloysite": ["NZ kaolin", "Kaolin, New Zealand"],
    "OM4 ball clay": ["OM4", "OM-4 Ball Clay", "Ball Clay (OM#4)", "Old Mine #4", "OM 4"],
    "Hyplas 71 ball clay": ["Hyplas 71", "Ball clay, Hyplas 71"],
    "Hymod AT ball clay": ["AT ball clay", "Hymod AT"],
    "Redart clay": ["Redart", "Red Art Clay", "Cedar Heights Redart"],
    "Alberta slip clay": ["Alberta Slip", "Alberta slip clay"],
    "Custer feldspar": ["Custer", "Custer Feldspar", "Feldspar (Custer)", "Custer potash spar"],
    "G-200 feldspar": ["G-200", "G200 Feldspar", "Feldspar, G-200", "Potash feldspar (G 200)"],
    "Minspar feldspar": ["Minspar 200", "Minspar", "Soda Feldspar (Minspar 200)"],
    "Kona F-4 feldspar": ["F-4 Feldspar", "Kona F4", "Feldspar (Kona F-4)", "F4 soda spar"],
    "NC-4 feldspar": ["NC-4 Feldspar", "NC4"],
    "nepheline syenite, typical": ["Neph Sy", "Neph. Syenite", "NEPHELINE SYENITE", "Neph sye"],
    "nepheline syenite A270": ["Nepheline Syenite A-270", "Neph Sy (A270)"],
    "cornish stone, typical": ["Cornwall Stone", "Cornish stone", "China stone"],
    "frit 3124": ["Ferro Frit 3124", "frit 3124", "Frit (Ferro 3124)", "3124 Frit", "FF3124"],
    "frit 3134": ["Frit #3134", "Ferro 3134", "Frit F-3134", "Pemco P-54", "Ferro Frit 3134-2"],
    "frit 3110": ["Ferro frit 3110", "3110"],
    "frit 3195": ["Frit, Ferro 3195", "F3195"],
    "Gerstley borate": ["Gerstley Borate", "gerstley", "Borate, Gerstley"],
    "Gerstley borate substitute, typical": ["Gillespie Borate", "Laguna Borate"],
    "colemanite, ground": ["Colemanite", "COLEMANITE (ground)"],
    "milled zircon opacifier": ["Zircopax", "Zircopax Plus", "Superpax", "Ultrox",
                                "Zirconium Silicate (Superpax)"],
    "silica": ["Silica 325", "325 mesh silica", "flint, 200 mesh", "Quartz (200s mesh)"],
    "Texas talc": ["Talc (Texas)"],
    "Spanish red iron oxide": ["Red Iron Oxide (Spanish)", "Spanish red iron oxide"],
    "strontium carbonate": ["Strontium Carb.", "Str. carbonate"],
    "bentonite, typical": ["Bentonite (Western)", "Wyoming bentonite"],
    "feldspar, unspecified": ["Feldspar", "SPAR", "felspar"],
    "wood ash, typical": ["Wood Ash", "wood ash (oak)", "Ash, mixed wood", "washed wood ash"],
    "clay, unspecified": ["local clay", "Clay", "wild clay"],
}  # fmt: skip


@pytest.mark.parametrize(
    ("typed", "material"), [(typed, m) for m, names in PRINTED.items() for typed in names]
)
def test_names_as_they_are_printed_find_their_material(typed, material):
    assert material_names().find(typed) == material


IN_WORDS = [
    (name, m) for m, names in PRINTED.items() for name in names if not re.search("mesh|E.P.K", name)
]


@pytest.mark.parametrize(("name", "material"), IN_WORDS)
def test_words_of_a_printed_name_may_stand_in_any_order(name, material):
    for words in itertools.permutations(re.findall(r"[^\W_]+", name)):
        for between in (" ", ", ", " - ", "; "):
            assert material_names().find(between.join(words)) == material


def test_names_the_trade_uses_are_at_least_150_beside_formulas():
    plain = [row for row in packaged_rows("material_names.csv") if row["material"]]
    words = {
        material_key(row["name"]) for row in plain if not re.search(r"[A-Z]\w*\d|\(", row["name"])
    }
    assert len(words) >= 150
    known = shipped_materials().set_index("material")
    assert known.loc[[row["material"] for row in plain], "lot_spread_pct"].notna().all()


def moles(row, *oxides):
    return sum(row[o] / molmass.Formula(o).mass for o in oxides if row[o] == row[o])


def test_feldspars_and_kaolins_have_the_proportions_of_their_mineral():
    # (K,Na)AlSi3O8 to CaAl2Si2O8: one alumina for each alkali and lime, Deer, Howie & Zussman;
    # Al2Si2O5(OH)4: one alumina for two silicas. Quartz or mica beside them shift it a little.
    shipped = shipped_materials().set_index("material")
    for name, row in shipped.loc[
        shipped["kind"].isin(["potash feldspar", "soda feldspar"])
    ].iterrows():
        share = moles(row, "Al2O3") / moles(row, "K2O", "Na2O", "CaO")
        assert share == pytest.approx(1.0, abs=0.15), name
        assert (row["K2O"] > row["Na2O"]) == (row["kind"] == "potash feldspar") or "theor" in name
    for name, row in shipped.loc[shipped["kind"] == "kaolin"].iterrows():
        assert 1.95 < moles(row, "SiO2") / moles(row, "Al2O3") < 2.45, name
        assert 11.5 < row["loss_on_ignition"] < 14.2, name


def test_a_word_that_covers_much_stands_for_a_typical_one_of_wide_spread():
    wide = {"feldspar, unspecified", "wood ash, typical", "clay, unspecified"}
    assert wide <= stand_ins()
    shipped = shipped_materials().set_index("material")["lot_spread_pct"]
    assert shipped["feldspar, unspecified"] > 3 * shipped["potash feldspar, typical"]
    assert not {"frit 3124", "Custer feldspar", "kaolin, typical", "silica"} & stand_ins()


@pytest.mark.parametrize(
    "typed",
    [
        "dolomite (calcined)",
        "silica / kaolin",
        "",
        "(",
        "moon dust",
        "calcined Grolleg",
        "feldspar (mine)",
        "Grolleg EPK",
    ],
)
def test_a_word_with_more_to_it_is_not_guessed(typed):
    assert material_names().find(typed) == ""
    assert not material_names().is_vague(typed)


@pytest.mark.parametrize("typed", ["Frit", "stain", "Body stain", "manganese", "Copper"])
def test_a_word_for_many_materials_is_not_guessed(typed):
    assert material_names().find(typed) == ""
    assert material_names().is_vague(typed)


def test_nearest_names_are_told_best_first():
    names = material_names()
    assert names.nearest("silca")[0] == "silica"
    assert names.nearest("titanuim dioxide")[0] == "titanium dioxide"
    assert names.nearest("Ferro Frit 3125")[0].endswith(("3124", "3195", "3134"))
    assert names.nearest("grolleck kaolin")[0] in {"Grolleg", "Grolleg kaolin", "kaolin"}
    for unlike in ("vanadium pentoxide", "moon dust", "x"):
        found = names.nearest(unlike)
        assert len({names.find(name) for name in found}) == 3
    assert all("frit" in material_key(name) for name in names.nearest("frit"))


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
    feldspars = list_materials(word="Feldspar")
    assert feldspars["material"].iloc[0] == "feldspar, unspecified"
    assert {"potash feldspar, typical", "Custer feldspar"} <= set(feldspars["material"])
    assert "silica" not in set(feldspars["material"])
    assert len(list_materials()) == len(shipped_materials())
    mine = list_materials(own("my flint", "flint"), "flint").set_index("material")
    assert "quartz" in mine.loc["flint", "also"]
    assert mine.loc["my flint", "also"] == ""
