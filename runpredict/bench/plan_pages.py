"""Plan a pot: the pots that are planned, the form of one, and the answer beside it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any
from urllib.parse import parse_qsl

import pandas as pd
from flask import Blueprint, abort, g, redirect, render_template, request, url_for

from runpredict.bench import pot_form
from runpredict.bench.field_words import LABELS, label_of
from runpredict.bench.firing_form import FIELDS, firing_texts
from runpredict.bench.memo import Newest
from runpredict.bench.old_pages import coat_to_spare
from runpredict.bench.pot_form import PotForm, Read
from runpredict.bench.session import named_pot, open_studio, session, switch_units, units
from runpredict.bench.studio import Pot, Snapshot
from runpredict.drawings.piece import drawn_piece
from runpredict.errors import BadInput
from runpredict.logbook.overtaken import Overtaken, Taken
from runpredict.tables.columns import FOLDED, cones
from runpredict.tables.rows import empty_table, inside_of
from runpredict.units import whole_number
from runpredict.words.plain import percent
from runpredict.words.pots import PotWords, firings_in_words
from runpredict.words.tries import Tries, tries_in_words

pages = Blueprint("plan", __name__)

NEXT_LAYER = {"glaze": "", "coats": "1"} | dict.fromkeys(
    ("note", "glazed", "batch", "specific_gravity", "dip_s"), ""
)
"""Of a layer that is added; the rest is as of the one beneath it."""

EARLIER_SHOWN = 12
LISTED = 48
"""Planned pots that the first page lists, those of each firing that need something first; and
firings, the last of them."""
COLD_FIRINGS, COLD_LISTED = 12, 3
"""Firings with pots without a cone that it lists, and of each so many pots by name."""
MORE = [column for column in FOLDED if not column.after]
MORE_NAMES = [column.name for column in MORE if column.is_text]
OF_FIRING = (*FIELDS, "body")
"""What a new pot has of the one planned last, which it will stand beside."""


@dataclass(frozen=True)
class Opened:
    """Which pot a form is of.

    Attributes
    ----------
    was : Pot or None
        The planned pot that a save rewrites; None for a new one.
    mark : str
        What the logbook told of it when the form was opened.
    base : Pot or None
        The pot the fields were filled from.
    """

    was: Pot | None = None
    mark: str = ""
    base: Pot | None = None


@dataclass(frozen=True)
class Asked:
    """What was read of a form, and the answer, None where something is to be mended.

    Attributes
    ----------
    views : tuple of str
        Names of the pictures: from the side, and the wall laid straight.
    changes : DataFrame or None
        What would be enough, as `Answer.changes` returns.
    tolerance : float
        What is tolerated in its firing.
    """

    read: Read
    pot: PotWords | None = None
    tries: Sequence[Tries] = ()
    views: tuple[str, ...] = ()
    changes: pd.DataFrame | None = None
    tolerance: float = 0.0


NEWEST = Newest(300)
MOST_ASKED = 8
"""Layers of a pot that are worked out while she types; twelve take four times as long as eight."""
TOO_MANY = (
    f"This page works out pots of up to {MOST_ASKED} layers; the command check takes more. "
    "This one can be kept all the same."
)

INSIDE_ONLY = "All its glaze is inside, so nothing of it is judged by the foot."


@pages.get("/")
def pots() -> str:
    """Every planned pot with its risk."""
    snapshot = open_studio().snapshot()
    planned = [*session().planned(snapshot).values()]
    firings = planned[-LISTED:]
    most = max(LISTED // max(len(firings), 1), 1)
    shown = {
        firing.firing: [pot for pots in firing.by_need.values() for pot in pots][:most]
        for firing in firings
    }
    cold: dict[str, list[str]] = {}
    for piece, firing in sorted(snapshot.cold):
        cold.setdefault(firing, []).append(piece)
    return render_template(
        "pots.html", firings=firings, shown=shown, cold=[*cold.items()][-COLD_FIRINGS:],
        most=COLD_LISTED, colder=max(len(cold) - COLD_FIRINGS, 0),
        others=len(planned) - len(firings),
    )  # fmt: skip


@pages.get("/pot")
def pot() -> str:
    """The form of a new pot, of a planned one, or of a copy."""
    snapshot = open_studio().snapshot()
    named = snapshot.meant(*named_pot())
    if named in snapshot.planned_pots and "copy" not in request.args:
        form = pot_form.form_of(snapshot.pots[named], units())
        return _page(form, Opened(named, snapshot.marks.get(named, ""), named), snapshot)
    if named in snapshot.pots:
        form = pot_form.form_of(snapshot.pots[named], units())
        form.pot["piece"] = _free_name(named[0], snapshot)
        spared = coat_to_spare(snapshot.pots[named]) if "less" in request.args else None
        for number, layer in enumerate(form.layers, 1):
            layer["glazed"] = ""  # what is on that pot is not on its copy
            if number == spared:
                layer["coats"] = f"{int(layer['coats']) - 1}"
        if named not in snapshot.planned_pots:
            form.pot |= {"firing": "", "fired_on": ""}
        return _page(form, Opened(base=named), snapshot)
    form = pot_form.new_form(units())
    within = snapshot.firing_meant(request.args.get("within", ""))
    newest = next((pot for pot in reversed(snapshot.planned_pots) if within in ("", pot[1])), None)
    form.pot["piece"] = _free_name(newest[0] if newest else "pot 0", snapshot)
    if newest:
        last = pot_form.form_of(snapshot.pots[newest], units()).pot
        form.pot |= {name: last[name] for name in OF_FIRING}
    form.pot |= firing_texts(snapshot, within) if within else {}
    form.pot |= {name: request.args[name][:300] for name in FIELDS if name in request.args}
    return _page(form, Opened(), snapshot)


def _free_name(name: str, snapshot: Snapshot) -> str:
    return pot_form.next_name(name, [piece for piece, _ in snapshot.pots])


@pages.post("/pot")
def change_pot() -> Any:
    """Do what the button says: ask, save, accept advice, add or drop a layer, remove."""
    snapshot = open_studio().snapshot()
    form, opened = pot_form.posted_form(request.form), _opened()
    switched = switch_units()
    if switched:
        return _page(form.converted(*switched), opened, snapshot)
    do = request.form.get("do", "save")
    if do == "remove":
        return render_template("remove.html", opened=opened)
    if do == "remove-surely" and opened.was is not None:
        return _remove(opened)
    read = pot_form.read_form(form, units(), snapshot)
    if do == "save":
        return _save(form, opened, snapshot, read)
    return _page(_edited(do, form, read, snapshot), opened, snapshot)


@pages.post("/pot/answer")
def answer_pot() -> str:
    """The answer to what stands in the form, without the page around it."""
    snapshot = open_studio().snapshot()
    form = pot_form.posted_form(request.form)
    asker = request.form.get("asker", "")[:40]
    wanted = [NEWEST.ask(f"{g.device} {asker}")] if asker else []
    found = _asked(form, snapshot, *wanted)
    return render_template("answer.html", **_answer_parts(found))


def _answer_parts(found: Asked, read: Read | None = None) -> dict[str, Any]:
    """What the answer's part of a page is made of."""
    return {
        "read": read or found.read,
        "shown": found.pot,
        "tries": found.tries,
        "views": found.views,
        "tolerance": found.tolerance,
        "tolerated": percent(found.tolerance),
        "fields_of": partial(pot_form.fields_of, units=units()),
        "label_of": label_of,
    }


