"""Slips of the pen: a fault for what cannot be, a warning that names the pot for what is odd.

Sizes of pots, and what clays stand, are common practice, no source; the words are those of the
task: a 2.75 mm or 700 mm foot under a mug, cones 06 and 6 in one firing, an earthenware at cone 10.
"""

import warnings

import pandas as pd
import pytest
from helpers.tables import ANALYSIS, faults_of, layers

from runpredict.errors import TableWarning
from runpredict.logbook.book import Logbook
from runpredict.logbook.results import Outcome
from runpredict.tables.plan import check_plan
from runpredict.tables.rows import check_table

MUG = {"piece": "mug 3", "form": "mug"}
SEA = pd.DataFrame([{**ANALYSIS, "matures_cone": "6"}])


def told_of(*changes):
    """What is warned of."""
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always", TableWarning)
        check_table(layers(*changes), "layers")
    return [str(warned.message) for warned in caught]


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ([{**MUG, "foot_mm": 2.75}], 'under the mug "mug 3" cannot be; if these are inches'),
        ([{**MUG, "foot_mm": 700}], 'a foot 700 mm across under the mug "mug 3" cannot be'),
        ([{"piece": "pot", "foot_mm": 2.75}], 'the piece "pot" cannot be; if these are inches'),
        ([{"cone": "6"}, {"piece": "b", "cone": "06"}], "taken the nought away"),
        ([{"run_mm": "20+", "past_foot": "no"}], '"mug" ran at least 20 mm, from 5 mm'),
        ([{"run_mm": "3+"}], "write yes under past_foot if it passed"),
    ],
)
def test_what_cannot_be_is_refused(changes, sentence):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", TableWarning)
        (fault,) = faults_of(check_table, layers(*changes), "layers")
    assert sentence in fault


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ([{"piece": "mug 3", "foot_mm": 700}], 'under the piece "mug 3" is odd'),
        ([{**MUG, "foot_mm": 150}], "is odd; give its diameter in mm, or leave it if it is so"),
        ([{**MUG, "lower_edge_mm": 0.5, "upper_edge_mm": 4}], "if these are inches, write 4 in"),
        ([{"lower_edge_mm": 0.25}], '0.25 mm on "mug" is less than a ruler shows'),
        ([{"run_mm": 0.375}], "if these are inches, write 0.375 in"),
        ([{"run_mm": 9, "past_foot": "no"}], 'is no, yet the layer on "mug" ran 9 mm from 5 mm'),
        ([{"run_mm": 9}], 'is blank, yet the layer on "mug" ran 9 mm'),
        ([{"run_mm": 99, "past_foot": "yes"}], "a run of 99 mm is longer than the wall"),
        ([{"run_mm": "20+"}], '"mug" ran at least to its foot, so this is read as yes'),
        ([{"body": "red Earthenware", "cone": "10"}], '"mug" of red Earthenware to cone 10'),
        ([{"body": "cone 6 buff", "cone": "9"}], "seldom stands more than cone 6"),
    ],
)
def test_what_is_odd_is_told_and_taken(changes, sentence):
    (told,) = told_of(*changes)
    assert sentence in told


@pytest.mark.parametrize(
    "change",
    [
        {"form": "mug", "foot_mm": 62},
        {"form": "plate", "upper_edge_mm": 12, "foot_mm": 180},
        {"form": "tile", "foot_mm": 8, "upper_edge_mm": 14},
        {"run_mm": 4.25, "past_foot": "no"},
        {"run_mm": 20, "past_foot": "yes"},
        {"run_mm": "20+", "past_foot": "yes"},
        {"body": "earthenware", "cone": "04"},
        {"body": "cone 10 stoneware", "cone": "6"},
        {"lower_edge_mm": 0.5},
    ],
)
def test_ordinary_pots_are_passed_in_silence(change):
    assert told_of(change) == []


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        (({"hold_min": 10}, {"piece": "b", "hold_min": 30}), "a hold of 30 min here and a hold of"),
        (
            ({"fired_on": "2026-01-02"}, {"piece": "b", "fired_on": "2026-02-02"}),
            "the date 2026-02-02 here and the date 2026-01-02 above",
        ),
        (({}, {"piece": "MUG"}), '"MUG" and "mug" further up differ only in case'),
        (({}, {"piece": "b", "firing": "F1"}), '"F1" and "f1" further up differ only in case'),
    ],
)
def test_two_firings_of_one_name_and_names_alike_are_told_once(changes, sentence):
    (told,) = told_of(*changes, {**changes[1], "piece": "c"})
    assert sentence in told
    assert told_of(changes[0], {**changes[0], "piece": "c"}) == []


def test_inches_are_thought_of_only_where_they_are_likelier():
    """Ten inches across is no mug's foot, 2.75 inches is."""
    (inches,) = faults_of(check_table, layers({**MUG, "foot_mm": 2.75}), "layers")
    assert "write 2.75 in" in inches
    (small,) = faults_of(check_table, layers({**MUG, "foot_mm": 10}), "layers")
    (odd,) = told_of({**MUG, "foot_mm": 20})
    assert "inches" not in small + odd
    assert "give its diameter in mm" in small and "give its diameter in mm" in odd


