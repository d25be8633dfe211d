"""Load a firing: its pots by what they need, and the sheet to print."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd
from flask import Blueprint, Response, abort, render_template, request

from runpredict.answers.check import only_firing
from runpredict.bench.desk import desk, open_studio, units
from runpredict.bench.shown import PotShown, pots_shown
from runpredict.bench.studio import Snapshot
from runpredict.pages.sheet import write_sheet
from runpredict.pages.words import headline
from runpredict.tables.rows import with_defaults

pages = Blueprint("load", __name__)

SHEETS = {"html": "text/html; charset=utf-8", "pdf": "application/pdf"}
SHEET_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'none'; sandbox "
    "allow-modals"
)
_GROUPS = {
    "cookie": "Set on a cookie, or plan anew",
    "hold": "Shorten the hold",
    "coat": "One coat less",
    "edge": "Stop a layer higher",
    "wax": "Leave more foot bare",
    "none": "Load as they are",
}


@dataclass(frozen=True)
class FiringShown:
    """One firing on the list: how many pots, how many of them over what is tolerated."""

    name: str
    pots: int
    over: int
    heat: str


@pages.get("/load")
def firings() -> Any:
    """The firings with planned pots, or one of them."""
    studio = open_studio()
    snapshot = studio.snapshot()
    answer = studio.plan(snapshot)
    shown = [] if answer is None else pots_shown(answer, units(), desk().gallery)
    if "firing" in request.args:
        return _one(snapshot, request.args["firing"], shown)
    listed = [
        FiringShown(
            name,
            sum(pot.firing == name for pot in shown),
            sum(pot.firing == name and pot.tone != "fits" for pot in shown),
            heat_of(snapshot, name),
        )
        for name in dict.fromkeys(snapshot.tables.plan["firing"])
    ]
    return render_template("firings.html", firings=listed)


def _one(snapshot: Snapshot, firing: str, shown: list[PotShown]) -> Any:
    mine = [pot for pot in shown if pot.firing == firing]
    if not mine:
        abort(404)
    groups = {
        words: [pot for pot in mine if pot.change == change] for change, words in _GROUPS.items()
    }
    over = sum(pot.tone != "fits" for pot in mine)
    return render_template(
        "firing.html",
        firing=firing,
        heat=heat_of(snapshot, firing),
        headline=headline(over, len(mine), open_studio().tolerance),
        groups={words: pots for words, pots in groups.items() if pots},
        cold=[piece for piece, name in sorted(snapshot.cold) if name == firing],
    )


def heat_of(snapshot: Snapshot, firing: str) -> str:
    """Cone and hold of a firing, or its schedule, in words."""
    if firing in snapshot.scheduled:
        steps = snapshot.tables.schedules.loc[snapshot.tables.schedules["firing"] == firing]
        return f"a typed schedule of {len(steps)} segments, to {steps['target_c'].max():.0f} °C"
    rows: pd.DataFrame = with_defaults(snapshot.layers.loc[snapshot.layers["firing"] == firing])
    heats = rows.loc[rows["cone"].ne(""), ["cone", "hold_min"]].drop_duplicates()
    return " and ".join(
        f"cone {heat.cone}, {heat.hold_min:g} min hold" for heat in heats.head(3).itertuples()
    )


@pages.get("/sheet.<kind>")
def sheet(kind: str) -> Response:
    """The check sheet of a firing, to print."""
    if kind not in SHEETS:
        abort(404)
    studio = open_studio()
    snapshot = studio.snapshot()
    firing = request.args.get("firing", "")
    answer = studio.ask(only_firing(snapshot.tables, firing))
    with tempfile.TemporaryDirectory(prefix="sheet-") as folder:
        file = Path(folder) / f"sheet.{kind}"
        write_sheet(answer, file, units())
        content = file.read_bytes()
    response = Response(content, content_type=SHEETS[kind])
    response.headers["Content-Security-Policy"] = SHEET_POLICY
    response.headers["Content-Disposition"] = f'inline; filename="sheet.{kind}"'
    return response
