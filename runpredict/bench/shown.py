"""An answer as the pages show it: the words and numbers of each pot, nothing worked out anew."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from runpredict.answers.check import Answer
from runpredict.answers.what_if import WhatIf, what_if
from runpredict.bench.lengths import written_length
from runpredict.bench.pictures import Gallery
from runpredict.pages.advice_words import (
    briefly,
    catch_words,
    rounded_up,
    run_words,
    summary,
    wax_words,
)
from runpredict.pages.piece import drawn_piece
from runpredict.pages.plain import percent
from runpredict.pages.sheet_text import shown_name
from runpredict.pages.told import told
from runpredict.pages.words import basis_short
from runpredict.units import LengthUnits, format_distance

TONES = ("fits", "near", "over")
"""How a chance is marked beside its words: within what is tolerated, over it, likely to pass."""
LIKELY = 0.5
TRIES = 5  # of each thing that could be changed, so many choices


@dataclass(frozen=True)
class LayerShown:
    """One layer in words."""

    number: int
    glaze: str
    risk: str
    ends: str
    run: str
    spread: str
    why: str


@dataclass(frozen=True)
class Try:
    """One thing that could be changed, and what the risk would be then."""

    fields: tuple[tuple[str, str], ...]
    label: str
    risk: str
    tone: str
    now: bool


@dataclass(frozen=True)
class Tries:
    """Choices for one thing that could be changed."""

    what: str
    choices: tuple[Try, ...]


@dataclass(frozen=True)
class PotShown:
    """One pot in words; `group` is a key of `GROUPS`."""

    piece: str
    firing: str
    risk: str
    chance: float
    verdict: str
    tone: str
    wax: str
    catch: str
    group: str
    brief: str
    advice: str
    blame: str
    basis: str
    side: str
    wall: str
    alt: str
    layers: tuple[LayerShown, ...]


GROUPS = {
    "dish": "Not on these pots: another glaze, or a catch dish",
    "pedestal": "Meant to run: pedestal and catch dish",
    "several": "More than one change",
    "cone": "A cone lower",
    "hold": "Shorten the hold",
    "coat": "One coat less",
    "thickness": "Put a layer on thinner",
    "edge": "Stop a layer higher",
    "wax": "Leave more foot bare",
    "none": "Load as planned",
}
"""What pots need, what is hardest to do first."""


def verdict(chance: float, tolerance: float) -> tuple[str, str]:
    """A chance in words, and its tone; the words are common practice, no source."""
    if chance <= tolerance:
        return "Should stay on the pot", "fits"
    if chance < LIKELY:
        return "Could run past the foot", "near"
    return "Likely to run past the foot", "over"


def pots_shown(answer: Answer, units: LengthUnits, gallery: Gallery) -> list[PotShown]:
    """Every pot of an answer in words, those that need most first."""
    layers, pieces = told(answer, units)
    of_piece: dict[Any, pd.DataFrame] = dict(tuple(layers.groupby(["firing", "piece"], sort=False)))
    groups, brief = _groups(answer, units), briefly(answer, units)
    shown = []
    for place, (_, row) in enumerate(pieces.iterrows()):
        mine = of_piece[row["firing"], row["piece"]].sort_values("layer")
        words = brief[place]
        shown.append(_pot(answer, place, row, mine, (groups[place], words), units, gallery))
    order = list(GROUPS)
    return sorted(shown, key=lambda pot: (order.index(pot.group), -pot.chance))


@dataclass(frozen=True)
class FiringPots:
    """One firing: what its pots need, counted, and each of them, that needs most first."""

    firing: str
    summary: str
    pots: tuple[PotShown, ...]


def firings_shown(answer: Answer, units: LengthUnits, gallery: Gallery) -> list[FiringPots]:
    """Every firing of an answer in words."""
    shown = pots_shown(answer, units, gallery)
    return [
        FiringPots(
            str(row.firing),
            str(row.summary),
            tuple(pot for pot in shown if pot.firing == row.firing),
        )
        for row in summary(answer, units).itertuples()
    ]


def _groups(answer: Answer, units: LengthUnits) -> list[str]:
    """The key of `GROUPS` of each piece."""
    advice = answer.advice(units)
    count = (advice.kind != "").sum(axis=1)
    single = np.where(count > 1, "several", advice.kind[:, 0])
    return [str(name) for name in np.where(advice.word == "change", single, advice.word)]


def _pot(
    answer: Answer,
    place: int,
    row: pd.Series,
    layers: pd.DataFrame,
    need: tuple[str, str],
    units: LengthUnits,
    gallery: Gallery,
) -> PotShown:
    chance = float(row["risk"])
    words, tone = verdict(chance, answer.tolerance)
    shown = tuple(_layer(layer, units) for _, layer in layers.iterrows())
    ends = "; ".join(
        f"{layer.glaze} put on down to {layer.ends}, likely to run {layer.run}" for layer in shown
    )
    side, wall = gallery.pot(drawn_piece(answer, place, units), units)
    blamed = shown[int(row["layer_to_blame"]) - 1]
    return PotShown(
        piece=str(row["piece"]),
        firing=str(row["firing"]),
        risk=percent(chance),
        chance=chance,
        verdict=words,
        tone=tone,
        wax=wax_words(row["wax_height_mm"], units),
        catch=catch_words(row, units),
        group=need[0],
        brief=need[1],
        advice=str(row["advice"]),
        blame=f"{blamed.glaze} (layer {blamed.number})",
        basis=basis_short(answer),
        side=side,
        wall=wall,
        alt=ends,
        layers=shown,
    )


def _layer(layer: pd.Series, units: LengthUnits) -> LayerShown:
    run, spread = run_words(layer, units)
    return LayerShown(
        number=int(layer["layer"]),
        glaze=shown_name(layer["glaze"]),
        risk=percent(layer["risk"]),
        ends=format_distance(layer["lower_edge_mm"], units),
        run=run,
        spread=spread,
        why=f"{layer['reason']}.",
    )


def tries_of(answer: Answer, units: LengthUnits) -> list[Tries]:
    """What else could be changed on the one pot of an answer, each choice with its risk."""
    found = what_if(answer, str(answer.pieces["piece"].iloc[0]))
    tolerance = answer.tolerance
    bands = _bands(answer, found, units)
    scheduled = answer.tables.scheduled(answer.pieces["firing"])[0]  # then no form changes it
    holds = [
        _try((("hold_min", f"{row.hold_min:g}"),), f"{row.hold_min:g} min", row.risk, tolerance)
        for row in _spread(found.by_hold, "hold_min", found.hold_min)
    ]
    parts = [Tries("Bare foot", tuple(bands))]
    if not scheduled:
        parts.append(Tries("Hold at the top", tuple(holds)))
    for layer, rows in found.by_coats.groupby("layer", sort=True):
        choices = [_coats_try(row, units, tolerance) for row in rows.itertuples()]
        name = shown_name(rows["glaze"].iloc[0])
        parts.insert(
            int(str(layer)), Tries(f"Coats of {name} (layer {layer})", tuple(choices[:TRIES]))
        )
    return parts


def _coats_try(row: Any, units: LengthUnits, tolerance: float) -> Try:
    thick = written_length(row.thickness_mm, units)
    fields = ((f"coats-{row.layer}", str(row.coats)), (f"thickness_mm-{row.layer}", thick))
    label = f"{row.coats} coat{'s' if row.coats > 1 else ''}{f', {thick} {units}' if thick else ''}"
    return _try(fields, label, row.risk, tolerance, row.planned)


def _bands(answer: Answer, found: WhatIf, units: LengthUnits) -> list[Try]:
    edges = answer.layers.sort_values("layer")["lower_edge_mm"].to_numpy(float)
    lowest = int(edges.argmin())
    tries = []
    for row in _spread(found.by_band, "band_mm", found.band_mm):
        label = rounded_up(row.band_mm, units)  # a little safer than the risk that is told
        text = label.removesuffix(f" {units}")
        fields = tuple(
            (f"lower_edge_mm-{k}", text)
            for k, edge in enumerate(edges, 1)
            if k == lowest + 1 or edge < row.band_mm
        )
        tries.append(_try(fields, label, row.risk, answer.tolerance))
    return tries


def _spread(table: pd.DataFrame, name: str, planned: float) -> list[Any]:
    """A few rows of a curve, from one end to the other, that are not what is planned."""
    at = np.linspace(0, len(table) - 1, TRIES).round().astype(int)
    rows = list(table.iloc[np.unique(at)].itertuples(index=False))
    return [row for row in rows if abs(getattr(row, name) - planned) > 0.25]


def _try(
    fields: tuple[tuple[str, str], ...],
    label: str,
    risk: float,
    tolerance: float,
    now: bool = False,
) -> Try:
    return Try(fields, label, percent(risk), verdict(risk, tolerance)[1], bool(now))
