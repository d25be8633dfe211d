"""Firings in a real browser: a slow network, none, a page started anew; forty pots in few taps."""

import pytest
from helpers.bench import three_hundred
from helpers.browser import (
    PHONE,
    Page,
    answered,
    browsing,
    by,
    fill,
    free_port,
    need_browser,
    network,
    press,
    said,
    served,
    small_studio,
    wait_for,
)

from runpredict.bench.kiln_form import key_of
from runpredict.logbook.book import Logbook

SLOW_MS = 250
SAVE = ".keep [value=save]"


@pytest.fixture
def folder(tmp_path):
    return small_studio(tmp_path / "studio")


@pytest.fixture(scope="module")
def phone():
    need_browser()
    with browsing(PHONE) as driver:
        yield driver


@pytest.fixture(autouse=True)
def as_usual(request):
    yield
    if "phone" in request.fixturenames:
        network(request.getfixturevalue("phone"))


def pots_of(folder, firing):
    with Logbook.open(folder) as book:
        rows = book.layers()
    return rows.loc[rows["firing"] == firing].drop_duplicates("piece")


def test_a_firing_is_changed_over_a_slow_network(folder, phone):
    with served(folder) as page:
        phone.get(f"{page.url}/firing?name=dusk")
        network(phone, SLOW_MS)
        fill(phone, "hold_min", "25")
        assert "Not kept yet" in said(phone, "#state")
        press(phone, SAVE)
        fill(phone, "kiln", "red")  # while the answer is on its way
        wait_for(phone, lambda: "kept=1" in phone.current_url)
        assert by(phone, "[name=kiln]").get_attribute("value") == "red"
        assert "Not kept yet" in said(phone, "#state")
        assert set(pots_of(folder, "dusk")["hold_min"]) == {25.0}
        assert set(pots_of(folder, "dusk")["kiln"]) == {""}
        press(phone, SAVE)
        wait_for(phone, lambda: set(pots_of(folder, "dusk")["kiln"]) == {"red"})


@pytest.mark.parametrize("how", ["offline", "restart"])
def test_a_firing_that_could_not_be_sent_is_offered_again(folder, phone, how):
    need_browser()
    options = ("--port", str(free_port()))
    with Page(folder, *options) as page:
        phone.get(f"{page.url}/firing?name=dusk")
        fill(phone, "cone", "7")
        fill(phone, "kiln", "red")
        if how == "offline":
            network(phone, offline=True)
            press(phone, SAVE)
            wait_for(phone, lambda: "Not done" in said(phone, "#state"))
            network(phone)
        else:
            page.stop()
            press(phone, SAVE)
            wait_for(phone, lambda: "Not done" in said(phone, "#state"))
        assert set(pots_of(folder, "dusk")["cone"]) == {"6"}
    with Page(folder, *options) as page:
        phone.get(f"{page.url}/firing?name=dusk")
        assert "Typed on this device and not kept: the firing dusk" in said(phone, "#offers")
        press(phone, "#offers .main")
        wait_for(phone, lambda: by(phone, "[name=kiln]").get_attribute("value") == "red")
        press(phone, SAVE)
        wait_for(phone, lambda: set(pots_of(folder, "dusk")["cone"]) == {"7"})
        wait_for(phone, lambda: not phone.find_elements("id", "offers"))
        phone.execute_script("localStorage.clear()")


def test_a_new_firing_stays_typed_until_its_first_pot_is_kept(folder, phone):
    with served(folder) as page:
        phone.get(f"{page.url}/firing")
        fill(phone, "firing", "dawn")
        fill(phone, "kiln", "red")
        press(phone, SAVE)
        wait_for(phone, lambda: phone.find_elements("id", "pot"))
        assert by(phone, "[name=kiln]").get_attribute("value") == "red"
        assert "Not kept yet" in said(phone, "#state")
        phone.get(f"{page.url}/")
        assert "Typed on this device and not kept" in said(phone, "#offers")
        press(phone, "#offers .main")
        wait_for(phone, lambda: phone.find_elements("id", "pot"))
        fill(phone, "glaze-1", "Cold Tea")
        press(phone, SAVE)
        wait_for(phone, lambda: len(pots_of(folder, "dawn")) == 1)
        assert set(pots_of(folder, "dawn")["kiln"]) == {"red"}


