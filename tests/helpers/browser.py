"""A real browser without a window, and a bench page for it to open."""

import os
import random
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import urllib.request
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path

import pytest

from helpers.processes import PATIENCE_S, end_group, started, until
from runpredict.logbook.book import Logbook
from runpredict.logbook.forms import import_files

PHONE, TABLET, DESKTOP = (390, 844), (820, 1180), (1360, 900)
CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser"))), None)
DRIVER = shutil.which("chromedriver")


def need_browser():
    """Skip where there is no browser."""
    if CHROMIUM is None or DRIVER is None:
        pytest.skip("chromium and chromedriver are not installed (Debian: chromium-driver)")


@contextmanager
def browsing(size=PHONE, script=True):
    """A browser of that size."""
    from selenium import webdriver
    from selenium.webdriver.chrome.options import Options
    from selenium.webdriver.chrome.service import Service

    options = Options()
    options.binary_location = CHROMIUM
    with tempfile.TemporaryDirectory(prefix="browser-") as profile:
        for word in (
            "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage",
            "--no-first-run", "--disable-background-networking", "--disable-component-update",
            "--hide-scrollbars", f"--user-data-dir={profile}", f"--window-size={size[0]},{size[1]}",
        ):  # fmt: skip
            options.add_argument(word)
        if not script:
            settings = {"profile.managed_default_content_settings.javascript": 2}
            options.add_experimental_option("prefs", settings)
        driver = webdriver.Chrome(options, Service(DRIVER))
        try:
            # A window cannot be made as narrow as a phone; its page can.
            driver.execute_cdp_cmd(
                "Emulation.setDeviceMetricsOverride",
                {"width": size[0], "height": size[1], "deviceScaleFactor": 1, "mobile": False},
            )
            driver.set_page_load_timeout(PATIENCE_S)
            driver.set_script_timeout(PATIENCE_S)
            driver.runs_script = script
            inside, forget = set(), driver.delete_all_cookies
            driver.get = partial(_through_the_door, driver.get, inside)
            driver.delete_all_cookies = lambda: (forget(), inside.clear())
            yield driver
        finally:
            driver.quit()


ENTRANCES = {}
"""By the start of their addresses, the whole address that the terminal of each page showed."""


def _through_the_door(get, inside, address):
    """Open an address; before the first of a page, the one that lets the browser in."""
    for url, entrance in ENTRANCES.items():
        if address.startswith(url) and url not in inside:
            inside.add(url)
            get(entrance)
    get(address)


class Page:
    """A bench page that is served by a process of its own, in a group of its own.

    In a ``with`` it, and what it started, is gone after the block however that ends.
    """

    def __init__(self, folder, *options, ignoring=(), **environment):
        self.folder = Path(folder)
        words = [
            sys.executable,
            "-m",
            "runpredict",
            "page",
            "--logbook",
            str(folder),
            "--port",
            "0",
        ]
        self.process = started(
            [*words, *options], ignoring, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
            env=os.environ | {"PYTHONUNBUFFERED": "1"} | environment,
        )  # fmt: skip
        self.said, self.url = [], ""
        self.browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())

    def __enter__(self):
        for line in self.process.stdout:
            self.said.append(line.strip())
            if "The bench page is at http://" in line:
                entrance = self.said[-1].split()[-1]
                self.url = entrance.partition("/enter")[0].rstrip("/")
                ENTRANCES[self.url] = entrance
                self.browser.open(entrance, timeout=PATIENCE_S).close()
                return self
        _, told = self.process.communicate()
        raise AssertionError(told)

    def __exit__(self, *_):
        end_group(self.process)

    def stop(self, by=signal.SIGTERM):
        """End it from outside, and wait until it has; what it said of faults."""
        self.process.send_signal(by)
        return self.process.communicate(timeout=PATIENCE_S)[1]

    @contextmanager
    def held(self):
        """It answers nothing in the block, whatever is asked; what was asked, after it."""
        os.killpg(self.process.pid, signal.SIGSTOP)
        try:
            yield
        finally:
            os.killpg(self.process.pid, signal.SIGCONT)

    def learned(self):
        """Wait until what is logged has been learned."""

        def done():
            with self.browser.open(f"{self.url}/glazes", timeout=PATIENCE_S) as reply:
                return "being learned" not in reply.read().decode()

        until(done)


@contextmanager
def served(folder, *options):
    """A bench page over the logbook of a folder; no fault of the program may happen."""
    with Page(folder, *options) as page:
        yield page
        told = page.stop()
    assert "fault of the program" not in told, told


def shot(driver, path, whole=True):
    """A picture of the page, the whole of it unless told otherwise."""
    import base64

    found = driver.execute_cdp_cmd(
        "Page.captureScreenshot", {"format": "png", "captureBeyondViewport": whole}
    )
    path.write_bytes(base64.b64decode(found["data"]))


def by(driver, css):
    """The first element of a selector, as soon as it is there."""
    from selenium.webdriver.common.by import By
    from selenium.webdriver.support.ui import WebDriverWait

    return WebDriverWait(driver, PATIENCE_S).until(lambda d: d.find_elements(By.CSS_SELECTOR, css))[
        0
    ]


def wait_for(driver, what):
    """Wait until something is so; what was looked at may be replaced meanwhile."""
    from selenium.common.exceptions import TimeoutException

    try:
        return _patiently(driver, what)
    except TimeoutException as late:
        raise AssertionError(f"In vain at {driver.current_url}: {said(driver)[:2000]}") from late


