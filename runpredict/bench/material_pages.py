"""Raw materials with an analysis of her own, which goes before the one that comes with the tool."""

from __future__ import annotations

from typing import Any

import pandas as pd
from flask import abort, redirect, render_template, request, url_for

from runpredict.bench import glaze_pages
from runpredict.bench.pot_form import by_field
from runpredict.bench.session import open_studio, switch_units
from runpredict.bench.studio import Snapshot
from runpredict.datafiles import OXIDES
from runpredict.errors import BadInput
from runpredict.logbook.overtaken import Overtaken
from runpredict.tables.names import match_name

pages = glaze_pages.pages  # of the same step
FIELDS = ("material", "source", "loss_on_ignition", *OXIDES)
USUAL = ("SiO2", "Al2O3", "B2O3", "Na2O", "K2O", "MgO", "CaO", "ZnO", "TiO2", "Fe2O3")
"""Oxides whose fields are shown at once; the rest is folded."""


@pages.get("/materials")
def materials() -> str:
    """The materials that have an analysis in the logbook."""
    own = open_studio().snapshot().stock.kept["materials"]
    return render_template("materials.html", materials=sorted(own["material"], key=str.casefold))


@pages.get("/material")
def material() -> Any:
    """The form of one, or of a new one."""
    snapshot, named = open_studio().snapshot(), request.args.get("name", "")
    name = match_name(named, snapshot.stock.kept["materials"]["material"])
    if named and not name:
        abort(404)
    return _page(snapshot, _stands(snapshot, name), name)


def _stands(snapshot: Snapshot, name: str | None) -> dict[str, str]:
    """The fields of a material as the logbook has them; blank ones where it has none."""
    own = snapshot.stock.kept["materials"]
    found = own.loc[own["material"] == name]
    if found.empty:
        return dict.fromkeys(FIELDS, "")
    row = found.iloc[0]
    return {
        field: cell if isinstance(cell, str) else "" if pd.isna(cell) else f"{cell:.6g}"
        for field, cell in ((field, row[field]) for field in FIELDS)
    }


@pages.post("/material")
def change_material() -> Any:
    """Keep an analysis; over what somebody else wrote since only once she has seen that."""
    snapshot, sent = open_studio().snapshot(), request.form
    shown = {field: sent.get(field, "").strip()[:6000] for field in FIELDS}
    name, mark = sent.get("was", "")[:300], sent.get("mark", "")
    shown["material"] = name or shown["material"]
    if switch_units():
        return _page(snapshot, shown, name, mark)
    table = pd.DataFrame([shown], dtype=object)
    try:
        counts = open_studio().write(
            lambda book: book.import_tables({"materials": table}, "bench page", {"materials": mark})
        )
    except Overtaken as late:
        snapshot = open_studio().snapshot()
        known = match_name(shown["material"], snapshot.stock.kept["materials"]["material"])
        stands = _stands(snapshot, known)
        if {**shown, "material": known} != stands:  # else it was sent twice
            faults = {"material": late.faults[0].message}
            return _page(snapshot, shown, name, None if name else "", faults, stands)
        return redirect(url_for("glazes.material", name=known, kept=1), 303)
    except BadInput as bad:
        return _page(snapshot, shown, name, mark, by_field(bad.faults))
    kept = any(count.added or count.corrected for count in counts.values())
    return redirect(url_for("glazes.material", name=shown["material"], kept=int(kept)), 303)


def _page(
    snapshot: Snapshot,
    shown: dict[str, str],
    name: str | None,
    mark: str | None = None,
    faults: dict[str, str] | None = None,
    late: dict[str, str] | None = None,
) -> Any:
    standing = snapshot.stock.material_marks.get((name,), "")
    used = [oxide for oxide in OXIDES if oxide in USUAL or shown[oxide]]
    page = render_template(
        "material.html", shown=shown, name=name or "", faults=faults or {}, late=late or {},
        mark=standing if mark is None else mark, fields=FIELDS, usual=used,
        rest=[oxide for oxide in OXIDES if oxide not in used],
    )  # fmt: skip
    return page, 409 if late else 422 if faults else 200
