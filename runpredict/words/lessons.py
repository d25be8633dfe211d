"""What to fire next as plain text for a terminal."""

from __future__ import annotations

import pandas as pd

from runpredict.answers.teach import NO_DOUBT, Lessons
from runpredict.tables.firings import firing_words
from runpredict.units import LengthUnits, format_coat, format_distance
from runpredict.words.advice import run_length
from runpredict.words.basis import CAUTION
from runpredict.words.plain import columns, paragraph

METHOD_WORDS = {"dip": "dipped", "pour": "poured", "brush": "brushed", "spray": "sprayed"}


def _points(chance: float) -> str:
    return f"{100 * chance:.1f}"


def lessons_text(lessons: Lessons, units: LengthUnits = "mm") -> str:
    """The tiles, what each takes from the doubt, how to lay it, and why."""
    table = lessons.lessons
    if table.empty:
        nothing = (
            "every risk is known as well as chance allows"
            if lessons.doubt < NO_DOUBT
            else "no tile's run would move any risk"
        )
        return f"Nothing to fire first: {nothing} ({lessons.pieces} planned pieces)."
    after = float(table["doubt_after"].iloc[-1])
    tiles = "this tile" if len(table) == 1 else f"these {len(table)} tiles"
    head = (
        f"{_points(lessons.doubt)} to {_points(after)} points of 100: how far the risk told of a "
        f"planned piece may be off, now and after {tiles} ({lessons.pieces} pieces), apart from "
        "what is left to chance. The most telling first; each counts with those above it."
    )
    rows = [
        [
            f"{_points(row['doubt_before'])} to {_points(row['doubt_after'])}",
            f"{row['name']}: {_laid(lessons.layers, row, units)} {why(row)}",
        ]
        for _, row in table.iterrows()
    ]
    last = (
        "Fire them before the pots they tell of. Measure each dry coat with a needle before that "
        "firing and each run with a ruler after it, and write both down: that is what teaches."
    )
    parts = [head, columns(["doubt", "what to fire, and why"], rows), last, CAUTION]
    return "\n\n".join(part if "\n" in part else paragraph(part) for part in parts)


def lessons_table(lessons: Lessons) -> pd.DataFrame:
    """The lessons, each with the sentence why."""
    table = lessons.lessons
    return table.assign(why=[why(row) for _, row in table.iterrows()])


def why(row: pd.Series) -> str:
    """What a tile tells, in a sentence.

    Parameters
    ----------
    row : Series
        Of `Lessons.lessons`.
    """
    count = int(row["pieces"])
    pots = f"{count} pot{'s' if count != 1 else ''}"
    glazes = row["glazes"].split(" + ")
    if len(glazes) == 1:
        return f"This tells you how low {glazes[0]} may come on {pots}."
    over = " over ".join(reversed(glazes))
    return f"This tells you how low {over} may come together on {pots}."


def _laid(layers: pd.DataFrame, row: pd.Series, units: LengthUnits) -> str:
    named = layers.loc[layers["piece"] == row["name"]]
    first = named.iloc[0]
    cone = first["witness_cone"] or first["cone"]
    heat = f"cone {cone}, {first['hold_min']:g} min hold" if cone else "its schedule"
    coats = "; then ".join(
        f"{layer['glaze']} {METHOD_WORDS[layer['method']]} in {layer['coats']} "
        f"coat{'s' if layer['coats'] > 1 else ''} to {format_coat(layer['thickness_mm'], units)} "
        f"dry, down to {format_distance(layer['lower_edge_mm'], units)}"
        for _, layer in named.iterrows()
    )
    run = run_length(row["run_p50_mm"], units)
    top = format_distance(first["upper_edge_mm"], units)
    return (
        f"upright tile glazed from {top} above its foot: {coats}. At the heat of "
        f"{firing_words(row['firing'])} ({heat}); told to run {run}."
    )
