"""Materials with her own analysis, kept on the bench page and used in a recipe."""

import pytest
from helpers.bench import Visitor, bench

pytestmark = pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning")
SLIP = {
    "material": "slipway spar", "source": "the supplier", "SiO2": "66", "Al2O3": "18.5",
    "K2O": "12", "Na2O": "3", "loss_on_ignition": "0.5",
}  # fmt: skip


@pytest.fixture
def app(tmp_path):
    with bench(tmp_path, invented=False, learning=False) as made:
        visitor = Visitor(made)
        visitor.get("/welcome")
        visitor.post("/welcome", visitor.fields("/welcome") | {"studio": "own"})
        yield made


def kept(app):
    own = app.extensions["session"].studio.snapshot().stock.kept["materials"]
    return own.set_index("material")


def test_an_analysis_is_kept_and_a_recipe_may_call_for_it(visitor, app):
    visitor.get("/material")
    visitor.send("/material", "save", **SLIP)
    visitor.follow()
    assert "Kept in the logbook" in visitor.text
    assert kept(app).loc["slipway spar", ["SiO2", "K2O", "loss_on_ignition"]].tolist() == [
        66,
        12,
        0.5,
    ]
    visitor.send("/material", "save")
    assert "kept=0" in visitor.page.headers["Location"]
    visitor.get("/materials")
    assert "slipway spar" in visitor.text
    visitor.get("/glaze")
    recipe = {"material-1": "slipway spar", "parts-1": "60", "material-2": "whiting"}
    recipe |= {"parts-2": "20", "material-3": "silica", "parts-3": "20"}
    visitor.send("/glaze", "save", glaze="Mist", source="recipe", **recipe)
    visitor.follow()
    assert "K2O" in visitor.text and "Kept in the logbook" in visitor.text


@pytest.mark.parametrize("typed", [{"SiO2": "much"}, {"K2O": "300"}, {"material": ""}])
def test_what_is_wrong_is_told_at_its_field_and_nothing_is_kept(visitor, app, typed):
    visitor.get("/material")
    visitor.send("/material", "save", **(SLIP | typed))
    assert visitor.page.status_code == 422
    assert f'id="fault-{next(iter(typed))}"' in visitor.text
    assert visitor.fields("/material")["source"] == "the supplier"
    assert kept(app).empty


def test_two_who_write_one_material_choose(visitor, app):
    visitor.get("/material")
    visitor.send("/material", "save", **SLIP)
    visitor.follow()
    mine = visitor.fields("/material") | {"do": "save", "SiO2": "60"}
    visitor.send("/material", "save", SiO2="64")
    visitor.post("/material", mine)
    assert visitor.page.status_code == 409 and "SiO2: <bdi>64</bdi>" in visitor.text
    assert kept(app).loc["slipway spar", "SiO2"] == 64
    visitor.send("/material", "save")
    assert kept(app).loc["slipway spar", "SiO2"] == 60
    visitor.get("/material")  # a new one under a name that is there is never written over it
    visitor.send("/material", "save", **SLIP)
    assert visitor.page.status_code == 409 and kept(app).loc["slipway spar", "SiO2"] == 60
