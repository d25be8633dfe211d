"""A photo of a pot on the page: kept, tapped, measured, and the length in its field."""

import io
import re

import numpy as np
import pytest
from helpers.bench import logged
from helpers.browser import INTO_SIGHT, browsing, by, need_browser, press, said, served, wait_for
from helpers.photos import WIDTH_PX, Shot, encoded

from runpredict.bench.guard import MOST_BYTES
from runpredict.bench.photo_pages import MARKS, NEEDED, SHOWN_PX
from runpredict.units import length_number

pytestmark = pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning")
POT = "piece=mug+2&firing=Dabchick"
SHOT = Shot(foot_mm=62.0, wall_deg=88.0, run_mm=14.0, was_mm=34.0, tilt_deg=12.0)


@pytest.fixture(scope="module")
def taken():
    picture = SHOT.taken()
    return encoded(picture, film_mm=26, located=True), SHOT.taps(picture)


@pytest.fixture
def measuring(visitor, taken):
    """Somebody who has just sent the photo, and tapped all its points."""
    send_photo(visitor, taken[0])
    visitor.follow()
    points = {f"at-{mark}": f"{x:g} {y:g}" for mark, (x, y) in taken[1].items()}
    visitor.send("/photo/measure", "larger", foot="63.5", wall="88", **points)
    return visitor


def send_photo(visitor, content, name="IMG_1.jpg", pot=POT):
    visitor.get(f"/photo?{pot}")
    fields = visitor.fields("/photo") | {"photo": (io.BytesIO(content), name)}
    return visitor.post("/photo", fields)


def tap(visitor, at, shown_px):
    """A tap without a script: a place on the picture as it is shown."""
    scale = shown_px / WIDTH_PX
    fields = visitor.fields("/photo/measure")
    fields |= {"tap.x": str(round(at[0] * scale)), "tap.y": str(round(at[1] * scale))}
    visitor.post("/photo/measure", fields)


def test_a_photo_is_measured_without_a_script(app, visitor, taken):
    content, taps = taken
    send_photo(visitor, content)
    visitor.follow()
    assert "kept beside the logbook" in visitor.text
    visitor.send("/photo/measure", "larger", foot="62", wall="88", layer="2")
    visitor.send("/photo/measure", "larger")
    assert "where it bulges and closes in again, lay a tape along it" in visitor.text
    for mark in ("foot_left", "foot_right", "foot_front", "edge_was", "edge_now"):
        assert re.search(rf'value="{mark}" checked', visitor.text)
        tap(visitor, taps[mark], SHOWN_PX[2])
    address = re.search(r'href="(/kiln\?[^"]*ran_mm=([\d.]+)[^"]*)#filled"', visitor.text)
    run_mm = float(address[2])
    assert run_mm == pytest.approx(SHOT.run_mm, rel=0.08)
    visitor.get(address[1].replace("&amp;", "&"))
    assert f"Measured on the photo: {run_mm:g} mm, give or take" in visitor.text
    assert logged(app, "mug 2")["run_mm"].isna().all()  # it stands in the field alone
    visitor.send("/kiln", "save")
    rows = logged(app, "mug 2")
    assert rows["run_mm"].tolist() == pytest.approx([np.nan, run_mm], nan_ok=True)
    assert rows["photo"].nunique() == 1  # a save of the kiln leaves it


def test_the_photo_is_shown_and_says_nothing_of_where(visitor, taken):
    send_photo(visitor, taken[0])
    visitor.get("/kiln?firing=Dabchick")
    address = re.search(r'src="(/photos/[^"]+)"', visitor.text)[1]
    reply = visitor.get(address)
    assert reply.mimetype == "image/jpeg"
    assert b"Invented Maker" not in reply.data
    assert visitor.get("/photos/..%2flogbook.sqlite3").status_code == 404
    assert visitor.get("/photos/none.jpg").status_code == 404


def test_a_photo_may_be_larger_than_a_form(visitor):
    noise = np.random.default_rng(1).integers(0, 255, (700, 700, 3), dtype=np.uint8)
    content = encoded(noise, "PNG")
    assert len(content) > 2 * MOST_BYTES
    assert send_photo(visitor, content).status_code == 303


@pytest.mark.parametrize("content", [b"", b"no photo", b"\xff\xd8\xff\xe0" + bytes(50)])
def test_what_is_no_photo_is_told(app, visitor, content):
    other = "piece=mug+1&firing=Dabchick"
    assert send_photo(visitor, content, pot=other).status_code == 422
    assert "cannot be read as a photo" in visitor.text
    assert logged(app, "mug 1")["photo"].eq("").all()


def test_no_photo_at_all_is_told(visitor):
    assert send_photo(visitor, b"", "").status_code == 422
    assert "No photo came along" in visitor.text


