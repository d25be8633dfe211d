"""What is typed travels in the form, with its units and its revision; without a script."""

import html
import re

import pytest
from helpers.bench import bench, logged
from helpers.browser import small_studio

from runpredict.bench.kiln_form import key_of
from runpredict.logbook.book import Logbook
from runpredict.logbook.results import Outcome

pytestmark = pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning")
KILN = "/kiln?firing=dusk"
POT = "/pot?piece=cup+2&firing=dusk"


@pytest.fixture
def app(tmp_path):
    with bench(small_studio(tmp_path / "studio"), invented=False, learning=False) as made:
        yield made


def book(app):
    return Logbook.open(app.extensions["session"].studio.folder)


def at(piece, layer, kind="fate"):
    return f"{kind}-{key_of(piece)}-{layer}"


def test_a_length_is_in_the_units_of_its_form(app, visitor):
    """As found: 20, on a page in mm, was kept as 508 mm when the cookie said inches by then."""
    visitor.get(KILN)
    typed = visitor.fields("/kiln") | {at("cup 1", 1): "past", at("cup 1", 1, "run"): "20"}
    visitor.get(POT)
    pot = visitor.fields("/pot") | {"lower_edge_mm-1": "20", "do": "save"}
    visitor.send("/units", units="in")
    visitor.post("/kiln", typed)
    visitor.post("/pot", pot)
    assert logged(app, "cup 1")["run_mm"].iloc[0] == 20.0
    assert logged(app, "cup 2")["lower_edge_mm"].iloc[0] == 20.0


@pytest.mark.parametrize("text", ["20", "20.3", "1 cm", "wide", "", "3/4 in"])
def test_units_change_in_mid_form_and_back_again(app, visitor, text):
    visitor.get(POT)
    visitor.send("/pot", "units-in", piece="renamed", **{"lower_edge_mm-1": text, "note-1": "n"})
    there = visitor.fields("/pot")
    assert (there["piece"], there["note-1"], there["units"]) == ("renamed", "n", "in")
    assert there["upper_edge_mm-1"] == "3 3/4"
    assert 'value="units-in" aria-pressed="true"' in visitor.text
    visitor.send("/pot", "units-mm")
    assert visitor.fields("/pot")["lower_edge_mm-1"] == text
    assert visitor.fields("/pot")["upper_edge_mm-1"] == "95"
    assert logged(app, "renamed").empty


def test_units_change_in_a_kiln_and_a_glaze_that_are_being_filled_in(app, visitor):
    visitor.get(KILN)
    visitor.send(
        "/kiln", "units-in",
        **{at("cup 1", 1): "ran", at("cup 1", 1, "run"): "7", at("cup 1", 2): "fine"},
    )  # fmt: skip
    assert visitor.fields("/kiln")[at("cup 1", 1, "run")] == "1/4"
    assert logged(app, "cup 1")["past_foot"].tolist() == ["", ""]
    visitor.send("/kiln", "save")
    assert logged(app, "cup 1")["run_mm"].iloc[0] == 7.0
    assert logged(app, "cup 1")["past_foot"].iloc[1] == "no"
    visitor.get("/glaze")
    visitor.send("/glaze", "units-mm", glaze="Half Typed", note="so far")
    assert visitor.fields("/glaze")["note"] == "so far"
    visitor.get("/")
    assert 'value="mm" aria-pressed="true"' in visitor.text


def test_two_lengths_that_look_alike_in_inches_are_two(app, visitor):
    visitor.get(KILN)
    visitor.send("/kiln", **{at("cup 1", 1): "past", at("cup 1", 1, "run"): "1/4 in"})
    visitor.follow()
    visitor.send("/kiln", "units-in", **{at("cup 1", 1, "run"): "7"})
    assert visitor.fields("/kiln")[at("cup 1", 1, "run")] == "1/4"
    visitor.send("/kiln", "save")
    assert visitor.page.location.endswith("kept=1")
    assert logged(app, "cup 1")["run_mm"].iloc[0] == 7.0


