"""Load a firing: its pots by what they need, and the sheet to print."""

from __future__ import annotations

import tempfile
import threading
from pathlib import Path
from typing import Any

from flask import Blueprint, Response, abort, render_template, request

from runpredict.answers.check import only_firing
from runpredict.bench.pictures import DRAWING
from runpredict.bench.session import open_studio, session, units
from runpredict.bench.studio import Snapshot
from runpredict.pages.sheet import write_sheet
from runpredict.words.loads import HEADINGS, costs_words
from runpredict.words.pots import FiringWords

pages = Blueprint("load", __name__)

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
    planned = session().planned(snapshot)
    if "firing" in request.args:
        firing = snapshot.firing_meant(request.args["firing"])
        return _one(snapshot, firing, planned.get(firing))
    heats = snapshot.heats(planned, units())
    return render_template("firings.html", firings=planned.values(), heats=heats)


def _one(snapshot: Snapshot, firing: str, mine: FiringWords | None) -> Any:
    if mine is None:
        abort(404)
    return render_template(
        "firing.html",
        firing=firing,
        heat=snapshot.heats([firing], units())[firing],
        summary=mine.summary,
        load=mine.load,
        headings=HEADINGS,
        costs=costs_words(open_studio().willing, open_studio().tolerance),
        groups=mine.by_need,
        cold=[piece for piece, name in sorted(snapshot.cold) if name == firing],
    )


@pages.get("/sheet.html")
def sheet() -> Response:
    """The check sheet of a firing, to print."""
    studio = open_studio()
    snapshot = studio.snapshot()
    firing = request.args.get("firing", "")
    answer = studio.ask(only_firing(snapshot.tables, firing))
    if not _sheets.acquire(blocking=False):
        abort(503, "Several sheets are being drawn already; try again in a moment.")
    try:
        with DRAWING, tempfile.TemporaryDirectory(prefix="sheet-") as folder:
            file = Path(folder) / "sheet.html"
            write_sheet(answer, file, units())
            content = file.read_bytes()
    finally:
        _sheets.release()
    response = Response(content, content_type="text/html; charset=utf-8")
    response.headers["Content-Security-Policy"] = SHEET_POLICY
    return response
