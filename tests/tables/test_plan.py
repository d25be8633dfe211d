"""All tables of a check together."""

import pandas as pd
import pytest
from helpers.tables import ANALYSIS, LAYER, faults_of, layers

from runpredict.datafiles import OXIDES
from runpredict.errors import BadInput
from runpredict.tables.csv_files import write_table
from runpredict.tables.plan import check_plan, read_plan, usable_glazes
from runpredict.tables.rows import empty_table


def test_a_plan_comes_back_with_the_chemistry_of_its_glazes():
    glazes = pd.DataFrame([ANALYSIS, {"glaze": "made"}, {"glaze": "bought"}])
    recipes = pd.DataFrame([{"glaze": "made", "material": "wollastonite", "parts": 30}])
    tables = check_plan(layers({}, {"layer": 2, "glaze": "bought"}), glazes, recipes=recipes)
    assert tables.glazes["source"].tolist() == ["analysis", "recipe", "jar"]
    assert tables.glazes[list(OXIDES)].sum(axis=1).tolist() == pytest.approx([100, 100, 0])
    assert tables.glazes.loc[2, list(OXIDES)].isna().all()
    assert tables.log.empty
    assert tables.schedules.empty


@pytest.mark.parametrize(
    ("change", "extra", "sentence"),
    [
        (
            {"glaze": "Seas"},
            {},
            'plan, index 0, column glaze: "Seas" is not in glazes (did you mean',
        ),
        ({"cone": ""}, {}, "plan, index 0, column cone: is blank, and the firing has no schedule"),
        (
            {},
            {
                "glazes": [ANALYSIS, {"glaze": "made"}],
                "recipes": [{"glaze": "made", "material": "Silca", "parts": 1}],
            },
            'recipes, index 0, column material: "made" calls for "Silca", which is not in the '
            'materials (did you mean "silica" or',
        ),
        (
            {},
            {"glazes": [ANALYSIS, {"glaze": "made", "source": "recipe"}]},
            'glazes, index 1, column source: "made" has no recipe',
        ),
        (
            {},
            {
                "glazes": [ANALYSIS, {"glaze": "made", "source": "recipe"}],
                "recipes": [{"glaze": "made", "material": "silica", "parts": 1}],
            },
            'recipes, index 0, column material: "made" has no flux',
        ),
        (
            {},
            {
                "glazes": [ANALYSIS, {"glaze": "made", "source": "recipe"}],
                "recipes": [{"glaze": "made", "material": "cellulose gum", "parts": 1}],
            },
            'recipes, index 0, column parts: nothing of "made" is left after firing',
        ),
        ({}, {"log": [{**LAYER, "glaze": "lost"}]}, 'log, index 0, column glaze: "lost" is not in'),
    ],
)
def test_tables_that_do_not_fit_together_are_told(change, extra, sentence):
    given_glazes = pd.DataFrame(extra.get("glazes", [ANALYSIS]))
    others = {name: pd.DataFrame(rows) for name, rows in extra.items() if name != "glazes"}
    faults = faults_of(check_plan, layers(change), given_glazes, **others)
    assert len(faults) == 1
    assert faults[0].startswith(sentence)


def test_a_typed_firing_needs_no_cone():
    schedules = pd.DataFrame(
        [{"firing": "f1", "segment": 1, "rate_c_per_h": 60, "target_c": 1220, "hold_min": 10}]
    )
    tables = check_plan(layers({"cone": ""}), pd.DataFrame([ANALYSIS]), schedules=schedules)
    assert len(tables.schedules) == 1


def test_a_plan_without_layers_is_told():
    faults = faults_of(check_plan, empty_table("layers"), pd.DataFrame([ANALYSIS]))
    assert faults == ["plan: has no layer; give one row for each layer of glaze."]


def test_faults_of_all_files_are_told_at_once(tmp_path):
    write_table(layers({"glaze": "lost"}), tmp_path / "layers.csv")
    (tmp_path / "glazes.csv").write_text("glaze,source,SiO2\nsea,analysis,sixty\n")
    faults = faults_of(read_plan, tmp_path / "layers.csv", tmp_path / "glazes.csv")
    assert [fault.split(":")[0] for fault in faults] == [
        "layers.csv, row 2, column glaze",
        "glazes.csv, row 2, column SiO2",
    ]


def test_a_role_that_is_none_is_refused():
    with pytest.raises(TypeError, match="logs is no table of a plan; one of plan, log, glazes"):
        check_plan(layers({}), pd.DataFrame([ANALYSIS]), logs=layers({}))