def test_a_pot_named_into_a_firing_takes_its_heat(folder, phone):
    with served(folder) as page:
        phone.get(f"{page.url}/pot")
        fill(phone, "hold_min", "40")
        fill(phone, "firing", "dusk")
        fill(phone, "piece", "late cup")  # and leaves the field of the firing
        wait_for(phone, lambda: by(phone, "[name=hold_min]").get_attribute("value") == "10")
        assert by(phone, "[name=piece]").get_attribute("value") == "late cup"


def test_a_screen_reader_is_told_the_change_alone(folder, phone):
    with served(folder) as page:
        phone.get(f"{page.url}/pot?piece=cup+3&firing=dusk")
        wait_for(phone, lambda: phone.find_elements("css selector", "html.script"))
        assert phone.execute_script("return document.getElementById('spoken').textContent") == ""
        fill(phone, "lower_edge_mm-1", "2")
        answered(phone)
        words = phone.execute_script("return document.getElementById('spoken').textContent")
        assert "%" in words
        assert words.startswith(said(phone, "#answer .number")) and len(words.split()) <= 45
        live = "return document.querySelectorAll('[aria-live], #beside [role=alert]').length"
        assert phone.execute_script(live) == 0


def test_pots_are_moved_without_a_script(folder):
    need_browser()
    with browsing(PHONE, script=False) as plain, served(folder) as page:
        plain.get(f"{page.url}/load?firing=dusk")
        press(plain, f"[name=move-{key_of('cup 3')}]")
        fill(plain, "to", "dawn")
        press(plain, "[value=move]")
        assert "moved here" in said(plain)
        assert pots_of(folder, "dawn")["piece"].tolist() == ["cup 3"]


def test_what_is_ticked_while_another_part_of_the_list_comes_goes_along(tmp_path, phone):
    folder = three_hundred(tmp_path)
    with served(folder) as page:
        phone.get(f"{page.url}/load?firing=firing+0")
        pots = "[...document.querySelectorAll('[type=checkbox]:not(:checked)')]"
        first, second, third = phone.execute_script(f"return {pots}.slice(0, 3)")
        names = [one.get_attribute("name") for one in (first, second, third)]
        press(phone, f"[name={names[0]}]")
        with page.held():
            press(phone, "[value=from-60]")
            press(phone, f"[name={names[0]}]")
            press(phone, f"[name={names[1]}]")
        wait_for(phone, lambda: "Pots 61 to 120 of 300" in said(phone))
        assert said(phone, "#state") == "Not kept yet"
        (other,) = phone.execute_script(f"return {pots}.slice(0, 1)")
        press(phone, f"[name={(moved := other.get_attribute('name'))}]")
        phone.refresh()
        press(phone, "#offers .main")
        wait_for(phone, lambda: by(phone, f"[name={moved}]").is_selected())
        fill(phone, "to", "dawn")
        press(phone, "[value=move]")
        wait_for(phone, lambda: len(pots_of(folder, "dawn")) == 2)
        keys = {f"move-{key_of(piece)}" for piece in pots_of(folder, "dawn")["piece"]}
        assert keys == {names[1], moved}


def test_a_kiln_of_forty_is_planned_in_few_taps(folder, phone, capsys):
    """Seven kinds of pot, one glaze or two: what she taps and types, counted."""
    taps = letters = 0

    def tap(css):
        nonlocal taps
        press(phone, css)
        taps += 1

    def put(name, text):
        nonlocal taps, letters
        fill(phone, name, text)
        taps, letters = taps + 1, letters + len(text)

    with served(folder) as page:
        phone.get(f"{page.url}/load")
        tap("main a.button.main")
        put("firing", "forty")
        put("hold_min", "12")
        tap(SAVE)
        wait_for(phone, lambda: phone.find_elements("id", "pot"))
        for kind, (name, like) in enumerate(
            [("mug", 6), ("cup", 6), ("bowl", 6), ("jar", 6), ("dish", 6), ("vase", 6), ("jug", 4)]
        ):
            put("piece", f"{name} 1")
            put("glaze-1", "Cold Tea")
            if kind % 2:
                tap("[value=add]")
                put("glaze-2", "Thin Rain")
            put("like", str(like))
            tap(SAVE)
            wait_for(phone, lambda name=name: f"piece={name}" in phone.current_url)
            if kind < 6:
                tap(".kept a[href*=within]")
        assert len(pots_of(folder, "forty")) == 40
        assert set(pots_of(folder, "forty")["hold_min"]) == {12.0}
    with capsys.disabled():
        print(f"\na kiln of forty: {taps} taps, {letters} letters")
    assert taps <= 60