def _opened() -> Opened:
    sent = request.form
    was = (sent.get("was_piece", ""), sent.get("was_firing", ""))
    base = (sent.get("base_piece", ""), sent.get("base_firing", ""))
    return Opened(was if was[0] else None, sent.get("mark", ""), base if base[0] else None)


def _asked(form: PotForm, snapshot: Snapshot, wanted: Callable[[], bool] = lambda: True) -> Asked:
    """What is made of a form; of a pot that somebody just asked about, what was answered then.

    Nothing is where it is not `wanted` any more once its turn has come.
    """
    studio, read_in = open_studio(), units()
    read = pot_form.read_form(form, read_in, snapshot)
    if read.faults:
        return Asked(read)
    if read.judged.empty:
        return Asked(replace(read, notes=[*read.notes, INSIDE_ONLY]))
    if len(form.layers) > MOST_ASKED:
        return Asked(replace(read, notes=[*read.notes, TOO_MANY]))

    def work() -> Asked:
        if not wanted():
            abort(409, "A newer question of the same page is answered instead.")
        inside = inside_of(read.layers)
        answer = studio.ask(replace(snapshot.tables, plan=read.judged, inside=inside))
        ((pot,),) = (firing.pots for firing in firings_in_words(answer, read_in))
        views = session().gallery.pot(drawn_piece(answer, pot.place, read_in), read_in)
        tries = tries_in_words(answer, pot.place, read_in)
        return Asked(read, pot, tries, views, answer.changes(read_in), answer.tolerance)

    # As read, not as typed: a pot that was kept is the one that was asked about.
    rows = repr(read.layers.to_dict("list"))
    found: Asked = studio.memo.get(studio.key(snapshot, "pot", rows, read_in), work)
    return replace(found, read=read)


