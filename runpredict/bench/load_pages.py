"""Load a firing: its pots by what they need, and the sheet to print."""

from __future__ import annotations

import tempfile
import threading
from collections.abc import Collection
from dataclasses import replace
from pathlib import Path
from typing import Any

from flask import Blueprint, Response, abort, redirect, render_template, request, url_for

from runpredict.answers.check import only_firing
from runpredict.answers.willing import KINDS, checked_costs
from runpredict.bench.firing_form import differing
from runpredict.bench.kiln_form import key_of
from runpredict.bench.memo import drop_unwanted
from runpredict.bench.pictures import DRAWING
from runpredict.bench.session import open_studio, session, units
from runpredict.bench.studio import Snapshot
from runpredict.pages.sheet import write_sheet
from runpredict.units import whole_number
from runpredict.words.loads import HEADINGS, LoadWords, costs_words
from runpredict.words.plain import percent
from runpredict.words.pots import FiringWords, PotWords

pages = Blueprint("load", __name__)

COSTS = ("lost", "cookie", "reglaze")
MOST_LETTERS = 40
LISTED, NAMED = 60, 12
"""Pots that one page of a firing lists; those it names of which something is to be mended first."""
SHEETS_AT_ONCE = 3
"""Each takes seconds, and they are drawn one after the other."""
_sheets = threading.BoundedSemaphore(SHEETS_AT_ONCE)
SHEET_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'none'; sandbox "
    "allow-modals"
)


@pages.get("/load")
def firings() -> Any:
    """The firings with planned pots, or one of them."""
    snapshot = open_studio().snapshot()
    if "firing" in request.args:
        return firing_page(snapshot, snapshot.firing_meant(request.args["firing"]))
    planned = session().planned(snapshot)
    return render_template(
        "firings.html",
        firings=planned.values(),
        heats=snapshot.heats(planned, units()),
        willing=open_studio().willing,
        kinds=KINDS,
    )


@pages.post("/willing")
def keep_changes() -> Any:
    """Remember which changes the studio makes, and what things cost it."""
    form = request.form
    costs = checked_costs([form.get(name, "")[:MOST_LETTERS] for name in COSTS], "Costs")
    kinds = frozenset(kind for kind in KINDS if form.get(f"change-{kind}"))
    lost, cookie, reglaze = costs
    open_studio().say(
        lambda said: replace(said, kinds=kinds, lost=lost, cookie=cookie, reglaze=reglaze)
    )
    return redirect(url_for("load.firings"), 303)


def firing_page(
    snapshot: Snapshot, key: str, ticked: Collection[str] = (), to: str = "", told: str = "",
    code: int = 200,
) -> Any:  # fmt: skip
    """The page of one firing, with the pots ticked that are to move, and why they did not.

    It lists `LISTED` of the pots, what needs something first; ticks of the others go along.
    """
    pots = [pot for pot in snapshot.planned_pots if pot[1] == key]
    if not pots:
        abort(404)
    found = session().planned(snapshot, only=key)
    mine = found.get(key, FiringWords(key, "", "", (), LoadWords()))
    mine = replace(mine, load=session().load(snapshot, key))
    tolerance = open_studio().tolerance_in(key)
    told_of = [(words, pot) for words, some in mine.by_need.items() for pot in some]
    do, stood = request.form.get("do", ""), request.form.get("from", "")
    asked = do.removeprefix("from-") if do.startswith("from-") else stood
    start = whole_number(asked, len(told_of) - 1) or 0
    shown: dict[str, list[PotWords]] = {}
    for words, pot in told_of[start : start + LISTED]:
        shown.setdefault(words, []).append(pot)
    here = {key_of(pot.piece) for some in shown.values() for pot in some}
    page = render_template(
        "firing.html",
        firing=key,
        heat=snapshot.heats([key], units())[key],
        mine=mine,
        shown=shown,
        start=start,
        of=len(told_of),
        listed=LISTED,
        carried=[pot for pot in pots if key_of(pot[0]) in {*ticked} - here],
        headings=HEADINGS,
        costs=costs_words(open_studio().willing, tolerance),
        tolerated=percent(tolerance),
        cold=[piece for piece, name in sorted(snapshot.cold) if name == key],
        differing=differing(snapshot, key),
        named=NAMED,
        keys={pot[0]: key_of(pot[0]) for pot in pots},
        marks={pot[0]: snapshot.marks[pot] for pot in pots},
        others=[name for name in dict.fromkeys(f for _, f in snapshot.planned_pots) if name != key],
        ticked=ticked,
        to=to,
        told=told,
    )
    return page, code


@pages.get("/sheet.html")
def sheet() -> Response:
    """The check sheet of a firing, to print."""
    studio = open_studio()
    snapshot = studio.snapshot()
    firing = request.args.get("firing", "")
    if not _sheets.acquire(blocking=False):
        abort(503, "Several sheets are being drawn already; try again in a moment.")
    try:
        answer = studio.ask(only_firing(snapshot.tables, firing))
        with DRAWING, tempfile.TemporaryDirectory(prefix="sheet-") as folder:
            drop_unwanted()
            file = Path(folder) / "sheet.html"
            write_sheet(answer, file, units())
            content = file.read_bytes()
    finally:
        _sheets.release()
    response = Response(content, content_type="text/html; charset=utf-8")
    response.headers["Content-Security-Policy"] = SHEET_POLICY
    return response
