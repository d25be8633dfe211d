"""Whatever a caller from Python gives, the answer is one clear error or a sound answer."""

from inspect import signature
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from helpers.tables import ANALYSIS, layers

import runpredict
from runpredict import BadInput, Logbook, Outcome
from runpredict.logbook import rows
from runpredict.tables import names

GLAZES = pd.DataFrame([ANALYSIS])
NO_FRAMES = [[1, 2], {"piece": ["a"]}, pd.Series([1]), "layers.csv", Path("x"), 5, np.ones((2, 2))]
NO_PATHS = [None, 5, ["a"], {"a": 1}, "a\0b", pd.Series(["a"])]
HUGE = {
    "400 digits": 10**400,
    "5000 digits": 10**5000,
    "largest": 1e308,
    "lowest": -1e308,
    "infinite": float("inf"),
    "30 digits": 10**30,
}
NO_CHANCES = [0, 1, -0.1, float("nan"), "x", None, [0.05], 1 + 2j]


def told(call, *given, **named):
    """The one line that a call is refused with."""
    with pytest.raises(BadInput) as caught:
        call(*given, **named)
    text = str(caught.value)
    assert text.isprintable()
    assert len(text) < 400
    return text


def parameters_of(made):
    """What a function takes; nothing of a class."""
    return () if isinstance(made, type) else tuple(signature(made).parameters)


@pytest.fixture
def log(tmp_path):
    with Logbook.open(tmp_path, create=True) as book:
        book.import_tables({"layers": layers({}), "glazes": GLAZES})
        yield book


@pytest.mark.parametrize("given", NO_FRAMES, ids=lambda given: type(given).__name__)
def test_what_is_no_frame_is_named_with_its_parameter(given, log, tmp_path):
    right = f"is given as a {type(given).__name__}; give a pandas DataFrame"
    assert told(runpredict.check, given, GLAZES).startswith(f"plan: {right}")
    assert told(runpredict.check, layers({}), given).startswith(f"glazes: {right}")
    for role in ("log", "recipes", "materials", "schedules"):
        refused = told(runpredict.check, layers({}), GLAZES, **{role: given})
        assert refused.startswith(f"{role}: {right}")
    assert right in told(runpredict.review, given, GLAZES)
    assert right in told(runpredict.build_features, given, GLAZES)
    assert right in told(log.import_tables, {"layers": given})
    assert right in told(runpredict.write_table, given, tmp_path / "a.csv")
    assert not (tmp_path / "a.csv").exists()


def test_nothing_in_the_place_of_a_table_is_told():
    assert "plan: is given as None" in told(runpredict.check, None, GLAZES)
    assert "glazes: is given as None" in told(runpredict.check, layers({}), None)


@pytest.mark.parametrize("given", NO_PATHS, ids=str)
def test_what_is_no_path_is_told(given, log):
    told(runpredict.read_table, given, "layers")
    told(runpredict.write_table, GLAZES, given)
    told(Logbook.open, given, create=True)
    if given is not None:
        told(log.export, given)
        told(log.export, None, given)


@pytest.mark.parametrize("kind", ["nope", None, ["layers"], 3], ids=str)
def test_what_is_no_kind_of_table_is_told(kind, log):
    for call in (log.table, log.history):
        assert "kind: is none of glazes, recipes" in told(call, kind)
    assert "kind: is none of" in told(runpredict.read_table, "a.csv", kind)
    assert "kind" in told(log.import_tables, {str(kind): GLAZES})
    assert "tables: is given" in told(log.import_tables, [GLAZES])
    assert "has no column nope" in told(log.history, "layers", nope=3)


@pytest.mark.parametrize(
    "tolerance", [*HUGE.values(), *NO_CHANCES], ids=[*HUGE, *map(str, NO_CHANCES)]
)
def test_a_tolerance_that_is_none_is_told(tolerance):
    assert told(runpredict.check, layers({}), GLAZES, tolerance=tolerance).startswith("tolerance: ")


