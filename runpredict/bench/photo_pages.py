"""A photo of a fired pot: kept with it, and the run measured on it by taps."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import pandas as pd
from flask import Blueprint, Response, abort, redirect, render_template, request, url_for

from runpredict.bench.lengths import converted_length, typed_length, written_length
from runpredict.bench.session import named_pot, open_studio, switch_units, units
from runpredict.bench.studio import Pot, Snapshot
from runpredict.errors import BadInput
from runpredict.logbook.photos import MOST_BYTES, Photo, keep_photo, look_at, photo_file
from runpredict.physics.photo_length import Camera, Point, Taps, run_on_photo
from runpredict.tables.layers import outside
from runpredict.units import parse_length_mm

pages = Blueprint("photo", __name__)

MARKS = {
    "foot_left": "Foot, left end",
    "foot_right": "Foot, right end",
    "foot_front": "Foot, nearest point",
    "edge_was": "Where the edge was",
    "edge_now": "Where it is now",
}
"""What is tapped, in that order; the nearest point of the foot may be left out."""
NEEDED = tuple(mark for mark in MARKS if mark != "foot_front")
SHOWN_PX = (340, 680, 1360)
"""Widths a photo is shown at: the first fits a phone."""
TAP_PX = 4.0
"""How uncertain a tap is on the screen, where its mark is seen and can be set again (common
practice, no source). [CSS px]"""


@dataclass
class Measuring:
    """What stands in the form that a photo is measured on.

    Attributes
    ----------
    layer : int
        The layer whose edge is measured.
    foot, wall : str
        As typed: diameter of the foot in the page's units, angle of the wall.
    shown_px : int
        How wide the photo is shown, one of `SHOWN_PX`.
    which : str
        What the next tap means, of `MARKS`.
    points : dict
        What was tapped, in pixels of the photo.
    """

    layer: int
    foot: str
    wall: str
    shown_px: int = SHOWN_PX[0]
    which: str = "foot_left"
    points: dict[str, Point] = field(default_factory=dict)


@pages.get("/photo")
def photo() -> Any:
    """The photo of a pot, to measure on, or to be taken."""
    snapshot = open_studio().snapshot()
    pot = _fired(snapshot, snapshot.meant(*named_pot()))
    return _page(snapshot, pot, _opened(snapshot.pots[pot], request.args.get("layer", "")))


def _fired(snapshot: Snapshot, pot: Pot) -> Pot:
    if pot not in snapshot.pots or not outside(snapshot.pots[pot]).any():
        abort(404)
    return pot


def _opened(rows: pd.DataFrame, layer: str) -> Measuring:
    rows = rows.loc[outside(rows)]
    asked = rows.loc[rows["layer"].astype(int).astype(str) == layer]
    row = (rows if asked.empty else asked).iloc[0]
    foot_mm, wall_deg = float(row["foot_mm"]), float(row["wall_deg"])
    wall = "" if math.isnan(wall_deg) else f"{wall_deg:g}"
    return Measuring(int(row["layer"]), written_length(foot_mm, units()), wall)


@pages.post("/photo")
def keep() -> Any:
    """Keep a photo that was sent."""
    studio = open_studio()
    snapshot = studio.snapshot()
    pot = _fired(snapshot, (request.form.get("piece", ""), request.form.get("firing", "")))
    sent = request.files.get("photo")
    if sent is None or not sent.filename:
        told = "No photo came along; choose or take one first."
        return _page(snapshot, pot, _opened(snapshot.pots[pot], ""), told, 422)
    try:
        name = keep_photo(studio.folder, pot[0], sent.read(MOST_BYTES + 1), "The photo")
        studio.write(lambda book: book.record(pot[0], [], firing=pot[1], told={"photo": name}))
    except BadInput as bad:
        told = f"Not kept: {bad.faults[0]}"
        return _page(snapshot, pot, _opened(snapshot.pots[pot], ""), told, 422)
    layer = request.form.get("layer", "")[:3]
    return redirect(url_for("photo.photo", piece=pot[0], firing=pot[1], layer=layer, kept=1), 303)


@pages.post("/photo/measure")
def measure() -> Any:
    """Take a tap down, or what is typed, and say what length that makes."""
    snapshot = open_studio().snapshot()
    pot = _fired(snapshot, (request.form.get("piece", ""), request.form.get("firing", "")))
    typed_in = units()
    switched = switch_units()
    asked = _posted(request.form, _opened(snapshot.pots[pot], request.form.get("layer", "")))
    asked.foot, _ = converted_length(asked.foot, "", typed_in, units())
    if not switched:
        _take_tap(asked, _photo_of(snapshot, pot)[1])
    return _page(snapshot, pot, asked)


def _posted(fields: Mapping[str, str], asked: Measuring) -> Measuring:
    asked.foot = fields.get("foot", asked.foot)[:60]
    asked.wall = fields.get("wall", asked.wall)[:60]
    shown = fields.get("shown", "")
    asked.shown_px = next((px for px in SHOWN_PX if str(px) == shown), SHOWN_PX[0])
    asked.which = next((mark for mark in MARKS if mark == fields.get("which")), asked.which)
    for mark in MARKS:
        point = _point(*fields.get(f"at-{mark}", "")[:40].replace(",", " ").split())
        if point is not None:
            asked.points[mark] = point
    do = fields.get("do", "")
    place = SHOWN_PX.index(asked.shown_px) + {"larger": 1, "smaller": -1}.get(do, 0)
    asked.shown_px = SHOWN_PX[min(max(place, 0), len(SHOWN_PX) - 1)]
    return asked


def _point(*texts: str) -> Point | None:
    try:
        right, down = map(float, texts)
    except ValueError:
        return None
    return (right, down) if max(abs(right), abs(down)) < 1e5 else None


def _take_tap(asked: Measuring, seen: Photo | None) -> None:
    """What a tap on the picture says, as a browser sends it: in pixels of the picture as shown."""
    tapped = _point(request.form.get("tap.x", ""), request.form.get("tap.y", ""))
    if tapped is None or seen is None:
        return
    scale = seen.width_px / asked.shown_px
    asked.points[asked.which] = (round(tapped[0] * scale, 1), round(tapped[1] * scale, 1))
    open_marks = [mark for mark in MARKS if mark not in asked.points]
    asked.which = next(iter(open_marks), asked.which)


def _photo_of(snapshot: Snapshot, pot: Pot) -> tuple[str, Photo | None]:
    """The name of a pot's photo, and what is known of it; None where there is none."""
    name = str(snapshot.pots[pot].iloc[0]["photo"])
    file = photo_file(open_studio().folder, name)
    if file is None:
        return name, None
    try:
        return name, look_at(file)
    except BadInput:
        return name, None


