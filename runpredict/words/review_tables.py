"""What a review found, in tables of words."""

from __future__ import annotations

from calendar import month_name
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from runpredict.answers.combinations import LEAST_PIECES
from runpredict.answers.moves import HAND_M
from runpredict.answers.questions import WORTH_TELLING_MM
from runpredict.answers.review import Review
from runpredict.arrays import rows_of
from runpredict.tables.firings import firing_words
from runpredict.units import LengthUnits, format_distance
from runpredict.words.advice import rounded_up, run_length
from runpredict.words.basis import not_tried
from runpredict.words.plain import percent

SHOWN_ROWS = 12
NO_TRUST = "How far to trust the tool here cannot be told yet."
LEAST_TOLD_STEP = 1.05  # a factor that moved less than this has not moved
SCORE_WORDS = {
    "risk off by": "Risks told were off by {was} points of 100, and are by {now} now.",
    "runs in range": "Of the measured runs {was} % lay in the range told, and {now} % do now.",
}


@dataclass(frozen=True)
class TableWords:
    """A table in words; one without rows is its lead alone.

    Attributes
    ----------
    title, lead : str
        What it is of, and a sentence or two, "" for none.
    left : int
        Rows that are not told.
    """

    title: str
    lead: str = ""
    headings: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    left: int = 0


def coverage(review: Review) -> str:
    """How many of the measured runs lay in the range told for them."""
    return (
        f"{percent(review.interval_coverage)} of the measured runs lay in the range told; 90 % "
        "should."
    )


def review_tables(review: Review, units: LengthUnits = "mm") -> list[TableWords]:
    """Every table of a review, the number that matters first."""
    tables = (
        _past_foot(review, units),
        _surprise_table(review, units),
        _told_and_seen("glaze", review.by_glaze, units),
        _told_and_seen("body", review.by_body, units),
        _glazes(review),
        _pairs(review),
        _combinations(review, units),
        _months(review),
        _firings(review),
        _calibration(review),
        _since(review),
    )
    return [table for table in tables if table.rows or table.lead]


def _table(
    title: str,
    lead: str,
    headings: Sequence[str],
    rows: pd.DataFrame,
    line: Callable[[pd.Series], tuple[str, ...]],
) -> TableWords:
    """The first rows of a table in words."""
    cells = tuple(line(row) for _, row in rows.head(SHOWN_ROWS).iterrows())
    return TableWords(title, lead, tuple(headings), cells, max(len(rows) - SHOWN_ROWS, 0))


def _times(factor: float) -> str:
    if np.isinf(factor):
        return "from none"
    return f"{factor:.2g} x" if factor < 10 else f"{factor:.0f} x"


def _within(row: pd.Series, name: str = "factor") -> str:
    if np.isnan(row[name]):
        return ""
    return f"{_times(row[name])} ({row['low']:.2g} to {row['high']:.2g})"


def _length(value_mm: float, units: LengthUnits) -> str:
    return "not measured" if np.isnan(value_mm) else run_length(value_mm, units)


def layer(row: pd.Series) -> str:
    """A layer by its number and glaze."""
    return f"{row['glaze']} (layer {row['layer']})"


def _told(row: pd.Series, units: LengthUnits) -> str:
    return f"{percent(row['risk'])}, {run_length(row['run_p50_mm'], units)}"


def _past_foot(review: Review, units: LengthUnits) -> TableWords:
    def line(row: pd.Series) -> tuple[str, ...]:
        carried = "" if row["to_blame"] == row["glaze"] else f", carried by {row['to_blame']}"
        edge = format_distance(row["lower_edge_mm"], units)
        return (row["piece"], firing_words(row["firing"]), f"{layer(row)}{carried}", row["over"],
                edge, _told(row, units))  # fmt: skip

    headings = ("piece", "firing", "ran past the foot", "over", "lower edge", "risk and run told")
    newest_first = review.past_foot.iloc[::-1]
    return _table("Layers past the foot, the newest first", "", headings, newest_first, line)


def _surprise_table(review: Review, units: LengthUnits) -> TableWords:
    def line(row: pd.Series) -> tuple[str, ...]:
        did = "past the foot" if row["past_foot"] == "yes" else _length(row["run_mm"], units)
        check = "looks like a slip: check it" if row["slip"] == "yes" else ""
        return (row["piece"], firing_words(row["firing"]), layer(row), did, _told(row, units),
                check)  # fmt: skip

    headings = ("piece", "firing", "layer", "ran", "risk and run told", "")
    return _table("Surprises", "", headings, review.surprises, line)


def _told_and_seen(name: str, table: pd.DataFrame, units: LengthUnits) -> TableWords:
    def line(row: pd.Series) -> tuple[str, ...]:
        return (
            str(row[name]) or "not named",
            str(row["layers"]),
            f"{row['past_foot']}",
            f"{row['expected']:.1f}",
            _length(row["run_mm"], units),
            _length(row["run_p50_mm"], units),
        )

    lead = "Layers past the foot, and the mean run of the layers that were measured."
    headings = (name, "layers", "past foot", "told", "mean run", "told run")
    return _table(f"Told against seen, by {name}", lead, headings, table, line)


