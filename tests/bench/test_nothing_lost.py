"""In a real browser with a slow network, none, and a page that is started anew: nothing typed is
lost, nothing is shown as kept that is not, and an old answer never passes for a new one."""

from contextlib import ExitStack, contextmanager

import pytest
from helpers.bench import three_hundred
from helpers.browser import (
    DESKTOP,
    PHONE,
    Page,
    back,
    browsing,
    by,
    click,
    fill,
    free_port,
    logged,
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
from runpredict.logbook.results import Outcome

SLOW_MS = 250
ANSWERED = (
    "return performance.getEntriesByType('resource')"
    ".filter(one => one.initiatorType === 'fetch').length"
)
"""Requests of the page's script that have their whole answer."""


@pytest.fixture
def folder(tmp_path):
    return small_studio(tmp_path / "studio")


@pytest.fixture
def page(folder):
    need_browser()
    with served(folder) as page:
        yield page


@contextmanager
def pages(folder):
    """What starts a page, and starts it anew at the same address once it is stopped."""
    need_browser()
    options = ("--port", str(free_port()))
    with ExitStack() as started:
        yield lambda: started.enter_context(Page(folder, *options))


@pytest.fixture(scope="module", params=[PHONE, DESKTOP], ids=["phone", "desktop"])
def either(request):
    need_browser()
    with browsing(request.param) as driver:
        yield driver


@pytest.fixture(scope="module")
def phone():
    need_browser()
    with browsing(PHONE) as driver:
        yield driver


@pytest.fixture(autouse=True)
def steady(request):
    """Whatever a test did to the network and the browser's memory ends with it."""
    yield
    for name in ("phone", "either"):
        if name in request.fixturenames:
            driver = request.getfixturevalue(name)
            while len(driver.window_handles) > 1:  # of a test that failed
                driver.close()
                driver.switch_to.window(driver.window_handles[0])
            network(driver)
            driver.execute_script("localStorage.clear()")
            driver.delete_all_cookies()


def label(piece, layer, word):
    return f"label[for='fate-{key_of(piece)}-{layer}-{word}']"


def run_of(piece, layer):
    return f"#run-{key_of(piece)}-{layer}"


def bar(driver):
    return said(driver, "#state") if driver.find_elements("css selector", "#state") else ""


def in_sight(driver, css):
    """Whether an element with words in it stands within the window."""
    return driver.execute_script(
        "return [...document.querySelectorAll(arguments[0])].some(e => {"
        "const r = e.getBoundingClientRect();"
        "return e.textContent.trim() && r.height > 0 && r.top >= 0 && r.bottom <= innerHeight})",
        css,
    )


def test_quick_taps_are_all_kept(page, either):
    """One every 150 ms at 250 ms latency, as it was found: of 34 half were lost."""
    either.get(f"{page.url}/kiln?firing=dusk")
    network(either, SLOW_MS)
    taps = either.execute_script(
        "const fine = [...document.querySelectorAll('.box label[for$=-fine]')];"
        "window.tapped = 0;"
        "fine.forEach((label, k) => setTimeout(() => { label.click(); tapped++; }, 150 * k));"
        "return fine.length"
    )
    wait_for(either, lambda: either.execute_script("return tapped") == taps)
    wait_for(either, lambda: bar(either) == "Kept")
    assert taps == 18
    with Logbook.open(page.folder) as book:
        assert set(book.layers()["past_foot"]) == {"no"}
    assert "9 of 9 pots" in said(either, "#tally")
    assert "Somebody" not in said(either)


def test_a_length_typed_while_its_word_is_on_the_way(page, phone):
    phone.get(f"{page.url}/kiln?firing=dusk")
    with page.held():
        press(phone, label("cup 1", 1, "past"))
        press(phone, label("cup 1", 2, "fine"))
        run = by(phone, run_of("cup 1", 1))
        run.send_keys("1")
    # A request for each word, and their answers come in around what is being typed.
    wait_for(phone, lambda: phone.execute_script(ANSWERED) == 2)
    assert logged(page, "cup 1")["past_foot"].tolist() == ["yes", "no"]
    run.send_keys("2")
    assert phone.switch_to.active_element == run
    assert run.get_attribute("value") == "12"
    assert bar(phone).startswith("Not kept yet")
    phone.execute_script("arguments[0].blur()", run)
    wait_for(phone, lambda: bar(phone) == "Kept")
    assert logged(page, "cup 1")["run_mm"].iloc[0] == 12.0


def test_a_length_stays_with_its_word_while_another_word_is_on_the_way(page, phone):
    """ "Fine" by mistake and "Ran" again: the length still stood there, and the answer took it."""
    phone.get(f"{page.url}/kiln?firing=dusk")
    press(phone, label("cup 2", 1, "ran"))
    by(phone, run_of("cup 2", 1)).send_keys("3\t")
    wait_for(phone, lambda: bar(phone) == "Kept")
    with page.held():
        press(phone, label("cup 2", 1, "fine"))
        press(phone, label("cup 2", 1, "ran"))
        assert by(phone, run_of("cup 2", 1)).get_attribute("value") == "3"
    wait_for(phone, lambda: phone.execute_script(ANSWERED) == 3 and bar(phone) == "Kept")
    assert by(phone, run_of("cup 2", 1)).get_attribute("value") == "3"
    assert logged(page, "cup 2")["run_mm"].iloc[0] == 3.0
    press(phone, ".units button[value='units-in']")
    wait_for(phone, lambda: by(phone, run_of("cup 2", 1)).get_attribute("value") == "1/8")
    with page.held():
        press(phone, label("cup 2", 1, "fine"))
        press(phone, label("cup 2", 1, "past"))
    wait_for(phone, lambda: logged(page, "cup 2")["past_foot"].iloc[0] == "yes")
    assert logged(page, "cup 2")["run_mm"].iloc[0] == 3.0  # not an eighth of an inch


def test_units_change_in_mid_form_and_nothing_is_lost(page, either):
    either.get(f"{page.url}/pot?piece=cup+2&firing=dusk")
    fill(either, "lower_edge_mm-1", "20")
    fill(either, "piece", "cup twenty")
    press(either, "button[value='add']")
    fill(either, "glaze-4", "Cold Tea")
    press(either, ".units button[value='units-in']")
    wait_for(either, lambda: by(either, "[name='units']").get_attribute("value") == "in")
    edge = by(either, "[name='lower_edge_mm-1']").get_attribute("value")
    assert edge == "13/16"  # 20 mm are 12.6 sixteenths of 25.4 mm
    fill(either, "lower_edge_mm-2", "1 3/4")
    press(either, ".units button[value='units-mm']")
    wait_for(either, lambda: by(either, "[name='units']").get_attribute("value") == "mm")
    assert by(either, "[name='lower_edge_mm-1']").get_attribute("value") == "20"
    assert by(either, "[name='glaze-4']").get_attribute("value") == "Cold Tea"
    assert bar(either) == "Not kept yet"
    assert len(logged(page, "cup 2")) == 3
    press(either, ".keep button[value='save']")
    wait_for(either, lambda: "Kept in the logbook" in said(either))
    assert logged(page, "cup twenty")["lower_edge_mm"].tolist()[:2] == [20.0, 44.45]


def test_a_length_is_in_the_units_of_its_page(page, phone):
    """The cookie is changed by another tab meanwhile: 20 mm were kept as 508."""
    phone.get(f"{page.url}/kiln?firing=dusk")
    first = phone.current_window_handle
    phone.switch_to.new_window("tab")
    phone.get(f"{page.url}/")
    press(phone, ".units button[value='in']")
    wait_for(phone, lambda: (phone.get_cookie("units") or {}).get("value") == "in")
    phone.close()
    phone.switch_to.window(first)
    press(phone, label("cup 3", 1, "past"))
    by(phone, run_of("cup 3", 1)).send_keys("20\t")
    wait_for(phone, lambda: logged(page, "cup 3")["run_mm"].iloc[0] == 20.0)
    wait_for(phone, lambda: bar(phone) == "Kept")
    assert by(phone, run_of("cup 3", 1)).get_attribute("value") == "20"
    press(phone, ".units button[value='units-in']")
    wait_for(phone, lambda: by(phone, run_of("cup 3", 1)).get_attribute("value") == "13/16")


def test_the_old_answer_says_that_it_is_old(page, either):
    either.get(f"{page.url}/pot?piece=cup+2&firing=dusk")
    bars = ".glance .state, .answer > .state"
    edge = by(either, "[name='lower_edge_mm-2']")
    with page.held():
        click(either, edge)
        edge.send_keys("1")
        assert in_sight(either, bars)
        assert "working it out" in said(either, "#beside").lower()
    wait_for(either, lambda: not in_sight(either, bars))
    network(either, offline=True)
    edge.send_keys("\b2")
    wait_for(either, lambda: "cannot be reached" in said(either, "#answer"))
    assert "from before" in said(either, "#beside")
    assert in_sight(either, bars)
    network(either)
    wait_for(either, lambda: "from before" not in said(either, "#beside"))  # by itself
    assert not in_sight(either, bars)


def test_a_word_that_was_written_is_taken_back(page, phone):
    phone.get(f"{page.url}/kiln?firing=dusk")
    press(phone, label("cup 1", 1, "ran"))
    by(phone, run_of("cup 1", 1)).send_keys("3\t")
    wait_for(phone, lambda: logged(page, "cup 1")["run_mm"].iloc[0] == 3.0)
    wait_for(phone, lambda: bar(phone) == "Kept")
    press(phone, label("cup 1", 1, ""))
    wait_for(phone, lambda: logged(page, "cup 1")["past_foot"].iloc[0] == "")
    wait_for(phone, lambda: bar(phone) == "Kept")
    assert logged(page, "cup 1")["run_mm"].isna().all()


def test_a_word_taken_back_while_the_units_change(page, phone):
    with Logbook.open(page.folder) as book:
        book.record("cup 1", [Outcome(1, past_foot="no", run_mm=float("nan"))], firing="dusk")
    phone.get(f"{page.url}/kiln?firing=dusk")
    with page.held():
        press(phone, ".units [aria-pressed=false]")
        press(phone, label("cup 1", 1, ""))
    wait_for(phone, lambda: "inches" in said(phone, ".units [aria-pressed=true]"))
    wait_for(phone, lambda: bar(phone) == "Kept")
    assert by(phone, f"#fate-{key_of('cup 1')}-1-").is_selected()
    assert logged(page, "cup 1")["past_foot"].iloc[0] == ""


def test_a_length_and_its_word_told_while_the_units_change(page, phone):
    """An answer in mm was put into a page in inches, and a length over a word told after it."""
    phone.get(f"{page.url}/kiln?firing=dusk")
    with page.held():
        press(phone, ".units [aria-pressed=false]")
        for piece in ("cup 2", "cup 5"):
            press(phone, label(piece, 1, "ran"))
            by(phone, run_of(piece, 1)).send_keys("1/4 in\t")
        press(phone, label("cup 5", 1, "fine"))
    wait_for(phone, lambda: "inches" in said(phone, ".units [aria-pressed=true]"))
    wait_for(phone, lambda: bar(phone) == "Kept")
    assert by(phone, run_of("cup 2", 1)).get_attribute("value") == "1/4"
    assert logged(page, "cup 2")["run_mm"].iloc[0] == 6.35
    assert by(phone, f"#fate-{key_of('cup 5')}-1-fine").is_selected()
    with Logbook.open(page.folder) as book:
        rows = book.history("layers")
        assert rows.loc[rows["piece"] == "cup 5", "run_mm"].isna().all()


def test_all_the_rest_asks_counts_and_is_undone(page, phone):
    phone.get(f"{page.url}/kiln?firing=dusk")
    network(phone, SLOW_MS)
    press(phone, label("cup 2", 3, "past"))
    press(phone, ".keep button[value='rest']")  # what is on its way goes first
    wait_for(phone, lambda: "Were all the rest fine?" in said(phone))
    assert "15 layers on 8 pots" in said(phone)
    assert set(logged(page, "cup 4")["past_foot"]) == {""}
    press(phone, "#main button[value^='units-']")
    wait_for(phone, lambda: "1 of" in said(phone, "#tally") or "0 of" in said(phone, "#tally"))
    press(phone, ".keep button[value='rest']")
    wait_for(phone, lambda: "Were all the rest fine?" in said(phone))
    with Logbook.open(page.folder) as book:  # somebody removes one while she looks at the question
        book.remove("cup 9")
    press(phone, "button[value='rest-surely']")
    wait_for(phone, lambda: "was written of 14 layers on 7 pots" in said(phone))
    assert "7 of 8 pots" in said(phone, "#tally")
    assert logged(page, "cup 2")["past_foot"].tolist() == ["", "", "yes"]
    assert logged(page, "cup 4")["past_foot"].tolist() == ["no", "no"]
    press(phone, label("cup 4", 1, "past"))
    wait_for(phone, lambda: bar(phone) == "Kept")
    press(phone, ".keep button[value='undo']")
    wait_for(phone, lambda: "was taken back from" in said(phone))
    assert logged(page, "cup 2")["past_foot"].tolist() == ["", "", "yes"]
    assert logged(page, "cup 4")["past_foot"].tolist() == ["yes", ""]


def test_another_part_of_a_large_kiln_comes_once_all_of_this_one_is_kept(tmp_path, phone):
    need_browser()
    with served(three_hundred(tmp_path)) as page:
        half, far = (f"{key_of(piece)}-1" for piece in ("cup 1", "cup 61"))
        phone.get(f"{page.url}/kiln?firing=firing+0")
        press(phone, label("cup 0", 1, "fine"))
        wait_for(phone, lambda: bar(phone) == "Kept")
        with page.held():
            press(phone, label("cup 0", 1, "past"))
            press(phone, label("cup 1", 1, "ran"))
            fill(phone, f"run-{half}", "2")
            press(phone, "[value=from-60]")
            press(phone, label("cup 2", 1, "past"))
        wait_for(phone, lambda: "cup 60" in said(phone))
        assert "from=60" in phone.current_url and "cup 2," not in said(phone)
        assert logged(page, "cup 0")["past_foot"].tolist() == ["yes"]
        assert logged(page, "cup 1")["run_mm"].tolist() == [2.0]
        assert logged(page, "cup 2")["past_foot"].tolist() == ["yes"]
        # What cannot be kept stays in sight, and no other part comes.
        press(phone, label("cup 61", 1, "ran"))
        fill(phone, f"run-{far}", "far")
        press(phone, "[value=from-0]")
        wait_for(phone, lambda: "Not kept, look at it: cup 61" in bar(phone))
        assert by(phone, f"[name=run-{far}]").get_attribute("value") == "far"
        # It is offered again where she is next, whatever part that is.
        phone.get(f"{page.url}/kiln?firing=firing+0")
        press(phone, "#offers .main")
        wait_for(phone, lambda: phone.find_elements("id", f"run-{far}"))
        assert by(phone, f"[name=run-{far}]").get_attribute("value") == "far"
        assert phone.find_elements("id", f"run-{half}")


def test_buttons_say_that_the_page_is_away_and_go_on_when_it_is_back(folder, either):
    need_browser()
    with pages(folder) as start:
        page = start()
        either.get(f"{page.url}/pot")
        fill(either, "piece", "lone jug")
        fill(either, "firing", "dawn")
        fill(either, "glaze-1", "Thin Rain")
        wait_for(either, lambda: "%" in said(either, "#answer .number"))
        page.stop()
        press(either, "button[value='add']")
        wait_for(either, lambda: "cannot be reached" in said(either, ".beside"))
        assert in_sight(either, ".beside")
        press(either, ".keep button[value='save']")
        wait_for(either, lambda: "cannot be reached" in bar(either))
        assert in_sight(either, "#state")
        page = start()
        either.delete_all_cookies()  # the page was set up anew, and so was the device
        press(either, ".keep button[value='save']")
        wait_for(either, lambda: "has to be let in again" in bar(either))
        either.get(f"{page.url}/")  # by the address that the terminal shows
        wait_for(either, lambda: "lone jug" in said(either, "#offers"))
        press(either, "#offers button.main")
        wait_for(either, lambda: bar(either) == "Not kept yet")
        press(either, ".keep button[value='save']")
        wait_for(either, lambda: "Kept in the logbook" in said(either))
        assert bar(either) == "Kept"
        assert logged(page, "lone jug")["glaze"].tolist() == ["Thin Rain"]
        either.get(f"{page.url}/")
        assert not either.find_elements("css selector", "#offers")


@pytest.mark.parametrize("form", ["glaze", "pot"])
def test_a_form_refused_while_it_is_empty_is_not_offered_again(page, phone, form):
    phone.get(f"{page.url}/")
    phone.get(f"{page.url}/{form}")
    for _ in range(2):
        press(phone, ".keep button[value='save']")
        wait_for(phone, lambda: phone.find_elements("css selector", ".told[role='alert']"))
    name = {"glaze": "glaze", "pot": "piece"}[form]
    phone.get(f"{page.url}/{form}?again=1")
    assert not phone.find_elements("css selector", "#offers")
    press(phone, ".keep button[value='save']")
    wait_for(phone, lambda: phone.find_elements("css selector", ".told[role='alert']"))
    fill(phone, name, "Half a name")
    assert bar(phone) == "Not kept yet"
    phone.get(f"{page.url}/{form}")
    wait_for(phone, lambda: "Half a name" in said(phone, "#offers"))


@pytest.mark.parametrize("way", ["back", "reload", "away", "restart"])
def test_what_was_typed_is_offered_again(folder, phone, way):
    with pages(folder) as start:
        page = start()
        phone.get(f"{page.url}/")
        phone.get(f"{page.url}/pot?piece=cup+1&firing=dusk")
        fill(phone, "lower_edge_mm-2", "41")
        fill(phone, "hold_min", "25")
        if way == "restart":
            page.stop()
            page = start()
            phone.delete_all_cookies()
        if way == "reload":
            phone.refresh()
        else:
            phone.get(f"{page.url}/load")
            if way == "back":
                back(phone)
            else:
                phone.get(f"{page.url}/")
        assert logged(page, "cup 1")["hold_min"].iloc[0] == 10
        if way != "back" or not bar(phone):  # a browser may have kept the page itself
            wait_for(phone, lambda: "cup 1" in said(phone, "#offers"))
            press(phone, "#offers button.main")
        wait_for(phone, lambda: bar(phone) == "Not kept yet")
        assert by(phone, "[name='lower_edge_mm-2']").get_attribute("value") == "41"
        press(phone, ".keep button[value='save']")
        wait_for(phone, lambda: "Kept in the logbook" in said(phone))
        assert logged(page, "cup 1")["lower_edge_mm"].tolist() == [8.0, 41.0]
        assert logged(page, "cup 1")["hold_min"].tolist() == [25, 25]


def test_results_that_could_not_be_sent_are_offered_again(folder, phone):
    with pages(folder) as start:
        page = start()
        phone.get(f"{page.url}/kiln?firing=dusk")
        page.stop()
        press(phone, label("cup 5", 1, "fine"))
        press(phone, label("cup 5", 3, "ran"))
        by(phone, run_of("cup 5", 3)).send_keys("7\t")
        wait_for(phone, lambda: "cannot be reached" in bar(phone))
        assert in_sight(phone, "#state")
        assert "cup 5" in bar(phone)
        page = start()
        wait_for(phone, lambda: bar(phone) == "Kept")  # by itself
        assert logged(page, "cup 5")["run_mm"].tolist()[2] == 7.0
        page.stop()
        press(phone, label("cup 6", 1, "past"))
        wait_for(phone, lambda: "cannot be reached" in bar(phone))
        phone.get("about:blank")  # before it could be sent again
        page = start()
        phone.get(f"{page.url}/kiln")
        wait_for(phone, lambda: "cup 6" in said(phone, "#offers"))
        assert logged(page, "cup 6")["past_foot"].iloc[0] == ""
        press(phone, "#offers button.main")
        wait_for(phone, lambda: logged(page, "cup 6")["past_foot"].iloc[0] == "yes")
        wait_for(phone, lambda: bar(phone) == "Kept")


def test_what_is_typed_while_a_button_works_goes_along(page, either):
    either.get(f"{page.url}/pot?piece=cup+2&firing=dusk")
    with page.held():
        press(either, "button[value='drop-1']")
        fill(either, "lower_edge_mm-3", "44")
        fill(either, "hold_min", "33")
    wait_for(either, lambda: not either.find_elements("css selector", "[name='glaze-3']"))
    assert by(either, "[name='hold_min']").get_attribute("value") == "33"
    assert by(either, "[name='hold_min']") == either.switch_to.active_element
    assert by(either, "[name='lower_edge_mm-2']").get_attribute("value") == "44"
    with page.held():
        press(either, ".keep button[value='save']")
        fill(either, "piece", "cup two")
    wait_for(either, lambda: "kept=1" in either.current_url)
    assert bar(either) == "Not kept yet"
    assert "Kept in the logbook" not in said(either)
    assert by(either, "[name='piece']").get_attribute("value") == "cup two"
    assert logged(page, "cup 2")["lower_edge_mm"].tolist() == [38.0, 44.0]
    press(either, ".keep button[value='save']")
    wait_for(either, lambda: "Kept in the logbook" in said(either))
    assert len(logged(page, "cup two")) == 2
    assert logged(page, "cup 2").empty


def test_a_button_pressed_while_another_works_comes_next(page, either):
    either.get(f"{page.url}/pot?piece=cup+2&firing=dusk")
    layers = len(logged(page, "cup 2"))
    with page.held():
        press(either, "button[value='drop-1']")
        press(either, "button[value='drop-1']")  # twice by a slip: it counts once
        press(either, ".keep button[value='save']")
    wait_for(either, lambda: "Kept in the logbook" in said(either))
    assert len(logged(page, "cup 2")) == layers - 1


def test_a_tap_goes_to_the_pot_it_was_on(page, phone):
    """Another pot is removed by somebody; the boxes used to move up one."""
    phone.get(f"{page.url}/kiln?firing=dusk")
    with Logbook.open(page.folder) as book:
        book.remove("cup 2")
    press(phone, label("cup 3", 1, "past"))
    wait_for(phone, lambda: bar(phone) == "Kept")
    press(phone, label("cup 3", 1, "fine"))
    press(phone, label("cup 4", 1, "past"))
    wait_for(phone, lambda: logged(page, "cup 4")["past_foot"].iloc[0] == "yes")
    wait_for(phone, lambda: bar(phone) == "Kept")
    assert logged(page, "cup 3")["past_foot"].iloc[0] == "no"
    press(phone, label("cup 2", 1, "fine"))
    wait_for(phone, lambda: "not in this firing any more" in said(phone))
    assert "Not kept" in bar(phone)
    assert "cup 2" in bar(phone)


def test_two_at_one_pot_of_the_kiln_choose_by_its_own_buttons(page, phone):
    phone.get(f"{page.url}/kiln?firing=dusk")
    for piece in ("cup 1", "cup 4"):
        with Logbook.open(page.folder) as book:
            book.record(piece, [Outcome(1, past_foot="yes")])
        press(phone, label(piece, 1, "fine"))
        wait_for(phone, lambda piece=piece: "Not kept" in bar(phone) and piece in bar(phone))
        assert logged(page, piece)["past_foot"].iloc[0] == "yes"
    press(phone, f"button[value='over-{key_of('cup 1')}']")
    wait_for(phone, lambda: logged(page, "cup 1")["past_foot"].iloc[0] == "no")
    press(phone, f"button[value='take-{key_of('cup 4')}']")
    wait_for(phone, lambda: bar(phone) == "Kept")
    assert logged(page, "cup 4")["past_foot"].iloc[0] == "yes"
    assert by(phone, f"#fate-{key_of('cup 4')}-1-past").is_selected()


@pytest.mark.parametrize("typed", ["at once", "later"])
def test_a_button_that_could_not_be_sent_takes_nothing_told_after_it(page, phone, typed):
    phone.get(f"{page.url}/kiln?firing=dusk")
    with Logbook.open(page.folder) as book:
        book.record("cup 1", [Outcome(1, past_foot="no", run_mm=float("nan"))], firing="dusk")
    press(phone, label("cup 1", 1, "past"))
    wait_for(phone, lambda: "Somebody wrote" in said(phone, ".box .say"))
    network(phone, offline=True)
    press(phone, f"[value=take-{key_of('cup 1')}]")
    if typed == "later":
        wait_for(phone, lambda: "cannot be reached" in bar(phone))
    by(phone, run_of("cup 1", 1)).send_keys("8")
    network(phone)
    press(phone, label("cup 4", 1, "fine"))
    wait_for(phone, lambda: logged(page, "cup 4")["past_foot"].iloc[0] == "no")
    wait_for(phone, lambda: "cup 4" not in bar(phone))
    assert by(phone, run_of("cup 1", 1)).get_attribute("value") == "8"
    assert by(phone, f"#fate-{key_of('cup 1')}-1-past").is_selected()


def test_two_at_one_pot_choose_and_nothing_is_offered_twice(page, phone):
    phone.get(f"{page.url}/pot?piece=cup+1&firing=dusk")
    fill(phone, "hold_min", "25")
    first = phone.current_window_handle
    phone.switch_to.new_window("tab")
    phone.get(f"{page.url}/pot?piece=cup+1&firing=dusk")
    fill(phone, "hold_min", "35")
    press(phone, ".keep button[value='save']")
    wait_for(phone, lambda: "Kept in the logbook" in said(phone))
    phone.close()
    phone.switch_to.window(first)
    press(phone, ".keep button[value='save']")
    wait_for(phone, lambda: "Two entries of one pot" in said(phone))
    press(phone, "a[data-let-go]")
    wait_for(phone, lambda: by(phone, "[name='hold_min']").get_attribute("value") == "35")
    assert not phone.find_elements("css selector", "#offers")
    assert logged(page, "cup 1")["hold_min"].tolist() == [35, 35]


def test_two_tabs_never_write_over_what_the_other_has_typed(page, phone):
    """What is not kept is held by page, not by pot: two new pots are two."""
    for name in ("jug one", "jug two"):
        phone.get(f"{page.url}/pot")
        fill(phone, "piece", name)
    phone.get(f"{page.url}/")
    wait_for(phone, lambda: "jug two" in said(phone, "#offers"))
    assert "jug one" in said(phone, "#offers")
    buttons = phone.find_elements("css selector", "#offers button.main")
    click(phone, buttons[1])
    wait_for(phone, lambda: phone.find_elements("css selector", "[name='piece']"))
    assert by(phone, "[name='piece']").get_attribute("value") == "jug one"
    wait_for(phone, lambda: "jug two" in said(phone, "#offers"))
    press(phone, "#offers button.quiet")
    wait_for(phone, lambda: not phone.find_elements("css selector", "#offers"))
