"""The glazes of the bench page: another name, no longer in use, a recipe's faults at its rows."""

import pytest
from helpers.bench import bench, logged

pytestmark = pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning")


@pytest.fixture
def app(tmp_path):
    with bench(tmp_path, learning=False) as made:
        yield made


def glazes(app):
    return app.extensions["session"].studio.snapshot().stock.kept["glazes"].set_index("glaze")


def test_a_glaze_gets_another_name_and_what_else_is_typed_stays(visitor, app):
    visitor.get("/glaze?name=Eel Lantern")
    visitor.send("/glaze", "rename", new_name="Eel Lamp", note="half typed")
    assert visitor.fields("/glaze")["note"] == "half typed"
    assert visitor.fields("/glaze")["glaze"] == "Eel Lamp"
    assert glazes(app).loc["Eel Lamp", "note"] != "half typed"
    visitor.send("/glaze", "save", note="half typed")
    visitor.follow()
    assert glazes(app).loc["Eel Lamp", "note"] == "half typed"
    assert visitor.get("/glaze?name=Eel Lantern").status_code == 404
    visitor.get("/pots?glaze=Eel Lamp")
    assert "Eel Lamp" in visitor.text
    visitor.get("/glaze?name=Eel Lamp")
    visitor.send("/glaze", "rename", new_name="pilot COAT")
    assert 'id="fault-new_name"' in visitor.text
    assert visitor.fields("/glaze")["new_name"] == "pilot COAT"


def test_the_batches_of_a_glaze_are_seen_and_a_typo_in_one_is_mended(visitor, app):
    for piece, firing, batch, day in (
        ("mug 4", "Old Nan", "Sept buket", "2026-03-08"),
        ("vase 1", "Old Nan", "<jar> 2", ""),
    ):
        visitor.get(f"/pot?piece={piece}&firing={firing}")
        fields = visitor.fields("/pot")
        at = next(n for n, glaze in fields.items() if n[:6] == "glaze-" and glaze == "Eel Lantern")
        visitor.send("/pot", "save", fired_on=day, **{f"batch-{at[6:]}": batch})
        visitor.follow()
    visitor.get("/glaze?name=Eel Lantern")
    listed = '<li><bdi>{}</bdi> <span class="said">on 1 pot{}</span></li>'
    assert listed.format("Sept buket", ", last on 2026-03-08") in visitor.text
    assert "&lt;jar&gt; 2" in visitor.page.get_data(as_text=True)
    visitor.send("/glaze", "batch", batch="Sept buket", batch_name="")
    assert visitor.page.status_code == 422 and 'id="fault-batch_name"' in visitor.text
    visitor.send("/glaze", "batch", batch="Sept buket", batch_name="September", note="half typed")
    assert visitor.fields("/glaze")["note"] == "half typed"
    assert listed.format("September", ", last on 2026-03-08") in visitor.text
    assert "buket" not in visitor.text
    visitor.get("/glaze?name=Eel Lantern")
    visitor.send("/glaze", "batch", batch="<jar> 2", batch_name="September")
    visitor.follow()
    assert "on 2 pots, last on 2026-03-08" in visitor.text
    assert "September" in set(logged(app, "vase 1")["batch"])


def test_a_glaze_that_is_not_in_use_stays_with_its_pots_alone(visitor, app):
    visitor.get("/glaze?name=Eel Lantern")
    visitor.send("/glaze", "save")
    assert "kept=0" in visitor.page.headers["Location"]
    visitor.get("/glaze?name=Eel Lantern")
    visitor.send("/glaze", "save", in_use="no")
    visitor.get("/pot")
    assert "<option>Eel Lantern</option>" not in visitor.text
    visitor.get("/pot?piece=mug 4&firing=Old Nan")  # glazed with it already
    assert "<option selected>Eel Lantern</option>" in visitor.text
    visitor.get("/glazes")
    assert "1 not in use any more" in visitor.text
    visitor.get("/glaze?name=Eel Lantern")
    visitor.send("/glaze", "save", in_use="yes")
    visitor.get("/pot")
    assert "<option>Eel Lantern</option>" in visitor.text


def test_a_recipe_is_blamed_at_its_rows(visitor, app):
    visitor.get("/glaze?name=Ninepenny Clear")
    before = app.extensions["session"].studio.snapshot().stock.kept["recipes"]
    visitor.send("/glaze", "save", **{"material-2": "nonsuch", "parts-3": "many"})
    assert visitor.page.status_code == 422
    assert 'id="fault-material-2"' in visitor.text and 'id="fault-parts-3"' in visitor.text
    assert visitor.fields("/glaze")["material-2"] == "nonsuch"
    after = app.extensions["session"].studio.snapshot().stock.kept["recipes"]
    assert after.equals(before)


def test_enter_saves_no_half_typed_name(visitor, app):
    """The button that Enter presses comes first in the page."""
    visitor.get("/glaze")
    first = visitor.text.index('form="glaze-form"')
    assert 'value="ask"' in visitor.text[first : first + 200]
    visitor.send("/glaze", "ask", glaze="Eel L")
    assert visitor.fields("/glaze")["glaze"] == "Eel L"
    assert "Eel L" not in glazes(app).index


def test_the_glaze_used_last_stands_first(visitor, app):
    snapshot = app.extensions["session"].studio.snapshot()
    last = snapshot.layers["glaze"].iloc[-1]
    assert snapshot.glazes_in_use[0] == last
    assert sorted(snapshot.glazes_in_use) == sorted(glazes(app).index)
    visitor.get("/glazes")
    assert visitor.text.index(last) < visitor.text.index(snapshot.glazes_in_use[1])


def test_a_jar_is_not_headed_by_a_formula_that_it_has_not(visitor):
    visitor.get("/glaze")
    assert "Unity formula" not in visitor.text and "Of a jar nothing is known" in visitor.text
    visitor.get("/glaze?name=Eel Lantern")
    assert "Unity formula" in visitor.text