def firm_effects(effects: pd.DataFrame) -> pd.DataFrame:
    """Effects that are other than none (9 chances in 10), the strongest first."""
    firm = effects.loc[(effects["low"] > 1) | (effects["high"] < 1)]
    order = np.argsort(-np.abs(np.log(firm["factor"].to_numpy(dtype=float))), kind="stable")
    return firm.iloc[order]


def _glazes(review: Review) -> TableWords:
    title = "Against their chemistry"
    effects = review.effects.loc[review.effects["family"] == "glaze"]
    if effects.empty:
        lead = "What each glaze does here cannot be told yet: the log taught nothing."
        return TableWords(title, lead)
    firm = firm_effects(effects)
    if firm.empty:
        lead = f"None of {len(effects)} glazes can yet be told from what its chemistry says."
        return TableWords(title, lead)
    jars = dict(zip(review.by_glaze["glaze"], review.by_glaze["jar"], strict=True))

    def line(row: pd.Series) -> tuple[str, ...]:
        more = "more" if row["factor"] > 1 else "less"
        jar = jars.get(row["name"]) == "yes"
        against = "an ordinary glaze (a jar)" if jar else "its chemistry says"
        return (_times(row["run_factor"]), row["name"], _within(row), str(row["rows"]),
                f"moves {more} than {against}")  # fmt: skip

    lead = (
        f"{len(firm)} of {len(effects)} glazes move more or less than their chemistry says, as far "
        "as can be told (9 chances in 10):"
    )
    headings = ("ran", "glaze", "fluidity (9 in 10 within)", "layers", "")
    return _table(title, lead, headings, firm, line)


def pairs_apart(review: Review) -> pd.DataFrame:
    """Pairs of two glazes that may be more fluid than either: the sure ones first."""
    pairs = review.by_pair.dropna(subset=["than_either"])
    pairs = pairs.loc[(pairs["over"] != pairs["under"]) & (pairs["than_either"] > 1)]
    return pairs.assign(sure=pairs["low"] > 1).sort_values(
        ["sure", "than_either"], ascending=False, kind="stable"
    )


def _pairs(review: Review) -> TableWords:
    pairs = review.by_pair.dropna(subset=["than_either"])
    count = int((pairs["over"] != pairs["under"]).sum())
    if not count:
        return TableWords("Pairs")
    apart = pairs_apart(review)
    sure = int(apart["sure"].sum())

    def line(row: pd.Series) -> tuple[str, ...]:
        return (_within(row, "than_either"), f"{row['over']} over {row['under']}",
                f"{row['past_foot']} of {row['layers']}",
                "surely" if row["sure"] else "perhaps")  # fmt: skip

    lead = (
        f"{sure} of {count} pairs are surely more fluid than either glaze alone, and "
        f"{len(apart) - sure} perhaps; that comes on top of their being thicker."
    )
    headings = ("fluidity (9 in 10 within)", "pair", "top past foot", "")
    return _table("Pairs", lead, headings, apart, line)


class CombinationChange(NamedTuple):
    """A combination that is to end elsewhere, in words, under `CHANGE_HEADINGS`."""

    name: str
    do: str
    now: str
    came: str


CHANGE_HEADINGS = ("what", "do", "ends now", "ran past")


def combination_changes(
    review: Review, units: LengthUnits
) -> tuple[list[CombinationChange], list[CombinationChange]]:
    """The combinations to change, as they are mostly put on, from the page over the buckets.

    Returns
    -------
    safer, lower : lists of CombinationChange
        Those that run past or would, most often past first; those that never did and could end
        `WORTH_TELLING_MM` lower.
    """
    rows = review.combinations
    rows = rows.loc[rows["coats"] == rows["usual_coats"].round().clip(1, 2)]
    rows = rows.assign(spare=rows["usual_edge_mm"] - rows["lowest_edge_mm"])
    safer, lower = [], []
    for row in rows_of(rows.sort_values("past", ascending=False, kind="stable")):
        change, is_safer = _change(row, units)
        if is_safer:
            safer.append(change)
        elif change.do:
            lower.append(change)
    return safer, lower


