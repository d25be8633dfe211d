"""Names matched without regard to case and spaces, each told once."""

import pandas as pd
import pytest
from helpers.tables import ANALYSIS, LAYER, faults_of, layers, told

from runpredict.errors import TableWarning
from runpredict.tables.names import match_name, name_key
from runpredict.tables.plan import check_plan
from runpredict.tables.rows import check_table

TIDE = {**ANALYSIS, "glaze": "Mackerel Sleeve"}


def test_a_glaze_is_found_in_any_case_and_spacing_and_told_once():
    plan = layers(
        {"glaze": "mackerel sleeve"},
        {"piece": "bowl", "glaze": "mackerel sleeve"},
        {"piece": "vase", "glaze": "MACKEREL  SLEEVE"},
        {"piece": "jar", "glaze": "Mackerel Sleeve"},
    )
    tables, notes = told(check_plan, plan, pd.DataFrame([TIDE]))
    assert tables.plan["glaze"].tolist() == ["Mackerel Sleeve"] * 4
    assert notes == [
        'plan, index 0, column glaze: "mackerel sleeve" is taken for "Mackerel Sleeve" of glazes.',
        'plan, index 2, column glaze: "MACKEREL SLEEVE" is taken for "Mackerel Sleeve" of glazes.',
    ]


def test_invisible_characters_do_not_count():
    # Zero-width and no-break spaces, as pasted from a web page.
    assert name_key("Mackerel\u00a0Sleeve\u200b") == name_key("mackerel sleeve")
    assert name_key("Mackerel Sleeve") != name_key("Mackerel Sleet")


def test_recipe_and_log_follow_the_spelling_of_the_glazes():
    recipes = pd.DataFrame({"glaze": ["made ", "MADE"], "material": ["talc", "whiting"]})
    tables, notes = told(
        check_plan,
        layers({"glaze": "Made"}),
        pd.DataFrame([{"glaze": "Made"}]),
        recipes=recipes.assign(parts=[10.0, 20.0]),
        log=layers({"glaze": "maDe", "run_mm": 1.0}),
    )
    assert set(tables.recipes["glaze"]) == {"Made"}
    assert tables.glazes["source"].tolist() == ["recipe"]
    assert tables.glazes["MgO"].iloc[0] > 5
    assert tables.log["glaze"].tolist() == ["Made"]
    assert [note.split(":")[0] for note in notes] == [
        "recipes, index 0, column glaze",
        "recipes, index 1, column glaze",
        "log, index 0, column glaze",
    ]


def test_two_glazes_that_differ_in_case_stay_two_and_a_third_spelling_is_refused():
    glazes = pd.DataFrame([TIDE, {**TIDE, "glaze": "mackerel sleeve"}])
    plan = layers({"glaze": "Mackerel Sleeve"}, {"piece": "b", "glaze": "mackerel sleeve"})
    tables, notes = told(check_plan, plan, glazes)
    assert tables.plan["glaze"].tolist() == ["Mackerel Sleeve", "mackerel sleeve"]
    assert len(notes) == 1
    assert "differ only in case or spaces; they are taken for two" in notes[0]
    with pytest.warns(TableWarning, match="taken for two"):
        faults = faults_of(check_plan, layers({"glaze": "MACKEREL SLEEVE"}), glazes)
    assert len(faults) == 1
    assert '"MACKEREL SLEEVE" is not in glazes (did you mean' in faults[0]


def test_recipes_of_glazes_that_differ_in_case_stay_two():
    glazes = pd.DataFrame({"glaze": ["Ash", "ash"]})
    recipes = pd.DataFrame({"glaze": ["Ash", "ash"], "material": "whiting", "parts": [40.0, 60.0]})
    tables, _ = told(check_plan, layers({"glaze": "ash"}), glazes, recipes=recipes)
    assert tables.recipes["parts"].tolist() == [40.0, 60.0]
    tables, notes = told(check_plan, layers({"glaze": "Ash"}), glazes[:1], recipes=recipes)
    assert tables.recipes[["glaze", "parts"]].values.tolist() == [["Ash", 100.0]]
    assert sum("added together" in note for note in notes) == 1


def test_layers_of_one_piece_are_one_however_it_is_spelled():
    typed = layers({"piece": "Mug 3"}, {"piece": "mug  3", "layer": 2, "lower_edge_mm": 40.0})
    found, notes = told(check_table, typed, "layers")
    assert found["piece"].tolist() == ["Mug 3", "Mug 3"]
    assert notes == [
        'layers, index 1, column piece: "mug 3" is taken for "Mug 3" of index 0, '
        "another layer of it."
    ]


def test_layers_of_one_piece_are_one_however_its_firing_is_spelled():
    typed = layers({"firing": "July"}, {"firing": "july ", "layer": 2, "lower_edge_mm": 40.0})
    found, notes = told(check_table, typed, "layers")
    assert found["firing"].tolist() == ["July", "July"]
    assert notes == [
        'layers, index 1, column firing: "july" is taken for "July" of index 0, '
        "another layer of it."
    ]


def test_pieces_that_would_have_a_layer_twice_are_two():
    typed = layers({"piece": "A1"}, {"piece": "a1"}, {"piece": "A1", "firing": "f2"})
    found, notes = told(check_table, typed, "layers")
    assert found["piece"].tolist() == ["A1", "a1", "A1"]
    assert [note.split(": ")[1] for note in notes] == [
        '"a1" and "A1" further up differ only in case or spaces; write both alike if they are one.'
    ]


def test_a_body_is_spelled_as_in_the_log():
    log = layers({"body": "Stoneware", "run_mm": 2.0}, {"piece": "b", "body": "stoneware"})
    tables, notes = told(
        check_plan, layers({"body": "STONEWARE"}), pd.DataFrame([ANALYSIS]), log=log
    )
    assert set(tables.plan["body"]) | set(tables.log["body"]) == {"Stoneware"}
    assert len(notes) == 2


def test_a_typed_firing_is_found_in_any_case_and_unused_ones_are_told():
    segment = {"segment": 1, "rate_c_per_h": 60, "target_c": 1220, "hold_min": 10}
    schedules = pd.DataFrame([{"firing": name, **segment} for name in ("F1", "f2x", "winter")])
    tables, notes = told(
        check_plan,
        layers({"cone": "", "firing": "f1"}, {"piece": "b", "firing": "f2"}),
        pd.DataFrame([ANALYSIS]),
        schedules=schedules,
    )
    assert tables.plan["firing"].tolist() == ["F1", "f2"]
    assert notes == [
        'plan, index 0, column firing: "f1" is taken for "F1" of schedules.',
        'schedules, index 1, column firing: "f2x" is not in plan (did you mean "f2"?), so its rows '
        "are not used.",
        'schedules, column firing: "winter" not in plan, so not used.',
    ]


@pytest.mark.parametrize(
    ("typed", "known", "meant"),
    [
        ("sea", ["Sea", "sea"], "sea"),
        (" SEA", ["Sea", "sky"], "Sea"),
        ("SEA", ["Sea", "sea"], ""),
        ("s", ["Sea"], ""),
        ("", ["Sea"], ""),
    ],
)
def test_one_name_or_none_is_meant(typed, known, meant):
    assert match_name(typed, known) == meant


def test_a_sound_plan_is_read_without_a_word():
    _, notes = told(check_plan, layers({}), pd.DataFrame([ANALYSIS]), log=pd.DataFrame([LAYER]))
    assert notes == []
