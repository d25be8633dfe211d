"""What is written of many pots at once: a firing is changed as a whole, pots move to another."""

import pandas as pd
import pytest

from runpredict.errors import BadInput
from runpredict.logbook.book import Logbook
from runpredict.logbook.overtaken import Overtaken, Taken
from runpredict.logbook.results import Outcome
from runpredict.tables.firings import shared_cells

GLAZES = pd.DataFrame({"glaze": ["sea", "sky"], "source": "jar"})


def pots(firing, names, **cells):
    rows = [
        {
            "piece": name, "firing": firing, "cone": "6", "hold_min": 10, "layer": k,
            "glaze": glaze, "coats": 1, "lower_edge_mm": 5.0 + 30 * k, "upper_edge_mm": 90.0,
            **cells,
        }
        for name in names
        for k, glaze in enumerate(("sea", "sky"), 1)
    ]  # fmt: skip
    return pd.DataFrame(rows)


@pytest.fixture
def book(tmp_path):
    with Logbook.open(tmp_path, create=True) as log:
        layers = [pots("gull", ["mug", "cup", "jug"]), pots("tern", ["vase", "mug"], cone="9")]
        log.import_tables({"glazes": GLAZES, "layers": pd.concat(layers)})
        yield log


def said(book, column):
    rows = book.layers().drop_duplicates(["piece", "firing"])
    return {(row.piece, row.firing): getattr(row, column) for row in rows.itertuples()}


def test_a_firing_is_changed_once_for_all_its_pots_and_the_history_has_it(book):
    book.record("cup", [Outcome(1, 4.0, "no")], firing="gull")
    assert (
        book.change_firing("gull", {"cone": "7", "kiln": "red"}, {"cone": "6", "kiln": ""})
        == "gull"
    )
    assert said(book, "cone") == {
        ("mug", "gull"): "7", ("cup", "gull"): "7", ("jug", "gull"): "7",
        ("vase", "tern"): "9", ("mug", "tern"): "9",
    }  # fmt: skip
    assert said(book, "kiln")["mug", "gull"] == "red"
    assert book.piece("cup", "gull")["run_mm"].tolist()[0] == 4.0
    last = book.history(piece="mug", firing="gull").iloc[-1]
    assert (last["origin"], last["cone"]) == ("firing gull", "7")


