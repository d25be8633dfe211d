"""Names on the bench page: one that is taken, one that is typed otherwise, one left as it was."""

import unicodedata

import pytest
from helpers.bench import bench

pytestmark = pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning")

CAFE = "Café  au lait"
DECOMPOSED = unicodedata.normalize("NFD", CAFE)


@pytest.fixture
def app(tmp_path):
    with bench(tmp_path, learning=False) as made:
        yield made


def snapshot(app):
    return app.extensions["session"].studio.snapshot()


def test_renaming_to_a_taken_name_says_so_and_another_name_is_kept(visitor, app):
    visitor.get("/pot?piece=mug+2&firing=Dabchick")
    for name in ("mug 1", "Mug  1", "MUG1"):
        visitor.send("/pot", "save", piece=name, **{"lower_edge_mm-1": "11"})
        assert visitor.page.status_code == 409
        assert "is there already" in visitor.text
        assert "somebody else" not in visitor.text
        assert 'id="fault-piece"' in visitor.text
        fields = visitor.fields("/pot")
        assert (fields["was_piece"], fields["lower_edge_mm-1"]) == ("mug 2", "11")
    visitor.send("/pot", "save", piece="mug 20")
    visitor.follow()
    assert "Kept in the logbook" in visitor.text
    assert {("mug 1", "Dabchick"), ("mug 20", "Dabchick")} <= set(snapshot(app).pots)
    assert ("mug 2", "Dabchick") not in snapshot(app).pots


def test_a_new_pot_of_a_taken_name_stays_new(visitor, app):
    """It must not become the other one under the name that is given next."""
    visitor.get("/pot")
    before = set(snapshot(app).pots)
    visitor.send(
        "/pot", "save", piece="mug 1", firing="DABchick", cone="6", **{"glaze-1": "Dry Bilge"}
    )
    assert visitor.page.status_code == 409
    assert visitor.fields("/pot")["was_piece"] == ""
    visitor.send("/pot", "save", piece="mug 21")
    assert set(snapshot(app).pots) == before | {("mug 21", "Dabchick")}


@pytest.mark.parametrize("typed", ["DABCHICK", "dab chick", "dabchick "])
def test_a_firing_typed_otherwise_is_the_one_that_is_there(visitor, app, typed):
    visitor.get("/pot")
    visitor.send("/pot", "save", piece="cup", firing=typed, cone="6", **{"glaze-1": "Dry Bilge"})
    assert "firing=Dabchick" in visitor.page.headers["Location"]
    assert "Kept in the logbook" in visitor.follow().text
    assert ("cup", "Dabchick") in snapshot(app).pots


def test_a_firing_with_a_schedule_needs_no_cone_however_it_is_typed(visitor, app):
    scheduled = sorted(snapshot(app).scheduled)[0]
    visitor.get("/pot")
    fields = {"piece": "cup", "firing": scheduled.upper(), "cone": "", "glaze-1": "Dry Bilge"}
    visitor.send("/pot", "save", **fields)
    assert "Kept in the logbook" in visitor.follow().text
    assert ("cup", scheduled) in snapshot(app).pots


@pytest.mark.parametrize("typed", [CAFE, DECOMPOSED])
def test_a_name_leads_to_its_page_however_it_is_typed(visitor, app, typed):
    visitor.get("/glaze")
    visitor.send("/glaze", "save", glaze=typed, source="jar")
    assert visitor.follow().status_code == 200
    assert "Kept in the logbook" in visitor.text
    visitor.get("/pot")
    visitor.send("/pot", "save", piece=typed, firing=typed, cone="6", **{"glaze-1": typed})
    assert "Kept in the logbook" in visitor.follow().text
    assert ("Café au lait", "Café au lait") in snapshot(app).pots
    for address in (f"/pot?piece={typed}&firing={typed}", f"/load?firing={typed}",
                    f"/kiln?firing={typed.upper()}", f"/glaze?name={typed.upper()}"):  # fmt: skip
        assert visitor.get(address).status_code == 200, address
        assert "Café au lait" in visitor.text


def test_a_new_glaze_of_a_taken_name_is_not_another(visitor, app):
    visitor.get("/glaze")
    visitor.send("/glaze", "save", glaze="ninepenny  CLEAR", source="jar", note="mine")
    assert visitor.page.status_code == 409
    assert "is there already" in visitor.text
    assert visitor.fields("/glaze")["known"] == ""
    visitor.send("/glaze", "save", glaze="Ninepenny Clear 2")
    assert "Kept in the logbook" in visitor.follow().text
    glazes = snapshot(app).stock.kept["glazes"]
    assert glazes.loc[glazes["note"] == "mine", "glaze"].tolist() == ["Ninepenny Clear 2"]


@pytest.mark.parametrize(
    ("address", "action"),
    [("/pot?piece=mug+1&firing=Dabchick", "/pot"), ("/glaze?name=Ninepenny+Clear", "/glaze")],
)
def test_kept_is_not_said_where_nothing_changed(visitor, address, action):
    visitor.get(address)
    visitor.send(action, "save")
    assert "Kept in the logbook" not in visitor.follow().text
    assert "Nothing was changed" in visitor.text
