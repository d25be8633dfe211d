"""Look back: what ran, what was told, what each glaze does here, in words and pictures."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from flask import Blueprint, render_template

from runpredict.answers.review import Review
from runpredict.bench.desk import desk, open_studio, units
from runpredict.pages.plain import percent
from runpredict.pages.review_tables import TELLERS, early_stops, surprise_words
from runpredict.pages.score_curves import (
    effects_figure,
    predicted_seen_figure,
    reliability_figure,
)
from runpredict.pages.words import not_tried
from runpredict.tables.firings import firing_words
from runpredict.units import LengthUnits, format_distance

pages = Blueprint("back", __name__)

SHOWN_ROWS = 8


@dataclass(frozen=True)
class PictureShown:
    """A picture with its name and what it shows."""

    title: str
    name: str
    alt: str


@pages.get("/back")
def review() -> str:
    """The first screen of a review, and its pictures."""
    open_studio().snapshot()  # a logbook that is gone is told here as on every page
    learner = open_studio().learner
    found = learner.taught.review
    if found is None:
        return render_template("back_empty.html", failed=learner.failed)
    past = found.past_foot.iloc[::-1]
    return render_template(
        "back.html",
        review=found,
        lines=_lines(found),
        past=[_past(row, units()) for _, row in past.head(SHOWN_ROWS).iterrows()],
        past_left=max(0, len(past) - SHOWN_ROWS),
        movers=_movers(found),
        early=early_stops(found, units())[:SHOWN_ROWS],
        firings=_firings(found),
        pictures=_pictures(found, units()),
        percent=percent,
    )


def _lines(found: Review) -> list[str]:
    """What a potter asks first."""
    past = found.past_foot
    pots = len(past.drop_duplicates(["firing", "piece"]))
    told = found.predicted_seen["risk"].where(found.predicted_seen["past_foot"].ne(""))
    lines = [
        f"{pots} of {found.pieces} pots ran past the foot, in {found.firings} firings.",
        f"{len(past)} layers ran past; {told.sum():.0f} were told to, by {TELLERS[found.told_by]}.",
        surprise_words(found),
    ]
    if found.scores.empty:
        lines.append(not_tried())
    if not np.isnan(found.interval_coverage):
        lines.append(
            f"{percent(found.interval_coverage)} of the runs you measured lay within the range "
            "told; 90 % should."
        )
    return lines


def _past(row: pd.Series, read_in: LengthUnits) -> tuple[str, ...]:
    return (
        str(row["piece"]),
        firing_words(str(row["firing"])),
        f"{row['glaze']} over {row['over']}",
        format_distance(row["lower_edge_mm"], read_in),
        percent(row["risk"]),
    )


def _movers(found: Review) -> list[tuple[str, str, str]]:
    """Glazes that surely move more or less than their chemistry says: name, how, layers."""
    glazes = found.effects.loc[found.effects["family"] == "glaze"]
    firm = glazes.loc[(glazes["low"] > 1) | (glazes["high"] < 1)]
    order = np.argsort(-np.abs(np.log(firm["factor"].to_numpy(dtype=float))), kind="stable")
    return [
        (
            str(row["name"]),
            "runs more than its chemistry says"
            if row["factor"] > 1
            else "runs less than its chemistry says",
            str(row["rows"]),
        )
        for _, row in firm.iloc[order].head(SHOWN_ROWS).iterrows()
    ]


def _firings(found: Review) -> list[tuple[str, str, str, str]]:
    """Name, pots, layers that passed, and as many as were told to; the newest first."""
    return [
        (
            firing_words(str(row["firing"])),
            str(row["pieces"]),
            f"{row['past_foot']} of {row['layers']}",
            f"{row['expected']:.1f}",
        )
        for _, row in found.by_firing.iloc[::-1].head(SHOWN_ROWS).iterrows()
    ]


def _pictures(found: Review, read_in: LengthUnits) -> list[PictureShown]:
    hang = desk().gallery.hang
    at = open_studio().learner.taught.at
    pictures = [
        PictureShown(
            "Runs as told, and as seen",
            hang(
                ("seen", at, read_in), lambda: predicted_seen_figure(found.predicted_seen, read_in)
            ),
            "Each measured run against the run told for it, with its range.",
        )
    ]
    if len(found.reliability):
        pictures.append(
            PictureShown(
                "Chances as told, and how often it came so",
                hang(("kept", at), lambda: reliability_figure(found.reliability)),
                "How often pots ran past the foot, against the chance that was told.",
            )
        )
    glazes = found.effects.loc[found.effects["family"] == "glaze"]
    if len(glazes):
        pictures.append(
            PictureShown(
                "What each glaze does here",
                hang(("glazes", at), lambda: effects_figure(glazes)),
                "How much more or less each glaze flows than its chemistry says, with its range.",
            )
        )
    return pictures