def _page(
    form: PotForm,
    opened: Opened,
    snapshot: Snapshot,
    told: str = "",
    read: Read | None = None,
    code: int = 200,
) -> Any:
    found = _asked(form, snapshot)
    others = [pot for pot in reversed(snapshot.pots) if pot != opened.was][:EARLIER_SHOWN]
    page = render_template(
        "pot.html", form=form, opened=opened, told=told, **_answer_parts(found, read),
        like=request.form.get("like", "1")[:5],
        earlier=others, glazes=snapshot.glaze_groups, cones=cones(),
        firings=snapshot.names("firing"), columns=MORE,
        known={name: snapshot.names(name) for name in ("body", *MORE_NAMES)},
        more=[c for c in MORE if c.name not in snapshot.used], used=snapshot.used,
        shapes=session().gallery.shapes(), wall_angles=session().gallery.wall_angles(),
        forms=pot_form.FORMS, methods=pot_form.METHODS, labels=LABELS,
        fired=opened.base is not None and opened.base not in snapshot.planned_pots,
    )  # fmt: skip
    return page, code


def _edited(do: str, form: PotForm, read: Read, snapshot: Snapshot) -> PotForm:
    """The form after a button that changes it."""
    if do == "accept" and (changes := _asked(form, snapshot).changes) is not None:
        return pot_form.advised(form, read.judged, changes, units())
    if do == "add" and len(form.layers) < pot_form.MOST_LAYERS:
        top = form.layers[-1]
        return PotForm(form.pot, [*form.layers, top | NEXT_LAYER])
    if do == "firing":
        there = firing_texts(snapshot, snapshot.firing_meant(form.pot["firing"].strip()))
        return PotForm(form.pot | there, form.layers)
    if do.startswith("drop-") and len(form.layers) > 1:
        kept = [layer for k, layer in enumerate(form.layers, 1) if do != f"drop-{k}"]
        return PotForm(form.pot, kept)
    if do.startswith("set "):
        for name, text in parse_qsl(do[4:], keep_blank_values=True, max_num_fields=40):
            field, _, number = name.partition("-")
            if not number and field in form.pot:
                form = form.changed(None, field, text)
            elif layer := whole_number(number, len(form.layers)):
                form = form.changed(layer, field, text)
    return form