@pytest.mark.parametrize("value", HUGE.values(), ids=HUGE)
def test_huge_numbers_are_refused_in_every_column(value, log):
    cell = pd.Series([value], dtype=object)
    for column in ("lower_edge_mm", "coats", "layer", "foot_mm", "hold_min", "wall_deg", "run_mm"):
        plan = layers({}).assign(**{column: cell})
        assert f"column {column}: " in told(runpredict.check, plan, GLAZES)
    assert "column SiO2: " in told(runpredict.check, layers({}), GLAZES.assign(SiO2=cell))
    with pytest.raises(BadInput):
        log.record("mug", [Outcome(1, value, "no")])


@pytest.mark.parametrize(
    "given", [("a",), (1, "x"), (1, 1.0, 5), (1, 1.0, "no", 7), (None,), (1, [2])], ids=str
)
def test_what_is_no_outcome_is_told(given):
    assert "is given as" in told(Outcome, *given)


@pytest.mark.parametrize("outcomes", [[1], "x", None, Outcome(1)], ids=str)
def test_what_are_no_outcomes_are_told(outcomes, log):
    assert "give a list of Outcome" in told(log.record, "mug", outcomes)


@pytest.mark.parametrize("piece", [5, None, ["mug"], GLAZES], ids=lambda p: type(p).__name__)
def test_what_is_no_name_is_told(piece, log):
    assert "piece: is given as" in told(log.piece, piece)
    assert "piece: is given as" in told(log.record, piece, [Outcome(1)])
    if piece is not None:
        assert "firing: is given as" in told(log.piece, "mug", piece)


def test_a_closed_logbook_is_told(log):
    log.close()
    assert "closed" in told(log.layers)


@pytest.mark.parametrize("count", [500, 2000])
def test_names_nobody_knows_cost_a_few_hints_only(count, log, monkeypatch):
    """The search for a near name grows with the names; it is made for what is shown only."""
    asked = []
    for module in (rows, names):
        whole = module.nearest
        monkeypatch.setattr(module, "nearest", lambda *a, w=whole: asked.append(a) or w(*a))
    many = [{"piece": f"p{n}", "glaze": f"glase {n}"} for n in range(count)]
    with pytest.raises(BadInput) as caught:
        log.import_tables({"layers": layers(*many)})
    assert len(caught.value.faults) == count
    with pytest.raises(BadInput):
        runpredict.check(layers(*many), GLAZES)
    assert 0 < len(asked) <= 40


def test_rows_of_a_frame_are_named_by_its_index(log):
    named = layers({}, {"piece": "jug", "coats": "many"}).set_axis(["a", "b"])
    assert told(runpredict.check, named, GLAZES).startswith("plan, index b, column coats: ")
    assert told(log.import_tables, {"layers": named}).startswith("layers, index b, column coats: ")
    twice = layers({"piece": "jug"}, {"piece": "jug"}).set_axis([17, 42])
    assert told(runpredict.check, twice, GLAZES) == (
        "plan, index 42, column layer: the layer (jug, f1, 1) is already in index 17; keep one."
    )
    both = pd.concat([layers({}), layers({"piece": "jug", "coats": "many"})])
    assert "plan, index 0 at position 1, column coats: " in told(runpredict.check, both, GLAZES)


def test_every_function_says_which_units_there_are(tmp_path):
    answer = runpredict.check(layers({}), GLAZES)
    first = {"answer": answer, "glazes": GLAZES, "table": pd.DataFrame(), "piece": "mug"}
    first["path"] = tmp_path / "kiln.html"
    asked = []
    for name in runpredict.__all__:
        takes = () if name == "__version__" else parameters_of(getattr(runpredict, name))
        if "units" in takes:
            asked.append(name)
            given = {word: first[word] for word in takes if word in first}
            refused = told(getattr(runpredict, name), units="inch", **given)
            assert (
                refused == 'units: "inch" is not known; give "mm" or "in"; for inches write "in".'
            )
    assert len(asked) >= 7
    assert not first["path"].exists()
