"""A real browser without a window, and a bench page for it to open."""

import os
import shutil
import signal
import subprocess
import sys
import tempfile
import urllib.request
from contextlib import contextmanager
from pathlib import Path

import pytest

from helpers.processes import PATIENCE_S, end_group, until

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
            yield driver
        finally:
            driver.quit()


class Page:
    """A bench page that is served by a process of its own, in a group of its own.

    In a ``with`` it, and what it started, is gone after the block however that ends.
    """

    def __init__(self, folder, *options, **environment):
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
        self.process = subprocess.Popen(
            [*words, *options], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
            env=os.environ | {"PYTHONUNBUFFERED": "1"} | environment, start_new_session=True,
        )  # fmt: skip
        self.said, self.url = [], ""

    def __enter__(self):
        for line in self.process.stdout:
            self.said.append(line.strip())
            if "http://" in line:
                self.url = self.said[-1].split()[-1].rstrip("/")
                return self
        _, told = self.process.communicate()
        raise AssertionError(told)

    def __exit__(self, *_):
        end_group(self.process)

    def stop(self, by=signal.SIGTERM):
        """End it from outside, and wait until it has; what it said of faults."""
        self.process.send_signal(by)
        return self.process.communicate(timeout=PATIENCE_S)[1]

    def learned(self):
        """Wait until what is logged has been learned."""

        def done():
            with urllib.request.urlopen(f"{self.url}/glazes", timeout=PATIENCE_S) as reply:
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
