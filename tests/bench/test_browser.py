"""The bench page in a real browser: the four things, with a script and without, by two at once."""

import shutil
import subprocess

import pytest
from helpers.browser import (
    DESKTOP,
    PHONE,
    TABLET,
    answered,
    back,
    browsing,
    by,
    click,
    fill,
    logged,
    need_browser,
    press,
    said,
    served,
    shot,
    wait_for,
)
from helpers.processes import PATIENCE_S

from runpredict.bench.kiln_form import key_of
from runpredict.commands.options import sample_folder
from runpredict.logbook.forms import import_files

SIZES = {"phone": PHONE, "desktop": DESKTOP}


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    """A page over a logbook with the invented studio in it, learned."""
    need_browser()
    folder = tmp_path_factory.mktemp("studio")
    import_files(sorted(sample_folder().glob("*.csv")), folder)
    with served(folder) as page:
        page.learned()
        yield page


@pytest.fixture(scope="module", params=SIZES)
def browser(request):
    """A browser with scripts, of either size."""
    need_browser()
    with browsing(SIZES[request.param]) as driver:
        driver.size = request.param
        yield driver


@pytest.fixture(scope="module")
def plain_browser():
    """A browser that runs no script."""
    need_browser()
    with browsing(PHONE, script=False) as driver:
        yield driver


def fits(driver):
    """Nothing stands out to the side, and what is tapped is as large as a thumb."""
    wide = driver.execute_script("return document.documentElement.scrollWidth")
    assert wide <= driver.execute_script("return window.innerWidth")
    small = driver.execute_script(
        "return [...document.querySelectorAll('button, a.button, select, input:not([type=radio])"
        ":not([type=hidden]):not([type=range]):not([type=checkbox]), .picks label, .steps a')]"
        ".map(e => [e.outerHTML.slice(0, 80), e.getBoundingClientRect()])"
        ".filter(([_, r]) => r.width > 2 && (r.height < 44 || r.width < 44)).map(([h, _]) => h)"
    )
    assert not small


def test_a_pot_is_planned_with_the_answer_beside_it(page, browser, tmp_path):
    name = f"jug {browser.size}"
    browser.get(f"{page.url}/pot")
    fits(browser)
    fill(browser, "piece", name)
    fill(browser, "firing", "spring")
    fill(browser, "cone", "6")
    fill(browser, "glaze-1", "Ninepenny Clear")
    wait_for(browser, lambda: "%" in said(browser, "#answer .number"))
    press(browser, "button[value='add']")
    fill(browser, "glaze-2", "Eel Lantern")
    fill(browser, "lower_edge_mm-2", "10")
    answered(browser)
    assert "Eel Lantern" in said(browser, "#answer")
    before = said(browser, "#answer .number")
    fill(browser, "lower_edge_mm-2", "80")
    answered(browser)
    assert said(browser, "#answer .number") != before
    images = browser.execute_script(
        "return [...document.querySelectorAll('#answer img')].map(i => i.naturalWidth)"
    )
    wait_for(
        browser,
        lambda: all(
            browser.execute_script(
                "return [...document.querySelectorAll('#answer img')].map(i => i.naturalWidth)"
            )
        ),
    )
    assert len(images) == 2
    fits(browser)
    shot(browser, tmp_path / "plan.png")
    press(browser, ".keep button[value='save']")
    wait_for(browser, lambda: "Kept in the logbook" in said(browser))
    assert logged(page, name)["lower_edge_mm"].tolist() == [6.0, 80.0]


