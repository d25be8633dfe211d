"""The glazes: a jar with its word and cone, or a recipe with its unity formula."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd
from flask import Blueprint, abort, redirect, render_template, request, url_for

from runpredict.bench.field_words import label_of
from runpredict.bench.session import open_studio, switch_units
from runpredict.bench.studio import Snapshot
from runpredict.datafiles import OXIDES
from runpredict.errors import BadInput
from runpredict.logbook.overtaken import Overtaken
from runpredict.physics.chemistry import unity_formula
from runpredict.physics.material_words import names_beside, shipped_words
from runpredict.tables.columns import TableKind, column_of, cones
from runpredict.tables.ingredients import stand_in_note
from runpredict.tables.names import match_name
from runpredict.tables.plan import check_plan
from runpredict.words.glazes import lots_text

pages = Blueprint("glazes", __name__)

ROWS_SHOWN, MORE_ROWS, MOST_ROWS = 6, 3, 40
BEHAVIOURS = column_of("glazes", "behaviour").words
KINDS_OF_GLAZE = {
    "jar": "A jar, bought ready",
    "recipe": "A recipe, mixed here",
    "analysis": "An analysis, weight percent of oxides",
}
LEAST_SHOWN_MOL = 0.0005
FIELDS = ("glaze", "source", "behaviour", "matures_cone", "note", "in_use")


@dataclass
class GlazeForm:
    """What stands in the fields of a glaze, as typed."""

    fields: dict[str, str]
    rows: list[dict[str, str]]
    known: bool
    glaze_mark: str = ""
    recipe_mark: str = ""


@pages.get("/glazes")
def shelf() -> str:
    """The glazes in use, the one used last ahead, and those that are not any more."""
    snapshot = open_studio().snapshot()
    rows = snapshot.tables.glazes.set_index("glaze", drop=False)
    found = rows.loc[[*snapshot.glazes_in_use, *snapshot.retired]].to_dict("records")
    return render_template(
        "glazes.html",
        glazes=found[: len(snapshot.glazes_in_use)],
        retired=found[len(snapshot.glazes_in_use) :],
        kinds=KINDS_OF_GLAZE,
        unsound=snapshot.stock.unsound,
    )


@pages.get("/glaze")
def glaze() -> Any:
    """One glaze, or the form of a new one."""
    snapshot = open_studio().snapshot()
    named = request.args.get("name", "")
    name = match_name(named, snapshot.stock.kept["glazes"]["glaze"])
    if named and not name:
        abort(404)
    return _page(_form_of(snapshot, name), snapshot)


def _form_of(snapshot: Snapshot, name: str) -> GlazeForm:
    fields = dict.fromkeys(FIELDS, "")
    if not name:
        return GlazeForm(fields | {"source": "jar"}, _padded([]), False)
    mine = snapshot.tables.glazes.loc[snapshot.tables.glazes["glaze"] == name].iloc[0]
    logged = (
        snapshot.stock.kept["glazes"].loc[snapshot.stock.kept["glazes"]["glaze"] == name].iloc[0]
    )
    fields = {key: str(logged.get(key, "")) for key in fields}
    fields["source"] = fields["source"] or str(mine["source"])
    stock = snapshot.stock
    recipe = stock.kept["recipes"].loc[snapshot.stock.kept["recipes"]["glaze"] == name]
    rows = [
        {"material": str(row.material), "parts": f"{row.parts:g}", "addition": str(row.addition)}
        for row in recipe.itertuples()
    ]
    marks = (
        snapshot.stock.glaze_marks.get((name,), ""),
        snapshot.stock.recipe_marks.get((name,), ""),
    )
    return GlazeForm(fields, _padded(rows), True, *marks)


def _padded(rows: list[dict[str, str]]) -> list[dict[str, str]]:
    blank = {"material": "", "parts": "", "addition": ""}
    more = max(ROWS_SHOWN - len(rows), MORE_ROWS if rows else 0)
    return [*rows, *(dict(blank) for _ in range(more))][:MOST_ROWS]


@pages.post("/glaze")
def change_glaze() -> Any:
    """Keep a glaze, or give its recipe more rows."""
    snapshot = open_studio().snapshot()
    form = _posted()
    said = snapshot.stock.kept["glazes"].set_index("glaze")["in_use"]
    stood = str(said.get(form.fields["glaze"], ""))
    if form.fields["in_use"] == "yes" and stood != "no":  # as it is shown where nothing is said
        form.fields["in_use"] = stood
    rows = request.form.get("do") == "rows"
    if rows:
        form.rows = _padded([row for row in form.rows if row["material"] or row["parts"]])
    if rows or request.form.get("do") == "ask" or switch_units():
        return _page(form, snapshot)
    if request.form.get("do") in ("rename", "batch"):
        return _rename(form)
    tables = _tables(form)
    try:
        _try_out(tables, snapshot)
        marks: dict[TableKind, str] = {"glazes": form.glaze_mark}
        if "recipes" in tables:
            marks["recipes"] = form.recipe_mark
        counts = open_studio().write(lambda book: book.import_tables(tables, "bench page", marks))
        kept = any(count.added or count.corrected for count in counts.values())
    except Overtaken as late:
        if not _stands(form) and form.known:
            return _overtaken(form, late)
        if not _stands(form):
            told = f"{late.faults[0].file} {late.faults[0].message}"
            return _page(form, snapshot, {"glaze": told}, 409)
        kept = True
    except BadInput as bad:
        return _page(form, snapshot, _by_field(bad), 422)
    return redirect(url_for("glazes.glaze", name=form.fields["glaze"], kept=int(kept)), 303)


def _by_field(bad: BadInput) -> dict[str, str]:
    """What is wrong by the field it stands in, such as ``glaze`` or ``parts-3``."""
    found: dict[str, str] = {}
    for one in bad.faults:
        in_row = one.file == "recipes" and one.index is not None
        field = f"{one.column or 'material'}-{one.index}" if in_row else one.column or ""
        found.setdefault(field, one.message)
    return found


def _rename(form: GlazeForm) -> Any:
    """Give the glaze or a batch its new name; what else is typed stays as it is, not kept yet."""
    glaze, of_batch = form.fields["glaze"], request.form["do"] == "batch"
    field = "batch_name" if of_batch else "new_name"
    name, batch = (request.form.get(key, "").strip()[:300] for key in (field, "batch"))
    try:
        if of_batch:
            open_studio().write(lambda book: book.rename_batch(glaze, batch, name))
            now = glaze
        else:
            now = open_studio().write(lambda book: book.rename_glaze(glaze, name, form.glaze_mark))
    except Overtaken as late:
        return _overtaken(form, late)
    except BadInput as bad:
        return _page(form, open_studio().snapshot(), {field: bad.faults[0].message}, 422)
    snapshot = open_studio().snapshot()
    form.fields["glaze"] = now
    if _stands(form):
        return redirect(url_for("glazes.glaze", name=now, kept=1), 303)
    fresh = _form_of(snapshot, now)
    form.glaze_mark, form.recipe_mark = fresh.glaze_mark, fresh.recipe_mark
    return _page(form, snapshot, renaming=False)


def _posted() -> GlazeForm:
    sent = request.form
    fields = {name: sent.get(name, "").strip()[:6000] for name in FIELDS}
    count = next((k for k in range(MOST_ROWS, 0, -1) if f"material-{k}" in sent), 0)
    rows = [
        {
            "material": sent.get(f"material-{k}", "")[:300].strip(),
            "parts": sent.get(f"parts-{k}", "")[:60].strip(),
            "addition": "yes" if sent.get(f"addition-{k}") == "yes" else "",
        }
        for k in range(1, count + 1)
    ]
    known = sent.get("known") == "yes"
    return GlazeForm(fields, rows, known, sent.get("glaze_mark", ""), sent.get("recipe_mark", ""))


def _tables(form: GlazeForm) -> dict[TableKind, pd.DataFrame]:
    """Rows as typed, for the logbook; a recipe only where the glaze is one."""
    tables: dict[TableKind, pd.DataFrame] = {"glazes": pd.DataFrame([form.fields], dtype=object)}
    rows = {k: row for k, row in enumerate(form.rows, 1) if row["material"] or row["parts"]}
    if form.fields["source"] == "recipe" and rows:
        recipe = pd.DataFrame([*rows.values()], index=[*rows], dtype=object)
        recipe.insert(0, "glaze", form.fields["glaze"])
        tables["recipes"] = recipe
    return tables


def _try_out(tables: dict[TableKind, pd.DataFrame], snapshot: Snapshot) -> None:
    """Refuse what could not be asked about later: no recipe, an unknown material, no flux.

    Raises
    ------
    BadInput
    """
    given: dict[str, pd.DataFrame] = {k: table for k, table in tables.items() if k != "glazes"}
    if not snapshot.stock.kept["materials"].empty:
        given["materials"] = snapshot.stock.kept["materials"]
    glazes = tables["glazes"]
    if glazes["source"].iloc[0] == "analysis":  # its oxides stand in the logbook
        mine = snapshot.stock.kept["glazes"]["glaze"] == glazes["glaze"].iloc[0]
        oxides = snapshot.stock.kept["glazes"].loc[mine, list(OXIDES)].reset_index(drop=True)
        glazes = pd.concat([glazes, oxides], axis=1)
    check_plan(None, glazes, **given)


def _stands(form: GlazeForm) -> bool:
    """Whether the logbook says just this of the glaze: sent again, since no answer had come."""
    snapshot = open_studio().snapshot()
    name = match_name(form.fields["glaze"], snapshot.stock.kept["glazes"]["glaze"])
    if not name:
        return False
    theirs = _form_of(snapshot, name)
    ours, there = ([row for row in one.rows if any(row.values())] for one in (form, theirs))
    return form.fields | {"glaze": name} == theirs.fields and ours == there


def _overtaken(form: GlazeForm, late: Overtaken) -> tuple[str, int]:
    snapshot = open_studio().snapshot()
    name = form.fields["glaze"]
    theirs = _form_of(snapshot, name if name in set(snapshot.stock.kept["glazes"]["glaze"]) else "")
    form.glaze_mark, form.recipe_mark = theirs.glaze_mark, theirs.recipe_mark
    page = render_template(
        "glaze_conflict.html", form=form, theirs=theirs, told=late.faults[0].message
    )
    return page, 409


def _page(
    form: GlazeForm, snapshot: Snapshot, faults: dict[str, str] | None = None, code: int = 200,
    renaming: bool = True,
) -> Any:  # fmt: skip
    """Its page; `renaming` where another name that is typed is not kept yet."""
    sent = request.form if renaming else {}
    name = form.fields["glaze"]
    mine = snapshot.tables.glazes.loc[snapshot.tables.glazes["glaze"] == name]
    own = snapshot.stock.kept["materials"]
    kinds = [kind for kind in KINDS_OF_GLAZE if kind != "analysis" or form.fields["source"] == kind]
    page = render_template(
        "glaze.html", form=form, faults=faults or {}, cones=cones(), behaviours=BEHAVIOURS,
        kinds={kind: KINDS_OF_GLAZE[kind] for kind in kinds}, label_of=label_of,
        **{key: sent.get(key, at_first)[:300]
           for key, at_first in (("new_name", name), ("batch", ""), ("batch_name", ""))},
        batches=snapshot.batches_of(name) if form.known else [],
        unity=_unity(mine.iloc[0]) if form.known and len(mine) else None,
        problem=snapshot.stock.unsound.get(name, ""),
        lots=_lots(form, mine, list(own["material"])) if form.known else [],
        materials=sorted({*shipped_words(), *own["material"]}, key=str.casefold),
    )  # fmt: skip
    return page, code


def _lots(form: GlazeForm, glaze: pd.DataFrame, own: list[str]) -> list[str]:
    """How far lots of its raw materials shift a recipe, and which of them only stand in."""
    if glaze.empty or glaze["source"].iloc[0] != "recipe":
        return []
    names = names_beside(own)
    notes = [stand_in_note(row["material"], names) for row in form.rows]
    return [lots_text(float(glaze["lot_spread_c"].iloc[0])), *filter(None, notes)]


def _unity(glaze: pd.Series) -> dict[str, list[tuple[str, str]]] | None:
    """Unity formula, by moles, and its sums; None of a jar."""
    oxides = glaze[list(OXIDES)].astype(float)
    if oxides.isna().all():
        return None
    unity = unity_formula(oxides.fillna(0.0))
    return {
        "moles": [
            (name, f"{unity[name]:.2f}") for name in OXIDES if unity[name] >= LEAST_SHOWN_MOL
        ],
        "sums": [
            ("alkalis", f"{unity['alkali_mol']:.2f}"),
            ("alkaline earths", f"{unity['alkaline_earth_mol']:.2f}"),
            ("zinc", f"{unity['zinc_mol']:.2f}"),
            ("silica to alumina", f"{unity['silica_alumina_ratio']:.1f}"),
        ],
    }