def test_enter_asks_or_saves_and_never_changes_units(visitor):
    """A browser takes the first button of a form in the order of the page (HTML, 4.10.22.2)."""
    for address, form, does in ((POT, "pot", "ask"), (KILN, "kiln", "save"),
                                ("/glaze", "glaze-form", "ask")):  # fmt: skip
        visitor.get(address)
        first = re.search(rf'<button form="{form}"[^>]* value="([^"]+)"', visitor.text).group(1)
        assert first == does


def test_a_question_mark_takes_back_what_was_written(app, visitor):
    visitor.get(KILN)
    visitor.send("/kiln", **{at("cup 1", 1): "ran", at("cup 1", 1, "run"): "3"})
    visitor.follow()
    assert visitor.fields("/kiln")[at("cup 1", 1, "run")] == "3"
    visitor.send("/kiln", **{at("cup 1", 1): ""})
    assert visitor.page.status_code == 303
    assert logged(app, "cup 1")["run_mm"].isna().all()
    assert logged(app, "cup 1")["past_foot"].iloc[0] == ""


def test_a_length_without_a_word_is_asked_about(app, visitor):
    visitor.get(KILN)
    visitor.send("/kiln", **{at("cup 1", 1, "run"): "3"})
    assert visitor.page.status_code == 409
    assert "choose Ran or Past" in visitor.text
    assert visitor.fields("/kiln")[at("cup 1", 1, "run")] == "3"
    assert 'class="picks open"' in visitor.text


def test_all_the_rest_asks_counts_truly_and_is_taken_back(app, visitor):
    visitor.get(KILN)
    visitor.send("/kiln", "rest", **{at("cup 1", 1): "ran", at("cup 1", 1, "run"): "3"})
    assert "Of 17 layers on 9 pots nothing is written yet" in visitor.text
    assert set(logged(app, "cup 1")["past_foot"]) == {""}
    with book(app) as other:
        other.record("cup 1", [Outcome(1, past_foot="no")])
    visitor.send("/kiln", "rest-surely")
    assert "was written of 16 layers on 8 pots." in visitor.text
    assert "8 of 9 pots written down" in visitor.text
    assert "Somebody wrote this pot" in visitor.text
    assert logged(app, "cup 1")["past_foot"].tolist() == ["no", ""]
    assert set(logged(app, "cup 2")["past_foot"]) == {"no"}
    with book(app) as other:
        other.record("cup 5", [Outcome(1, past_foot="yes")])
    visitor.send("/kiln", "undo")
    assert "was taken back from 7 pots" in visitor.text
    assert set(logged(app, "cup 2")["past_foot"]) == {""}
    assert logged(app, "cup 5")["past_foot"].tolist() == ["yes", "no", "no"]


def test_no_to_all_the_rest_keeps_what_was_typed(app, visitor):
    visitor.get(KILN)
    visitor.send("/kiln", "rest", **{at("cup 1", 1): "past"})
    visitor.send("/kiln", "units-mm")
    assert visitor.fields("/kiln")[at("cup 1", 1)] == "past"
    assert set(logged(app, "cup 1")["past_foot"]) == {""}


def test_pots_go_by_their_names(app, visitor):
    visitor.get(KILN)
    with book(app) as other:
        other.remove("cup 2")
        other.remove("cup 3")
    visitor.send("/kiln", **{at("cup 4", 1): "past", at("cup 2", 2): "fine"})
    assert logged(app, "cup 4")["past_foot"].iloc[0] == "yes"
    assert set(logged(app, "cup 5")["past_foot"]) == {""}
    assert "not in this firing any more" in visitor.text  # of cup 2, of which she told something
    assert visitor.fields("/kiln")[at("cup 2", 2)] == "fine"
    assert key_of("cup 3") not in visitor.text


