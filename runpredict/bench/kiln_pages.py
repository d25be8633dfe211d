"""Open the kiln: what came of each layer, the whole kiln on one screen."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import pandas as pd
from flask import Blueprint, abort, redirect, render_template, request, url_for

from runpredict.bench.desk import open_studio, units
from runpredict.bench.lengths import typed_length, written_length
from runpredict.bench.studio import Pot, Snapshot
from runpredict.errors import BadInput
from runpredict.logbook.book import Outcome
from runpredict.logbook.shared import Overtaken
from runpredict.units import LengthUnits, format_distance, parse_length_mm

pages = Blueprint("kiln", __name__)

FATES = {"fine": "Fine", "ran": "Ran", "past": "Past"}
MOST_POTS = 1000


@dataclass(frozen=True)
class Fate:
    """What is written, or typed, of one layer: a word of `FATES` or "", and how far it ran."""

    word: str = ""
    run: str = ""


@dataclass
class LayerRow:
    """One layer on the page."""

    number: int
    glaze: str
    ends: str
    fate: Fate
    lower_mm: float


@dataclass
class PotRow:
    """One pot on the page; `theirs` where somebody wrote it since this page was opened."""

    number: int
    piece: str
    mark: str
    layers: list[LayerRow]
    fault: str = ""
    theirs: list[str] = field(default_factory=list)

    @property
    def done(self) -> bool:
        """Whether something is written of every layer."""
        return all(layer.fate.word for layer in self.layers)


@pages.get("/kiln")
def firings() -> Any:
    """The firings, those with something still to write first, or one of them."""
    snapshot = open_studio().snapshot()
    if "firing" in request.args:
        return _page(snapshot, request.args["firing"], _rows(snapshot, request.args["firing"]))
    layers = snapshot.layers
    written = layers["run_mm"].notna() | layers["past_foot"].ne("")
    by_pot = written.groupby([layers["firing"], layers["piece"]], sort=False).all()
    found = {str(name): done.tolist() for name, done in by_pot.groupby(level="firing", sort=False)}
    left = [name for name, done in found.items() if not all(done)]
    heats = snapshot.heats(left, units())
    listed = [(name, len(done), sum(done), heats.get(name, "")) for name, done in found.items()]
    order = sorted(reversed(listed), key=lambda firing: firing[1] == firing[2])
    return render_template("kilns.html", firings=order)


def _rows(snapshot: Snapshot, firing: str) -> list[PotRow]:
    mine = [pot for pot in snapshot.pots if pot[1] == firing]
    return [_row(snapshot, number, pot) for number, pot in enumerate(mine, 1)]


def _row(snapshot: Snapshot, number: int, pot: Pot) -> PotRow:
    layers = [
        LayerRow(
            int(row["layer"]),
            str(row["glaze"]),
            format_distance(row["lower_edge_mm"], units()),
            fate_of(row, units()),
            float(row["lower_edge_mm"]),
        )
        for _, row in snapshot.pots[pot].iterrows()
    ]
    return PotRow(number, pot[0], snapshot.marks.get(pot, ""), layers)


def fate_of(row: pd.Series, read_in: LengthUnits) -> Fate:
    """What is written of a layer."""
    run = written_length(row["run_mm"], read_in)
    if row["past_foot"] == "yes":
        return Fate("past", run)
    if run:
        return Fate("ran", run)
    return Fate("fine" if row["past_foot"] == "no" else "")


def _page(snapshot: Snapshot, firing: str, rows: list[PotRow], code: int = 200) -> Any:
    if not rows:
        abort(404)
    page = render_template(
        "kiln.html",
        firing=firing,
        pots=rows,
        fates=FATES,
        heat=snapshot.heats([firing], units())[firing],
        done=sum(row.done for row in rows),
        wrong=[row for row in rows if row.fault or row.theirs],
    )
    return page, code


@pages.post("/kiln")
def record() -> Any:
    """Keep what was typed, pot by pot; one that cannot be kept does not hold up the others."""
    snapshot = open_studio().snapshot()
    firing = request.form.get("firing", "")
    known = {row.piece: row for row in _rows(snapshot, firing)}
    refused = False
    for number in range(1, MOST_POTS + 1):
        piece = request.form.get(f"pot-{number}")
        if piece not in known:
            continue
        rest = "fine" if request.form.get("do") == "rest" else ""
        refused |= not _keep(known[piece], firing, number, rest)
    if refused:
        return _page(open_studio().snapshot(), firing, list(known.values()), 409)
    return redirect(url_for("kiln.firings", firing=firing, kept=1), 303)


def _keep(row: PotRow, firing: str, number: int, rest: str) -> bool:
    """Write one pot; False, and the reason in its row, where it was not."""
    standing = [layer.fate for layer in row.layers]
    typed = [_typed(number, layer.number, rest) for layer in row.layers]
    if typed == standing:
        return True
    mark = request.form.get(f"mark-{number}", "")
    outcomes = []
    try:
        for layer, fate, was in zip(row.layers, typed, standing, strict=True):
            layer.fate = fate
            if fate != was:
                outcomes.append(outcome_of(layer, fate, units()))
        open_studio().write(lambda book: book.put_outcomes(row.piece, firing, outcomes, mark))
    except Overtaken:
        row.theirs = [_words(layer, fate) for layer, fate in zip(row.layers, standing, strict=True)]
    except (BadInput, ValueError) as bad:
        row.fault = bad.faults[0].message if isinstance(bad, BadInput) else str(bad)
    else:
        return True
    return False


def _typed(number: int, layer: int, rest: str) -> Fate:
    word = request.form.get(f"fate-{number}-{layer}", "")
    run = request.form.get(f"run-{number}-{layer}", "")[:60].strip()
    word = word if word in FATES else "ran" if run else rest
    return Fate(word, run if word in ("ran", "past") else "")


def _words(layer: LayerRow, fate: Fate) -> str:
    what = {"": "nothing written", "fine": "fine", "ran": f"ran {fate.run} {units()}"}
    told = what.get(fate.word, f"past the foot{f', {fate.run} {units()}' if fate.run else ''}")
    return f"{layer.glaze}: {told}"


def outcome_of(layer: LayerRow, fate: Fate, typed_in: LengthUnits) -> Outcome:
    """What a fate says to the logbook.

    Raises
    ------
    ValueError : a run that is no length, or that goes past the foot where the word does not.
    """
    run_mm = math.nan
    if fate.run:
        run_mm = parse_length_mm(typed_length(fate.run, typed_in))
        if run_mm < 0:
            raise ValueError(f'"{fate.run}" is under nothing; give how far its edge moved down.')
        if fate.word == "ran" and run_mm > layer.lower_mm:
            raise ValueError(f"{layer.glaze} ended {layer.ends} up, so that is past; choose Past.")
    elif fate.word == "ran":
        raise ValueError("say how far it ran, or choose Fine.")
    return Outcome(layer.number, run_mm, {"": "", "past": "yes"}.get(fate.word, "no"))
