"""A firing as one thing: its name, heat, kiln and day told once, and pots that move to another."""

from __future__ import annotations

from functools import partial
from typing import Any
from urllib.parse import urlencode

import pandas as pd
from flask import abort, redirect, render_template, request, url_for

from runpredict.bench import load_pages
from runpredict.bench.field_words import LABELS
from runpredict.bench.firing_form import (
    FIELDS,
    TOLERANCE,
    firing_texts,
    read_tolerance,
    tolerance_text,
)
from runpredict.bench.kiln_form import key_of
from runpredict.bench.load_pages import firing_page
from runpredict.bench.pot_form import by_field
from runpredict.bench.session import open_studio, switch_units, units
from runpredict.bench.studio import Pot, Snapshot, Studio
from runpredict.errors import BadInput, Fault
from runpredict.logbook.book import Logbook
from runpredict.logbook.overtaken import Overtaken, Taken
from runpredict.logbook.rows import cells_typed
from runpredict.logbook.together import CHANGED_SINCE
from runpredict.tables.columns import cones
from runpredict.tables.firings import firing_words

pages = load_pages.pages  # of the same step
MOST_LETTERS = 300
TOLERANCE_LABEL = "Pots you accept to lose, %"
TOLD = (*FIELDS, TOLERANCE)
"""Fields of the form of a firing."""


@pages.get("/firing")
def firing() -> Any:
    """The form of a firing, or of a new one."""
    snapshot = open_studio().snapshot()
    if "name" not in request.args:
        last = next(reversed(snapshot.planned_pots), None)
        before = firing_texts(snapshot, last[1]) if last else dict.fromkeys(FIELDS, "")
        return _page(snapshot, "", before | {"firing": "", "fired_on": "", TOLERANCE: ""}, {})
    named = snapshot.firing_meant(request.args["name"])
    if not named or not firing_texts(snapshot, named):
        abort(404)
    stands = _stands(snapshot, named)
    return _page(snapshot, named, stands, stands)


def _stands(snapshot: Snapshot, key: str) -> dict[str, str]:
    return firing_texts(snapshot, key) | {TOLERANCE: tolerance_text(open_studio().willing, key)}


@pages.post("/firing")
def change_firing() -> Any:
    """Change it for all its pots, or go on to the first pot of a new one."""
    snapshot, sent = open_studio().snapshot(), request.form
    key = sent.get("key", "")[:MOST_LETTERS]
    shown = {name: sent.get(name, "")[:MOST_LETTERS].strip() for name in TOLD}
    was = {name: sent.get(f"was-{name}", "")[:MOST_LETTERS] for name in TOLD} if key else {}
    if switch_units():
        return _page(snapshot, key, shown, was)
    if not key:
        return _new(snapshot, shown)
    studio = open_studio()
    changed = [name for name in TOLD if shown[name] != was[name]]
    try:
        now = studio.write(partial(_change, studio, key, shown, was))
    except Overtaken as late:
        snapshot = open_studio().snapshot()
        return _page(snapshot, key, shown, _stands(snapshot, key), late=late)
    except BadInput as bad:
        return _page(snapshot, key, shown, was, by_field(bad.faults))
    return redirect(url_for("load.firing", name=now, kept=int(bool(changed))), 303)


def _change(
    studio: Studio, key: str, shown: dict[str, str], was: dict[str, str], book: Logbook
) -> str:
    """Write what was typed of a firing; what it is called now. What is tolerated goes with it."""
    tolerated, stands = shown[TOLERANCE], tolerance_text(studio.willing, key)
    if stands != was[TOLERANCE] != tolerated != stands:
        raise Overtaken(Fault(firing_words(key), None, None, CHANGED_SINCE), pd.DataFrame())
    tolerance = read_tolerance(tolerated if tolerated != was[TOLERANCE] else stands)
    cells = {name: shown[name] for name in FIELDS if shown[name] != was[name]}
    now = book.change_firing(key, cells, {name: was[name] for name in cells})
    if (now, tolerance) != (key, studio.willing.tolerance_in(key)):
        studio.say(lambda said: said.tolerating(key, None).tolerating(now, tolerance))
    return now


def _new(snapshot: Snapshot, shown: dict[str, str]) -> Any:
    faults = {} if shown["firing"] else {"firing": "give the firing a name."}
    if firing_texts(snapshot, snapshot.firing_meant(shown["firing"])):
        faults["firing"] = "is a firing already; open that one, or give another name."
    cells = {name: shown[name] for name in FIELDS}
    tolerance = None
    try:
        cells_typed("layers", cells)
    except BadInput as bad:
        faults |= by_field(bad.faults)
    try:
        tolerance = read_tolerance(shown[TOLERANCE])
    except BadInput as bad:
        faults |= by_field(bad.faults)
    if faults:
        return _page(snapshot, "", shown, {}, faults)
    open_studio().say(lambda said: said.tolerating(cells["firing"], tolerance))
    return redirect(f"{url_for('plan.pot')}?{urlencode({'new': 'yes'} | cells)}", 303)


def _page(
    snapshot: Snapshot,
    key: str,
    shown: dict[str, str],
    was: dict[str, str],
    faults: dict[str, str] | None = None,
    late: Overtaken | None = None,
) -> Any:
    pots = [pot for pot in snapshot.pots if pot[1] == key] if key else []
    page = render_template(
        "firing_form.html", key=key, shown=shown, was=was, faults=faults or {}, late=late,
        labels=LABELS | {TOLERANCE: TOLERANCE_LABEL}, cones=cones(), fields=TOLD,
        pots=len(pots), known=snapshot.names("kiln"),
        schedule=snapshot.heats([key], units())[key] if key in snapshot.scheduled else "",
        fired=sum(pot not in snapshot.planned_pots for pot in pots),
    )  # fmt: skip
    return page, 409 if late else 422 if faults else 200


@pages.post("/load/move")
def move() -> Any:
    """Move the pots that are ticked; one that was overtaken holds all of them up."""
    snapshot, sent = open_studio().snapshot(), request.form
    key, to = sent.get("key", "")[:MOST_LETTERS], sent.get("to", "")[:MOST_LETTERS].strip()
    do = sent.get("do", "move")
    keys = {key_of(pot[0]): pot for pot in snapshot.planned_pots if pot[1] == key}
    ticked = {one: mark for one in keys if (mark := sent.get(f"move-{one}"))}
    if switch_units() or do.startswith("from-"):
        return firing_page(snapshot, key, ticked, to)
    if do.startswith("alike-"):
        one, _, mark = do.removeprefix("alike-").partition("-")
        ticked, to = {one: mark}, key
    elif not ticked:
        return firing_page(snapshot, key, ticked, to, "Tick the pots that are to move.", 422)
    marks: dict[Pot, str] = {keys[one]: mark for one, mark in ticked.items() if one in keys}
    try:
        there = open_studio().write(lambda book: book.move_pieces(marks, to))
    except (BadInput, Taken, Overtaken) as bad:
        told = f"Nothing was moved: {bad.faults[0].file} {bad.faults[0].message}"
        return firing_page(open_studio().snapshot(), key, ticked, to, told, 409)
    return redirect(url_for("load.firings", firing=there, kept=len(marks)), 303)