def test_sliders_move_the_field_and_the_answer(page, browser):
    browser.get(f"{page.url}/pot?piece=mug+2&firing=Dabchick")
    before = said(browser, "#answer .number"), said(browser, "#answer table")
    browser.execute_script(
        "const s = document.querySelector(\"[aria-label^='Layer 2: Ends'][type=range]\");"
        "s.value = 20; s.dispatchEvent(new Event('input', {bubbles: true}))"
    )
    assert by(browser, "[name='lower_edge_mm-2']").get_attribute("value") == "20"
    answered(browser)
    assert said(browser, "#answer table") != before[1]
    browser.execute_script(
        "const s = document.querySelector(\"[aria-label^='Bare foot'][type=range]\");"
        "s.value = 25; s.dispatchEvent(new Event('input', {bubbles: true}))"
    )
    edges = [by(browser, f"[name='lower_edge_mm-{k}']").get_attribute("value") for k in (1, 2)]
    assert edges == ["25", "25"]
    for label, name, value in (("Layer 1: coats", "coats-1", "3"), ("Hold", "hold_min", "45")):
        browser.execute_script(
            f"const s = document.querySelector(\"[aria-label^='{label}'][type=range]\");"
            f"s.value = {value}; s.dispatchEvent(new Event('input', {{bubbles: true}}))"
        )
        assert by(browser, f"[name='{name}']").get_attribute("value") == value


def test_advice_is_taken_with_one_tap(page, browser):
    from selenium.webdriver.common.by import By

    browser.get(f"{page.url}/")
    taken = 0
    links = [a.get_attribute("href") for a in browser.find_elements(By.CSS_SELECTOR, ".pot .go")]
    for link in links:
        browser.get(link)
        if browser.find_elements(By.CSS_SELECTOR, "button[value='accept']"):
            press(browser, "button[value='accept']")
            wait_for(browser, lambda: "Should stay on the pot" in said(browser, "#answer .words"))
            taken += 1
            break
    assert taken


def test_a_firing_is_loaded_and_its_sheet_opened(page, browser):
    browser.get(f"{page.url}/load")
    fits(browser)
    browser.get(f"{page.url}/load?firing=Old+Nan")
    fits(browser)
    assert "plate 1" in said(browser)
    press(browser, "a[href*='sheet.html']")
    wait_for(browser, lambda: "sheet" in browser.current_url)
    assert "plate 1" in said(browser)
    assert not [line for line in browser.get_log("browser") if line["level"] == "SEVERE"]


def test_the_kiln_is_opened_and_each_tap_is_kept(page, browser):
    firing, piece = {"phone": ("Dabchick", "mug 1"), "desktop": ("Tern", "mug 5")}[browser.size]
    browser.get(f"{page.url}/kiln?firing={firing}")
    fits(browser)
    box = f"//fieldset[@data-piece='{piece}']"
    pick = browser.find_element("xpath", f"{box}//label[normalize-space()='Ran']")
    click(browser, pick)
    run = browser.find_element("xpath", f"{box}//input[starts-with(@name, 'run-')]")
    assert run.is_displayed()
    run.send_keys("2")
    browser.execute_script("arguments[0].blur()", run)
    wait_for(browser, lambda: logged(page, piece)["run_mm"].tolist() == [2.0])
    wait_for(browser, lambda: "1 of" in said(browser, "#tally"))
    wait_for(browser, lambda: "done" in browser.find_element("xpath", box).get_attribute("class"))
    click(browser, browser.find_element("xpath", f"{box}//label[normalize-space()='Fine']"))
    wait_for(browser, lambda: logged(page, piece)["run_mm"].isna().tolist() == [True])


def test_looking_back_shows_its_pictures(page, browser):
    browser.get(f"{page.url}/back")
    assert "ran past the foot" in said(browser)
    fits(browser)
    browser.execute_script("document.querySelectorAll('img').forEach(i => i.loading = 'eager')")
    wait_for(
        browser,
        lambda: all(
            browser.execute_script(
                "return [...document.querySelectorAll('img')].map(i => i.naturalWidth)"
            )
        ),
    )


def test_a_recipe_shows_its_unity_formula(page, browser):
    browser.get(f"{page.url}/glaze")
    fits(browser)
    name = f"Dell Clear {browser.size}"
    fill(browser, "glaze", name)
    press(browser, "label[for='source-recipe']")
    for k, (material, parts) in enumerate(
        [("silica", "30"), ("whiting", "20"), ("kaolin, theoretical", "50")], 1
    ):
        fill(browser, f"material-{k}", material)
        fill(browser, f"parts-{k}", parts)
    press(browser, ".keep button")
    wait_for(browser, lambda: "Kept in the logbook" in said(browser))
    assert "SiO2" in said(browser, "section.answer")


