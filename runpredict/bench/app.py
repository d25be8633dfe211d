"""The pages put together: their addresses, and what is told when something is wrong."""

from __future__ import annotations

import sys
import traceback
from datetime import datetime
from pathlib import Path
from typing import Any

from flask import (
    Blueprint,
    Flask,
    Response,
    abort,
    current_app,
    g,
    redirect,
    render_template,
    request,
    url_for,
)
from jinja2 import StrictUndefined
from werkzeug.exceptions import HTTPException
from werkzeug.wrappers import Response as AnyResponse

import runpredict
from runpredict.bench import (
    back_pages,
    firing_pages,
    kiln_pages,
    material_pages,
    old_pages,
    photo_pages,
    plan_pages,
)
from runpredict.bench.door import Door, digest
from runpredict.bench.guard import Hosts, guard
from runpredict.bench.session import Session, remember_units, session, units
from runpredict.errors import BadInput
from runpredict.words.basis import CAUTION
from runpredict.words.plain import percent

STEPS = (
    ("plan.pots", "Plan a pot"),
    ("load.firings", "Load a firing"),
    ("kiln.firings", "Open the kiln"),
    ("back.review", "Look back"),
    ("old.pots", "My pots"),
    ("glazes.shelf", "Glazes"),
)
"""The four of a potter's week, in order, and what she looks up."""

door_pages = Blueprint("door", __name__)
house = Blueprint("house", __name__)


class Bench(Flask):
    """The application; a fault of the program is one line at the terminal, not a page of code."""

    def log_exception(self, exc_info: Any) -> None:
        """Say where it broke."""
        kind, fault, trace = exc_info
        at = traceback.extract_tb(trace)[-1]
        where = f"{Path(at.filename).name}, line {at.lineno}"
        print(
            f"A fault of the program ({kind.__name__} in {where}: {fault}); the entry that met it "
            "was not kept. Please report this line.",
            file=sys.stderr,
        )


def make_app(made: Session, hosts: Hosts, door: Door | None = None) -> Flask:
    """The pages over a session.

    Parameters
    ----------
    made : Session
    hosts : Hosts
        Names the pages answer to.
    door : Door or None
        Lets devices in; None on loopback.
    """
    app = Bench(__name__)
    app.extensions["session"] = made
    app.extensions["door"] = door
    app.jinja_env.undefined = StrictUndefined
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    guard(app, hosts, door)
    app.before_request(_choose_studio)
    app.context_processor(_everywhere)
    app.register_error_handler(HTTPException, _wrong)
    app.register_error_handler(BadInput, _bad_input)
    for pages in (
        house, door_pages, plan_pages.pages, firing_pages.pages, kiln_pages.pages, back_pages.pages,
        material_pages.pages, old_pages.pages, photo_pages.pages,
    ):  # fmt: skip
        app.register_blueprint(pages)
    return app


def _choose_studio() -> AnyResponse | None:
    """Without a logbook there is one thing to do: start one, or look round the invented studio."""
    if session().studio is None and request.blueprint not in ("house", "door", None):
        return redirect(url_for("house.welcome"))
    return None


def _everywhere() -> dict[str, Any]:
    studio = session().studio
    return {
        "steps": STEPS,
        "units": units(),
        "book": None if studio is None else studio.name,
        "studio": studio,
        "tolerated": "" if studio is None else percent(studio.tolerance),
        "taught": None if studio is None else studio.learner.taught,
        "learning": studio is not None and studio.learner.busy,
        "caution": CAUTION,
        "version": runpredict.__version__,
        "here": request.full_path if request.method == "GET" else "/",
    }


def _wrong(fault: HTTPException) -> tuple[str, int]:
    words = {
        404: "There is no such page here.",
        405: "That address takes no such entry.",
        413: "That is more than a page may send at once; nothing of it was kept.",
        500: "The program met a fault of its own; the entry was not kept. Go back and try again.",
    }
    code = fault.code or 500
    told = words.get(code, fault.description or "That did not work; nothing was kept.")
    if "device" not in g:  # before the guard could look
        return told, code
    return render_template("wrong.html", told=told), code


def _bad_input(fault: BadInput) -> tuple[str, int]:
    told = "; ".join(str(one) for one in fault.faults[:5])
    return render_template("wrong.html", told=told), 400


@house.get("/welcome")
def welcome() -> str:
    """Start a logbook, or look round."""
    return render_template("welcome.html", folder=session().folder)


@house.post("/welcome")
def start() -> AnyResponse:
    """Open the studio chosen."""
    if request.form.get("studio") == "own":
        session().open_own()
        return redirect(url_for("glazes.shelf"), 303)
    session().open_invented()
    return redirect(url_for("plan.pots"), 303)


@house.post("/units")
def choose_units() -> AnyResponse:
    """Keep in which units this device reads."""
    back = request.form.get("back", "/")
    local = back.startswith("/") and not back.startswith("//") and "\\" not in back
    remember_units(request.form.get("units", ""))
    return redirect(back if local else "/", 303)


@house.get("/picture/<name>.svg")
def picture(name: str) -> Response:
    """A picture that a page points to."""
    drawn = session().gallery.take(name)
    if drawn is None:
        abort(404)
    response = Response(drawn, mimetype="image/svg+xml")
    response.headers["Content-Security-Policy"] = "default-src 'none'; style-src 'unsafe-inline'"
    response.headers["Cache-Control"] = "private, max-age=86400, immutable"
    return response


def _let_in(device: str | None) -> bool:
    if device is not None:
        g.device = g.new_device = device
    return device is not None


@door_pages.get("/enter")
def enter() -> AnyResponse:
    """Let a device in by the address that the terminal prints; the key goes from the address."""
    door: Door | None = current_app.extensions["door"]
    if door is not None and request.method == "GET" and not door.knows(g.device):
        _let_in(door.let_in_by_key(request.args.get("key", "")[:100], request.user_agent.string))
    return redirect(url_for("plan.pots"), 303)


@door_pages.get("/devices")
def devices() -> str:
    """The devices that were let in, and when each was last here."""
    door: Door | None = current_app.extensions["door"]
    found = {} if door is None else door.devices()
    order = sorted(found.items(), key=lambda one: -one[1].seen)
    return render_template(
        "devices.html", devices=order, mine=digest(g.device), open=door is None, day=_day
    )


def _day(at: float) -> str:
    return datetime.fromtimestamp(at).strftime("%Y-%m-%d %H:%M") if at else "not yet"


@door_pages.post("/devices")
def forget() -> AnyResponse:
    """Let a device in no more."""
    door: Door | None = current_app.extensions["door"]
    if door is not None:
        door.forget(request.form.get("device", "")[:80])
    return redirect(url_for("door.devices"), 303)


@door_pages.route("/pair", methods=["GET", "POST"])
def pair() -> Any:
    """Let a device in with the code that the terminal shows."""
    door: Door | None = current_app.extensions["door"]
    if door is None or door.knows(g.device):
        return redirect(url_for("plan.pots"))
    if request.method != "POST":  # a HEAD, which any page may have a browser send, tries no code
        return render_template("pair.html", told="")
    if _let_in(door.let_in(request.form.get("code", "")[:40], request.user_agent.string)):
        return redirect(url_for("plan.pots"), 303)
    wait_s = door.wait_s()
    told = (
        f"Too many wrong codes. Wait {wait_s:.0f} seconds, then type the new code."
        if wait_s
        else "That is not the code; each one lets one device in. Look at the terminal again."
    )
    return render_template("pair.html", told=told), 429 if wait_s else 403
