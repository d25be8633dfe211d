"""A power cut while somebody saves: what was confirmed is there, and the logbook is whole."""

import random
import re
import threading
import time
import urllib.error
import urllib.parse
import urllib.request
from contextlib import suppress
from functools import partial

from helpers.browser import ENTRANCES, Page
from helpers.processes import PATIENCE_S, until

from runpredict.commands.options import sample_folder
from runpredict.logbook.book import Logbook
from runpredict.logbook.forms import import_files

KILLS = 6


class Saver(threading.Thread):
    """Saves one pot after another, as fast as it can, until nobody answers."""

    def __init__(self, url, name):
        super().__init__(daemon=True)
        self.url, self.name_of_pots = url, name
        self.confirmed, self.opener = (
            [],
            urllib.request.build_opener(urllib.request.HTTPCookieProcessor(), NoRedirect()),
        )
        with suppress(urllib.error.HTTPError):  # sent on, and in
            self.opener.open(ENTRANCES[url], timeout=PATIENCE_S)
        with self.opener.open(f"{url}/pot", timeout=PATIENCE_S) as reply:
            page = reply.read().decode()
        self.token = re.search(r'name="form_token" value="(\w+)"', page).group(1)

    def run(self):
        for k in range(10_000):
            piece = f"{self.name_of_pots} {k}"
            fields = {
                "form_token": self.token, "do": "save", "piece": piece, "firing": "cut",
                "cone": "6", "glaze-1": "Lamp Room", "coats-1": "1", "lower_edge_mm-1": "5",
                "upper_edge_mm-1": "90", "glaze-2": "Eel Lantern", "coats-2": "1",
                "lower_edge_mm-2": "60", "upper_edge_mm-2": "90",
            }  # fmt: skip
            data = urllib.parse.urlencode(fields).encode()
            request = urllib.request.Request(f"{self.url}/pot", data, {"Origin": self.url})
            try:
                self.opener.open(request, timeout=PATIENCE_S)
            except urllib.error.HTTPError as reply:
                assert reply.code == 303, reply.read().decode()
                self.confirmed.append(piece)
            except (OSError, urllib.error.URLError):
                return


class NoRedirect(urllib.request.HTTPRedirectHandler):
    """Leaves a redirect, which confirms a save, to the caller."""

    def redirect_request(self, *_):
        return None


def have_confirmed(savers, count):
    """Whether some savers were told of so many saves together."""
    return sum(len(saver.confirmed) for saver in savers) >= count


def test_what_was_confirmed_outlives_a_kill(tmp_path):
    import_files(sorted(sample_folder().glob("*.csv")), tmp_path)
    chance = random.Random(1)
    confirmed = []
    for cut in range(KILLS):
        with Page(tmp_path) as page:
            savers = [Saver(page.url, f"cut {cut} {who}") for who in ("a", "b")]
            for saver in savers:
                saver.start()
            wanted = chance.randint(1, 4)
            until(partial(have_confirmed, savers, wanted))
            time.sleep(chance.uniform(0.0, 0.2))  # anywhere in the next save
        for saver in savers:
            saver.join()
            confirmed += saver.confirmed
        with Logbook.open(tmp_path) as book:  # proves the file whole
            layers = book.layers()
        saved = layers.loc[layers["firing"] == "cut"].groupby("piece").size()
        assert set(confirmed) <= set(saved.index)
        assert set(saved) <= {2}  # no pot is there in part
    assert len(confirmed) >= KILLS
