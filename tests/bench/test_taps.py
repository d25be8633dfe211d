"""The four jobs of the week in a logbook of a thousand pots: what has to be tapped, counted."""

import shutil

import pandas as pd
import pytest
from helpers.browser import (
    PHONE,
    TABLET,
    back,
    browsing,
    fill,
    need_browser,
    press,
    said,
    served,
    wait_for,
)

from runpredict.commands.options import sample_folder
from runpredict.logbook.forms import import_files

pytestmark = pytest.mark.filterwarnings("ignore::runpredict.errors.TableWarning")

POTS = 1000
MOST_TAPS = {"plan": 3, "load": 3, "kiln": 5, "back": 1, "find": 4}


@pytest.fixture(scope="module")
def large(tmp_path_factory):
    """A logbook of the sample's plan and a log of a thousand pots."""
    folder = tmp_path_factory.mktemp("large")
    log = pd.read_csv(sample_folder() / "log.csv")
    pots = len(log.drop_duplicates(["piece", "firing"]))
    copies = [
        log.assign(firing=log["firing"] + f", year {k}", fired_on="")
        for k in range(-(-POTS // pots))
    ]
    many = pd.concat(copies, ignore_index=True)
    place = many.groupby(["piece", "firing"], sort=False).ngroup()
    tables = tmp_path_factory.mktemp("tables")
    many.loc[place < POTS].to_csv(tables / "log.csv", index=False)
    names = ("glazes", "recipes", "schedules", "layers")
    import_files([*(sample_folder() / f"{name}.csv" for name in names), tables / "log.csv"], folder)
    return folder


@pytest.fixture
def page(large, tmp_path):
    """A page over a copy of it, not learned yet."""
    need_browser()
    with served(shutil.copytree(large, tmp_path / "studio")) as page:
        yield page


@pytest.mark.parametrize("size", [PHONE, TABLET], ids=["phone", "tablet"])
def test_the_four_jobs_take_few_taps(page, size, capsys):
    taps = dict.fromkeys(MOST_TAPS, 0)
    with browsing(size) as driver:

        def tap(job, css, until=None):
            press(driver, css)
            taps[job] += 1
            if until:
                wait_for(driver, lambda: until in said(driver))

        def step(job, address, until):
            tap(job, f".steps a[href='{address}']", until)

        driver.get(page.url)
        tap("plan", "main a.button.main", "A new pot")
        name = driver.find_element("id", "piece").get_attribute("value")
        fill(driver, "glaze-1", "Ninepenny Clear")
        taps["plan"] += 1
        tap("plan", ".keep [value=save]", "Kept in the logbook")

        step("load", "/load", "Load a firing")
        tap("load", ".cards a[href*=Dabchick]", "Load Dabchick")
        sheet = driver.find_element("css selector", "a[href*='/sheet']").get_attribute("href")
        tap("load", "a[href*='/sheet']")
        wait_for(driver, lambda: "sheet.html" in driver.current_url)
        assert "Dabchick" in sheet and "mug 1" in driver.page_source
        back(driver)

        step("kiln", "/kiln", "Open the kiln")
        tap("kiln", "main a[href*=Old]", "opened")
        tap("kiln", ".box label[for$='-past']", "Kept")
        tap("kiln", ".keep [value=rest]", "fine")
        tap("kiln", "[value=rest-surely]", "was written of")

        step("back", "/back", "Look back")

        step("find", "/pots", "My pots")
        fill(driver, "q", "mabel, year 3")
        taps["find"] += 1
        tap("find", "main button.main", "the last first")
        tap("find", ".pots a.go", "What became of it")
        assert "Mabel, year 3" in said(driver)
    with capsys.disabled():
        print(f"\ntaps with {POTS} pots: {taps}, {name}")
    assert all(taps[job] <= most for job, most in MOST_TAPS.items())