def test_everything_can_be_reached_by_keyboard(page, browser):
    """Tab goes through every control of the form in the order it is seen; Enter asks."""
    from selenium.webdriver.common.keys import Keys

    browser.get(f"{page.url}/pot?piece=mug+2&firing=Dabchick")
    seen = []
    for _ in range(60):
        browser.switch_to.active_element.send_keys(Keys.TAB)
        name = browser.switch_to.active_element.get_attribute("name")
        seen.append(name or browser.switch_to.active_element.get_attribute("class"))
        if name == "do" and browser.switch_to.active_element.get_attribute("value") == "save":
            break
    wanted = ["piece", "form", "firing", "cone", "foot_mm", "wall_deg", "hold_min", "glaze-1",
              "method-1", "coats-1", "upper_edge_mm-1", "lower_edge_mm-1", "glaze-2"]  # fmt: skip
    assert seen[0] == "skip"
    assert [name for name in seen if name in wanted] == wanted
    assert seen[-1] == "do"


def test_without_a_script_the_four_things_are_done(page, plain_browser):
    browser = plain_browser
    browser.get(f"{page.url}/pot")
    assert browser.find_element("css selector", "html").get_attribute("class") == ""
    fill(browser, "piece", "plain jug")
    fill(browser, "firing", "plain")
    fill(browser, "cone", "6")
    fill(browser, "glaze-1", "Dry Bilge")
    press(browser, "button.no-script")
    wait_for(browser, lambda: "%" in said(browser, "#answer .number"))
    press(browser, "button[value='add']")
    fill(browser, "glaze-2", "Mackerel Sleeve")
    fill(browser, "lower_edge_mm-2", "60")
    press(browser, ".keep button[value='save']")
    wait_for(browser, lambda: "Kept in the logbook" in said(browser))
    browser.get(f"{page.url}/load?firing=plain")
    assert "plain jug" in said(browser)
    browser.get(f"{page.url}/kiln?firing=plain")
    jug = key_of("plain jug")
    press(browser, f"label[for='fate-{jug}-2-ran']")
    fill(browser, f"run-{jug}-2", "1/2 in")
    press(browser, f"label[for='fate-{jug}-1-fine']")
    press(browser, ".keep button[value='save']")
    wait_for(browser, lambda: "1 of 1 pots written down" in said(browser))
    assert logged(page, "plain jug")["run_mm"].tolist()[1] == 12.7
    browser.get(f"{page.url}/back")
    assert "Look back" in said(browser)


def test_back_without_a_script_finds_what_was_typed(page, plain_browser):
    """After a save that was refused: the form that Back leads to, empty before, holds it all."""
    browser = plain_browser
    browser.get(f"{page.url}/pot")
    typed = {"piece": "crooked jug", "foot_mm": "wide", "glaze-1": "Dry Bilge"}
    for name, text in typed.items():
        fill(browser, name, text)
    press(browser, ".keep button[value='save']")
    wait_for(browser, lambda: "Nothing is kept yet" in said(browser))
    back(browser)
    wait_for(browser, lambda: "Nothing is kept yet" not in said(browser))
    values = {name: by(browser, f"[name='{name}']").get_attribute("value") for name in typed}
    assert values == typed
    fill(browser, "foot_mm", "60")
    press(browser, ".keep button[value='save']")
    wait_for(browser, lambda: "Kept in the logbook" in said(browser))
    assert logged(page, "crooked jug")["foot_mm"].tolist() == [60.0]


def test_with_a_script_what_comes_back_is_what_the_logbook_holds(page, browser):
    """A browser's own memory of fields would pass for it; what was typed is offered as such."""
    address = f"{page.url}/pot?piece=mug+2&firing=Dabchick"
    browser.get(address)
    stood = by(browser, "[name='foot_mm']").get_attribute("value")
    fill(browser, "foot_mm", "77")
    browser.refresh()
    assert by(browser, "[name='foot_mm']").get_attribute("value") == stood
    assert "mug 2" in said(browser, "#offers")
    browser.execute_script("localStorage.clear()")