def test_a_missing_file_is_told_with_the_faults_of_the_others(tmp_path):
    write_table(layers({"cone": "99"}), tmp_path / "layers.csv")
    faults = faults_of(read_plan, tmp_path / "layers.csv", tmp_path / "none.csv")
    assert [fault.split(":")[0] for fault in faults] == [
        "none.csv",
        "layers.csv, row 2, column cone",
    ]


def test_a_sound_plan_is_read_with_its_log(tmp_path):
    write_table(layers({}), tmp_path / "layers.csv")
    write_table(layers({"run_mm": 2.5, "past_foot": "no"}), tmp_path / "log.csv")
    write_table(pd.DataFrame([ANALYSIS]), tmp_path / "glazes.csv")
    tables = read_plan(tmp_path / "layers.csv", tmp_path / "glazes.csv", log=tmp_path / "log.csv")
    assert tables.log["run_mm"].tolist() == [2.5]
    assert tables.glazes["SiO2"].tolist() == [65.0]


def test_two_files_of_one_name_are_told_apart(tmp_path):
    write_table(pd.DataFrame([ANALYSIS]), tmp_path / "glazes.csv")
    for folder in ("now", "past"):
        (tmp_path / folder).mkdir()
        write_table(layers({"cone": "99"}), tmp_path / folder / "layers.csv")
    faults = faults_of(
        read_plan,
        tmp_path / "now" / "layers.csv",
        tmp_path / "glazes.csv",
        log=tmp_path / "past" / "layers.csv",
    )
    assert [
        str(tmp_path / folder) in fault
        for folder, fault in zip(("now", "past"), faults, strict=True)
    ]
    assert len(faults) == 2


def test_a_glaze_whose_recipe_cannot_be_used_is_taken_for_a_jar():
    names = ["sound", "odd", "fluxless", "bought"]
    glazes = pd.DataFrame({"glaze": names, "source": ["recipe"] * 3 + ["jar"]})
    parts = [
        ("sound", "Potash feldspar", 60), ("sound", "Whiting", 20), ("sound", "Flint", 20),
        ("odd", "moon dust", 50), ("odd", "Whiting", 50), ("fluxless", "Flint", 100),
    ]  # fmt: skip
    recipes = pd.DataFrame(parts, columns=["glaze", "material", "parts"])
    tables, unusable = usable_glazes(glazes, recipes=recipes)
    assert unusable.keys() == {"odd", "fluxless"}
    assert '"moon dust"' in unusable["odd"]
    assert "flux" in unusable["fluxless"]
    sources = tables.glazes.set_index("glaze")["source"]
    assert sources.to_dict() == dict(zip(names, ["recipe", "jar", "jar", "jar"], strict=True))
    assert tables.glazes.set_index("glaze")["SiO2"].notna().to_dict() == {
        "sound": True, "odd": False, "fluxless": False, "bought": False,
    }  # fmt: skip
    broken = pd.DataFrame({"material": ["clay"], "SiO2": ["much"]})
    with pytest.raises(BadInput, match="materials, index 0"):
        usable_glazes(glazes, recipes=recipes, materials=broken)


@pytest.mark.parametrize(
    "column", ["piece", "layer", "glaze", "lower_edge_mm", "upper_edge_mm", "cone", "coats"]
)
def test_a_heading_that_is_missing_is_one_sentence(tmp_path, column):
    """Of forty pots with two layers each; where nobody else stands in for what is missing."""
    rows = [
        LAYER | {"piece": f"pot {pot}", "layer": layer, "foot_mm": 60 + pot}
        for pot in range(40)
        for layer in (1, 2)
    ]
    write_table(pd.DataFrame(rows).drop(columns=column), tmp_path / "mine.csv")
    write_table(pd.DataFrame([ANALYSIS]), tmp_path / "glazes.csv")
    with pytest.raises(BadInput) as bad:
        read_plan(tmp_path / "mine.csv", tmp_path / "glazes.csv")
    (sentence,) = str(bad.value).splitlines()
    assert f"mine.csv, {'rows 2, 3, 4 and 77 more, ' * (column == 'cone')}column {column}" in (
        sentence
    )


def test_a_table_of_glazes_without_their_names_is_one_sentence(tmp_path):
    write_table(pd.DataFrame([LAYER]), tmp_path / "mine.csv")
    write_table(pd.DataFrame([ANALYSIS]).drop(columns="glaze"), tmp_path / "glazes.csv")
    with pytest.raises(BadInput) as bad:
        read_plan(tmp_path / "mine.csv", tmp_path / "glazes.csv")
    assert str(bad.value) == "glazes.csv, column glaze: the column is missing; give a glaze's name."
