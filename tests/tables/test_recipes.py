"""Recipes beside their glazes and raw materials."""

import pandas as pd
import pytest
from helpers.tables import ANALYSIS, faults_of, layers, told

import runpredict
from runpredict.datafiles import OXIDES
from runpredict.physics.material_words import material_names
from runpredict.physics.materials import shipped_materials
from runpredict.tables.plan import check_plan, read_plan
from runpredict.tables.rows import check_table

MADE = {"glaze": "made", "source": "recipe"}


def recipe(*rows, glaze="made"):
    return pd.DataFrame(
        [
            {"glaze": glaze, "material": row[0], "parts": row[1], "addition": "".join(row[2:])}
            for row in rows
        ]
    )


# Invented for this test, in the words, cases and order of a recipe book.
BOOK = """glaze,material,parts,addition
Quay Clear,Potash Feldspar,40,
Quay Clear,FLINT,30,
Quay Clear,Whiting,20,
Quay Clear,China Clay,10,
Heron Matt,Nepheline Syenite,50,
Heron Matt,Dolomite,18,
Heron Matt,kaolin,20,
Heron Matt,Silica,12,
Heron Matt,Tin Oxide,5,yes
Low Water Blue,Frit 3134,22,
Low Water Blue,Soda Feldspar,24,
Low Water Blue,EPSOM SALTS,0.3,yes
Low Water Blue,Quartz,24,
Low Water Blue,wollastonite,15,
Low Water Blue,Ball clay,15,
Low Water Blue,Cobalt Carbonate,1.5,yes
Low Water Blue,Rutile,4,yes
Reed Green,Cornish Stone,45,
Reed Green,Calcium Carbonate,22,
Reed Green,Ball Clay,13,
Reed Green,silica (325 mesh),20,
Reed Green,Red Iron Oxide,2,yes
Reed Green,Bentonite,2,yes
Salt Lamp,Frit 3124,60,
Salt Lamp,Spodumene,15,
Salt Lamp,Talc,5,
Salt Lamp,kaolin,20,
Salt Lamp,Zircon Opacifier,8,yes
Salt Lamp,CMC gum,0.5,yes
Night Tenmoku,Feldspar (potash),55,
Night Tenmoku,Whiting (CaCO3),13,
Night Tenmoku,Bone Ash,2,
Night Tenmoku,China clay,8,
Night Tenmoku,Quartz / Flint,22,
Night Tenmoku,Iron Oxide (Red),9,yes
Frog Pond,Neph Sy,40,
Frog Pond,Strontium Carb,20,
Frog Pond,Lithium carbonate,1,
Frog Pond,Ball Clay,15,
Frog Pond,Flint,24,
Frog Pond,titanium dioxide,5,yes
Frog Pond,Copper Carbonate,4,yes
Snow Crystal,Frit 3110,48,
Snow Crystal,Zinc Oxide,25,
Snow Crystal,Silica,27,
Snow Crystal,Alumina Hydrate,0.5,yes
Snow Crystal,Manganese Dioxide,0.5,yes
Old Majolica,Gerstley-type borate,20,
Old Majolica,Petalite,20,
Old Majolica,Barium Carbonate,5,
Old Majolica,Magnesium Carbonate,3,
Old Majolica,Soda Felspar,32,
Old Majolica,Calcined Kaolin,10,
Old Majolica,China Clay,10,
Old Majolica,Chrome Oxide,0.3,yes
Old Majolica,Nickel Oxide,0.5,yes
"""


@pytest.fixture
def forty_pots(tmp_path):
    """A firing of 40 pots with two glazes each, and no materials table."""
    names = list(dict.fromkeys(line.split(",")[0] for line in BOOK.splitlines()[1:]))
    rows = []
    for pot in range(40):
        for layer, low in ((1, 8), (2, 45)):
            glaze = names[(pot + 3 * (layer - 1)) % len(names)]
            rows.append(f"pot {pot + 1},spring,6,10,{layer},{glaze},1,{low},90")
    headings = "piece,firing,cone,hold_min,layer,glaze,coats,lower_edge_mm,upper_edge_mm"
    (tmp_path / "layers.csv").write_text("\n".join([headings, *rows]), encoding="utf-8")
    (tmp_path / "glazes.csv").write_text("\n".join(["glaze", *names]), encoding="utf-8")
    (tmp_path / "recipes.csv").write_text(BOOK, encoding="utf-8")
    return tmp_path


