"""What to do about a pot, in words: what is enough, wax, cookie or dish, how far it may run."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from runpredict.answers.check import Answer
from runpredict.answers.cookies import needed_from
from runpredict.answers.moves import HAND_M
from runpredict.answers.questions import WORTH_TELLING_MM
from runpredict.arrays import rows_of
from runpredict.model.chances import RUN_LEVELS
from runpredict.units import (
    HAND_STEP_MM,
    LEAST_INCH_COAT_MM,
    MM_PER_INCH,
    LengthUnits,
    format_coat,
    format_distance,
)
from runpredict.words.plain import percent

PAST = "past the foot"
OVER_A_THIRD = "over 1/3 of the wall"

# How a change is called where changes are counted.
COUNTED = {
    "wax": "wax",
    "edge": "stop higher",
    "coat": "fewer coats",
    "thickness": "thinner",
    "several": "more than one change",
    "cookie": "a cookie",
    "dish": "another glaze, or caught",
}


def rounded_up(length_mm: float, units: LengthUnits) -> str:
    """A length that must be enough, on the next line of the ruler.

    Examples
    --------
    >>> rounded_up(12.5, "mm"), rounded_up(12.5, "in"), rounded_up(12.8, "in")
    ('13 mm', '1/2 in', '5/8 in')
    """
    return format_distance(rounded_up_mm(length_mm, units), units)


def rounded_up_mm(length_mm: float, units: LengthUnits) -> float:
    """The next line of the ruler at a length or above it. [mm]"""
    step = HAND_STEP_MM[units]
    return float(step * np.ceil(length_mm / step - 1e-6))


def rounded_down(length_mm: float, units: LengthUnits) -> str:
    """A length that must not be too much, on the line of the ruler below it.

    Examples
    --------
    >>> rounded_down(12.5, "mm"), rounded_down(12.5, "in")
    ('12 mm', '3/8 in')
    """
    step = HAND_STEP_MM[units]
    return format_distance(step * np.floor(length_mm / step + 1e-6), units)


def run_length(run_mm: float, units: LengthUnits) -> str:
    """A run, no finer than anybody reads one.

    Examples
    --------
    >>> run_length(0.3, "mm"), run_length(0.3, "in"), run_length(9.14, "mm")
    ('under 1 mm', 'under 1/16 in', '9 mm')
    """
    least = {"mm": 1.0, "in": MM_PER_INCH / 16}[units]
    if run_mm < least:
        return f"under {format_distance(least, units)}"
    return format_distance(round(run_mm) if units == "mm" else run_mm, units)


def volume_words(volume_cm3: float, units: LengthUnits) -> str:
    """A volume of glaze, rounded up to two figures.

    Examples
    --------
    >>> volume_words(3.42, "mm"), volume_words(3.42, "in"), volume_words(0.004, "mm")
    ('3.5 cm³', '0.21 cu in', '0.1 cm³')
    """
    size = volume_cm3 if units == "mm" else volume_cm3 / (0.1 * MM_PER_INCH) ** 3
    step = {"mm": 0.1, "in": 0.01}[units] * (10.0 if volume_cm3 >= 10.0 else 1.0)
    shown = step * max(math.ceil(size / step - 1e-9), 1)
    return f"{shown:.3g} {'cm³' if units == 'mm' else 'cu in'}"


class Sentences(NamedTuple):
    """What to do with a piece, in a few sentences and as short as a line of the kiln sheet is.

    `room` is what could end lower on a safe one, and by how much: "clear by 12 mm".
    """

    advice: str
    brief: str
    room: str = ""


def sentences(answer: Answer, units: LengthUnits) -> list[Sentences]:
    """What to do with each piece."""
    return [_sentences(*parts, units) for parts in _by_piece(answer, units)]


def _sentences(piece: Any, changes: list[Any], outlook: Any, units: LengthUnits) -> Sentences:
    caught, briefly = (caught_words(piece, outlook, units, brief) for brief in (False, True))
    word = changes[0].advice
    if word == "none":
        if not outlook.spare_mm >= WORTH_TELLING_MM:
            return Sentences("Safe as planned.", "As planned.")
        spare = rounded_down(outlook.spare_mm, units)
        long = f"Safe as planned. {outlook.spare_glaze} could end {spare} lower and stay safe."
        return Sentences(long, "As planned.", f"{outlook.spare_glaze} by {spare}")
    if word == "change":
        long, short = (
            _capital(_joined([_step(change, units, brief) for change in changes]))
            for brief in (False, True)
        )
        return Sentences(
            f"{long}. Or fire it as planned {caught}.", f"{short}, or as planned {briefly}."
        )
    if word == "cookie":
        return Sentences(f"Fire it as planned {caught}.", f"As planned, {briefly}.")
    if word == "pedestal":
        return Sentences(
            f"Meant to run: set it on a pedestal {caught}.",
            f"Meant to run: pedestal {briefly}.",
        )
    past = volume_words(outlook.past_foot_cm3, units)
    return Sentences(
        f"Not on this pot: choose another glaze, or set it {caught}; up to {past} may run {PAST}.",
        f"Not on this pot: other glaze, or {briefly}.",
    )


def _by_piece(answer: Answer, units: LengthUnits) -> Iterator[tuple[Any, list[Any], Any]]:
    """Each piece with what is enough for it, and its outlook; layers told apart by name."""
    table, outlook = answer.changes(units), answer.outlook
    groups: list[list[Any]] = []
    whose = ["piece", "firing"]
    more = table.duplicated(whose).to_numpy()
    layers = answer.stacks.present.sum(axis=1)[(~more).cumsum() - 1]
    told = table.assign(
        glaze=_called(answer, table, "layer", "glaze"), top=table["layer"].to_numpy() == layers
    )
    for change, another in zip(rows_of(told), more, strict=True):
        if not another:
            groups.append([])
        groups[-1].append(change)
    outlook = outlook.assign(spare_glaze=_called(answer, outlook, "spare_layer", "spare_glaze"))
    yield from zip(rows_of(answer.pieces), groups, rows_of(outlook), strict=True)


def _called(answer: Answer, table: pd.DataFrame, layer: str, glaze: str) -> list[str]:
    """The glaze of each row, and its layer too where the piece has that glaze twice."""
    rows = zip(*(answer.layers[name] for name in ("piece", "firing", "glaze")), strict=True)
    times = Counter(rows)
    named = zip(*(table[name] for name in ("piece", "firing", glaze, layer)), strict=True)
    return [f"{row[2]} (layer {number})" if times[*row] > 1 else row[2] for *row, number in named]


def _step(change: Any, units: LengthUnits, brief: bool = False) -> str:
    if change.change in ("wax", "edge"):
        new, old = (format_distance(at, units) for at in (change.changed, change.planned))
        if change.change == "wax" or change.top:
            new += " or more"  # lower layers may come to lie bare where they are stopped too high
        instead = "" if brief else f" instead of {old}"
        if change.change == "wax":
            return f"wax {new}" if brief else f"leave the lowest {new} bare{instead}"
        return f"stop {change.glaze} {new} {'up' if brief else 'above the foot'}{instead}"
    if change.change == "coat":
        new, old = (f"{coats:.0f}" for coats in (change.changed, change.planned))
        fewer = change.planned - change.changed
        less = "one coat less" if fewer == 1 else f"{fewer:.0f} coats less"
        return f"{less} of {change.glaze} ({new}{'' if brief else f' instead of {old}'})"
    if units == "in" and change.changed < LEAST_INCH_COAT_MM - 1e-6:  # no ruler has that
        share = math.floor(100.0 * change.changed / change.planned)
        return f"put {change.glaze} on {share} % as thick{'' if brief else ' (dry) as planned'}"
    new, old = (format_coat(thick, units) for thick in (change.changed, change.planned))
    instead = "" if brief else f" (dry) instead of {old}"
    return f"put {change.glaze} on {new} thick{instead}"


def _joined(parts: Sequence[str]) -> str:
    """Some parts as one: "a", "a and b", "a, b and c"; edges before the rest."""
    ordered = sorted(parts, key=lambda part: not part.startswith("stop "))
    return " and ".join([", ".join(ordered[:-1]), ordered[-1]] if len(ordered) > 1 else ordered)


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def caught_words(piece: Any, outlook: Any, units: LengthUnits, brief: bool = False) -> str:
    """What a pot that is fired as planned stands on: "on a kiln-washed cookie 98 mm wide and 7 mm
    high".

    Parameters
    ----------
    piece, outlook
        Its rows of the tables of an answer.
    units : "mm" or "in"
    brief : bool
        As a line of the kiln sheet has it: "on a wide cookie 98 x 7 mm".
    """
    if piece.cookie == "none":
        return ""
    dish = piece.cookie == "dish"
    if outlook.catch == "stand" and dish:
        if brief:
            return "on props over a kiln-washed tray"
        high = rounded_up(piece.cookie_height_mm, units)
        return (
            f"on props at least {high} high over a kiln-washed tray or an old shelf, since no dish "
            "fits under it"
        )
    wide, high = (
        rounded_up(size, units) for size in (piece.cookie_diameter_mm, piece.cookie_height_mm)
    )
    washed = "" if brief else "kiln-washed "
    what = f"in a {washed}catch dish" if dish else f"on a {washed}{outlook.catch}"
    size = _size(wide, high, units) if brief else f"{wide} wide and {high}"
    return f"{what} {size}" if brief else f"{what} {size} {'deep' if dish else 'high'}"


def catch_words(piece: Any, units: LengthUnits) -> str:
    """What catches a piece fired as planned, short: "none", "needed: 98 x 7 mm"."""
    return "none" if piece.cookie == "none" else f"{piece.cookie}: {_catch_size(piece, units)}"


def _catch_size(piece: Any, units: LengthUnits) -> str:
    wide, high = (
        rounded_up(size, units) for size in (piece.cookie_diameter_mm, piece.cookie_height_mm)
    )
    return _size(wide, high, units)


def _size(wide: str, high: str, units: LengthUnits) -> str:
    size = f"{wide.removesuffix(f' {units}')} x {high}"
    return size.replace(" ", "\N{NO-BREAK SPACE}")  # half of it on a line would mislead


def wax_words(piece: Any, over: bool, units: LengthUnits, advised_mm: float = np.nan) -> str:
    """The bare band that is enough alone, wherever a hand ends: as planned for a safe piece.

    Where wax alone is advised it is that band, which may be wider, since a change has to save more
    than it costs.
    """
    if not over:
        return "as planned"
    if not np.isnan(advised_mm):
        return rounded_up(advised_mm, units)
    if np.isnan(piece.wax_height_mm):
        return OVER_A_THIRD
    return rounded_up(piece.wax_height_mm + 1e3 * HAND_M, units)


def catch_help(tolerance: float) -> str:
    """What the words for a cookie mean, to stand where they stand."""
    return (
        "A cookie is for a pot fired as planned, in place of the change; one changed as told needs "
        "none. Advised: its "
        f"risk is over {percent(tolerance)}. Needed: {percent(needed_from(tolerance))} or more. "
        "Dish: more may run than a cookie holds, or a glaze is meant to run. Kiln wash goes under "
        "and on each."
    )


def run_words(layer: Any, units: LengthUnits) -> tuple[str, str]:
    """How far a layer likely runs, and the range it stays in nine times in ten.

    The range is one length where both its ends read alike, and "up to" its high end where no
    ruler tells its low end from the likely run.
    """
    low, likely, high = (
        PAST if layer.risk > 1.0 - level else run_length(run, units)
        for run, level in zip(
            (layer.run_p05_mm, layer.run_p50_mm, layer.run_p95_mm), RUN_LEVELS, strict=True
        )
    )
    if low == high:
        return likely, low
    if low == likely == run_length(0.0, units):
        return likely, f"up to {high}"
    return likely, f"{low if high == PAST else low.removesuffix(f' {units}')} to {high}"


def run_sentence(layer: Any, units: LengthUnits) -> str:
    """A run and its range: "12 mm (4 mm to past the foot)", "under 1 mm, up to 5 mm"."""
    likely, spread = run_words(layer, units)
    if spread.startswith("up to"):
        return f"{likely}, {spread}"
    return likely if spread == likely else f"{likely} ({spread})"


def summary(answer: Answer, units: LengthUnits = "mm") -> pd.DataFrame:
    """What is enough, counted.

    Parameters
    ----------
    answer : Answer
    units : "mm" or "in"

    Returns
    -------
    DataFrame, one row a firing
        firing, pots, need_something, then how many are made safe by each of `COUNTED`, several
        changes at once being one of them, and summary, the same as a sentence.
    """
    changes = answer.changes(units)
    whose = ["piece", "firing"]
    again = changes.duplicated(whose).to_numpy()
    several = changes.duplicated(whose, keep=False).to_numpy()
    kind = np.select(
        [changes["advice"].isin(["dish", "pedestal"]), changes["advice"].eq("cookie"), several],
        ["dish", "cookie", "several"], changes["change"],
    )  # fmt: skip
    counted: dict[str, Counter[str]] = {}
    for firing, name in zip(changes["firing"].to_numpy()[~again], kind[~again], strict=True):
        counted.setdefault(firing, Counter())[name] += 1
    return pd.DataFrame([{"firing": firing, **counts(n)} for firing, n in counted.items()])


def counts(counted: Counter[str]) -> dict[str, Any]:
    """One row of `summary`, of pots counted by what is enough for them."""
    pots, need = counted.total(), sum(counted[name] for name in COUNTED)
    parts = ", ".join(f"{counted[name]} {COUNTED[name]}" for name in COUNTED if counted[name])
    told = f"{need} of {pots} {'needs' if need == 1 else 'need'} something: {parts}"
    if not need:
        told = f"none of {pots} needs anything" if pots > 1 else "nothing is needed"
    columns = {words.replace(" ", "_"): counted[name] for name, words in COUNTED.items()}
    return {"pots": pots, "need_something": need, **columns, "summary": told}