def _change(row: Any, units: LengthUnits) -> tuple[CombinationChange, bool]:
    """What to do about a combination, "" for nothing, and whether that makes it safer."""
    at = "" if np.isnan(row.lowest_edge_mm) else rounded_up(row.lowest_edge_mm, units)
    least_short = 0.0 if row.past else -1e3 * HAND_M  # what a hand may be off is no change
    safer = {
        "not again": "not again",
        "cookie": "on a cookie",
        "not known": f"on a cookie until {LEAST_PIECES} are fired" if row.past else "",
    }.get(row.word, f"stop at {at} or more" if row.spare < least_short else "")
    if not np.isnan(row.rest_mm):
        safer = f"stop all else on it at {rounded_up(row.rest_mm, units)} or more"
    spare = not row.past and row.spare >= WORTH_TELLING_MM
    name = f"{row.over} over {row.under}" if row.under else str(row.over)
    change = CombinationChange(
        f"{name}, {row.coats} coat{'s' if row.coats > 1 else ''}",
        safer or (f"could end at {at}" if spare else ""),
        format_distance(row.usual_edge_mm, units),
        f"{row.past} of {row.fired}",
    )
    return change, bool(safer)


def _combinations(review: Review, units: LengthUnits) -> TableWords:
    rows = tuple(tuple(row) for some in combination_changes(review, units) for row in some)
    lead = (
        f"As low as 95 in 100 of their fired pots stay within {percent(review.tolerance)} risk; "
        "runpredict combinations has the others, and each with another coat."
    )
    return TableWords("Combinations to change", lead, CHANGE_HEADINGS, rows)


def _months(review: Review) -> TableWords:
    def line(row: pd.Series) -> tuple[str, ...]:
        counts = (row["pots"], row["past_foot"], f"{row['expected']:.1f}", row["lost"])
        return (month_words(row["month"]), *map(str, counts), str(row["on_cookie"] or "-"))

    headings = ("month", "pots", "past the foot", "told", "lost otherwise", "on cookies")
    return _table("By month, the newest first", "", headings, review.by_month.iloc[::-1], line)


def month_words(month: str) -> str:
    """A month as a potter reads it.

    Examples
    --------
    >>> month_words("2026-03"), month_words("")
    ('March 2026', 'no date')
    """
    return f"{month_name[int(month[5:])]} {month[:4]}" if month else "no date"


def _firings(review: Review) -> TableWords:
    def line(row: pd.Series) -> tuple[str, ...]:
        past = f"{row['past_foot']} of {row['layers']}"
        return (firing_words(str(row["firing"])), str(row["pieces"]), past,
                f"{row['expected']:.1f}", _within(row))  # fmt: skip

    headings = ("firing", "pieces", "layers past foot", "told", "all glazes in it as fluid as")
    newest_first = review.by_firing.iloc[::-1]
    return _table("By firing, the newest first", "", headings, newest_first, line)


def _calibration(review: Review) -> TableWords:
    title, scores = "How well it was told", review.scores
    if scores.empty:
        return TableWords(title, f"{NO_TRUST} {not_tried()}")
    off = {name: f"{100 * np.sqrt(value):.0f}" for name, value in scores["brier"].items()}
    lead = (
        f"On pieces of firings held back the risks told were off by {off['learned']} points of 100 "
        f"(root mean square); those of the rules alone by {off['rules']}, and saying the same of "
        f"every pot by {off['base rate']}."
    )
    if not np.isnan(review.interval_coverage):
        lead += f" {coverage(review)}"

    def line(row: pd.Series) -> tuple[str, ...]:
        seen = f"{row['seen'] * row['pieces']:.0f} of {row['pieces']:.0f}"
        return percent(row["predicted"]), seen

    headings = ("risk told", "ran past the foot")
    return _table(title, lead, headings, review.reliability, line)


def _since(review: Review) -> TableWords:
    title, changes = "What changed", review.changes
    new = ", ".join(firing_words(name) for name in review.new_firings[:5])
    new += " and more" if len(review.new_firings) > 5 else ""
    if changes.empty:
        lead = f"Since last time it cannot be told: the log holds only {new}."
        return TableWords(title, lead)
    sentences = [
        f"{row['now']:.0f} of its pieces ran past the foot; {row['before']:.1f} were told to, "
        "before they were seen."
        for _, row in changes.loc[changes["kind"] == "told of them"].iterrows()
    ]
    for name, what in SCORE_WORDS.items():
        for _, row in changes.loc[changes["name"] == name].dropna().iterrows():
            was, now = (round(100 * row[side]) for side in ("before", "now"))
            sentences.append(what.format(was=was, now=now))
    moves = changes.loc[~changes["kind"].isin(["told of them", "score"])]
    ratio = moves["now"] / moves["before"]
    moves = moves.loc[np.maximum(ratio, 1.0 / ratio) >= LEAST_TOLD_STEP]
    if moves.empty:
        sentences.append("No glaze, pair, body or hand is seen otherwise than before.")

    def line(row: pd.Series) -> tuple[str, ...]:
        moved = f"{_times(row['before'])} to {_times(row['now'])}"
        return moved, f"{row['kind']} {row['name']}".strip()

    lead = " ".join([f"Since the log without {new}:", *sentences])
    return _table(title, lead, ("was and is", "fluidity of"), moves, line)
