"""The tables of a review as plain text for a terminal."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
import pandas as pd

from runpredict.answers.questions import WORTH_TELLING_MM
from runpredict.answers.review import UNLIKELY, Review
from runpredict.pages.advice_words import rounded_up, run_length
from runpredict.pages.plain import columns, paragraph, percent
from runpredict.pages.words import not_tried
from runpredict.tables.firings import firing_words
from runpredict.units import LengthUnits, format_distance

SHOWN_ROWS = 12
NO_TRUST = "How far to trust the tool here cannot be told yet."
TELLERS = {"rules": "the rules", "held back": "models that had not seen the firing"}
SCORE_WORDS = {
    "risk off by": "Risks told were off by {was} points of 100, and are by {now} now.",
    "runs in range": "Of the measured runs {was} % lay in the range told, and {now} % do now.",
}
EARLY_HEADINGS = ("down to", "glaze", "its lower edge now", "safe there")
LEAST_TOLD_STEP = 1.05  # a factor that moved less than this has not moved


def review_tables(review: Review, units: LengthUnits = "mm") -> str:
    """Every table of a review, the number that matters first.

    Parameters
    ----------
    review : Review
    units : "mm" or "in"

    Returns
    -------
    str
    """
    parts = [
        _past_foot(review, units),
        _surprises(review, units),
        _told_and_seen(review, units),
        _glazes(review),
        _pairs(review),
        _early_stops(review, units),
        _firings(review),
        _calibration(review),
        _changes(review),
    ]
    return "\n\n".join(part for part in parts if part)


def _table(
    headings: Sequence[str], rows: pd.DataFrame, line: Callable[[pd.Series], list[str]]
) -> str:
    """The first rows of a table, and how many more there are."""
    text = columns(headings, [line(row) for _, row in rows.head(SHOWN_ROWS).iterrows()])
    left = len(rows) - SHOWN_ROWS
    return text if left <= 0 else f"{text}\n... and {left} more; --out writes them all."


def _times(factor: float) -> str:
    if np.isinf(factor):
        return "from none"
    return f"{factor:.2g} x" if factor < 10 else f"{factor:.0f} x"


def _length(value_mm: float, units: LengthUnits) -> str:
    return "not measured" if np.isnan(value_mm) else run_length(value_mm, units)


def _past_foot(review: Review, units: LengthUnits) -> str:
    past = review.past_foot
    if past.empty:
        return ""

    def line(row: pd.Series) -> list[str]:
        glaze = f"{row['glaze']} (layer {row['layer']})"
        told = f"{percent(row['risk'])}, {run_length(row['run_p50_mm'], units)}"
        edge = format_distance(row["lower_edge_mm"], units)
        return [firing_words(row["firing"]), row["piece"], glaze, row["over"], edge, told]

    newest_first = past.iloc[::-1]
    headings = ["firing", "piece", "ran past the foot", "over", "lower edge", "risk and run told"]
    return f"Layers past the foot:\n\n{_table(headings, newest_first, line)}"


def _surprises(review: Review, units: LengthUnits) -> str:
    if review.surprises.empty:
        return ""

    def line(row: pd.Series) -> list[str]:
        told = f"{percent(row['risk'])}, {run_length(row['run_p50_mm'], units)}"
        did = "past the foot" if row["past_foot"] == "yes" else _length(row["run_mm"], units)
        check = "looks like a slip: check it" if row["slip"] == "yes" else ""
        glaze = f"{row['glaze']} (layer {row['layer']})"
        return [firing_words(row["firing"]), row["piece"], glaze, did, told, check]

    headings = ["firing", "piece", "layer", "ran", "risk and run told", ""]
    return f"{paragraph(surprise_words(review))}\n\n{_table(headings, review.surprises, line)}"


def surprise_words(review: Review) -> str:
    """How many results came as a surprise, and what that means."""
    odd = review.surprises
    known = int((review.predicted_seen["past_foot"] != "").sum())
    unlikely, slips = int((odd["told"] < UNLIKELY).sum()), int((odd["slip"] == "yes").sum())
    said = (
        f"{unlikely or 'None'} of {known} results came as a surprise: told to be less than "
        f"{percent(UNLIKELY)} likely."
    )
    if slips:
        said += f" {slips} {'look' if slips > 1 else 'looks'} like a slip of the pen."
    return said


def _told_and_seen(review: Review, units: LengthUnits) -> str:
    head = (
        f"Told against seen. The figures told come from {TELLERS[review.told_by]}: layers past "
        "the foot, and the mean run of the layers that were measured."
    )

    def line(name: str) -> Callable[[pd.Series], list[str]]:
        return lambda row: [
            str(row[name]) or "not named",
            str(row["layers"]),
            f"{row['past_foot']}",
            f"{row['expected']:.1f}",
            _length(row["run_mm"], units),
            _length(row["run_p50_mm"], units),
        ]

    parts = [paragraph(head)]
    for name, table in (("glaze", review.by_glaze), ("body", review.by_body)):
        headings = [name, "layers", "past foot", "told", "mean run", "told run"]
        parts.append(_table(headings, table, line(name)))
    return "\n\n".join(parts)


def _glazes(review: Review) -> str:
    found = review.effects.loc[review.effects["family"] == "glaze"]
    if found.empty:
        return "What each glaze does here cannot be told yet: the log taught nothing."
    jars = dict(zip(review.by_glaze["glaze"], review.by_glaze["jar"], strict=True))
    firm = found.loc[(found["low"] > 1) | (found["high"] < 1)]
    order = np.argsort(-np.abs(np.log(firm["factor"].to_numpy(dtype=float))), kind="stable")

    def line(row: pd.Series) -> list[str]:
        more = "more" if row["factor"] > 1 else "less"
        jar = jars.get(row["name"]) == "yes"
        against = "an ordinary glaze (a jar)" if jar else "its chemistry says"
        return [
            _times(row["run_factor"]),
            row["name"],
            f"{_times(row['factor'])} ({row['low']:.2g} to {row['high']:.2g})",
            str(row["rows"]),
            f"moves {more} than {against}",
        ]

    head = (
        f"{len(firm)} of {len(found)} glazes move more or less than their chemistry says, as far "
        "as can be told (9 chances in 10):"
        if len(firm)
        else f"None of {len(found)} glazes can yet be told from what its chemistry says."
    )
    if firm.empty:
        return head
    headings = ["ran", "glaze", "fluidity (9 in 10 within)", "layers", ""]
    return f"{head}\n\n{_table(headings, firm.iloc[order], line)}"


def _pairs(review: Review) -> str:
    pairs = review.by_pair.dropna(subset=["than_either"])
    pairs = pairs.loc[pairs["over"] != pairs["under"]]
    if pairs.empty:
        return ""
    worse = pairs.loc[pairs["low"] > 1].sort_values("than_either", ascending=False)
    perhaps = pairs.loc[(pairs["low"] <= 1) & (pairs["than_either"] > 1)]
    perhaps = perhaps.sort_values("than_either", ascending=False)

    def line(row: pd.Series) -> list[str]:
        sure = "surely" if row["low"] > 1 else "perhaps"
        return [
            _times(row["than_either"]),
            f"{row['over']} over {row['under']}",
            f"{row['low']:.2g} to {row['high']:.2g}",
            f"{row['past_foot']} of {row['layers']}",
            sure,
        ]

    head = (
        f"{len(worse)} of {len(pairs)} pairs are surely more fluid than either glaze alone, and "
        f"{len(perhaps)} perhaps; that comes on top of their being thicker."
    )
    both = pd.concat([worse, perhaps]) if len(perhaps) else worse
    head = paragraph(head)
    if both.empty:
        return head
    headings = ["fluidity", "pair", "9 in 10 within", "top past foot", ""]
    return f"{head}\n\n{_table(headings, both, line)}"


def _early_stops(review: Review, units: LengthUnits) -> str:
    stops = early_stops(review, units)
    risk = percent(review.tolerance)
    if not stops:
        return paragraph(
            f"Of no glaze that never ran past can it be said that it could end "
            f"{format_distance(WORTH_TELLING_MM, units)} or more lower on any pot like those "
            f"logged and stay within {risk} risk."
        )
    head = (
        f"{len(stops)} of the glazes that never ran past could end lower: put there, all else as "
        f"it was, so many of their logged pots stay within {risk} risk."
    )
    rows = [[stop.safe, stop.glaze, stop.used, stop.held] for stop in stops]
    return f"{paragraph(head)}\n\n{columns(EARLY_HEADINGS, rows)}"


class EarlyStop(NamedTuple):
    """A glaze that could end lower, in words: where its layers end now, how low, on which pots."""

    glaze: str
    used: str
    safe: str
    held: str


def early_stops(review: Review, units: LengthUnits) -> list[EarlyStop]:
    """Every glaze that could end lower, for whatever tells of it.

    Parameters
    ----------
    review : Review
    units : "mm" or "in"

    Returns
    -------
    list of EarlyStop
        The safe edge on the ruler's line at it or above it.
    """
    return [
        EarlyStop(
            str(row["glaze"]),
            format_distance(row["lower_edge_mm"], units),
            rounded_up(row["safe_edge_mm"], units),
            f"{row['held']} of {row['pieces']} pots",
        )
        for _, row in review.early_stops.iterrows()
    ]


def _firings(review: Review) -> str:
    firings = review.by_firing

    def line(row: pd.Series) -> list[str]:
        hot = (
            ""
            if np.isnan(row["factor"])
            else f"{_times(row['factor'])} ({row['low']:.2g} to {row['high']:.2g})"
        )
        named = firing_words(str(row["firing"]))
        past = f"{row['past_foot']} of {row['layers']}"
        return [named, str(row["pieces"]), past, f"{row['expected']:.1f}", hot]

    headings = ["firing", "pieces", "layers past foot", "told", "all glazes in it as fluid as"]
    return f"By firing, the newest first:\n\n{_table(headings, firings.iloc[::-1], line)}"


def _calibration(review: Review) -> str:
    if review.scores.empty:
        return paragraph(f"{NO_TRUST} {not_tried()}")
    scores = review.scores
    off = {name: f"{100 * np.sqrt(value):.0f}" for name, value in scores["brier"].items()}
    head = (
        f"On pieces of firings held back the risks told were off by {off['learned']} points of 100 "
        f"(root mean square); those of the rules alone by {off['rules']}, and saying the same of "
        f"every pot by {off['base rate']}."
    )
    if not np.isnan(review.interval_coverage):
        head += (
            f" The ranges told held {percent(review.interval_coverage)} of the measured runs; they "
            "should hold 90 %."
        )
    rows = [
        [percent(row["predicted"]), f"{row['seen'] * row['pieces']:.0f} of {row['pieces']:.0f}"]
        for _, row in review.reliability.iterrows()
    ]
    table = columns(["risk told", "ran past the foot"], rows)
    return f"{paragraph(head)}\n\n{table}"


def _changes(review: Review) -> str:
    changes = review.changes
    new = ", ".join(firing_words(name) for name in review.new_firings[:5])
    new += " and more" if len(review.new_firings) > 5 else ""
    if changes.empty:
        return f"What changed since last time cannot be told: the log holds only {new}."
    lines = [f"Since the log without {new}:"]
    told = changes.loc[changes["kind"] == "told of them"]
    for _, row in told.iterrows():
        lines.append(
            f"{row['now']:.0f} of its pieces ran past the foot; {row['before']:.1f} were told to, "
            "before they were seen."
        )
    for name, what in SCORE_WORDS.items():
        for _, row in changes.loc[changes["name"] == name].dropna().iterrows():
            was, now = (round(100 * row[side]) for side in ("before", "now"))
            lines.append(what.format(was=was, now=now))
    moves = changes.loc[~changes["kind"].isin(["told of them", "score"])]
    ratio = moves["now"] / moves["before"]
    moves = moves.loc[np.maximum(ratio, 1.0 / ratio) >= LEAST_TOLD_STEP]
    if moves.empty:
        lines.append("No glaze, pair, body or hand is seen otherwise than before.")
        return "\n".join(lines)

    def line(row: pd.Series) -> list[str]:
        named = f"{row['kind']} {row['name']}".strip()
        return [f"{_times(row['before'])} to {_times(row['now'])}", named]

    return "\n".join(lines) + "\n\n" + _table(["was and is", "fluidity of"], moves, line)