def _patiently(driver, what):
    from selenium.common.exceptions import (
        ElementClickInterceptedException,
        ElementNotInteractableException,
        StaleElementReferenceException,
    )
    from selenium.webdriver.support.ui import WebDriverWait

    passing = (
        ElementClickInterceptedException,
        ElementNotInteractableException,
        StaleElementReferenceException,
    )
    return WebDriverWait(driver, PATIENCE_S, ignored_exceptions=passing).until(lambda _: what())


INTO_SIGHT = "arguments[0].scrollIntoView({block: 'center', behavior: 'instant'})"
STILL = """
const [element, done] = arguments;
if (!document.documentElement.classList.contains('script')) return done(false);
setTimeout(() => done(false), 2000);
const place = () => JSON.stringify(element.getBoundingClientRect());
element.scrollIntoView({block: 'center', behavior: 'instant'});
requestAnimationFrame(() => {
  const before = place();
  requestAnimationFrame(() => done(place() === before));
});
"""
"""Whether the page's script is there to hear a press, and the page is shown and stands still.

A tab that is not shown draws no frame, and a browser drops presses on one that it only begins to
show.
"""
LISTEN = """
const [element] = arguments;
window.heard = false;
addEventListener('click', (event) => {
  if (element.contains(event.target)) window.heard = true;
}, {capture: true, once: true});
"""
LEADS_ON = """
const [element] = arguments;
const address = (whole) => whole.split('#')[0];
const link = element.closest('a[href]');
if (link) return !link.hash || address(link.href) !== address(location.href);
const button = element.closest('button');
if (!button?.form || button.type !== 'submit') return false;
const script = document.documentElement.classList.contains('script');
return !script || !button.form.matches('#main form[data-act]');
"""
"""Whether a press leads to another page, and not only to an answer that is put into this one."""


def click(driver, element):
    """Bring an element into sight, and click it once the page is ready to hear that.

    A click that the browser dropped, so that the page never heard of it, is done again; one that
    would meet something else, since an answer came and moved the page, once it stands still. Where
    it leads to another page, that page is there afterwards.
    """
    wait_for(driver, lambda: _heard(driver, element))


def press(driver, css):
    """As `click`, by a selector."""
    wait_for(driver, lambda: _heard(driver, by(driver, css)))


def _heard(driver, element):
    if not driver.runs_script:
        driver.execute_script(INTO_SIGHT, element)
    elif driver.execute_async_script(STILL, element):
        driver.execute_script(LISTEN, element)
    else:
        return False
    before, leads_on = by(driver, "html"), driver.execute_script(LEADS_ON, element)
    element.click()
    if driver.execute_script("return window.heard") is False:  # None on the next page
        return False
    if leads_on:
        _next_page(driver, before)
    return True


def _next_page(driver, before):
    """Wait until a page has gone; what is asked then waits for the whole of the next."""
    from selenium.webdriver.support.expected_conditions import staleness_of

    wait_for(driver, lambda: staleness_of(before)(driver))


def back(driver):
    """The page before, once it is there."""
    before = by(driver, "html")
    driver.back()
    _next_page(driver, before)


def fill(driver, name, text):
    """Type into a field, or choose; anew where an answer replaced the field meanwhile."""

    def typed():
        field = by(driver, f"[name='{name}']")
        driver.execute_script(INTO_SIGHT, field)
        if field.tag_name == "select":
            from selenium.webdriver.support.ui import Select

            Select(field).select_by_visible_text(text)
        else:
            field.clear()
            field.send_keys(text)
        return True

    wait_for(driver, typed)


def said(driver, css="body"):
    """What a reader reads there; anew where an answer replaced it meanwhile."""
    (words,) = _patiently(driver, lambda: [by(driver, css).text])
    return words


def answered(driver):
    """Wait until the answer is to what stands in the form."""
    wait_for(driver, lambda: by(driver, "#beside").get_attribute("data-stand") == "")


def small_studio(folder, pots=9):
    """A logbook with a few jars and a kiln of some pots, nothing of it known to anybody."""
    folder.mkdir(exist_ok=True)
    glazes = ["Grey Moth", "Thin Rain", "Cold Tea"]
    (folder / "glazes.csv").write_text("glaze,source\n" + "".join(f"{g},jar\n" for g in glazes))
    rows = [
        "piece,firing,cone,hold_min,wall_deg,foot_mm,layer,glaze,coats,lower_edge_mm,upper_edge_mm"
    ]
    for pot in range(1, pots + 1):
        rows += [
            f"cup {pot},dusk,6,10,88,65,{k},{glazes[(pot + k) % 3]},1,{8 + 30 * (k - 1)},95"
            for k in range(1, pot % 3 + 2)
        ]
    (folder / "layers.csv").write_text("\n".join(rows) + "\n")
    import_files([folder / "glazes.csv", folder / "layers.csv"], folder)
    return folder


def logged(page, piece):
    """The layers of a pot as its logbook has them, the lowest first."""
    with Logbook.open(page.folder) as book:
        rows = book.layers()
    return rows.loc[rows["piece"] == piece].sort_values("layer")


def acting(driver):
    """Whether a button is being answered."""
    return driver.execute_script("return document.body.matches('.acting')")


def free_port():
    """A port that nobody listens on, to start a page anew at the same address.

    None that a system deals out by itself, as somebody would get it while the page is away.
    """
    for port in random.sample(range(20_000, 32_000), 100):
        with socket.socket() as probe, suppress(OSError):
            probe.bind(("127.0.0.1", port))
            return port
    raise AssertionError("no port is free")


def network(driver, latency_ms=0, offline=False):
    """Let the browser's network be slow, or away."""
    driver.set_network_conditions(offline=offline, latency=latency_ms, throughput=10**7)
