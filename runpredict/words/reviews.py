"""A review in words: one list of lines and one of tables, printed or shown on the page."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from runpredict.answers.review import UNLIKELY, Review
from runpredict.errors import printable, quoted
from runpredict.tables.firings import firing_words
from runpredict.units import LengthUnits, format_distance
from runpredict.words.basis import CAUTION, not_tried
from runpredict.words.plain import columns, paragraph, percent
from runpredict.words.review_tables import (
    NO_TRUST,
    TableWords,
    combination_changes,
    coverage,
    firm_effects,
    layer,
    month_words,
    review_tables,
)

TAUGHT_LEAD = "What batches, kilns, shelves and hands taught (range of 9 chances in 10)"
TAUGHT = {
    "which kiln": "{name}: in this kiln glaze runs {times} as far as in the others",
    "shelf": "{name}: on this shelf glaze runs {times} as far as on the others",
    "spot": "{name}: in this spot glaze runs {times} as far as in the others",
    "heat": "{name} fires {heat} than planned: glaze is {times} as fluid",
    "glazed by": "{name}: coats by this hand are {times} as thick as the others'",
    "coat": "{name}: its dips lie {times} as thick as slip and seconds say",
}
"""What is said of an effect, by its family."""
RUNS = ("which kiln", "shelf", "spot")  # told by the runs; the others by their factor
MOST_TAUGHT = 8
FEW, FEW_LOWER, MONTHS = 4, 2, 6  # lines of a kind; the tables have the rest
TELLERS = {"rules": "the rules", "held back": "models that had not seen the firing"}


@dataclass(frozen=True)
class Lines:
    """A sentence or two, and what belongs below them, a line each."""

    lead: str
    lines: tuple[str, ...] = ()


def review_text(
    review: Review, units: LengthUnits = "mm", long: bool = False, forgotten: str = ""
) -> str:
    """A review as plain text, one screen of it, or with every table.

    Parameters
    ----------
    review : Review
    units : "mm" or "in"
    long : bool
        With every table.
    forgotten : str
        A sentence on pots whose results were not written.
    """
    first, *more = review_lines(review, units)
    parts = [_lines_text(first), paragraph(printable(forgotten)), *map(_lines_text, more)]
    if long:
        parts += map(_table_text, review_tables(review, units))
    else:
        parts.append("Every table: the same command with --long.")
    return "\n\n".join(part for part in (*parts, paragraph(CAUTION)) if part)


def _lines_text(part: Lines) -> str:
    return "\n".join(paragraph(printable(line)) for line in (part.lead, *_bullets(part.lines)))


def _bullets(lines: Iterable[str]) -> Iterator[str]:
    return (f"- {line}" for line in lines)


def _table_text(table: TableWords) -> str:
    lead = f"{table.title}. {table.lead}" if table.lead else f"{table.title}:"
    parts = [paragraph(printable(lead))]
    if table.rows:
        rows = [[printable(cell) for cell in row] for row in table.rows]
        parts.append(columns(table.headings, rows))
    text = "\n\n".join(parts)
    return f"{text}\n... and {table.left} more; --out writes them all." if table.left else text


def review_lines(review: Review, units: LengthUnits) -> list[Lines]:
    """What a potter asks when she looks back: what ran, what surprised, what to change."""
    changes, taught = tuple(_changes(review, units)), tuple(_taught(review))
    return [
        Lines(f"{_ran(review)} {_newest(review)}", tuple(_why(review))),
        Lines(surprise_words(review), tuple(_surprises(review, units))),
        Lines("What to change:" if changes else "What to change: nothing.", changes),
        *([Lines(f"{TAUGHT_LEAD}:", taught)] if taught else []),
        Lines(_since_last_season(review), tuple(_by_month(review))),
        Lines(_trust(review)),
    ]


def _ran(review: Review) -> str:
    past = review.past_foot
    pots = len(past.drop_duplicates(["firing", "piece"]))
    lost = int(review.by_month["lost"].sum())
    return (
        f"{len(past)} of {review.by_firing['layers'].sum()} logged layers ran past the foot, on "
        f"{pots} of {review.pieces} pieces in {review.firings} "
        f"firing{'s' if review.firings != 1 else ''}."
        + f" {lost} {'was' if lost == 1 else 'were'} lost otherwise."
        * bool(lost)
    )


def _newest(review: Review) -> str:
    """The layers past the foot of the newest firing."""
    newest = review.new_firings[-1]
    past = review.past_foot.loc[review.past_foot["firing"] == newest]
    named = [f"{row['piece']} ({row['glaze']})" for _, row in past.head(FEW).iterrows()]
    more = f" and {len(past) - FEW} more" if len(past) > FEW else ""
    what = f"past the foot: {', '.join(named)}{more}" if named else "nothing past the foot"
    return f"In {_firing(newest)}, the newest, {what}."


def _firing(key: str) -> str:
    """A firing within a sentence."""
    return firing_words(key) if key.strip() else "the firing without a name"


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


def _surprises(review: Review, units: LengthUnits) -> Iterator[str]:
    for _, row in review.surprises.head(FEW).iterrows():
        did = "ran past the foot" if row["past_foot"] == "yes" else "stayed above the foot"
        if row["past_foot"] == "no" and not np.isnan(row["run_mm"]):
            did = f"ran {format_distance(row['run_mm'], units)}"
        slip = " Looks like a slip: check it." if row["slip"] == "yes" else ""
        yield (
            f"{row['piece']} in {_firing(row['firing'])}: {layer(row)} {did}, told "
            f"{percent(row['risk'])}.{slip}"
        )
    if len(review.surprises) > FEW:
        yield f"{len(review.surprises) - FEW} more."


def _why(review: Review) -> Iterator[str]:
    """Why glaze ran past the foot: a firing that was hot, and the glazes that carried it."""
    newest = review.by_firing.iloc[-1]
    if newest["low"] > 1 or newest["high"] < 1:
        way = "hot" if newest["low"] > 1 else "cool"
        yield (
            f"{firing_words(newest['firing'])} was {way}: every glaze in it {newest['factor']:.2g} "
            "times as fluid as usual. Look at its cones."
        )
    by_glaze = review.by_glaze.sort_values("to_blame", ascending=False, kind="stable")
    for _, row in by_glaze.loc[by_glaze["to_blame"] > 0].head(FEW).iterrows():
        carried = row["past_foot"] - row["to_blame"]
        besides = f", besides {carried} that another glaze carried" if carried else ""
        yield (
            f"{row['glaze']}: {row['to_blame']} of {row['layers']} layers ran past the "
            f"foot{besides}."
        )


def _changes(review: Review, units: LengthUnits) -> Iterator[str]:
    """Which combinations to change; the page over the buckets and the table have the others."""
    safer, lower = combination_changes(review, units)
    for row in (*safer[:FEW], *lower[:FEW_LOWER]):
        yield f"{row.name}: {row.do}; it ends {row.now} up now, {row.came} ran past."


def _taught(review: Review) -> Iterator[str]:
    """What is unlike the others, as far as the range of 9 chances in 10 says so."""
    lines = [
        f"{row['glaze']}: since the batch {quoted(row['batch'])} it runs {_times(row, 'run_')} as "
        f"far {_range(row, 'run_')}."
        for _, row in firm_effects(review.batches).iterrows()
        if np.isfinite(row["run_factor"])
    ]
    told = review.effects.loc[review.effects["family"].isin(list(TAUGHT))]
    for _, row in firm_effects(told).iterrows():
        of = "run_" if row["family"] in RUNS else ""
        if np.isfinite(row[f"{of}factor"]):
            said = TAUGHT[row["family"]].format(
                name=row["name"] or "The kiln",
                times=_times(row, of),
                heat="hotter" if row["factor"] > 1 else "cooler",
            )
            lines.append(f"{said} {_range(row, of)}.")
    yield from lines[:MOST_TAUGHT]
    if len(lines) > MOST_TAUGHT:
        yield f"{len(lines) - MOST_TAUGHT} more, in the tables that --out writes."


def _range(row: pd.Series, of: str) -> str:
    return f"({row[f'{of}low']:.2g} to {row[f'{of}high']:.2g} times)"


def _times(row: pd.Series, of: str) -> str:
    """The factor of a row as it is said.

    Examples
    --------
    >>> [_times(pd.Series({"factor": factor}), "") for factor in (2.1, 0.5, 1.44)]
    ['about twice', 'about half', 'about 1.4 times']
    """
    words = {"1.9": "twice", "2.0": "twice", "2.1": "twice", "0.5": "half"}
    factor = row[f"{of}factor"]
    return f"about {words.get(f'{factor:.1f}', f'{factor:.2g} times')}"


def _season(month: str) -> int:
    """A number of the three months that a month is of: December to February, and so on."""
    return (12 * int(month[:4]) + int(month[5:])) // 3


def _since_last_season(review: Review) -> str:
    dated = review.by_month.loc[review.by_month["month"].ne("")]
    if dated.empty:
        return "Give each firing its day (fired_on), and here stands what ran month by month."
    of = dated["month"].map(_season)
    seasons = of.unique()
    counted = dated.groupby(of)[["past_foot", "pots"]].sum()
    past, pots = counted.loc[seasons[-1]]
    began = month_words(dated.loc[of == seasons[-1], "month"].iloc[0])
    said = f"This season, since {began}: {past} of {pots} pots ran past the foot"
    if len(seasons) == 1:
        return f"{said}."
    past, pots = counted.loc[seasons[-2]]
    return f"{said}; in the season before {past} of {pots}."


def _by_month(review: Review) -> Iterator[str]:
    if review.by_month["month"].eq("").all():
        return
    for _, row in review.by_month.iloc[::-1].head(MONTHS).iterrows():
        cookies = f", {row['on_cookie']} on cookies" if row["on_cookie"] else ""
        lost = f", {row['lost']} lost otherwise" if row["lost"] else ""
        yield (
            f"{month_words(row['month'])}: {row['past_foot']} of {row['pots']} pots past the foot, "
            f"{row['expected']:.1f} told{lost}{cookies}."
        )


def _trust(review: Review) -> str:
    known = review.predicted_seen["past_foot"] != ""
    expected = review.predicted_seen.loc[known, "risk"].sum()
    said = (
        f"{expected:.1f} layers were told to run past the foot, by {TELLERS[review.told_by]}; "
        f"{len(review.past_foot)} did."
    )
    if review.scores.empty:
        return f"{said} {NO_TRUST} {not_tried()}"
    if not np.isnan(review.interval_coverage):
        said += f" {coverage(review)}"
    return said
