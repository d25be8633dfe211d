"""Open the kiln: what came of each layer, the whole kiln on one screen."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pandas as pd
from flask import Blueprint, abort, redirect, render_template, request, url_for
from werkzeug.exceptions import ServiceUnavailable

from runpredict.arrays import rows_of as table_rows
from runpredict.bench.kiln_form import (
    FATES,
    Fate,
    LayerRow,
    PotRow,
    fate_of,
    layers_in,
    posted_rows,
    row_of,
    rows_of,
    said,
)
from runpredict.bench.plan_pages import change_as_told
from runpredict.bench.session import open_studio, session, switch_units, units
from runpredict.bench.studio import Snapshot
from runpredict.errors import BadInput
from runpredict.logbook.book import Logbook
from runpredict.logbook.overtaken import Overtaken
from runpredict.logbook.results import MAX_RUN_MM
from runpredict.tables.layers import outside
from runpredict.units import whole_number
from runpredict.words.plain import percent

pages = Blueprint("kiln", __name__)

LISTED = 60
"""Pots that one page of a kiln has boxes of; they are kept before the next part comes."""
MOST_COUNTED = 9999
DONE_LISTED = 6
"""Firings all written down that the list shows unfolded, the last first."""


@pages.get("/kiln")
def firings() -> Any:
    """The firings, those with something still to write first, or one of them."""
    snapshot = open_studio().snapshot()
    if "firing" in request.args:
        firing = snapshot.firing_meant(request.args["firing"])
        rows = rows_of(snapshot, firing)
        _fill_in(rows)
        _say(snapshot, firing, rows)
        return _page(snapshot, firing, rows)
    layers = snapshot.layers.loc[outside(snapshot.layers)]
    written = layers["run_mm"].notna() | layers["past_foot"].ne("") | layers["lost"].ne("")
    by_pot = written.groupby([layers["firing"], layers["piece"]], sort=False).all()
    found = {str(name): done.tolist() for name, done in by_pot.groupby(level="firing", sort=False)}
    left = [name for name, done in found.items() if not all(done)]
    heats = snapshot.heats(left, units())
    listed = [(name, len(done), sum(done), heats.get(name, "")) for name, done in found.items()]
    order = sorted(reversed(listed), key=lambda firing: firing[1] == firing[2])
    return render_template("kilns.html", firings=order, most=len(left) + DONE_LISTED)


def _say(snapshot: Snapshot, firing: str, rows: list[PotRow]) -> None:
    """Put beside each pot what was told of it: as it is planned, or before its firing was seen."""
    try:
        planned = list(session().planned(snapshot, only=firing).values())
    except ServiceUnavailable:  # too many ask at once: the kiln is opened all the same
        planned = []
    pots = [pot for firing_words in planned for pot in firing_words.pots]
    told = {pot.piece: f"Told {pot.risk}. {pot.brief}" for pot in pots}
    needs = {pot.piece: "change" if pot.to_change else "catch" for pot in pots if pot.over}
    review = open_studio().learner.taught.review
    if review is not None:
        seen = review.predicted_seen
        risks = seen.loc[seen["firing"] == firing].groupby("piece")["risk"].max()
        told |= {str(piece): f"Told {percent(risk)}." for piece, risk in risks.items()}
    for row in rows:
        row.said, row.did = told.get(row.piece, ""), needs.get(row.piece, "")


def _fill_in(rows: list[PotRow]) -> None:
    """Show a run that was measured on a photo in its field, as the address tells it."""
    layer = request.args.get("layer", type=int)
    lengths = [request.args.get(name, math.nan, type=float) for name in ("ran_mm", "error_mm")]
    if layer is not None and all(0.0 <= length_mm < MAX_RUN_MM for length_mm in lengths):
        for row in rows:
            if row.piece == request.args.get("piece"):
                row.fill_in(layer, *lengths)


def _shown(snapshot: Snapshot, firing: str, rows: list[PotRow]) -> dict[str, Any]:
    here = [row for row in rows if row.now]
    heat = snapshot.heats([firing], units()).get(firing, "") if here else ""
    done = sum(row.done for row in here)
    return {
        "firing": firing, "fates": FATES, "heat": heat, "done": done, "of": len(here),
        "used": snapshot.used,
    }  # fmt: skip


def _page(
    snapshot: Snapshot, firing: str, rows: list[PotRow], told: str = "", code: int = 200
) -> Any:
    if not rows:
        abort(404)
    start = _start(rows)
    here = [
        row
        for k, row in enumerate(rows)
        if k // LISTED == start // LISTED or row.typed or row.state == "refused"
    ]
    page = render_template(
        "kiln.html",
        pots=here,
        start=start,
        listed=LISTED,
        all=len(rows),
        others=[row for row in rows if row.rest and row not in here],
        told=told,
        kept=whole_number(request.args.get("kept", ""), MOST_COUNTED),
        wrong=[row for row in rows if row.state == "refused"],
        rest=sum(bool(row.rest) for row in rows),
        **_shown(snapshot, firing, rows),
    )
    return page, code


def _start(rows: list[PotRow]) -> int:
    """Place of the first pot of the part that is shown: as asked, or with the pot that is named."""
    named = [k for k, row in enumerate(rows) if row.piece == request.args.get("piece")]
    asked = whole_number(request.values.get("from", ""), len(rows) - 1)
    place = named[0] if named else asked or 0
    return place - place % LISTED


@pages.post("/kiln")
def record() -> Any:
    """Do what the button says; a pot that cannot be kept does not hold up the others."""
    snapshot = open_studio().snapshot()
    firing, do = request.form.get("firing", ""), request.form.get("do", "save")
    typed_in = units()
    switched = switch_units()
    posted = posted_rows(request.form, snapshot, firing, typed_in)
    rows = [row for row in posted if row.now or row.typed]  # who is gone and untouched is gone
    if switched or do.startswith("take-"):
        _take(rows, do)
        return _page(snapshot, firing, rows)
    if do in REST:
        return REST[do](firing, rows)
    if do.startswith("did-"):
        done = all([_did(row, firing) for row in rows if do == f"did-{row.key}"])
        return _page(open_studio().snapshot(), firing, rows, code=200 if done else 409)
    kept = [row for row in rows if _keep(row, firing, do)]
    if any(row.state == "refused" for row in rows):
        return _page(open_studio().snapshot(), firing, rows, code=409)
    part: dict[str, Any] = {"from": request.form.get("from")}
    if do.startswith("from-"):
        part["from"] = do.removeprefix("from-")
    return redirect(url_for("kiln.firings", firing=firing, kept=len(kept), **part), 303)


@pages.post("/kiln/pots")
def record_pots() -> str:
    """Keep the pots that are sent, for a script; the answer is those pots alone."""
    snapshot = open_studio().snapshot()
    firing, do = request.form.get("firing", ""), request.form.get("do", "save")
    rows = posted_rows(request.form, snapshot, firing, units())
    sent = [row for row in rows if f"pot-{row.key}" in request.form]
    _take(sent, do)
    for row in sent:
        if do != f"did-{row.key}" or _did(row, firing):
            _keep(row, firing, do, told=True)
    return render_template("kiln_pots.html", pots=sent, **_shown(snapshot, firing, rows))


def _take(rows: list[PotRow], do: str) -> None:
    """Show what the logbook says of the pot whose button was pressed."""
    for row in rows:
        if do == f"take-{row.key}":
            row.settle()


def _did(row: PotRow, firing: str) -> bool:
    """Write that a pot was changed as told before it was fired; why not stands in its row."""
    pot = row.piece, firing
    try:
        if pot in open_studio().snapshot().planned_pots:
            change_as_told(pot, row.mark)
            row.did = "done"
        else:
            row.state = "refused"
    except Overtaken:
        row.state = "refused"
    except BadInput as bad:
        row.state, row.fault = "refused", bad.faults[0].message
    _look_again(row, firing)
    if row.did == "done":
        row.mark = row.now
    return row.did == "done"


def _keep(row: PotRow, firing: str, do: str = "save", told: bool = False) -> bool:
    """Write one pot, and note in its row what came of it; whether something was written.

    Over what somebody else wrote only where ``over-`` and its key say so, and only over what was
    seen then. With `told` she has touched it, though it may say what it said when it was opened.
    """
    if row.agrees or not (row.typed or told):
        if row.now:
            row.settle()
        row.state = "kept"
        return False
    over = do == f"over-{row.key}"
    mark = request.form.get(f"now-{row.key}", "") if over else row.mark
    changed = [layer for layer in row.layers if layer.shown != layer.standing]
    if row.now and _write(row, firing, changed, mark):
        return True
    row.state = "refused"
    return False


def _write(row: PotRow, firing: str, layers: list[LayerRow], mark: str) -> bool:
    """Write some layers of a pot as the form shows them; why not stands in its row."""
    try:
        outcomes = [said(layer, units()) for layer in layers]
        told = {one.column.name: one.shown for one in row.told if one.shown != one.standing}
        written = open_studio().write(
            lambda book: book.record(row.piece, outcomes, firing=firing, told=told, mark=mark)
        )
    except Overtaken:
        _look_again(row, firing)
        return False
    except (BadInput, ValueError) as bad:
        row.fault = bad.faults[0].message if isinstance(bad, BadInput) else str(bad)
        return False
    _look_again(row, firing)
    if not _stands(row, written):  # somebody wrote right after
        return False
    row.settle()
    row.state = "kept"
    return True


def _stands(row: PotRow, written: pd.DataFrame) -> bool:
    """Whether the logbook says by now what was written of a pot."""
    layers = written.loc[outside(written)]
    fates = {int(layer.layer): fate_of(layer, units()) for layer in table_rows(layers)}
    told = written.iloc[0]
    return all(fates.get(one.number, one.standing) == one.standing for one in row.layers) and all(
        str(told[one.column.name]) == one.standing for one in row.told
    )


def _look_again(row: PotRow, firing: str) -> None:
    """What the logbook says of the pot by now."""
    snapshot, pot = open_studio().snapshot(), (row.piece, firing)
    fresh = row_of(snapshot, pot)
    row.now = fresh.now if fresh else ""
    laid = {layer.number: layer for layer in fresh.layers} if fresh else {}
    for layer in row.layers:
        there = laid.get(layer.number)
        layer.standing = there.standing if there else Fate()
        if there:
            layer.ends, layer.lower_mm = there.ends, there.lower_mm
    stands = {one.column.name: one.standing for one in fresh.told} if fresh else {}
    for one in row.told:
        one.standing = stands.get(one.column.name, "")


def _ask_about_rest(firing: str, rows: list[PotRow]) -> Any:
    """Whether all the rest came out fine."""
    _refresh(rows)
    left = [row for row in rows if row.now and row.left]
    if not left:
        told = "No pot is left: each has its word of every layer, or a layer past the foot."
        return _page(open_studio().snapshot(), firing, rows, told)
    carried = [(k, text) for k, text in request.form.items() if k not in ("form_token", "do")]
    return render_template("rest.html", firing=firing, left=left, carried=carried)


def _call_rest_fine(firing: str, rows: list[PotRow]) -> Any:
    """Write "fine" of what was asked about, and keep what was typed."""
    _refresh(rows)
    meant: dict[str, list[int]] = {}
    for row in rows:
        asked = layers_in(request.form.get(f"rest-{row.key}", ""))
        fine = [layer for layer in row.left if layer.number in asked]
        row.rest = []
        if row.typed:
            for layer in fine:
                layer.shown = Fate("fine")
            row.rest = [layer.number for layer in fine] if _keep(row, firing) else []
        else:
            meant[row.piece] = [layer.number for layer in fine]
    _together(firing, rows, meant, Logbook.record_rest_fine)
    written = [row for row in rows if row.rest]
    layers = sum(len(row.rest) for row in written)
    told = f"“Fine” was written of {_counted(layers, 'layer')} on {_counted(len(written), 'pot')}."
    return _page(open_studio().snapshot(), firing, rows, told)


def _undo(firing: str, rows: list[PotRow]) -> Any:
    """Take back what "all the rest" wrote, where it still stands so."""
    taken, meant = 0, {}
    for row in rows:
        rest, row.rest = row.rest, []
        if row.typed:
            back = [one for one in row.layers if one.number in rest and one.shown == Fate("fine")]
            for layer in back:
                layer.shown = Fate()
            taken += bool(back) and _keep(row, firing)
        elif row.mark == row.now:  # nobody else has written it since
            meant[row.piece] = rest
    _together(firing, rows, meant, Logbook.take_back_fine)
    taken += sum(bool(row.rest) for row in rows)
    for row in rows:
        row.rest = []
    told = f"“Fine” was taken back from {_counted(taken, 'pot')}."
    return _page(open_studio().snapshot(), firing, rows, told)


def _together(
    firing: str,
    rows: list[PotRow],
    meant: dict[str, list[int]],
    write: Callable[[Logbook, pd.DataFrame], pd.DataFrame],
) -> None:
    """Write of layers of many pots in one step; which were written stands in their rows."""
    layers = open_studio().snapshot().layers
    layers = layers.loc[outside(layers) & layers["firing"].eq(firing)]
    named = zip(layers["piece"], layers["layer"], strict=True)
    asked = layers.loc[[number in meant.get(piece, ()) for piece, number in named]]
    written = open_studio().write(lambda book: write(book, asked))
    numbers = written.groupby("piece")["layer"].agg(list)
    for row in rows:
        if row.piece in numbers.index:
            row.rest = [int(number) for number in numbers[row.piece]]
            _look_again(row, firing)
            row.settle()
            row.state = "kept"


REST = {"rest": _ask_about_rest, "rest-surely": _call_rest_fine, "undo": _undo}
"""What the buttons of "all the rest: fine" do."""


def _refresh(rows: list[PotRow]) -> None:
    """Show of each pot that nothing was typed of what the logbook says by now."""
    for row in rows:
        if row.now and not row.typed:
            row.settle()


def _counted(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"
