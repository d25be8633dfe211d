"""What nobody has written a result of."""

import pandas as pd
import pytest
from helpers.tables import layers

from runpredict.commands.record_walk import forgotten_words
from runpredict.logbook.book import Logbook
from runpredict.logbook.results import Outcome, forgotten_pots, rest_of_pot

GLAZES = pd.DataFrame([{"glaze": "sea", "source": "jar"}])


def pot(piece, firing, past_foot="", **more):
    return {"piece": piece, "firing": firing, "past_foot": past_foot, **more}


def kept_in(folder, *rows):
    with Logbook.open(folder, create=True) as log:
        log.import_tables({"glazes": GLAZES, "layers": layers(*rows)})
    return str(folder)


def test_the_rest_of_a_pot_is_what_is_blank_unless_one_went_past():
    assert rest_of_pot([False, False], [False, False]) == [True, True]
    assert rest_of_pot([True, False], [False, False]) == [False, True]
    assert rest_of_pot([True, False], [True, False]) == [False, False]
    assert rest_of_pot([True], [False]) == [False]


def test_pots_are_forgotten_only_where_others_of_the_firing_are_written(tmp_path):
    rows = [
        pot("a", "old", "no", fired_on="2026-01-02"), pot("b", "old", fired_on="2026-01-02"),
        pot("c", "plan"), pot("d", "plan"),
        pot("e", "new", "yes", fired_on="2026-03-02"), pot("f", "new"), pot("g", "new"),
        pot("g", "new", layer=2, lower_edge_mm=20.0),
        pot("h", "done", "no", fired_on="2026-02-02"),
        pot("h", "done", layer=2, lower_edge_mm=20.0),
        pot("i", "", "no", fired_on="2026-04-02"), pot("j", "", fired_on="2026-04-02"),
    ]  # fmt: skip
    with Logbook.open(kept_in(tmp_path, *rows)) as log:
        assert list(forgotten_pots(log.layers()).items()) == [
            (" 2026-04-02", 1),
            ("new", 2),
            ("old", 1),
        ]


def test_pots_without_a_firing_or_a_date_are_in_no_firing():
    frame = layers(pot("a", "", "no"), pot("b", "")).assign(
        run_mm=float("nan"), fired_on="", lost=""
    )
    assert forgotten_pots(frame) == {}


@pytest.mark.parametrize(
    ("forgotten", "sentence"),
    [
        ({"Dabchick": 12}, "12 pots of firing Dabchick have no result: were they fine? "
         "runpredict record --firing Dabchick{log} asks for them."),
        ({"Dabchick": 1}, "1 pot of firing Dabchick has no result: was it fine? "
         "runpredict record --firing Dabchick{log} asks for it."),
        ({"Oldest": 9, "Heron": 2, "Old Nan": 1, "Tern": 3},
         "3 pots of firing Tern, 1 of Old Nan and 2 of Heron have no result: were they fine? "
         'runpredict record --firing Tern{log} asks for them; --firing "Old Nan" and '
         "--firing Heron for the others."),
        ({}, ""),
    ],
)  # fmt: skip
def test_forgotten_pots_in_a_sentence(tmp_path, monkeypatch, forgotten, sentence):
    rows = [pot("planned", "to come")]
    for firing, count in forgotten.items():
        rows += [pot("seen", firing, "no"), *(pot(f"p{i}", firing) for i in range(count))]
    folder = kept_in(tmp_path / "book", *rows)
    assert forgotten_words(folder) == sentence.format(log=f" --logbook {folder}")
    (tmp_path / "book").rename(tmp_path / "logbook")
    monkeypatch.chdir(tmp_path)
    assert forgotten_words("logbook") == sentence.format(log="")


def test_the_rest_is_kept_fine_in_one_entry_but_what_is_known_by_now(tmp_path):
    lower, upper = {"lower_edge_mm": 5.0}, {"layer": 2, "lower_edge_mm": 30.0}
    names = ("blank", "partly", "past", "gone", "not asked")
    folder = kept_in(tmp_path, *(pot(name, "f1", **at) for name in names for at in (lower, upper)))
    with Logbook.open(folder) as log:
        asked = log.layers().query("piece != 'not asked'")
        log.record("partly", [Outcome(2, 7.0, "no")])
        log.record("past", [Outcome(1, past_foot="yes")])
        log.remove("gone")
        entries = log.changes()["entry"].nunique()
        written = log.record_rest_fine(asked)
        assert written["piece"].tolist() == ["blank", "blank", "partly"]
        assert written["past_foot"].tolist() == ["no", "no", "no"]
        now = log.layers().set_index(["piece", "layer"])
        assert now["past_foot"].to_dict() == {
            ("blank", 1): "no", ("blank", 2): "no", ("partly", 1): "no", ("partly", 2): "no",
            ("past", 1): "yes", ("past", 2): "", ("not asked", 1): "", ("not asked", 2): "",
        }  # fmt: skip
        assert now["run_mm"].dropna().to_dict() == {("partly", 2): 7.0}
        assert log.changes()["entry"].nunique() == entries + 1
        assert log.record_rest_fine(asked).empty
        assert log.changes()["entry"].nunique() == entries + 1
        log.record("blank", [Outcome(2, 3.0, "no")])  # somebody looked again
        back = log.take_back_fine(written)
        assert [*zip(back["piece"], back["layer"], strict=True)] == [("blank", 1), ("partly", 1)]
        assert log.layers().set_index(["piece", "layer"])["past_foot"].to_dict() == {
            ("blank", 1): "", ("blank", 2): "no", ("partly", 1): "", ("partly", 2): "no",
            ("past", 1): "yes", ("past", 2): "", ("not asked", 1): "", ("not asked", 2): "",
        }  # fmt: skip
        assert log.take_back_fine(written).empty
        log.prove()
