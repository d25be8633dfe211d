"""Bench pages without a browser: forms filled in and sent as one would."""

import html
import re
from contextlib import contextmanager
from functools import partial
from html.parser import HTMLParser
from unittest import mock

from runpredict.bench import studio
from runpredict.bench.app import make_app
from runpredict.bench.guard import Hosts
from runpredict.bench.learning import Learner, learn
from runpredict.bench.session import Session
from runpredict.commands.options import sample_folder
from runpredict.logbook.forms import import_files

HOST = "127.0.0.1:8737"


class FormReader(HTMLParser):
    """Fields of the forms of a page as a browser would send them, by the form's action."""

    def __init__(self):
        super().__init__()
        self.forms, self.now, self.choosing, self.buttons = {}, None, None, []

    def handle_starttag(self, tag, attrs):
        of = dict(attrs)
        if tag == "form":
            self.now = self.forms.setdefault(html.unescape(of["action"]), {})
        elif tag == "button" and of.get("name"):
            self.buttons.append((of["name"], of.get("value", "")))
        elif self.now is None or not (of.get("name") or tag == "option"):
            return
        elif tag == "input":
            ticked = of.get("type") not in ("radio", "checkbox") or "checked" in of
            if ticked:
                self.now[of["name"]] = of.get("value", "")
        elif tag == "select":
            self.choosing = of["name"]
            self.now[self.choosing] = ""
        elif tag == "option" and self.choosing and "selected" in of:
            self.now[self.choosing] = of.get("value")  # None: its text is its value

    def handle_data(self, data):
        if self.choosing and self.now.get(self.choosing, "") is None:
            self.now[self.choosing] = data

    def handle_endtag(self, tag):
        if tag == "select":
            self.choosing = None
        elif tag == "form":
            self.now = None


class Visitor:
    """Somebody at the pages: a browser without a screen."""

    def __init__(self, app, host=HOST):
        self.client = app.test_client()
        self.host = host
        self.page = None

    def get(self, address, **headers):
        """Open an address."""
        return self._seen(self.client.get(address, headers={"Host": self.host, **headers}))

    def _seen(self, reply):
        self.page = reply
        return reply

    @property
    def text(self):
        """The page as text."""
        return html.unescape(self.page.get_data(as_text=True))

    def fields(self, action):
        """What a form of the page holds."""
        reader = FormReader()
        reader.feed(self.page.get_data(as_text=True))
        return reader.forms[action]

    def send(self, action, do=None, headers=None, **changed):
        """Fill in and send a form of the page; fields with a dash by ``**{"glaze-1": ...}``."""
        fields = self.fields(action) | changed
        if do is not None:
            fields["do"] = do
        return self.post(action, fields, headers)

    def post(self, action, fields, headers=None):
        """Send fields to an address."""
        sent = {"Host": self.host, "Origin": f"http://{self.host}", **(headers or {})}
        return self._seen(self.client.post(action, data=fields, headers=sent))

    def follow(self):
        """Go where the page sends on to."""
        assert self.page.status_code in (302, 303), self.text
        return self.get(self.page.headers["Location"])


@contextmanager
def bench(folder, invented=True, door=None, learning=True):
    """The application over the invented studio, or over the logbook of a folder.

    Logs are learned in this process, or with `learning` off never.
    """
    with mock.patch.object(
        studio,
        "Learner",
        partial(Learner, learn=learn_here if learning else no_learning, quiet_s=0.0),
    ):
        session = Session(folder, sample_folder(), 0.05, invented)
        app = make_app(session, Hosts(8737, False), door)
        app.testing = True
        try:
            yield app
        finally:
            session.close()


def three_hundred(folder, a_firing=300, cone="6"):
    """A logbook with three hundred planned cups, so many a firing."""
    (folder / "glazes.csv").write_text("glaze,source,behaviour\nThin Rain,jar,runny\n")
    rows = [
        f"cup {k},firing {k // a_firing},{cone},10,65,1,Thin Rain,2,{3 + k % 9},95"
        for k in range(300)
    ]
    head = "piece,firing,cone,hold_min,foot_mm,layer,glaze,coats,lower_edge_mm,upper_edge_mm"
    (folder / "layers.csv").write_text("\n".join([head, *rows]) + "\n")
    import_files([folder / "glazes.csv", folder / "layers.csv"], folder)
    return folder


def learn_here(tables, tolerance, stopped):
    """Learns in this process."""
    return learn(tables, tolerance)


def no_learning(tables, tolerance, stopped):
    """Learns nothing."""
    return None


def logged(app, piece):
    """The layers of a pot as the pages see them, the lowest first."""
    rows = app.extensions["session"].studio.snapshot().layers
    return rows.loc[rows["piece"] == piece].sort_values("layer")


def number_told(page):
    """The risk that a page tells first, as text."""
    return re.search(r'<p class="number">([^<]+)</p>', page).group(1)
