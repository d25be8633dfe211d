"""My pots: each found again, what was told of it and what became of it; and the same once more."""

from __future__ import annotations

from typing import Any

import pandas as pd
from flask import Blueprint, abort, redirect, render_template, request, url_for

from runpredict.bench.kiln_form import fate_of
from runpredict.bench.session import named_pot, open_studio, units
from runpredict.bench.shelf import FILTERS, RESULTS, narrowed
from runpredict.bench.studio import Pot
from runpredict.tables.columns import column_of
from runpredict.tables.layers import outside
from runpredict.units import format_distance, whole_number
from runpredict.words.plain import percent

pages = Blueprint("old", __name__)

A_PAGE = 40
"""Pots of one page of the list."""
MOST_PAGES = 9999


@pages.get("/pots")
def pots() -> str:
    """The list, as narrow as she asks for."""
    snapshot = open_studio().snapshot()
    chosen = {name: request.args.get(name, "")[:300].strip() for name in ("q", *FILTERS)}
    page = whole_number(request.args.get("page", ""), MOST_PAGES) or 1
    found = narrowed(snapshot.shelf, chosen)
    mine = found.iloc[A_PAGE * (page - 1) : A_PAGE * page]
    return render_template(
        "my_pots.html",
        rows=[(row, result_words(row)) for row in mine.itertuples()],
        chosen=chosen,
        choices=_choices(snapshot.shelf),
        page=page,
        of=len(found),
        older=len(found) > A_PAGE * page,
    )


def result_words(row: Any) -> str:
    """What became of a pot of `shelf_of`, in words."""
    if row.result == "lost":
        return f"Lost: {row.lost}"
    ran = f" {format_distance(row.run_mm, units())}" if row.run_mm > 0 else ""
    return RESULTS[row.result] + (ran if row.result in ("ran", "past") else "")


def _choices(shelf: pd.DataFrame) -> dict[str, list[tuple[str, str]]]:
    """What each filter may be, and in words: by name, months and what was logged last first."""
    found: dict[str, list[tuple[str, str]]] = {}
    for name in FILTERS:
        cells = shelf[name].explode() if name in ("glaze", "pair") else shelf[name]
        there = [text for text in cells.unique() if text]
        if name == "result":
            found[name] = [(word, words) for word, words in RESULTS.items() if word in there]
        else:
            there.sort(key=str.casefold, reverse=name == "month")
            found[name] = [(text, text) for text in there]
    return found


@pages.get("/old")
def old() -> Any:
    """One pot: what was told before it was fired, what became of it, and its notes."""
    snapshot = open_studio().snapshot()
    pot = snapshot.meant(*named_pot())
    if pot not in snapshot.pots:
        abort(404)
    if pot in snapshot.planned_pots:
        return redirect(url_for("plan.pot", piece=pot[0], firing=pot[1]))
    rows = snapshot.pots[pot]
    return render_template(
        "old_pot.html",
        pot=pot,
        first=rows.iloc[0],
        heat=snapshot.heats([pot[1]], units())[pot[1]],
        layers=_layers(rows, _told(pot)),
        label=column_of("layers", "lost").label,
        less=coat_to_spare(rows) is not None,
    )


def _told(pot: Pot) -> dict[int, Any]:
    """By layer, what was told of it by who had not seen its firing; {} where nobody was asked."""
    review = open_studio().learner.taught.review
    if review is None:
        return {}
    seen = review.predicted_seen
    mine = seen.loc[(seen["piece"] == pot[0]) & (seen["firing"] == pot[1])]
    return {int(str(row.layer)): row for row in mine.itertuples()}


def _layers(rows: pd.DataFrame, told: dict[int, Any]) -> list[dict[str, str]]:
    found = []
    for _, row in rows.loc[outside(rows)].iloc[::-1].iterrows():
        before = told.get(int(row["layer"]))
        coats = "" if pd.isna(row["coats"]) else f"{row['coats']:.0f}"
        found.append(
            {
                "number": str(row["layer"]),
                "glaze": str(row["glaze"]),
                "coats": coats,
                "ended": format_distance(float(row["lower_edge_mm"]), units()),
                "told": f"{percent(before.risk)} past the foot" if before else "–",
                "became": fate_of(row, units()).words(),
                "note": str(row["note"]),
            }
        )
    return found


def coat_to_spare(rows: pd.DataFrame) -> int | None:
    """Number of the layer to take a coat off: of those with two or more, the one that went worst.

    None where every layer is a single coat, or of a thickness that was measured.
    """
    able = rows.loc[outside(rows) & rows["coats"].ge(2) & rows["thickness_mm"].isna()]
    if able.empty:
        return None
    worst = able.assign(past=able["past_foot"].eq("yes"), ran=able["run_mm"].fillna(0.0))
    numbers: list[int] = worst.sort_values(["past", "ran", "layer"])["layer"].tolist()
    return numbers[-1]