def test_what_she_did_not_touch_is_left_as_somebody_wrote_it(app, visitor):
    visitor.get(KILN)
    with book(app) as other:
        other.record("cup 2", [Outcome(1, past_foot="yes")])
    visitor.send("/kiln", **{at("cup 4", 1): "fine"})
    assert visitor.page.status_code == 303
    assert logged(app, "cup 2")["past_foot"].iloc[0] == "yes"
    visitor.follow()
    assert "Kept in the logbook: 1 pot." in visitor.text
    visitor.send("/kiln")
    visitor.follow()
    assert "Nothing had changed" in visitor.text


def test_a_script_gets_the_pots_it_sent(app, visitor):
    visitor.get(KILN)
    fields = visitor.fields("/kiln")
    key = key_of("cup 3")
    mine = {name: text for name, text in fields.items() if key in name}
    mine |= {name: fields[name] for name in ("form_token", "firing", "units")}
    reply = visitor.post("/kiln/pots", mine | {at("cup 3", 1): "past"}).get_data(as_text=True)
    assert re.findall(r'data-piece="([^"]+)"', reply) == ["cup 3"]
    assert "<html" not in reply
    assert "1 of 9 pots written down" in reply
    again = visitor.post("/kiln/pots", mine | {at("cup 3", 1): "fine"}).get_data(as_text=True)
    assert 'data-typed="refused"' in again  # the revision was the one before
    assert logged(app, "cup 3")["past_foot"].iloc[0] == "yes"
    with book(app) as other:
        other.remove("cup 3", result=True)
        other.remove("cup 3")
    gone = visitor.post("/kiln/pots", mine).get_data(as_text=True)
    assert 'data-typed="refused"' in gone
    assert "not in this firing any more" in gone


def test_a_word_told_again_is_not_taken_for_untouched(app, visitor):
    """Fine, then Ran, then Fine again, while somebody else took the Fine back."""
    with book(app) as other:
        other.record("cup 3", [Outcome(1, past_foot="no")])
    visitor.get(KILN)
    fields = visitor.fields("/kiln")
    mine = {name: text for name, text in fields.items() if key_of("cup 3") in name}
    mine |= {name: fields[name] for name in ("form_token", "firing", "units")}
    with book(app) as other:
        other.record("cup 3", [Outcome(1, past_foot="")])
    reply = visitor.post("/kiln/pots", mine).get_data(as_text=True)
    assert 'data-typed="refused"' in reply
    assert "Somebody wrote this pot" in reply


@pytest.mark.parametrize(
    ("address", "action", "changed"),
    [
        (POT, "/pot", {"lower_edge_mm-1": "12", "note-2": "again"}),
        (POT, "/pot", {"piece": "cup twenty", "firing": "night"}),
        ("/pot", "/pot", {"piece": "new", "glaze-1": "Cold Tea", "fired_on": "2026-02-03"}),
        ("/glaze?name=Cold+Tea", "/glaze", {"behaviour": "runny"}),
        ("/glaze", "/glaze", {"glaze": "New Jar", "note": "blue lid"}),
    ],
)
def test_what_is_sent_again_because_no_answer_came_is_kept(app, visitor, address, action, changed):
    visitor.get(address)
    fields = visitor.fields(action) | changed | {"do": "save"}
    first, again = (visitor.post(action, fields) for _ in range(2))
    assert (first.status_code, again.status_code) == (303, 303), html.unescape(again.text)
    assert first.headers["Location"] == again.headers["Location"]


def test_a_layer_taken_off_takes_its_exact_length_along(app, visitor):
    """Lengths were held to the layer of that number, whichever it had become."""
    visitor.get(POT)
    visitor.send("/pot", "units-in")
    visitor.send("/pot", "drop-1")
    visitor.send("/pot", "save")
    assert logged(app, "cup 2")["lower_edge_mm"].tolist() == [38.0, 68.0]