@pytest.mark.parametrize(
    ("changed", "measured"),
    [
        ({}, True), ({"at-foot_front": ""}, True), ({"layer": "99"}, True), ({"layer": "²"}, True),
        ({"which": "none"}, True), ({"tap.x": "9", "tap.y": "x"}, True),
        ({"foot": "wide"}, False), ({"foot": "0"}, False), ({"wall": "steep"}, False),
        ({"wall": "nan"}, False), ({"wall": "5"}, False), ({"shown": "0"}, False),
        ({f"at-{mark}": "5 5" for mark in NEEDED}, False),
        ({"at-foot_left": "1 2 3"}, None), ({"at-foot_left": "nan nan"}, None),
        ({"at-foot_left": "1e400 2"}, None),
    ],
)  # fmt: skip
def test_odd_taps_end_in_a_length_or_a_sentence(measuring, changed, measured):
    """None of both where a point is missing."""
    measuring.send("/photo/measure", "measure", **changed)
    assert measuring.page.status_code == 200
    told = {"give or take" in measuring.text: True, "Not measured:" in measuring.text: False}
    assert told.get(True) is measured


def test_units_go_with_what_is_typed(measuring):
    (run_mm,) = re.findall(r'class="number">([\d.]+) mm<', measuring.text)
    measuring.send("/photo/measure", "units-in")
    assert measuring.fields("/photo/measure")["foot"] == "2 1/2"
    (run_in,) = re.findall(r'class="number">([\d/ ]+) in<', measuring.text)
    assert run_in == length_number(float(run_mm), "in")


@pytest.mark.parametrize("query", ["", "piece=none&firing=none", "piece=mug+2"])
def test_a_pot_there_is_not_is_no_page(visitor, query):
    assert visitor.get(f"/photo?{query}").status_code == 404
    visitor.get("/pot")
    token = visitor.fields("/pot")["form_token"]
    for action in ("/photo", "/photo/measure"):
        assert visitor.post(action, {"form_token": token, "piece": "none"}).status_code == 404


@pytest.mark.parametrize("ran", ["nan", "-3", "1e99", "x", ""])
def test_an_address_with_no_length_fills_nothing_in(visitor, ran):
    visitor.get(f"/kiln?firing=Dabchick&piece=mug+2&layer=1&ran_mm={ran}&error_mm=1")
    assert visitor.page.status_code == 200
    assert "Measured on the photo" not in visitor.text


CORNER = "const box = arguments[0].getBoundingClientRect(); return [box.left, box.top]"


def every(within, css):
    return within.find_elements("css selector", css)


def test_taps_with_a_script_measure_without_a_new_page(tmp_path, taken):
    """A pot of the invented studio: photo, five taps, the length in its field, kept by a tap."""
    from selenium.webdriver.common.actions.action_builder import ActionBuilder

    need_browser()
    file = tmp_path / "IMG_1.jpg"
    file.write_bytes(taken[0])
    with served(tmp_path / "none", "--demo") as page, browsing() as phone:
        phone.get(f"{page.url}/photo?{POT}&layer=2")
        by(phone, "#photo").send_keys(str(file))
        press(phone, ".photo-form button")
        wait_for(phone, lambda: "is kept" in said(phone))
        press(phone, "button[value=larger]")
        wait_for(phone, lambda: by(phone, "[name=shown]").get_attribute("value") == "680")
        phone.execute_script("window.same = true")
        for count, mark in enumerate(MARKS, 1):
            frame, picture = by(phone, ".frame"), by(phone, "[name=tap]")
            right, down = (at * SHOWN_PX[1] / WIDTH_PX for at in taken[1][mark])
            phone.execute_script("arguments[0].scrollTo(arguments[1] - 150, 0)", frame, right)
            phone.execute_script(INTO_SIGHT, frame)
            corner = phone.execute_script(CORNER, picture)
            hand = ActionBuilder(phone)
            hand.pointer_action.move_to_location(round(corner[0] + right), round(corner[1] + down))
            hand.pointer_action.click()
            hand.perform()
            wait_for(phone, lambda count=count: len(every(phone, "#taps g")) == count)
        assert phone.execute_script("return window.same")
        run_mm = float(said(phone, "#result .number").split()[0])
        assert run_mm == pytest.approx(SHOT.run_mm, rel=0.15)
        press(phone, "#result a")
        wait_for(phone, lambda: "Measured on the photo" in said(phone))
        press(phone, ".keep button.main")
        wait_for(phone, lambda: said(phone, "#state") == "Kept")
        phone.get(f"{page.url}/kiln?firing=Dabchick")
        box = by(phone, '[data-piece="mug 2"]')
        runs = [
            field.get_attribute("value")
            for field in box.find_elements("css selector", ".run input")
        ]
        assert f"{run_mm:g}" in runs
