"""Names that differ in case, spaces or how an accent is typed are one name, whoever writes them."""

import unicodedata
from unittest import mock

import pandas as pd
import pytest
from helpers.tables import layers, told

from runpredict.errors import BadInput
from runpredict.logbook import book as of_book
from runpredict.logbook.book import Logbook
from runpredict.logbook.results import Outcome

pytestmark = pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning")

GLAZES = pd.DataFrame({"glaze": ["Blue Rutile", "sea"], "source": "jar"})
CAFE = "Café au lait"
ALIKE = {
    "July": ["july", " JULY ", "Ju\u200bly"],
    "Blue Rutile": ["blue rutile", "Blue  Rutile", "BLUE\u00a0RUTILE", "bluerutile"],
    CAFE: [unicodedata.normalize("NFD", CAFE), CAFE.upper(), "Café  au lait"],
}
SPELLINGS = [(name, typed) for name, others in ALIKE.items() for typed in others]


def pot(**cells):
    return layers({"piece": "mug", "firing": "July", "glaze": "sea", **cells})


def segment(firing):
    return pd.DataFrame(
        {"firing": [firing], "segment": 1, "rate_c_per_h": 60, "target_c": 1220, "hold_min": 10}
    )


@pytest.fixture
def log(tmp_path):
    with Logbook.open(tmp_path, create=True) as made:
        made.import_tables({"glazes": GLAZES, "layers": pot()})
        yield made


@pytest.mark.parametrize(("name", "typed"), SPELLINGS)
def test_an_import_takes_a_name_for_the_one_that_is_logged(log, name, typed):
    materials = pd.DataFrame({"material": [name], "SiO2": 99.0})
    log.import_tables(
        {
            "glazes": pd.DataFrame({"glaze": [name], "source": "jar"}),
            "materials": materials,
            "schedules": segment(name),
            "layers": pot(piece=name, firing=name, body=name, lower_edge_mm=6.0),
        }
    )
    before = {kind: len(log.table(kind)) for kind in ("glazes", "materials", "schedules", "layers")}
    again = {
        "glazes": pd.DataFrame({"glaze": [typed], "source": "jar", "note": "again"}),
        "materials": materials.assign(material=typed, SiO2=98.0),
        "schedules": segment(typed),
        "layers": pot(piece=typed, firing=typed, body=typed, lower_edge_mm=7.0),
    }
    _, notes = told(log.import_tables, again)
    assert {kind: len(log.table(kind)) for kind in before} == before
    assert log.piece(name, name)["lower_edge_mm"].tolist() == [7.0]
    assert log.piece(name, name)["body"].tolist() == [name]
    assert log.glazes().query("note == 'again'")["glaze"].tolist() == [name]
    assert log.materials()["SiO2"].tolist() == [98.0]
    plain = " ".join(unicodedata.normalize("NFC", typed.replace("\u200b", "")).split())
    assert all(f'is taken for "{name}" of the logbook' in note for note in notes)
    assert bool(notes) == (plain != name)


def test_names_that_are_new_and_alike_are_one_in_one_import(log):
    rows = layers(
        {"piece": "a", "firing": "May", "glaze": "sea"},
        {"piece": "b", "firing": "may", "glaze": "sea"},
        {"piece": "A", "firing": "MAY", "glaze": "sea", "layer": 2, "lower_edge_mm": 40.0},
    )
    log.import_tables({"schedules": segment("may "), "layers": rows})
    mine = log.layers().query("firing != 'July'")
    assert set(mine["firing"]) == {"may"}  # as the schedules have it, which are read first
    assert mine["piece"].tolist() == ["a", "b", "a"]


@pytest.mark.parametrize(
    ("kind", "table"),
    [
        ("glazes", pd.DataFrame({"glaze": ["Ash", "ash"], "source": "jar"})),
        ("glazes", pd.DataFrame({"glaze": ["SEA", "Sea"], "source": "jar"})),
        ("materials", pd.DataFrame({"material": ["Ash", "ash"], "SiO2": 50.0})),
        ("layers", layers({"piece": "A1", "glaze": "sea"}, {"piece": "a1", "glaze": "sea"})),
    ],
)
def test_two_rows_of_one_name_in_two_spellings_are_asked_about(log, kind, table):
    with pytest.raises(BadInput, match=r"index 1.*differs only in case or spaces from") as bad:
        log.import_tables({kind: table})
    assert len(bad.value.faults) == 1


def test_a_figure_apart_is_another_name(log):
    tiles = layers({"piece": "tile 1 12", "glaze": "sea"}, {"piece": "tile 11 2", "glaze": "sea"})
    log.import_tables({"layers": tiles})
    assert {"tile 1 12", "tile 11 2"} <= set(log.layers()["piece"])


@pytest.mark.parametrize("typed", ["july", "JULY "])
def test_a_pot_that_is_planned_goes_into_the_firing_that_is_there(log, typed):
    piece, written = log.put_piece(pot(piece="cup", firing=typed), None, "")
    assert (piece, written) == (("cup", "July"), True)
    assert set(log.layers()["firing"]) == {"July"}


def test_a_pot_may_be_renamed_in_case_only(log):
    mark = log.marked("layers")[1]["mug", "July"]
    renamed, _ = log.put_piece(pot(piece="Mug", firing="JULY"), ("mug", "July"), mark)
    assert renamed == ("Mug", "JULY")  # nothing else is in that firing
    assert list(log.marked("layers")[1]) == [("Mug", "JULY")]
    log.put_piece(pot(piece="cup", firing="july"), None, "")
    mark = log.marked("layers")[1]["Mug", "JULY"]
    renamed, _ = log.put_piece(pot(piece="mug", firing="July"), ("Mug", "JULY"), mark)
    assert renamed == ("mug", "JULY")  # the cup is


def test_what_is_logged_so_already_is_not_written_again(log):
    mark = log.marked("layers")[1]["mug", "July"]
    changes = len(log.changes())
    assert log.put_piece(pot(), ("mug", "July"), mark) == (("mug", "July"), False)
    for was, seen in ((None, ""), (("mug", "July"), "old"), (("gone", "July"), "old")):
        # Sent again, as no answer had come.
        assert log.put_piece(pot(), was, seen) == (("mug", "July"), True)
    assert len(log.changes()) == changes


def test_a_logbook_that_has_both_spellings_goes_on_as_it_was(tmp_path):
    """As an earlier release made one."""
    both = layers(
        {"firing": "July", "glaze": "sea"},
        {"firing": "july", "glaze": "sea"},
        {"piece": "cup", "firing": "july", "glaze": "Sea"},
    )
    with Logbook.open(tmp_path, create=True) as log:
        with mock.patch.object(of_book, "respell_names"):
            log.import_tables({"glazes": GLAZES.assign(glaze=["Sea", "sea"]), "layers": both})
        log.export(tmp_path / "out")
        tables = {kind: log.table(kind) for kind in ("glazes", "layers")}
        counts = log.import_tables(tables)
        assert counts["layers"].unchanged == 3
        assert counts["glazes"].unchanged == 2
        log.record("mug", [Outcome(1, past_foot="no")], firing="july")
        assert log.piece("mug", "july")["past_foot"].tolist() == ["no"]
        assert log.piece("mug", "July")["past_foot"].tolist() == [""]
