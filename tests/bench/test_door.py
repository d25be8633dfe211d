"""Who comes in by a link: a mail or another site may lead here, and takes nothing away."""

import re
import threading
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest
from helpers.browser import ENTRANCES, browsing, fill, need_browser, press, said, served, wait_for

SHARED_CODE = re.compile(r"Code to let one device in: (\d{4} \d{4})")


@contextmanager
def mail_with_a_link(address):
    """A page of another site, as a mail in a browser is, with a link; its address."""

    class Mail(BaseHTTPRequestHandler):
        def do_GET(self):
            self.send_response(200)
            self.send_header("Content-Type", "text/html")
            self.end_headers()
            self.wfile.write(f'<a id="link" href="{address}">tonight\'s load</a>'.encode())

        def log_message(self, *_):
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Mail)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield f"http://localhost:{server.server_address[1]}/"  # another site than 127.0.0.1
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


@pytest.fixture
def browser():
    need_browser()
    with browsing(script=False) as driver:
        yield driver


def follow_the_link(driver, mail):
    driver.switch_to.new_window("tab")
    driver.get(mail)
    press(driver, "#link")


def test_a_link_from_a_mail_leaves_open_tabs_as_they_are(browser, tmp_path):
    with served(tmp_path, "--demo") as page, mail_with_a_link(f"{page.url}/glazes") as mail:
        browser.get(f"{page.url}/glaze")
        form = browser.current_window_handle
        fill(browser, "glaze", "Shelf Jar")
        follow_the_link(browser, mail)
        wait_for(browser, lambda: "Glazes" in browser.title)
        browser.switch_to.window(form)
        press(browser, "button.main")
        wait_for(browser, lambda: "Kept in the logbook" in said(browser))


def test_a_device_that_is_let_in_comes_in_by_a_link_too(browser, tmp_path):
    with served(tmp_path, "--demo", "--share") as page:
        url, _ = page.url, ENTRANCES.pop(page.url)  # she does not see the terminal's address
        code = next(filter(None, map(SHARED_CODE.search, page.said))).group(1)
        browser.get(url)
        fill(browser, "code", code)
        press(browser, "button.main")
        wait_for(browser, lambda: "Let this device in" not in said(browser))
        with mail_with_a_link(f"{url}/glazes") as mail:
            follow_the_link(browser, mail)
            wait_for(browser, lambda: "Glazes" in browser.title)