def _save(form: PotForm, opened: Opened, snapshot: Snapshot, read: Read) -> Any:
    like = whole_number(request.form.get("like", "").strip() or "1", pot_form.MOST_ALIKE) or 0
    if not like:
        told = f"give a whole number of pots, 1 to {pot_form.MOST_ALIKE}."
        read = replace(read, faults=read.faults | {"like": told})
    if read.faults:
        told = "Nothing is kept yet: mend what is marked, then save again."
        return _page(form, opened, snapshot, told, read, 422)
    rows = pot_form.several(read, like, snapshot, opened.was)
    try:
        (piece, firing), changed = open_studio().write(
            lambda book: book.put_piece(rows, opened.was, opened.mark)
        )
    except Overtaken as late:
        return _side_by_side(form, opened, late)
    except Taken as taken:
        (fault,) = taken.faults
        read = replace(read, faults=read.faults | {"piece": fault.message})
        return _page(form, opened, snapshot, f"{fault.file} {fault.message}", read, 409)
    except BadInput as bad:
        read = replace(read, faults=read.faults | pot_form.by_field(bad.faults))
        return _page(form, opened, snapshot, str(bad.faults[0]), read, 422)
    more = None if like == 1 else like
    told = url_for("plan.pot", piece=piece, firing=firing, kept=int(changed), like=more)
    return redirect(told, 303)


def change_as_told(pot: Pot, mark: str) -> None:
    """Write of a planned pot that it was changed as is advised, before it was fired.

    Raises
    ------
    BadInput, Overtaken : as `Logbook.put_piece`.
    """
    snapshot = open_studio().snapshot()
    form = pot_form.form_of(snapshot.pots[pot], units())
    asked = _asked(form, snapshot)
    if asked.changes is None:
        return
    changed = pot_form.advised(form, asked.read.judged, asked.changes, units())
    read = pot_form.read_form(changed, units(), snapshot)
    open_studio().write(lambda book: book.put_piece(read.raw, pot, mark))


def _remove(opened: Opened) -> Any:
    try:
        gone = empty_table("layers")
        open_studio().write(lambda book: book.put_piece(gone, opened.was, opened.mark))
    except Overtaken as late:
        snapshot = open_studio().snapshot()
        if opened.was is None or opened.was not in snapshot.planned_pots:
            return redirect(url_for("plan.pots"), 303)
        form = pot_form.form_of(snapshot.pots[opened.was], units())
        again = replace(opened, mark=snapshot.marks[opened.was])
        return _page(form, again, snapshot, f"Not removed: it {late.faults[0].message}", code=409)
    return redirect(url_for("plan.pots"), 303)


def _side_by_side(form: PotForm, opened: Opened, late: Overtaken) -> tuple[str, int]:
    """What she typed beside what stands now, to keep either."""
    snapshot = open_studio().snapshot()
    standing: Pot | None = None
    theirs: PotForm | None = None
    if len(late.standing):
        standing = pot_form.pot_of(late.standing)
        rows = snapshot.pots.get(standing, late.standing)
        theirs = pot_form.form_of(rows, units())
    fired = standing is not None and standing not in snapshot.planned_pots
    again = Opened(standing, snapshot.marks.get(standing, ""), opened.base)
    page = render_template(
        "conflict.html", form=form, opened=again, lines=_lines(form, theirs), standing=standing,
        told=late.faults[0].message, fired=fired, new=opened.was is None,
        pot_fields=pot_form.POT_CARRIED, layer_fields=pot_form.CARRIED,
    )  # fmt: skip
    return page, 409


def _lines(mine: PotForm, theirs: PotForm | None) -> list[tuple[str, str, str]]:
    """Label, mine and theirs of every field that differs."""
    blank = dict.fromkeys(pot_form.LAYER_FIELDS, "")
    there = theirs or PotForm(dict.fromkeys(pot_form.POT_FIELDS, ""), [])
    lines = [
        (LABELS[name], mine.pot[name], there.pot[name])
        for name in pot_form.POT_FIELDS
        if mine.pot[name].strip() != there.pot[name]
    ]
    for k in range(max(len(mine.layers), len(there.layers))):
        ours, other = (form.layers[k] if k < len(form.layers) else blank for form in (mine, there))
        lines += [
            (f"Layer {k + 1}: {LABELS[name]}", ours[name], other[name])
            for name in pot_form.LAYER_FIELDS
            if ours[name].strip() != other[name]
        ]
    return lines
