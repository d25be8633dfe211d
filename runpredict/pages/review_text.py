"""A review as one screen of plain text: what ran, what surprised, what to change."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from runpredict.answers.review import Review
from runpredict.errors import printable
from runpredict.pages.plain import paragraph, percent
from runpredict.pages.review_tables import NO_TRUST, early_stops, review_tables, surprise_words
from runpredict.pages.words import CAUTION, not_tried
from runpredict.tables.firings import firing_words
from runpredict.units import LengthUnits, format_distance

FEW = 4  # lines of a kind; the tables have the rest


def review_text(
    review: Review, units: LengthUnits = "mm", long: bool = False, forgotten: str = ""
) -> str:
    """What a potter asks when she looks back.

    Parameters
    ----------
    review : Review
    units : "mm" or "in"
    long : bool
        With every table.
    forgotten : str
        A sentence on pots whose results were not written.

    Returns
    -------
    str
    """
    parts = [
        "\n".join([_ran(review), *_newest(review)]),
        paragraph(printable(forgotten)),
        "\n".join([paragraph(surprise_words(review)), *_bullets(_surprises(review, units))]),
        _listed("What to change", list(_changes(review, units))),
        _trust(review),
        review_tables(review, units) if long else "Every table: the same command with --long.",
        paragraph(CAUTION),
    ]
    return "\n\n".join(part for part in parts if part)


def _listed(head: str, lines: list[str]) -> str:
    if not lines:
        return f"{head}: nothing."
    return "\n".join([f"{head}:", *_bullets(lines)])


def _bullets(lines: Iterable[str]) -> list[str]:
    return [paragraph(f"- {printable(line)}") for line in lines]


def _ran(review: Review) -> str:
    past = review.past_foot
    pots = len(past.drop_duplicates(["firing", "piece"]))
    return paragraph(
        f"{len(past)} of {review.by_firing['layers'].sum()} logged layers ran past the foot, on "
        f"{pots} of {review.pieces} pieces in {review.firings} firings."
    )


def _newest(review: Review) -> Iterator[str]:
    """The layers past the foot of the newest firing, in a sentence."""
    newest = review.new_firings[-1]
    past = review.past_foot.loc[review.past_foot["firing"] == newest]
    named = [f"{row['piece']} ({row['glaze']})" for _, row in past.head(FEW).iterrows()]
    more = f" and {len(past) - FEW} more" if len(past) > FEW else ""
    what = f"past the foot: {', '.join(named)}{more}" if named else "nothing past the foot"
    yield paragraph(printable(f"In {firing_words(newest)}, the newest, {what}."))


def _surprises(review: Review, units: LengthUnits) -> Iterator[str]:
    for _, row in review.surprises.head(FEW).iterrows():
        did = "ran past the foot" if row["past_foot"] == "yes" else "stayed above the foot"
        if row["past_foot"] == "no" and not np.isnan(row["run_mm"]):
            did = f"ran {format_distance(row['run_mm'], units)}"
        slip = " Looks like a slip: check it." if row["slip"] == "yes" else ""
        yield (
            f"{row['piece']} in {firing_words(row['firing'])}: {row['glaze']} (layer "
            f"{row['layer']}) {did}, told {percent(row['risk'])}.{slip}"
        )
    if len(review.surprises) > FEW:
        yield f"{len(review.surprises) - FEW} more."


def _changes(review: Review, units: LengthUnits) -> Iterator[str]:
    newest = review.by_firing.iloc[-1]
    if newest["low"] > 1 or newest["high"] < 1:
        way = "hot" if newest["low"] > 1 else "cool"
        yield (
            f"{firing_words(newest['firing'])} was {way}: every glaze in it {newest['factor']:.2g} "
            "times as fluid as usual. Look at its cones."
        )
    by_glaze = review.by_glaze
    often = by_glaze.loc[by_glaze["past_foot"] > 1].head(2)
    for _, row in often.iterrows():
        yield (
            f"Stop {row['glaze']} higher or put it on thinner: {row['past_foot']} of "
            f"{row['layers']} layers ran past the foot."
        )
    pairs = review.by_pair.loc[review.by_pair["over"] != review.by_pair["under"]]
    sure = pairs.loc[pairs["low"] > 1].sort_values("than_either", ascending=False).head(2)
    for _, row in sure.iterrows():
        yield (
            f"Give {row['over']} over {row['under']} room: together {row['than_either']:.2g} times "
            "as fluid as the runnier of them alone."
        )
    for stop in early_stops(review, units)[:2]:
        yield (
            f"{stop.glaze} could end {stop.safe} above the foot; it ends {stop.used} up now. Put "
            f"there, {stop.held} stay within {percent(review.tolerance)} risk."
        )


def _trust(review: Review) -> str:
    if review.scores.empty:
        return paragraph(f"{NO_TRUST} {not_tried()}")
    known = review.predicted_seen["past_foot"] != ""
    told = review.predicted_seen.loc[known, "risk"].sum()
    held = (
        f"; {percent(review.interval_coverage)} of the measured runs lay in the range told"
        if not np.isnan(review.interval_coverage)
        else ""
    )
    return paragraph(
        f"Told before their firing was seen: {told:.1f} layers past the foot; "
        f"{len(review.past_foot)} were{held}."
    )