def test_a_save_that_changes_nothing_says_so(page, browser):
    for address in ("/pot?piece=mug+3&firing=Dabchick", "/glaze?name=Ninepenny+Clear"):
        browser.get(page.url + address)
        press(browser, ".keep button.main")
        wait_for(browser, lambda: "Nothing was changed" in said(browser))
        assert said(browser, "#state") == "Nothing changed"
    browser.get(f"{page.url}/kiln?firing=Old+Nan")
    press(browser, ".keep button.main")
    assert said(browser, "#state") == "Nothing changed"


def test_two_browsers_at_one_pot(page, browser):
    with browsing(TABLET) as other:
        piece = {"phone": "bowl 1", "desktop": "bowl 2"}[browser.size]
        firing = {"phone": "Dabchick", "desktop": "Old Nan"}[browser.size]
        for driver in (browser, other):
            driver.get(f"{page.url}/pot?piece={piece}&firing={firing}")
        fill(browser, "lower_edge_mm-1", "13")
        press(browser, ".keep button[value='save']")
        wait_for(browser, lambda: "Kept in the logbook" in said(browser))
        fill(other, "lower_edge_mm-1", "17")
        press(other, ".keep button[value='save']")
        wait_for(other, lambda: "Two entries of one pot" in said(other))
        fits(other)
        table = said(other, "table.sides")
        assert "17" in table
        assert "13" in table
        assert logged(page, piece)["lower_edge_mm"].iloc[0] == 13.0
        press(other, "button.main")
        wait_for(other, lambda: "Kept in the logbook" in said(other))
        assert logged(page, piece)["lower_edge_mm"].iloc[0] == 17.0


@pytest.fixture(scope="module")
def axe(tmp_path_factory):
    """The rules of axe-core, as a script."""
    npm = shutil.which("npm")
    if npm is None:
        pytest.skip("npm is not installed, so axe-core cannot be had")
    folder = tmp_path_factory.mktemp("axe")
    words = [npm, "install", "--silent", "--no-audit", "--no-fund", "--prefix", str(folder)]
    done = subprocess.run(
        [*words, "axe-core@4"], capture_output=True, timeout=PATIENCE_S, check=False
    )
    file = folder / "node_modules" / "axe-core" / "axe.min.js"
    if done.returncode or not file.exists():
        pytest.skip("npm could not get axe-core")
    return file.read_text(encoding="utf-8")


ADDRESSES = (
    "/",
    "/pot?piece=mug+3&firing=Dabchick",
    "/load",
    "/load?firing=Old+Nan",
    "/kiln",
    "/kiln?firing=Old+Nan",
    "/back",
    "/glazes",
    "/glaze?name=Ninepenny+Clear",
    "/firing",
    "/firing?name=Old+Nan",
    "/pots",
    "/old?piece=mug+9-1&firing=Perseverance",
    "/materials",
    "/material",
    "/photo?piece=mug+3&firing=Dabchick",
    "/combinations",
    "/combinations.html",
    "/sheet.html?firing=Old+Nan",
    "/devices",
    "/pair",
    "/nowhere",
)


@pytest.mark.parametrize("address", ADDRESSES)
def test_axe_finds_nothing_serious(page, browser, axe, address, tmp_path):
    """By axe-core's rules, which follow WCAG 2; minor and moderate ones are held too."""
    browser.get(page.url + address)
    if address == "/pair":  # for a device that is not in
        browser.delete_all_cookies()
        browser.refresh()
        assert browser.find_elements("name", "code")
    if ".html" in address:  # its policy lets no script run, so a copy of it is looked at
        copy = tmp_path / "copy.html"
        copy.write_text(browser.page_source, encoding="utf-8")
        browser.get(copy.as_uri())
    browser.execute_script(axe)
    found = browser.execute_async_script(
        "const done = arguments[0]; axe.run(document).then(r => done(r.violations.map("
        "v => [v.impact, v.id, v.nodes.map(n => n.html.slice(0, 160)).slice(0, 3)])))"
    )
    assert found == []


def test_a_jar_asks_for_no_recipe(page, browser):
    browser.get(f"{page.url}/glaze")
    recipe = by(browser, "fieldset.recipe")
    assert not recipe.is_displayed()
    press(browser, "[for='source-recipe']")
    assert recipe.is_displayed()