def test_a_firing_typed_from_a_recipe_book_needs_no_materials_table(forty_pots):
    files = [forty_pots / f"{name}.csv" for name in ("layers", "glazes", "recipes")]
    tables, notes = told(read_plan, files[0], files[1], recipes=files[2])
    assert notes == []
    assert tables.plan["piece"].nunique() == 40
    assert (tables.glazes["source"] == "recipe").all()
    assert tables.glazes[list(OXIDES)].sum(axis=1).to_numpy() == pytest.approx(100.0)
    wt = tables.glazes.set_index("glaze")
    # 25 zinc oxide and 48 frit with 2.6 % boron in what is left of 100 and two small additions.
    left = 100 + 0.5 * 0.6536 + 0.5 * 0.816
    assert wt.loc["Snow Crystal", "ZnO"] == pytest.approx(100 * 25 / left, rel=1e-3)
    assert wt.loc["Snow Crystal", "B2O3"] == pytest.approx(48 * 2.6 / left, rel=1e-3)
    plan, glazes, recipes = (
        runpredict.read_table(file, kind)
        for file, kind in zip(files, ("layers", "glazes", "recipes"), strict=True)
    )
    pieces = runpredict.check(plan, glazes, recipes=recipes).pieces
    assert len(pieces) == 40
    assert pieces["risk"].between(0, 1).all()


def test_no_word_of_the_book_is_spelled_as_the_shipped_material_alone():
    words = {line.split(",")[1] for line in BOOK.splitlines()[1:]}
    other = [word for word in words if material_names().find(word) != word]
    assert len(other) > 0.8 * len(words)


@pytest.mark.parametrize(
    ("material", "sentence"),
    [
        ("Frit", '"made" calls for "Frit", which is no one material; name which, such as "'),
        ("stain", '"made" calls for "stain", which is no one material; give its analysis in the'),
        ("Titanuim dioxide", '"made" calls for "Titanuim dioxide", which is not in the materials '
         '(did you mean "titanium dioxide" or'),
        ("moon dust", "; mend the name, or give its analysis in the materials table."),
    ],
)  # fmt: skip
def test_a_material_that_is_not_known_is_told_with_the_nearest(material, sentence):
    typed = pd.concat(
        [recipe((material, 50), ("whiting", 50)), recipe((material.upper(), 1), glaze="more")]
    )
    glazes = pd.DataFrame([ANALYSIS, MADE, {**MADE, "glaze": "more"}])
    faults = faults_of(check_plan, layers({}), glazes, recipes=typed)
    assert len(faults) == 2
    assert faults[0].startswith("recipes, index 0 at position 0, column material: ")
    assert sentence in faults[0]
    assert '"more" calls for' in faults[1]
    assert faults[1].startswith("recipes, index 0 at position 2, column material: ")
    if material == "moon dust":
        assert faults[0].count('"') == 2 * (2 + 3)  # the glaze, the word, and three names


@pytest.mark.parametrize("addition", [("", ""), ("", "no"), ("yes", "yes")])
def test_a_material_twice_in_a_recipe_is_added_together_and_told(addition):
    first, second = addition
    typed = recipe(("Silica", 10, first), ("whiting", 30), ("silica ", 5, second))
    found, notes = told(check_table, typed, "recipes")
    assert found["parts"].tolist() == [15.0, 30.0]
    assert found["material"].tolist() == ["Silica", "whiting"]
    assert notes == [
        'recipes, index 2, column material: "silica" is already in index 0 of "made"; the parts '
        "are added together."
    ]


def test_the_same_material_in_two_recipes_is_no_matter():
    typed = pd.concat([recipe(("silica", 10)), recipe(("silica", 10), glaze="other")])
    found, notes = told(check_table, typed, "recipes")
    assert len(found) == 2
    assert notes == []


def test_rows_behind_an_added_one_are_still_named_by_their_own_row():
    typed = recipe(("silica", 10), ("silica", 5), ("moon dust", 1))
    with pytest.warns(runpredict.TableWarning, match="already in index 0"):
        faults = faults_of(check_plan, layers({}), pd.DataFrame([ANALYSIS, MADE]), recipes=typed)
    assert faults[0].startswith("recipes, index 2, column material")


@pytest.mark.parametrize(
    ("second", "told_so"),
    [(("Flint", 10), '"Flint" is the "silica" of index 0 again'),
     (("silica", 10, "yes"), '"silica" is the "silica" of index 0 again')],
)  # fmt: skip
def test_a_material_under_two_names_counts_in_full_and_is_told(second, told_so):
    glazes = pd.DataFrame([ANALYSIS, MADE])
    typed = recipe(("silica", 40), ("wollastonite", 50), second)
    tables, notes = told(check_plan, layers({}), glazes, recipes=typed)
    assert len(notes) == 1
    assert told_so in notes[0]
    # 50 silica and 50 wollastonite (48.28 % CaO).
    assert tables.glazes["CaO"].iloc[1] == pytest.approx(24.14, abs=0.01)


def test_recipes_that_no_glaze_uses_are_told():
    typed = pd.concat(
        [recipe(("wollastonite", 1), glaze=name) for name in ("made", "mode", "Quagmire", "Bog")]
    )
    _, notes = told(check_plan, layers({}), pd.DataFrame([ANALYSIS, MADE]), recipes=typed)
    assert notes == [
        'recipes, index 0 at position 1, column glaze: "mode" is not in glazes (did you mean '
        '"made"?), so its rows are not used.',
        'recipes, column glaze: "Quagmire", "Bog" not in glazes, so not used.',
    ]


