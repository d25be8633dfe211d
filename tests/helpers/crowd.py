"""People at the bench page at once, each with a browser that keeps cookies and fills in forms."""

import re
import threading
import time
import urllib.error
import urllib.parse
import urllib.request

from helpers.bench import FormReader
from helpers.browser import ENTRANCES
from helpers.processes import PATIENCE_S


class Person:
    """Somebody at the page; what each request took, and what went wrong."""

    def __init__(self, url):
        self.url = url
        self.opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
        self.taken_s, self.faults, self.saved, self.ticks = [], [], [], 0
        self.token = ""
        self.opener.open(ENTRANCES[url], timeout=PATIENCE_S).close()

    def get(self, address):
        """Open an address."""
        return self._timed(urllib.request.Request(self.url + address))

    def post(self, address, fields):
        """Send fields to an address."""
        data = urllib.parse.urlencode(fields).encode()
        return self._timed(urllib.request.Request(self.url + address, data, {"Origin": self.url}))

    def _timed(self, request):
        start = time.perf_counter()
        try:
            with self.opener.open(request, timeout=PATIENCE_S) as reply:
                text = reply.read().decode("utf-8", "replace")
        except (OSError, urllib.error.URLError) as fault:
            # Two who tick one pot at once are told so with 409, which is no fault.
            if getattr(fault, "code", None) != 409:
                self.faults.append(f"{request.full_url}: {fault}")
            return ""
        self.taken_s.append(time.perf_counter() - start)
        return text

    def act(self, chance, name):
        """Do one of the things that people do: type at a pot, save it, read lists, tick a pot."""
        if not self.token:
            self.token = token_of(self.get("/pot"))
        token = self.token
        kind = chance.random()
        if kind < 0.6:
            piece = f"{name} {len(self.saved)}"
            text = self.post("/pot/answer", pot(token, piece, chance.randint(20, 80)))
            for picture in re.findall(r"/picture/\w+\.svg", text):
                self.get(picture)
        elif kind < 0.75:
            piece = f"{name} {len(self.saved)}"
            if "Kept" in self.post("/pot", pot(token, piece, 60, name) | {"do": "save"}):
                self.saved.append((piece, name))
        elif kind < 0.9:
            self.get(
                chance.choice(["/", "/load?firing=Old+Nan", "/kiln?firing=Old+Nan", "/glazes"])
            )
        else:
            reader = FormReader()
            reader.feed(self.get("/kiln?firing=Dabchick"))
            fields = reader.forms["/kiln"]
            fate = next(name for name in fields if name.startswith("fate-"))
            self.post("/kiln", fields | {fate: "" if fields[fate] else "fine"})
            self.ticks += 1


def pot(token, name, edge, firing="Old Nan"):
    """The fields of a pot of two layers."""
    return {
        "form_token": token, "piece": name, "firing": firing, "cone": "6", "hold_min": "10",
        "foot_mm": "62", "wall_deg": "88", "form": "mug",
        "glaze-1": "Swap Shelf", "coats-1": "1", "method-1": "dip", "lower_edge_mm-1": "8",
        "upper_edge_mm-1": "95", "glaze-2": "Wet Hawser", "coats-2": "1", "method-2": "dip",
        "lower_edge_mm-2": str(edge), "upper_edge_mm-2": "95",
    }  # fmt: skip


def token_of(page):
    """What a form of a page must send back."""
    return re.search(r'name="form_token" value="(\w+)"', page).group(1)


def at_once(works):
    """Do things in a thread each, and wait for all."""
    threads = [threading.Thread(target=work, daemon=True) for work in works]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