def test_a_new_name_takes_pots_results_and_schedule_along(book):
    plan = {"firing": "gull", "segment": 1, "rate_c_per_h": 100.0, "target_c": 1200.0}
    book.import_tables({"schedules": pd.DataFrame([plan])})
    book.record("cup", [Outcome(1, 4.0, "no")], firing="gull")
    assert book.change_firing("gull", {"firing": "Grey Gull"}, {"firing": "gull"}) == "Grey Gull"
    assert {firing for _, firing in said(book, "cone")} == {"Grey Gull", "tern"}
    assert book.piece("cup", "Grey Gull")["run_mm"].tolist()[0] == 4.0
    assert book.schedules()["firing"].tolist() == ["Grey Gull"]


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ({"firing": "TERN"}, "is another firing already"),
        ({"cone": "66"}, "not a cone"),
        ({"fired_on": "soon"}, "day"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_written(book, cells, words):
    before, was = book.layers(), {"firing": "gull", "cone": "6", "fired_on": ""}
    with pytest.raises(BadInput, match=words):
        book.change_firing("gull", cells, {name: was[name] for name in cells})
    pd.testing.assert_frame_equal(book.layers(), before)


def test_a_firing_that_somebody_changed_meanwhile_is_not_written_over(book):
    book.change_firing("gull", {"cone": "8"}, {"cone": "6"})
    with pytest.raises(Overtaken, match="changed by somebody else"):
        book.change_firing("gull", {"cone": "5"}, {"cone": "6"})
    # What she did not touch is no reason to stop her; what says the same already is sent twice.
    book.change_firing("gull", {"hold_min": "20"}, {"hold_min": "10"})
    book.change_firing("gull", {"hold_min": "20"}, {"hold_min": "10"})
    assert said(book, "cone")["mug", "gull"] == "8"
    assert said(book, "hold_min")["mug", "gull"] == 20


def test_pots_that_move_take_the_heat_of_where_they_go(book):
    marks = book.marked("layers")[1]
    moving = {pot: marks[pot] for pot in [("cup", "gull"), ("jug", "gull")]}
    assert book.move_pieces(moving, "TERN") == "tern"
    assert said(book, "cone")["cup", "tern"] == said(book, "cone")["jug", "tern"] == "9"
    assert ("cup", "gull") not in said(book, "cone")
    one = {("jug", "tern"): book.marked("layers")[1]["jug", "tern"]}
    assert book.move_pieces(one, "petrel") == "petrel"
    assert said(book, "cone")["jug", "petrel"] == "9"
    one = {("jug", "petrel"): book.marked("layers")[1]["jug", "petrel"]}
    assert book.move_pieces(one, "") == ""
    assert ("jug", "") in said(book, "cone")


def test_a_pot_goes_where_a_schedule_tells_the_heat(book):
    plan = {"firing": "slow", "segment": 1, "rate_c_per_h": 100.0, "target_c": 1200.0}
    book.import_tables({"schedules": pd.DataFrame([plan])})
    book.move_pieces({("cup", "gull"): book.marked("layers")[1]["cup", "gull"]}, "Slow")
    assert said(book, "cone")["cup", "slow"] == ""


def test_no_pot_moves_where_one_may_not(book):
    before, marks = book.layers(), book.marked("layers")[1]
    with pytest.raises(Taken, match="is there already"):
        book.move_pieces({pot: marks[pot] for pot in [("cup", "gull"), ("mug", "gull")]}, "tern")
    with pytest.raises(Overtaken):
        book.move_pieces({("cup", "gull"): marks["mug", "gull"]}, "tern")
    pd.testing.assert_frame_equal(book.layers(), before)
    book.record("cup", [Outcome(1, 4.0, "no")], firing="gull")
    with pytest.raises(BadInput, match="has a result"):
        book.move_pieces({("cup", "gull"): book.marked("layers")[1]["cup", "gull"]}, "tern")


def test_a_pot_that_says_otherwise_takes_what_most_say(book):
    odd = pots("gull", ["mug"], cone="10")
    book.put_piece(odd, ("mug", "gull"), book.marked("layers")[1]["mug", "gull"])
    assert shared_cells(book.layers().query("firing == 'gull'"))["cone"] == "6"
    book.move_pieces({("mug", "gull"): book.marked("layers")[1]["mug", "gull"]}, "gull")
    assert set(book.layers().query("firing == 'gull'")["cone"]) == {"6"}


def test_several_pots_are_planned_in_one_entry_and_once(book):
    rows = pots("gull", ["cup", "cup 2", "cup 3"])
    mark = book.marked("layers")[1]["cup", "gull"]
    assert book.put_piece(rows, ("cup", "gull"), mark) == (("cup", "gull"), True)
    assert {("cup 2", "gull"), ("cup 3", "gull")} <= said(book, "cone").keys()
    entries = book.history(firing="gull")["logged_at"].size
    assert book.put_piece(rows, ("cup", "gull"), mark) == (("cup", "gull"), False)
    assert book.history(firing="gull")["logged_at"].size == entries
    with pytest.raises(Taken):  # a new pot never takes the name of one that stands
        book.put_piece(pots("gull", ["jug", "cup 4"], cone="5"), None, "")


def test_a_glaze_is_one_entry_under_its_new_name_and_old_pots_follow(book):
    recipe = pd.DataFrame({"glaze": "sea", "material": ["silica", "whiting"], "parts": [60, 40]})
    book.import_tables({"recipes": recipe})
    book.record("cup", [Outcome(1, 4.0, "no")], firing="gull")
    before = book.layers()
    mark = book.marked("glazes")[1]
    assert book.rename_glaze("sea", "deep sea", mark["sea",]) == "deep sea"
    assert book.glazes()["glaze"].tolist() == ["sky", "deep sea"]
    assert set(book.recipes()["glaze"]) == {"deep sea"}
    renamed = before.assign(glaze=before["glaze"].replace("sea", "deep sea"))
    pd.testing.assert_frame_equal(book.layers(), renamed)
    book.prove()
    with pytest.raises(BadInput, match="is not in the logbook"):
        book.put_piece(pots("gull", ["bowl"]), None, "")
    with pytest.raises(BadInput, match="another glaze already"):
        book.rename_glaze("deep sea", "Sky", book.marked("glazes")[1]["deep sea",])
    with pytest.raises(BadInput, match="give a glaze's name"):
        book.rename_glaze("deep sea", " ", book.marked("glazes")[1]["deep sea",])
    with pytest.raises(Overtaken):
        book.rename_glaze("deep sea", "sea", mark["sea",])
    book.rename_glaze("deep sea", "sea", book.marked("glazes")[1]["deep sea",])
    pd.testing.assert_frame_equal(book.layers(), before)


def test_a_batch_gets_its_right_name_and_its_pots_follow_the_fired_ones_too(book):
    rows = pots("coot", ["bowl", "dish"], batch="Sept buket", fired_on="2026-03-08")
    book.import_tables({"layers": rows})
    book.import_tables({"layers": pots("rail", ["pot"], batch="Sept bucket")})
    book.record("bowl", [Outcome(1, 4.0, "no")], firing="coot")
    before = book.layers()
    for _ in range(2):  # as where the first answer never came
        assert book.rename_batch("sea", "Sept buket", "Sept bucket") == "Sept bucket"
    mended = before["batch"].mask(before["glaze"].eq("sea") & before["batch"].ne(""), "Sept bucket")
    pd.testing.assert_frame_equal(book.layers(), before.assign(batch=mended))
    assert set(before.loc[before["glaze"].eq("sky"), "batch"]) == {"", "Sept buket", "Sept bucket"}
    book.prove()
    for batch, name, fault in (("Sept bucket", " ", "give the batch a name"),
                               ("", "June", "is no batch"),
                               ("lost", "June", "is no batch of sea that a pot has")):  # fmt: skip
        with pytest.raises(BadInput, match=fault):
            book.rename_batch("sea", batch, name)