def test_a_book_of_other_recipes_is_told_in_one_sentence():
    names = [f"{letter * 9} recipe" for letter in "bcdfgjkq"]
    typed = pd.concat([recipe(("wollastonite", 1), glaze=name) for name in names])
    _, notes = told(check_plan, layers({}), pd.DataFrame([ANALYSIS]), recipes=typed)
    assert len(notes) == 1
    assert "and 3 more not in glazes" in notes[0]


@pytest.mark.parametrize(
    ("glaze", "counts"),
    [
        (ANALYSIS, "the analysis counts"),
        ({**ANALYSIS, "source": ""}, "the analysis counts"),
        ({"glaze": "sea", "source": "jar"}, "it counts as a bought jar"),
    ],
)
def test_a_recipe_beside_an_analysis_or_a_jar_is_told_not_to_count(glaze, counts):
    typed = recipe(("wollastonite", 1), glaze="sea")
    tables, notes = told(check_plan, layers({}), pd.DataFrame([glaze]), recipes=typed)
    assert notes == [
        f'glazes, index 0, column source: "sea" has a recipe too, but {counts}; '
        "write recipe here to use the recipe."
    ]
    assert tables.glazes["source"].tolist() == [glaze["source"] or "analysis"]


def test_her_own_lot_goes_before_the_typical_one():
    own = pd.DataFrame({"material": ["WHITING"], "CaO": [40.0], "MgO": [10.0]})
    tables = check_plan(
        layers({}),
        pd.DataFrame([ANALYSIS, MADE]),
        recipes=recipe(("chalk", 50), ("silica", 50)),
        materials=own,
    )
    # 50 x 10 % of magnesia in 50 silica and 25 of what is left of the whiting.
    assert tables.glazes["MgO"].iloc[1] == pytest.approx(100 * 5 / 75)


def test_a_word_that_covers_much_is_taken_for_a_typical_one_and_told():
    typed = recipe(("Feldspar", 40), ("Wood Ash", 30), ("local clay", 20), ("whiting", 10))
    glazes = pd.DataFrame([ANALYSIS, MADE])
    tables, notes = told(check_plan, layers({}), glazes, recipes=typed)
    assert len(notes) == 3
    assert notes[0] == (
        'recipes, index 0, column material: "Feldspar" is taken for a typical one ("feldspar, '
        'unspecified"); one differs much from another, so the range told is wider. Its own '
        "analysis, in the materials table, would narrow it."
    )
    named = recipe(("Potash feldspar", 40), ("whiting", 30), ("ball clay", 20), ("whiting", 10))
    with pytest.warns(runpredict.TableWarning, match="again|already"):
        other = check_plan(layers({}), glazes, recipes=named)
    spread_c = tables.glazes["lot_spread_c"]
    assert spread_c.iloc[0] == 0.0
    assert spread_c.iloc[1] > 2 * other.glazes["lot_spread_c"].iloc[1] > 0


def test_her_own_feldspar_goes_before_the_typical_one_and_nothing_is_told():
    own = pd.DataFrame({"material": ["Feldspar"], "SiO2": [65.0], "Al2O3": [18.0], "K2O": [17.0]})
    typed = recipe(("feldspar", 60), ("silica", 40))
    tables, notes = told(
        check_plan, layers({}), pd.DataFrame([ANALYSIS, MADE]), recipes=typed, materials=own
    )
    assert notes == []
    assert tables.glazes["K2O"].iloc[1] == pytest.approx(0.6 * 17.0)
    assert tables.glazes["lot_spread_c"].iloc[1] == pytest.approx(0.0, abs=1e-9)


def test_the_lots_of_its_materials_widen_the_viscosity_of_a_recipe():
    glazes = pd.DataFrame([ANALYSIS, MADE])
    rows = layers({"glaze": "made"})
    close, wide = (
        recipe((spar, 50), ("whiting", 20), ("silica", 30)) for spar in ("Custer", "feldspar")
    )
    typical = shipped_materials().set_index("material").loc[["feldspar, unspecified"], list(OXIDES)]
    own = typical.reset_index().assign(material="feldspar")
    lot = runpredict.build_features(rows, glazes, recipes=wide, materials=own)
    with pytest.warns(runpredict.TableWarning, match="typical"):
        unknown = runpredict.build_features(rows, glazes, recipes=wide)
    named = runpredict.build_features(rows, glazes, recipes=close)
    sd = "viscosity_sd_log10"
    # The same chemistry; what lots add is added in quadrature.
    assert unknown["viscosity_log10_pa_s"].iloc[0] == pytest.approx(
        lot["viscosity_log10_pa_s"].iloc[0]
    )
    assert unknown[sd].iloc[0] > 1.2 * lot[sd].iloc[0]
    assert named[sd].iloc[0] < unknown[sd].iloc[0]
