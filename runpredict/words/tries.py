"""What else could be changed on one pot, a few choices of each thing, in words."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import Any

import numpy as np
import pandas as pd

from runpredict.answers.check import Answer
from runpredict.answers.what_if import WhatIf
from runpredict.arrays import rows_of
from runpredict.units import LengthUnits, format_coat, format_distance
from runpredict.words.advice import rounded_up_mm
from runpredict.words.plain import shown_name
from runpredict.words.pots import risk_words, tone

TRIES = 5  # of each thing that could be changed, so many choices
LEAST_STEP = 0.25  # mm or min from what is planned, below which a choice is no other


@dataclass(frozen=True)
class Try:
    """One choice, and what the risk would be then.

    Attributes
    ----------
    amounts : tuple of (column, layer, amount)
        As the table of layers would have it; layer 0 is the whole pot, NaN a blank.
    now : bool
        Whether it is what is planned.
    """

    amounts: tuple[tuple[str, int, float], ...]
    label: str
    risk: str
    tone: str
    now: bool = False


@dataclass(frozen=True)
class Tries:
    """Choices for one thing that could be changed."""

    what: str
    choices: tuple[Try, ...]


def tries_in_words(answer: Answer, place: int, units: LengthUnits) -> list[Tries]:
    """What else could be changed on one pot: its bare foot, each layer's coats, the hold.

    Parameters
    ----------
    answer : Answer
    place : int
        The pot's row in the answer.
    units : "mm" or "in"

    Returns
    -------
    list of Tries
        Without the hold where a typed schedule sets it.
    """
    found = WhatIf(answer, place)
    of_pot, layer = answer.stacks.at
    rows_of_pot = np.flatnonzero(of_pot == place)
    in_order = rows_of_pot[layer[rows_of_pot].argsort()]
    edges_mm = answer.layers["lower_edge_mm"].to_numpy(float)[in_order]

    def choice(amounts: list[tuple[str, int, float]], label: str, risk: float, **now: bool) -> Try:
        return Try(
            tuple(amounts),
            label,
            risk_words(risk, answer.tolerance),
            tone(risk, answer.tolerance),
            **now,
        )

    row: Any
    bands = []
    for row in _few(found.by_band, "band_mm", found.band_mm):
        band_mm = rounded_up_mm(row.band_mm, units)  # a little safer than the risk that is told
        edges = [
            ("lower_edge_mm", k, band_mm)
            for k, edge_mm in enumerate(edges_mm, 1)
            if edge_mm < row.band_mm or k == edges_mm.argmin() + 1
        ]
        bands.append(choice(edges, format_distance(band_mm, units), row.risk))
    tries = [Tries("Bare foot", tuple(bands))]
    for layer, rows in groupby(rows_of(found.by_coats), key=lambda row: row.layer):
        counts: list[Any] = list(rows)[:TRIES]
        coats = [
            choice(
                [("coats", row.layer, row.coats), ("thickness_mm", row.layer, row.thickness_mm)],
                _coats(row, units), row.risk, now=bool(row.planned),
            )
            for row in counts
        ]  # fmt: skip
        name = shown_name(counts[0].glaze)
        tries.append(Tries(f"Coats of {name} (layer {layer})", tuple(coats)))
    if not answer.tables.scheduled(answer.pieces["firing"])[place]:
        holds = [
            choice([("hold_min", 0, row.hold_min)], f"{row.hold_min:g} min", row.risk)
            for row in _few(found.by_hold, "hold_min", found.hold_min)
        ]
        tries.append(Tries("Hold at the top", tuple(holds)))
    return tries


def _coats(row: Any, units: LengthUnits) -> str:
    thick = "" if np.isnan(row.thickness_mm) else f", {format_coat(row.thickness_mm, units)}"
    return f"{row.coats} coat{'s' if row.coats > 1 else ''}{thick}"


def _few(table: pd.DataFrame, name: str, planned: float) -> list[Any]:
    """A few rows of a curve, from one end to the other, that are not what is planned."""
    at = np.linspace(0, len(table) - 1, TRIES).round().astype(int)
    few = np.zeros(len(table), dtype=bool)
    few[at] = True
    few &= np.abs(table[name].to_numpy() - planned) > LEAST_STEP
    return list(rows_of(table[few]))