def _measured(asked: Measuring, seen: Photo, flat: bool) -> tuple[float, float]:
    """The run and its error in mm, of taps that are all there."""
    try:
        foot_mm = parse_length_mm(typed_length(asked.foot, units()))
        wall_deg = float(asked.wall.replace(",", ".") or "nan")
    except ValueError:
        foot_mm = wall_deg = math.nan
    if not (0.0 < foot_mm < 2000.0 and 0.0 <= wall_deg <= 180.0):
        raise ValueError(
            "give the foot's diameter, such as 65 mm, and the wall's angle, such as 88."
        )
    camera = Camera(seen.width_px, seen.height_px, seen.film_mm)
    tap_px = TAP_PX * seen.width_px / asked.shown_px
    return run_on_photo(Taps(**asked.points), camera, foot_mm, wall_deg, tap_px, flat)


def _page(
    snapshot: Snapshot, pot: Pot, asked: Measuring, told: str = "", code: int = 200
) -> tuple[str, int]:
    rows = snapshot.pots[pot]
    name, seen = _photo_of(snapshot, pot)
    found, fault = None, ""
    if seen is not None and all(mark in asked.points for mark in NEEDED):
        try:
            run_mm, error_mm = _measured(asked, seen, rows.iloc[0]["form"] == "tile")
            found = {
                "run_mm": f"{run_mm:.1f}",
                "error_mm": f"{error_mm:.1f}",
                "run": f"{written_length(round(run_mm, 1), units())} {units()}",
                "error": f"{written_length(round(error_mm, 1), units())} {units()}",
            }
        except ValueError as bad:
            fault = str(bad)
    page = render_template(
        "photo.html", pot=pot, asked=asked, name=name, seen=seen, found=found, fault=fault,
        told=told, marks=MARKS, sizes=SHOWN_PX,
        layers=list(rows.loc[outside(rows), ["layer", "glaze"]].itertuples(index=False)),
    )  # fmt: skip
    return page, code


@pages.get("/photos/<name>")
def file(name: str) -> Response:
    """A photo that is kept."""
    found = photo_file(open_studio().folder, name)
    if found is None:
        abort(404)
    response = Response(found.read_bytes(), mimetype="image/jpeg")
    response.headers["Content-Security-Policy"] = "default-src 'none'"
    response.headers["Cache-Control"] = "private, max-age=86400"
    return response
