"""An answer as the pages show it: the words and numbers of each pot, nothing worked out anew."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from runpredict.answers.check import Answer
from runpredict.answers.what_if import WhatIf, what_if
from runpredict.bench.lengths import rounded_up
from runpredict.bench.pictures import Gallery
from runpredict.pages.piece import drawn_piece
from runpredict.pages.plain import percent
from runpredict.pages.sheet_text import BASIS, shown_name
from runpredict.pages.told import told
from runpredict.pages.words import cookie_words, wax_words
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
    """One pot in words; `change` is the kind of `Answer.changes`."""

    piece: str
    firing: str
    risk: str
    chance: float
    verdict: str
    tone: str
    wax: str
    cookie: str
    needs: str
    change: str
    advice: str
    blame: str
    why: str
    basis: str
    picture: str
    alt: str
    layers: tuple[LayerShown, ...]
    rank: tuple[int, float]


def verdict(chance: float, tolerance: float) -> tuple[str, str]:
    """A chance in words, and its tone; the words are common practice, no source."""
    if chance <= tolerance:
        return "Should stay on the pot", "fits"
    if chance < LIKELY:
        return "Could run past the foot", "near"
    return "Will more likely than not run past the foot", "over"


_NEEDS = {
    "none": "Load as planned",
    "edge": "Stop a layer higher",
    "coat": "One coat less",
    "wax": "Leave more foot bare",
    "hold": "Shorten the hold",
    "cookie": "Set on a cookie, or plan anew",
}
_ORDER = ("cookie", "hold", "coat", "edge", "wax", "none")


def pots_shown(answer: Answer, units: LengthUnits, gallery: Gallery) -> list[PotShown]:
    """Every pot of an answer in words, those that need most first."""
    layers, pieces = told(answer, units)
    of_piece: dict[Any, pd.DataFrame] = dict(tuple(layers.groupby(["firing", "piece"], sort=False)))
    blamed = layers.iloc[answer.blamed].set_axis(pieces.index)
    changes = answer.changes["change"].tolist()
    shown = []
    for at, (_, row) in enumerate(pieces.iterrows()):
        mine = of_piece[row["firing"], row["piece"]]
        shown.append(_pot(answer, row, mine, blamed.iloc[at], changes[at], units, gallery))
    return sorted(shown, key=lambda pot: pot.rank)


def _pot(
    answer: Answer,
    row: pd.Series,
    layers: pd.DataFrame,
    blamed: pd.Series,
    change: str,
    units: LengthUnits,
    gallery: Gallery,
) -> PotShown:
    chance = float(row["risk"])
    words, tone = verdict(chance, answer.tolerance)
    shown = tuple(_layer(layer, units) for _, layer in layers.sort_values("layer").iterrows())
    ends = "; ".join(
        f"{layer.glaze} put on down to {layer.ends}, likely to run {layer.run}" for layer in shown
    )
    return PotShown(
        piece=str(row["piece"]),
        firing=str(row["firing"]),
        risk=percent(chance),
        chance=chance,
        verdict=words,
        tone=tone,
        wax=wax_words(row["wax_height_mm"], units),
        cookie=cookie_words(row, units),
        needs=_NEEDS.get(change, change),
        change=change,
        advice=str(row["advice"]),
        blame=f"{shown_name(blamed['glaze'])} (layer {blamed['layer']})",
        why=f"{blamed['reason']}.",
        basis=BASIS[str(blamed["basis"])],
        picture=gallery.pot(drawn_piece(answer, row), units),
        alt=f"The pot from the side and its wall laid straight: {ends}.",
        layers=shown,
        rank=(_ORDER.index(change) if change in _ORDER else 0, -chance),
    )


def _layer(layer: pd.Series, units: LengthUnits) -> LayerShown:
    low, run, high = (
        format_distance(layer[name], units) for name in ("run_p05_mm", "run_p50_mm", "run_p95_mm")
    )
    return LayerShown(
        number=int(layer["layer"]),
        glaze=shown_name(layer["glaze"]),
        risk=percent(layer["risk"]),
        ends=format_distance(layer["lower_edge_mm"], units),
        run=run,
        spread=f"{low} to {high}",
        why=f"{layer['reason']}.",
    )


def tries_of(answer: Answer, units: LengthUnits) -> list[Tries]:
    """What else could be changed on the one pot of an answer, each choice with its risk."""
    found = what_if(answer, str(answer.pieces["piece"].iloc[0]))
    tolerance = answer.tolerance
    bands = _bands(answer, found, units)
    holds = [
        _try((("hold_min", f"{row.hold_min:g}"),), f"{row.hold_min:g} min", row.risk, tolerance)
        for row in _spread(found.by_hold, "hold_min", found.hold_min)
    ]
    parts = [Tries("Bare foot", tuple(bands)), Tries("Hold at the top", tuple(holds))]
    for layer, rows in found.by_coats.groupby("layer", sort=True):
        choices = [_coats_try(row, tolerance) for row in rows.itertuples()]
        name = shown_name(rows["glaze"].iloc[0])
        parts.insert(
            int(str(layer)), Tries(f"Coats of {name} (layer {layer})", tuple(choices[:TRIES]))
        )
    return parts


def _coats_try(row: Any, tolerance: float) -> Try:
    fields = ((f"coats-{row.layer}", str(row.coats)), (f"thickness_mm-{row.layer}", ""))
    label = f"{row.coats} coat{'s' if row.coats > 1 else ''}"
    return _try(fields, label, row.risk, tolerance, row.planned)


def _bands(answer: Answer, found: WhatIf, units: LengthUnits) -> list[Try]:
    edges = answer.layers.sort_values("layer")["lower_edge_mm"].to_numpy(float)
    lowest = int(edges.argmin())
    tries = []
    for row in _spread(found.by_band, "band_mm", found.band_mm):
        text = rounded_up(row.band_mm, units)  # a little safer than the risk that is told
        fields = tuple(
            (f"lower_edge_mm-{k}", text)
            for k, edge in enumerate(edges, 1)
            if k == lowest + 1 or edge < row.band_mm
        )
        tries.append(_try(fields, f"{text} {units}", row.risk, answer.tolerance))
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