def test_an_edge_in_inches_among_others_in_mm_is_asked_about():
    """0.39 among 8 to 40, as ten pots are typed; a thin bare band among them is no inch."""
    edges = [8, 10, 12, 15, 18, 22, 25, 30, 40]
    pots = [{"piece": f"mug {n}", "lower_edge_mm": mm} for n, mm in enumerate(edges)]
    (told,) = told_of(*pots, {"piece": "mug x", "lower_edge_mm": 0.39})
    assert '0.39 mm on "mug x"' in told and "if these are inches, write 0.39 in" in told
    (told,) = told_of(*pots, {"piece": "mug x", "upper_edge_mm": 3.5, "lower_edge_mm": 2})
    assert "write 3.5 in" in told
    for usual in (1, 2, 3.5, 7.5):
        assert told_of(*pots, {"piece": "mug x", "lower_edge_mm": usual}) == []
    assert told_of(*pots[:2], {"piece": "mug x", "lower_edge_mm": 0.39}) == []  # too few to tell


def test_a_run_typed_as_at_least_is_a_bound():
    with pytest.warns(TableWarning, match="read as yes"):
        table = check_table(layers({"run_mm": "> 20"}), "layers")
    assert table[["run_mm", "past_foot"]].values.tolist() == [[20.0, "yes"]]


def test_each_pot_is_told_once_for_all_its_layers():
    three = [{**MUG, "foot_mm": 150}, {**MUG, "layer": 2}, {**MUG, "layer": 3}]
    assert len(told_of(*three, {"piece": "mug 4", "foot_mm": 150})) == 2


def test_cones_of_two_firings_may_differ_by_a_nought():
    assert told_of({"cone": "6"}, {"piece": "b", "firing": "f2", "cone": "06"}) == []


@pytest.mark.parametrize(
    ("cone", "word"), [("10", "run much further"), ("04", "stay dry"), ("7", None), ("5", None)]
)
def test_a_glaze_fired_far_from_its_own_cone_is_told(cone, word):
    plan = layers({"cone": cone}, {"piece": "b", "cone": cone})
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always", TableWarning)
        check_plan(plan, SEA)
    told = [str(warned.message) for warned in caught]
    assert len(told) == (word is not None)
    for sentence in told:
        assert f'sea is meant for cone 6 and "mug", "b" are fired to cone {cone}' in sentence
        assert word in sentence


def test_an_import_tells_of_a_glaze_far_from_its_cone_once(tmp_path):
    with Logbook.open(tmp_path, create=True) as log:
        log.import_tables({"glazes": SEA})
        with pytest.warns(TableWarning, match="meant for cone 6") as caught:
            log.import_tables({"layers": layers({"cone": "10"})})
        assert len(caught) == 1


def test_a_new_glaze_on_a_pot_with_a_result_is_a_question(tmp_path):
    glazes = pd.DataFrame([ANALYSIS, {**ANALYSIS, "glaze": "ash"}])
    with Logbook.open(tmp_path, create=True) as log:
        log.import_tables({"layers": layers({}), "glazes": glazes})
        log.record("mug", [Outcome(1, 2.0, "no")])
        again = {"layers": layers({"glaze": "ash"})}
        (fault,) = faults_of(log.import_tables, again)
        assert 'index 0, column glaze: "mug" was fired with sea' in fault
        assert 'remove "mug" --result' in fault
        assert log.layers()["glaze"].tolist() == ["sea"]
        # The whole row typed again, its result too, is a correction.
        log.import_tables({"layers": layers({"glaze": "ash", "run_mm": 2.0, "past_foot": "no"})})
        assert log.layers()["glaze"].tolist() == ["ash"]
        (fault,) = faults_of(log.import_tables, {"layers": layers({"glaze": "ash", "coats": 3})})
        assert 'index 0, column coats: "mug" was fired with 2' in fault
        assert log.layers()["coats"].tolist() == [2]


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"run_mm": 120, "piece": "vase"}, 'longer than the wall of "vase", which is glazed'),
        ({**MUG, "foot_mm": 2.75, "past_foot": "no"}, 'under the mug "mug 3" cannot be'),
    ],
)
def test_a_log_is_not_refused_for_a_slip_but_the_slip_is_told(change, sentence):
    told = told_of(change)
    assert any(sentence in one for one in told)


@pytest.mark.parametrize("told", [{"firing": "May"}, {"firing": "", "fired_on": "2026-05-01"}])
def test_a_firing_of_the_first_pot_alone_is_asked_about(told):
    pots = [{"piece": f"cup {n}", "firing": "", "fired_on": ""} for n in range(5)]
    first = [{**pots[0], **told}, {**pots[0], **told, "layer": 2}]
    (warned,) = told_of(*first, *pots[1:])
    assert 'only "cup 0" has one; if the pots below it are of that firing' in warned
    assert told_of(*first, *pots[1:3]) == [], "a pot or two may well be in no firing yet"
    assert told_of(*pots[1:], *first) == []
    assert told_of(*first, *pots[1:4], {**pots[4], **told}) == []
    assert told_of(*pots) == []
