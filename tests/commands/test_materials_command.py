"""The list of raw materials, and what a glaze calls for caution about."""

import pytest

from runpredict.commands import main as cli
from runpredict.physics.materials import shipped_materials

SAMPLE = cli.sample_folder()


def test_every_material_is_listed_with_its_oxides_and_source(capsys):
    assert cli.main(["materials"]) == 0
    shown = capsys.readouterr().out
    lines = shown.splitlines()
    names = [line.split(":")[0] for line in lines if not line.startswith((" ", "=="))]
    assert names == shipped_materials()["material"].tolist()
    assert shown.count("    source: ") == len(names)
    assert max(map(len, lines)) <= 100
    # Theoretical CaCO3 keeps 56.03 % CaO (Handbook of Mineralogy, calcite, from memory).
    assert "whiting: CaO 56; loses 44 on firing; lots differ by ±1\u00a0%" in lines
    assert "== potash feldspar ==" in lines
    assert "cellulose gum: no oxide: burns off; loses 100 on firing" in lines
    assert any(line.startswith("black iron oxide:") and "takes up 3.45" in line for line in lines)


@pytest.mark.parametrize(
    ("word", "material"),
    [("FLINT", "silica"), ("china clay", "kaolin"), ("epk", "EPK kaolin: SiO2 45.7")],
)
def test_a_word_finds_what_it_means(word, material, capsys):
    assert cli.main(["materials", word]) == 0
    shown = capsys.readouterr().out
    assert shown.splitlines()[1].startswith(material)
    assert "also called" in shown


def test_her_own_materials_are_listed_before_the_others(capsys):
    assert cli.main(["materials", "--materials", str(SAMPLE / "materials.csv")]) == 0
    shown = capsys.readouterr().out
    assert shown.startswith(
        "== your own ==\nwhiting: CaO 54.9, SiO2 0.8, MgO 0.6; loses 43.4 on firing\n"
    )
    assert "invented lot analysis" in shown
    assert shown.count("\nkaolin: ") == 1
    assert "kaolin, typical: " not in shown


@pytest.mark.parametrize(
    ("word", "sentence"),
    [
        ("silcia", 'none is named like "silcia"; did you mean "silica"'),
        ("grollek", 'none is named like "grollek"; did you mean "Grolleg'),
    ],
)
def test_a_word_that_finds_nothing_is_told(word, sentence, capsys):
    assert cli.main(["materials", word]) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert sentence in shown.err


def glaze(tmp_path, name, glazes, recipes):
    (tmp_path / "glazes.csv").write_text(glazes, encoding="utf-8")
    (tmp_path / "recipes.csv").write_text(recipes, encoding="utf-8")
    files = ["--glazes", str(tmp_path / "glazes.csv"), "--recipes", str(tmp_path / "recipes.csv")]
    return cli.main(["glaze", name, *files])


RECIPES = (
    "glaze,material,parts\nBog,Wollastonite,60\nBog,Kaolin,30\nBog,Silica,10\n"
    "Fen,Litharge,50\nFen,Silica,45\nFen,Manganese Dioxide,5\n"
)


def test_toxic_metals_of_a_recipe_are_named_and_the_food_test_said(tmp_path, capsys):
    assert glaze(tmp_path, "fen", "glaze\nBog\nFen\nJar\n", RECIPES) == 0
    shown = " ".join(capsys.readouterr().out.split())
    # 5 g MnO2 leave 4.08 g MnO in 99.08 g.
    assert "Take care, it holds lead (50 % PbO): poisonous" in shown
    assert "manganese (4.1 % MnO): harmful dust and fume." in shown
    for words in ("Only a laboratory test", "fitted mask", "vented", "local codes"):
        assert words in shown


def test_a_glaze_without_them_is_not_called_safe(tmp_path, capsys):
    assert glaze(tmp_path, "Bog", "glaze\nBog\nFen\nJar\n", RECIPES) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "no more than a trace of any metal this tool looks for (lead, " in shown
    assert "that does not make it safe. Only a laboratory test" in shown


def test_a_jar_points_to_its_label(tmp_path, capsys):
    assert glaze(tmp_path, "JAR", "glaze\nBog\nFen\nJar\n", RECIPES) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "Which metals it holds stands on the jar's label and safety sheet." in shown
    assert "Only a laboratory test" in shown
