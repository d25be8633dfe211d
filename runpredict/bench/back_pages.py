"""Look back: what ran, what was told, what each glaze does here, in words and pictures."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import pandas as pd
from flask import Blueprint, Response, render_template

from runpredict.answers.combinations import combinations_of
from runpredict.answers.review import Review
from runpredict.bench.load_pages import SHEET_POLICY
from runpredict.bench.session import open_studio, session, units
from runpredict.drawings.score_curves import (
    effects_figure,
    predicted_seen_figure,
    reliability_figure,
)
from runpredict.pages.combinations import combinations_html
from runpredict.units import LengthUnits
from runpredict.words.combinations import (
    HEADINGS,
    LEAD,
    NONE_YET,
    TITLE,
    combinations_in_words,
    not_known_lead,
)
from runpredict.words.review_tables import review_tables
from runpredict.words.reviews import review_lines

pages = Blueprint("back", __name__)


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
    return render_template(
        "back.html",
        parts=review_lines(found, units()),
        tables=review_tables(found, units()),
        pictures=_pictures(found, units()),
    )


@pages.get("/combinations")
def combinations() -> str:
    """How low each glaze and each pair may end: the page over the buckets."""
    found = combinations_in_words(_combinations(), units())
    return render_template(
        "combinations.html",
        title=TITLE,
        lead=LEAD,
        headings=HEADINGS,
        found=found,
        not_known=not_known_lead(),
        none_yet=NONE_YET,
    )


@pages.get("/combinations.html")
def combinations_sheet() -> Response:
    """The same to print."""
    page = combinations_html(_combinations(), units())
    response = Response(page, content_type="text/html; charset=utf-8")
    response.headers["Content-Security-Policy"] = SHEET_POLICY
    return response


def _combinations() -> pd.DataFrame:
    studio = open_studio()
    snapshot, taught = studio.snapshot(), studio.learner.taught
    marks = frozenset(snapshot.firing_marks.items())
    work = partial(combinations_of, snapshot.tables, taught.predictor, studio.tolerance)
    found: pd.DataFrame = studio.memo.get(studio.key(snapshot, "combinations", marks), work)
    return found


def _pictures(found: Review, read_in: LengthUnits) -> list[PictureShown]:
    hang = session().gallery.hang
    at = open_studio().learner.taught.at
    pictures = [
        PictureShown(
            "Runs as told, and as seen",
            hang(
                ("seen", at, read_in),
                partial(predicted_seen_figure, found.predicted_seen, read_in),
            ),
            "Each measured run against the run told for it, with its range.",
        )
    ]
    if len(found.reliability):
        pictures.append(
            PictureShown(
                "Chances as told, and how often it came so",
                hang(("kept", at), partial(reliability_figure, found.reliability)),
                "How often pots ran past the foot, against the chance that was told.",
            )
        )
    glazes = found.effects.loc[found.effects["family"] == "glaze"]
    if len(glazes):
        pictures.append(
            PictureShown(
                "What each glaze does here",
                hang(("glazes", at), partial(effects_figure, glazes)),
                "How much more or less each glaze flows than its chemistry says, with its range.",
            )
        )
    return pictures
